"""The whole log of one cure, newest on top, under what the present mats will come to."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from textual.widget import Widget

from press_monitor.screens.dialogs.dialog import Dialog, Words
from press_monitor.screens.press.log import log_lines
from press_monitor.screens.widgets.cells import plain
from press_monitor.screens.widgets.drawn import look_of
from press_monitor.screens.widgets.palette import Tone
from press_monitor.screens.words import say_clock

__all__ = ["LogDialog"]

_WIDTH = 70
"""Before the first layout."""


class LogDialog(Dialog):
    """Every line, to scroll through."""

    def __init__(self, press_name: str) -> None:
        super().__init__()
        self.press_name = press_name
        self.lines = Words()

    def title_words(self) -> str:
        """Which press."""
        view = self.dashboard.source.press(self.press_name)
        return f"Log of this cure, press {view.number} {view.place.title}" if view else "Log"

    def hint_words(self) -> str:
        """Plain."""
        return "Up Down scroll   Esc back"

    def content(self) -> Iterable[Widget]:
        """The lines."""
        yield self.lines

    def renew_content(self) -> None:
        """What may come, then every event worth a line."""
        source, zone = self.dashboard.source, self.dashboard.shop.zone
        view = source.press(self.press_name)
        signs = look_of(self).signs
        ahead = view.snapshot.outlook if view is not None and view.snapshot is not None else ()
        made = [f"ahead    {plain(line)}" for line in ahead]
        for line in log_lines(source.events(view)) if view is not None else ():
            loud = line.tone in (Tone.ALARM, Tone.ATTENTION)
            made.append(f"{say_clock(line.utc, zone)}  {signs.alarm if loud else ' '} {line.words}")
        room = self.lines.size.width or _WIDTH
        wrapped = [part for line in made for part in textwrap.wrap(line, room, subsequent_indent=" " * 9)]
        self.lines.update("\n".join(wrapped) or "Nothing yet.")

    def action_confirm(self) -> None:
        """Read."""
        self.dismiss()

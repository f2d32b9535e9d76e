"""Closing the dashboard, and what goes on without it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget

from press_monitor.screens.dialogs.dialog import Dialog, Words
from press_monitor.screens.words import PHASE_WORDS
from press_monitor.watch.types import Phase

__all__ = ["LeaveDialog"]


class LeaveDialog(Dialog):
    """Asks once, and says that the recorder stays."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("q,Q,y,Y", "confirm", "Close")]

    def __init__(self) -> None:
        super().__init__()
        self.running = Words()

    def title_words(self) -> str:
        """The question."""
        return "Close this dashboard?"

    def hint_words(self) -> str:
        """Plain."""
        return "Enter or Q close   Esc stay"

    def content(self) -> Iterable[Widget]:
        """What goes on."""
        yield self.running

    def renew_content(self) -> None:
        """The cures that go on being recorded."""
        source = self.dashboard.source
        running = [
            f"press {v.number} {v.place.title}: {PHASE_WORDS[v.snapshot.phase].lower()}"
            for v in source.presses
            if v.snapshot is not None and v.snapshot.phase not in (Phase.EMPTY, Phase.RELEASED)
        ]
        if self.dashboard.demo:
            words = "This is the demo: its recorder ends with it. Its folder is kept."
        elif not source.heartbeat.seen or source.heartbeat.silent:
            words = "No recorder is heard: nothing is being recorded now."
        elif running:
            words = "The recorder keeps watching and recording:\n" + "\n".join(f"  {line}" for line in running)
            words += "\nThis screen's alarms and bell end with it; the recorder's horn, if it has one, does not."
        else:
            words = "No press is curing. The recorder keeps running and starts a record when one heats up."
        self.running.update(words)

    def action_confirm(self) -> None:
        """Close the dashboard; nothing else."""
        self.app.exit()

"""What an audit found, as a text to scroll through."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget

from press_monitor.certificate.model import Section
from press_monitor.certificate.text import render_sections
from press_monitor.screens.base import WatchScreen
from press_monitor.screens.records.text_view import Scrolled, TextView
from press_monitor.screens.widgets.bars import Key
from press_monitor.screens.widgets.cells import plain

__all__ = ["SheetScreen"]


class SheetScreen(Scrolled, WatchScreen):
    """Sections as they are printed, or plain lines."""

    place = "Findings"
    EXPLAINED = (
        """\
Up Down   scroll, Left Right by pages     Esc  back
""",
        """\
What the archive says. Rates come with their exact interval; p says how often
chance alone would do as much, the adjusted one allows for all that was
compared at once. Small numbers say little, and it says so""",
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,backspace", "back", "Back"),
        Binding("down", "move(1)", "Down"),
        Binding("up", "move(-1)", "Up"),
        Binding("pagedown,space,right", "page(1)", "Further"),
        Binding("pageup,left", "page(-1)", "Back up"),
        Binding("home", "move(-100000)", "To the top"),
        Binding("end", "move(100000)", "To the end"),
    ]

    def __init__(self, what: str, title: str, sections: Sequence[Section], lines: Sequence[str] = ()) -> None:
        super().__init__()
        self.what = what
        self.view = TextView()
        self.view.heading = plain(title)
        self.view.lines = tuple(render_sections(sections).splitlines()) if sections else tuple(map(plain, lines))

    def keys(self) -> tuple[Key, ...]:
        """Few."""
        return (
            Key("Esc", "back", "back"),
            Key("Up Down", "scroll"),
            Key("Left Right", "page"),
            Key("?", "help", "app.explain"),
        )

    def body(self) -> Iterable[Widget]:
        """The text."""
        yield self.view

    def renew_body(self) -> None:
        """It was worked out once."""

"""The line of pages above the form: each with its key and how it stands."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

from textual import events
from textual.message import Message

from press_monitor.screens.widgets.cells import Cells, width_of
from press_monitor.screens.widgets.drawn import Drawn
from press_monitor.screens.widgets.palette import Look, Tone

__all__ = ["PageStrip", "Tab"]


@dataclass(frozen=True, slots=True)
class Tab:
    """A page: its name, the key that opens it, its words, and how it stands (None: there is nothing to say of that)."""

    name: str
    cap: str
    words: str
    tone: Tone | None = Tone.IDLE


class PageStrip(Drawn):
    """The page shown stands on a lighter ground and in brackets; the others can be clicked."""

    DEFAULT_CSS = "PageStrip { width: 1fr; height: 1; }"

    class Chosen(Message):
        """A page was clicked."""

        def __init__(self, name: str) -> None:
            super().__init__()
            self.page_name = name

    def __init__(self) -> None:
        super().__init__()
        self.tabs: Sequence[Tab] = ()
        self.here = ""
        self.side = ""
        self._spots: list[tuple[int, int, str]] = []

    def show(self, tabs: Sequence[Tab], here: str, side: str = "") -> None:
        """Show other pages; `side` stands at the right where there is room."""
        self.tabs, self.here, self.side = tuple(tabs), here, side
        self.touch()

    def key(self) -> Hashable:
        """The pages, the one shown, the words beside."""
        return (self.tabs, self.here, self.side)

    def draw(self, width: int, height: int, look: Look) -> Cells:
        """Draw the pages and remember where they lie."""
        palette, signs = look.palette, look.signs
        cells = Cells(width, height, palette.ground, palette.text)
        self._spots = []
        at = 1
        gap = 2 if width >= 100 else 1
        for tab in self.tabs:
            here = tab.name == self.here
            size = len(tab.cap) + width_of(tab.words) + (3 if tab.tone is None else 5)
            if here:
                cells.fill(at - 1, 0, size, 1, palette.track)
            self._spots.append((at - 1, at + size - 1, tab.name))
            end = cells.text(at, 0, tab.cap, palette.text if here else palette.dim, bold=True)
            end = cells.text(end + 1, 0, tab.words, palette.text, bold=here)
            if tab.tone is not None:
                cells.text(end + 1, 0, signs.tone(tab.tone), palette.tone(tab.tone), bold=True)
            at += size + gap - 1
        if self.side and at + width_of(self.side) + 1 < width:
            cells.right(width - 1, 0, self.side, palette.dim)
        return cells

    def on_click(self, event: events.Click) -> None:
        """The page under the pointer."""
        for first, last, name in self._spots:
            if first <= event.x < last:
                self.post_message(self.Chosen(name))

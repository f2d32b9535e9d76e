"""The kinds of things in Stores side by side, each with its number; the chosen one in brackets."""

from __future__ import annotations

from collections.abc import Hashable, Mapping

from textual import events
from textual.message import Message

from press_monitor.screens.stores.shelf import GROUPS
from press_monitor.screens.widgets.cells import Cells, width_of
from press_monitor.screens.widgets.drawn import Drawn
from press_monitor.screens.widgets.palette import Look, Tone

__all__ = ["GroupStrip"]


class GroupStrip(Drawn):
    """One line; a click chooses."""

    DEFAULT_CSS = "GroupStrip { width: 1fr; height: 1; }"

    class Chosen(Message):
        """A kind was clicked."""

        def __init__(self, group: str) -> None:
            super().__init__()
            self.group = group

    def __init__(self) -> None:
        super().__init__()
        self.group = "all"
        self.counts: tuple[tuple[str, int], ...] = ()

    def show(self, group: str, counts: Mapping[str, int]) -> None:
        """Show another choice."""
        self.group, self.counts = group, tuple(counts.items())
        self.touch()

    def key(self) -> Hashable:
        """Choice and numbers."""
        return (self.group, self.counts)

    def _labels(self) -> list[tuple[int, str, str]]:
        counts = dict(self.counts)
        spots, at = [], 0
        for group, label in GROUPS:
            text = f"{label} {counts[group]}" if group in counts else label
            spots.append((at, group, text))
            at += width_of(text) + 2
        return spots

    def draw(self, width: int, height: int, look: Look) -> Cells:
        """Draw them; what must be looked at keeps its colour."""
        palette = look.palette
        cells = Cells(width, height, palette.panel, palette.text)
        counts = dict(self.counts)
        for at, group, text in self._labels():
            chosen = group == self.group
            ink = palette.text if chosen else palette.dim
            if group == "trouble" and counts.get(group):
                ink = palette.tone(Tone.ATTENTION)
            if chosen:
                cells.text(at, 0, "[", palette.text, bold=True)
            end = cells.text(at + 1, 0, text, ink, bold=chosen)
            if chosen:
                cells.text(end, 0, "]", palette.text, bold=True)
        return cells

    def on_click(self, event: events.Click) -> None:
        """The kind under the pointer."""
        found = [group for at, group, _ in self._labels() if at <= event.x]
        if found:
            self.post_message(self.Chosen(found[-1]))

"""The Textual side of drawing: a widget that shows cells, and redraws them only when something shown has changed."""

from __future__ import annotations

from collections.abc import Hashable
from functools import lru_cache

from rich.color import Color
from rich.segment import Segment
from rich.style import Style
from textual.strip import Strip
from textual.widget import Widget

from press_monitor.screens.widgets.cells import Cells
from press_monitor.screens.widgets.palette import DARK, PALETTES, Look, Marker

__all__ = ["Drawn", "blank_strip", "look_of", "strip_of"]


@lru_cache(maxsize=1024)
def _style(ink: int, ground: int, bold: bool) -> Style:
    return Style(
        color=Color.from_rgb(ink >> 16, (ink >> 8) & 255, ink & 255),
        bgcolor=Color.from_rgb(ground >> 16, (ground >> 8) & 255, ground & 255),
        bold=bold,
    )


def strip_of(cells: Cells, y: int) -> Strip:
    """Row `y` as a strip, one segment a run."""
    return Strip([Segment(run.text, _style(run.ink, run.ground, run.bold)) for run in cells.runs(y)], cells.width)


@lru_cache(maxsize=64)
def blank_strip(width: int, ground: int) -> Strip:
    """An empty stretch of one ground."""
    return Strip([Segment(" " * width, _style(0xFFFFFF, ground, False))], width)


def look_of(widget: Widget) -> Look:
    """The look in force: the theme's palette and the marker the app was started with."""
    app = widget.app
    return Look(PALETTES.get(app.theme, DARK), getattr(app, "marker", Marker.BRAILLE))


class Drawn(Widget):
    """A widget whose subclass draws cells. It caches them by (what is shown, size, theme)."""

    DEFAULT_CSS = "Drawn { width: 1fr; height: 1fr; }"

    _drawn: tuple[Hashable, Cells, list[Strip]] | None = None

    def key(self) -> Hashable:
        """What the drawing depends on besides size and look."""
        raise NotImplementedError

    def draw(self, width: int, height: int, look: Look) -> Cells:
        """Draw what the widget shows now."""
        raise NotImplementedError

    def touch(self) -> None:
        """Redraw if `key` has changed since the last drawing."""
        if self._drawn is None or self._drawn[0] != self._whole_key():
            self.refresh()

    def _whole_key(self) -> Hashable:
        return (self.key(), self.size, look_of(self))

    def cells(self) -> Cells:
        """The cells as shown now."""
        return self._rows()[1]

    def _rows(self) -> tuple[Hashable, Cells, list[Strip]]:
        key = self._whole_key()
        if self._drawn is None or self._drawn[0] != key:
            cells = self.draw(self.size.width, self.size.height, look_of(self))
            self._drawn = (key, cells, [strip_of(cells, y) for y in range(cells.height)])
        return self._drawn

    def render_line(self, y: int) -> Strip:
        """One row of the drawing."""
        strips = self._rows()[2]
        return strips[y] if y < len(strips) else Strip.blank(self.size.width)

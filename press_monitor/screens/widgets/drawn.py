"""The Textual side of drawing: a widget that shows cells, and redraws them only when something shown has changed."""

from __future__ import annotations

from collections.abc import Hashable
from functools import lru_cache

from rich.color import Color
from rich.segment import Segment
from rich.style import Style
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from press_monitor.screens.let_go import drop_lines
from press_monitor.screens.widgets.cells import Cells
from press_monitor.screens.widgets.palette import DARK, PALETTES, Look, Marker

__all__ = ["Drawn", "blank_strip", "fitted", "look_of", "repainted", "strip_of"]


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


def repainted(old: Cells, strips: list[Strip], new: Cells, x: int = 0, y: int = 0) -> tuple[list[Strip], list[Region]]:
    """The strips of a new drawing of the same size, those of unchanged rows kept; and what to paint."""
    found = old.differences(new)
    kept = list(strips)
    for row, _, _ in found:
        kept[row] = strip_of(new, row)
    return kept, [Region(x + first, y + row, end - first, 1) for row, first, end in found]


@lru_cache(maxsize=64)
def blank_strip(width: int, ground: int) -> Strip:
    """An empty stretch of one ground."""
    return Strip([Segment(" " * width, _style(0xFFFFFF, ground, False))], width)


def fitted(cells: Cells, look: Look) -> Cells:
    """The same cells, with the sign of a cut that the look can show."""
    if look.marker is Marker.ASCII:
        cells.glyph[cells.glyph == "…"] = look.signs.ellipsis
    return cells


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

    def on_unmount(self) -> None:
        """Free the drawing."""
        self._drawn = None
        drop_lines(self)

    def touch(self) -> None:
        """Redraw if `key` has changed since the last drawing; only the cells that differ are painted."""
        old, size = self._drawn, self.size
        if old is None or (old[1].width, old[1].height) != (size.width, size.height) or not size:
            self.refresh()
            return
        key = self._whole_key()
        if old[0] != key:
            look = look_of(self)
            cells = fitted(self.draw(size.width, size.height, look), look)
            strips, regions = repainted(old[1], old[2], cells)
            self._drawn = (key, cells, strips)
            if regions:
                self.refresh(*regions)

    def _whole_key(self) -> Hashable:
        return (self.key(), self.size, look_of(self))

    def cells(self) -> Cells:
        """The cells as shown now."""
        return self._rows()[1]

    def _rows(self) -> tuple[Hashable, Cells, list[Strip]]:
        key = self._whole_key()
        if self._drawn is None or self._drawn[0] != key:
            look = look_of(self)
            cells = fitted(self.draw(self.size.width, self.size.height, look), look)
            self._drawn = (key, cells, [strip_of(cells, y) for y in range(cells.height)])
        return self._drawn

    def render_line(self, y: int) -> Strip:
        """One row of the drawing."""
        strips = self._rows()[2]
        return strips[y] if y < len(strips) else Strip.blank(self.size.width)

"""The floor's lanes: every press in its fixed place, in one column or two, paged when there are more than fit."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass, replace
from datetime import tzinfo
from functools import lru_cache

from textual import events
from textual.geometry import Region
from textual.message import Message
from textual.strip import Strip
from textual.widget import Widget

from press_monitor.quantities import UnitSystem
from press_monitor.screens.floor.lane import draw_lane, draw_sentence
from press_monitor.screens.kept import Kept
from press_monitor.screens.source import PressView
from press_monitor.screens.widgets.cells import Cells
from press_monitor.screens.widgets.drawn import blank_strip, fitted, look_of, repainted, strip_of
from press_monitor.screens.widgets.palette import mix

__all__ = ["Board", "Layout", "Spot", "layout_of"]

_LEAST_LANE, _MOST_LANE = 5, 16
_LEAST_WIDTH = 50
_TWO_COLUMNS = 160


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a lane lies on the board, in cells; `place` counts from 0."""

    place: int
    x: int
    y: int
    width: int
    height: int


@dataclass(frozen=True, slots=True)
class Layout:
    """All lanes of one page. `sentences` where the terminal is too small for lanes."""

    spots: tuple[Spot, ...]
    page: int
    pages: int
    sentences: bool


@lru_cache(maxsize=16)
def layout_of(width: int, height: int, count: int, page: int = 0) -> Layout:
    """Lay `count` lanes out; a page that does not exist becomes the nearest that does."""
    if count < 1 or width < 1 or height < 1:
        return Layout((), 0, 1, True)
    if width < _LEAST_WIDTH or height < _LEAST_LANE:
        fit = height
        pages = -(-count // fit)
        page = min(max(page, 0), pages - 1)
        first = page * fit
        spots = tuple(Spot(first + n, 0, n, width, 1) for n in range(min(fit, count - first)))
        return Layout(spots, page, pages, True)
    columns = 2 if width >= _TWO_COLUMNS and count * _LEAST_LANE > height else 1
    fit = columns * (height // _LEAST_LANE)
    pages = -(-count // fit)
    page = min(max(page, 0), pages - 1)
    first, shown = page * fit, min(fit, count)
    deep = -(-shown // columns)
    pitch = min(_MOST_LANE + 1, height // deep)
    gap = 1 if pitch >= 7 else 0
    wide = (width - (columns - 1)) // columns
    spots = tuple(
        Spot(first + n, (n // deep) * (wide + 1), (n % deep) * pitch, wide, pitch - gap)
        for n in range(min(shown, count - first))
    )
    return Layout(spots, page, pages, False)


class Board(Widget):
    """Draws the lanes; a lane is drawn anew only when its press, its size or the look has changed."""

    DEFAULT_CSS = "Board { width: 1fr; height: 1fr; background: $background; }"

    class Opened(Message):
        """A lane was clicked."""

        def __init__(self, name: str) -> None:
            super().__init__()
            self.name = name

    def __init__(self) -> None:
        super().__init__()
        self.units = UnitSystem.named("us")
        self.zone: tzinfo | None = None
        self.page = 0
        self._views: tuple[PressView, ...] = ()
        self._stale = False
        self._drawn: dict[int, tuple[Hashable, Cells, list[Strip]]] = {}
        self._charts = Kept()

    def show(self, views: tuple[PressView, ...], units: UnitSystem, zone: tzinfo | None, *, stale: bool) -> None:
        """Show the presses as last read; only what changed is repainted."""
        counted = len(views) == len(self._views)
        self._views, self._stale = views, stale
        self.units, self.zone = units, zone
        if not counted:
            self.refresh()
            return
        layout = self.layout_now()
        regions: list[Region] = []
        for spot in layout.spots:
            held = self._drawn.get(spot.place)
            if held is None or (held[1].width, held[1].height) != (spot.width, spot.height):
                regions.append(Region(spot.x, spot.y, spot.width, spot.height))
            elif held[0] != (key := self._key(spot)):
                cells = self._draw(spot, layout.sentences)
                strips, some = repainted(held[1], held[2], cells, spot.x, spot.y)
                self._drawn[spot.place] = (key, cells, strips)
                regions += some
        if regions:
            self.refresh(*regions)

    def turn(self, pages: int) -> None:
        """Go some pages on or back."""
        self.page = min(max(self.layout_now().page + pages, 0), self.layout_now().pages - 1)
        self.refresh()

    def layout_now(self) -> Layout:
        """The layout at the present size."""
        return layout_of(self.size.width, self.size.height, len(self._views), self.page)

    def _key(self, spot: Spot) -> Hashable:
        view = self._views[spot.place]
        return (view.place.name, view.version, spot, look_of(self), self._stale, self.units.name)

    def _lane(self, spot: Spot, sentences: bool) -> list[Strip]:
        key = self._key(spot)
        held = self._drawn.get(spot.place)
        if held is None or held[0] != key:
            cells = self._draw(spot, sentences)
            held = (key, cells, [strip_of(cells, y) for y in range(cells.height)])
            self._drawn[spot.place] = held
        return held[2]

    def _draw(self, spot: Spot, sentences: bool) -> Cells:
        view, look = self._views[spot.place], look_of(self)
        if spot.place % 2 and spot.height < 7:
            # Lanes without a gap between them tell themselves apart by their ground.
            shade = mix(look.palette.panel, look.palette.ground, 0.75)
            look = replace(look, palette=replace(look.palette, panel=shade))
        if sentences:
            return fitted(draw_sentence(view, spot.width, look, self.units, self.zone, stale=self._stale), look)
        lane = draw_lane(
            view, spot.width, spot.height, look, self.units, self.zone, stale=self._stale, charts=self._charts
        )
        return fitted(lane, look)

    def render_line(self, y: int) -> Strip:
        """One row: the lanes that lie in it, side by side."""
        layout = self.layout_now()
        ground = look_of(self).palette.ground
        parts: list[Strip] = []
        at = 0
        for spot in layout.spots:  # their columns run from left to right
            if spot.y <= y < spot.y + spot.height:
                if spot.x > at:
                    parts.append(blank_strip(spot.x - at, ground))
                parts.append(self._lane(spot, layout.sentences)[y - spot.y])
                at = spot.x + spot.width
        if at < self.size.width:
            parts.append(blank_strip(self.size.width - at, ground))
        return parts[0] if len(parts) == 1 else Strip.join(parts)

    def on_click(self, event: events.Click) -> None:
        """Open the lane under the pointer."""
        for spot in self.layout_now().spots:
            if spot.x <= event.x < spot.x + spot.width and spot.y <= event.y < spot.y + spot.height:
                self.post_message(self.Opened(self._views[spot.place].place.name))

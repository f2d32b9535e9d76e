"""Charts kept between frames: a curve of an hour moves by a dot only every half minute or so."""

from __future__ import annotations

from collections.abc import Callable, Hashable

from press_monitor.quantities import UnitSystem
from press_monitor.screens.charts import moment_of
from press_monitor.screens.source import PressView
from press_monitor.screens.widgets.canvas import dots_across
from press_monitor.screens.widgets.cells import Cells
from press_monitor.screens.widgets.palette import Look
from press_monitor.watch.types import Snapshot

__all__ = ["Kept"]


class Kept:
    """The last drawing of each chart, by a name for the place it is shown in."""

    def __init__(self) -> None:
        self._held: dict[Hashable, tuple[Hashable, Cells]] = {}

    def chart(
        self,
        place: Hashable,
        view: PressView,
        snapshot: Snapshot,
        size: tuple[int, int],
        look: Look,
        units: UnitSystem,
        draw: Callable[[], Cells],
        *,
        recent_min: float | None = None,
        also: Hashable = None,
    ) -> Cells:
        """The chart as drawn last where nothing of it would be drawn differently; not to be written on.

        `place` tells this chart from the others, `size` is in cells, `draw` draws it, `recent_min` is the chart's own,
        and `also` is whatever else the drawing depends on.
        """
        across, down = dots_across(look.marker)
        moment = moment_of(view, snapshot, size[0] * across, size[1] * down, recent_min)
        key = (view.place.name, view.cycle_id, size, look, units, also, moment)
        held = self._held.get(place)
        if held is None or held[0] != key:
            held = (key, draw())
            self._held[place] = held
        return held[1]

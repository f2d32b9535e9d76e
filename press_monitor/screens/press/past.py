"""How far the deepest rubber was at an earlier moment: the model run again over what the mats read.

The state now is the watch's own. What lies behind is worked out here from the same layers and readings, a few steps a
frame so that no key waits, and without the watch's caution about sensors it had stopped trusting.
"""

from __future__ import annotations

import math
from bisect import bisect_right

import numpy as np

from press_monitor.cure.layers import FaceKind, Repair
from press_monitor.cure.section import Face, Section
from press_monitor.readings.types import Role
from press_monitor.screens.trace import LiveTrace
from press_monitor.watch.plain import from_json

__all__ = ["CurePast"]

_STEP_S = 20.0
_ROOM_DEGC = 20.0


class CurePast:
    """The deepest rubber's state of cure over one cycle, growing with its trace.

    Raises KeyError, TypeError or ValueError for a cycle whose layers cannot be read.
    """

    def __init__(self, trace: LiveTrace) -> None:
        self._trace = trace
        start = trace.start
        self._repair: Repair | None = None if start.repair is None else from_json(Repair, start.repair)
        ambient = (start.setup or {}).get("ambient")
        self._ambient = float(ambient) if isinstance(ambient, int | float) else _ROOM_DEGC
        self._section: Section | None = None
        self._times: list[float] = []
        self._states: list[tuple[float, float, float]] = []

    @property
    def known(self) -> bool:
        """Whether there are layers to go by."""
        return self._repair is not None

    def work(self, steps: int) -> bool:
        """Go on by at most `steps` steps; whether there is more to do."""
        trace = self._trace
        if self._repair is None or not len(trace):
            return False
        for _ in range(steps):
            at = self._times[-1] + _STEP_S if self._times else float(trace.times[0])
            if at > float(trace.times[-1]):
                return False
            self._advance(self._repair, at)
        return True

    def _advance(self, repair: Repair, at: float) -> None:
        inner, outer = (self._face(kind, role, at) for kind, role in self._sides(repair))
        bag = self._value(Role.BAG, at)
        if self._section is None:
            known = [v for v in (self._value(Role.INNER_MAT, at), self._value(Role.OUTER_MAT, at)) if v is not None]
            given = repair.start_temperature
            start = min([*known, self._ambient]) if given is None else given
            self._section = Section(repair, start, self._ambient)
            self._section.advance(0.0, inner, outer, bag_absolute_Pa=None, pressed=None)
        else:
            absolute = None if bag is None else bag + 101_325.0
            self._section.advance(at - self._times[-1], inner, outer, bag_absolute_Pa=absolute, pressed=None)
        point = self._section.deepest()
        self._times.append(at)
        states = (math.nan, math.nan, math.nan)
        if point is not None:
            states = (point.state_of_cure, point.state_of_cure_low, point.state_of_cure_high)
        self._states.append(states)

    def _sides(self, repair: Repair) -> tuple[tuple[FaceKind, Role], tuple[FaceKind, Role]]:
        return (repair.inner, Role.INNER_MAT), (repair.outer, Role.OUTER_MAT)

    def _face(self, kind: FaceKind, role: Role, at: float) -> Face:
        value = self._value(role, at) if kind is FaceKind.MAT else None
        return Face.air(self._ambient) if value is None else Face.mat(value)

    def _value(self, role: Role, at: float) -> float | None:
        """The last value of a role at `at`, the least where several sensors give one."""
        trace = self._trace
        row = int(np.searchsorted(trace.times, at, side="right")) - 1
        found = [
            column[row] for n in range(len(trace.roles.get(role, ()))) if (column := trace.column(role, n)) is not None
        ]
        good = [float(v) for v in found if row >= 0 and math.isfinite(v)]
        return min(good) if good else None

    def at(self, t: float) -> tuple[float, float, float] | None:
        """State of cure of the deepest rubber at `t` on the cycle's axis: nominal, low, high. None: not known (yet)."""
        if not self._times or t > self._times[-1] + _STEP_S:
            return None
        states = self._states[max(0, bisect_right(self._times, t) - 1)]
        return states if math.isfinite(states[0]) else None

"""The plan of a cure: how long, at which mat temperature, for this repair.

A hold counts from when the mats reach the set temperature. Times to a state of cure are those of the deepest rubber,
limits those of the hottest. Cool-down credit assumes the bag left up and a fast loss of heat (h 25 on both faces).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from press_monitor.cure.advice import government_rule_min, plan_advice, practice_lines
from press_monitor.cure.compound import CureError
from press_monitor.cure.forecast import COOLING_S, HORIZON_S, Held
from press_monitor.cure.kinetics import Array
from press_monitor.cure.layers import FaceKind, Repair, Stack
from press_monitor.cure.limits import Limits
from press_monitor.cure.results import CurePointSI
from press_monitor.cure.section import Section
from press_monitor.cure.walls import Face
from press_monitor.quantities import UnitSystem

__all__ = ["MapRow", "Plan", "Stepped", "plan"]

_STEP_S = 30.0
_GROWTH = 1.05
_MAP_DEGC = tuple(float(degC) for degC in range(110, 231, 10))
_EXACT_S = 3.0
_SOAK_MIN = 30
_LIMITS = Limits()


@dataclass(frozen=True, slots=True)
class MapRow:
    """One mat temperature of the time-temperature map; minutes of hold, None where not within eight hours.

    Under `shortest_min` the deepest rubber is under-cured, past `longest_min` the hottest is past reversion (nominal).
    """

    mat_degC: float
    shortest_min: float | None
    longest_min: float | None

    @property
    def good(self) -> bool:
        """Whether some hold at this temperature cures the deepest rubber without spoiling the hottest."""
        return self.shortest_min is not None and (self.longest_min is None or self.longest_min >= self.shortest_min)


@dataclass(frozen=True, slots=True)
class Stepped:
    """A stepped cure: soak at one mat temperature, finish at another."""

    soak_degC: float
    soak_min: float
    finish_degC: float
    finish_min: float


@dataclass(frozen=True, slots=True)
class Plan:
    """A cure plan. Minutes are None where the required cure is not reached within eight hours.

    Attributes:
        hold_min, hold_min_safe: nominal, and at the cautious edge of the band; both without cool-down credit.
        hold_min_with_cooldown, hold_min_safe_with_cooldown: the same, counting on a fast cool-down under pressure.
        start_degC: what the whole repair begins at.
        heat_up_assumed_min, total_min: the assumed linear heat-up, and that plus the nominal hold.
        deepest, hottest: after the nominal hold (eight hours where there is none), before any cool-down.
        reversion_used: at the hottest rubber after that hold and the cool-down, 1 being the limit.
        feasible: whether the nominal hold cures the deepest rubber and spares the hottest.
        advice: in plain words; comparisons: other rules, each labelled.
        map: the time-temperature map.
        stepped: a stepped cure that works where no single temperature does.
        reach_mm: with one heated face, the thickest build-up of these proportions that cures here.
    """

    mat_degC: float
    start_degC: float
    required: float
    hold_min: float | None
    hold_min_safe: float | None
    hold_min_with_cooldown: float | None
    hold_min_safe_with_cooldown: float | None
    heat_up_assumed_min: float
    total_min: float | None
    deepest: CurePointSI
    hottest: CurePointSI
    reversion_used: float
    feasible: bool
    advice: str
    map: tuple[MapRow, ...]
    government_rule_min: float
    uncured_depth_mm: float
    comparisons: tuple[str, ...]
    stepped: Stepped | None
    reach_mm: float | None

    def as_json(self) -> dict[str, Any]:
        """What `plan --json` prints, every key always there."""
        return {
            "mat_degC": self.mat_degC,
            "start_degC": self.start_degC,
            "required_cure": self.required,
            "hold_min": self.hold_min,
            "hold_min_safe": self.hold_min_safe,
            "hold_min_with_cooldown": self.hold_min_with_cooldown,
            "hold_min_safe_with_cooldown": self.hold_min_safe_with_cooldown,
            "heat_up_assumed_min": self.heat_up_assumed_min,
            "total_min": self.total_min,
            "deepest": self.deepest.as_json(),
            "hottest": self.hottest.as_json(),
            "reversion_used": self.reversion_used,
            "feasible": self.feasible,
            "advice": self.advice,
            "map": [
                {"mat_degC": row.mat_degC, "shortest_min": row.shortest_min, "longest_min": row.longest_min}
                for row in self.map
            ],
            "government_rule_min": self.government_rule_min,
            "uncured_depth_mm": self.uncured_depth_mm,
            "comparisons": list(self.comparisons),
            "stepped": None
            if self.stepped is None
            else {
                "soak_degC": self.stepped.soak_degC,
                "soak_min": self.stepped.soak_min,
                "finish_degC": self.stepped.finish_degC,
                "finish_min": self.stepped.finish_min,
            },
            "reach_mm": self.reach_mm,
        }


def plan(
    repair: Repair,
    mat_degC: float,
    start_degC: float,
    required: float,
    *,
    ambient_degC: float | None = None,
    heat_up_s: float = 0.0,
    limits: Limits = _LIMITS,
    units: UnitSystem | None = None,
    minimum_hold_s: float | None = None,
) -> Plan:
    """Plan a cure.

    Args:
        repair: its layers and faces.
        mat_degC: what the mats are held at.
        start_degC: of the whole repair at heat-on.
        required: state of cure the deepest rubber must reach, between 0 and 1.
        ambient_degC: of the shop air, default `start_degC`.
        heat_up_s: of a linear heat-up from `start_degC`; 0 steps the faces to `mat_degC`.
        limits: how wide the band is.
        units: what the advice is written in, default US.
        minimum_hold_s: the recipe's own minimum, only mentioned.

    Raises `CureError` where there is nothing to cure, no mat to cure it with, or no sense in a figure.
    """
    if not 0.0 < required < 1.0:
        raise CureError(f"plan: the required cure {required:g} must lie between 0 and 1")
    if not (math.isfinite(heat_up_s) and 0.0 <= heat_up_s <= HORIZON_S):
        raise CureError(f"plan: a heat-up of {heat_up_s / 60.0:g} min cannot be meant")
    if not start_degC < mat_degC <= 350.0:
        raise CureError(f"plan: mats at {mat_degC:g} degC cannot cure a repair that starts at {start_degC:g} degC")
    if FaceKind.MAT not in (repair.inner, repair.outer):
        raise CureError("plan: no face lies against a mat")
    if not any(stack.uncured_thickness > 0.0 for stack in repair.stacks):
        raise CureError("plan: no layer is uncured, there is nothing to cure")
    job = _Job(repair, start_degC, start_degC if ambient_degC is None else ambient_degC, required, heat_up_s)
    units = units or UnitSystem.named("us")

    hot = job.heated(mat_degC, limits)
    reached = job.reached(hot, mat_degC)
    nominal, safe = float(reached[0]), float(reached.max())
    with_credit = _least_hold(lambda t: job.cured(hot, mat_degC, t, nominal_only=True), nominal)
    safe_credit = _least_hold(lambda t: job.cured(hot, mat_degC, t, nominal_only=False), safe)
    hold = nominal if math.isfinite(nominal) else HORIZON_S
    used = hot.reversion_after([job.held(mat_degC, hold), job.cooling])
    end = job.heated(mat_degC, limits)
    end.advance(hold, *job.faces(mat_degC))
    deepest, hottest = end.deepest(), end.hottest()
    if deepest is None or hottest is None:
        raise CureError("plan: no layer is judged")
    rows = tuple(job.row(degC) for degC in sorted({*_MAP_DEGC, mat_degC}) if degC > start_degC)
    longest = next(row.longest_min for row in rows if row.mat_degC == mat_degC)
    feasible = math.isfinite(nominal) and used <= 1.0
    stepped = None if feasible else job.stepped(mat_degC, rows)
    one_face = FaceKind.AIR in (repair.inner, repair.outer)
    depth_mm = 1e3 * max(stack.uncured_thickness for stack in repair.stacks)
    made = Plan(
        mat_degC=mat_degC,
        start_degC=start_degC,
        required=required,
        hold_min=_minutes(nominal),
        hold_min_safe=_minutes(safe),
        hold_min_with_cooldown=_minutes(with_credit),
        hold_min_safe_with_cooldown=_minutes(safe_credit),
        heat_up_assumed_min=heat_up_s / 60.0,
        total_min=_minutes(nominal + heat_up_s),
        deepest=deepest,
        hottest=hottest,
        reversion_used=used,
        feasible=feasible,
        advice="",
        map=rows,
        government_rule_min=government_rule_min(repair),
        uncured_depth_mm=depth_mm,
        comparisons=practice_lines(repair),
        stepped=stepped,
        reach_mm=job.reach_mm(mat_degC) if one_face else None,
    )
    return replace(made, advice=plan_advice(made, longest, units, minimum_hold_s))


@dataclass(frozen=True, slots=True)
class _Job:
    """One repair from one start, to be tried at various mat temperatures."""

    repair: Repair
    start: float
    ambient: float
    required: float
    heat_up: float

    def faces(self, mat: float) -> tuple[Face, Face]:
        """Both faces with the mats at `mat`."""
        return self._face(self.repair.inner, mat), self._face(self.repair.outer, mat)

    def _face(self, kind: FaceKind, mat: float) -> Face:
        return Face.mat(mat) if kind is FaceKind.MAT else Face.air(self.ambient)

    def held(self, mat: float, seconds: float) -> Held:
        return Held(*self.faces(mat), seconds)

    @property
    def cooling(self) -> Held:
        off = Face.fast_loss(self.ambient)
        return Held(off, off, COOLING_S)

    def heated(self, mat: float, limits: Limits | None = None) -> Section:
        """The repair at the end of the heat-up to `mat`."""
        section = Section(self.repair, self.start, self.ambient, limits, longest_step_s=_STEP_S)
        section.advance(0.0, *self.faces(self.start if self.heat_up > 0.0 else mat))
        section.advance(self.heat_up, *self.faces(mat))
        return section

    def reached(self, section: Section, mat: float) -> Array:
        """Seconds of hold (R,) until each track has the required cure."""
        return section.reached(*self.faces(mat), self.required, growth=_GROWTH)

    def cured(self, section: Section, mat: float, hold: float, *, nominal_only: bool) -> bool:
        """Whether a hold and the cool-down after it end at the required cure."""
        ends = section.state_of(section.after([self.held(mat, hold), self.cooling]))
        return float((ends[0] if nominal_only else ends).min()) >= self.required

    def row(self, mat: float) -> MapRow:
        """The map's row at a mat temperature."""
        section = self.heated(mat)
        shortest = float(self.reached(section, mat)[0])
        return MapRow(mat, _minutes(shortest), _minutes(self.longest(section, mat)))

    def longest(self, section: Section, mat: float) -> float:
        """Seconds of hold after which, with the cool-down, the hottest rubber is at its reversion limit."""

        def past(hold: float) -> bool:
            return section.reversion_after([self.held(mat, hold), self.cooling]) >= 1.0

        return _least_hold(past, HORIZON_S)

    def stepped(self, mat: float, rows: tuple[MapRow, ...]) -> Stepped | None:
        """The quickest of some stepped cures that cures the deepest rubber and spares the hottest, nominal."""
        shortest = {row.mat_degC: row.shortest_min or math.inf for row in rows if row.mat_degC <= mat}
        longest = {row.mat_degC: row.longest_min or math.inf for row in rows if row.longest_min != 0.0}
        best, total = None, math.inf
        if not math.isfinite(min(shortest.values())):
            return None
        for soak in sorted(degC for degC in shortest if degC < mat and degC in longest):
            section = self.heated(soak)
            for minutes in range(_SOAK_MIN, 300 + _SOAK_MIN, _SOAK_MIN):
                if minutes >= min(total, longest[soak]):
                    break
                section.advance(60.0 * _SOAK_MIN, *self.faces(soak))
                # No finish is quicker than its temperature would be all along.
                for finish in sorted(degC for degC in shortest if degC > soak and shortest[degC] < total):
                    hold = float(self.reached(section, finish)[0])
                    if minutes + hold / 60.0 >= total or hold > HORIZON_S:
                        continue
                    if section.reversion_after([self.held(finish, hold), self.cooling]) <= 1.0:
                        best, total = Stepped(soak, float(minutes), finish, hold / 60.0), minutes + hold / 60.0
        return best

    def reach_mm(self, mat: float) -> float:
        """Thickness in mm of the thickest build-up of these proportions that these faces cure within eight hours."""
        thickest = max(self.repair.stacks, key=lambda stack: stack.thickness)

        def cures(factor: float) -> bool:
            scaled = replace(self, repair=replace(self.repair, stacks=(_scaled(thickest, factor),)))
            return math.isfinite(float(scaled.reached(scaled.heated(mat), mat)[0]))

        low, high = 0.02, 4.0
        if cures(high):
            return 1e3 * thickest.thickness * high
        while high / low > 1.02:
            middle = math.sqrt(low * high)
            low, high = (middle, high) if cures(middle) else (low, middle)
        return 1e3 * thickest.thickness * low


def _scaled(stack: Stack, factor: float) -> Stack:
    return Stack(stack.name, tuple(replace(layer, thickness=layer.thickness * factor) for layer in stack.layers))


def _least_hold(enough: Callable[[float], bool], upper: float) -> float:
    """The shortest hold, to some seconds, that is enough; `upper` is known to be, unless it is endless."""
    limit = upper if math.isfinite(upper) else HORIZON_S
    if enough(0.0):
        return 0.0
    if not enough(limit):
        return upper if math.isfinite(upper) and upper < HORIZON_S else math.inf
    low, high = 0.0, limit
    while high - low > _EXACT_S:
        middle = 0.5 * (low + high)
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def _minutes(seconds: float) -> float | None:
    return seconds / 60.0 if math.isfinite(seconds) else None

"""A cure plan as sections, for reading before the press is loaded."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from press_monitor.certificate.model import Grid, Item, Pair, Section, Words
from press_monitor.cure.plan import MapRow, Plan
from press_monitor.cure.results import CurePointSI
from press_monitor.quantities import UnitSystem

__all__ = ["GOOD", "OVER", "PLANNED", "UNDER", "map_line", "plan_sections"]

NEVER = "not within 8 h"
UNDER, GOOD, OVER, PLANNED = ".", "#", "x", "O"
"""The map's signs: shapes that any terminal and any printer has, told apart without colour."""
_ACROSS = 38
_HORIZON_MIN = 480.0


def plan_sections(plan: Plan, units: UnitSystem, cautions: Sequence[str] = ()) -> tuple[Section, ...]:
    """Sections ``plan``, ``rubber``, ``map`` and ``others``, in the shop's units."""
    return (
        Section("plan", f"Plan at {units.say_temperature(plan.mat_degC)} mats", tuple(_holds(plan, units, cautions))),
        Section("rubber", "After the nominal hold, before cooling", (_points(plan, units),)),
        Section("map", "Mat temperature against hold", tuple(_map(plan, units))),
        Section("others", "Beside it", tuple(_others(plan))),
    )


def _minutes(value: float | None) -> str:
    return NEVER if value is None else f"{value:.0f} min"


def _holds(plan: Plan, units: UnitSystem, cautions: Sequence[str]) -> Iterator[Item]:
    yield Words(plan.advice)
    for caution in cautions:
        yield Words(caution, bullet=True)
    yield Grid(
        ("Hold", "nominal", "cautious edge"),
        (
            ("without cool-down", _minutes(plan.hold_min), _minutes(plan.hold_min_safe)),
            (
                "counting on a fast cool-down, bag up",
                _minutes(plan.hold_min_with_cooldown),
                _minutes(plan.hold_min_safe_with_cooldown),
            ),
        ),
        numeric=(1, 2),
    )
    yield Pair("Required cure", f"{100 * plan.required:.0f} % at the deepest rubber")
    yield Pair("Start", units.say_temperature(plan.start_degC))
    yield Pair("Heat-up assumed", f"{plan.heat_up_assumed_min:.0f} min")
    yield Pair("Heat-up and hold", _minutes(plan.total_min))
    used = plan.reversion_used
    spent = f"{100 * used:.0f} % of" if used <= 2.0 else f"{used:.0f} times"
    yield Pair("Reversion used", f"{spent} the hottest rubber's limit")
    if plan.stepped is not None:
        s = plan.stepped
        yield Pair(
            "Stepped instead",
            f"{s.soak_min:.0f} min at {units.say_temperature(s.soak_degC)},"
            f" then {s.finish_min:.0f} min at {units.say_temperature(s.finish_degC)}",
        )
    if plan.reach_mm is not None:
        yield Pair("Thickest with one mat", f"{plan.reach_mm:.0f} mm of this build-up")


def _points(plan: Plan, units: UnitSystem) -> Grid:
    def row(name: str, point: CurePointSI) -> tuple[str, ...]:
        return (
            name,
            point.stack,
            f"{1000 * point.depth:.1f} mm",
            f"{100 * point.state_of_cure:.0f} %",
            f"{100 * point.state_of_cure_low:.0f}-{100 * point.state_of_cure_high:.0f} %",
            units.say_temperature(point.peak_degC),
        )

    head = ("Rubber", "Stack", "Depth from inner mat", "State of cure", "Band", "Peak")
    return Grid(head, (row("deepest", plan.deepest), row("hottest", plan.hottest)), numeric=(2, 3, 4, 5))


def _map(plan: Plan, units: UnitSystem) -> Iterator[Item]:
    span = _span(plan)
    yield Grid(
        ("Mats", _ruler(span), "cured at", "spoilt at", ""),
        tuple(
            (
                units.say_temperature(row.mat_degC),
                map_line(row, span, _ACROSS, plan.hold_min if row.mat_degC == plan.mat_degC else None),
                _in_time(row.shortest_min),
                _in_time(row.longest_min),
                "this plan" if row.mat_degC == plan.mat_degC else "",
            )
            for row in plan.map
        ),
        numeric=(0, 2, 3),
    )
    yield Words(
        f"Minutes of hold along each line. {UNDER} under: the deepest rubber is not cured. {GOOD} good. "
        f"{OVER} over: the hottest rubber is past its reversion limit. {PLANNED} the hold planned. Nominal figures."
    )
    if not any(row.good for row in plan.map):
        yield Words("No line has a good stretch: no single mat temperature cures this section.")


def _in_time(minutes: float | None) -> str:
    return "never" if minutes is None else f"{minutes:.0f} min"


def _span(plan: Plan) -> float:
    """Minutes that the map shows: past the longest hold that is any good, in whole hours."""
    wanted = [row.shortest_min for row in plan.map if row.good and row.shortest_min is not None]
    most = max([*wanted, *([plan.hold_min] if plan.hold_min is not None else [])], default=_HORIZON_MIN)
    return min(_HORIZON_MIN, 60.0 * max(2, math.ceil(1.25 * most / 60.0)))


def map_line(row: MapRow, span_min: float, across: int, planned_min: float | None = None) -> str:
    """One line of the map: `across` signs over `span_min` minutes of hold. A good stretch always shows."""
    least = math.inf if row.shortest_min is None else row.shortest_min
    most = math.inf if row.longest_min is None else row.longest_min
    width = span_min / across
    signs = []
    for column in range(across):
        at = (column + 0.5) * width
        signs.append(OVER if at > most else GOOD if at >= least else UNDER)
    if row.good and GOOD not in signs and least <= span_min:
        signs[min(int(least / width), across - 1)] = GOOD
    if planned_min is not None and planned_min <= span_min:
        signs[min(int(planned_min / width), across - 1)] = PLANNED
    return "".join(signs)


def _ruler(span_min: float) -> str:
    """The map's scale in hours, without a blank, so that nothing moves it."""
    hours = round(span_min / 60.0)
    line = ["-"] * _ACROSS
    for hour in range(0, hours, 1 if hours <= 4 else 2):
        text = f"{hour}h"
        at = round(hour / hours * _ACROSS)
        line[at : at + len(text)] = text
    end = f"{hours}h"
    line[_ACROSS - len(end) :] = end
    return "".join(line)


def _others(plan: Plan) -> Iterator[Item]:
    for line in plan.comparisons:
        yield Words(line, bullet=True)
    yield Words(
        "A plan is worked out from the compound's curemeter card and the layers as written. Prove it on a section cut"
        " open before trusting it; the makers' instructions, local codes and licensed practice decide.",
        bullet=True,
    )

"""A cure plan as sections, for reading before the press is loaded."""

from __future__ import annotations

from collections.abc import Iterator

from press_monitor.certificate.model import Grid, Item, Pair, Section, Words
from press_monitor.cure.plan import MapRow, Plan
from press_monitor.cure.results import CurePointSI
from press_monitor.quantities import UnitSystem

__all__ = ["plan_sections"]

NEVER = "not within 8 h"


def plan_sections(plan: Plan, units: UnitSystem) -> tuple[Section, ...]:
    """Sections ``plan``, ``rubber``, ``map`` and ``others``, in the shop's units."""
    return (
        Section("plan", f"Plan at {units.say_temperature(plan.mat_degC)} mats", tuple(_holds(plan, units))),
        Section("rubber", "After the nominal hold, before cooling", (_points(plan, units),)),
        Section("map", "Mat temperature against hold", (_map(plan, units),)),
        Section("others", "Beside it", tuple(_others(plan))),
    )


def _minutes(value: float | None) -> str:
    return NEVER if value is None else f"{value:.0f} min"


def _holds(plan: Plan, units: UnitSystem) -> Iterator[Item]:
    yield Words(plan.advice)
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


def _map(plan: Plan, units: UnitSystem) -> Grid:
    def words(row: MapRow) -> str:
        here = " (this plan)" if row.mat_degC == plan.mat_degC else ""
        if row.good:
            return ("good from there on" if row.longest_min is None else "good between them") + here
        return ("never cured in time" if row.shortest_min is None else "reverts before it is cured") + here

    return Grid(
        ("Mats", "under below", "over past", ""),
        tuple(
            (
                units.say_temperature(row.mat_degC),
                _minutes(row.shortest_min),
                "none in 8 h" if row.longest_min is None else f"{row.longest_min:.0f} min",
                words(row),
            )
            for row in plan.map
        ),
        numeric=(0, 1, 2),
    )


def _others(plan: Plan) -> Iterator[Item]:
    for line in plan.comparisons:
        yield Words(line, bullet=True)
    yield Words(
        "A plan is worked out from the compound's curemeter card and the layers as written. Prove it on a section cut"
        " open before trusting it; the makers' instructions, local codes and licensed practice decide.",
        bullet=True,
    )

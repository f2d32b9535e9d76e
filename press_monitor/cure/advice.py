"""A cure plan in plain words, and what others go by, each labelled as what it is."""

from __future__ import annotations

from typing import TYPE_CHECKING

from press_monitor.cure.layers import Repair

if TYPE_CHECKING:
    from press_monitor.cure.plan import MapRow, Plan
    from press_monitor.quantities import UnitSystem

__all__ = ["government_rule_min", "plan_advice", "plan_cautions", "practice_lines"]

# TM 9-2610-200-14, para 2-41: minutes in a spot press at 280-300 degF for each 0.8 mm (1/32 in).
_RULE_STEP_M = 0.0008
_RULE_RUBBER_MIN = 6.0
_RULE_TWO_PART_MIN = 1.0


def government_rule_min(repair: Repair) -> float:
    """Minutes by the published government rule, for the stack that takes longest by it."""
    return max(
        sum(
            layer.thickness / _RULE_STEP_M * (_RULE_RUBBER_MIN if layer.uncured else _RULE_TWO_PART_MIN)
            for layer in stack.layers
            if layer.compound is not None
        )
        for stack in repair.stacks
    )


def practice_lines(repair: Repair) -> tuple[str, ...]:
    """Other rules beside the plan. They are quoted, not endorsed."""
    return (
        f"Published government rule (TM 9-2610-200-14, para 2-41, spot press at 280-300 degF): 6 min for each 0.8 mm "
        f"of uncured rubber, here {government_rule_min(repair):.0f} min.",
        "Common practice: mats at a 450 degF setpoint, bag to 35 psi, 60-90 min whatever the thickness. A setpoint is "
        "not the temperature of the rubber.",
    )


def plan_cautions(
    repair: Repair,
    start_degC: float,
    units: UnitSystem,
    *,
    start_measured: bool,
    probe_in_mat: bool,
    mats_overlap: bool | None,
) -> tuple[str, ...]:
    """What the plan takes for granted, and what will hold the cure's verdict at review whatever the plan says."""
    said = []
    if not start_measured:
        said.append(
            f"The start is taken to be {units.say_temperature(start_degC)}, the shop's own air. Colder rubber takes "
            "longer: measure it."
        )
    if probe_in_mat and repair.contact_conductance is None:
        said.append(
            "The thermocouple lies in the mat and no contact conductance is fitted: the rubber may lag by 10-30 min "
            "behind this plan, and the verdict will be review at best. A trial with a buried probe settles it."
        )
    thickness = f"{1e3 * repair.thickness:.0f} mm"
    if mats_overlap is False:
        said.append(
            f"The mats do not overlap the uncured rubber by one thickness ({thickness}) each side: its edges stay "
            "colder than planned, and the verdict will be review at best."
        )
    elif mats_overlap is None:
        said.append(
            f"Planned for mats that overlap the uncured rubber by one thickness ({thickness}) each side; where they do "
            "not, or nobody says so on the ticket, the verdict will be review at best."
        )
    return tuple(said)


def plan_advice(plan: Plan, longest_min: float | None, units: UnitSystem, minimum_hold_s: float | None) -> str:
    """The plan in a few sentences; `longest_min` is the hold at which the hottest rubber reaches its limit."""
    mats, percent = units.say_temperature(plan.mat_degC), f"{100.0 * plan.required:.0f} %"
    said: list[str] = []
    if plan.hold_min is None:
        said.append(f"The deepest rubber does not reach {percent} within eight hours with the mats at {mats}.")
    elif not plan.feasible:
        said.append(
            f"No hold works with the mats at {mats}: {plan.hold_min:.0f} min to bring the deepest rubber to {percent} "
            f"would take the hottest to {plan.reversion_used:.1f} times its reversion limit."
        )
    else:
        said.append(f"Hold {plan.hold_min:.0f} min with the mats at {mats}.")
        said += _cautious(plan, longest_min, units)
    if plan.reach_mm is not None:
        said.append(
            f"With one heated face nothing thicker than about {plan.reach_mm:.0f} mm of this build-up cures at {mats} "
            "within eight hours; heat both faces where you can."
        )
    if not plan.feasible:
        said += _ways_out(plan, units)
    if minimum_hold_s is not None:
        said.append(f"The recipe asks for at least {minimum_hold_s / 60.0:.0f} min.")
    return " ".join(said)


def _cautious(plan: Plan, longest_min: float | None, units: UnitSystem) -> list[str]:
    said = []
    if plan.hold_min_safe is None:
        said.append("At the cautious edge of the band the deepest rubber is not cured within eight hours.")
    elif longest_min is not None and plan.hold_min_safe > longest_min:
        such_as = _roomier(plan, units)
        said.append(
            f"At the cautious edge of the band it would be {plan.hold_min_safe:.0f} min, but past {longest_min:.0f} "
            f"min the hottest rubber goes beyond its reversion limit: lower and longer leaves more room{such_as}."
        )
    else:
        said.append(f"At the cautious edge of the band: {plan.hold_min_safe:.0f} min.")
    if plan.hold_min_with_cooldown is not None and plan.hold_min is not None:
        safe = plan.hold_min_safe_with_cooldown
        cautious = f" ({safe:.0f} cautious)" if safe is not None else ""
        said.append(
            f"With the bag left up while it cools, {plan.hold_min_with_cooldown:.0f} min{cautious} may do: release on "
            "what was observed, not on this."
        )
    return said


def _roomier(plan: Plan, units: UnitSystem) -> str:
    """The hottest lower mat temperature whose good stretch holds the cautious edge too, in words."""
    if plan.hold_min_safe is None or plan.hold_min is None:
        return ""
    wanted = 1.1 * plan.hold_min_safe / plan.hold_min
    for row in sorted(plan.map, key=lambda row: -row.mat_degC):
        if row.mat_degC >= plan.mat_degC or not row.good or row.shortest_min is None:
            continue
        mats = units.say_temperature(row.mat_degC)
        if row.longest_min is None:
            return f", such as {row.shortest_min:.0f} min and more at {mats}"
        if row.longest_min >= wanted * row.shortest_min:
            return f", such as {row.shortest_min:.0f} to {row.longest_min:.0f} min at {mats}"
    return ""


def _ways_out(plan: Plan, units: UnitSystem) -> list[str]:
    lower = _best_single(plan)
    said = []
    if lower is not None and lower.shortest_min is not None:
        how = "Lower and longer" if lower.mat_degC < plan.mat_degC else "Hotter"
        said.append(f"{how}: {units.say_temperature(lower.mat_degC)} for {lower.shortest_min:.0f} min.")
    else:
        said.append("No single mat temperature cures the deepest of this section and spares the hottest.")
    step = plan.stepped
    if step is not None:
        said.append(
            f"Stepped: {units.say_temperature(step.soak_degC)} for {step.soak_min:.0f} min, then "
            f"{units.say_temperature(step.finish_degC)} for {step.finish_min:.0f} min."
        )
    if lower is None and step is None:
        said.append("Build it up and cure it in stages, or do not take it on.")
    return said


def _best_single(plan: Plan) -> MapRow | None:
    good = [row for row in plan.map if row.good and row.shortest_min is not None]
    return min(good, key=lambda row: row.shortest_min or 0.0, default=None)

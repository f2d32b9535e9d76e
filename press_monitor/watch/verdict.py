"""What the cure record is worth: one verdict, each reason with its figures.

It speaks of heat, pressure and time only; adhesion, cords and moisture are for the inspector.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from press_monitor.quantities import UnitSystem
from press_monitor.watch.outlook import more_hold_words
from press_monitor.watch.recipe import Recipe
from press_monitor.watch.types import AlarmView, CurePoint, Verdict

__all__ = ["Evidence", "judge"]

SET_UNPRESSED_FAIL = 0.25
SET_UNPRESSED_SEEN = 0.005
VAPOUR_SECONDS = 60.0
HOLE_SECONDS = 5.0

_RANK = [Verdict.PASS, Verdict.EXCEPTIONS, Verdict.REVIEW, Verdict.FAIL, Verdict.INCOMPLETE]
_ORIGINS = {"released-early": Verdict.REVIEW}


@dataclass(frozen=True, slots=True)
class Evidence:
    """What is judged. Times in s, temperatures degC, shares 0-1."""

    recipe: Recipe
    units: UnitSystem
    ticketed: bool
    has_repair: bool
    released: bool
    unrecorded_mats: tuple[str, ...]
    bag_recorded: bool
    bag_been_up: bool
    hold_s: float
    deepest: CurePoint | None
    reversion_used: float
    set_without_pressure: float
    vapour_negative_s: float
    worst_vapour_margin: float | None
    distrusted_s: float
    hole_s: float
    blind_while_setting_s: float
    probe_optimistic: bool
    mats_overlap: bool | None
    overlap_asked: bool
    alarms: tuple[AlarmView, ...]
    reversion_possible: float = 0.0
    """Reversion over its limit were the mats as hot as they last were for as long as nobody could tell."""
    more_hold_s: tuple[float | None, float | None] | None = None
    """Hold still wanted as the heat went off, nominal and for sure, s; None: heat is on, or nothing is judged."""


def judge(e: Evidence) -> tuple[Verdict, tuple[str, ...]]:
    """The verdict and its reasons, worst first; a pass has its figures as its reason."""
    found = sorted(_findings(e), key=lambda item: -_RANK.index(item[0]))
    verdict = found[0][0] if found else Verdict.PASS
    return verdict, tuple(text for _, text in found)


def _findings(e: Evidence) -> Iterator[tuple[Verdict, str]]:
    yield from _completeness(e)
    yield from _cure(e)
    yield from _pressure(e)
    yield from _heat(e)
    yield from _alarms(e)


def _completeness(e: Evidence) -> Iterator[tuple[Verdict, str]]:
    if not e.has_repair:
        yield Verdict.INCOMPLETE, "no thickness is known: the cure of the deepest rubber cannot be judged"
    elif e.deepest is None:
        yield Verdict.INCOMPLETE, "nothing in this repair is judged by heat: a two-part compound cures cold"
    if not e.ticketed:
        yield Verdict.INCOMPLETE, "no ticket: heating began without one"
    if not e.released:
        yield Verdict.INCOMPLETE, "the press was not released within the record"
    for name in e.unrecorded_mats:
        yield Verdict.INCOMPLETE, f"the {name} mat's temperature was not recorded; judged as losing heat to air"
    if not e.bag_recorded:
        yield Verdict.INCOMPLETE, "the bag's pressure was not recorded"


def _cure(e: Evidence) -> Iterator[tuple[Verdict, str]]:
    if e.deepest is None:
        return
    d, need = e.deepest, e.recipe.required_cure
    figures = (
        f"deepest rubber {100 * d.state_of_cure:.0f} % "
        f"({100 * d.state_of_cure_low:.0f}-{100 * d.state_of_cure_high:.0f}) at {d.depth_mm:.0f} mm, "
        f"{100 * need:.0f} % required"
    )
    if e.more_hold_s is not None and (words := more_hold_words(*e.more_hold_s, need)):
        figures += f"; as the heat went off: {words}"
    if d.state_of_cure_high < need:
        yield Verdict.FAIL, f"required cure missed: {figures}"
    elif d.state_of_cure_low < need:
        yield Verdict.REVIEW, f"the cure may fall short: {figures}; decide by section or hardness of a sample"
    else:
        yield Verdict.PASS, figures
        if e.hold_s < e.recipe.minimum_hold - 0.5:
            yield (
                Verdict.EXCEPTIONS,
                f"hold clock {e.hold_s / 60:.1f} min of {e.recipe.minimum_hold / 60:.0f} min, but the cure was reached",
            )
    if e.reversion_used >= 2.0:
        yield Verdict.FAIL, f"hottest rubber at {e.reversion_used:.1f} times its reversion limit"
    elif e.reversion_used >= 1.0:
        yield Verdict.EXCEPTIONS, f"hottest rubber past its reversion limit: {e.reversion_used:.2f} of it used"


def _pressure(e: Evidence) -> Iterator[tuple[Verdict, str]]:
    share = e.set_without_pressure
    if share > SET_UNPRESSED_FAIL:
        yield Verdict.FAIL, f"{100 * share:.0f} % of the uncured rubber set without pressure (25 % at most)"
    elif share > SET_UNPRESSED_SEEN:
        yield (
            Verdict.REVIEW,
            f"{100 * share:.0f} % of the uncured rubber set without pressure; decide by inspection for sponge",
        )
    if e.bag_recorded and not e.bag_been_up and share <= SET_UNPRESSED_FAIL:
        yield Verdict.REVIEW, "the bag never reached its minimum; decide by inspection for sponge and loose edges"
    if e.vapour_negative_s > VAPOUR_SECONDS and e.worst_vapour_margin is not None:
        yield (
            Verdict.REVIEW,
            f"vapour margin below zero for {e.vapour_negative_s / 60:.1f} min, worst "
            f"{e.units.say_pressure(e.worst_vapour_margin)}; decide by inspection for moisture blow",
        )
    if e.blind_while_setting_s > HOLE_SECONDS:
        yield (
            Verdict.REVIEW,
            f"the bag's pressure is not known for {e.blind_while_setting_s:.0f} s while rubber was setting; "
            "decide by the gauge at the press, if somebody read it, and by inspection for sponge",
        )


def _heat(e: Evidence) -> Iterator[tuple[Verdict, str]]:
    if e.distrusted_s > HOLE_SECONDS:
        yield (
            Verdict.REVIEW,
            f"a mat's temperature could not be trusted for {e.distrusted_s / 60:.1f} min; judged as losing heat to "
            "air; decide whether the heat was on, by the other mat and by hardness on that side",
        )
    if e.hole_s > HOLE_SECONDS:
        yield Verdict.EXCEPTIONS, f"no readings for {e.hole_s:.0f} s in all; judged as losing heat to air"
    if e.reversion_possible >= max(1.0, e.reversion_used + 0.01):
        yield (
            Verdict.REVIEW,
            f"had the heat stayed on while nobody could tell, the hottest rubber would be at up to "
            f"{e.reversion_possible:.1f} times its reversion limit; decide by the skin's look, hardness and smell",
        )
    if e.probe_optimistic:
        yield (
            Verdict.REVIEW,
            "the thermocouple is in the mat and no contact conductance is fitted: the rubber may lag by 10-30 min; "
            "decide by a hold that is longer by so much, or fit a trial",
        )
    if e.mats_overlap is False:
        yield (
            Verdict.REVIEW,
            "the mats did not overlap the uncured rubber by one thickness each side: its edges may be colder; "
            "decide by hardness at the edge",
        )
    elif e.overlap_asked and e.mats_overlap is None:
        yield (
            Verdict.REVIEW,
            "it was not answered whether the mats overlap the uncured rubber by one thickness; ask whoever laid them",
        )


def _alarms(e: Evidence) -> Iterator[tuple[Verdict, str]]:
    for alarm in e.alarms:
        if alarm.consequence_of is not None:
            continue
        minute = alarm.raised_s / 60.0
        where = f" ({alarm.channel})" if alarm.channel else ""
        if alarm.kind == "above-profile" and alarm.priority.value == "high":
            yield (
                Verdict.REVIEW,
                f"heat above the maximum at minute {minute:.1f}{where}: {alarm.message}; decide by the skin's look, "
                "hardness and smell",
            )
        elif alarm.kind in _ORIGINS:
            yield (
                _ORIGINS[alarm.kind],
                f"{alarm.kind} at minute {minute:.1f}: {alarm.message}; decide by inspection, once cold",
            )
        else:
            yield Verdict.EXCEPTIONS, f"{alarm.kind} at minute {minute:.1f}{where}; the figures above count it"

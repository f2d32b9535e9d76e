"""The verdict: evidence in, one word and its reasons out, line by line of the design's table."""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import Any

import pytest

from press_monitor.quantities import UnitSystem
from press_monitor.watch.kinds import KINDS
from press_monitor.watch.types import AlarmState, AlarmView, CurePoint, Priority, Verdict
from press_monitor.watch.verdict import Evidence, judge
from tests.watch.bench import RECIPE

PASS, EXCEPTIONS, REVIEW, FAIL, INCOMPLETE = Verdict
WORST_LAST = [PASS, EXCEPTIONS, REVIEW, FAIL, INCOMPLETE]


def cured(state: float, low: float, high: float) -> CurePoint:
    return CurePoint("repair", 30.0, state, low, high, 14.0, 148.0, 90.0)


def alarm(kind: str, priority: Priority | None = None, root: str | None = None) -> AlarmView:
    return AlarmView(
        id="A2",
        kind=kind,
        channel="bag",
        priority=priority or KINDS[kind].priority,
        state=AlarmState.NORMAL,
        raised_s=1500.0,
        since_s=1490.0,
        cleared_s=1600.0,
        consequence_of=root,
        message="it was so",
        advice="do so",
    )


GOOD = Evidence(
    recipe=RECIPE,
    units=UnitSystem.named("us"),
    ticketed=True,
    has_repair=True,
    released=True,
    unrecorded_mats=(),
    bag_recorded=True,
    bag_been_up=True,
    hold_s=RECIPE.minimum_hold,
    deepest=cured(0.97, 0.92, 0.99),
    reversion_used=0.7,
    set_without_pressure=0.0,
    vapour_negative_s=0.0,
    worst_vapour_margin=50_000.0,
    distrusted_s=0.0,
    hole_s=0.0,
    blind_while_setting_s=0.0,
    probe_optimistic=False,
    mats_overlap=None,
    overlap_asked=False,
    alarms=(),
)

# what is different -> the verdict, and what its reason must say
TABLE: dict[str, tuple[dict[str, Any], Verdict, str]] = {
    "all well": ({}, PASS, "deepest rubber 97 % (92-99) at 30 mm, 90 % required"),
    "exactly the required cure at the lower edge": ({"deepest": cured(0.95, 0.90, 0.98)}, PASS, "90 % required"),
    "overlap answered": ({"mats_overlap": True, "overlap_asked": True}, PASS, "deepest"),
    "reversion just below its limit": ({"reversion_used": 0.999}, PASS, "deepest"),
    "vapour margin negative for a minute": ({"vapour_negative_s": 60.0, "worst_vapour_margin": -1.0}, PASS, "deepest"),
    "a face distrusted for the five seconds it is held on": ({"distrusted_s": 5.0}, PASS, "deepest"),
    # exceptions: harmless by the numbers
    "hold clock short, cure reached": ({"hold_s": 3000.0}, EXCEPTIONS, "hold clock 50.0 min of 60 min"),
    "reversion limit passed": ({"reversion_used": 1.0}, EXCEPTIONS, "past its reversion limit: 1.00"),
    "reversion just under twice its limit": ({"reversion_used": 1.99}, EXCEPTIONS, "reversion"),
    "no readings for a while": ({"hole_s": 30.0}, EXCEPTIONS, "no readings for 30 s"),
    "a leak that stayed above the minimum": ({"alarms": (alarm("bag-leaking"),)}, EXCEPTIONS, "bag-leaking at minute"),
    "a lost mat that came back": ({"alarms": (alarm("heat-lost"),)}, EXCEPTIONS, "heat-lost at minute 25.0"),
    "above the band but not the maximum": ({"alarms": (alarm("above-profile"),)}, EXCEPTIONS, "above-profile"),
    "heat that might have stayed on, and would have done no harm": (
        {"hole_s": 600.0, "reversion_possible": 0.99}, EXCEPTIONS, "no readings for 600 s"),
    # review: a person must decide
    "heat that might have stayed on for too long": (
        {"hole_s": 9000.0, "reversion_possible": 2.4}, REVIEW, "up to 2.4 times its reversion limit"),
    "some rubber set without pressure": ({"set_without_pressure": 0.06}, REVIEW, "6 % of the uncured rubber"),
    "a quarter set without pressure": ({"set_without_pressure": 0.25}, REVIEW, "25 % of the uncured rubber"),
    "vapour margin negative": ({"vapour_negative_s": 61.0, "worst_vapour_margin": -20_000.0}, REVIEW, "vapour margin"),
    "an untrusted probe": ({"distrusted_s": 60.0}, REVIEW, "could not be trusted for 1.0 min"),
    "heat above the maximum": ({"alarms": (alarm("above-profile", Priority.HIGH),)}, REVIEW, "heat above the maximum"),
    "the band straddles the requirement": ({"deepest": cured(0.93, 0.84, 0.97)}, REVIEW, "93 % (84-97)"),
    "nominal below, upper edge above": ({"deepest": cured(0.85, 0.70, 0.91)}, REVIEW, "may fall short"),
    "thermocouple in the mat": ({"probe_optimistic": True}, REVIEW, "10-30 min"),
    "mats too small": ({"mats_overlap": False, "overlap_asked": True}, REVIEW, "overlap"),
    "mats too small, said in the repair file": ({"mats_overlap": False}, REVIEW, "overlap"),
    "overlap not answered": ({"overlap_asked": True}, REVIEW, "overlap"),
    "bag unknown while rubber set": ({"blind_while_setting_s": 20.0}, REVIEW, "not known for 20 s"),
    "opened uncured": ({"alarms": (alarm("released-early"),)}, REVIEW, "released-early"),
    # fail
    "required cure missed": ({"deepest": cured(0.60, 0.40, 0.89)}, FAIL, "required cure missed: deepest rubber 60 %"),
    "more than a quarter set without pressure": ({"set_without_pressure": 0.26}, FAIL, "26 %"),
    "twice the reversion limit": ({"reversion_used": 2.0}, FAIL, "2.0 times its reversion limit"),
    # incomplete
    "not released": ({"released": False}, INCOMPLETE, "not released"),
    "no thickness": ({"has_repair": False, "deepest": None}, INCOMPLETE, "no thickness"),
    "no ticket": ({"ticketed": False}, INCOMPLETE, "no ticket"),
    "nothing judged by heat": ({"deepest": None}, INCOMPLETE, "two-part"),
    "no bag recorded": ({"bag_recorded": False}, INCOMPLETE, "bag"),
    "a mat not recorded": ({"unrecorded_mats": ("outer",)}, INCOMPLETE, "outer mat"),
}  # fmt: skip


@pytest.mark.parametrize("name", TABLE)
def test_each_line_of_the_table(name: str) -> None:
    changes, expected, words = TABLE[name]
    verdict, reasons = judge(replace(GOOD, **changes))
    assert verdict is expected, reasons
    assert words in reasons[0], reasons
    assert all(reason and "\n" not in reason and "nan" not in reason for reason in reasons)


def test_two_findings_make_the_worse_of_their_verdicts_and_both_say_why() -> None:
    for a, b in itertools.combinations(TABLE.values(), 2):
        if set(a[0]) & set(b[0]):
            continue  # both change the same figure
        verdict, reasons = judge(replace(GOOD, **a[0], **b[0]))
        assert verdict is max((a[1], b[1]), key=WORST_LAST.index), (a, b, reasons)
        if not {"hold_s", "deepest"} & {*a[0], *b[0]}:  # a short hold is only said of a cure that was reached
            for _, expected, words in (a, b):
                assert expected is PASS or any(words in reason for reason in reasons), (words, reasons)


def test_reasons_come_worst_first() -> None:
    _, reasons = judge(
        replace(GOOD, set_without_pressure=0.5, distrusted_s=100.0, hold_s=10.0, released=False, reversion_used=1.5)
    )
    order = ["not released", "50 % of the uncured rubber", "could not be trusted", "hold clock", "deepest rubber"]
    at = [next(i for i, reason in enumerate(reasons) if words in reason) for words in order]
    assert at == sorted(at)


def test_a_consequence_is_no_reason_of_its_own() -> None:
    _, reasons = judge(replace(GOOD, alarms=(alarm("bag-burst"), alarm("bag-low", root="A1"))))
    assert sum("bag-" in reason for reason in reasons) == 1 and "bag-burst" in reasons[0]


@pytest.mark.parametrize("kind", sorted(kind for kind in KINDS if kind != "above-maximum"))
def test_no_cure_with_an_alarm_is_a_plain_pass(kind: str) -> None:
    verdict, reasons = judge(replace(GOOD, alarms=(alarm(kind),)))
    assert verdict is not PASS and any(kind in reason or "maximum" in reason for reason in reasons)


def test_a_bag_that_never_came_up_is_no_pass_though_little_set_without_it() -> None:
    verdict, _ = judge(replace(GOOD, bag_been_up=False))
    assert WORST_LAST.index(verdict) >= WORST_LAST.index(REVIEW)


def test_the_shops_own_units_stand_in_the_reasons() -> None:
    changes: dict[str, Any] = {"vapour_negative_s": 300.0, "worst_vapour_margin": -10_000.0}
    assert "-1.5 psi" in judge(replace(GOOD, **changes))[1][0]
    assert "-10 kPa" in judge(replace(GOOD, units=UnitSystem.named("si"), **changes))[1][0]

"""Several presses at once: one cause, one alarm (design facts of the watch; common practice, no source)."""

from __future__ import annotations

from dataclasses import replace

import pytest

from press_monitor.watch.cure_watch import CureWatch, WatchSetup
from press_monitor.watch.shopwide import shop_alarms
from press_monitor.watch.types import AlarmState, AlarmView, Phase, Priority, Snapshot
from tests.watch.bench import RECIPE


def view(kind: str, since: float, *, ident: str = "A1", cause: str | None = None, cleared: float | None = None):
    return AlarmView(
        ident, kind, None, Priority.HIGH, AlarmState.UNACKNOWLEDGED, since + 30.0, since, cleared, cause, "words", "do"
    )


def press(*alarms: AlarmView, phase: Phase = Phase.HOLD) -> Snapshot:
    empty = CureWatch(WatchSetup(RECIPE, None, ("inner_mat", "outer_mat", "bag"))).snapshot()
    return replace(empty, phase=phase, alarms=alarms)


def test_three_presses_that_fall_together_are_one_alarm():
    shop = {name: (1000.0, press(view("heat-lost", 600.0 + i))) for i, name in enumerate(("P1", "P2", "P3"))}
    shop["P4"] = (1000.0, press())
    (alarm,) = shop_alarms(shop)
    assert alarm.kind == "shop-heat-lost"
    assert alarm.presses == ("P1", "P2", "P3")
    assert alarm.since_utc == 1600.0
    assert set(alarm.members) == {("P1", "A1"), ("P2", "A1"), ("P3", "A1")}
    assert alarm.wants_acknowledging(shop)


def test_the_wall_clock_decides_not_the_cycles_own():
    shop = {"P1": (0.0, press(view("heat-lost", 3000.0))), "P2": (2000.0, press(view("heat-lost", 1000.0)))}
    assert [alarm.presses for alarm in shop_alarms(shop)] == [("P1", "P2")]
    apart = {"P1": (0.0, press(view("heat-lost", 3000.0))), "P2": (9000.0, press(view("heat-lost", 3000.0)))}
    assert shop_alarms(apart) == ()


@pytest.mark.parametrize("kind", ["bag-leaking", "bag-low", "bag-burst"])
def test_bags_that_fall_together_point_at_the_compressor(kind: str):
    shop = {"P1": (0.0, press(view(kind, 100.0))), "P2": (0.0, press(view("bag-low", 160.0)))}
    (alarm,) = shop_alarms(shop)
    assert alarm.kind == "shop-air-lost"
    assert "compressor" in alarm.advice


def test_two_of_four_presses_are_not_the_shop():
    shop = {f"P{i}": (0.0, press(view("heat-lost", 100.0)) if i < 3 else press()) for i in range(1, 5)}
    assert shop_alarms(shop) == ()


def test_consequences_and_what_is_over_do_not_count():
    shop = {
        "P1": (0.0, press(view("bag-low", 100.0, cause="A9"))),
        "P2": (0.0, press(view("bag-low", 100.0, cleared=200.0))),
        "P3": (0.0, press(view("bag-low", 100.0))),
    }
    assert shop_alarms(shop) == ()


def gap(ident: str = "A1") -> AlarmView:
    told = view("recorder-gap", 100.0, ident=ident, cleared=230.0)
    return replace(told, message="Nothing was recorded for 130 s: the recorder was not running")


def test_a_restart_befalls_all_presses_once():
    silent = view("no-readings", 100.0, ident="A2", cause="A1", cleared=231.0)
    shop = {name: (0.0, press(gap(), silent)) for name in ("P1", "P2")}
    (alarm,) = shop_alarms(shop)
    assert alarm.kind == "shop-no-readings"
    assert alarm.words == "Nothing was recorded for 130 s: the recorder was not running"
    assert alarm.presses == ("P1", "P2")
    assert set(alarm.members) == {("P1", "A1"), ("P1", "A2"), ("P2", "A1"), ("P2", "A2")}


def test_a_line_still_silent_after_a_gap_is_looked_for_at_the_line():
    silent = view("no-readings", 100.0, ident="A2", cause="A1")
    (alarm,) = shop_alarms({name: (0.0, press(gap(), silent)) for name in ("P1", "P2")})
    assert alarm.words == "No readings"
    assert "what their instruments share" in alarm.advice

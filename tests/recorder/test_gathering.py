"""One cause on several presses: told once, of the shop. No port and no network; a clock set by hand."""

from __future__ import annotations

import threading
from dataclasses import replace

import pytest

from drivers.base import Sample
from press_monitor.callout import Phone
from press_monitor.recorder.alarm_path import AlarmPath
from press_monitor.recorder.calling import Call, Caller, Loudness
from press_monitor.recorder.clock import ShopClock
from press_monitor.recorder.gathering import Shown, gathered
from press_monitor.recorder.recorder import Recorder
from press_monitor.watch.types import AlarmState, AlarmView, Phase, Priority
from tests.crash.processes import until
from tests.recorder.fakes import FakeTime
from tests.recorder.shops import THIN, Bench, demo_shop_file

NORTH = Call("c1/A1", "North", "heat-lost", "The mats fell.", "Keep the bag up.")
SOUTH = replace(NORTH, key="c2/A1", place="South")
SHOP = Call(
    "shop/heat-lost", "2 presses", "heat-lost", "Heat lost (North, South).", "Breaker.", over=("c1/A1", "c2/A1")
)
BOTH = [replace(NORTH, under=SHOP.key), replace(SOUTH, under=SHOP.key), SHOP]


@pytest.fixture(scope="module")
def empty(tmp_path_factory):
    station = Bench(tmp_path_factory.mktemp("bench")).station
    station._changed = True
    return station._empty()


def lost(since, kind="heat-lost", **more):
    usual = AlarmView(
        "A1", kind, None, Priority.HIGH, AlarmState.UNACKNOWLEDGED, since + 30.0, since, None, None, "Words.", "Do."
    )
    return replace(usual, **more)


def shown(empty, **alarms):
    """Running cycles, all begun at 1000 s by the wall clock, with these alarms."""
    return {
        name: Shown(f"c{name[1:]}", 1000.0, replace(empty, phase=Phase.HOLD, alarms=views))
        for name, views in alarms.items()
    }


def test_presses_that_fell_together_are_one_call_and_each_hangs_under_it(empty):
    unattended = replace(SOUTH, unattended=True)
    made = gathered([NORTH, unattended], shown(empty, P1=(lost(600.0),), P2=(lost(640.0),)))
    assert [(call.key, call.under) for call in made] == [
        ("c1/A1", "shop/shop-heat-lost"),
        ("c2/A1", "shop/shop-heat-lost"),
        ("shop/shop-heat-lost", None),
    ]
    shop = made[-1]
    assert (shop.place, shop.kind, shop.over) == ("2 presses", "heat-lost", ("c1/A1", "c2/A1"))
    assert shop.message == "Heat lost (North, South)." and "breaker" in shop.advice and shop.unattended


def test_presses_that_fell_one_after_the_other_or_alone_speak_for_themselves(empty):
    apart = shown(empty, P1=(lost(600.0),), P2=(lost(900.0),))
    assert gathered([NORTH, SOUTH], apart) == [NORTH, SOUTH]
    assert gathered([NORTH], shown(empty, P1=(lost(600.0),))) == [NORTH]


def test_what_hangs_under_a_press_own_alarm_stays_there(empty):
    set_soft = replace(NORTH, key="c1/A2", kind="pressure-lost-uncured", under="c1/A1")
    made = gathered([NORTH, set_soft, SOUTH], shown(empty, P1=(lost(600.0),), P2=(lost(640.0),)))
    assert {call.key: call.under for call in made}["c1/A2"] == "c1/A1"


def titles(caller, calls, times):
    return [(t, message.title) for t in times for message in caller.look(calls, t)[1]]


def test_phones_are_told_once_as_early_as_the_first_and_again_of_what_is_left():
    caller = Caller("Shop", Phone(("json://x",), after=180.0, repeat=600.0))
    assert titles(caller, [NORTH], (0.0, 100.0)) == []
    assert titles(caller, BOTH, (140.0, 179.0, 180.0, 400.0)) == [(180.0, "Shop: 2 presses HEAT LOST")]
    assert titles(caller, [NORTH], (500.0, 779.0, 780.0)) == [(780.0, "Shop: North HEAT LOST")], "South was seen to"
    assert titles(caller, [], (800.0,)) == [(800.0, "Shop: North calls no longer")]
    titles(caller, BOTH, (1000.0, 1180.0))
    assert titles(caller, [], (1200.0,)) == [(1200.0, "Shop: 2 presses call no longer")]


def test_a_silenced_horn_stays_quiet_when_calls_it_knows_are_gathered():
    caller = Caller("Shop")
    caller.look([NORTH, SOUTH], 0.0)
    caller.silence(10.0)
    assert caller.look(BOTH, 20.0)[0] is Loudness.QUIET
    assert caller.look(BOTH, 190.0)[0] is Loudness.ESCALATED


class Steady:
    """An instrument that says the same each time the clock was set on, until it falls silent."""

    def __init__(self, time):
        self.time, self.opened, self.silent, self.last = time, False, False, 0.0

    def open(self):
        self.opened = True

    def read(self, wait):
        threading.Event().wait(0.002)
        at = self.time.real()
        if self.silent or at <= self.last:
            return ()
        self.last = at
        values = {"inner_mat": (70.0, "degF"), "outer_mat": (71.0, "degF"), "bag": (32.0, "psi")}
        return [Sample(name, value, unit, at) for name, (value, unit) in values.items()]

    def close(self):
        return


@pytest.mark.parametrize("silent", [False, True])
def test_after_a_restart_all_presses_are_one_call(tmp_path, monkeypatch, silent):
    heard, drivers, fake = [], [], FakeTime()
    monkeypatch.setattr(AlarmPath, "look", lambda _, calls, now: heard.append(calls))
    shop = demo_shop_file(tmp_path, presses=3)

    def make(*_):
        drivers.append(Steady(fake))
        return drivers[-1]

    def started():
        drivers.clear()
        clock = ShopClock(real=fake.real, wall=fake.wall)
        recorder = Recorder(shop, tmp_path / "archive.sqlite", tmp_path / "key", clock=clock, make=make)
        recorder.start()
        until(lambda: all(driver.opened for driver in drivers), "the ports to be opened")
        return recorder

    def second():
        fake.pass_(1.0)
        until(lambda: all(driver.silent or driver.last == fake.real() for driver in drivers), "the readings")
        recorder.once()

    recorder = started()
    for station in recorder.stations.values():
        station.begin(THIN)
    for _ in range(4):
        second()
    recorder.close()
    fake.pass_(100.0)
    recorder = started()
    for driver in drivers:
        driver.silent = silent
    try:
        for _ in range(14):
            second()
        (shop_call,) = (call for call in heard[-1] if call.over)
        others = [call for call in heard[-1] if call is not shop_call]
        assert {call.place for call in others} == {"North", "South", "Long arm"}
        assert {call.kind for call in others} == {"no-readings"}
        assert {call.under for call in others} == {shop_call.key}
        assert (shop_call.place, shop_call.kind) == ("3 presses", "no-readings")
        if silent:
            assert shop_call.message == "No readings (North, South, Long arm)."
            assert "what their instruments share" in shop_call.advice
        else:
            assert shop_call.message.endswith(": the recorder was not running (North, South, Long arm).")
    finally:
        recorder.close()

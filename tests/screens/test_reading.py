"""What stands first: state, number and line of a press; the worst alarm of the shop."""

from dataclasses import replace

import pytest

from press_monitor.quantities import PSI, UnitSystem
from press_monitor.screens.reading import headline, minutes_left, worst_first
from press_monitor.screens.source import Place, PressView
from press_monitor.screens.widgets.palette import Tone
from press_monitor.screens.words import pressure
from press_monitor.watch.types import AlarmState, FaceView, GateView, Phase, PortView, Priority
from tests.screens.fakes import alarm, degC, shop_of, snapshot

US = UnitSystem.named("us")


def view(shot, number=1):
    return PressView(number, Place(f"P{number}", "North"), "c", 1000.0, shot)


def test_a_cure_going_well_shows_minutes_left_and_when():
    head = headline(view(snapshot(3180, Phase.HOLD)), US)
    assert (head.tone, head.word, head.number, head.label) == (Tone.FINE, "HOLD", "38", ("min", "left"))
    assert head.line.startswith("done about ")


def test_a_low_bag_shows_its_pressure_and_where_it_goes():
    shot = snapshot(1860, Phase.HOLD, bag_Pa=20.4 * PSI, bag_trend_Pa_min=-3 * PSI)
    shot = replace(shot, alarms=(alarm("bag-low", 1700, 1715, "m", "a"),), words="deflating")
    head = headline(view(shot), US)
    assert (head.tone, head.word, head.number, head.label) == (Tone.ALARM, "BAG LOW", "20", ("psi", "falling"))
    assert head.line == "deflating"


def test_a_dead_mat_shows_its_temperature_and_an_open_probe_a_dash():
    shot = snapshot(1860, Phase.HOLD, outer=FaceView("outer_mat", degC(241), True, False, -3))
    lost = replace(shot, alarms=(alarm("heat-lost", 1, 2, "m", "a"),))
    assert headline(view(lost), US).number == "241"
    assert headline(view(lost), US).label == ("°F", "outer mat")
    open_probe = replace(
        shot,
        outer=FaceView("outer_mat", None, False, False, None),
        alarms=(alarm("probe-open", 1, 2, "m", "a", priority=Priority.MEDIUM),),
    )
    head = headline(view(open_probe), US)
    assert (head.tone, head.word, head.number) == (Tone.ATTENTION, "PROBE OPEN", "--")


@pytest.mark.parametrize(
    ("changes", "tone", "word", "number"),
    [
        ({"phase": Phase.EMPTY}, Tone.IDLE, "EMPTY", ""),
        ({"phase": Phase.LOADED, "forecast": None}, Tone.FINE, "LOADED", ""),
        ({"phase": Phase.HOLD, "cure_due": True}, Tone.DONE, "CURE DONE", "41"),
        ({"phase": Phase.COOL_DOWN, "gate": GateView(True, True, False, False)}, Tone.DONE, "COOLING", "301"),
        ({"phase": Phase.COOL_DOWN, "gate": GateView(True, True, True, False)}, Tone.DONE, "COOLING", "41"),
        ({"phase": Phase.RELEASED}, Tone.DONE, "RELEASED", "41"),
    ],
)
def test_each_phase_has_its_word_and_number(changes, tone, word, number):
    head = headline(view(replace(snapshot(3180, Phase.HOLD), **changes)), US)
    assert (head.tone, head.word, head.number) == (tone, word, number)


def test_minutes_left_never_undercut_the_recipes_hold():
    shot = snapshot(3180, Phase.HOLD)
    assert minutes_left(shot) == 38.0
    assert minutes_left(replace(shot, hold_needed_s=shot.hold_s + 3000)) == 50.0
    assert minutes_left(replace(shot, forecast=replace(shot.forecast, minutes_left=None))) is None
    assert headline(view(replace(shot, forecast=replace(shot.forecast, minutes_left=None))), US).number == "--"


def test_a_press_never_heard_of_is_not_an_alarm():
    assert headline(view(None), US).word == "EMPTY"


def test_the_worst_alarm_is_unacknowledged_then_high_then_the_oldest():
    def at(number, *alarms):
        return view(snapshot(3180, Phase.HOLD, alarms=alarms), number)

    old = alarm("bag-low", 10, 20, "m", "a")
    views = [
        at(1, alarm("heat-lost", 5, 6, "m", "a", state=AlarmState.ACKNOWLEDGED)),
        at(2, alarm("mat-weak", 1, 2, "m", "a", priority=Priority.MEDIUM)),
        at(3, replace(old, raised_s=30.0), alarm("bag-burst", 1, 2, "m", "a", consequence_of="bag-low-1")),
        at(4, old, alarm("no-horn", 0, 0, "m", "a", priority=Priority.LOW, state=AlarmState.SHELVED)),
    ]
    assert [(r.view.number, r.alarm.kind) for r in worst_first(views)] == [
        (4, "bag-low"),
        (3, "bag-low"),
        (2, "mat-weak"),
        (1, "heat-lost"),
    ]


def test_an_alarm_that_is_over_but_not_acknowledged_keeps_the_bar_and_frees_the_lane():
    over = alarm("bag-low", 10, 20, "m", "a", state=AlarmState.RETURNED_UNACKNOWLEDGED, cleared_s=100.0)
    press = view(snapshot(3180, Phase.HOLD, alarms=(over,)))
    assert [r.alarm.kind for r in worst_first([press])] == ["bag-low"]
    assert headline(press, US).word == "HOLD"


def test_a_consequence_graver_than_its_cause_speaks_for_itself():
    leak = alarm("bag-leaking", 1, 2, "m", "a", priority=Priority.MEDIUM, state=AlarmState.ACKNOWLEDGED)
    low = alarm("bag-low", 10, 20, "m", "a", consequence_of=leak.id)
    mild = alarm("mat-weak", 10, 20, "m", "a", consequence_of=leak.id, priority=Priority.MEDIUM)
    press = view(snapshot(3180, Phase.HOLD, alarms=(leak, low, mild)))
    assert [r.alarm.kind for r in worst_first([press])] == ["bag-low", "bag-leaking"]
    assert headline(press, US).word == "BAG LOW"


def test_a_pressure_just_below_zero_is_zero():
    assert pressure(-0.03 * PSI, US) == " 0.0"
    assert pressure(-100.0, UnitSystem.named("si")) == "   0"


def test_a_silent_press_is_named_by_its_port_where_that_is_known():
    silent = alarm("no-readings", 3000.0, 3005.0, "No readings", "Watch the gauges.", channel=None)
    shot = snapshot(3180, Phase.HOLD, alarms=(silent,), words="port unplugged: ttyUSB0, trying again")
    assert headline(view(shot), US).word == "NO READINGS"
    gone = PortView("unplugged", "/dev/ttyUSB0", "is not there", trouble=True, lost=True)
    head = headline(view(replace(shot, port=gone)), US)
    assert (head.word, head.line) == ("PORT UNPLUGGED", "port unplugged: ttyUSB0, trying again")


@pytest.mark.parametrize(("down", "words"), [(False, "ready: bag to 0, then ram"), (True, "ready: bag at 0, then ram")])
def test_a_press_that_may_be_released_says_what_comes_next(down, words):
    shot = snapshot(3180, Phase.COOL_DOWN, gate=GateView(True, True, True, down), words="cured, leave the bag up")
    assert headline(view(shot), US).line == words
    still_hot = replace(shot, gate=GateView(True, True, False, down))
    assert headline(view(still_hot), US).line == "cured, leave the bag up"


def test_a_cooling_press_says_below_what_it_may_be_released():
    # The recipe as a recorder writes it: temperatures in degC.
    source = shop_of().source()
    source.poll()
    cooling = source.press("P4")
    assert headline(cooling, US).line.startswith("release below 180 °F, cured")
    assert headline(cooling, UnitSystem.named("si")).line.startswith("release below 82 °C")
    uncured = replace(cooling, snapshot=replace(cooling.snapshot, gate=GateView(True, False, False, False)))
    assert "release below" not in headline(uncured, US).line

"""Who is called, how loudly, and what the phones are told: no port, no network, a clock set by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from press_monitor.callout import Phone
from press_monitor.recorder.calling import Call, Caller, Loudness, calls_of
from press_monitor.watch.types import AlarmState, AlarmView, Priority

BURST = Call("c1/A1", "North", "bag-burst", "The bag lost 20 psi in 3 s.", "Stay clear; heat off.")
LOW = Call("c1/A2", "North", "bag-low", "The bag is below 28 psi.", "Open the supply.", under="c1/A1")


def alarm(name="A1", kind="bag-burst", **more):
    usual = AlarmView(
        name, kind, "bag", Priority.HIGH, AlarmState.UNACKNOWLEDGED, 10.0, 8.0, None, None, "Message.", "Advice."
    )
    return replace(usual, **more)


def test_high_alarms_call_until_they_are_acknowledged_and_no_others():
    alarms = [
        alarm("A1"),
        alarm("A2", "bag-low", consequence_of="A1"),
        alarm("A3", "mats-uneven", priority=Priority.MEDIUM),
        alarm("A4", "heat-lost", consequence_of="A3"),
        alarm("A5", state=AlarmState.ACKNOWLEDGED),
        alarm("A6", state=AlarmState.SHELVED),
        alarm("A7", state=AlarmState.RETURNED_UNACKNOWLEDGED, cleared_s=20.0),
    ]
    calls = calls_of("North", "c1", alarms, unattended=True)
    # A4 hangs under an alarm that does not call itself, so it speaks for itself.
    assert [(c.key, c.under) for c in calls] == [
        ("c1/A1", None),
        ("c1/A2", "c1/A1"),
        ("c1/A4", None),
        ("c1/A7", None),
    ]
    assert calls[0].unattended and calls[0].place == "North" and calls[0].advice == "Advice."


def test_the_horn_grows_louder_after_three_minutes_and_is_quiet_when_all_is_acknowledged():
    caller = Caller("Shop")
    assert caller.look([], 0.0) == (Loudness.QUIET, ())
    assert caller.look([BURST], 10.0)[0] is Loudness.CALLING
    assert caller.look([BURST], 189.9)[0] is Loudness.CALLING
    assert caller.look([BURST], 190.0)[0] is Loudness.ESCALATED
    assert caller.look([], 191.0)[0] is Loudness.QUIET
    assert caller.look([BURST], 192.0)[0] is Loudness.CALLING


def test_a_silenced_horn_is_quiet_for_three_minutes_but_not_for_what_comes_new():
    caller = Caller("Shop")
    assert caller.silence(0.0) == 0
    caller.look([BURST], 0.0)
    assert caller.silence(60.0) == 1
    assert caller.look([BURST], 60.0)[0] is Loudness.QUIET
    assert caller.look([BURST, replace(LOW, under=None)], 61.0)[0] is Loudness.CALLING
    assert caller.look([BURST], 239.0)[0] is Loudness.QUIET
    assert caller.look([BURST], 240.0)[0] is Loudness.ESCALATED


def titles(caller, calls, times):
    return {t: [m.title for m in told] for t in times if (told := caller.look(calls, t)[1])}


def test_phones_are_told_when_nobody_came_then_again_now_and_then_and_when_it_is_over():
    caller = Caller("Juniper Flat", Phone(("json://x",), after=180.0, repeat=600.0))
    assert titles(caller, [BURST, LOW], range(0, 1000, 20)) == {
        180: ["Juniper Flat: North BAG BURST"],
        780: ["Juniper Flat: North BAG BURST"],
    }
    (message,) = caller.look([], 1000.0)[1]
    assert message.title == "Juniper Flat: North calls no longer"
    assert caller.look([], 1001.0)[1] == ()


def test_a_message_says_what_is_wrong_since_when_and_what_to_do():
    caller = Caller("Juniper Flat", Phone(("json://x",)))
    caller.look([BURST], 0.0)
    (message,) = caller.look([BURST], 200.0)[1]
    assert message.body == ("Unacknowledged for 3 min. The bag lost 20 psi in 3 s. What to do: Stay clear; heat off.")


def test_what_was_acknowledged_in_time_tells_no_phone():
    caller = Caller("Shop", Phone(("json://x",)))
    caller.look([BURST], 0.0)
    assert caller.look([], 100.0)[1] == ()


def test_an_unattended_cure_calls_the_phones_at_once():
    caller = Caller("Shop", Phone(("json://x",)))
    assert titles(caller, [replace(BURST, unattended=True)], range(0, 500, 50)) == {0: ["Shop: North BAG BURST"]}


@pytest.mark.parametrize("phone", [None, Phone(("json://x",), after=0.0)])
def test_consequences_tell_no_phone_while_their_cause_does(phone):
    told = Caller("Shop", phone).look([BURST, LOW], 0.0)[1]
    assert [m.title for m in told] == ([] if phone is None else ["Shop: North BAG BURST"])

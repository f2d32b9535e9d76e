"""The recorder's own alarms: raised by the table's delays, told by the table's states, acknowledged and shelved."""

from __future__ import annotations

import pytest

from press_monitor.archive import new_command
from press_monitor.recorder.clock import ClockNote
from press_monitor.recorder.own_alarms import OwnAlarms
from press_monitor.watch.plain import from_json
from press_monitor.watch.types import AlarmState, AlarmView, Priority

NOW = 1_700_000_000.0
FULL = "database or disk is full"


class Clocked:
    """The book, looked at once a second."""

    def __init__(self):
        self.own, self.t, self.moved = OwnAlarms(), 1000.0, []

    def pass_(self, seconds, *, failing=None, no_horn=None, curing=False):
        for _ in range(seconds):
            self.t += 1.0
            self.moved += self.own.look(self.t, failing=failing, no_horn=no_horn, curing=curing)

    def tell(self, kind, **more):
        answer = self.own.obey(new_command(kind, NOW, **more), self.t)
        return (answer.word, answer.text) if answer else None

    @property
    def standing(self):
        return [view.kind for view in self.own.views() if view.standing]


@pytest.fixture
def clocked():
    return Clocked()


def test_a_disk_that_refuses_calls_after_three_seconds_and_until_acknowledged(clocked):
    clocked.pass_(3, failing=FULL)
    assert clocked.own.calls() == [], "one refusal may be a copy passing"
    clocked.pass_(1, failing=FULL)
    (call,) = clocked.own.calls()
    assert (call.place, call.kind, call.message) == (
        "Recorder", "archive-failing", f"What is read cannot be kept: {FULL}",
    )  # fmt: skip
    assert "Make room on the disk" in call.advice
    assert clocked.own.views()[0].since_s == 1001.0
    assert clocked.tell("acknowledge", alarm_id="archive-failing", operator="Ada") == ("done", "")
    clocked.pass_(60, failing=FULL)
    assert clocked.own.calls() == [] and clocked.standing == ["archive-failing"]
    clocked.pass_(6)
    assert clocked.standing == []
    clocked.pass_(10, failing=FULL)
    assert len(clocked.own.calls()) == 1, "it came again"


def test_no_horn_is_raised_when_a_press_is_hot_and_stands_until_there_is_one(clocked):
    clocked.pass_(60, no_horn="no horn and no phone")
    assert clocked.standing == []
    clocked.pass_(12, no_horn="no horn and no phone", curing=True)
    (view,) = clocked.own.views()
    assert (
        view.priority is Priority.LOW and view.message == "No horn and no phone" and "check --test horn" in view.advice
    )
    assert clocked.own.calls() == [], "a low one sounds nothing"
    assert clocked.own.unheeded("no-horn") is view
    clocked.tell("acknowledge", alarm_id=view.id)
    clocked.pass_(3600, no_horn="no horn and no phone")
    clocked.pass_(3600, no_horn="no horn and no phone", curing=True)
    assert clocked.own.unheeded("no-horn") is None, "acknowledged once is enough"
    clocked.pass_(11)
    assert clocked.standing == []


def test_a_horn_that_flickers_is_no_alarm(clocked):
    for _ in range(20):
        clocked.pass_(5, no_horn="the horn cannot sound", curing=True)
        clocked.pass_(1, curing=True)
    assert clocked.own.views() == ()


def test_a_set_clock_is_told_once_and_asks_to_be_acknowledged(clocked):
    clocked.own.note(ClockNote("sleep-gap", NOW, 40.0))
    clocked.pass_(1)
    assert clocked.own.views() == (), "a sleep is its cure's gap"
    clocked.own.note(ClockNote("clock-step", NOW, 3600.0))
    clocked.pass_(20)
    (view,) = clocked.own.views()
    assert view.state is AlarmState.RETURNED_UNACKNOWLEDGED and view.priority is Priority.LOW
    assert view.message == "The computer's clock was set forward by 3600 s; durations are not affected"
    assert [change.alarm.state for change in clocked.moved] == [
        AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED_UNACKNOWLEDGED,
    ]  # fmt: skip
    clocked.tell("acknowledge", alarm_id="clock-step")
    clocked.pass_(1)
    assert clocked.moved[-1].alarm.state is AlarmState.NORMAL


def test_what_a_command_moved_is_told_at_the_next_look(clocked):
    clocked.pass_(5, failing=FULL)
    clocked.moved.clear()
    clocked.tell("acknowledge", alarm_id="archive-failing", operator="Ada")
    assert clocked.moved == []
    clocked.pass_(1, failing=FULL)
    (change,) = clocked.moved
    assert change.alarm.acknowledged_by == "Ada"


def test_shelving_wants_a_name_and_a_reason_and_ends_by_itself(clocked):
    clocked.pass_(12, no_horn="no horn", curing=True)
    assert clocked.tell("shelve", alarm_id="no-horn") == ("refused", "shelving wants a name and a reason")
    note = {"note": "the horn comes tomorrow", "seconds": 1800}
    assert clocked.tell("shelve", alarm_id="no-horn", operator="Ada", args={**note, "seconds": "1"})[0] == "refused"
    assert clocked.tell("shelve", alarm_id="no-horn", operator="Ada", args=note) == ("done", "")
    clocked.pass_(1799, no_horn="no horn")
    assert clocked.own.views()[0].state is AlarmState.SHELVED
    clocked.pass_(1, no_horn="no horn")
    assert clocked.own.views()[0].state is AlarmState.UNACKNOWLEDGED
    clocked.tell("shelve", alarm_id="no-horn", operator="Ada", args=note)
    assert clocked.tell("unshelve", alarm_id="no-horn") == ("done", "")
    assert clocked.tell("reset", alarm_id="no-horn")[0] == "refused"


@pytest.mark.parametrize(("kind", "more"), [("start", {}), ("acknowledge", {"press": "P1", "alarm_id": "A1"})])
def test_other_commands_are_left_to_others(clocked, kind, more):
    assert clocked.tell(kind, **more) is None


@pytest.mark.parametrize("alarm", [None, "A7", "bag-low"])
def test_an_alarm_that_is_none_of_them_is_refused(clocked, alarm):
    assert clocked.tell("acknowledge", alarm_id=alarm) == ("refused", "the command names no alarm of the recorder's")


def test_the_book_does_not_grow_for_ever(clocked):
    for _ in range(100):
        clocked.own.note(ClockNote("clock-step", NOW, 60.0))
        clocked.pass_(12)
    assert len(clocked.own.views()) <= 21
    assert clocked.own.views()[-1].id == "A100"


def test_what_the_screens_get_reads_back(clocked):
    clocked.pass_(5, failing=FULL)
    (told,) = clocked.own.to_json()
    assert from_json(AlarmView, told) == clocked.own.views()[0]

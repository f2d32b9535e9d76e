"""Keeping the computer awake: helper programs that end with this process, and what is said where there are none."""

from __future__ import annotations

import sys
import threading
import time

import pytest

from press_monitor.recorder.awake import AwakeState, ChildInhibitor, KeepAwake, usual_inhibitor

STAYS = [sys.executable, "-c", "import sys; sys.stdin.read()"]
FAILS = [sys.executable, "-c", "import sys; sys.exit('Failed to connect to bus')"]
MISSING = ["no-such-inhibitor-here", "cat"]


def until(condition):
    end = time.monotonic() + 20.0
    while not condition() and time.monotonic() < end:
        threading.Event().wait(0.005)
    return condition()


def test_a_helper_holds_until_it_is_released_and_ends_with_its_input():
    inhibitor = ChildInhibitor([MISSING, STAYS], settle=0.05)
    assert not inhibitor.held()
    inhibitor.hold()
    child = inhibitor._child
    assert inhibitor.held()
    inhibitor.release()
    assert not inhibitor.held() and child.returncode == 0, "it ended by itself when its input closed"
    inhibitor.release()


@pytest.mark.parametrize(
    ("commands", "words"),
    [
        ([], "no way is known"),
        ([MISSING], "there is no no-such-inhibitor-here"),
        ([FAILS], "Failed to connect to bus"),
        ([[sys.executable, "-c", "raise SystemExit(3)"]], "ended with 3"),
    ],
)
def test_where_no_helper_stays_it_says_why(commands, words):
    inhibitor = ChildInhibitor(commands, settle=10.0)
    with pytest.raises(OSError, match=words):
        inhibitor.hold()
    assert not inhibitor.held()


class Scripted:
    """Works or fails as told, and notes the thread of each call."""

    def __init__(self):
        self.fails, self.holding, self.threads = False, False, set()

    def _note(self):
        self.threads.add(threading.current_thread().name)

    def hold(self):
        self._note()
        if self.fails:
            raise OSError("no bus")
        self.holding = True

    def held(self):
        self._note()
        return self.holding

    def release(self):
        self._note()
        self.holding = False


def test_it_is_held_while_a_press_is_hot_in_one_thread_and_taken_again_when_it_is_lost():
    inhibitor = Scripted()
    keep = KeepAwake(lambda: inhibitor, look=0.01, retry=0.01)
    keep.start()
    assert keep.status().state is AwakeState.OFF
    keep.want(True)
    assert until(lambda: keep.status().state is AwakeState.HELD)
    inhibitor.fails = True
    inhibitor.holding = False
    assert until(lambda: keep.status().state is AwakeState.FAILED)
    assert keep.status().why == "the computer may fall asleep: no bus"
    inhibitor.fails = False
    assert until(lambda: inhibitor.holding)
    keep.want(False)
    assert until(lambda: keep.status().state is AwakeState.OFF) and not inhibitor.holding
    keep.want(True)
    assert until(lambda: inhibitor.holding)
    assert keep.stop() and not inhibitor.holding
    # Windows binds the request to the thread that made it.
    assert inhibitor.threads == {"keep awake"}


def test_one_that_was_never_started_can_be_stopped():
    assert KeepAwake(Scripted).stop()


def test_this_system_has_a_way_or_says_that_it_has_none():
    keep = KeepAwake(usual_inhibitor)
    keep.start()
    keep.want(True)
    assert until(lambda: keep.status().state is not AwakeState.OFF)
    status = keep.status()
    assert (status.state is AwakeState.HELD) == (status.why == "")
    assert keep.stop()

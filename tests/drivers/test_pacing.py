"""Waiting on a clock of any speed."""

import threading
import time

from drivers.pacing import Pace
from tests.drivers.clocks import HandClock


def test_what_is_due_is_not_waited_for() -> None:
    clock = HandClock()
    assert Pace(clock).until(clock.now, 60.0)
    assert Pace(clock).until(clock.now - 5.0, 0.0)


def test_nothing_is_waited_for_without_leave() -> None:
    clock = HandClock()
    assert not Pace(clock).until(clock.now + 1.0, 0.0)


def test_a_clock_that_stands_still_ends_at_the_deadline() -> None:
    began = time.monotonic()
    assert not Pace(HandClock()).until(2000.0, 0.03)
    assert 0.02 < time.monotonic() - began < 5.0


def test_a_fast_clock_is_met_without_oversleeping() -> None:
    def clock() -> float:
        return time.monotonic() * 1000.0

    pace = Pace(clock)
    for _ in range(3):
        due = clock() + 30.0  # 0.03 s of real time
        assert pace.until(due, 20.0)
        assert (
            clock() - due < 10_000.0
        )  # 10 s of real time on the busiest machine, not the 30 s a clock taken for real would need


def test_stop_wakes_who_waits() -> None:
    pace = Pace(HandClock())
    woken = threading.Event()

    def wait() -> None:
        pace.until(2000.0, 60.0)
        woken.set()

    thread = threading.Thread(target=wait)
    thread.start()
    pace.stop()
    assert woken.wait(20.0)
    thread.join(20.0)
    assert not pace.until(2000.0, 60.0), "stopped: nobody waits"
    pace.start()
    assert not pace.until(2000.0, 0.0)

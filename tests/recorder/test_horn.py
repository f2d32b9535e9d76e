"""The horn: what the line does, on a clock set by hand and over a shared port of pyserial's own."""

from __future__ import annotations

import sys
import threading
import time

import pytest

from drivers.base import PortLost
from press_monitor.callout import Horn
from press_monitor.recorder.calling import Loudness
from press_monitor.recorder.horn import HornState, HornThread, SerialLine, line_is_on
from tests.drivers.wires import SharedPort
from tests.recorder.fakes import FakeTime

PLAIN, BEATING = Horn("loop://", "dtr"), Horn("loop://", "dtr", heartbeat=10.0)
QUIET, CALLING, ESCALATED = Loudness


def course(horn, loudness, seconds=20, step=0.5, **how):
    how = {"alive": True, "testing": False, **how}
    return [line_is_on(horn, loudness, n * step, **how) for n in range(int(seconds / step))]


def test_a_plain_horn_is_off_beats_and_then_stays_on():
    assert not any(course(PLAIN, QUIET))
    assert course(PLAIN, CALLING, 4) == [True, True, False, False, True, True, False, False]
    assert all(course(PLAIN, ESCALATED))
    assert all(course(PLAIN, QUIET, testing=True))


def test_a_plain_horn_sounds_when_the_recorder_hangs():
    assert all(course(PLAIN, QUIET, alive=False))


def test_a_heartbeat_runs_while_all_is_well_and_only_then():
    assert course(BEATING, QUIET, 20, 2.5) == [True, True, False, False, True, True, False, False]
    for loudness, how in ((CALLING, {}), (ESCALATED, {}), (QUIET, {"alive": False}), (QUIET, {"testing": True})):
        assert not any(course(BEATING, loudness, **how))


class Line:
    """A control line kept in a list; it can be made to fail."""

    def __init__(self, time):
        self.time, self.log, self.fails = time, [], []

    def open(self):
        self.log.append("open")
        if self.fails:
            raise self.fails.pop(0)

    def set(self, on):
        if self.fails:
            raise self.fails.pop(0)
        self.log.append((self.time.seconds - 1000.0, on))

    def close(self):
        self.log.append("close")


def run(horn, seconds, at=(), fails=()):
    """Run the thread's body here for so many seconds; `at` says what is called when."""
    time = FakeTime()
    line, waits, plan = Line(time), [], sorted(at, key=lambda step: step[0])
    line.fails = list(fails)

    def pause(wait):
        waits.append(wait)
        time.pass_(wait)
        while plan and time.seconds - 1000.0 >= plan[0][0]:
            plan.pop(0)[1](thread)
        return time.seconds - 1000.0 >= seconds

    thread = HornThread(horn, line, clock=time.real, pause=pause)
    thread.run()
    return line, waits, thread


def feeding(loudness, start, end):
    return [(t, lambda thread: thread.feed(loudness)) for t in range(start, end)]


def changes(line):
    """What the line was set to, each change once."""
    told, last = [], None
    for entry in line.log:
        if isinstance(entry, tuple) and entry[1] is not last:
            told.append(entry)
            last = entry[1]
    return told


def test_the_line_follows_the_alarms_within_a_quarter_second():
    line, _, _ = run(PLAIN, 12.0, [*feeding(QUIET, 0, 5), *feeding(ESCALATED, 5, 9), *feeding(QUIET, 9, 12)])
    assert changes(line) == [(0.0, False), (5.0, True), (9.0, False)]
    assert line.log[0] == "open" and line.log[-1] == "close"


def test_a_loop_that_no_longer_feeds_the_horn_is_heard():
    line, _, _ = run(PLAIN, 14.0, feeding(QUIET, 0, 3))
    assert changes(line)[:2] == [(0.0, False), (12.0, True)]
    line, _, _ = run(BEATING, 40.0, feeding(QUIET, 0, 21))
    beats = [t for t, on in changes(line) if on]
    assert beats == pytest.approx([0.0, 10.0, 20.0], abs=0.26)


def test_a_line_is_set_again_and_again_so_that_a_port_that_went_is_missed():
    line, _, _ = run(PLAIN, 10.0, feeding(QUIET, 0, 10))
    assert [t for t, _ in (e for e in line.log if isinstance(e, tuple))] == pytest.approx([0, 2, 4, 6, 8, 10])


def test_a_horn_that_is_gone_is_opened_again_for_ever_and_says_why():
    time = FakeTime()
    line, seen = Line(time), []
    line.fails = [PortLost("no such port")] * 6

    def pause(wait):
        seen.append((wait, thread.status()))
        return len(seen) == 7

    thread = HornThread(PLAIN, line, clock=time.real, pause=pause)
    assert thread.status().state is HornState.LOST
    thread.run()
    assert [wait for wait, _ in seen[:6]] == [0.5, 1.0, 2.0, 4.0, 8.0, 10.0]
    assert {status.why for _, status in seen[:6]} == {"no such port"}
    assert seen[6][1].state is HornState.READY


def test_a_fault_of_the_lines_own_is_no_end_of_the_thread():
    _, waits, thread = run(PLAIN, 1.0, fails=[ZeroDivisionError("oops")])
    assert len(waits) > 1 and thread.status().state is HornState.READY


def test_a_test_sounds_for_its_seconds():
    line, _, _ = run(
        PLAIN, 10.0, [*feeding(QUIET, 0, 10), (3, lambda thread: thread.test(3.0)), (4, lambda thread: None)]
    )
    assert changes(line) == [(0.0, False), (3.0, True), (6.0, False)]


def until(condition):
    end = time.monotonic() + 20.0
    while not condition() and time.monotonic() < end:
        threading.Event().wait(0.005)
    return condition()


# pyserial 3.5 names its thread in the old way.
@pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")
def test_a_horn_on_a_port_shared_over_the_network_sounds():
    """The counterpart is pyserial's RFC 2217 server side (RFC 2217, 1997: SET-CONTROL 8/9 DTR, 11/12 RTS)."""
    with SharedPort() as shared:
        thread = HornThread(Horn(shared.url, "rts"))
        thread.start()
        assert until(lambda: thread.status().state is HornState.READY), thread.status()
        assert until(lambda: shared.history[-1:] == [(False, False)])
        thread.feed(ESCALATED)
        assert until(lambda: shared.history[-1] == (False, True)) and thread.status().state is HornState.SOUNDING
        thread.feed(QUIET)
        assert until(lambda: shared.history[-1] == (False, False))
        assert thread.stop(10.0)


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pseudo-terminals")
def test_a_port_without_control_lines_is_no_horn():
    import os

    master, slave = os.openpty()
    try:
        line = SerialLine(Horn(os.ttyname(slave), "dtr"))
        with pytest.raises(PortLost, match="its DTR line cannot be set"):
            line.open()
        line.close()
    finally:
        os.close(master)
        os.close(slave)


def test_a_horn_that_is_not_there_is_lost():
    line = SerialLine(Horn("/dev/no-such-port", "dtr"))
    with pytest.raises(PortLost, match="is not there"):
        line.open()
    with pytest.raises(PortLost, match="not open"):
        line.set(True)

"""Finding the baud and saying what a press gives, on lines that do what the test says and a clock set by hand."""

from __future__ import annotations

import random
from types import SimpleNamespace

import pytest

from drivers.base import Fault, PortLost, Sample
from drivers.serial_port import LineSettings
from press_monitor.setup.findings import State
from press_monitor.setup.listening import BAUDS, find_baud, listen, listen_to_press
from tests.drivers.clocks import HandClock

GARBAGE = random.Random(3).randbytes(2000)


class Line:
    """An instrument that speaks at one baud: text there, noise at any other; time passes by reading."""

    def __init__(self, clock, baud, settings, period=1.0):
        self.clock, self.right, self.settings, self.period = clock, baud, settings, period
        self.opened, self.written, self.sent = False, [], 0

    def open(self):
        self.opened = True

    def read(self, wait):
        self.clock.now += wait
        due = int((self.clock.now - 1000.0) / self.period)
        if due <= self.sent:
            return b""
        self.sent = due
        return b"T1=%d.5 P=32\r\n" % due if self.settings.baud == self.right else GARBAGE[due * 16 : due * 16 + 16]

    def write(self, data):
        self.written.append((self.clock.now, data))

    def close(self):
        self.opened = False


def hear(baud, bauds=BAUDS, seconds=4.0, period=1.0):
    clock, lines, told = HandClock(), [], []

    def make(settings):
        lines.append(Line(clock, baud, settings, period))
        return lines[-1]

    heard = find_baud(LineSettings("x"), bauds, seconds, make=make, clock=clock, told=told.append)
    assert not any(line.opened for line in lines)
    return heard, told, clock.now - 1000.0


def test_the_baud_at_which_text_comes_is_found():
    heard, told, seconds = hear(115_200)
    assert heard.baud == 115_200 and heard.lines[-1].endswith(".5 P=32")
    assert [each.baud for each in told] == [9600, 19_200, 115_200]
    assert told[0].words.startswith("9600 baud: ") and "no text" in told[0].words
    assert seconds < 14.0


def test_where_nothing_is_text_there_is_no_baud_and_silence_is_told_from_noise():
    heard, told, _ = hear(300)
    assert heard is None and [each.baud for each in told] == list(BAUDS)
    heard, told, _ = hear(9600, period=1e9)
    assert heard is None and told[0].words == "9600 baud: nothing came"


def test_noise_that_comes_fast_is_given_up_early():
    assert hear(300, period=0.1)[2] < 8.0


def test_an_instrument_is_asked_while_it_is_listened_to():
    clock = HandClock()
    line = Line(clock, 9600, LineSettings("x"), period=0.4)
    heard = listen(LineSettings("x"), 5.0, ask=b"?\r", make=lambda _: line, clock=clock)
    assert [data for _, data in line.written] == [b"?\r"] * len(line.written) and len(line.written) >= 2
    assert len(heard.lines) == 3, "an answer's first line is whole"


def press(samples, error=None):
    """A press whose driver gives these samples once and then nothing."""
    clock, given = HandClock(), [samples]

    class Driver:
        closed = 0

        def open(self):
            if error:
                raise error

        def read(self, wait):
            clock.now += wait
            return given.pop() if given else []

        def close(self):
            self.closed += 1

    driver = Driver()
    found = listen_to_press(SimpleNamespace(press=SimpleNamespace(name="P1"), driver=driver), 3.0, clock)
    assert driver.closed == 1
    return found


def sample(fault=None):
    return [Sample("bag", None if fault else 1.0, "psi", 0.0, fault)]


@pytest.mark.parametrize(
    ("samples", "error", "state", "words"),
    [
        (sample(), None, State.FINE, "is understood"),
        (sample(Fault.OPEN), None, State.FINE, "is understood"),
        (sample(Fault.GARBLED), None, State.PROBLEM, "wrong baud, parity or form"),
        (sample(Fault.NO_ANSWER), None, State.PROBLEM, "does not answer"),
        ([], None, State.PROBLEM, "nothing came in 3 s"),
        ([], PortLost("/dev/x: no permission. Add this user"), State.PROBLEM, "/dev/x: no permission"),
    ],
)
def test_what_a_press_gives_is_said_with_what_to_do(samples, error, state, words):
    found = press(samples, error)
    assert found.state is state and words in found.words and found.press == "P1"
    assert bool(found.do) == (state is State.PROBLEM)

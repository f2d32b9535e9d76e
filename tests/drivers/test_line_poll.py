"""Prompt and answer: on a wire that does what a list says, and with an instrument on a pseudo-terminal."""

import sys
import time

import pytest

from drivers.base import DriverError, Fault, PortLost
from drivers.line_poll import Asker, read_polling
from drivers.options import Options
from drivers.text_line import TextLineDriver
from tests.drivers.clocks import HandClock
from tests.drivers.wires import instrument

FIELDS = {"fields": ["inner_mat[degF]", "bag[psi]"]}
ONE = {"ask": "READ?\r", **FIELDS}
TWO = {
    "polls": [
        {"ask": "T?\r", "fields": ["inner_mat[degF]"]},
        {"ask": "P?\r", "fields": ["bag[psi]"]},
    ]
}
needs_pty = pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pseudo-terminal pairs")


class FakeWire:
    """Answers from a list, each after so many seconds; time passes only by waiting."""

    def __init__(self, clock, answers=()):
        self.clock, self.answers = clock, list(answers)
        self.coming, self.asked, self.thrown_away = [], [], b""

    def write(self, data):
        self.asked.append((self.clock.now, data))
        delay, answer = self.answers.pop(0) if self.answers else (0.0, b"")
        if answer:
            self.coming.append((self.clock.now + delay, answer))

    def _take(self):
        here = b"".join(data for at, data in self.coming if at <= self.clock.now)
        self.coming = [(at, data) for at, data in self.coming if at > self.clock.now]
        return here

    def read(self, wait):
        end = self.clock.now + wait
        if not any(at <= self.clock.now for at, _ in self.coming):
            self.clock.now = min([end, *(at for at, _ in self.coming)])
        return self._take()

    def more(self, limit):
        here = self._take()
        self.thrown_away += here
        return here

    def pause(self, seconds):
        self.clock.now += seconds


def asking(options, answers=()):
    given = Options(options)
    polling = read_polling(given)
    given.finish()
    clock = HandClock()
    wire = FakeWire(clock, answers)
    return Asker(polling, wire, clock), wire, clock


def told(asker, seconds):
    samples = []
    for _ in range(round(seconds / 0.25)):
        samples += asker.read(0.25)
    return [(round(s.at, 3), s.channel, s.fault if s.value is None else s.value) for s in samples]


def test_an_instrument_is_asked_on_the_beat_and_its_answers_are_read():
    asker, wire, clock = asking(ONE, [(0.1, b"301,32.0\r\n"), (0.6, b"302,32.1\r\n"), (0.1, b"303,32.2\r\n")])
    start = clock.now
    samples = told(asker, 2.5)
    assert [at - start for at, _ in wire.asked] == pytest.approx([0.0, 1.0, 2.0])
    assert {data for _, data in wire.asked} == {b"READ?\r"}
    assert [(round(at - start, 3), value) for at, channel, value in samples if channel == "bag"] == [
        (0.1, 32.0),
        (1.6, 32.1),
        (2.1, 32.2),
    ]


def test_an_answer_in_pieces_is_one_answer():
    asker, wire, clock = asking(ONE)
    wire.answers = [(0.1, b"301,3")]
    wire.coming = [(clock.now + 0.2, b"2.0\r\n")]
    assert [value for _, _, value in told(asker, 0.5)] == [301.0, 32.0]


def test_a_silent_instrument_says_so_for_each_channel_and_is_asked_again():
    asker, _, clock = asking({**ONE, "answer_within": 0.5}, [(0, b""), (0.1, b"301,32\n")])
    start = clock.now
    samples = told(asker, 1.5)
    assert [(round(at - start, 3), value) for at, _, value in samples] == [
        (0.5, Fault.NO_ANSWER),
        (0.5, Fault.NO_ANSWER),
        (1.1, 301.0),
        (1.1, 32.0),
    ]


def test_half_an_answer_is_garbled_not_silent():
    asker, _, _ = asking({**ONE, "answer_within": 0.5}, [(0.1, b"301,32")])
    assert [value for _, _, value in told(asker, 1.0)] == [Fault.GARBLED, Fault.GARBLED]


def test_what_comes_unasked_is_not_taken():
    asker, wire, clock = asking(ONE, [(0.1, b"301,32\n"), (0.1, b"302,33\n")])
    wire.coming.append((clock.now, b"999,99\n"))
    told(asker, 0.5)
    wire.coming.append((clock.now, b"888,88\n"))
    samples = told(asker, 1.0)
    assert [value for _, _, value in samples] == [302.0, 33.0]
    assert wire.thrown_away == b"999,99\n888,88\n"


def test_an_answer_that_comes_late_is_never_taken_for_the_next_questions():
    # T? is answered after 0.8 s where 0.5 s are given: by then the line rests, and P? has not been asked.
    asker, wire, _ = asking({**TWO, "answer_within": 0.5}, [(0.8, b"301\n"), (0.1, b"32\n"), (0.1, b"302\n")])
    samples = told(asker, 2.5)
    assert [value for _, channel, value in samples if channel == "bag"] == [32.0]
    assert [value for _, channel, value in samples if channel == "inner_mat"][:2] == [Fault.NO_ANSWER, 302.0]
    assert wire.thrown_away == b"301\n"


def test_an_answer_of_several_lines():
    options = {"ask": "?\r", "answer_lines": 3, "labels": {"T": "inner_mat[degF]", "P": "bag[psi]"}}
    asker, _, _ = asking(options, [(0.1, b"# logger 7\nT=301\nP=32\nend\n"), (0.1, b"T=302\nP=33\n")])
    # "end" is the third line that says something, and nothing that can be understood.
    assert [value for _, _, value in told(asker, 0.9)] == [301.0, 32.0, Fault.GARBLED, Fault.GARBLED]
    assert [value for _, _, value in told(asker, 2.0)][:2] == [302.0, 33.0]


def test_a_slow_round_skips_beats_and_keeps_the_phase():
    asker, wire, clock = asking({**ONE, "answer_within": 2.0}, [(1.4, b"301,32\n"), (0.1, b"301,32\n")])
    start = clock.now
    told(asker, 2.5)
    assert [round(at - start, 3) for at, _ in wire.asked] == [0.0, 2.0]


@needs_pty
def test_an_instrument_on_a_pseudo_terminal_is_asked_for_each_value():
    count = {"T?": 300.0, "P?": 30.0}

    def answer(question):
        text = question.decode()
        count[text] += 1.0
        return f"{count[text]:.1f}\r\n".encode()

    with instrument(answer) as name:
        driver = TextLineDriver({"port": name, "every": 0.05, **TWO}, time.monotonic)
        assert driver.channels == {"inner_mat": "degF", "bag": "psi"}
        driver.open()
        samples, end = [], time.monotonic() + 20.0
        while len(samples) < 6 and time.monotonic() < end:
            samples += driver.read(0.2)
        driver.close()
    assert [(s.channel, s.value) for s in samples[:6]] == [
        (channel, base + turn) for turn in (1, 2, 3) for channel, base in (("inner_mat", 300.0), ("bag", 30.0))
    ]


@needs_pty
def test_an_instrument_that_goes_while_it_is_asked_is_a_lost_port():
    with instrument(lambda question: None) as name:
        driver = TextLineDriver({"port": name, "every": 0.05, "answer_within": 5.0, **ONE}, time.monotonic)
        driver.open()
        assert driver.read(0.0) == []
    with pytest.raises(PortLost):
        driver.read(5.0)
    driver.close()


@pytest.mark.parametrize(
    ("options", "key"),
    [
        ({**FIELDS, "every": 1}, "every"),
        ({**FIELDS, "answer_within": 1}, "answer_within"),
        ({"ask": "", **FIELDS}, "ask"),
        ({"ask": "§", **FIELDS}, "ask"),
        ({**ONE, **TWO}, "polls"),
        ({**ONE, "every": 0}, "every"),
        ({**ONE, "answer_lines": 0}, "answer_lines"),
        ({"polls": []}, "polls"),
        ({"polls": [{"ask": "T?"}]}, "polls[0].labels"),
        ({"polls": [{"fields": ["bag[psi]"]}]}, "polls[0].ask"),
        ({"polls": [{"ask": "T?", "fields": ["bag[psi]"], "evry": 1}]}, "polls[0].evry"),
        ({"polls": [{"ask": "A", "fields": ["bag[psi]"]}, {"ask": "B", "fields": ["bag[psi]"]}]}, "polls"),
    ],
)
def test_bad_options_are_named(options, key):
    with pytest.raises(DriverError) as caught:
        TextLineDriver({"port": "loop://", **options}, time.monotonic)
    assert caught.value.key == key

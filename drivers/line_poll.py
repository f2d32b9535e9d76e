"""Prompt and answer: instruments that speak only when asked. One question at a time, on a beat.

Times are those of the clock given, which for a real instrument is real time.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from drivers.base import Clock, DriverError, Fault, Sample
from drivers.line_format import FORM_KEYS, LineFormat, read_line_format
from drivers.line_reader import LineReader
from drivers.options import Options

__all__ = ["Asker", "Poll", "Polling", "Wire", "read_polling"]

_MOST_BYTES = 65_536
_MOST_POLLS = 32


class Wire(Protocol):
    """The part of `drivers.serial_port.SerialPort` that asking needs. Every call may raise `PortLost`."""

    def read(self, wait: float) -> bytes:
        """What has come, waiting up to `wait` seconds for the first byte."""

    def more(self, limit: int) -> bytes:
        """What has come by now."""

    def write(self, data: bytes) -> None:
        """Send."""

    def pause(self, seconds: float) -> None:
        """Wait."""


@dataclass(frozen=True, slots=True)
class Poll:
    """A question and how its answer is read; the answer is complete after `lines` lines."""

    ask: bytes
    form: LineFormat
    lines: int = 1


@dataclass(frozen=True, slots=True)
class Polling:
    """All questions of one instrument: each is asked every `every` s and answered within `within` s."""

    polls: tuple[Poll, ...]
    every: float
    within: float


def read_polling(options: Options) -> Polling | None:
    """Read `ask` or `polls` and what goes with them; None for an instrument that speaks by itself.

    Raises `DriverError` naming the key.
    """
    if not options.has("ask") and not options.has("polls"):
        for key in ("every", "answer_within", "answer_lines"):
            if options.has(key):
                raise options.refuse(key, "stands without ask: what is the instrument to be asked?")
        return None
    if options.has("ask") and options.has("polls"):
        raise options.refuse("polls", "stands alone: leave out ask")
    if options.has("ask"):
        polls: tuple[Poll, ...] = (_poll(options),)
    else:
        polls = _polls(options)
    channels = [target.channel for poll in polls for target in poll.form.targets.values()]
    if len(set(channels)) < len(channels):
        raise options.refuse("polls", "give one channel twice")
    return Polling(
        polls,
        options.number("every", 1.0, low=0.05, high=60.0),
        options.number("answer_within", 1.0, low=0.02, high=30.0),
    )


def _polls(options: Options) -> tuple[Poll, ...]:
    """Each poll has a form of its own; what all share stands once, beside them."""
    shared = {key: options.value(key) for key in FORM_KEYS if options.has(key)}
    given = options.tables("polls")
    if not 1 <= len(given) <= _MOST_POLLS:
        raise options.refuse("polls", f"wants 1 to {_MOST_POLLS} questions, not {len(given)}")
    polls = []
    for number, table in enumerate(given):
        inner = Options({**shared, **table}, f"polls[{number}].")
        polls.append(_poll(inner))
        inner.finish()
    return tuple(polls)


def _poll(options: Options) -> Poll:
    text = options.text("ask")
    if not text:
        raise options.refuse("ask", "is empty")
    lines = options.whole("answer_lines", 1, low=1, high=64)
    form = read_line_format(options)
    try:
        return Poll(text.encode(form.encoding), form, lines)
    except UnicodeError:
        raise options.refuse("ask", f"cannot be written in {form.encoding}") from None


class Asker:
    """Asks over a wire. Nothing that comes unasked is taken, and a question without an answer says `NO_ANSWER`."""

    def __init__(self, polling: Polling, wire: Wire, clock: Clock) -> None:
        if not polling.polls:
            raise DriverError("polls", "is empty")
        self._polling = polling
        self._wire = wire
        self._clock = clock
        self._readers = [LineReader(poll.form) for poll in polling.polls]
        self.start()

    def start(self) -> None:
        """Begin anew, as after the port was opened."""
        self._round = self._due = self._clock()
        self._next = 0
        self._deadline: float | None = None
        self._lines_before = 0
        self._heard = False

    def read(self, wait: float) -> Sequence[Sample]:
        """The samples of the next answer, or of its absence, waiting up to `wait` seconds. Raises `PortLost`."""
        end = self._clock() + wait
        while True:
            now = self._clock()
            if self._deadline is None:
                if self._due > now:
                    self._wire.pause(min(self._due, end) - now)
                    if self._due > end:
                        return ()
                    continue
                self._ask()
                self._deadline = now + self._polling.within
            samples = self._listen(end, self._deadline)
            if samples or self._clock() >= end:
                return samples

    def _ask(self) -> None:
        # What is there already answers no question of now.
        self._wire.more(_MOST_BYTES)
        reader = self._readers[self._next]
        reader.reset(whole=True)
        self._lines_before, self._heard = reader.lines, False
        self._wire.write(self._polling.polls[self._next].ask)

    def _listen(self, end: float, deadline: float) -> list[Sample]:
        reader, poll = self._readers[self._next], self._polling.polls[self._next]
        data = self._wire.read(max(0.0, min(end, deadline) - self._clock()))
        now = self._clock()
        samples = reader.feed(data, now) if data else []
        self._heard |= bool(data)
        if reader.lines - self._lines_before >= poll.lines:
            self._go_on(now, rest=any(sample.fault is Fault.GARBLED for sample in samples))
        elif now >= deadline:
            samples += reader.faulty(Fault.GARBLED if self._heard else Fault.NO_ANSWER, now)
            self._go_on(now, rest=True)
        return samples

    def _go_on(self, now: float, *, rest: bool) -> None:
        """To the next question; after a silence or nonsense, `rest`, only when no late answer can be taken for its."""
        self._deadline = None
        self._next += 1
        if self._next == len(self._readers):
            self._next = 0
            every = self._polling.every
            self._round += every * max(1, math.ceil((now - self._round) / every))
            self._due = self._round
        else:
            self._due = now
        if rest:
            self._due = max(self._due, now + self._polling.within)

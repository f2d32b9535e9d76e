"""Samples in, ticks out on an even grid: the pure half of acquisition.

Time is cut into slots of `interval` seconds. A slot is given out as soon as every channel that is alive has said
something in it, so that a fresh reading need not wait for the grid, and at the latest `grace` seconds after its
end. A slot holds each channel's newest sample, unless that sample is a fault or older than max(2.5 s, 2.5 of the
channel's own intervals). An instrument that hands over its memory, in however many pieces, gets every slot of it
filled: while such samples keep coming, a slot waits until it is complete.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from statistics import median_high

from drivers.base import Sample

__all__ = ["Slot", "TickAssembler"]

_STALE_S = 2.5
_STALE_INTERVALS = 2.5
_LONGEST_INTERVAL = 60.0


@dataclass(frozen=True, slots=True)
class Slot:
    """One point of the grid: shop-monotonic seconds, and each channel's sample or None, in the order configured."""

    at: float
    samples: tuple[Sample | None, ...]

    @property
    def empty(self) -> bool:
        """Whether nothing usable came from any channel."""
        return all(sample is None for sample in self.samples)


@dataclass(slots=True)
class _Channel:
    waiting: deque[Sample] = field(default_factory=deque)
    newest: Sample | None = None
    steps: deque[float] = field(default_factory=lambda: deque(maxlen=7))

    def add(self, sample: Sample) -> None:
        last = self.waiting[-1] if self.waiting else self.newest
        if last is not None:
            if sample.at < last.at:
                return  # a channel's samples come in order; an older one tells nothing new
            if 0.0 < sample.at - last.at <= _LONGEST_INTERVAL:
                self.steps.append(sample.at - last.at)
        self.waiting.append(sample)

    def come_to(self, at: float) -> None:
        while self.waiting and self.waiting[0].at <= at:
            self.newest = self.waiting.popleft()

    def interval(self) -> float:
        # The median forgives one long silence, where a mean would call the channel slow for minutes afterwards.
        return median_high(self.steps) if self.steps else 0.0

    def alive(self, at: float) -> bool:
        if self.newest is None:
            return False
        age = at - self.newest.at
        return age <= _STALE_S or age <= _STALE_INTERVALS * self.interval()

    def usable(self, at: float) -> Sample | None:
        if self.newest is None or self.newest.fault is not None or self.newest.value is None:
            return None
        return self.newest if self.alive(at) else None


class TickAssembler:
    """Gathers one press's samples into slots. No clock, no I/O.

    Args:
        channels: the press's channels in the order of its rows; samples of others are counted in `strangers`.
        interval: grid step, s.
        grace: how long after its end a slot still waits for samples on their way, s.
        quiet: how long after the last delivery an instrument's memory counts as handed over, s.
    """

    def __init__(
        self, channels: Sequence[str], *, interval: float = 1.0, grace: float = 0.3, quiet: float = 1.0
    ) -> None:
        self._channels = {name: _Channel() for name in channels}
        self._interval = interval
        self._grace = grace
        self._quiet = quiet
        self._heard = self._newest = -math.inf
        self._next: float | None = None
        self._floor = self._wait_until = self._idle_until = -math.inf
        self.strangers: dict[str, int] = {}

    @property
    def seen(self) -> bool:
        """Whether any configured channel has said anything."""
        return any(c.newest is not None or c.waiting for c in self._channels.values())

    def start_at(self, at: float, wait_until: float = -math.inf) -> None:
        """Lay the grid anew: the next slot ends at `at`, and none before it will be given out.

        Until `wait_until`, nothing is given out before the first sample, which may bring an instrument's memory.
        """
        self._next = self._floor = at
        self._wait_until, self._idle_until = wait_until, -math.inf

    def centre(self) -> None:
        """Shift the grid forward so that samples like the newest one fall into the middle of a slot.

        On the edge between two slots, jitter would put two samples into one of them and none into the next.
        """
        self._idle_until = -math.inf
        if self._next is not None and self._newest > -math.inf:
            self._next += (self._newest + 0.5 * self._interval - self._next) % self._interval

    def latest(self, now: float) -> float:
        """The end of the newest slot given out; before the first one, the grid point at or before `now`."""
        if self._next is None:
            self._next = math.floor(now / self._interval) * self._interval + self._interval
        return self._next - self._interval

    def add(self, samples: Iterable[Sample], now: float) -> None:
        """Take samples that came by shop-monotonic `now`, in the order they came."""
        first = not self.seen
        for sample in samples:
            self._heard, self._newest = now, max(self._newest, sample.at)
            self._idle_until = -math.inf
            channel = self._channels.get(sample.channel)
            if channel is None:
                self.strangers[sample.channel] = self.strangers.get(sample.channel, 0) + 1
            else:
                channel.add(sample)
        if first and self.seen:
            # The first delivery may hold an instrument's history: the grid then begins where the history does.
            oldest = min(c.waiting[0].at for c in self._channels.values() if c.waiting)
            start = max(self._floor, self._grid_at_or_after(oldest))
            self._next = start if self._next is None else min(self._next, start)

    def idle(self, now: float) -> bool:
        """Whether, with no further sample, `due` has nothing to give out at shop-monotonic `now`."""
        return now < self._idle_until

    def due(self, now: float) -> Iterator[Slot]:
        """Give out every slot that is complete or over at shop-monotonic `now`, in order.

        Stopping early loses nothing: the rest come at the next call.
        """
        if now < self._wait_until and not self.seen:
            return
        if self._next is None:
            self._next = self._grid_at_or_after(now)
        behind = self._newest < now - self._grace - self._interval and now - self._heard < self._quiet
        while (not behind and now >= self._next + self._grace) or (
            now > self._next - self._interval and self._complete(self._next, strictly=behind)
        ):
            at = self._next
            self._next = at + self._interval
            for channel in self._channels.values():
                channel.come_to(at)
            yield Slot(at, tuple(channel.usable(at) for channel in self._channels.values()))
        if now <= self._next - self._interval:
            self._idle_until = self._next - self._interval
        else:
            self._idle_until = self._heard + self._quiet if behind else self._next + self._grace

    def _complete(self, at: float, *, strictly: bool) -> bool:
        """Whether every live channel (`strictly`: every one) has a sample in the slot ending at `at` or later."""
        start, alive = at - self._interval, False
        for channel in self._channels.values():
            if channel.waiting and channel.waiting[-1].at > start:
                alive = True
            elif strictly or channel.alive(at):
                return False
        return alive

    def _grid_at_or_after(self, at: float) -> float:
        phase = self._next if self._next is not None else 0.0
        return phase + math.ceil((at - phase) / self._interval) * self._interval

"""One channel as the watch follows it: how often it speaks, how fine and noisy it is, what is known against it."""

from __future__ import annotations

import math
import sys
from dataclasses import dataclass, field

from press_monitor.readings import Quality, Reading, Role, role_of
from press_monitor.readings.setup import possible_range
from press_monitor.watch.history import History
from press_monitor.watch.plain import Json, from_json, to_json

__all__ = ["COARSE", "Channel"]

COARSE = 10.0
"""Width of the bins in which the longer past is kept, s."""
STILLNESS_FADES = 900.0
"""How slowly the longest still spell seen is forgotten, s."""
BOUNDS_FADE = 3600.0
"""How slowly it is forgotten that noise threw a channel five digits out of line, s."""
SPIKE = 15.0
"""A step from one reading to the next that needs a second reading to be believed, K."""
MAT_JUMP = 3.0
"""A step between neighbouring readings that no mat makes, K (over the fastest mat's own fall)."""


@dataclass(slots=True)
class _State:
    last_t: float | None = None
    value: float | None = None
    interval: float = 1.0
    gaps: list[float] = field(default_factory=list)
    missing_since: float | None = None
    lifted_since: float | None = None
    lifted_from: float = 0.0
    back_since: float | None = None
    changed_at: float | None = None
    changed_from: float | None = None
    turns: float = 0.0
    turns_then: float = 0.0
    moves: float = 0.0
    moves_then: float = 0.0
    rising: bool = True
    longest_still: float = 0.0
    step: float = 0.0
    bend: float = 0.0
    bounds: float = 0.0
    bounds_then: float = 0.0
    quantum: float | None = None
    steps: float = 0.0
    bin_start: float | None = None
    bin_sum: float = 0.0
    bin_count: int = 0
    first: float | None = None
    first_t: float = 0.0
    highest: float | None = None
    spike: float | None = None
    spikes: list[float] = field(default_factory=list)
    stuck_since: float | None = None
    wild_since: float | None = None
    wild_until: float = 0.0
    reversed_since: float | None = None


class Channel:
    """The recent past of one channel in SI units."""

    def __init__(self, name: str, window: float = 720.0) -> None:
        self.name = name
        self.role = role_of(name)
        self._low, self._high = possible_range(name) or (-sys.float_info.max, sys.float_info.max)
        self.is_mat = self.role in (Role.INNER_MAT, Role.OUTER_MAT)
        self.history = History(window, 0.95)
        self.coarse = History(5.0 * window)
        self.recent = History(60.0)
        self.s = _State()

    def save(self) -> Json:
        """Plain JSON."""
        return {
            "state": to_json(self.s),
            "history": self.history.save(),
            "coarse": self.coarse.save(),
            "recent": self.recent.save(),
        }

    def load(self, data: Json) -> None:
        """Continue from `save`."""
        self.s = from_json(_State, data["state"])
        self.history.load(data["history"])
        self.coarse.load(data["coarse"])
        self.recent.load(data["recent"])

    @property
    def value(self) -> float | None:
        """The last good value."""
        return self.s.value

    def age(self, t: float) -> float:
        """Seconds since the last good value; a great many where there never was one."""
        return t - self.s.last_t if self.s.last_t is not None else 1e9

    def limit(self, seconds: float) -> float:
        """A time limit, stretched for an instrument that speaks seldom: never under four of its intervals."""
        least = 4.0 * self.s.interval
        return seconds if seconds >= least else least

    def missing_for(self, t: float) -> float:
        """How long the channel has been without a value while others had one."""
        return t - self.s.missing_since if self.s.missing_since is not None else 0.0

    @property
    def quantum(self) -> float:
        """The channel's resolution as seen: the smallest step it ever made."""
        return self.s.quantum or 0.0

    @property
    def noise(self) -> float:
        """The usual size of a step between neighbouring readings."""
        return self.s.steps

    def smooth(self, t: float, seconds: float) -> float | None:
        """The mean of the last few seconds."""
        values = self.recent.v[self.recent.since(t - seconds) :]
        return sum(values) / len(values) if values else None

    def take(self, t: float, reading: Reading | None) -> None:
        """Take what a tick says of this channel: None is nothing at all, a reading that is not good is a fault."""
        if reading is None:
            return
        s, value = self.s, reading.value
        if reading.quality is not Quality.GOOD or not self._low <= value <= self._high:
            if s.missing_since is None:
                s.missing_since = t
            return
        if self.is_mat and self._waits(t, value):
            return
        if s.last_t is not None and s.missing_since is None:
            gap = t - s.last_t
            s.gaps.append(gap)
            if len(s.gaps) > 9:
                del s.gaps[0]
            if gap != s.interval or len(s.gaps) < 9:
                s.interval = sorted(s.gaps)[len(s.gaps) // 2]
            if gap > 4.0 * s.interval + 2.0:
                s.changed_at = t  # what stood still while nothing came has not been seen to stand still
        self._follow_grain(t, value)
        s.missing_since = None
        s.last_t, s.value = t, value
        if s.first is None:
            s.first, s.first_t = value, t
        if s.highest is None or value > s.highest:
            s.highest = value
        self.history.add(t, value)
        self.recent.add(t, value)
        self._bin(t, value)

    def _waits(self, t: float, value: float) -> bool:
        """A single reading that no mat could reach from the one before waits for the next to agree with it."""
        s = self.s
        if s.value is None or s.last_t is None:
            return False
        reach = SPIKE + MAT_JUMP * (t - s.last_t)
        if abs(value - s.value) <= reach or (s.spike is not None and abs(value - s.spike) <= reach):
            s.spike = None
            return False
        s.spike = value
        s.spikes = [*s.spikes[-7:], t]
        return True

    def _follow_grain(self, t: float, value: float) -> None:
        """Resolution, noise, and how often the last digit moves."""
        s = self.s
        if s.value is None or s.changed_at is None:
            s.changed_at = t
            return
        moved = value - s.value
        step = abs(moved)
        quantum = s.quantum or 0.0
        most = 4.0 * s.steps + 1e-3 + quantum
        s.steps += 0.02 * ((step if step <= most else most) - s.steps)
        gap = t - (s.last_t if s.last_t is not None else t)
        gap = gap if gap >= 1e-3 else 1e-3
        turned = False
        bend = moved - s.step
        # four readings on a smooth way differ by at most four digits in this, for rounding alone; one that is read
        # seldom and moves several digits between two readings turns within them as well
        own_way = 0.75 * (s.steps - quantum) if s.steps > quantum else 0.0
        bounded = quantum > 0.0 and abs(bend - s.bend) > 4.5 * quantum + own_way
        s.bounds, s.step, s.bend = s.bounds * (1.0 - min(gap / BOUNDS_FADE, 1.0)) + bounded, moved, bend
        if step > 1e-9:
            rising = value > s.value
            turned, s.rising = rising is not s.rising, rising
            spell = t - s.changed_at
            s.longest_still = max(spell, s.longest_still * math.exp(-spell / STILLNESS_FADES))
            s.changed_at, s.changed_from = t, None
            s.quantum = step if s.quantum is None or step < s.quantum else s.quantum
        # how often the last digit turns back, a second, over the last minutes: noise, not the mat's own way
        s.turns += min(gap / 300.0, 1.0) * ((1.0 / gap if turned else 0.0) - s.turns)
        s.moves += 0.02 * (float(step > 1e-9) - s.moves)
        if step > 1e-9:
            s.turns_then, s.moves_then, s.bounds_then = s.turns, s.moves, s.bounds

    def frozen_for(self, t: float) -> float:
        """How long the value has not moved by a digit while it kept coming."""
        if self.s.last_t != t or self.s.changed_at is None:
            return 0.0
        return t - self.s.changed_at

    @property
    def moves_mostly(self) -> bool:
        """Whether its digit moved at most readings before it last stood still."""
        return self.s.moves_then >= 0.5

    def _bin(self, t: float, value: float) -> None:
        s = self.s
        start = COARSE * (t // COARSE)
        if s.bin_start is not None and start != s.bin_start:
            self.coarse.add(s.bin_start + 0.5 * COARSE, s.bin_sum / s.bin_count)
            s.bin_sum, s.bin_count = 0.0, 0
        s.bin_start = start
        s.bin_sum += value
        s.bin_count += 1

    @property
    def lifted_since(self) -> float | None:
        """When the probe came off, where it has not come back."""
        return self.s.lifted_since

    @property
    def believed(self) -> bool:
        """Whether nothing is known against the probe."""
        s = self.s
        return s.lifted_since is None and s.stuck_since is None and s.wild_since is None and s.reversed_since is None

    @property
    def rhythm_known(self) -> bool:
        """Whether it has spoken often enough to know how often it speaks."""
        return len(self.s.gaps) >= 3

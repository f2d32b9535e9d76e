"""One channel as the watch follows it: how often it speaks, how fine and noisy it is, whether it can be believed."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import pairwise

from press_monitor.readings import Reading, Role, role_of
from press_monitor.readings.setup import possible_range
from press_monitor.watch.history import History
from press_monitor.watch.types import Json, from_json, to_json

__all__ = ["COARSE", "Channel"]

COARSE = 10.0
"""Width of the bins in which the longer past is kept, s."""
FASTEST_MAT = 150.0
"""No mat, not even a bare one, falls toward ambient with a shorter time constant; what does is the probe itself, s."""
LIFTED_DROP = 6.0
BACK_AFTER = 30.0
BAG_JUMP = 10_000.0
"""The same of a bag, Pa a second."""
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
        self._range = possible_range(name)
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
        return max(seconds, 4.0 * self.s.interval)

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
        s = self.s
        if not reading.good or not self._possible(reading.value):
            if s.missing_since is None:
                s.missing_since = t
            return
        if self._waits(t, reading.value):
            return
        if s.last_t is not None and s.missing_since is None:
            s.gaps = [*s.gaps[-8:], t - s.last_t]
            s.interval = sorted(s.gaps)[len(s.gaps) // 2]
            if t - s.last_t > 4.0 * s.interval + 2.0:
                s.changed_at = t  # what stood still while nothing came has not been seen to stand still
        self._follow_grain(t, reading.value)
        s.missing_since = None
        s.last_t, s.value = t, reading.value
        if s.first is None:
            s.first, s.first_t = reading.value, t
        s.highest = reading.value if s.highest is None else max(s.highest, reading.value)
        self.history.add(t, reading.value)
        self.recent.add(t, reading.value)
        self._bin(t, reading.value)

    def _possible(self, value: float) -> bool:
        """Whether a sensor of this role can give it at all."""
        if not math.isfinite(value):
            return False
        return self._range is None or self._range[0] <= value <= self._range[1]

    def _waits(self, t: float, value: float) -> bool:
        """A single reading that no mat could reach from the one before waits for the next to agree with it."""
        s = self.s
        if self.role not in (Role.INNER_MAT, Role.OUTER_MAT) or s.value is None or s.last_t is None:
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
        step = abs(value - s.value)
        s.steps += 0.02 * (min(step, 4.0 * s.steps + 1e-3 + self.quantum) - s.steps)
        gap = max(t - (s.last_t if s.last_t is not None else t), 1e-3)
        turned = False
        if step > 1e-9:
            rising = value > s.value
            turned, s.rising = rising is not s.rising, rising
            s.changed_at, s.changed_from = t, None
            s.quantum = step if s.quantum is None else min(s.quantum, step)
        # how often the last digit turns back, a second, over the last minutes: noise, not the mat's own way
        s.turns += min(gap / 300.0, 1.0) * ((1.0 / gap if turned else 0.0) - s.turns)
        s.moves += 0.02 * (float(step > 1e-9) - s.moves)
        if step > 1e-9:
            s.turns_then, s.moves_then = s.turns, s.moves

    def frozen_for(self, t: float) -> float:
        """How long the value has not moved by a digit while it kept coming."""
        if self.s.last_t != t or self.s.changed_at is None:
            return 0.0
        return t - self.s.changed_at

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

    def watch_lifting(self, t: float, ambient: float, partner: float | None) -> None:
        """Tell a lifted probe by a fall that no mat can make, and its return by agreement with what it was."""
        s = self.s
        if s.value is None or s.last_t != t:
            return
        if s.lifted_since is not None:
            near = s.value > s.lifted_from - LIFTED_DROP or (partner is not None and abs(s.value - partner) < 8.0)
            s.back_since = (s.back_since if s.back_since is not None else t) if near else None
            if s.back_since is not None and t - s.back_since >= BACK_AFTER:
                s.lifted_since = s.back_since = None
            return
        span = max(6.0, 3.0 * s.interval)
        before = self.recent.at(t - span)
        first = self.recent.since(t - span)
        if before is None or len(self.recent) - first < 3:
            return
        fall = before - s.value
        natural = max(before - ambient, 0.0) * -math.expm1(-span / FASTEST_MAT)
        last = self.recent.v[-3:]
        falling = last[0] >= last[1] - 2.0 * s.steps - 0.5 and last[1] >= last[2] - 2.0 * s.steps - 0.5
        if fall > max(LIFTED_DROP, natural) and max(last) < before - 0.4 * fall and falling:
            s.lifted_since, s.lifted_from = self.recent.t[max(first - 1, 0)], before

    @property
    def believed(self) -> bool:
        """Whether nothing is known against the probe."""
        s = self.s
        return s.lifted_since is None and s.stuck_since is None and s.wild_since is None and s.reversed_since is None

    @property
    def rhythm_known(self) -> bool:
        """Whether it has spoken often enough to know how often it speaks."""
        return len(self.s.gaps) >= 3

    def watch_stillness(
        self, t: float, partner: Channel | None, *, heating: bool, after: float, period: float | None = None
    ) -> None:
        """Tell a value that is frozen to the digit from one that is merely steady at a coarse resolution.

        Its own noise tells where there is any, or the thermostat's `period`; in heat-up the other mat's rise does.
        """
        s = self.s
        still = self.frozen_for(t)
        if s.last_t != t:
            return
        if s.stuck_since is not None:
            if still < 1.0:
                s.stuck_since = None
            return
        if s.changed_from is None and partner is not None:
            s.changed_from = partner.value
        if still < self.limit(after):
            return
        usual = min(self._usual_stillness(), 0.7 * period if period is not None else 1e9)
        left_behind = False
        if heating and partner is not None and partner.value is not None and s.changed_from is not None:
            left_behind = partner.value - s.changed_from > max(10.0, 4.0 * self.quantum)
        if still >= usual or left_behind:
            s.stuck_since = s.changed_at

    def _usual_stillness(self) -> float:
        """The longest still spell that its noise before it allows, with a wide margin, s."""
        s = self.s
        if s.changed_at is None or s.turns_then < 1e-3 or s.changed_at - s.first_t < 200.0:
            return 1e9
        # at a coarse resolution a value flickers while it lies between two digits, and is still when it does not:
        # only noise that moves the digit at many readings, back and forth, says that it must move on
        if s.moves_then < 0.3 or s.turns_then * s.interval < 0.3 * s.moves_then:
            return 1e9
        before = self.history.v[self.history.since(s.changed_at - max(60.0, 12.0 * s.interval)) :]
        return 14.0 / s.turns_then if len(set(before)) >= 3 else 1e9

    def watch_jumps(self, t: float) -> None:
        """Tell noise that no mat and no bag makes: several jumps both ways within half a minute."""
        s = self.s
        if len([x for x in s.spikes if x > t - self.limit(30.0)]) >= 3:
            s.wild_since = s.spikes[0] if s.wild_since is None else s.wild_since
            s.wild_until = t + self.limit(30.0)
        if s.last_t != t:
            return
        if len(self.recent) >= 2 and abs(self.recent.v[-1] - self.recent.v[-2]) > self._jump(
            self.recent.t[-1] - self.recent.t[-2]
        ):
            if self._jumps(t) and s.wild_since is None:
                s.wild_since = max(t - self.limit(30.0), s.first_t)
            if s.wild_since is not None:
                s.wild_until = t + self.limit(30.0)
        elif s.wild_since is not None and t > s.wild_until:
            s.wild_since = None

    def _jumps(self, t: float) -> bool:
        first = self.history.since(t - self.limit(30.0))
        values, times = self.history.v[first:], self.history.t[first:]
        up = down = 0
        for (before, after), (t0, t1) in zip(pairwise(values), pairwise(times), strict=True):
            jump = self._jump(t1 - t0)
            up += after - before > jump
            down += before - after > jump
        return up >= 2 and down >= 2

    def watch_crossing(self, t: float, partner: Channel | None) -> None:
        """Tell crossed leads: this mat falls well below where it began while the other one has risen."""
        s = self.s
        if partner is None or s.value is None or s.first is None or partner.value is None or partner.s.first is None:
            return
        if s.last_t != t or partner.age(t) > partner.limit(5.0):
            return
        crossed = (
            s.value < s.first - 4.0 and partner.value > partner.s.first + 8.0 and (s.highest or 0.0) < s.first + 4.0
        )
        if not crossed:
            s.reversed_since = None
        elif s.reversed_since is None:
            s.reversed_since = t

    def _jump(self, seconds: float) -> float:
        if self.role is Role.BAG:
            return BAG_JUMP * max(seconds, 1.0)
        return MAT_JUMP + max(seconds, 1.0)

"""One face of the repair: the mats' readings on it, the hold band, and the cycle its mat keeps when all is well."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field
from itertools import pairwise

from press_monitor.quantities import ZERO_CELSIUS
from press_monitor.watch.channels import Channel
from press_monitor.watch.plain import Json, from_json, to_json
from press_monitor.watch.recipe import Recipe

__all__ = ["HOLD_ON", "Face"]

GAS = 8.314462618
HOLD_ON = 5.0
"""How long a face keeps its last value before it is taken as lost, s."""
MEAN_WINDOW = 300.0
CYCLE_SWING = 8.33
"""The depth of a thermostat's cycle to be expected before it is known: 15 degF."""
UNKNOWN_MARGIN = 4.0
"""What set point and sensor lag may add to it, K."""
STEADY_TIME, STEADY_RANGE, STEADY_DRIFT = 300.0, 2.0, 1.2
"""A mat is held closely when for this long, s, it keeps within this range, K, without drifting more than this, K."""
DIP_OVER = 0.8
"""How far back inside the band a dip is over, K."""
EVEN = 1.8
"""How unlike a thermostat's periods may be, longest over shortest."""
STEADY_MEAN = 60.0
"""A mat without a cycle is judged by the mean of so much, s."""
EVEN_DEPTH = 2.5
"""How unlike the depths of a thermostat's troughs may be, K."""
RESTING = 600.0
"""A mat that has not turned for so long cycles no more, s."""
LONG_MEAN = 600.0
SETTLING = 480.0
"""How long a mat may take from entering its band to its settled cycle, s."""
CALM = (150.0, 30.0)
"""From and until how long before a moment a mat must have held still, s."""
SLACK = 0.02
"""Readings at the very edge of the band are inside it, K."""


@dataclass(slots=True)
class _State:
    entered_at: float | None = None
    low_so_far: float | None = None
    peak: float | None = None
    peak_at: float = 0.0
    below_since: float | None = None
    longest_dip: float = 0.0
    above_since: float | None = None
    longest_rise: float = 0.0
    rises: int = 0
    over_since: float | None = None
    over_count: int = 0
    dips: int = 0
    steady_low: float | None = None
    learned_to: float = 0.0
    trough: float | None = None
    swing_high: float | None = None
    swing_low: float | None = None
    swing_down: bool = False
    troughs: list[float] = field(default_factory=list)
    trough_times: list[float] = field(default_factory=list)
    crests: list[float] = field(default_factory=list)
    crest_at: float = 0.0
    settled_level: float | None = None


class Face:
    """The judged mat face: the coldest believable channel on it counts."""

    def __init__(self, name: str, channels: list[Channel], recipe: Recipe, energy: float) -> None:
        self.name, self.channels, self._recipe, self._energy = name, channels, recipe, energy
        self.s = _State()
        self._weights: deque[tuple[float, float]] = deque()
        self._sum = 0.0
        self._judged: tuple[float, Channel | None] | None = None
        self._level: tuple[tuple[str, float, float], float | None] | None = None
        self._period: tuple[list[float], float | None] | None = None
        self._at: tuple[float, float | None] | None = None
        """The level at a moment, until something is learned."""

    def save(self) -> Json:
        """Plain JSON (the channels save themselves)."""
        return {"state": to_json(self.s), "weights": [list(w) for w in self._weights], "sum": self._sum}

    def load(self, data: Json) -> None:
        """Continue from `save`."""
        self.s = from_json(_State, data["state"])
        self._at = None
        self._weights = deque((w[0], w[1]) for w in data["weights"])
        self._sum = data["sum"]

    def judge(self, t: float) -> Channel | None:
        """The channel that speaks for this face now: the coldest one that is fresh and believed."""
        if self._judged is not None and self._judged[0] == t:
            return self._judged[1]
        fit = [
            c
            for c in self.channels
            if c.value is not None and c.age(t) <= c.limit(HOLD_ON) and c.believed and not c.s.missing_since
        ]
        return min(fit, key=lambda c: c.value or 0.0) if fit else None

    @property
    def judged(self) -> Channel | None:
        """The channel that spoke for this face at the last tick."""
        return self._judged[1] if self._judged is not None else None

    def trusted(self, t: float) -> bool:
        """Whether the face can be judged at `t`."""
        return self.judge(t) is not None

    def value(self, t: float) -> float | None:
        """The judged temperature, degC."""
        judged = self._judged
        channel = judged[1] if judged is not None and judged[0] == t else self.judge(t)
        return None if channel is None else channel.s.value

    def hottest(self, t: float) -> float | None:
        """The hottest believable reading on the face, degC."""
        values = [c.value for c in self.channels if c.value is not None and c.age(t) < 1e-6 and not c.lifted_since]
        return max(values) if values else None

    @property
    def entered(self) -> bool:
        """Whether the mat has reached its band since heat came on."""
        return self.s.entered_at is not None

    def mean(self) -> float | None:
        """The cure-weighted mean of the last five minutes in the band, degC: the steady temperature of equal cure."""
        if not self._weights:
            return None
        rate = self._sum / len(self._weights)
        return -self._energy / GAS / math.log(rate) - ZERO_CELSIUS if rate > 0.0 else None

    def mean_spans(self, t: float) -> float:
        """How many seconds the mean covers."""
        return t - self._weights[0][0] if self._weights else 0.0

    def restart(self) -> None:
        """Forget the cycle: the heat went off."""
        self._at = None
        self.s = _State(low_so_far=None)
        self._weights.clear()
        self._sum = 0.0

    def follow(self, t: float) -> None:
        """Take the tick at `t` into the face's own memory."""
        self._judged = self._at = None
        channel = self.judge(t)
        self._judged = (t, channel)
        if channel is None or channel.value is None or channel.age(t) > 1e-6:
            return
        s, value = self.s, channel.value
        s.low_so_far = value if s.low_so_far is None else min(s.low_so_far, value)
        if s.peak is None or value > s.peak:
            s.peak, s.peak_at = value, t
        over = value > self._recipe.maximum_temperature
        s.over_count = s.over_count + 1 if over else 0
        s.over_since = (t if s.over_since is None else s.over_since) if over else None
        in_band = value >= self._recipe.band_low - SLACK
        if s.entered_at is None and in_band:
            s.entered_at = t
        if s.entered_at is None:
            return
        self._weigh(t, value)
        self._learn(t, value, channel)
        self._follow_rises(t, value)
        if s.below_since is None:
            s.below_since = None if in_band else t
        elif value >= self._recipe.band_low + DIP_OVER:
            if t - s.below_since >= 5.0:
                s.longest_dip = max(s.longest_dip, t - s.below_since)
                s.dips += 1
            s.below_since = None

    def _follow_rises(self, t: float, value: float) -> None:
        s, high = self.s, self._recipe.band_high
        if s.above_since is None:
            s.above_since = t if value > high + SLACK else None
        elif value <= high - DIP_OVER:
            if t - s.above_since >= 5.0:
                s.longest_rise = max(s.longest_rise, t - s.above_since)
                s.rises += 1
            s.above_since = None

    def _weigh(self, t: float, value: float) -> None:
        if self._weights and t - self._weights[-1][0] < 0.95:
            return
        weight = math.exp(-self._energy / GAS / (value + ZERO_CELSIUS))
        self._weights.append((t, weight))
        self._sum += weight
        while self._weights[0][0] < t - MEAN_WINDOW:
            self._sum -= self._weights.popleft()[1]

    def _learn(self, t: float, value: float, channel: Channel) -> None:
        """Learn the cycle: a steady level where the control is close, else the troughs of the thermostat."""
        s, bins = self.s, channel.coarse.t
        if s.entered_at is None:
            return
        fresh = bool(bins) and bins[-1] != s.learned_to
        if fresh and t - s.entered_at >= STEADY_TIME and channel.history.spans(STEADY_TIME, t):
            since, s.learned_to = t - STEADY_TIME, bins[-1]
            low, high = channel.coarse.low(since, t), channel.coarse.high(since, t)
            if low is not None and high is not None and high - low < STEADY_RANGE:
                slope = channel.coarse.slope(since)
                if slope is not None and abs(slope) * STEADY_TIME < STEADY_DRIFT:
                    # not the last minute: a mat that begins to fall would take its own floor along
                    s.steady_low = channel.coarse.low(since, t - 60.0) or low
        s.swing_high = value if s.swing_high is None else s.swing_high
        s.swing_low = value if s.swing_low is None else s.swing_low
        if s.swing_down:
            s.swing_low = min(s.swing_low, value)
            if value > s.swing_low + 1.5:
                s.troughs = [*s.troughs[-3:], s.swing_low]
                s.trough_times = [*s.trough_times[-3:], t]
                s.swing_down, s.swing_high = False, value
        else:
            s.swing_high = max(s.swing_high, value)
            if value < s.swing_high - 1.5:
                s.crests, s.crest_at = [*s.crests[-2:], s.swing_high], t
                s.swing_down, s.swing_low = True, value

    def floor(self) -> float:
        """The temperature under which the mat has left its learned cycle, degC."""
        s, hold = self.s, self._recipe.hold_temperature
        expected = hold - CYCLE_SWING - UNKNOWN_MARGIN
        learned = []
        if s.steady_low is not None:
            learned.append(max(min(s.steady_low - 2.0, self._recipe.band_low + 3.5), expected))
        if len(s.troughs) >= 2 and max(s.troughs) - min(s.troughs) < EVEN_DEPTH:
            learned.append(min(min(s.troughs) - 2.0, self._recipe.band_low))
        if learned:
            return min(learned)
        return expected

    def period(self) -> float | None:
        """The thermostat's period as learned from its last troughs, s; None where there is no such cycle."""
        times = self.s.trough_times
        if len(times) < 3:
            return None
        if self._period is None or self._period[0] is not times:  # a new trough makes a new list
            gaps = [b - a for a, b in pairwise(times)]
            # a controller's settling after a change makes troughs too, but no even ones
            self._period = (times, sum(gaps) / len(gaps) if max(gaps) < EVEN * min(gaps) else None)
        return self._period[1]

    def _usual(self) -> float:
        """The time between its last troughs, even or not, s; 0 where there are none."""
        times = self.s.trough_times
        return (times[-1] - times[0]) / (len(times) - 1) if len(times) > 1 else 0.0

    def cycle(self, t: float) -> float | None:
        """The period, where the mat kept a thermostat's even cycle up to a moment: no settling that died away."""
        s, period = self.s, self.period()
        if period is None or t - s.trough_times[-1] > 1.05 * period or max(s.troughs) - min(s.troughs) > EVEN_DEPTH:
            return None
        channel = self.judge(t)
        if channel is not None and channel.value is not None and channel.value < min(s.troughs) - 0.4:
            return None  # below the foot of its cycle it may have come to rest for want of heat
        return period

    def level(self, t: float) -> float | None:
        """The mean over whole cycles, five minutes at least, degC; None until there is so much."""
        if self._at is None or self._at[0] != t:
            self._at = (t, self._level_at(t))
        return self._at[1]

    def _level_at(self, t: float) -> float | None:
        channel, entered = self.judge(t), self.s.entered_at
        if channel is None or entered is None:
            return None
        period, times = self.period(), self.s.trough_times
        usual = self._usual()
        if usual and t - times[-1] > 3.0 * usual:
            period = None  # it cycles no more
        elif period is None and self.s.steady_low is None:
            return None  # a cycle that is not even has no whole number of periods
        # a thermostat's windows are whole cycles and many of them: part of a cycle would tilt the mean
        span = MEAN_WINDOW if period is None else period * max(3, round(2.0 * MEAN_WINDOW / period))
        if not self.learned() or t - entered < span + SETTLING:
            return None
        coarse = channel.coarse
        first = coarse.since(t - span)
        ends = (coarse.t[first], coarse.t[-1]) if first < len(coarse.t) else (0.0, 0.0)
        asked = (channel.name, *ends)
        if self._level is None or self._level[0] != asked:
            values = coarse.v[first:]
            self._level = (asked, sum(values) / len(values) if len(values) >= 3 else None)
        return self._level[1]

    def at_rest(self, t: float) -> tuple[float, float] | None:
        """Where a mat that kept a cycle has come to rest, and the middle of that cycle, degC; None where it has not.

        A thermostat that switches no more has its heat on all the time, or off.
        """
        s, channel = self.s, self.judge(t)
        if channel is None or len(s.trough_times) < 2 or len(s.crests) < 2:
            return None
        if t - max(s.trough_times[-1], s.crest_at) < max(3.0 * self._usual(), RESTING):
            return None
        low, mean, high = (
            f(t - MEAN_WINDOW, t) for f in (channel.coarse.low, channel.coarse.mean, channel.coarse.high)
        )
        if low is None or mean is None or high is None or high - low > STEADY_RANGE:
            return None
        return mean, 0.25 * (sum(s.troughs[-2:]) + sum(s.crests[-2:]))

    def long_mean(self, t: float) -> float | None:
        """The mean of the last ten minutes of a mat that was never below its set value in them, degC; else None."""
        s, channel = self.s, self.judge(t)
        risen = s.rises or s.above_since is not None
        if not risen or channel is None or s.entered_at is None or t - s.entered_at < LONG_MEAN:
            return None
        low = channel.coarse.low(t - LONG_MEAN, t)
        if low is None or low < self._recipe.hold_temperature:
            return None  # part of a slow cycle tilts a mean of minutes
        return channel.coarse.mean(t - LONG_MEAN, t)

    def steady(self, t: float) -> float | None:
        """Where the mat stands, degC: of one that is held closely the last minute tells, else `level`."""
        channel, entered = self.judge(t), self.s.entered_at
        if channel is None or entered is None or self.s.steady_low is None or self.period() is not None:
            return self.level(t)
        span = channel.limit(STEADY_MEAN)
        return channel.coarse.mean(t - span, t) if t - entered >= SETTLING else None

    def stands_still(self, t: float) -> bool:
        """Whether its probe has stood so still for so long that it may be stuck: that is found out first."""
        channel = self.judge(t)
        return channel is not None and channel.frozen_for(t) > channel.limit(45.0) and channel.moves_mostly

    def was_calm(self, t: float) -> bool:
        """Whether the mat held still in its band just before a moment: what comes then is no part of a cycle."""
        channel, entered = self.judged, self.s.entered_at
        if channel is None or entered is None or t - entered < CALM[0] + 60.0:
            return False
        low, high = (f(t - CALM[0], t - CALM[1]) for f in (channel.coarse.low, channel.coarse.high))
        return low is not None and high is not None and high - low < 1.2

    def learned(self) -> bool:
        """Whether the cycle is known."""
        return self.s.steady_low is not None or len(self.s.trough_times) >= 3

    def in_band(self, t: float) -> bool:
        """Whether the judged value lies in the hold band."""
        value = self.value(t)
        return value is not None and self._recipe.band_low - SLACK <= value <= self._recipe.band_high + SLACK

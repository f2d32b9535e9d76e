"""What can be wrong with the bag, told from its pressure and its own recent past."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import pairwise

from press_monitor.quantities import ATMOSPHERE, PSI
from press_monitor.watch.advice import Stage, Words
from press_monitor.watch.alarms import Condition
from press_monitor.watch.channels import Channel
from press_monitor.watch.recipe import Recipe
from press_monitor.watch.types import Json, Phase, from_json, to_json

__all__ = ["Bag"]

Cooling = Callable[[float], float]
"""The share of the bag's absolute pressure that the mats' fall since a moment may have taken (ideal gas), 0 or more."""

BURST_RATE = 0.5 * PSI
FAST_LEAK = 0.8 * PSI / 60.0
SLOW_LEAK = 0.12 * PSI / 60.0
DEADBAND = 0.5 * PSI
TOOTH = 0.25 * PSI


@dataclass(slots=True)
class _State:
    up_since: float | None = None
    burst_since: float | None = None
    low_since: float | None = None
    leak_since: float | None = None
    down_since: float | None = None
    settled_since: float | None = None
    turn_value: float | None = None
    turn_t: float = 0.0
    extreme_value: float = 0.0
    extreme_t: float = 0.0
    rising: bool = False
    fall: tuple[float, ...] = ()
    refills: list[float] = field(default_factory=list)


class Bag:
    """Detectors over the bag channel. `None` channel: no bag pressure is recorded on this press."""

    def __init__(self, recipe: Recipe, channel: Channel | None, words: Words) -> None:
        self._recipe, self.channel, self._words = recipe, channel, words
        self.s = _State()

    def save(self) -> Json:
        """Plain JSON."""
        return to_json(self.s)

    def load(self, data: Json) -> None:
        """Continue from `save`."""
        self.s = from_json(_State, data)

    def value(self, t: float) -> float | None:
        """The bag's pressure while it can be believed, Pa gauge."""
        channel = self.channel
        if channel is None or channel.value is None or channel.age(t) > channel.limit(5.0):
            return None
        return channel.value

    def pressed(self, t: float) -> bool | None:
        """Whether the bag is at or above its minimum; None where it is not known."""
        value = self.value(t)
        return None if value is None else value >= self._recipe.bag_minimum

    @property
    def been_up(self) -> bool:
        """Whether the bag has been up in this cycle."""
        return self.s.up_since is not None

    def trend(self, t: float) -> float | None:
        """Pressure trend over the last two minutes, Pa/min."""
        if self.channel is None or not self.channel.history.spans(20.0, t):
            return None
        slope = self.channel.history.slope(t - self.channel.limit(120.0))
        return None if slope is None else 60.0 * slope

    def down_for(self, t: float) -> float:
        """How long the bag has been under a fifth of its target, s."""
        return t - self.s.down_since if self.s.down_since is not None else 0.0

    def follow(self, t: float, phase: Phase, *, heat_falling: bool) -> None:
        """Take the tick at `t` into the bag's own memory."""
        channel, s = self.channel, self.s
        if channel is None or channel.value is None or channel.age(t) > 1e-6:
            return
        value = channel.value
        if value >= self._recipe.bag_minimum:
            s.up_since = t if s.up_since is None else s.up_since
            s.low_since = None
            s.burst_since = None
        elif s.low_since is None:
            s.low_since = t
        if value < 0.2 * self._recipe.bag_pressure:
            s.down_since = t if s.down_since is None else s.down_since
        else:
            s.down_since = None
        self._follow_teeth(t, value, heat_falling=heat_falling)
        s.settled_since = (s.settled_since or t) if phase is Phase.HOLD else None

    def _follow_teeth(self, t: float, value: float, *, heat_falling: bool) -> None:
        """Find the saw-tooth of a supply that keeps refilling a leak: slow fall, quick rise."""
        s = self.s
        if s.turn_value is None:
            s.turn_value, s.turn_t, s.extreme_value, s.extreme_t = value, t, value, t
            return
        ahead = value > s.extreme_value if s.rising else value < s.extreme_value
        if ahead:
            s.extreme_value, s.extreme_t = value, t
            return
        if abs(value - s.extreme_value) < TOOTH:
            return
        travelled, took = s.extreme_value - s.turn_value, s.extreme_t - s.turn_t
        if s.rising and travelled > TOOTH and s.fall:
            fell, falling = s.fall
            if falling > 3.0 * max(took, 1.0) and fell > TOOTH and not heat_falling:
                s.refills = [x for x in s.refills if x > t - 900.0] + [s.extreme_t]
        s.fall = (-travelled, took) if not s.rising else ()
        s.turn_value, s.turn_t = s.extreme_value, s.extreme_t
        s.rising = not s.rising
        s.extreme_value, s.extreme_t = value, t

    def conditions(
        self,
        t: float,
        phase: Phase,
        *,
        hottest_mat: float | None,
        heating_since: float | None,
        cooling: Cooling,
        stage: Stage,
    ) -> Iterator[Condition]:
        """Everything that is wrong with the bag at `t`. `cooling` says what the mats' own fall explains."""
        value = self.value(t)
        if value is None or phase not in (Phase.LOADED, Phase.HEAT_UP, Phase.HOLD, Phase.COOL_DOWN):
            return
        if value > self._recipe.bag_maximum:
            yield Condition(
                "bag-high",
                "bag",
                t,
                self._words.bag_high_message(value, self._recipe.bag_maximum),
                self._words.bag_high_advice(stage),
            )
        hot = hottest_mat is not None and hottest_mat > 93.3
        if heating_since is None or phase not in (Phase.HEAT_UP, Phase.HOLD):
            return
        yield from self._burst(t, value, stage)
        if self.been_up and value < self._recipe.bag_minimum + (DEADBAND if self.s.low_since else 0.0):
            since = self.s.low_since if self.s.low_since is not None else t
            yield Condition(
                "bag-low",
                "bag",
                since,
                self._words.bag_low_message(value, self._recipe.bag_minimum, self.trend(t)),
                self._words.bag_advice(stage),
            )
        if hot and value < self._recipe.bag_minimum * (0.5 if self.been_up else 1.0):
            yield Condition(
                "heat-without-pressure",
                "bag",
                self.s.low_since if self.s.low_since is not None else t,
                self._words.no_pressure_message(value, hottest_mat, been_up=self.been_up),
                self._words.no_pressure_advice(stage),
            )
        if self.been_up and self.s.burst_since is None:
            yield from self._leaking(t, value, cooling, stage)
            yield from self._topping_up(t, stage)

    def _burst(self, t: float, value: float, stage: Stage) -> Iterator[Condition]:
        channel, s = self.channel, self.s
        if channel is None:
            return
        if s.burst_since is None and channel.age(t) < 1e-6 and self.been_up:
            span = max(3.0, 1.5 * channel.s.interval)
            before = channel.recent.at(t - span)
            if before is not None:
                first = max(channel.recent.since(t - span) - 1, 0)
                rate = (before - value) / max(t - channel.recent.t[first], 1e-6)
                fell = rate >= BURST_RATE and before - value >= 1.2 * PSI and before > 0.5 * self._recipe.bag_minimum
                if fell and not self._popped(t, value):
                    near = [
                        at
                        for at, v in zip(channel.recent.t[first:], channel.recent.v[first:], strict=True)
                        if v > before - 0.5 * PSI
                    ]
                    s.burst_since = near[-1] if near else channel.recent.t[first]
        if s.burst_since is not None:
            yield Condition(
                "bag-burst", "bag", s.burst_since, self._words.burst_message(value), self._words.bag_advice(stage)
            )

    def _popped(self, t: float, value: float) -> bool:
        """Whether the fall is a relief valve's: from above the target, and over while still above the minimum."""
        channel = self.channel
        if channel is None:
            return False
        last = channel.recent.at(t - 1.01 * channel.s.interval)
        return value > self._recipe.bag_minimum and last is not None and last - value < 0.3 * PSI

    def _leaking(self, t: float, value: float, cooling: Cooling, stage: Stage) -> Iterator[Condition]:
        channel, s = self.channel, self.s
        if channel is None:
            return
        rate = self._fast_leak(t, channel, value, cooling) or self._slow_leak(t, channel, cooling)
        if rate is None:
            if s.leak_since is not None and self.trend(t) is not None and (self.trend(t) or 0.0) > -0.05 * PSI:
                s.leak_since = None
        elif s.leak_since is None:
            excess = (channel.history.high(t - 600.0, t) or value) - value
            s.leak_since = max(t - excess / max(-rate, 1e-9), t - 600.0, s.up_since or 0.0)
        if s.leak_since is not None:
            shown = 60.0 * rate if rate is not None else self.trend(t) or 0.0
            yield Condition(
                "bag-leaking",
                "bag",
                s.leak_since,
                self._words.leaking_message(value, shown, self._recipe.bag_minimum),
                self._words.leaking_advice(stage),
            )

    def _fast_leak(self, t: float, channel: Channel, value: float, cooling: Cooling) -> float | None:
        """A steady fall of 1 psi/min or more, to below anything of the last ten minutes; its rate in Pa/s."""
        window = channel.limit(20.0)
        history = channel.history
        if not history.spans(window + 60.0, t):
            return None
        known_low = history.low(max(t - 600.0, self.s.up_since or 0.0), t - window - 5.0)
        if known_low is None or value > known_low - 0.25 * PSI:
            return None
        slope = history.slope(t - window)
        parts = [history.at(t - window * part / 3.0) for part in (3, 2, 1, 0)]
        falling = all(a is not None and b is not None and b < a for a, b in pairwise(parts))
        explained = cooling(t - window) * (value + ATMOSPHERE) / window
        return slope if falling and slope is not None and slope + explained < -FAST_LEAK else None

    def _slow_leak(self, t: float, channel: Channel, cooling: Cooling) -> float | None:
        """In settled hold, ten minutes of steady fall to below anything before; its rate in Pa/s."""
        s, history = self.s, channel.history
        if s.settled_since is None or t - s.settled_since < 900.0 or not history.spans(600.0, t):
            return None
        slope = history.slope(t - 600.0)
        if slope is None or slope + cooling(t - 600.0) * (history.v[-1] + ATMOSPHERE) / 600.0 > -SLOW_LEAK:
            return None
        lows = [history.low(t - 600.0 + 150.0 * part, t - 450.0 + 150.0 * part) for part in range(4)]
        falling = all(a is not None and b is not None and b < a for a, b in pairwise(lows))
        return slope if falling else None

    def _topping_up(self, t: float, stage: Stage) -> Iterator[Condition]:
        recent = [x for x in self.s.refills if x > t - 900.0]
        if len(recent) >= 3:
            yield Condition(
                "bag-topping-up",
                "bag",
                recent[0],
                self._words.topping_message(len(recent), (recent[-1] - recent[0]) / (len(recent) - 1) / 60.0),
                self._words.leaking_advice(stage),
            )

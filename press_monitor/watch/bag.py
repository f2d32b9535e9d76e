"""What can be wrong with the bag, told from its pressure and its own recent past."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise

from press_monitor.quantities import PSI
from press_monitor.watch.advice import Stage, Words
from press_monitor.watch.alarms import Condition
from press_monitor.watch.channels import Channel
from press_monitor.watch.kinds import KINDS, AlarmKind
from press_monitor.watch.leak import Cooling, Leak
from press_monitor.watch.plain import Json, from_json, to_json
from press_monitor.watch.recipe import BagSupply, Recipe
from press_monitor.watch.types import Phase

__all__ = ["Bag"]

BURST_RATE, BURST_SPAN = 0.5 * PSI, 3.0


@dataclass(slots=True)
class _State:
    up_since: float | None = None
    burst_since: float | None = None
    low_since: float | None = None
    first_low: float | None = None
    high_since: float | None = None
    down_since: float | None = None
    settled_since: float | None = None


class Bag:
    """Detectors over the bag channel. `None` channel: no bag pressure is recorded on this press."""

    def __init__(
        self, recipe: Recipe, channel: Channel | None, words: Words, kinds: Mapping[str, AlarmKind] = KINDS
    ) -> None:
        self._low, self._high = kinds["bag-low"], kinds["bag-high"]
        self._recipe, self.channel, self._words = recipe, channel, words
        shut = recipe.bag_supply is BagSupply.SEALED
        self.leak = Leak(channel, shut=shut) if channel is not None else None
        self.s = _State()
        self._now: tuple[float, float | None] | None = None
        """The pressure at the last tick."""

    def save(self) -> Json:
        """Plain JSON."""
        return {"state": to_json(self.s), "leak": None if self.leak is None else self.leak.save()}

    def load(self, data: Json) -> None:
        """Continue from `save`."""
        self.s = from_json(_State, data["state"])
        if self.leak is not None:
            self.leak.load(data["leak"])

    def value(self, t: float) -> float | None:
        """The bag's pressure while it can be believed, Pa gauge."""
        if self._now is not None and self._now[0] == t:
            return self._now[1]
        channel = self.channel
        if channel is None or channel.s.value is None or not channel.believed:
            return None
        return channel.s.value if channel.age(t) <= channel.limit(5.0) else None

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

    def follow(
        self, t: float, phase: Phase, *, cooling: Cooling, sinking: bool, mats: tuple[float | None, ...] = ()
    ) -> None:
        """Take the tick at `t` into the bag's own memory; `mats` in degC, None where one cannot be believed."""
        self._now = None
        self._now = (t, self.value(t))
        channel, s = self.channel, self.s
        if channel is None or channel.value is None or channel.age(t) > 1e-6:
            return
        value = channel.value
        if value >= self._recipe.bag_minimum:
            s.low_since = None if s.up_since is None else s.low_since  # filling up is not falling low
            s.burst_since = None
            if s.up_since is None or value >= self._recipe.bag_minimum + self._low.deadband:
                s.low_since = None
            s.up_since = t if s.up_since is None else s.up_since
        elif s.low_since is None:
            # one sample is no low bag; the second says so, since the first
            s.low_since, s.first_low = (s.first_low, None) if s.first_low is not None else (None, t)
        if value >= self._recipe.bag_minimum:
            s.first_low = None
        if value > self._recipe.bag_maximum:
            s.high_since = t if s.high_since is None else s.high_since
        elif value <= self._recipe.bag_maximum - self._high.deadband:
            s.high_since = None
        if value < 0.2 * self._recipe.bag_pressure:
            s.down_since = t if s.down_since is None else s.down_since
        else:
            s.down_since = None
        s.settled_since = (s.settled_since if s.settled_since is not None else t) if phase is Phase.HOLD else None
        if self.leak is not None and s.up_since is not None:
            self.leak.follow(
                t,
                up_since=s.up_since,
                settled_since=s.settled_since,
                cooling=cooling,
                sinking=sinking,
                mats=mats,
            )

    def conditions(
        self,
        t: float,
        phase: Phase,
        *,
        hottest_mat: float | None,
        heating_since: float | None,
        stage: Stage,
    ) -> Iterator[Condition]:
        """Everything that is wrong with the bag at `t`."""
        value = self.value(t)
        if value is None or phase not in (Phase.LOADED, Phase.HEAT_UP, Phase.HOLD, Phase.COOL_DOWN):
            return
        if self.s.high_since is not None:
            yield Condition(
                "bag-high",
                "bag",
                self.s.high_since,
                self._words.bag_high_message(value, self._recipe.bag_maximum),
                self._words.bag_high_advice(stage),
            )
        hot = hottest_mat is not None and hottest_mat > 93.3
        if heating_since is None or phase not in (Phase.HEAT_UP, Phase.HOLD):
            return
        yield from self._burst(t, value, stage)
        if self.been_up and self.s.low_since is not None:
            since = self.s.low_since
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
            yield from self._leaking(t, value, stage)

    def _burst(self, t: float, value: float, stage: Stage) -> Iterator[Condition]:
        channel, s = self.channel, self.s
        if channel is None:
            return
        if s.burst_since is None and channel.age(t) < 1e-6 and self.been_up:
            s.burst_since = self._burst_onset(t, value, channel)
        if s.burst_since is not None:
            yield Condition(
                "bag-burst", "bag", s.burst_since, self._words.burst_message(value), self._words.bag_advice(stage)
            )

    def _burst_onset(self, t: float, value: float, channel: Channel) -> float | None:
        """When the bag burst, if it did: a fall too quick, and going on. A relief valve's is over at once."""
        recent = channel.recent
        start = recent.before(t - max(BURST_SPAN, 1.01 * channel.s.interval))
        if start < 0:
            return None
        before, began = recent.v[start], recent.t[start]
        fell = before - value
        if fell < max(1.2 * PSI, 2.0 * channel.quantum) or fell < (BURST_RATE - 0.02 * PSI) * (t - began):
            return None
        if before < 0.5 * self._recipe.bag_minimum:
            return None
        if value >= self._recipe.bag_minimum and not self._going_on(t, value, began, before):
            return None
        for index in range(len(recent) - 1, start - 1, -1):
            if recent.v[index] > before - 0.5 * PSI:
                return recent.t[index]
        return began

    def _going_on(self, t: float, value: float, began: float, before: float) -> bool:
        """Whether a fall not yet at the minimum is more than a relief valve's: steady, and not from far above."""
        channel, recipe = self.channel, self._recipe
        vents = recipe.bag_supply is BagSupply.RELIEF or before > recipe.bag_pressure + 3.0 * PSI
        if channel is None or (vents and value > recipe.bag_pressure):
            return False
        marks = [channel.recent.at(began + (t - began) * part / 3.0) for part in (1, 2)]
        levels = [before, *(m for m in marks if m is not None), value]
        share = 0.15 * (before - value)
        return len(levels) == 4 and t - began >= 2.4 and all(a - b > share for a, b in pairwise(levels))

    def _leaking(self, t: float, value: float, stage: Stage) -> Iterator[Condition]:
        if self.leak is None:
            return
        refills = self.leak.refills(t)
        if self.leak.s.since is not None and len(refills) < 3:
            shown = 60.0 * (self.leak.s.rate or 0.0)
            message = self._words.leaking_message(value, shown, self._recipe.bag_minimum)
            yield Condition("bag-leaking", "bag", self.leak.s.since, message, self._words.leaking_advice(stage))
        if len(refills) >= 3:
            every = (refills[-1] - refills[0]) / (len(refills) - 1) / 60.0
            message = self._words.topping_message(len(refills), every)
            yield Condition("bag-topping-up", "bag", refills[0], message, self._words.leaking_advice(stage))

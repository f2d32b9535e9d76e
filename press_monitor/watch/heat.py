"""What can be wrong with the heat, told from two mats and their own past."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from press_monitor.watch.advice import Stage, Words
from press_monitor.watch.alarms import Condition
from press_monitor.watch.current import MatCurrent
from press_monitor.watch.faces import Face
from press_monitor.watch.kinds import KINDS, AlarmKind
from press_monitor.watch.plain import Json, from_json, to_json
from press_monitor.watch.recipe import Recipe
from press_monitor.watch.types import Phase

__all__ = ["FALLING", "Heat"]

FALL_WINDOW = 30.0
SETTLED_WINDOW, SETTLED = 15.0, -0.5 / 60.0
"""Within its band a mat that falls no faster than this, K/s over these s, has settled."""
NEAR = 6.0
"""A mat that settles no further below its band than this is fed, only too cold, K."""
ALONE = 180.0
"""A mat that falls so long beside one that holds was not switched off with it, s."""
BLIP = 25.0
"""A power cut shorter than this, s, is no lost heat: with every mat unfed at once it might be one."""
SHALLOW = 90.0
"""How much longer than ever a dip no deeper than the cycle's own may last, s: a short power cut at its foot."""
RETURNING = 60.0
"""A mat that will be back in its band within this time, s, is not judged by its mean."""
UNEVEN = 1.5
"""How much two mats may differ, in tolerances."""
WEAK = 3.0
"""How far a mat may settle lower than it did, K."""
HEATLESS = -1.8 / 60.0
"""A hot mat falls faster than this as its heat goes, K/s; a weak one sinks to its new level slower."""
HEATLESS_AT_FIRST, DEEP = -3.2 / 60.0, 6.0
"""The same within so many K of where a mat was held closely."""
CLEARLY = 0.3
"""By so much the mean of ten minutes lies above the band, K, where no cycle and no settling puts it."""
NO_CREST = 420.0
"""A mat that stays above its band for so long without a break is in no thermostat's crest, nor settling, s."""
FALLING = -1.2 / 60.0
"""A mat that loses more than this has no heat, K/s: slower than any mat cools, faster than noise."""


@dataclass(slots=True)
class _State:
    falling_since: dict[str, float]
    late: dict[str, float]
    alone: dict[str, float] = field(default_factory=dict)
    deserted: dict[str, float] = field(default_factory=dict)


class Heat:
    """Detectors over the faces. Stateless but for the onset of each fall."""

    def __init__(
        self,
        recipe: Recipe,
        faces: tuple[Face, ...],
        currents: Mapping[str, MatCurrent],
        words: Words,
        kinds: Mapping[str, AlarmKind] = KINDS,
    ) -> None:
        self._maximum, self._profile = kinds["above-maximum"], kinds["above-profile"]
        self._tardy = kinds["heat-up-late"]
        self._recipe, self._faces, self._currents, self._words = recipe, faces, currents, words
        self.s = _State({}, {})
        self._slopes: tuple[float, dict[str, float | None]] | None = None

    def save(self) -> Json:
        """Plain JSON."""
        return to_json(self.s)

    def load(self, data: Json) -> None:
        """Continue from `save`."""
        self.s = from_json(_State, data)

    def falling(self, face: Face, t: float) -> bool:
        """Whether the face's mat is losing heat."""
        return self._falls(face, t, FALLING)

    def _falls(self, face: Face, t: float, rate: float) -> bool:
        if self._slopes is None or self._slopes[0] != t:
            self._slopes = (t, {})
        known = self._slopes[1]
        if face.name not in known:
            channel = face.judge(t)
            known[face.name] = None if channel is None else channel.history.slope(t - channel.limit(FALL_WINDOW))
        slope = known[face.name]
        return slope is not None and slope < rate

    def sinking(self, t: float) -> bool:
        """Whether any mat has lost heat over the last two minutes on the whole."""
        for face in self._faces:
            channel = face.judge(t)
            before = None if channel is None else channel.history.at(t - 120.0)
            if channel is not None and before is not None and (channel.value or 0.0) - before < 120.0 * FALLING:
                return True
        return False

    def conditions(
        self, t: float, phase: Phase, heating_since: float | None, *, due: bool, stage: Stage
    ) -> Iterator[Condition]:
        """Everything that is wrong with the heat at `t`."""
        if phase not in (Phase.HEAT_UP, Phase.HOLD) or heating_since is None:
            return
        yield from self._lost(t, stage, due=due)
        if not due:
            yield from self._below(t, stage)
            yield from self._late(t, heating_since, stage)
        yield from self._above(t, stage)
        yield from self._uneven(t, stage, due=due)
        yield from self._weak(t, stage)

    def _lost(self, t: float, stage: Stage, *, due: bool) -> Iterator[Condition]:
        unfed = {f.name: since for f in self._faces if (since := self._currents[f.name].gone_since(t)) is not None}
        lost = [face for face in self._faces if face.name in unfed or self._has_lost(face, t)]
        for face in self._faces:
            if face not in lost:
                self.s.falling_since.pop(face.name, None)
                self.s.alone.pop(face.name, None)
                self.s.deserted.pop(face.name, None)
        for face in lost:
            name = face.name
            if name not in self.s.falling_since:
                self.s.falling_since[name] = unfed[name] if name in unfed else self._onset(face, t)
            since = self.s.falling_since[name]
            others = [other for other in self._faces if other is not face]
            both = bool(others) and all(other in lost or self.falling(other, t) for other in others)
            # when the cure is due the heat may go off: then only a mat that falls alone for minutes is a fault
            if due and not self._falls_alone(face, others, lost, t):
                continue
            draws = 0.0 if name in unfed else self._currents[name].drawing(t)
            yield Condition(
                "heat-lost",
                f"{name}_mat",
                since,
                self._words.heat_lost_message(name, face.value(t), both=both, alone=not others, draws=draws),
                self._words.heat_lost_advice(name, stage, both=both, draws=draws),
                under=("heat-lost",) if both else (),
                certain=name in unfed and (t - since >= BLIP or any(self._draws(other, t) for other in others)),
            )

    def _falls_alone(self, face: Face, others: list[Face], lost: list[Face], t: float) -> bool:
        """Whether the other mats are still fed after the time in which a heat-off would have shown on them too."""
        if not others or any(other in lost for other in others):
            self.s.alone.pop(face.name, None)
            self.s.deserted.pop(face.name, None)
            return False
        since = self.s.alone.setdefault(face.name, t)
        # a thermostat's mat falls in its turn too: seen once not to fall, after that time, is enough
        if t - since >= ALONE and not any(self.falling(other, t) for other in others):
            self.s.deserted.setdefault(face.name, t)
        return face.name in self.s.deserted

    @staticmethod
    def _sinks(face: Face, t: float) -> bool:
        channel = face.judge(t)
        slope = None if channel is None else channel.history.slope(t - channel.limit(SETTLED_WINDOW))
        return slope is None or slope < SETTLED

    def _draws(self, face: Face, t: float) -> bool:
        return self._currents[face.name].drawing(t) is not None

    def _has_lost(self, face: Face, t: float) -> bool:
        value = face.value(t)
        if value is None:
            return False
        already = face.name in self.s.falling_since
        if face.entered:
            if value >= face.floor():
                return False
            if self._falls(face, t, FALLING if already else self._heatless(face, value)):
                return True
            # falling no more, and near its band: it has settled lower, its heat is not lost
            return already and (value < self._recipe.band_low - NEAR or self._sinks(face, t))
        peak = face.s.peak
        return peak is not None and value < peak - 4.0 and (self.falling(face, t) or (already and value < peak - 2.0))

    @staticmethod
    def _heatless(face: Face, value: float) -> float:
        """How fast a mat must fall to have lost its heat, K/s.

        One held closely that lost a part of its element falls fast at first too, but not far.
        """
        steady = face.s.steady_low if face.period() is None else None
        return HEATLESS if steady is None or value < steady - DEEP else HEATLESS_AT_FIRST

    @staticmethod
    def _onset(face: Face, t: float) -> float:
        """When the fall began: the last time the mat stood near its highest of the last ten minutes."""
        channel = face.judge(t)
        if channel is None:
            return t
        history = channel.history
        first = history.since(t - 600.0)
        values = history.v[first:]
        if not values:
            return t
        top = max(values)
        level = max(top - 1.0, face.floor()) if face.entered else top - 1.0
        for index in range(len(values) - 1, -1, -1):
            if values[index] >= level:
                return history.t[first + index]
        return history.t[first]

    def _below(self, t: float, stage: Stage) -> Iterator[Condition]:
        for face in self._faces:
            since, mean = face.s.below_since, face.mean()
            if since is None or mean is None or not face.trusted(t) or self.falling(face, t):
                continue
            if face.s.steady_low is not None or face.was_calm(since):
                wrong = True
            elif face.s.dips >= 2:
                spare = SHALLOW if (face.value(t) or 0.0) >= min(face.s.troughs, default=0.0) - 1.0 else 15.0
                wrong = t - since > 1.3 * face.s.longest_dip + spare - 60.0
            else:
                wrong = face.mean_spans(t) >= 120.0 and mean < self._recipe.band_low and not self._returning(face, t)
            if wrong and not face.stands_still(t):
                yield Condition(
                    "below-profile",
                    f"{face.name}_mat",
                    since,
                    self._words.below_message(face.name, face.value(t)),
                    self._words.below_advice(stage),
                )

    def _returning(self, face: Face, t: float) -> bool:
        """Whether a mat rises so that it is back in its band within the minute."""
        channel, value = face.judge(t), face.value(t)
        slope = None if channel is None else channel.history.slope(t - channel.limit(RETURNING))
        return value is not None and slope is not None and value + RETURNING * slope > self._recipe.band_low

    def _late(self, t: float, heating_since: float, stage: Stage) -> Iterator[Condition]:
        limit = self._recipe.heat_up_limit
        elapsed = t - heating_since
        if elapsed < 0.5 * limit - self._tardy.on_delay:
            return
        for face in self._faces:
            value = face.value(t)
            if face.entered or value is None:
                continue
            arrival = self._arrival(face, t)
            total = None if arrival is None else elapsed + arrival
            # the nearer the limit, the surer the forecast
            spare = 0.05 + 0.2 * min(max(2.0 * (1.0 - elapsed / limit), 0.0), 1.0)
            spare = min(spare, 0.1) if face.name in self.s.late else spare
            late = elapsed > limit or total is None or total > (1.0 + spare) * limit
            if late:
                self.s.late[face.name] = t
                yield Condition(
                    "heat-up-late",
                    f"{face.name}_mat",
                    heating_since,
                    self._words.late_message(face.name, value, None if total is None else total / 60.0, limit / 60.0),
                    self._words.late_advice(stage),
                )

    def _arrival(self, face: Face, t: float) -> float | None:
        """Seconds until the mat enters its band, from the bend of its last four minutes; None: never at this rate."""
        channel = face.judge(t)
        if channel is None or channel.value is None or not channel.history.spans(300.0, t):
            return 0.0
        # half-minute means, each two minutes apart: single digits would throw the bend about
        spread = max(30.0, 2.0 * channel.s.interval)
        ends = (t - 240.0, t - 120.0, t)
        first, second, third = (channel.history.mean(end - spread, end) for end in ends)
        if first is None or second is None or third is None:
            return 0.0
        before, now = second - first, third - second
        missing = self._recipe.band_low - max(third, channel.value)
        if missing <= 0.0:
            return 0.0
        if now <= 0.1:
            return None
        if missing <= self._recipe.hold_tolerance:
            return 120.0 * missing / now  # closing in: the controller eases off on purpose
        ratio = now / before if before > now else 1.0
        reached, step, seconds = 0.0, now, 0.0
        while reached < missing and seconds < 4.0 * self._recipe.heat_up_limit:
            step *= ratio
            if step < 0.02:
                return None
            part = min(1.0, (missing - reached) / step)
            reached += step
            seconds += 120.0 * part
        return seconds

    def _above(self, t: float, stage: Stage) -> Iterator[Condition]:
        for face in self._faces:
            since, value = face.s.over_since, face.value(t)
            if (
                since is not None
                and value is not None
                and face.s.over_count >= 3
                and t - since >= self._maximum.on_delay
            ):
                yield Condition(
                    "above-maximum",
                    f"{face.name}_mat",
                    since,
                    self._words.above_maximum_message(face.name, value, self._recipe.maximum_temperature),
                    self._words.above_maximum_advice(stage),
                )
            if (held := self._too_high(face, t)) is not None:
                yield Condition(
                    "above-profile",
                    f"{face.name}_mat",
                    face.s.above_since if face.s.above_since is not None else max(t - 300.0, face.s.entered_at or 0.0),
                    self._words.above_message(face.name, held, self._recipe.band_high),
                    self._words.above_advice(stage),
                )

    def _too_high(self, face: Face, t: float) -> float | None:
        """The temperature held above the band, where it is more than a cycle's crest."""
        s, value, level = face.s, face.value(t), face.level(t)
        if level is not None and level > self._recipe.band_high:
            return level
        mean = face.long_mean(t)
        if mean is not None and mean > self._recipe.band_high + CLEARLY:
            return mean
        if s.above_since is None or value is None:
            return None
        if face.was_calm(s.above_since) or t - s.above_since > NO_CREST - self._profile.on_delay:
            return value
        crest = t - s.above_since > 2.2 * s.longest_rise + 15.0 - self._profile.on_delay
        return value if s.rises >= 2 and crest else None

    def _weak(self, t: float, stage: Stage) -> Iterator[Condition]:
        """A mat that settles lower than it did in this very cure: cycle for cycle, or with its heat on all the time."""
        for face in self._faces:
            level, s = face.level(t), face.s
            if (
                (rest := face.at_rest(t)) is not None
                and rest[0] < rest[1] - WEAK
                and face.name not in self.s.falling_since
            ):
                yield self._weak_at(face, t, *rest, stage)
                continue
            if level is None or face.name in self.s.falling_since:
                continue
            if s.settled_level is None or level > s.settled_level:
                s.settled_level = level
            swing = max(s.troughs) - min(s.troughs) if face.period() is not None else 0.0
            if level < s.settled_level - WEAK - swing and (face.value(t) or 0.0) < s.settled_level:
                yield self._weak_at(face, t, level, s.settled_level, stage)

    def _weak_at(self, face: Face, t: float, level: float, before: float, stage: Stage) -> Condition:
        message = self._words.weak_message(face.name, level, before)
        return Condition("mat-weak", f"{face.name}_mat", t - 300.0, message, self._words.weak_advice(stage))

    def _uneven(self, t: float, stage: Stage, *, due: bool) -> Iterator[Condition]:
        if len(self._faces) < 2:
            return
        a, b = (face.steady(t) for face in self._faces[:2])
        if a is None or b is None or abs(a - b) <= UNEVEN * self._recipe.hold_tolerance:
            return
        if any(face.s.below_since is not None for face in self._faces) and not self.s.falling_since:
            return
        if due and any((face.value(t) or 0.0) < face.floor() for face in self._faces):
            return  # the heat is going off: mats cool each in its own time
        yield Condition(
            "mats-uneven", None, t - 300.0, self._words.uneven_message(a, b), self._words.uneven_advice(stage)
        )

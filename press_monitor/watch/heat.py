"""What can be wrong with the heat, told from two mats and their own past."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from press_monitor.watch.advice import Stage, Words
from press_monitor.watch.alarms import Condition
from press_monitor.watch.faces import Face
from press_monitor.watch.kinds import KINDS, AlarmKind
from press_monitor.watch.recipe import Recipe
from press_monitor.watch.types import Json, Phase, from_json, to_json

__all__ = ["FALLING", "Heat"]

FALL_WINDOW = 30.0
UNEVEN = 1.5
"""How much two mats may differ, in tolerances."""
WEAK = 3.0
"""How far a mat may settle lower than it did, K."""
FALLING = -1.2 / 60.0
"""A mat that loses more than this has no heat, K/s: slower than any mat cools, faster than noise."""


@dataclass(slots=True)
class _State:
    falling_since: dict[str, float]
    late: dict[str, float]


class Heat:
    """Detectors over the faces. Stateless but for the onset of each fall."""

    def __init__(
        self, recipe: Recipe, faces: tuple[Face, ...], words: Words, kinds: Mapping[str, AlarmKind] = KINDS
    ) -> None:
        self._maximum, self._profile = kinds["above-maximum"], kinds["above-profile"]
        self._tardy = kinds["heat-up-late"]
        self._recipe, self._faces, self._words = recipe, faces, words
        self.s = _State({}, {})
        self._fell: tuple[float, dict[str, bool]] | None = None

    def save(self) -> Json:
        """Plain JSON."""
        return to_json(self.s)

    def load(self, data: Json) -> None:
        """Continue from `save`."""
        self.s = from_json(_State, data)

    def falling(self, face: Face, t: float) -> bool:
        """Whether the face's mat is losing heat."""
        if self._fell is None or self._fell[0] != t:
            self._fell = (t, {})
        known = self._fell[1]
        if face.name not in known:
            channel = face.judge(t)
            slope = None if channel is None else channel.history.slope(t - channel.limit(FALL_WINDOW))
            known[face.name] = slope is not None and slope < FALLING
        return known[face.name]

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
        if not due:
            yield from self._lost(t, stage)
            yield from self._below(t, stage)
            yield from self._late(t, heating_since, stage)
        yield from self._above(t, stage)
        yield from self._uneven(t, stage)
        yield from self._weak(t, stage)

    def _lost(self, t: float, stage: Stage) -> Iterator[Condition]:
        lost = [face for face in self._faces if self._has_lost(face, t)]
        for face in self._faces:
            if face not in lost:
                self.s.falling_since.pop(face.name, None)
        for face in lost:
            since = self.s.falling_since.setdefault(face.name, self._onset(face, t))
            value = face.value(t)
            others = [other for other in self._faces if other is not face]
            both = bool(others) and all(other in lost or self.falling(other, t) for other in others)
            yield Condition(
                "heat-lost",
                f"{face.name}_mat",
                since,
                self._words.heat_lost_message(face.name, value, both=both, alone=not others),
                self._words.heat_lost_advice(face.name, stage, both=both),
                under=("heat-lost",) if both else (),
            )

    def _has_lost(self, face: Face, t: float) -> bool:
        value = face.value(t)
        if value is None:
            return False
        already = face.name in self.s.falling_since
        if face.entered:
            floor = face.floor()
            return value < floor and (already or self.falling(face, t))
        peak = face.s.peak
        return peak is not None and value < peak - 4.0 and (self.falling(face, t) or (already and value < peak - 2.0))

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
                wrong = t - since > 1.3 * face.s.longest_dip + 15.0 - 60.0
            else:
                wrong = face.mean_spans(t) >= 120.0 and mean < self._recipe.band_low
            if wrong:
                yield Condition(
                    "below-profile",
                    f"{face.name}_mat",
                    since,
                    self._words.below_message(face.name, face.value(t)),
                    self._words.below_advice(stage),
                )

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
            late = elapsed > limit or total is None or total > (1.1 if face.name in self.s.late else 1.25) * limit
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
        if s.above_since is None or value is None:
            return None
        if face.was_calm(s.above_since):
            return value
        crest = t - s.above_since > 1.3 * s.longest_rise + 15.0 - self._profile.on_delay
        return value if s.rises >= 2 and crest else None

    def _weak(self, t: float, stage: Stage) -> Iterator[Condition]:
        """A mat that settles lower than it did in this very cure, cycle for cycle."""
        for face in self._faces:
            level, s = face.level(t), face.s
            if level is None or face.name in self.s.falling_since:
                continue
            if s.settled_level is None or level > s.settled_level:
                s.settled_level = level
            swing = max(s.troughs) - min(s.troughs) if len(s.troughs) >= 2 else 0.0
            if level < s.settled_level - WEAK - swing and (face.value(t) or 0.0) < s.settled_level:
                yield Condition(
                    "mat-weak",
                    f"{face.name}_mat",
                    t - 300.0,
                    self._words.weak_message(face.name, level, s.settled_level),
                    self._words.weak_advice(stage),
                )

    def _uneven(self, t: float, stage: Stage) -> Iterator[Condition]:
        if len(self._faces) < 2:
            return
        a, b = (face.level(t) for face in self._faces[:2])
        if a is None or b is None or abs(a - b) <= UNEVEN * self._recipe.hold_tolerance:
            return
        if any(face.s.below_since is not None for face in self._faces) and not self.s.falling_since:
            return
        yield Condition(
            "mats-uneven", None, t - 300.0, self._words.uneven_message(a, b), self._words.uneven_advice(stage)
        )

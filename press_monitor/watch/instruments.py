"""Whether the instruments can be believed: silence, holes, open and lifted probes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from press_monitor.readings import Role
from press_monitor.watch.advice import Words
from press_monitor.watch.alarms import Condition
from press_monitor.watch.channels import Channel
from press_monitor.watch.doubts import watch_crossing, watch_jumps, watch_lifting, watch_stillness
from press_monitor.watch.faces import HOLD_ON, Face
from press_monitor.watch.kinds import KINDS, AlarmKind
from press_monitor.watch.plain import Json, from_json, to_json
from press_monitor.watch.types import RecordHole

__all__ = ["Instruments"]

FIRST_WORDS = 45.0
"""How long to wait while it is not known yet how often the instruments speak, s."""
_STEADY = (Role.INNER_MAT, Role.OUTER_MAT, Role.BURIED, Role.BAG)


@dataclass(slots=True)
class _State:
    heard: float | None = None
    hole_s: float = 0.0


class Instruments:
    """All channels of a press, as far as they can be believed."""

    def __init__(
        self,
        channels: Mapping[str, Channel],
        faces: tuple[Face, ...],
        ambient: float,
        words: Words,
        kinds: Mapping[str, AlarmKind] = KINDS,
    ) -> None:
        self._channels, self._faces, self._ambient, self._words = channels, faces, ambient, words
        self._judged = tuple(channel for channel in channels.values() if channel.role is not Role.OTHER)
        self._jumping = tuple(channel for channel in channels.values() if channel.role in _STEADY)
        self._alone = tuple(channel for channel in channels.values() if channel.role in (Role.BAG, Role.BURIED))
        partners = [[other for other in faces if other is not face] for face in faces]
        self._partners = [
            (face, others[0] if others else None, next((c for other in others for c in other.channels), None))
            for face, others in zip(faces, partners, strict=True)
        ]
        self._silence, self._still = kinds["no-readings"].on_delay, kinds["probe-stuck"].on_delay
        self._never_silence = min(self._silence, FIRST_WORDS)
        self.s = _State()

    def save(self) -> Json:
        """Plain JSON (the channels save themselves)."""
        return to_json(self.s)

    def load(self, data: Json) -> None:
        """Continue from `save`."""
        self.s = from_json(_State, data)

    @property
    def hole_s(self) -> float:
        """Seconds without any reading, in all."""
        return self.s.hole_s

    def watch_probes(self, t: float, *, heating: bool) -> None:
        """Tell probes that lifted, stuck, jump or are crossed; `heating` while the mats are on their way up."""
        for face, other, partner in self._partners:
            beside = None if other is None else other.value(t)
            rising = heating and not face.entered  # in its band it stands still while the other is on its way
            for channel in face.channels:
                watch_lifting(channel, t, self._ambient, beside)
                watch_crossing(channel, t, partner)
                watch_stillness(channel, t, partner, heating=rising, cycle=face.cycle, after=self._still)
        for channel in self._jumping:
            watch_jumps(channel, t)
        for channel in self._alone:
            watch_stillness(channel, t, None, heating=False, after=self._still)

    def hear(self, t: float, heard: bool) -> list[RecordHole]:
        """Take note of whether anything came; the end of a silence that was too long is a hole in the record."""
        s = self.s
        if not heard:
            return []
        holes = []
        if s.heard is not None and self.silent(t - s.heard):
            s.hole_s += t - s.heard
            holes.append(RecordHole(t, s.heard, t, "no readings"))
        s.heard = t
        return holes

    def silent(self, seconds: float) -> bool:
        """Whether so many seconds without anything are more than may be."""
        return seconds > self._never_silence and seconds > self.silence_limit()

    def silence_limit(self) -> float:
        """How long nothing may come before it is a silence, s."""
        known = [channel.s.interval for channel in self._channels.values() if channel.rhythm_known]
        return max(self._silence, 4.0 * min(known)) if known else FIRST_WORDS

    def silence(self, t: float, first: float) -> Condition | None:
        """The alarm of a silent press; nothing was ever heard before `first`."""
        heard = self.s.heard if self.s.heard is not None else first
        silent = t - heard
        if silent < self._never_silence - 1e-6 or silent < self.silence_limit() - 1e-6:
            return None
        return Condition("no-readings", None, heard, self._words.silent_message(t - heard), self._words.silent_advice())

    def conditions(self, t: float) -> Iterator[Condition]:
        """Open and lifted probes."""
        words = self._words
        for channel in self._judged:
            if channel.s.missing_since is None and channel.believed:
                continue
            missing = channel.s.missing_since
            late = missing is not None and t - missing >= channel.limit(0.0) - 4.0
            if missing is not None and late and self._others_heard(t, channel):
                message, advice = words.open_message(channel.name), words.open_advice(channel.name)
                yield Condition("probe-open", channel.name, missing, message, advice)
            yield from self._dead_or_wild(t, channel)
            if channel.lifted_since is not None:
                message = words.lifted_message(channel.name, channel.value or 0.0)
                advice = words.lifted_advice(channel.name)
                yield Condition("probe-lifted", channel.name, channel.lifted_since, message, advice)

    def _dead_or_wild(self, t: float, channel: Channel) -> Iterator[Condition]:
        words, name = self._words, channel.name
        if channel.s.stuck_since is not None:
            message = words.stuck_message(name, t - channel.s.stuck_since)
            yield Condition("probe-stuck", name, channel.s.stuck_since, message, words.stuck_advice(name))
        if channel.s.wild_since is not None:
            yield Condition(
                "probe-erratic", name, channel.s.wild_since, words.erratic_message(name), words.erratic_advice(name)
            )
        if channel.s.reversed_since is not None:
            message, advice = words.reversed_message(name), words.reversed_advice(name)
            yield Condition("probe-reversed", name, channel.s.reversed_since, message, advice)

    def _others_heard(self, t: float, channel: Channel) -> bool:
        return any(other.age(t) <= other.limit(HOLD_ON) for other in self._channels.values() if other is not channel)

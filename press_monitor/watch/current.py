"""The optional mat-current channels: an element or lead that fails is told by its current, in seconds.

A mat is fed fully while it heats up, and in the hold by a thermostat (minutes on, minutes off) or a controller that
switches within seconds. Either way its current comes back before the mat is colder than it ever was when it came back:
no current below that is a lost lead, element or switch, long before the temperature says so.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from press_monitor.readings import Role
from press_monitor.watch.channels import Channel
from press_monitor.watch.faces import Face
from press_monitor.watch.plain import Json, from_json, to_json

__all__ = ["MatCurrent"]

LEAST = 0.5
"""A mat that never drew so much, A, has no current channel worth the name."""
FLOWING = 0.25
"""Share of the full current above which it flows."""
SURE = 5.0
"""How long it must be gone where it should flow, s."""
BELOW = 1.5
"""How far under the coldest switching-on seen a mat must be, K."""
COOLED = 2.0
"""So far, K, a mat that heats up falls back in no controller's pause."""
FULLY_FED = 14.0
"""So far under its hold temperature a mat that heats up is fed without a break, K."""


@dataclass(slots=True)
class _State:
    full: float = 0.0
    flowing: bool = False
    on_since: float | None = None
    off_since: float | None = None
    longest_off: float = 0.0
    switched_on: list[float] = field(default_factory=list)
    fed: bool = False
    missed_since: float | None = None


class MatCurrent:
    """What one face's mats draw together. Without a channel it says nothing."""

    def __init__(self, face: Face, channels: Iterable[Channel], hold_temperature: float) -> None:
        self._face, self._hold = face, hold_temperature
        self._channels = [c for c in channels if c.role is Role.MAT_CURRENT and c.name.startswith(face.name)]
        self.s = _State()

    def save(self) -> Json:
        """Plain JSON (the channels save themselves)."""
        return to_json(self.s)

    def load(self, data: Json) -> None:
        """Continue from `save`."""
        self.s = from_json(_State, data)

    def amperes(self, t: float) -> float | None:
        """What the face draws now; None where that is not known."""
        fresh = [c.value for c in self._channels if c.value is not None and c.age(t) < 1e-6 and not c.s.missing_since]
        return sum(fresh) if fresh and len(fresh) == len(self._channels) else None

    def follow(self, t: float) -> None:
        """Take the tick at `t`: full current, on and off, and at which temperature it comes back."""
        now, s = self.amperes(t), self.s
        if now is None:
            return
        s.full = max(s.full, now)
        flowing, value = s.full >= LEAST and now > FLOWING * s.full, self._face.value(t)
        if flowing:
            if not s.flowing:
                if s.off_since is not None and s.on_since is not None:
                    s.longest_off = max(s.longest_off, t - s.off_since)
                if self._face.entered and value is not None and s.off_since is not None:
                    s.switched_on = [*s.switched_on[-7:], value]
                s.on_since = t
            s.off_since = s.missed_since = None
            s.fed = s.fed or (s.on_since is not None and t - s.on_since >= 20.0)
        elif s.off_since is None:
            s.off_since = t
        s.flowing = flowing
        if not flowing and s.missed_since is None and value is not None and self._too_cold(value):
            s.missed_since = t

    def _too_cold(self, value: float) -> bool:
        """Whether the mat is colder than it ever was when its current came back; False while that is not known."""
        known = self.s.switched_on
        return len(known) >= 2 and value < min(known) - BELOW

    def drawing(self, t: float) -> float | None:
        """What the face draws where it is fed, A; None where it is not, or nothing is known."""
        now = self.amperes(t)
        return now if now is not None and self.s.flowing else None

    def gone_since(self, t: float) -> float | None:
        """Since when the mat has been without the current it should have; None while nothing is wrong."""
        s, value, now = self.s, self._face.value(t), self.amperes(t)
        if s.off_since is None or now is None or value is None or s.full < LEAST:
            return None
        channel = self._channels[0]
        if t - s.off_since < channel.limit(SURE) - 1e-6:
            return None
        if len(s.switched_on) >= 2:
            return s.missed_since if self._too_cold(value) else None
        peak = self._face.s.peak
        if self._face.entered or not s.fed or peak is None or value > min(peak - COOLED, self._hold - FULLY_FED):
            return None
        return s.off_since if t - s.off_since > 1.5 * s.longest_off else None

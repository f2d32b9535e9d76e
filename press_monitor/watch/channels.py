"""One channel as the watch follows it: how often it speaks, whether it can be believed."""

from __future__ import annotations

from dataclasses import dataclass

from press_monitor.readings import Reading
from press_monitor.watch.history import History
from press_monitor.watch.types import Json, from_json, to_json

__all__ = ["Channel"]

# No mat, not even a bare one, falls toward ambient faster than with this time constant; what does is the probe itself.
FASTEST_MAT = 150.0
LIFTED_DROP = 6.0


@dataclass(slots=True)
class _State:
    last_t: float | None = None
    value: float | None = None
    interval: float = 1.0
    missing_since: float | None = None
    lifted_since: float | None = None
    lifted_from: float = 0.0
    back_since: float | None = None


class Channel:
    """The recent past of one channel in SI units."""

    def __init__(self, name: str, window: float = 720.0) -> None:
        self.name = name
        self.history = History(window, 0.95)
        self.recent = History(16.0)
        self.s = _State()

    def save(self) -> Json:
        """Plain JSON."""
        return {"state": to_json(self.s), "history": self.history.save(), "recent": self.recent.save()}

    def load(self, data: Json) -> None:
        """Continue from `save`."""
        self.s = from_json(_State, data["state"])
        self.history.load(data["history"])
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

    def take(self, t: float, reading: Reading | None) -> None:
        """Take what a tick says of this channel: None is nothing at all, a reading that is not good is a fault."""
        if reading is None:
            return
        s = self.s
        if not reading.good:
            if s.missing_since is None:
                s.missing_since = t
            return
        if s.last_t is not None and s.missing_since is None:
            step = t - s.last_t
            if step < 4.0 * s.interval + 2.0:
                s.interval += 0.2 * (step - s.interval)
        s.missing_since = None
        s.last_t, s.value = t, reading.value
        self.history.add(t, reading.value)
        self.recent.add(t, reading.value)

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
            if s.back_since is not None and t - s.back_since >= 30.0:
                s.lifted_since = s.back_since = None
            return
        span = max(6.0, 2.0 * s.interval)
        before = self.recent.at(t - span)
        first = self.recent.since(t - span)
        if before is None or len(self.recent) - first < 3:
            return
        fall = before - s.value
        natural = max(before - ambient, 0.0) * span / FASTEST_MAT
        last = self.recent.v[-3:]
        if fall > max(LIFTED_DROP, natural) and max(last) < before - 0.4 * fall:
            s.lifted_since, s.lifted_from = self.recent.t[max(first - 1, 0)], before

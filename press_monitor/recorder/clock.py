"""The recorder's clocks: shop time for cures, real time for people and machines, and what to say when they part.

Shop time is real time, except in the demo and in tests, where it runs faster. Heartbeats, command expiry and
waiting are always real. Durations come from a monotonic count that goes on while the computer sleeps, where the
system has one.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass

__all__ = ["GAP_S", "ClockGuard", "ClockNote", "ShopClock", "monotonic_through_sleep"]

_STEP = 2.0
"""Seconds by which the wall clock may part from the monotonic one between two looks; slewing stays far below."""

GAP_S = 5.0
"""Seconds between two looks past which the computer must have slept or stood still."""


def monotonic_through_sleep() -> float:
    """Monotonic seconds that also count suspended time.

    Linux stops its plain monotonic clock in suspend and has a second one that does not; Windows' ticks run on.
    """
    if sys.platform == "linux":
        seconds = time.clock_gettime(time.CLOCK_BOOTTIME)
    else:
        seconds = time.monotonic()
    return seconds


class ShopClock:
    """Shop time `speed` times as fast as real time, from the moment it is made.

    Args:
        speed: shop seconds a real second, above 0.
        real: unscaled monotonic seconds.
        wall: UTC as epoch seconds.
    """

    def __init__(
        self,
        speed: float = 1.0,
        *,
        real: Callable[[], float] = monotonic_through_sleep,
        wall: Callable[[], float] = time.time,
    ) -> None:
        if not speed > 0.0:
            raise ValueError(f"the clock's speed must be above 0, not {speed!r}")
        self.speed = speed
        self.real = real
        self.wall = wall
        self._real_origin = real()
        self._wall_origin = wall()

    def monotonic(self) -> float:
        """Shop monotonic seconds; what drivers stamp samples with."""
        return self._real_origin + (self.real() - self._real_origin) * self.speed

    def utc(self) -> float:
        """Shop UTC, epoch seconds. At speed 1 this is the wall clock itself, steps and all."""
        if self.speed == 1.0:
            return self.wall()
        return self._wall_origin + (self.real() - self._real_origin) * self.speed


@dataclass(frozen=True, slots=True)
class ClockNote:
    """The clocks parted: `kind` is ``clock-step`` or ``sleep-gap``, `seconds` how far, `utc` when it was seen."""

    kind: str
    utc: float
    seconds: float

    @property
    def words(self) -> str:
        """One line for the record."""
        if self.kind == "clock-step":
            way = "forward" if self.seconds > 0 else "back"
            return f"the computer's clock was set {way} by {abs(self.seconds):.0f} s; durations are not affected"
        return f"the computer slept or stood still for {self.seconds:.0f} s; nothing was read meanwhile"


class ClockGuard:
    """Compares wall and monotonic time at every look. Call `look` about once a second."""

    def __init__(self, real: Callable[[], float], wall: Callable[[], float]) -> None:
        self._real = real
        self._wall = wall
        self._last_real = real()
        self._last_wall = wall()

    def look(self) -> tuple[ClockNote, ...]:
        """What happened since the last look; empty in ordinary life."""
        real, wall = self._real(), self._wall()
        passed = real - self._last_real
        step = (wall - self._last_wall) - passed
        self._last_real, self._last_wall = real, wall
        notes = []
        if passed > GAP_S:
            notes.append(ClockNote("sleep-gap", wall, passed))
        if abs(step) > _STEP:
            notes.append(ClockNote("clock-step", wall, step))
        return tuple(notes)

"""Waiting for a moment on a clock that may run at another speed than the wall's."""

from __future__ import annotations

import threading
import time

from drivers.base import Clock

__all__ = ["Pace"]

_SHORTEST = 0.002
_FIRST_LOOK = 0.01


class Pace:
    """Sleeps until a moment on the recorder's clock, which the demo may run faster than real time.

    The ratio of the two clocks is learnt from one wait to the next, so nothing is polled at a fixed beat.
    """

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._rate: float | None = None
        self._stop = threading.Event()

    def until(self, due: float, wait: float) -> bool:
        """Block until `due` on the clock or for `wait` real seconds; say whether `due` has come."""
        began = time.monotonic()
        end = began + wait
        start = self._clock()
        now = start
        while now < due and not self._stop.is_set():
            real = time.monotonic()
            if real - began > _SHORTEST and now > start:
                self._rate = (now - start) / (real - began)
            if real >= end:
                return False
            # Until the ratio is known a short look decides; a clock that stands still is looked at again.
            rest = _FIRST_LOOK if self._rate is None else (due - now) / self._rate
            self._stop.wait(min(end - real, max(_SHORTEST, rest)))
            now = self._clock()
        return now >= due

    def stop(self) -> None:
        """Wake whoever waits, and let nobody wait again until `start`."""
        self._stop.set()

    def start(self) -> None:
        """Allow waiting (again)."""
        self._stop.clear()

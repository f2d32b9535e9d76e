"""Telling from the mats alone that somebody has started a cure without saying so."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

__all__ = ["HeatTrigger"]

_WINDOW_S = 600.0
_RISE_K = 10.0
_WARM_DEGC = 60.0
_HOT_DEGC = 93.0
"""200 degF: no mat gets there by the weather."""

_TREND_S = 60.0
_TREND_K = 1.0


class HeatTrigger:
    """Watches an empty press's mats. Temperatures degC, times monotonic s.

    Heating has begun when a mat has risen 10 K above its lowest of the last ten minutes and is above 60 degC, or is
    above 93 degC and has risen by 1 K in a minute (a recorder started in the middle of a cure). A mat that only cools
    does neither.
    """

    def __init__(self) -> None:
        self._mats: dict[int, deque[tuple[float, float]]] = {}

    def forget(self) -> None:
        """Begin anew, as after a release: what was hot before does not count as low now."""
        self._mats.clear()

    def take(self, at: float, mats: Sequence[float | None]) -> float | None:
        """Take the mats' values; the moment at which heating began, where it has, else None."""
        began = None
        for index, value in enumerate(mats):
            if value is None:
                continue
            past = self._mats.setdefault(index, deque())
            past.append((at, value))
            while past[0][0] < at - _WINDOW_S:
                past.popleft()
            began = began if began is not None else _began(past, at, value)
        return began


def _began(past: deque[tuple[float, float]], at: float, value: float) -> float | None:
    if value <= _WARM_DEGC:
        return None
    lowest = min(v for _, v in past)
    if value >= lowest + _RISE_K:
        # From the last moment it was still near its lowest: the heat-up belongs to the record.
        return max(t for t, v in past if v <= lowest + 1.0)
    if value > _HOT_DEGC and past[0][0] <= at - _TREND_S:
        before = next(v for t, v in reversed(past) if t <= at - _TREND_S)
        if value - before >= _TREND_K:
            return past[0][0]
    return None

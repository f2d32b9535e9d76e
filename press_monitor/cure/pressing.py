"""What the pressure on the rubber means for it: vapour margin, and rubber that set unpressed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from press_monitor.cure.kinetics import Array
from press_monitor.cure.packing import packed, unpacked
from press_monitor.cure.points import Points
from press_monitor.cure.vapour import CRITICAL_TEMPERATURE, saturation_pressure

__all__ = ["UNPRESSED_SHARE", "Pressing"]

UNPRESSED_SHARE = 0.1
"""Rubber has set without pressure once it reaches its blow point with more than this part of the way there from
scorch (in equivalent time) spent while the bag was below its minimum."""


class Pressing:
    """Bookkeeping over the judged points, on nominal figures.

    Attributes:
        past: (P,) which points have reached their blow point.
        caught: (P,) which of them set without pressure.
        worst_margin: least bag pressure over a_w times the saturation pressure at a point below its blow point, Pa;
            None while no bag pressure was known. worst_boil: the same over pure water.
        negative_s: s for which the margin was below zero.
    """

    def __init__(self, points: Points) -> None:
        self._points = points
        self._unpressed = np.zeros(points.count)
        self.past = np.zeros(points.count, dtype=np.bool_)
        self.caught = np.zeros(points.count, dtype=np.bool_)
        self.worst_margin: float | None = None
        self.worst_boil: float | None = None
        self.negative_s = 0.0
        activity = np.array([c.water_activity for c in points.compounds])
        self._by_activity = [(float(a), activity[points.compound] == a) for a in np.unique(activity)]

    def account(
        self, seconds: float, before: Array, now: Array, degC: Array, bag: float | None, pressed: bool | None
    ) -> None:
        """One step: equivalent seconds (P,) before and after it, degC (P,) after it, absolute bag pressure (Pa)."""
        if self.past.all():
            return
        if bag is not None:
            self._vapour(seconds, bag, degC)
        points = self._points
        if pressed is False:
            self._unpressed += np.clip(now, points.scorch, points.blow) - np.clip(before, points.scorch, points.blow)
        reaching = (now >= points.blow) & ~self.past
        if reaching.any():
            self.caught |= reaching & (self._unpressed > UNPRESSED_SHARE * (points.blow - points.scorch))
            self.past |= reaching

    def _vapour(self, seconds: float, bag: float, degC: Array) -> None:
        soft = np.where(self.past, -math.inf, degC)
        hottest = min(float(soft.max()), CRITICAL_TEMPERATURE)
        margin = math.inf
        for activity, mask in self._by_activity:
            top = hottest if len(self._by_activity) == 1 else min(float(soft[mask].max()), CRITICAL_TEMPERATURE)
            if top > -math.inf:
                margin = min(margin, bag - activity * saturation_pressure(top))
        if margin < 0.0:
            self.negative_s += seconds
        boil = bag - saturation_pressure(hottest)
        self.worst_margin = margin if self.worst_margin is None else min(margin, self.worst_margin)
        self.worst_boil = boil if self.worst_boil is None else min(boil, self.worst_boil)

    def save(self) -> dict[str, Any]:
        """Plain JSON."""
        return {
            "unpressed": packed(self._unpressed),
            "caught": packed(self.caught.astype(np.float64)),
            "vapour": [self.worst_margin, self.worst_boil, self.negative_s],
        }

    def load(self, saved: Mapping[str, Any], equivalent: Array) -> None:
        """Take up a save; `equivalent` (P,) is the nominal equivalent time reached."""
        self._unpressed = unpacked(saved["unpressed"], self._unpressed.shape)
        self.caught = unpacked(saved["caught"], self.caught.shape) > 0.5
        self.past = equivalent >= self._points.blow
        self.worst_margin, self.worst_boil, self.negative_s = saved["vapour"]

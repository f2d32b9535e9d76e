"""The live model of one repair: what its rubber has been through, second by second, with a band.

The band's edges at a point are the extremes, at its relative depth, over the nominal track and every corner's.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from copy import deepcopy
from typing import cast

import numpy as np

from press_monitor.cure.carried import Carried
from press_monitor.cure.forecast import (
    COOLING_S,
    HORIZON_S,
    CureForecast,
    Held,
    after,
    coming,
    first_reached,
    growing_times,
)
from press_monitor.cure.kinetics import Array
from press_monitor.cure.limits import Limits
from press_monitor.cure.points import Tracks
from press_monitor.cure.results import CurePointSI, LayerBounds, StackProfile
from press_monitor.cure.walls import Face, Temperatures

__all__ = ["CurePointSI", "Face", "LayerBounds", "Limits", "Section", "StackProfile"]

_STRETCH = 24


class Section(Carried):
    """The live model: `advance` it and ask. Built, saved and restored as `Carried` is."""

    @property
    def judged(self) -> bool:
        """Whether there is any rubber to judge."""
        return self._points.count > 0

    @property
    def split(self) -> bool:
        """Whether the band's upper edge has seen faces of its own."""
        return self._upper is not None

    def _point(self, index: int, low: float, high: float) -> CurePointSI:
        points = self._points
        equivalent = self._equivalent[0, index]
        state = float(points.state_at(index, equivalent))
        return CurePointSI(
            stack=self.repair.stacks[int(points.stack[index])].name,
            depth=float(points.depth[index]),
            state_of_cure=state,
            state_of_cure_low=min(low, state),
            state_of_cure_high=max(high, state),
            equivalent_s=float(equivalent),
            peak_degC=float(self._peak[index]),
            temperature_degC=float(self._here[index]),
        )

    def deepest(self) -> CurePointSI | None:
        """The point of lowest state of cure, ties by fewest equivalent seconds over tc90. None: nothing is judged.

        While no heat has reached anything yet it is the point furthest from both faces.
        Its band is that of the lowest state of cure anywhere: each corner of the band finds its own deepest rubber.
        """
        if "deepest" not in self._known:
            self._known["deepest"] = self._find_deepest() if self.judged else None
        return cast("CurePointSI | None", self._known["deepest"])

    def _find_deepest(self) -> CurePointSI:
        """Within one compound the least equivalent time is the lowest state of cure."""
        points = self._points
        candidates, worst = [], []
        for group in points.groups:
            least = self._equivalent[:, group].min(axis=1) if len(points.groups) > 1 else self._equivalent.min(axis=1)
            states = points.state_at(int(group[0]), least)
            worst.append(states)
            ties = group[self._equivalent[0, group] == least[0]]
            index = int(ties[np.argmax(points.cover[ties])])
            candidates.append((states[0], least[0] / points.tc90[index], -points.cover[index], index))
        each = worst[0] if len(worst) == 1 else np.minimum.reduce(worst)
        return self._point(min(candidates)[3], float(each.min()), float(each.max()))

    def hottest(self) -> CurePointSI | None:
        """The point nearest its reversion limit, with the band at that point. None: nothing is judged."""
        if "hottest" not in self._known:
            self._known["hottest"] = self._find_hottest() if self.judged else None
        return cast("CurePointSI | None", self._known["hottest"])

    def _find_hottest(self) -> CurePointSI:
        used = self._reverted / self._points.reversion
        index = int(np.lexsort((-self._peak, -used))[0])
        there = self._points.state_at(index, self._equivalent[:, index])
        return self._point(index, float(there.min()), float(there.max()))

    def reversion_used(self) -> float:
        """Equivalent reversion time over its limit at the hottest rubber: 1 and more is past the limit. Nominal."""
        return float((self._reverted / self._points.reversion).max()) if self.judged else 0.0

    def reverting(self, temperature: float) -> float:
        """What `reversion_used` would gain a second were all rubber at a temperature, degC."""
        return self._points.reverting(temperature) if self.judged else 0.0

    def past_blow_point(self) -> bool:
        """Whether every judged point is past its blow point even at the band's lower edge."""
        if "past" not in self._known:
            self._known["past"] = bool((self._equivalent >= self._points.blow).all())
        return bool(self._known["past"])

    def _share(self, which: Array) -> float:
        if not self.judged or not which.any():
            return 0.0
        return float(np.bincount(self._points.stack, weights=which * self._points.share).max().clip(0.0, 1.0))

    def scorched_share(self) -> float:
        """Share of the uncured rubber past scorch, by thickness, in the stack with the most of it. Nominal."""
        return self._share((self._equivalent[0] >= self._points.scorch).astype(np.float64))

    def setting_share(self) -> float:
        """Share between scorch and blow point now: what loses by a lost bag. Worst stack, nominal."""
        if "setting" not in self._known:
            now = self._equivalent[0]
            between = (now >= self._points.scorch) & (now < self._points.blow)
            self._known["setting"] = self._share(between.astype(np.float64))
        return float(self._known["setting"])

    def set_without_pressure(self) -> float:
        """Share of the uncured rubber, by thickness in the worst stack, that has set without pressure (0-1).

        Counted are points that reached their blow point with more than a tenth of the way there from scorch, in
        equivalent time, spent while `pressed` was False. Rubber still on that way is not counted yet.
        """
        return self._share(self._pressing.caught.astype(np.float64))

    def worst_vapour_margin(self) -> float | None:
        """Least bag pressure over the vapour pressure in rubber below its blow point, Pa. None: never known."""
        return self._pressing.worst_margin

    def worst_boil_margin(self) -> float | None:
        """The same over pure water, Pa."""
        return self._pressing.worst_boil

    def vapour_negative_s(self) -> float:
        """For how long the vapour margin was below zero, s."""
        return self._pressing.negative_s

    def settled(self) -> Section:
        """This section with everything accounted for that has come; a copy where something has not been yet."""
        if not self._due.steps:
            return self
        twin = deepcopy(self, {id(shared): shared for shared in (self._walls, self._points, self._tracks)})
        twin.settle()
        return twin

    def hottest_now(self) -> float:
        """Temperature of the hottest modelled point, judged or not, degC. Nominal."""
        return float(self._main.now[0].max())

    def profile(self) -> tuple[StackProfile, ...]:
        """Every stack through its depth, nominal. Where two uncured layers meet the less cured one shows."""
        cure = np.full(self._walls.shape[1] * self._walls.shape[2], np.nan)
        if self.judged:
            np.fmin.at(cure, self._points.flat, self._points.state(self._equivalent[0]))
        found = []
        for s, stack in enumerate(self.repair.stacks):
            bounds, top = [], 0.0
            for layer in stack.layers:
                bounds.append(LayerBounds(layer.name, top, top + layer.thickness, layer.uncured))
                top += layer.thickness
            found.append(
                StackProfile(
                    stack.name,
                    tuple(bounds),
                    self._walls.mesh_nominal.depth[s].copy(),
                    self._main.now[0, s].copy(),
                    cure.reshape(self._walls.shape[1:])[s],
                )
            )
        return tuple(found)

    def equivalent(self) -> Array:
        """Equivalent seconds (R, P) of every track at every judged point; row 0 is nominal."""
        return self._equivalent.copy()

    def peaks(self) -> Array:
        """Highest temperature so far (P,) of every judged point, nominal, degC."""
        return self._peak.copy()

    def forecast(self, inner: Face, outer: Face, required: float, horizon_s: float = HORIZON_S) -> CureForecast | None:
        """When the deepest rubber has `required` with the faces held so, and what heat-off now ends at.

        None: nothing is judged. Found on growing steps, which makes it late by a third of a percent at most, and
        the cure after heat-off wrong by a tenth of a percent.
        """
        if not self.judged:
            return None
        reached = self.reached(inner, outer, required, horizon_s)
        off = Face.fast_loss(self.ambient)
        states = self._points.state(self.after([Held(off, off, COOLING_S)], growth=1.18)).min(axis=1)

        def known(seconds: float) -> float | None:
            return seconds if math.isfinite(seconds) else None

        return CureForecast(
            seconds=known(float(reached[0])),
            seconds_early=known(float(reached.min())),
            seconds_late=known(float(reached.max())),
            heat_off_ends_at=float(states[0]),
            heat_off_low=float(states.min()),
            heat_off_high=float(states.max()),
        )

    def state_of(self, equivalent: Array) -> Array:
        """State of cure (..., P) of the judged points at equivalent seconds (..., P)."""
        return self._points.state(equivalent)

    def reached(
        self, inner: Face, outer: Face, required: float, horizon_s: float = HORIZON_S, growth: float = 1.08
    ) -> Array:
        """Seconds (R,) from now until each track's deepest rubber has `required`, inf where not by the horizon."""
        per_needed = 1.0 / self._points.needed(required)
        times = growing_times(horizon_s, growth=growth)
        faces = (inner.temperature, outer.temperature)
        parts = [(field.between(inner, outer), tracks) for field, _, tracks in self._parts()]
        carried = self._equivalent.copy()
        worst = np.empty((len(carried), len(times)))
        # A stretch at a time: most cures are reached long before the horizon.
        for at in range(0, len(times) - 1, _STRETCH):
            stretch = times[at : at + _STRETCH + 1]
            end = at + len(stretch)
            gains = (
                gain
                for (basis, modes), tracks in parts
                for gain in coming(basis, modes, faces, stretch, self._points, tracks)
            )
            gained = np.empty((len(stretch), self._points.count))
            for row, gain in enumerate(gains):
                gained[0] = 0.0
                np.cumsum(gain, axis=0, out=gained[1:])
                gained += carried[row]
                carried[row] = gained[-1]
                gained *= per_needed
                gained.min(axis=-1, out=worst[row, at:end])
            if (worst[:, end - 1] >= 1.0).all():
                return first_reached(times[:end], worst[:, :end])
        return first_reached(times, worst)

    def after(self, stretches: Sequence[Held], growth: float = 1.12) -> Array:
        """Equivalent seconds (R, P) of every track after some stretches of held faces from now; nothing is changed."""
        gained = [after(field, stretches, self._points, tracks, growth) for field, _, tracks in self._parts()]
        return np.asarray(self._equivalent + np.concatenate(gained))

    def reversion_after(self, stretches: Sequence[Held]) -> float:
        """What `reversion_used` would be after them."""
        tracks = Tracks(np.zeros(1, dtype=np.intp), self._points.reversion_energy[None])
        gained = after(self._main.first(), stretches, self._points, tracks)[0]
        return float(((self._reverted + gained) / self._points.reversion).max())

    def _parts(self) -> list[tuple[Temperatures, slice, Tracks]]:
        """The fields, the rows of the tracks that follow each, and those tracks by the field's own variants."""
        variants = self._walls.shape[0]
        count = int(np.count_nonzero(self._tracks.variant < variants))
        parts = [(self._main, slice(0, count), self._tracks.select(slice(0, count), 0))]
        if self._upper is not None:
            parts.append((self._upper, slice(count, None), self._tracks.select(slice(count, None), variants)))
        return parts

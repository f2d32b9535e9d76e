"""The live model of one repair: what its rubber has been through, second by second, with a band.

Nominal figures and every corner of the band are carried side by side as arrays. R tracks of equivalent time: the
nominal one, then each thermal corner with the low and the high activation energy (tc values hold at the reference
temperature, so there the energy makes no difference). The band's edges at a point are the extremes over the tracks
at its relative depth.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from press_monitor.cure.compound import CureError
from press_monitor.cure.conduction import DEFAULT_NODES
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
from press_monitor.cure.kinetics import Array, exponent_of, step_mean
from press_monitor.cure.layers import Repair
from press_monitor.cure.packing import packed, unpacked
from press_monitor.cure.points import Tracks, points_of
from press_monitor.cure.pressing import Pressing
from press_monitor.cure.results import CurePointSI, LayerBounds, StackProfile
from press_monitor.cure.walls import Contact, Face, Limits, Temperatures, Walls

__all__ = ["CurePointSI", "Face", "LayerBounds", "Limits", "Section", "StackProfile"]

LONGEST_STEP_S = 10.0
"""Longer intervals are walked in equal parts no longer than this, for the sake of the Arrhenius integral alone."""

_DEFAULT_LIMITS = Limits()


class Section:
    """The live model. Deterministic: the same calls give the same bits, also through `save` and `restore`."""

    def __init__(
        self,
        repair: Repair,
        start_degC: float,
        ambient_degC: float,
        limits: Limits | None = _DEFAULT_LIMITS,
        *,
        nodes: int = DEFAULT_NODES,
        longest_step_s: float = LONGEST_STEP_S,
    ) -> None:
        """Everything at `start_degC`; a heat-off would cool towards `ambient_degC`. `limits` None: no band."""
        if not (math.isfinite(start_degC) and math.isfinite(ambient_degC)):
            raise CureError("section: start and ambient temperature must be numbers")
        self.repair, self.ambient, self.limits = repair, ambient_degC, limits
        self.elapsed = 0.0
        self._longest_step = longest_step_s
        self._walls = Walls(repair.stacks, repair.contact_conductance, limits, nodes)
        self._main = Temperatures(self._walls, slice(None), np.full(self._walls.shape, float(start_degC)))
        self._upper: Temperatures | None = None
        self._points = points = points_of(repair.stacks, self._walls.mesh_nominal)
        self._corners = range(1, self._walls.shape[0])
        self._tracks = Tracks.nominal(points) + self._band_tracks(0)
        self._equivalent = np.zeros_like(self._tracks.energies)
        self._reverted = np.zeros(points.count)
        self._peak = np.full(points.count, float(start_degC))
        self._pressing = Pressing(points)
        self._look()

    def _band_tracks(self, offset: int) -> Tracks:
        differences = self.limits.activation_energy if self.limits else ()
        return Tracks.corners(self._points, [v + offset for v in self._corners], differences)

    def advance(
        self,
        seconds: float,
        inner: Face,
        outer: Face,
        *,
        upper_inner: Face | None = None,
        upper_outer: Face | None = None,
        bag_absolute_Pa: float | None = None,
        pressed: bool | None = None,
    ) -> None:
        """Go on by `seconds` to these faces.

        A face moves linearly from where the call before left it; one of a new kind is there from the start. With
        0 seconds the faces are taken on and no time passes.

        Args:
            seconds: s since the call before, 0 or more; any length.
            inner: the inner face at the end of the interval.
            outer: the outer face at the end of the interval.
            upper_inner: what the band's upper edge is to see at the inner face instead (a face nobody trusts).
            upper_outer: likewise at the outer face.
            bag_absolute_Pa: absolute pressure on the rubber, None where unknown (then no vapour margin is kept).
            pressed: False while the bag is below its minimum; None where unknown, which counts as pressed.
        """
        if not (math.isfinite(seconds) and seconds >= 0.0):
            raise CureError(f"section: an interval must last 0 s or more, not {seconds:g}")
        above_inner, above_outer = upper_inner or inner, upper_outer or outer
        if self._upper is None and (above_inner != inner or above_outer != outer):
            self._part()
        fields = [(self._main, inner, outer)]
        if self._upper is not None:
            fields.append((self._upper, above_inner, above_outer))
        moves = []
        for field, at_inner, at_outer in fields:
            from_inner, from_outer = field.face(at_inner, at_outer)
            before = np.array([from_inner.temperature, from_outer.temperature])
            moves.append((field, before, np.array([at_inner.temperature, at_outer.temperature]) - before))
            if field.fresh:
                field.step(0.0, before.repeat(2))
                self._look()
        count = max(1, math.ceil(seconds / self._longest_step))
        part = seconds / count
        for k in range(count):
            for field, before, change in moves:
                field.step(part, (before[:, None] + change[:, None] * ((k / count, (k + 1) / count),)).ravel())
            self._account(part, bag_absolute_Pa, pressed)
        self.elapsed += seconds

    def _part(self) -> None:
        """From here on the band's upper edge sees faces of its own."""
        self._upper = self._main.copy(slice(1, None))
        offset = self._walls.shape[0] - 1
        self._tracks = self._tracks + self._band_tracks(offset)
        self._equivalent = np.vstack([self._equivalent, self._equivalent[1:]])
        self._look()

    def _look(self) -> None:
        """Read temperatures and rates off the fields."""
        nodes = self._main.now.reshape(self._walls.shape[0], -1)
        if self._upper is not None:
            nodes = np.concatenate([nodes, self._upper.now.reshape(len(nodes) - 1, -1)])
        here = nodes.take(self._points.flat, axis=1)
        self._here: Array = here[0]
        theta = exponent_of(here, self._points.reference)
        self._log_rate = theta.take(self._tracks.variant, axis=0) * self._tracks.energies
        self._rate = np.exp(self._log_rate)
        if self._points.own_reversion:
            self._log_reverting = theta[0] * self._points.reversion_energy

    def _account(self, seconds: float, bag: float | None, pressed: bool | None) -> None:
        points, log_rate, rate = self._points, self._log_rate, self._rate
        log_reverting = self._log_reverting if points.own_reversion else None
        self._look()
        gained = step_mean(rate, self._rate, self._log_rate - log_rate) * seconds
        before = self._equivalent[0].copy()
        self._equivalent += gained
        if log_reverting is None:
            self._reverted = self._equivalent[0]
        else:
            now = self._log_reverting
            self._reverted = self._reverted + seconds * step_mean(
                np.exp(log_reverting), np.exp(now), now - log_reverting
            )
        np.maximum(self._peak, self._here, out=self._peak)
        self._pressing.account(seconds, before, self._equivalent[0], self._here, bag, pressed)

    # --- what it says -------------------------------------------------------------------------------------------

    @property
    def judged(self) -> bool:
        """Whether there is any rubber to judge."""
        return self._points.count > 0

    @property
    def split(self) -> bool:
        """Whether the band's upper edge has seen faces of its own."""
        return self._upper is not None

    def _states(self) -> Array:
        return self._points.state(self._equivalent)

    def _point(self, index: int, low: float, high: float) -> CurePointSI:
        points = self._points
        equivalent = self._equivalent[0, index]
        state = float(points.state(self._equivalent[0])[index])
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

        Its band is that of the lowest state of cure anywhere: each corner of the band finds its own deepest rubber.
        """
        if not self.judged:
            return None
        states = self._states()
        worst = states.min(axis=1)
        index = int(np.lexsort((self._here, self._equivalent[0] / self._points.tc90, states[0]))[0])
        return self._point(index, float(worst.min()), float(worst.max()))

    def hottest(self) -> CurePointSI | None:
        """The point nearest its reversion limit, with the band at that point. None: nothing is judged."""
        if not self.judged:
            return None
        used = self._reverted / self._points.reversion
        index = int(np.lexsort((-self._peak, -used))[0])
        there = self._states()[:, index]
        return self._point(index, float(there.min()), float(there.max()))

    def reversion_used(self) -> float:
        """Equivalent reversion time over its limit at the hottest rubber: 1 and more is past the limit. Nominal."""
        return float((self._reverted / self._points.reversion).max()) if self.judged else 0.0

    def past_blow_point(self) -> bool:
        """Whether every judged point is past its blow point even at the band's lower edge."""
        return bool((self._equivalent.min(axis=0) >= self._points.blow).all())

    def _share(self, which: Array) -> float:
        if not self.judged:
            return 0.0
        return float(np.bincount(self._points.stack, weights=which * self._points.share).max().clip(0.0, 1.0))

    def scorched_share(self) -> float:
        """Share of the uncured rubber past scorch, by thickness, in the stack with the most of it. Nominal."""
        return self._share((self._equivalent[0] >= self._points.scorch).astype(np.float64))

    def setting_share(self) -> float:
        """Share between scorch and blow point now: what loses by a lost bag. Worst stack, nominal."""
        now = self._equivalent[0]
        return self._share(((now >= self._points.scorch) & (now < self._points.blow)).astype(np.float64))

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

    # --- what comes ---------------------------------------------------------------------------------------------

    def forecast(self, inner: Face, outer: Face, required: float, horizon_s: float = HORIZON_S) -> CureForecast | None:
        """When the deepest rubber has `required` with the faces held so, and what heat-off now ends at.

        None: nothing is judged. Found on growing steps, which makes it late by a third of a percent at most.
        """
        if not self.judged:
            return None
        reached = self.reached(inner, outer, required, horizon_s)
        off = Face.fast_loss(self.ambient)
        states = self._points.state(self.after([Held(off, off, COOLING_S)])).min(axis=1)

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
        needed = self._points.needed(required)
        times = growing_times(horizon_s, growth=growth)
        worst: list[Array] = []
        for field, rows, tracks in self._parts():
            basis, modes = field.between(inner, outer)
            faces = (inner.temperature, outer.temperature)
            gains = coming(basis, modes, faces, times, self._points, tracks)
            for now, gained in zip(self._equivalent[rows], gains, strict=True):
                gained += now
                gained /= needed
                worst.append(gained.min(axis=-1))
        return first_reached(times, np.array(worst))

    def after(self, stretches: Sequence[Held]) -> Array:
        """Equivalent seconds (R, P) of every track after some stretches of held faces from now; nothing is changed."""
        gained = [after(field, stretches, self._points, tracks) for field, _, tracks in self._parts()]
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

    # --- kept and taken up again --------------------------------------------------------------------------------

    def save(self) -> dict[str, Any]:
        """Everything that `restore` needs, as plain JSON; arrays as base64 of little-endian float64."""
        fields = [self._main, *([self._upper] if self._upper else [])]
        return {
            "elapsed": self.elapsed,
            "fields": [
                {
                    "now": packed(field.now),
                    "modes": packed(field.modes),
                    "faces": None
                    if field.inner is None or field.outer is None
                    else [[face.contact.value, face.temperature] for face in (field.inner, field.outer)],
                }
                for field in fields
            ],
            "equivalent": packed(self._equivalent),
            "reverted": packed(self._reverted),
            "peak": packed(self._peak),
            "pressing": self._pressing.save(),
        }

    @classmethod
    def restore(
        cls,
        repair: Repair,
        start_degC: float,
        ambient_degC: float,
        saved: Mapping[str, Any],
        limits: Limits | None = _DEFAULT_LIMITS,
        *,
        nodes: int = DEFAULT_NODES,
    ) -> Section:
        """Take up a saved section. Raises `CureError` where the save is of another repair or not whole."""
        section = cls(repair, start_degC, ambient_degC, limits, nodes=nodes)
        try:
            section._take(saved)
        except (KeyError, TypeError, ValueError) as error:
            raise CureError(f"section: the saved state does not fit this repair ({error})") from None
        return section

    def _take(self, saved: Mapping[str, Any]) -> None:
        if len(saved["fields"]) > 1:
            self._part()
        for field, data in zip([self._main, *([self._upper] if self._upper else [])], saved["fields"], strict=True):
            field.now = unpacked(data["now"], field.now.shape)
            if data["faces"] is not None:
                faces = [Face(Contact(kind), float(degC)) for kind, degC in data["faces"]]
                field.resume(faces[0], faces[1], unpacked(data["modes"], field.now.shape))
        self.elapsed = float(saved["elapsed"])
        one = self._peak.shape
        self._equivalent = unpacked(saved["equivalent"], self._equivalent.shape)
        own = self._points.own_reversion
        self._reverted = unpacked(saved["reverted"], one) if own else self._equivalent[0]
        self._peak = unpacked(saved["peak"], one)
        self._pressing.load(saved["pressing"], self._equivalent[0])
        self._look()

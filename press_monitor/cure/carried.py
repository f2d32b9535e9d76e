"""What the model of one repair carries from second to second.

Nominal figures and every corner of the band are carried side by side as arrays. R tracks of equivalent time: the
nominal one, then each thermal corner with the low and the high activation energy (tc values hold at the reference
temperature, so there the energy makes no difference).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Self

import numpy as np

from press_monitor.cure.compound import CureError
from press_monitor.cure.conduction import DEFAULT_NODES
from press_monitor.cure.kinetics import Array, exponent_of, step_mean
from press_monitor.cure.layers import Repair
from press_monitor.cure.limits import Limits
from press_monitor.cure.packing import packed, unpacked
from press_monitor.cure.points import Tracks
from press_monitor.cure.pressing import Pressing
from press_monitor.cure.walls import Contact, Face, Temperatures, walls_of

__all__ = ["LONGEST_STEP_S", "Carried"]

LONGEST_STEP_S = 10.0
"""Longer intervals are walked in equal parts no longer than this, for the sake of the Arrhenius integral alone."""

_DEFAULT_LIMITS = Limits()


@dataclass(slots=True)
class _Due:
    """What has come since the last look at the rubber.

    Attributes:
        steps: s, then degC of the inner and the outer face at the end and of those that the upper edge sees.
        bag: the least bag pressure known, Pa.
        pressed: as at every one of the steps.
    """

    steps: list[tuple[float, float, float, float, float]]
    bag: float | None = None
    pressed: bool | None = None

    def add(self, step: tuple[float, float, float, float, float], bag: float | None, pressed: bool | None) -> None:
        self.steps.append(step)
        self.pressed = pressed
        if bag is not None:
            self.bag = bag if self.bag is None else min(self.bag, bag)


class Carried:
    """The state of one repair's model and how it goes on; `press_monitor.cure.section.Section` reads it.

    Deterministic: the same calls give the same bits, also through `save` and `restore`.
    """

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
        self._walls, points = walls_of(repair.stacks, repair.contact_conductance, limits, nodes)
        self._points = points
        self._main = Temperatures(self._walls, slice(None), np.full(self._walls.shape, float(start_degC)))
        self._upper: Temperatures | None = None
        self._corners = range(1, self._walls.shape[0])
        self._tracks = Tracks.nominal(points) + self._band_tracks(0)
        self._equivalent = np.zeros_like(self._tracks.energies)
        self._reverted = np.zeros(points.count)
        self._peak = np.full(points.count, float(start_degC))
        self._pressing = Pressing(points)
        self._due = _Due([])
        self._known: dict[str, Any] = {}
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
        look: bool = True,
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
            look: False leaves it at that until the next call that looks, or `settle`, carries the heat on through all
                of it and accounts for the rubber; until then every answer is that of the last look. Do so for a few
                seconds at most: temperatures stay exact, the Arrhenius integral takes them as one step.
        """
        if not (math.isfinite(seconds) and seconds >= 0.0):
            raise CureError(f"section: an interval must last 0 s or more, not {seconds:g}")
        above_inner, above_outer = upper_inner or inner, upper_outer or outer
        parts = self._upper is None and (above_inner != inner or above_outer != outer)
        plain = not (
            parts
            or seconds > self._longest_step
            or self._main.turns(inner, outer)
            or (self._upper is not None and self._upper.turns(above_inner, above_outer))
        )
        if self._due.steps and not (plain and pressed is self._due.pressed):
            self.settle()
        self.elapsed += seconds
        if plain and not (look and not self._due.steps):
            ends = (inner.temperature, outer.temperature, above_inner.temperature, above_outer.temperature)
            self._due.add((seconds, *ends), bag_absolute_Pa, pressed)
            if look:
                self.settle()
            return
        if parts:
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

    def settle(self) -> None:
        """Carry on and account for what has come since the last look at the rubber."""
        due, self._due = self._due, _Due([])
        if not due.steps:
            return
        self._main.walk([(seconds, inner, outer) for seconds, inner, outer, _, _ in due.steps])
        if self._upper is not None:
            self._upper.walk([(seconds, inner, outer) for seconds, _, _, inner, outer in due.steps])
        self._account(sum(step[0] for step in due.steps), due.bag, due.pressed)

    def _part(self) -> None:
        """From here on the band's upper edge sees faces of its own."""
        self._upper = self._main.copy(slice(1, None))
        offset = self._walls.shape[0] - 1
        self._tracks = self._tracks + self._band_tracks(offset)
        self._equivalent = np.vstack([self._equivalent, self._equivalent[1:]])
        self._known.clear()
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
        self._known.clear()
        self._pressing.account(seconds, before, self._equivalent[0], self._here, bag, pressed)

    def save(self) -> dict[str, Any]:
        """Everything that `restore` needs, as plain JSON; arrays as base64 of little-endian float64."""
        fields = [self._main, *([self._upper] if self._upper else [])]
        return {
            "elapsed": self.elapsed,
            "due": [list(self._due.steps), self._due.bag, self._due.pressed],
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
    ) -> Self:
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
        steps, bag, pressed = saved["due"]
        self._due = _Due([(s, a, b, c, d) for s, a, b, c, d in steps], bag, pressed)
        one = self._peak.shape
        self._equivalent = unpacked(saved["equivalent"], self._equivalent.shape)
        own = self._points.own_reversion
        self._reverted = unpacked(saved["reverted"], one) if own else self._equivalent[0]
        self._peak = unpacked(saved["peak"], one)
        self._pressing.load(saved["pressing"], self._equivalent[0])
        self._known.clear()
        self._look()

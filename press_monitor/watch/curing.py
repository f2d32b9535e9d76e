"""Feeding the model: which temperatures each face is believed to have, second by second, and what is never credited."""

from __future__ import annotations

from dataclasses import dataclass

from press_monitor.cure.forecast import CureForecast
from press_monitor.cure.layers import FaceKind, Repair
from press_monitor.cure.limits import Limits
from press_monitor.cure.section import CurePointSI, Section
from press_monitor.cure.walls import Face as Boundary
from press_monitor.watch.advice import Stage
from press_monitor.watch.faces import HOLD_ON, Face
from press_monitor.watch.plain import Json, from_json, to_json

__all__ = ["Curing"]

FORECAST_EVERY = 60.0
LOOK_EVERY = 5.0
"""How often the rubber's account is brought up to date, s; the heat in it is carried on at every reading."""


@dataclass(slots=True)
class _State:
    start: float | None = None
    fed: float = 0.0
    forecast_at: float | None = None
    distrusted_s: float = 0.0
    looked: float = 0.0
    unseen_reversion: float = 0.0


class Curing:
    """The section model of one repair, fed by the faces' readings."""

    def __init__(
        self, repair: Repair, inner: Face | None, outer: Face | None, ambient: float, limits: Limits | None = None
    ) -> None:
        self._repair, self._inner, self._outer, self._ambient = repair, inner, outer, ambient
        self._limits = Limits() if limits is None else limits
        self.section: Section | None = None
        self.forecast: CureForecast | None = None
        self.s = _State()

    def save(self) -> Json:
        """Plain JSON."""
        return {
            "state": to_json(self.s),
            "section": None if self.section is None else self.section.save(),
            "forecast": to_json(self.forecast),
        }

    def load(self, data: Json) -> None:
        """Continue from `save`."""
        self.s = from_json(_State, data["state"])
        self.forecast = None if data["forecast"] is None else CureForecast(**data["forecast"])
        if data["section"] is not None:
            self.section = Section.restore(self._repair, self._start_at(), self._ambient, data["section"], self._limits)

    def _start_at(self) -> float:
        return self.s.start if self.s.start is not None else self._ambient

    def _boundary(self, face: Face | None, kind: FaceKind, t: float) -> tuple[Boundary, float | None, bool]:
        """The face's boundary, the mat temperature behind it (None: none), and whether it had to be given up."""
        if kind is FaceKind.AIR or face is None:
            return Boundary.air(self._ambient), None, False
        value = face.value(t)
        if value is not None:
            return Boundary.mat(value), value, False
        return Boundary.air(self._ambient), None, True

    def _reliable(self, face: Face | None, kind: FaceKind, t: float) -> bool:
        """Whether the face's value can be used at once: fresh this tick, or not a mat at all."""
        if kind is FaceKind.AIR or face is None:
            return True
        channel = face.judge(t)
        return channel is not None and channel.age(t) < 1e-6

    def _given_up(self, face: Face | None, kind: FaceKind, t: float) -> bool:
        """Whether a mat face has been without a believable value for longer than it is held on."""
        if kind is FaceKind.AIR or face is None or face.trusted(t):
            return False
        return all(c.age(t) > c.limit(HOLD_ON) or not c.believed or c.missing_for(t) > HOLD_ON for c in face.channels)

    def feed(self, t: float, bag_absolute: float | None, pressed: bool | None) -> None:
        """Bring the model to `t`; where readings are late but not yet lost, wait for them."""
        sides = ((self._inner, self._repair.inner), (self._outer, self._repair.outer))
        if self.section is None:
            self._begin(t, sides)
        if self.section is None or t <= self.s.fed:
            return
        if not all(self._reliable(*side, t) or self._given_up(*side, t) for side in sides):
            return
        (inner, a, lost_a), (outer, b, lost_b) = (self._boundary(*side, t) for side in sides)
        upper_inner = Boundary.mat(b) if lost_a and b is not None else self._last(self._inner, lost_a) or inner
        upper_outer = Boundary.mat(a) if lost_b and a is not None else self._last(self._outer, lost_b) or outer
        seconds = t - self.s.fed
        if lost_a or lost_b:
            self.s.distrusted_s += seconds
            hot = max(upper_inner.temperature, upper_outer.temperature)
            self.s.unseen_reversion += seconds * self.section.reverting(hot)
        look = t - self.s.looked >= LOOK_EVERY
        self.section.advance(
            seconds,
            inner,
            outer,
            upper_inner=upper_inner,
            upper_outer=upper_outer,
            bag_absolute_Pa=bag_absolute,
            pressed=pressed,
            look=look,
        )
        self.s.fed = t
        if look:
            self.s.looked = t

    def settle(self) -> None:
        """Bring the rubber's account up to what has been fed: something is to be judged by it now."""
        if self.section is not None:
            self.section.settle()
            self.s.looked = self.s.fed

    @staticmethod
    def _last(face: Face | None, lost: bool) -> Boundary | None:
        """Where both sides are lost the upper edge keeps the last value: the mat may well still be hot."""
        if not lost or face is None:
            return None
        values = [c.value for c in face.channels if c.value is not None]
        return Boundary.mat(max(values)) if values else None

    def _begin(self, t: float, sides: tuple[tuple[Face | None, FaceKind], ...]) -> None:
        values = [face.value(t) for face, kind in sides if face is not None and kind is FaceKind.MAT]
        known = [value for value in values if value is not None]
        if not known:
            return
        given = self._repair.start_temperature
        self.s.start = min(*known, self._ambient) if given is None else given
        self.s.fed = self.s.looked = t
        self.section = Section(self._repair, self.s.start, self._ambient, self._limits)
        (inner, _, _), (outer, _, _) = (self._boundary(*side, t) for side in sides)
        self.section.advance(0.0, inner, outer, bag_absolute_Pa=None, pressed=None)

    def refresh_forecast(self, t: float, required: float) -> None:
        """Renew the forecast each minute of the cycle's own time."""
        due = self.s.forecast_at is None or t - self.s.forecast_at >= FORECAST_EVERY
        if self.section is None or not due:
            return
        self.s.forecast_at = t
        self.settle()
        (inner, _, _), (outer, _, _) = (
            self._boundary(self._inner, self._repair.inner, t),
            self._boundary(self._outer, self._repair.outer, t),
        )
        self.forecast = self.section.forecast(inner, outer, required)

    def forecast_at(self, mat: float, required: float) -> CureForecast | None:
        """What would come with every mat at `mat`, degC, from now on."""
        if self.section is None:
            return None
        inner, outer = (
            Boundary.air(self._ambient) if kind is FaceKind.AIR else Boundary.mat(mat)
            for kind in (self._repair.inner, self._repair.outer)
        )
        return self.section.forecast(inner, outer, required)

    @property
    def deepest(self) -> CurePointSI | None:
        """The deepest rubber as last looked at."""
        return self.section.deepest() if self.section is not None else None

    def reached(self, required: float) -> bool:
        """Whether the deepest rubber has the required cure, on the nominal figures."""
        deepest = self.deepest
        return deepest is not None and deepest.state_of_cure >= required

    def reached_for_sure(self, required: float) -> bool:
        """The same on the band's lower edge."""
        deepest = self.deepest
        return deepest is not None and deepest.state_of_cure_low >= required

    def due(self, required: float, *, held: bool) -> bool:
        """Whether the heat may go off: the cure is there, or what heat-off now ends at is enough.

        With a probe lost the figures are bounds: then a hold that is done (`held`) and an upper edge that reaches the
        required cure make a heat-off planned, though never a sure cure.
        """
        if self.reached(required):
            return True
        if self.forecast is None:
            return False
        possible = self.s.distrusted_s > HOLD_ON and held and self.forecast.heat_off_high >= required
        return possible or self.forecast.heat_off_ends_at >= required

    @property
    def reversion_possible(self) -> float:
        """Reversion over its limit were the mats as hot as they last were for as long as nobody could tell."""
        return self.s.unseen_reversion + (self.section.reversion_used() if self.section is not None else 0.0)

    def vulnerable(self) -> float:
        """Share of the uncured rubber that lies between scorch and blow point now."""
        return self.section.setting_share() if self.section is not None else 0.0

    def past_blow_point(self) -> bool:
        """Whether all uncured rubber is past its blow point, on the band's lower edge."""
        return self.section is not None and self.section.past_blow_point()

    def stage(self) -> Stage:
        """How far the rubber is, for advice."""
        if self.deepest is None:
            return Stage.UNKNOWN
        if self.vulnerable() > 0.0:
            return Stage.SETTING
        return Stage.SET if self.past_blow_point() else Stage.BEFORE_SCORCH

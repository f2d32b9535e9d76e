"""Where the cycle stands: loaded, heat-up, hold, cool-down, released."""

from __future__ import annotations

from dataclasses import dataclass, field

from press_monitor.watch.faces import SLACK, Face
from press_monitor.watch.plain import Json, from_json, to_json
from press_monitor.watch.recipe import Recipe
from press_monitor.watch.types import Phase, PhaseChanged, PhaseSpan

__all__ = ["Phases"]

RISE = 5.0
HOT = 60.0
FOOT = 1.0
"""So near the learned foot of its cycle a mat has come that is falling from it, K."""
FALL_TIME = 60.0
RELEASE_TIME = 5.0
LONG_COLD = 1200.0


@dataclass(slots=True)
class _State:
    phase: Phase = Phase.EMPTY
    since: float = 0.0
    spans: list[PhaseSpan] = field(default_factory=list)
    heating_since: float | None = None
    heat_off_at: float | None = None
    told_off: bool = False
    below_since: float | None = None
    cold_since: float | None = None
    released_at: float | None = None


class Phases:
    """The phase machine. It follows the mats and the bag; an operator's word is taken where it is given."""

    def __init__(self, recipe: Recipe, faces: tuple[Face, ...]) -> None:
        self._recipe, self._faces = recipe, faces
        self.s = _State()

    def save(self) -> Json:
        """Plain JSON."""
        return to_json(self.s)

    def load(self, data: Json) -> None:
        """Continue from `save`."""
        self.s = from_json(_State, data)

    @property
    def phase(self) -> Phase:
        """The present phase."""
        return self.s.phase

    def spans(self) -> tuple[PhaseSpan, ...]:
        """Every phase so far, the last one open."""
        if self.s.phase is Phase.EMPTY:
            return ()
        return (*self.s.spans, PhaseSpan(self.s.phase, self.s.since, None))

    def _enter(self, t: float, phase: Phase, why: str = "") -> PhaseChanged:
        if self.s.phase is not Phase.EMPTY:
            self.s.spans.append(PhaseSpan(self.s.phase, self.s.since, t))
        self.s.phase, self.s.since = phase, t
        return PhaseChanged(t, phase, why)

    def load_press(self, t: float) -> PhaseChanged:
        """The cycle begins."""
        return self._enter(t, Phase.LOADED)

    def heat_is_off(self, t: float) -> list[PhaseChanged]:
        """The operator says that the heat is off."""
        if self.s.phase not in (Phase.HEAT_UP, Phase.HOLD):
            return []
        return [self._cool(t, "heat off, as told", told=True)]

    def release(self, t: float) -> list[PhaseChanged]:
        """The operator says that the press is open."""
        if self.s.phase in (Phase.EMPTY, Phase.RELEASED):
            return []
        self.s.released_at = t
        return [self._enter(t, Phase.RELEASED, "released, as told")]

    def _cool(self, t: float, why: str, *, told: bool = False) -> PhaseChanged:
        self.s.heat_off_at, self.s.told_off = t, told
        self.s.below_since = None
        for face in self._faces:
            face.restart()
        return self._enter(t, Phase.COOL_DOWN, why)

    def step(self, t: float, *, due: bool, falling: bool, bag_down_for: float, bag_known: bool) -> list[PhaseChanged]:
        """Follow the tick at `t`. `falling` says that every believable mat is losing heat."""
        s = self.s
        values = [(face, face.value(t)) for face in self._faces]
        known = [(face, value) for face, value in values if value is not None]
        changed: list[PhaseChanged] = []
        if s.phase is Phase.LOADED and any(self._heating(face, value) for face, value in known):
            s.heating_since = t
            changed.append(self._enter(t, Phase.HEAT_UP))
        if s.phase is Phase.HEAT_UP and known and all(face.entered for face, _ in known):
            changed.append(self._enter(t, Phase.HOLD, "every mat is in its band"))
        if s.phase in (Phase.HEAT_UP, Phase.HOLD) and known:
            changed.extend(self._watch_heat_off(t, known, due=due, falling=falling))
        elif s.phase is Phase.COOL_DOWN:
            changed.extend(self._watch_cooling(t, known, bag_down_for if bag_known else 0.0))
        return changed

    def _heating(self, face: Face, value: float) -> bool:
        low = face.s.low_so_far
        return value >= self._recipe.band_low - SLACK or (low is not None and value > low + RISE and value > 30.0)

    def _watch_heat_off(
        self, t: float, known: list[tuple[Face, float]], *, due: bool, falling: bool
    ) -> list[PhaseChanged]:
        s, values = self.s, [value for _, value in known]
        below = max(values) < self._recipe.band_low
        # a wide thermostat's mat goes below its band too, cycle by cycle, while the other has lost its heat
        off = below and falling and all(value < face.floor() + FOOT for face, value in known)
        s.below_since = (t if s.below_since is None else s.below_since) if off else None
        if s.below_since is not None and due and t - s.below_since >= FALL_TIME:
            return [self._cool(t, "heat off: every mat is falling, and the cure is due")]
        entered = any(face.entered for face in self._faces)
        cold = below and (entered or falling)
        s.cold_since = (t if s.cold_since is None else s.cold_since) if cold and not due else None
        if s.cold_since is None or not entered:
            return []
        if max(values) < self._recipe.release_below or t - s.cold_since >= LONG_COLD:
            return [self._cool(t, "the heat has gone; the cure was not due")]
        return []

    def _watch_cooling(self, t: float, known: list[tuple[Face, float]], bag_down_for: float) -> list[PhaseChanged]:
        s = self.s
        if bag_down_for >= RELEASE_TIME:
            s.released_at = t
            return [self._enter(t, Phase.RELEASED, "the bag is down")]
        low = self._recipe.band_low
        if known and all(
            value >= low and face.s.low_so_far is not None and face.s.low_so_far < low - 2.0 for face, value in known
        ):
            s.heat_off_at, s.told_off = None, False
            for face in self._faces:
                face.restart()
            return [self._enter(t, Phase.HOLD, "heated again")]
        return []

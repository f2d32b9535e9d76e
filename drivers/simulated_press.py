"""A simulated press, independent of any clock: it is stepped from sample to sample."""

from __future__ import annotations

import random
from dataclasses import dataclass, replace
from decimal import Decimal

from drivers.press_options import PressSettings
from drivers.press_physics import Bag, Heat
from drivers.press_troubles import Effects, Trouble, effects_of, read_trouble

__all__ = ["Frame", "SimulatedPress"]

_RAM_PSI = 1500.0
_RAM_NOISE = 2.0
_RATED_A = 8.0
_AMP_NOISE = 0.02
_AMP_RESOLUTION = 0.01
_LIFTED_LAG_S = 8.0
_PROBE_OFFSET = 1.0
# A reversed thermocouple runs to the lower end of its instrument's range and stays there: -200 degC is a usual end for
# types J, K and T (common practice, no source).
_COLDEST_DEGF = -328.0
_PSI_TO = {"psi": 1.0, "kPa": 6.894757293168, "bar": 0.06894757293168}


@dataclass(frozen=True, slots=True)
class Frame:
    """What all channels say at one moment.

    Attributes:
        t: seconds since the start of the cycle.
        readings: channel and value, None for an open probe; empty where nothing comes.
        unplugged: the port is gone.
    """

    t: float
    readings: tuple[tuple[str, float | None], ...]
    unplugged: bool = False


class _Noise:
    """Near-normal noise from sums of uniform numbers: the same digits on every machine, tails to 4.2 sigma."""

    def __init__(self, seed: str) -> None:
        self._uniform = random.Random(seed).random

    def __call__(self) -> float:
        uniform = self._uniform
        total = uniform() + uniform() + uniform() + uniform() + uniform() + uniform()
        return (total - 3.0) * 1.4142135623730951


class _Channel:
    """How one channel makes a reading of a true value in degF, psi or A: offset, noise, unit, resolution."""

    def __init__(self, settings: PressSettings, name: str, offset: float) -> None:
        self.name = name
        self._noise = _Noise(f"{settings.seed}:{name}")
        self._offset = offset
        self._shift, self._scale = 0.0, 1.0
        unit = settings.unit(name)
        if name in ("bag", "ram"):
            self._scale = _PSI_TO[unit]
            resolution, self._sigma = settings.pressure_resolution, settings.noise_psi
            if name == "ram":
                resolution, self._sigma = max(self._scale, resolution), _RAM_NOISE
        elif unit == "A":
            resolution, self._sigma = _AMP_RESOLUTION, _AMP_NOISE
        else:
            resolution, self._sigma = settings.temperature_resolution, settings.noise_degF
            if unit == "degC":
                self._shift, self._scale = -32.0, 1.0 / 1.8
        self._resolution = resolution
        exponent = Decimal(repr(resolution)).normalize().as_tuple().exponent
        self.decimals = max(0, -exponent) if isinstance(exponent, int) else 0

    def __call__(self, true: float, sigma: float | None = None) -> float:
        """One reading; `sigma` replaces the usual noise. One draw a call, so that all seeds stay in step."""
        noise = self._noise() * (self._sigma if sigma is None else sigma)
        value = (true + self._offset + noise + self._shift) * self._scale
        return round(round(value / self._resolution) * self._resolution, self.decimals) + 0.0


class SimulatedPress:
    """One cycle on one press. The same settings give the same frames, whatever the pace."""

    def __init__(self, settings: PressSettings) -> None:
        self.settings = settings
        nature = random.Random(f"{settings.seed}:press")
        offsets = {name: nature.uniform(-_PROBE_OFFSET, _PROBE_OFFSET) for name in ("inner_mat", "outer_mat")}
        self._heat = Heat(settings, nature.uniform(0.0, 0.03))
        self._bag = Bag(settings)
        self._channels = {name: _Channel(settings, name, offsets.get(name, 0.0)) for name in settings.channels}
        self._substeps = max(1, -(-settings.interval_s // 1.0))
        self._frames = 0
        self._troubles: list[Trouble] = list(settings.faults)
        self._effects = Effects()
        self._next_change = 0.0
        self._cooling_s: float | None = None
        self._vented_s: float | None = None
        self._probe: dict[str, float] = {}
        self._last: dict[str, float] = {}

    @property
    def t(self) -> float:
        """The moment of the next frame, s since the start of the cycle."""
        return self._frames * self.settings.interval_s

    @property
    def troubles(self) -> tuple[Trouble, ...]:
        """The timetable, with what was injected."""
        return tuple(self._troubles)

    @property
    def vented_s(self) -> float | None:
        """When the bag came down after the heat was switched off; None while it has not."""
        return self._vented_s

    @property
    def finished(self) -> bool:
        """Whether the cycle has nothing more to tell."""
        return self._vented_s is not None and self.t > self._vented_s + self.settings.after_min * 60.0

    def decimals(self, channel: str) -> int:
        """Decimals of a channel's values."""
        return self._channels[channel].decimals

    def inject(self, kind: str, **parameters: object) -> Trouble:
        """Let something go wrong, now or `at_min`. Raises `DriverError` for an unknown kind or parameter."""
        trouble = read_trouble({"at_min": self.t / 60.0, **parameters, "kind": kind})
        self._troubles.append(trouble)
        self._next_change = self.t
        return trouble

    def end(self, kind: str) -> None:
        """Let every standing trouble of a kind end now."""
        now = self.t
        for index, trouble in enumerate(self._troubles):
            if trouble.kind == kind and trouble.end_s > now:
                self._troubles[index] = replace(trouble, end_s=max(trouble.start_s, now))
        self._next_change = now

    def step(self) -> Frame:
        """The next frame, one sampling interval after the last; the first is at 0."""
        t = self.t
        if self._frames:
            dt = self.settings.interval_s / self._substeps
            began = t - self.settings.interval_s
            for part in range(1, int(self._substeps) + 1):
                self._advance(dt, began + part * dt)
        else:
            self._refresh(0.0)
        self._frames += 1
        if self._effects.silent or self._effects.unplugged:
            return Frame(t, (), self._effects.unplugged)
        return Frame(t, tuple((name, self._reading(name)) for name in self._channels))

    def _refresh(self, t: float) -> None:
        if t < self._next_change:
            return
        self._effects = effects_of(self._troubles, t)
        edges = (edge for trouble in self._troubles for edge in (trouble.start_s, trouble.end_s) if edge > t)
        self._next_change = min(edges, default=float("inf"))

    def _advance(self, dt: float, t: float) -> None:
        self._refresh(t)
        settings, effects = self.settings, self._effects
        due = settings.heat_off_min is not None and t >= settings.heat_off_min * 60.0
        if self._cooling_s is None and (due or effects.heat_off):
            self._cooling_s = t
        self._heat.step(dt, self._cooling_s is None and t >= settings.heat_on_min * 60.0, effects)
        cooled = self._cooling_s is not None and self._heat.hottest < settings.vent_below_degF
        vent = effects.vented or self._vented_s is not None or cooled
        self._bag.step(dt, t, self._heat.mats[0], vent, effects)
        if vent and self._vented_s is None and self._bag.pressure <= 0.0:
            self._vented_s = t
        for channel, trouble in effects.probes.items():
            if trouble.kind == "lifted-probe":
                mat = self._true(channel)
                air = settings.ambient_degF
                shown = self._probe.get(channel, mat)
                self._probe[channel] = (
                    shown + (air + trouble.numbers["share"] * (mat - air) - shown) * dt / _LIFTED_LAG_S
                )

    def _true(self, channel: str) -> float:
        match channel:
            case "inner_mat":
                return self._heat.mats[0]
            case "outer_mat":
                return self._heat.mats[1]
            case "bag":
                return self._bag.pressure
            case "air":
                return self.settings.ambient_degF
            case "buried":
                return self._heat.at_depth(self.settings.buried_mm)
            case "ram":
                down = self._vented_s is not None
                return 0.0 if down else self._effects.ram_psi if self._effects.ram_psi is not None else _RAM_PSI
            case _:
                return _RATED_A * self._heat.duty[0 if channel.startswith("inner") else 1]

    def _reading(self, name: str) -> float | None:
        channel, true = self._channels[name], self._true(name)
        trouble = self._effects.probes.get(name)
        if trouble is None:
            self._probe.pop(name, None)
            reading = self._last[name] = channel(true)
            return reading
        match trouble.kind:
            case "lifted-probe":
                reading = channel(self._probe.get(name, true))
            case "erratic-probe":
                reading = channel(true, trouble.numbers["noise"])
            case "reversed-probe":
                reading = channel(max(_COLDEST_DEGF, 2.0 * self.settings.ambient_degF - true))
            case _:
                reading = channel(true)
                if trouble.kind == "open-probe":
                    return None
                reading = self._last.get(name, reading)
        self._last[name] = reading
        return reading

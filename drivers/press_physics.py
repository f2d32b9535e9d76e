"""Crude physics of a press for the simulator: two mats, a slab of rubber, a bag of air.

Everything is in degF, psi, mm and s. It is deliberately unlike the cure model that judges the readings: coarse
lumps stepped explicitly and a mat of its own heat capacity behind a contact. Nothing but + - * / and square roots
is used, so that one seed gives the same digits on every machine.
"""

from __future__ import annotations

import math

from drivers.press_options import PressSettings
from drivers.press_troubles import Effects

__all__ = ["ATMOSPHERE_PSI", "Bag", "Heat"]

ATMOSPHERE_PSI = 14.696
_ABSOLUTE_ZERO_DEGF = -459.67

# Filled rubber (k 0.25 W/m/K, rho 1150 kg/m3, c 1900 J/kg/K) and a silicone mat under sand bags.
_DIFFUSIVITY_MM2_S = 0.1144
_CONDUCTIVITY = 0.25
_RUBBER_HEAT_PER_MM = 2185.0  # J/m2/K of one mm
_CONTACT = 250.0  # W/m2/K
_MAT_HEAT = 20_000.0  # J/m2/K
_LUMP_MM = 5.0
_ELEMENT_LAG_S = 20.0
_PROPORTIONAL_BAND = 24.0
_INTEGRAL_S = 600.0
_OUTER_LOSES_MORE = 1.06
_REACHED_WITHIN = 5.0


class Heat:
    """Mats and rubber. `mats` is [inner, outer], `rubber` the lumps from the inner mat to the outer."""

    def __init__(self, settings: PressSettings, mismatch: float) -> None:
        self._settings = settings
        lumps = max(3, round(settings.thickness_mm / _LUMP_MM))
        lump = settings.thickness_mm / lumps
        self._between = _DIFFUSIVITY_MM2_S / (lump * lump)
        contact = 1.0 / (1.0 / _CONTACT + lump / 2000.0 / _CONDUCTIVITY)
        self._into_lump = contact / (_RUBBER_HEAT_PER_MM * lump)
        self._into_mat = contact / _MAT_HEAT
        fall = 1.0 / (settings.mat_fall_min * 60.0)
        self._loss = (fall, fall * _OUTER_LOSES_MORE)
        self._lump = lump
        self._reset(lumps)
        full = self._power_to_heat_up(lumps)
        self._full = (full * (1.0 + mismatch), full * (1.0 - mismatch))

    def _reset(self, lumps: int) -> None:
        start = self._settings.start_degF
        self.mats = [start, start]
        self.rubber = [start] * lumps
        self.duty = [0.0, 0.0]
        self._element = [0.0, 0.0]
        self._integral = [0.0, 0.0]

    def _power_to_heat_up(self, lumps: int) -> float:
        """The full power, degF/s of a mat, that brings both mats near the set point in the time asked for.

        Under constant power the temperatures are linear in it, so two trial runs suffice.
        """
        step = 1.0
        ends = []
        for power in (0.0, 1.0):
            self._reset(lumps)
            for _ in range(round(self._settings.heat_up_min * 60.0 / step)):
                self._flow(step, power, power)
            ends.append(min(self.mats))
        self._reset(lumps)
        wanted = max(self._settings.hold_degF - _REACHED_WITHIN - ends[0], 0.0)
        hold = (self._settings.hold_degF + 30.0 - self._settings.ambient_degF) * self._loss[1]
        return max(wanted / (ends[1] - ends[0]), hold)

    def step(self, dt: float, on: bool, effects: Effects) -> None:
        """Go on by `dt` (at most about 1 s) with the heat switched on or off."""
        powers = []
        for mat in (0, 1):
            self.duty[mat] = self._control(mat, dt) * effects.mat_power[mat] if on else 0.0
            element = self._element[mat]
            element += (self.duty[mat] * self._full[mat] - element) * dt / _ELEMENT_LAG_S
            self._element[mat] = element
            powers.append(element)
        self._flow(dt, powers[0], powers[1])

    def _control(self, mat: int, dt: float) -> float:
        settings = self._settings
        error = settings.hold_degF - self.mats[mat]
        if settings.control == "thermostat":
            if abs(error) <= settings.hysteresis_degF:
                return 1.0 if self._integral[mat] else 0.0
            self._integral[mat] = 1.0 if error > 0.0 else 0.0
            return self._integral[mat]
        if abs(error) < _PROPORTIONAL_BAND:
            self._integral[mat] += error / _PROPORTIONAL_BAND * dt / _INTEGRAL_S
        return min(1.0, max(0.0, error / _PROPORTIONAL_BAND + self._integral[mat]))

    def _flow(self, dt: float, inner_power: float, outer_power: float) -> None:
        mats, rubber, air = self.mats, self.rubber, self._settings.ambient_degF
        last = len(rubber) - 1
        inner, outer = mats
        to_inner, to_outer = inner - rubber[0], outer - rubber[last]
        mats[0] = inner + dt * (inner_power - (inner - air) * self._loss[0] - to_inner * self._into_mat)
        mats[1] = outer + dt * (outer_power - (outer - air) * self._loss[1] - to_outer * self._into_mat)
        share = dt * self._between
        before = rubber[0]
        rubber[0] = before + dt * self._into_lump * to_inner + share * (rubber[1] - before)
        for i in range(1, last):
            here = rubber[i]
            rubber[i] = here + share * (before - 2.0 * here + rubber[i + 1])
            before = here
        here = rubber[last]
        rubber[last] = here + dt * self._into_lump * to_outer + share * (before - here)

    @property
    def hottest(self) -> float:
        """The hottest of mats and rubber."""
        return max(*self.mats, *self.rubber)

    def at_depth(self, depth_mm: float) -> float:
        """The rubber's temperature so deep from the inner mat."""
        place = min(max(depth_mm / self._lump - 0.5, 0.0), len(self.rubber) - 1.0)
        below = min(int(place), len(self.rubber) - 2)
        share = place - below
        return self.rubber[below] * (1.0 - share) + self.rubber[below + 1] * share


_BAG_LAG_S = 480.0
_BAG_FEELS = 0.6  # how much of the inner mat's heat reaches the air in the bag
_FILL_PSI_S = 0.8
_TOP_UP_PSI_S = 0.25
_VENT_PSI_S = 1.5
_LETS_OFF_PSI = 1.0
_LETS_OFF_PER_S = 0.2
_CHOKED = 1.893  # pressure ratio above which air through a hole flows at the speed of sound


class Bag:
    """A bag of constant volume filled with ideal gas. `pressure` is psi gauge, `temperature` that of its air."""

    def __init__(self, settings: PressSettings) -> None:
        self._settings = settings
        self.temperature = settings.start_degF
        self.pressure = 0.0
        self._filling = False
        self._filled = False
        self._begun = False

    def step(self, dt: float, t: float, inner_mat: float, vent: bool, effects: Effects) -> None:
        """Go on by `dt` seconds to the moment `t`."""
        settings = self._settings
        air = settings.ambient_degF
        before = self.temperature - _ABSOLUTE_ZERO_DEGF
        self.temperature += (air + _BAG_FEELS * (inner_mat - air) - self.temperature) * dt / _BAG_LAG_S
        kelvins = (self.temperature - _ABSOLUTE_ZERO_DEGF) / before
        pressure = (self.pressure + ATMOSPHERE_PSI) * kelvins - ATMOSPHERE_PSI
        if vent:
            self._filling = False
            self.pressure = max(0.0, pressure - _VENT_PSI_S * dt)
            return
        self._begun |= t >= settings.inflate_at_min * 60.0 and not effects.not_inflated
        if not self._begun:
            return  # its valve stands open: warm air escapes
        pressure += self._supplied(pressure, dt, effects)
        pressure -= self._lost(pressure, dt, effects)
        self.pressure = max(0.0, pressure)

    def _supplied(self, pressure: float, dt: float, effects: Effects) -> float:
        settings = self._settings
        if not self._filled:
            gain = min(_FILL_PSI_S * dt, settings.bag_psi - pressure)
            self._filled = pressure + gain >= settings.bag_psi - 1e-9
            return max(gain, 0.0)
        supply = effects.supply or settings.supply
        if supply != "regulated":
            limit = settings.relief_psi if settings.supply == "relief" else math.inf
            return -min(max(pressure - limit, 0.0), 1e9) * min(1.0, _LETS_OFF_PER_S * dt)
        over = pressure - settings.bag_psi - _LETS_OFF_PSI
        if over > 0.0:
            return -over * min(1.0, _LETS_OFF_PER_S * dt)
        if pressure < settings.bag_psi - settings.regulator_band_psi:
            self._filling = True
        if not self._filling:
            return 0.0
        gain = min(_TOP_UP_PSI_S * dt, settings.bag_psi - pressure)
        self._filling = pressure + gain < settings.bag_psi - 1e-9
        return max(gain, 0.0)

    def _lost(self, pressure: float, dt: float, effects: Effects) -> float:
        if pressure <= 0.0:
            return 0.0
        lost = 0.0
        if effects.leak_psi_min:
            full = max(self._settings.bag_psi, 1e-6)
            per_s = effects.leak_psi_min / 60.0
            if effects.leak_law == "linear":
                per_s *= pressure / full
            elif effects.leak_law == "orifice":
                per_s *= _through_a_hole(pressure) / _through_a_hole(full)
            lost += per_s * dt
        if effects.burst_tau_s is not None:
            lost += pressure * min(1.0, dt / effects.burst_tau_s)
        return lost


def _through_a_hole(gauge: float) -> float:
    """Flow through a small hole to the air, in arbitrary units: choked above `_CHOKED`, a square root below."""
    absolute = gauge + ATMOSPHERE_PSI
    if absolute >= _CHOKED * ATMOSPHERE_PSI:
        return absolute
    return _CHOKED * ATMOSPHERE_PSI * math.sqrt(gauge / ((_CHOKED - 1.0) * ATMOSPHERE_PSI))

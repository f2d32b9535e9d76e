"""Platinum resistance thermometers: Callendar-Van Dusen both ways (IEC 60751, alpha 0.00385), -200 to 850 degC.

R = R0 (1 + A t + B t^2), and below 0 degC + R0 C (t - 100) t^3. Above 0 degC the inverse is the quadratic's root;
below, Newton's method from that root, to rounding.
"""

from __future__ import annotations

import math
from enum import Enum

import numpy as np
import numpy.typing as npt

from press_monitor.readings.thermocouple import Converted, FloatArray
from press_monitor.readings.types import SignalError

__all__ = [
    "HIGHEST",
    "LOWEST",
    "Tolerance",
    "pt100_report",
    "resistance",
    "resistances",
    "temperature",
    "temperatures",
]

A = 3.9083e-3
B = -5.775e-7
C = -4.183e-12
LOWEST, HIGHEST = -200.0, 850.0
"""The standard's range, degC."""

_ROUNDING = 1e-12
"""Relative; forgiven at the ends of the range."""


class Tolerance(Enum):
    """Tolerance classes of IEC 60751: a constant in K and a share of abs(t). Class C from memory."""

    AA = (0.1, 0.0017)
    A = (0.15, 0.002)
    B = (0.3, 0.005)
    C = (0.6, 0.01)

    def at(self, temperature: float) -> float:
        """The permitted deviation in K at a temperature in degC."""
        constant, share = self.value
        return float(constant + share * abs(temperature))


def _ratio(t: float) -> float:
    ratio = 1.0 + t * (A + t * B)
    return ratio + C * (t - 100.0) * t**3 if t < 0.0 else ratio


_LOWEST_RATIO, _HIGHEST_RATIO = _ratio(LOWEST), _ratio(HIGHEST)


def resistance(temperature: float, r0: float = 100.0) -> float:
    """Ohms at a temperature in degC of a sensor with `r0` ohms at 0 degC. Raises `SignalError` out of range."""
    if not LOWEST <= temperature <= HIGHEST:
        raise SignalError(f"Pt{r0:g}: {temperature:g} degC is outside its range, {LOWEST:g} to {HIGHEST:g} degC")
    return r0 * _ratio(temperature)


def temperature(resistance: float, r0: float = 100.0) -> float:
    """The temperature in degC at `resistance` ohms. Raises `SignalError` out of range."""
    ratio = resistance / r0
    if not _LOWEST_RATIO * (1.0 - _ROUNDING) <= ratio <= _HIGHEST_RATIO * (1.0 + _ROUNDING):
        raise SignalError(
            f"Pt{r0:g}: {resistance:g} ohm is outside its range, "
            f"{r0 * _LOWEST_RATIO:.4f} to {r0 * _HIGHEST_RATIO:.4f} ohm"
        )
    t = (-A + math.sqrt(A * A - 4.0 * B * (1.0 - ratio))) / (2.0 * B)
    if ratio < 1.0:
        for _ in range(4):
            t -= (_ratio(t) - ratio) / (A + 2.0 * B * t + C * (4.0 * t - 300.0) * t * t)
    return min(max(t, LOWEST), HIGHEST)


def resistances(temperatures: npt.ArrayLike, r0: float = 100.0) -> Converted:
    """`resistance` of an array of any shape; NaN where the mask says out of range, nothing is raised."""
    t = np.asarray(temperatures, dtype=np.float64)
    in_range = (t >= LOWEST) & (t <= HIGHEST)
    return Converted(np.where(in_range, r0 * _ratios(np.where(in_range, t, 0.0)), np.nan), in_range)


def temperatures(resistances: npt.ArrayLike, r0: float = 100.0) -> Converted:
    """`temperature` of an array of any shape; NaN where the mask says out of range, nothing is raised."""
    ratio = np.asarray(resistances, dtype=np.float64) / r0
    in_range = (ratio >= _LOWEST_RATIO * (1.0 - _ROUNDING)) & (ratio <= _HIGHEST_RATIO * (1.0 + _ROUNDING))
    ratio = np.where(in_range, ratio, 1.0)
    t = (-A + np.sqrt(A * A - 4.0 * B * (1.0 - ratio))) / (2.0 * B)
    cold = np.minimum(t, 0.0)
    for _ in range(4):
        cold -= (_ratios(cold) - np.minimum(ratio, 1.0)) / (A + 2.0 * B * cold + C * (4.0 * cold - 300.0) * cold * cold)
    t = np.clip(np.where(ratio < 1.0, cold, t), LOWEST, HIGHEST)
    return Converted(np.where(in_range, t, np.nan), in_range)


def _ratios(t: FloatArray) -> FloatArray:
    cold = np.minimum(t, 0.0)
    return np.asarray(1.0 + t * (A + t * B) + C * (cold - 100.0) * cold**3)


def pt100_report(
    ohm: float | None = None, temperature_degC: float | None = None, r0: float = 100.0
) -> dict[str, str | float]:
    """The temperature for a resistance, or the resistance to expect at a temperature.

    Returns ``type`` (``Pt100``, ``Pt1000``), ``ohm``, ``r0_ohm``, ``temperature_degC``, and what the standard's
    classes A and B may be off there, ``tolerance_A_K`` and ``tolerance_B_K``; unrounded. Raises `SignalError` out of
    range, or where not exactly one is given.
    """
    if (ohm is None) == (temperature_degC is None):
        raise SignalError("give either the resistance or the temperature")
    if not (math.isfinite(r0) and r0 > 0.0):
        raise SignalError(f"Pt100: a sensor of {r0:g} ohm at 0 degC cannot be")
    if ohm is None:
        assert temperature_degC is not None
        ohm = resistance(temperature_degC, r0)
    else:
        temperature_degC = temperature(ohm, r0)
    return {
        "type": f"Pt{r0:g}",
        "ohm": ohm,
        "r0_ohm": r0,
        "temperature_degC": temperature_degC,
        "tolerance_A_K": Tolerance.A.at(temperature_degC),
        "tolerance_B_K": Tolerance.B.at(temperature_degC),
    }

"""How far rubber has cured: equivalent time by Arrhenius, and the curemeter curve read at that time.

Equivalent time is the integral of exp[(Ea/R)(1/Tref - 1/T)] dt. By the reduced-time principle (Isayev et al.,
"Reduced time approach to curing kinetics", Rubber Chem. Technol., doi 10.5254/1.3538349) the state of cure is a
function of it alone: the isothermal curve at Tref. That curve is Isayev and Deng's a = k t^n / (1 + k t^n) through
tc50 and tc90, without an induction term, so n = ln 9 / ln(tc90 / tc50). Seconds, degC, J/mol throughout.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from press_monitor.cure.compound import GAS_CONSTANT, Compound, CureError
from press_monitor.quantities import ZERO_CELSIUS

__all__ = [
    "Array",
    "activation_energy_from_tc90",
    "curve_exponent",
    "equivalent_time",
    "equivalent_time_at",
    "exponent_of",
    "rate",
    "state_of_cure",
    "step_mean",
]

Array = npt.NDArray[np.float64]

_LARGEST_EXPONENT = 700.0
_SMALLEST_TIME = 1e-300
_STRETCH = 16_384


def exponent_of(temperature: Array, reference: Array | float) -> Array:
    """(1/Tref - 1/T)/R in mol/J: times the activation energy it is the logarithm of the relative rate."""
    return np.asarray(
        (1.0 / (np.asarray(reference) + ZERO_CELSIUS) - 1.0 / (temperature + ZERO_CELSIUS)) / GAS_CONSTANT
    )


def rate(temperature: Array | float, activation_energy: Array | float, reference_temperature: Array | float) -> Array:
    """Cure speed at `temperature` over that at the reference temperature (Arrhenius), never overflowing."""
    exponent = activation_energy * exponent_of(np.asarray(temperature, dtype=np.float64), reference_temperature)
    return np.exp(np.clip(exponent, -_LARGEST_EXPONENT, _LARGEST_EXPONENT))


def step_mean(rate_0: Array, rate_1: Array, log_ratio: Array) -> Array:
    """Mean of a rate over a step in which its logarithm moves linearly by `log_ratio` = ln(rate_1 / rate_0).

    The exact logarithmic mean is (rate_0 + rate_1)/2 times tanh(h)/h with h = log_ratio/2. The continued fraction
    of tanh, cut at its third term, needs no division by a vanishing difference and stays monotone in both rates.
    """
    h2 = 0.25 * log_ratio * log_ratio
    below = 0.2 * h2
    below += 3.0
    h2 /= below
    h2 += 1.0
    mean = rate_0 + rate_1
    mean *= 0.5
    mean /= h2
    return mean


def equivalent_time(times: Array, temperature: Array, activation_energy: float, reference_temperature: float) -> Array:
    """Equivalent seconds at the reference temperature up to each of `times`.

    Args:
        times: shape (K,), s, rising.
        temperature: shape (K, ...), degC, taken to move linearly (in 1/T) between the times.
        activation_energy: J/mol.
        reference_temperature: degC.

    Returns:
        Shape of `temperature`, starting at 0.
    """
    total = np.zeros_like(temperature, dtype=np.float64)
    widths = np.diff(times).reshape((-1,) + (1,) * (temperature.ndim - 1))
    # A stretch at a time, so that the work stays within the processor's cache.
    stretch = max(1, _STRETCH // max(1, temperature[0].size))
    for at in range(0, len(times) - 1, stretch):
        here = temperature[at : at + stretch + 1] + ZERO_CELSIUS
        log_rate = np.divide(-activation_energy / GAS_CONSTANT, here, out=here)
        log_rate += activation_energy / GAS_CONSTANT / (reference_temperature + ZERO_CELSIUS)
        np.clip(log_rate, -_LARGEST_EXPONENT, _LARGEST_EXPONENT, out=log_rate)
        speed = np.exp(log_rate)
        means = step_mean(speed[:-1], speed[1:], log_rate[1:] - log_rate[:-1])
        means *= widths[at : at + stretch]
        np.cumsum(means, axis=0, out=means)
        np.add(means, total[at], out=total[at + 1 : at + stretch + 1])
    return total


def curve_exponent(tc50: float, tc90: float) -> float:
    """Isayev and Deng's n, from the curve's 50 and 90 % times."""
    return math.log(9.0) / math.log(tc90 / tc50)


def state_of_cure(equivalent: Array | float, tc50: Array | float, exponent: Array | float) -> Array:
    """State of cure, 0 to 1, after `equivalent` seconds at the reference temperature."""
    log_time = np.log(np.maximum(equivalent, _SMALLEST_TIME) / tc50)
    return np.asarray(1.0 / (1.0 + np.exp(np.minimum(-exponent * log_time, _LARGEST_EXPONENT))))


def equivalent_time_at(state: float, compound: Compound) -> float:
    """Equivalent seconds after which `compound` reaches a state of cure strictly between 0 and 1."""
    if not 0.0 < state < 1.0:
        raise CureError(f"state of cure {state:g} must lie between 0 and 1")
    n = curve_exponent(compound.tc50, compound.tc90)
    return compound.tc50 * math.exp(math.log(state / (1.0 - state)) / n)


def activation_energy_from_tc90(points: Mapping[float, float]) -> float:
    """Ea in J/mol from the time to one state of cure at two or more temperatures: ln t falls as Ea/R times 1/T.

    Args:
        points: degC -> s, at least two temperatures; more are fitted by least squares.

    Raises `CureError` unless the hotter cures are the faster ones.
    """
    if len(points) < 2 or min(points.values()) <= 0.0:
        raise CureError("tc90 at two temperatures: needs times above zero at two different temperatures")
    inverse = [1.0 / (GAS_CONSTANT * (degC + ZERO_CELSIUS)) for degC in points]
    logs = [math.log(seconds) for seconds in points.values()]
    mean_inverse, mean_log = sum(inverse) / len(inverse), sum(logs) / len(logs)
    spread = sum((x - mean_inverse) ** 2 for x in inverse)
    energy = sum((x - mean_inverse) * (y - mean_log) for x, y in zip(inverse, logs, strict=True)) / spread
    if energy <= 0.0:
        raise CureError("tc90 at two temperatures: the hotter cure must be the shorter one")
    return energy

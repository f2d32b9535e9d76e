"""The air in a pressure bag: ideal gas on absolute pressure and kelvin.

Pressures in Pa gauge against the shop's own atmosphere unless a name says absolute; temperatures degC. A regulator or a
relief valve holds the pressure flat while the bag warms; `expected_gauge` says what a closed bag would do.
"""

from __future__ import annotations

from press_monitor.cure.compound import GAS_CONSTANT, CureError
from press_monitor.quantities import ATMOSPHERE, ZERO_CELSIUS

__all__ = ["absolute", "compensated_gauge", "expected_gauge", "molar_flow", "throughput"]


def absolute(gauge: float, atmosphere: float = ATMOSPHERE) -> float:
    """Absolute pressure of a gauge reading where the air presses with `atmosphere`."""
    return gauge + atmosphere


def expected_gauge(
    gauge: float, from_degC: float, to_degC: float, atmosphere: float = ATMOSPHERE, relief: float | None = None
) -> float:
    """Gauge pressure of a closed bag of one volume after its air goes from one temperature to another.

    `relief` is the gauge pressure that a relief valve does not let it pass.
    """
    warmed = absolute(gauge, atmosphere) * _kelvin(to_degC) / _kelvin(from_degC) - atmosphere
    return warmed if relief is None else min(warmed, max(relief, gauge))


def compensated_gauge(gauge: float, degC: float, reference_degC: float, atmosphere: float = ATMOSPHERE) -> float:
    """A reading brought to a reference temperature: a closed, tight bag reads the same whatever its temperature."""
    return expected_gauge(gauge, degC, reference_degC, atmosphere)


def molar_flow(
    volume: float,
    absolute_1: float,
    degC_1: float,
    absolute_2: float,
    degC_2: float,
    seconds: float,
    gas_constant: float = GAS_CONSTANT,
) -> float:
    """mol/s that left (negative) or entered a volume in m3: (V/R) (p2/T2 - p1/T1) / t, 40 CFR 1065.644."""
    if seconds <= 0.0 or volume <= 0.0:
        raise CureError("bag: volume and time must be above zero")
    return volume / gas_constant * (absolute_2 / _kelvin(degC_2) - absolute_1 / _kelvin(degC_1)) / seconds


def throughput(volume: float, pressure_1: float, pressure_2: float, seconds: float) -> float:
    """Pa m3/s that leave a volume in m3 at constant temperature."""
    if seconds <= 0.0 or volume <= 0.0:
        raise CureError("bag: volume and time must be above zero")
    return volume * (pressure_1 - pressure_2) / seconds


def _kelvin(degC: float) -> float:
    kelvin = degC + ZERO_CELSIUS
    if kelvin <= 0.0:
        raise CureError(f"bag: {degC:g} degC is below absolute zero")
    return kelvin

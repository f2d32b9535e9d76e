"""Quantities as the shop writes them (``"300 degF"``) and as the code keeps them (degC, Pa, m, s, SI).

Temperatures are kept in degC, pressures in Pa. A tolerance is a difference: ``"10 degF"`` is 5.56 K, not -12.2 degC.
Factors: 1 psi = 6894.757293168 Pa (NIST SP 811, B.8), 1 in = 25.4 mm and 1 ft = 0.3048 m exactly.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from enum import Enum

__all__ = [
    "ATMOSPHERE",
    "PSI",
    "ZERO_CELSIUS",
    "Dimension",
    "QuantityError",
    "UnitSystem",
    "dimension_of",
    "from_si",
    "parse",
    "parse_difference",
    "parse_range",
    "pressure_at_altitude",
    "si_difference",
    "to_si",
]

PSI = 6894.757293168
ATMOSPHERE = 101_325.0
ZERO_CELSIUS = 273.15


class Dimension(Enum):
    """What a quantity measures; the value names it in messages."""

    TEMPERATURE = "temperature"
    PRESSURE = "pressure"
    LENGTH = "length"
    TIME = "time"
    CURRENT = "current"
    ENERGY_PER_MOLE = "energy per mole"
    CONDUCTIVITY = "conductivity"
    DENSITY = "density"
    HEAT_CAPACITY = "heat capacity"
    CONDUCTANCE = "contact conductance"
    DIFFUSIVITY = "diffusivity"
    VOLTAGE = "voltage"
    RESISTANCE = "resistance"


# unit -> (dimension, factor to SI, offset added before the factor)
_UNITS: dict[str, tuple[Dimension, float, float]] = {
    "degC": (Dimension.TEMPERATURE, 1.0, 0.0),
    "degF": (Dimension.TEMPERATURE, 5.0 / 9.0, -32.0),
    "psi": (Dimension.PRESSURE, PSI, 0.0),
    "kPa": (Dimension.PRESSURE, 1_000.0, 0.0),
    "bar": (Dimension.PRESSURE, 100_000.0, 0.0),
    "in": (Dimension.LENGTH, 0.0254, 0.0),
    "mm": (Dimension.LENGTH, 0.001, 0.0),
    "ft": (Dimension.LENGTH, 0.3048, 0.0),
    "m": (Dimension.LENGTH, 1.0, 0.0),
    "s": (Dimension.TIME, 1.0, 0.0),
    "min": (Dimension.TIME, 60.0, 0.0),
    "h": (Dimension.TIME, 3600.0, 0.0),
    "A": (Dimension.CURRENT, 1.0, 0.0),
    "mA": (Dimension.CURRENT, 0.001, 0.0),
    "kJ/mol": (Dimension.ENERGY_PER_MOLE, 1_000.0, 0.0),
    "W/m/K": (Dimension.CONDUCTIVITY, 1.0, 0.0),
    "kg/m3": (Dimension.DENSITY, 1.0, 0.0),
    "J/kg/K": (Dimension.HEAT_CAPACITY, 1.0, 0.0),
    "W/m2/K": (Dimension.CONDUCTANCE, 1.0, 0.0),
    "mm2/s": (Dimension.DIFFUSIVITY, 1e-6, 0.0),
    "mV": (Dimension.VOLTAGE, 0.001, 0.0),
    "ohm": (Dimension.RESISTANCE, 1.0, 0.0),
}

_QUANTITY = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([^\W\d_]\S*)\s*")


class QuantityError(ValueError):
    """A quantity that cannot be read; the message is fit for the operator."""


def dimension_of(unit: str) -> Dimension:
    """The dimension a unit measures. Raises `QuantityError` for an unknown unit."""
    try:
        return _UNITS[unit][0]
    except KeyError:
        raise QuantityError(f"unknown unit {unit!r}") from None


def to_si(value: float, unit: str) -> float:
    """A value in `unit` as degC, Pa, m, s, …. Raises `QuantityError` for an unknown unit."""
    try:
        _, factor, offset = _UNITS[unit]
    except KeyError:
        raise QuantityError(f"unknown unit {unit!r}") from None
    return (value + offset) * factor


def from_si(value: float, unit: str) -> float:
    """The inverse of `to_si`."""
    dimension_of(unit)
    _, factor, offset = _UNITS[unit]
    return value / factor - offset


def si_difference(value: float, unit: str) -> float:
    """A difference in `unit` as a difference in SI: 10 degF is 5.56 K."""
    dimension_of(unit)
    return value * _UNITS[unit][1]


def _split(text: object, dimension: Dimension) -> tuple[float, str]:
    if not isinstance(text, str):
        raise QuantityError(f"wants a {dimension.value} with its unit, as text; got {text!r}")
    found = _QUANTITY.fullmatch(text)
    if not found:
        raise QuantityError(f"{text!r} is not a {dimension.value} with its unit")
    value, unit = float(found.group(1)), found.group(2)
    if not math.isfinite(value):
        raise QuantityError(f"{text!r} is not a finite number")
    if dimension_of(unit) is not dimension:
        raise QuantityError(f"{unit!r} in {text!r} is not a unit of {dimension.value}")
    return value, unit


def parse(text: object, dimension: Dimension) -> float:
    """Read ``"300 degF"`` as SI. Raises `QuantityError` for anything else than a number with a fitting unit."""
    return to_si(*_split(text, dimension))


def parse_difference(text: object, dimension: Dimension) -> float:
    """Read a tolerance: temperatures convert as differences."""
    return si_difference(*_split(text, dimension))


def parse_range(text: object) -> tuple[float, float, str]:
    """Read ``"0 psi..60 psi"`` (or ``"0..60 psi"``) as low, high and their unit. Raises `QuantityError`."""
    if not isinstance(text, str) or text.count("..") != 1:
        raise QuantityError(f'{text!r} is not a range such as "0 psi..60 psi"')
    first, last = (part.strip() for part in text.split(".."))
    found = _QUANTITY.fullmatch(last)
    if not found:
        raise QuantityError(f'{text!r} is not a range such as "0 psi..60 psi"')
    unit = found.group(2)
    dimension = dimension_of(unit)
    low, low_unit = _split(first if _QUANTITY.fullmatch(first) else f"{first} {unit}", dimension)
    if low_unit != unit:
        raise QuantityError(f"{text!r} has two units, {low_unit} and {unit}")
    return low, _split(last, dimension)[0], unit


def pressure_at_altitude(altitude: float) -> float:
    """Air pressure in Pa at `altitude` metres, U.S. Standard Atmosphere 1976, troposphere layer (to 11 km)."""
    return ATMOSPHERE * float((1.0 - 0.0065 * altitude / 288.15) ** 5.255877)


@dataclass(frozen=True, slots=True)
class UnitSystem:
    """The units a shop reads: one unit and one sign a dimension."""

    name: str
    temperature: str
    pressure: str
    length: str
    temperature_sign: str

    @classmethod
    def named(cls, name: str) -> UnitSystem:
        """``us`` or ``si``. Raises `QuantityError` for any other name."""
        if name == "us":
            return cls("us", "degF", "psi", "mm", "°F")
        if name == "si":
            return cls("si", "degC", "kPa", "mm", "°C")
        raise QuantityError(f'units must be "us" or "si", not {name!r}')

    def degrees(self, celsius: float) -> float:
        """A temperature in the shop's unit."""
        return from_si(celsius, self.temperature)

    def degrees_difference(self, kelvin: float) -> float:
        """A temperature difference in the shop's unit."""
        return kelvin / _UNITS[self.temperature][1]

    def pressed(self, pascal: float) -> float:
        """A pressure in the shop's unit."""
        return from_si(pascal, self.pressure)

    def say_temperature(self, celsius: float, digits: int = 0) -> str:
        """``300 °F``."""
        return f"{self.degrees(celsius):.{digits}f} {self.temperature_sign}"

    def say_pressure(self, pascal: float, digits: int | None = None) -> str:
        """``32.0 psi`` or ``221 kPa``."""
        places = digits if digits is not None else (1 if self.pressure == "psi" else 0)
        return f"{self.pressed(pascal):.{places}f} {self.pressure}"

"""How one channel is set up: its unit, its resolution, what its raw signal is, its calibration and its limits."""

from __future__ import annotations

import math
from dataclasses import dataclass

from press_monitor.quantities import Dimension, dimension_of, from_si
from press_monitor.readings.calibration import Calibration
from press_monitor.readings.loop import Loop
from press_monitor.readings.thermocouple import thermocouple
from press_monitor.readings.types import Role, SignalError, role_of

__all__ = [
    "MOST_DECIMALS",
    "ChannelSetup",
    "Conversion",
    "Direct",
    "LoopInput",
    "Pt100Input",
    "ThermocoupleInput",
    "TwoPointInput",
    "default_decimals",
    "default_setup",
    "possible_range",
]

MOST_DECIMALS = 6

_TEMPERATURE_ROLES = (Role.INNER_MAT, Role.OUTER_MAT, Role.AIR, Role.BURIED)
_PRESSURE_ROLES = (Role.BAG, Role.RAM)

_DECIMALS = {"degF": 1, "degC": 1, "psi": 2, "kPa": 2, "bar": 3, "A": 2}

# What can be at all, in SI. Pressures are gauge: -101 kPa would be empty space, so -100 kPa is a broken wire.
_POSSIBLE = {
    Role.INNER_MAT: (-60.0, 600.0),
    Role.OUTER_MAT: (-60.0, 600.0),
    Role.BURIED: (-60.0, 600.0),
    Role.AIR: (-60.0, 150.0),
    Role.BAG: (-100e3, 2e6),
    Role.RAM: (-100e3, 100e6),
    Role.MAT_CURRENT: (-1.0, 1000.0),
}


@dataclass(frozen=True, slots=True)
class Direct:
    """The instrument gives the quantity itself, in the channel's unit or another of the same dimension."""


@dataclass(frozen=True, slots=True)
class ThermocoupleInput:
    """The instrument gives mV. One of the two cold-junction settings, or neither for junctions kept at 0 degC.

    Attributes:
        type: letter of the thermocouple.
        cold_junction_channel: the channel that measures the terminals.
        cold_junction: the terminals' temperature in degC, where it is fixed.

    Raises `SignalError` for an unknown type, both settings, or a cold junction outside the type's range.
    """

    type: str
    cold_junction_channel: str | None = None
    cold_junction: float | None = None

    def __post_init__(self) -> None:
        kind = thermocouple(self.type)
        if self.cold_junction_channel is not None and self.cold_junction is not None:
            raise SignalError("the cold junction is either a channel or a fixed temperature, not both")
        if self.cold_junction is not None:
            kind.emf(self.cold_junction)


@dataclass(frozen=True, slots=True)
class Pt100Input:
    """The instrument gives ohms of a sensor with `r0` ohms at 0 degC (1000 for a Pt1000)."""

    r0: float = 100.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.r0) and self.r0 > 0.0):
            raise SignalError(f"a platinum sensor's resistance at 0 degC must be above 0, not {self.r0}")


@dataclass(frozen=True, slots=True)
class LoopInput:
    """The instrument gives mA; 4 mA means `low`, 20 mA `high`, both in `unit`."""

    low: float
    high: float
    unit: str

    def __post_init__(self) -> None:
        dimension_of(self.unit)
        Loop(self.low, self.high)

    @property
    def loop(self) -> Loop:
        """The scaling."""
        return Loop(self.low, self.high)


@dataclass(frozen=True, slots=True)
class TwoPointInput:
    """The instrument gives counts of a converter, whatever it calls their unit: two of them and what they mean.

    Attributes:
        raw_low, raw_high: counts.
        low, high: what they mean, in `unit`.
    """

    raw_low: float
    low: float
    raw_high: float
    high: float
    unit: str

    def __post_init__(self) -> None:
        dimension_of(self.unit)
        if not all(math.isfinite(x) for x in (self.raw_low, self.low, self.raw_high, self.high)):
            raise SignalError("both points must be finite numbers")
        if self.raw_low == self.raw_high or self.low == self.high:
            raise SignalError("the two points must differ in counts and in value")

    def value(self, raw: float) -> float:
        """What a count means, in `unit`, on the straight line through both points."""
        return self.low + (self.high - self.low) * (raw - self.raw_low) / (self.raw_high - self.raw_low)


Conversion = Direct | ThermocoupleInput | Pt100Input | LoopInput | TwoPointInput

_KINDS: dict[type, str] = {
    Direct: "none",
    ThermocoupleInput: "thermocouple",
    Pt100Input: "pt100",
    LoopInput: "loop",
    TwoPointInput: "two-point",
}


def default_decimals(unit: str) -> int:
    """Decimals kept of a unit where the shop file states none: tenths of a degree, hundredths of a psi."""
    return _DECIMALS.get(unit, 3)


def possible_range(channel: str) -> tuple[float, float] | None:
    """What a channel of that name can read at all, in SI (degC, Pa gauge, A); None where its role says nothing."""
    return _POSSIBLE.get(role_of(channel))


@dataclass(frozen=True, slots=True)
class ChannelSetup:
    """One channel of a press. Kept in the record are integers n meaning n / 10**decimals in `unit`.

    Attributes:
        name: the channel's, which tells its role, e.g. ``inner_mat``, ``bag``, ``inner_mat_current``.
        unit: the unit kept in the record and shown, e.g. ``degF``, ``psi``.
        decimals: kept in that unit, 0 to 6.
        conversion: from the instrument's raw signal.
        calibration: applied after the conversion, in `unit`; None for none.
        sensor: what is written on the sensor, free text.
        low, high: limits in `unit` beyond which a value is a fault of the sensor, not heat or pressure; None for
            what the role allows.

    Raises `SignalError` or `QuantityError` for a unit that does not fit the role or the conversion, or limits the
    wrong way round.
    """

    name: str
    unit: str
    decimals: int
    conversion: Conversion = Direct()
    calibration: Calibration | None = None
    sensor: str = ""
    low: float | None = None
    high: float | None = None

    def __post_init__(self) -> None:
        measured = dimension_of(self.unit)
        wanted = _role_dimension(self.name)
        if wanted is not None and measured is not wanted:
            raise SignalError(f"{self.name} is a {wanted.value}, and {self.unit} is not a unit of it")
        if not 0 <= self.decimals <= MOST_DECIMALS:
            raise SignalError(f"{self.name}: decimals must be 0 to {MOST_DECIMALS}, not {self.decimals}")
        gives = _conversion_dimension(self.conversion)
        if gives is not None and gives is not measured:
            raise SignalError(f"{self.name}: its input gives a {gives.value}, and {self.unit} is not a unit of it")
        low, high = self.limits
        if not low < high:
            raise SignalError(f"{self.name}: the limits {low:g} to {high:g} {self.unit} leave nothing between them")

    @property
    def limits(self) -> tuple[float, float]:
        """Lowest and highest possible value in `unit`, infinite where nothing is said."""
        possible = possible_range(self.name)
        low, high = (
            (from_si(possible[0], self.unit), from_si(possible[1], self.unit))
            if possible is not None
            else (-math.inf, math.inf)
        )
        return (low if self.low is None else self.low, high if self.high is None else self.high)

    @property
    def resolution(self) -> float:
        """The smallest step kept, in `unit`."""
        return float(1.0 / 10**self.decimals)

    def facts(self) -> dict[str, object]:
        """Plain JSON for the record: everything a reader needs to know how the numbers came about."""
        fields = {name: getattr(self.conversion, name) for name in self.conversion.__slots__}
        return {
            "name": self.name,
            "unit": self.unit,
            "decimals": self.decimals,
            "sensor": self.sensor,
            "conversion": {"kind": _KINDS[type(self.conversion)], **fields},
            "calibration": None if self.calibration is None else self.calibration.facts(),
            "low": self.low,
            "high": self.high,
        }


def default_setup(name: str, unit: str, decimals: int | None = None) -> ChannelSetup:
    """The setup of a channel of which nothing is said but its name and unit. Raises as `ChannelSetup` does."""
    return ChannelSetup(name, unit, default_decimals(unit) if decimals is None else decimals)


def _role_dimension(name: str) -> Dimension | None:
    role = role_of(name)
    if role in _TEMPERATURE_ROLES:
        return Dimension.TEMPERATURE
    if role in _PRESSURE_ROLES:
        return Dimension.PRESSURE
    return Dimension.CURRENT if role is Role.MAT_CURRENT else None


def _conversion_dimension(conversion: Conversion) -> Dimension | None:
    if isinstance(conversion, ThermocoupleInput | Pt100Input):
        return Dimension.TEMPERATURE
    if isinstance(conversion, LoopInput | TwoPointInput):
        return dimension_of(conversion.unit)
    return None

"""4-20 mA loops: scaling, and what a current means by NAMUR NE 43.

NE 43 keeps 3.8 to 20.5 mA for measuring, and 3.6 mA and less, 21 mA and more for failure information. What lies
between is neither: do not trust it, and do not call the transmitter broken either.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

from press_monitor.readings.types import SignalError

__all__ = ["CurrentClass", "Loop", "classify", "loop_report"]


class CurrentClass(Enum):
    """NE 43's classes of a loop current."""

    FAILURE_LOW = "failure, low"
    """3.6 mA or less; 0 mA is a broken loop."""
    UNDER_RANGE = "under the measuring range"
    MEASURING = "measuring"
    OVER_RANGE = "over the measuring range"
    FAILURE_HIGH = "failure, high"
    """21 mA or more."""

    @property
    def failure(self) -> bool:
        """Whether the transmitter says that it, its sensor or its wiring is broken."""
        return self in (CurrentClass.FAILURE_LOW, CurrentClass.FAILURE_HIGH)

    @property
    def words(self) -> str:
        """What it means for whoever stands there with a meter."""
        return _WORDS[self]


def classify(milliampere: float) -> CurrentClass:
    """The class of a current in mA. Raises `SignalError` for what is no finite number."""
    if not math.isfinite(milliampere):
        raise SignalError(f"{milliampere} mA is no current")
    if milliampere <= 3.6:
        return CurrentClass.FAILURE_LOW
    if milliampere < 3.8:
        return CurrentClass.UNDER_RANGE
    if milliampere <= 20.5:
        return CurrentClass.MEASURING
    return CurrentClass.OVER_RANGE if milliampere < 21.0 else CurrentClass.FAILURE_HIGH


_WORDS = {
    CurrentClass.FAILURE_LOW: "failure, low: the loop is broken, or the transmitter reports a fault",
    CurrentClass.UNDER_RANGE: "under the measuring range, not yet a failure: do not trust the value",
    CurrentClass.MEASURING: "measuring",
    CurrentClass.OVER_RANGE: "over the measuring range, not yet a failure: do not trust the value",
    CurrentClass.FAILURE_HIGH: "failure, high: the transmitter reports a fault",
}


@dataclass(frozen=True, slots=True)
class Loop:
    """A transmitter's span: `low` at 4 mA, `high` at 20 mA, any unit. A reversed span (`high` < `low`) is allowed.

    Raises `SignalError` for a span of nothing.
    """

    low: float
    high: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.low) and math.isfinite(self.high)) or self.low == self.high:
            raise SignalError(f"a 4-20 mA span needs two different numbers, not {self.low:g} and {self.high:g}")

    def value(self, milliampere: float) -> float:
        """What the current says, whatever its class: ask `classify` whether to believe it."""
        return self.low + (self.high - self.low) * (milliampere - 4.0) / 16.0

    def current(self, value: float) -> float:
        """The mA that a value gives."""
        return 4.0 + 16.0 * (value - self.low) / (self.high - self.low)


def loop_report(milliampere: float, low: float, high: float, unit: str) -> dict[str, str | float | None]:
    """What a technician with a meter in the loop asks.

    Returns ``mA``, ``unit``, ``low``, ``high``, ``class`` (NE 43, in words) and ``value``, None at a failure
    current. Raises `SignalError` for a span of nothing or a current that is no number.
    """
    loop, kind = Loop(low, high), classify(milliampere)
    value = None if kind.failure else loop.value(milliampere)
    return {"mA": milliampere, "unit": unit, "low": low, "high": high, "class": kind.value, "value": value}

"""A channel's calibration: what to add and multiply, when it was done against what, and when it is due again."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

from press_monitor.readings.types import SignalError

__all__ = ["Calibration"]


@dataclass(frozen=True, slots=True)
class Calibration:
    """True value = gain x indicated + offset, both in the channel's own unit.

    Attributes:
        offset: in the channel's unit, a difference (2 degF more is 2, not -16.7).
        gain: without unit, near 1.
        done: the day it was done, None where not stated.
        reference: what it was compared with, e.g. ``"ice bath and dry block DB-2"``.
        due: the last day on which it holds, None for no limit.

    Raises `SignalError` for a gain of zero or less, numbers that are not finite, or a due date before the day done.
    """

    offset: float = 0.0
    gain: float = 1.0
    done: date | None = None
    reference: str = ""
    due: date | None = None

    def __post_init__(self) -> None:
        if not math.isfinite(self.offset):
            raise SignalError(f"calibration offset {self.offset} is no number")
        if not (math.isfinite(self.gain) and self.gain > 0.0):
            raise SignalError(f"calibration gain must be above 0, not {self.gain}")
        if self.done is not None and self.due is not None and self.due < self.done:
            raise SignalError(f"calibration is due {self.due} before it was done {self.done}")

    def apply(self, indicated: float) -> float:
        """The corrected value."""
        return self.gain * indicated + self.offset

    def overdue(self, on: date) -> bool:
        """Whether its due date has passed on that day; never where there is none."""
        return self.due is not None and on > self.due

    def words(self, unit: str) -> str:
        """``+1.2 degF, x 1.0010, 2026-03-02 against dry block DB-2, due 2027-03-02``."""
        said = [f"{self.offset:+g} {unit}"]
        if self.gain != 1.0:
            said.append(f"x {self.gain:.4f}")
        against = f" against {self.reference}" if self.reference else ""
        said.append(f"{self.done or 'no date'}{against}")
        if self.due is not None:
            said.append(f"due {self.due}")
        return ", ".join(said)

    def facts(self) -> dict[str, str | float | None]:
        """Plain JSON for the record."""
        return {
            "offset": self.offset,
            "gain": self.gain,
            "done": self.done.isoformat() if self.done else None,
            "reference": self.reference,
            "due": self.due.isoformat() if self.due else None,
        }

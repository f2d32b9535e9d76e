"""What the model of a repair answers with."""

from __future__ import annotations

from dataclasses import dataclass

from press_monitor.cure.kinetics import Array

__all__ = ["CurePointSI", "LayerBounds", "StackProfile"]


@dataclass(frozen=True, slots=True)
class CurePointSI:
    """A point of the repair.

    Attributes:
        stack: its name.
        depth: m from the inner mat.
        state_of_cure, state_of_cure_low, state_of_cure_high: 0-1, nominal and the band.
        equivalent_s: s at its compound's reference temperature.
        peak_degC, temperature_degC: the highest so far, and now.
    """

    stack: str
    depth: float
    state_of_cure: float
    state_of_cure_low: float
    state_of_cure_high: float
    equivalent_s: float
    peak_degC: float
    temperature_degC: float

    def as_json(self) -> dict[str, str | float]:
        """As the command line prints it: mm and minutes."""
        return {
            "stack": self.stack,
            "depth_mm": self.depth * 1e3,
            "state_of_cure": self.state_of_cure,
            "state_of_cure_low": self.state_of_cure_low,
            "state_of_cure_high": self.state_of_cure_high,
            "equivalent_min": self.equivalent_s / 60.0,
            "peak_degC": self.peak_degC,
        }


@dataclass(frozen=True, slots=True)
class LayerBounds:
    """Where a layer lies, m from the inner mat, and whether it is judged."""

    name: str
    top: float
    bottom: float
    uncured: bool


@dataclass(frozen=True, slots=True)
class StackProfile:
    """One stack through its depth: arrays (N,); the state of cure is nan where nothing is judged."""

    name: str
    layers: tuple[LayerBounds, ...]
    depth: Array
    temperature: Array
    state_of_cure: Array

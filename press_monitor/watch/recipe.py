"""The target a cure is held against."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

__all__ = ["BagSupply", "Recipe"]


class BagSupply(Enum):
    """What holds the bag's pressure."""

    REGULATED = "regulated"
    SEALED = "sealed"
    RELIEF = "relief"


@dataclass(frozen=True, slots=True)
class Recipe:
    """One recipe: temperatures degC, tolerance K, pressures Pa gauge, times s, cure 0-1."""

    name: str
    hold_temperature: float
    hold_tolerance: float
    maximum_temperature: float
    heat_up_limit: float
    minimum_hold: float
    required_cure: float
    release_below: float
    bag_pressure: float
    bag_minimum: float
    bag_maximum: float
    bag_supply: BagSupply = BagSupply.REGULATED

    @property
    def band_low(self) -> float:
        """Lower limit of the hold band, degC."""
        return self.hold_temperature - self.hold_tolerance

    @property
    def band_high(self) -> float:
        """Upper limit of the hold band, degC."""
        return self.hold_temperature + self.hold_tolerance

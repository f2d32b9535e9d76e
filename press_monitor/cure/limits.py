"""How far a repair's figures may be off, and so how wide a band its cure lies in."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

from press_monitor.cure.compound import CureError

__all__ = ["Limits"]


@dataclass(frozen=True, slots=True)
class Limits:
    """How far the figures may be off: the edges of the band are the extremes over all corners of these.

    Attributes:
        activation_energy: J/mol, as differences from the compound's own: with 100 kJ/mol the default is 80 to 120.
        diffusivity: factors; taken on the conductivity, the least well known of the three it is made of.
        thickness: factors on every layer.
        contact: factors on the repair's contact conductance, where it has one.
    """

    activation_energy: tuple[float, float] = (-20_000.0, 20_000.0)
    diffusivity: tuple[float, float] = (0.85, 1.15)
    thickness: tuple[float, float] = (0.95, 1.05)
    contact: tuple[float, float] = (1.0, 1.0)

    def __post_init__(self) -> None:
        if not self.activation_energy[0] <= 0.0 <= self.activation_energy[1]:
            raise CureError("limits: activation_energy must reach from a difference below to one above the compound's")
        factors = (("diffusivity", self.diffusivity), ("thickness", self.thickness), ("contact", self.contact))
        for what, (low, high) in factors:
            if not 0.0 < low <= 1.0 <= high:
                raise CureError(f"limits: {what} must reach from a factor below one to a factor above one")

    @property
    def thermal_corners(self) -> tuple[tuple[float, float, float], ...]:
        """(diffusivity, thickness, contact) factors of the four thermal corners.

        A poor contact goes with a low diffusivity and a good one with a high one: what lies between is no extreme.
        """
        return tuple(
            (a, d, c) for (a, c), d in product(zip(self.diffusivity, self.contact, strict=True), self.thickness)
        )

"""A rubber compound as its curemeter card gives it."""

from __future__ import annotations

import math
from dataclasses import dataclass

__all__ = ["DEFAULT_ACTIVATION_ENERGY", "DEFAULT_REFERENCE_TEMPERATURE", "GAS_CONSTANT", "Compound", "CureError"]

GAS_CONSTANT = 8.314462618
"""J/(mol K), exact in the 2019 SI."""

DEFAULT_ACTIVATION_ENERGY = 100_000.0
"""J/mol: about a doubling of the rate for 10 K, the middle of what is published for sulphur systems (80-130)."""

DEFAULT_REFERENCE_TEMPERATURE = 150.0


class CureError(ValueError):
    """Something the model of a cure cannot work with; the message is one line that names it."""


@dataclass(frozen=True, slots=True)
class Compound:
    """One compound. Times are seconds of isothermal cure at the reference temperature, energies J/mol.

    A compound that is not judged (`judged` False) needs none of its figures to make sense.
    Raises `CureError` for figures that contradict each other.

    Attributes:
        name: as in the shop file.
        reference_temperature: degC at which the times below hold.
        scorch, tc50, tc90: s.
        activation_energy: J/mol, of the cure.
        blow_point: state of cure (0-1) from which the rubber no longer goes porous without pressure.
        reversion: equivalent seconds at the reference temperature that the cured rubber stands.
        water_activity: assumed activity of the moisture in it, 0-1.
        reversion_activation_energy: J/mol, default that of cure.
        judged: False for a two-part compound that cures cold.
    """

    name: str
    reference_temperature: float
    scorch: float
    tc50: float
    tc90: float
    activation_energy: float
    blow_point: float
    reversion: float
    water_activity: float = 0.5
    reversion_activation_energy: float | None = None
    judged: bool = True

    def __post_init__(self) -> None:
        if not self.judged:
            return
        own = f"compound {self.name}"
        for what in ("scorch", "tc50", "tc90", "activation_energy", "reversion"):
            value = getattr(self, what)
            if not (math.isfinite(value) and value > 0.0):
                raise CureError(f"{own}: {what} must be above zero, not {value:g}")
        if not -50.0 <= self.reference_temperature <= 400.0:
            raise CureError(
                f"{own}: reference_temperature {self.reference_temperature:g} degC is no curing temperature"
            )
        if self.tc90 <= self.tc50:
            raise CureError(f"{own}: tc90 ({self.tc90 / 60:g} min) must be longer than tc50 ({self.tc50 / 60:g} min)")
        if self.scorch >= self.tc90:
            raise CureError(
                f"{own}: scorch ({self.scorch / 60:g} min) must be shorter than tc90 ({self.tc90 / 60:g} min)"
            )
        if not 0.0 < self.blow_point < 1.0:
            raise CureError(f"{own}: blow_point {self.blow_point:g} must lie between 0 and 1")
        if not 0.0 <= self.water_activity <= 1.0:
            raise CureError(f"{own}: water_activity {self.water_activity:g} must lie from 0 to 1")
        energy = self.reversion_activation_energy
        if energy is not None and not (math.isfinite(energy) and energy > 0.0):
            raise CureError(f"{own}: reversion_activation_energy must be above zero, not {energy:g}")

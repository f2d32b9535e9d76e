"""A rubber compound as its curemeter card gives it."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Compound"]


@dataclass(frozen=True, slots=True)
class Compound:
    """One compound. Times are seconds of isothermal cure at the reference temperature, energies J/mol.

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

"""What lies between the mats: layers, stacks and faces of one repair."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from press_monitor.cure.compound import Compound

__all__ = ["CASING_CONDUCTIVITY", "CASING_DENSITY", "CASING_HEAT_CAPACITY", "FaceKind", "Layer", "Repair", "Stack"]

CASING_CONDUCTIVITY = 0.25
CASING_DENSITY = 1150.0
CASING_HEAT_CAPACITY = 1900.0


class FaceKind(Enum):
    """What a face of the repair lies against."""

    MAT = "mat"
    AIR = "air"


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer, thickness in m; `compound` is None for vulcanised casing. Defaults: filled rubber."""

    name: str
    thickness: float
    compound: Compound | None = None
    conductivity: float = CASING_CONDUCTIVITY
    density: float = CASING_DENSITY
    heat_capacity: float = CASING_HEAT_CAPACITY

    @property
    def uncured(self) -> bool:
        """Whether the layer still has to cure under heat and is judged."""
        return self.compound is not None and self.compound.judged


@dataclass(frozen=True, slots=True)
class Stack:
    """Layers from the inner mat (inside the tire) to the outer mat."""

    name: str
    layers: tuple[Layer, ...]

    @property
    def thickness(self) -> float:
        """Total, m."""
        return sum(layer.thickness for layer in self.layers)


@dataclass(frozen=True, slots=True)
class Repair:
    """One repair: its stacks, faces and what is known of its start.

    Attributes:
        stacks: at least one; the worst judges.
        start_temperature: degC, None where not measured.
        inner, outer: what each face lies against.
        contact_conductance: W/m2/K between mat thermocouple and rubber, None for perfect contact.
    """

    stacks: tuple[Stack, ...]
    start_temperature: float | None = None
    inner: FaceKind = FaceKind.MAT
    outer: FaceKind = FaceKind.MAT
    contact_conductance: float | None = None

    @property
    def thickness(self) -> float:
        """Of the thickest stack, m."""
        return max(stack.thickness for stack in self.stacks)

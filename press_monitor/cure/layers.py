"""What lies between the mats: layers, stacks and faces of one repair."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

from press_monitor.cure.compound import Compound, CureError

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
    """One layer, thickness in m; `compound` is None for vulcanised casing. Defaults: filled rubber.

    Raises `CureError` unless thickness, conductivity, density and heat capacity are above zero.
    """

    name: str
    thickness: float
    compound: Compound | None = None
    conductivity: float = CASING_CONDUCTIVITY
    density: float = CASING_DENSITY
    heat_capacity: float = CASING_HEAT_CAPACITY

    def __post_init__(self) -> None:
        for what in ("thickness", "conductivity", "density", "heat_capacity"):
            value = getattr(self, what)
            if not (math.isfinite(value) and value > 0.0):
                raise CureError(f"layer {self.name}: {what} must be above zero, not {value:g}")

    @property
    def diffusivity(self) -> float:
        """Of heat, m2/s."""
        return self.conductivity / (self.density * self.heat_capacity)

    @property
    def uncured(self) -> bool:
        """Whether the layer still has to cure under heat and is judged."""
        return self.compound is not None and self.compound.judged


@dataclass(frozen=True, slots=True)
class Stack:
    """Layers from the inner mat (inside the tire) to the outer mat."""

    name: str
    layers: tuple[Layer, ...]

    def __post_init__(self) -> None:
        if not self.layers:
            raise CureError(f"stack {self.name}: no layers")

    @property
    def thickness(self) -> float:
        """Total, m."""
        return sum(layer.thickness for layer in self.layers)

    @property
    def uncured_thickness(self) -> float:
        """Of the layers that still have to cure, m."""
        return sum(layer.thickness for layer in self.layers if layer.uncured)


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

    def __post_init__(self) -> None:
        if not self.stacks:
            raise CureError("repair: no layers")
        names = [stack.name for stack in self.stacks]
        if len(set(names)) < len(names):
            raise CureError(f"repair: two stacks are called {max(names, key=names.count)}")
        conductance = self.contact_conductance
        if conductance is not None and not (math.isfinite(conductance) and conductance > 0.0):
            raise CureError(f"repair: contact_conductance must be above zero, not {conductance:g}")
        start = self.start_temperature
        if start is not None and not -60.0 <= start <= 300.0:
            raise CureError(f"repair: start_temperature {start:g} degC cannot be meant")

    @property
    def thickness(self) -> float:
        """Of the thickest stack, m."""
        return max(stack.thickness for stack in self.stacks)

"""What a watch has to know before the first tick."""

from __future__ import annotations

from dataclasses import dataclass, field

from press_monitor.cure.layers import FaceKind, Repair
from press_monitor.cure.limits import Limits
from press_monitor.quantities import UnitSystem
from press_monitor.watch.kinds import AlarmKind
from press_monitor.watch.recipe import Recipe

__all__ = ["WatchSetup", "energy_of", "is_mat"]

DEFAULT_ENERGY = 100_000.0


@dataclass(frozen=True, slots=True)
class WatchSetup:
    """What a watch has to know before the first tick. Ambient degC, altitude m.

    Attributes:
        recipe: the target.
        repair: the layers; None for an unticketed cycle.
        channels: the channel names this press has, in their order.
        ambient, altitude: of the shop.
        units: for words.
        probe_at: ``rubber`` or ``in-mat``.
        ticketed: whether anybody said what is being cured.
        tire, section: free text for screens.
        mats_overlap: the ticket's answer; None where it was not given.
        kinds: the shop's own alarm limits, in place of the catalogue's.
        overlap_asked: whether there was a ticket to ask it on.
        limits: how far the model's figures may be off.
        fits: the shop's own trials that the repair's figures and these limits come from, in words.
    """

    recipe: Recipe
    repair: Repair | None
    channels: tuple[str, ...]
    ambient: float = 20.0
    altitude: float = 0.0
    units: UnitSystem = field(default_factory=lambda: UnitSystem.named("us"))
    probe_at: str = "rubber"
    ticketed: bool = True
    tire: str = ""
    section: str = ""
    mats_overlap: bool | None = None
    overlap_asked: bool = False
    kinds: tuple[AlarmKind, ...] = ()
    limits: Limits = field(default_factory=Limits)
    fits: tuple[str, ...] = ()


def energy_of(repair: Repair | None) -> float:
    """Activation energy for the cure-weighted mean: the first compound's."""
    if repair is not None:
        for stack in repair.stacks:
            for layer in stack.layers:
                if layer.compound is not None:
                    return layer.compound.activation_energy
    return DEFAULT_ENERGY


def is_mat(repair: Repair | None, name: str) -> bool:
    """Whether a face (``inner``, ``outer``) lies against a mat; without a ticket both do."""
    if repair is None:
        return True
    return (repair.inner if name == "inner" else repair.outer) is FaceKind.MAT

"""What screens know of the shop: names, units, places, ready-made repairs."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo
from typing import TYPE_CHECKING

from press_monitor.quantities import UnitSystem
from press_monitor.screens.source import Place

if TYPE_CHECKING:
    from press_monitor.shop import Shop

__all__ = ["Preset", "ShopView"]


@dataclass(frozen=True, slots=True)
class Preset:
    """A ready-made repair: its name, its thickness in words, and its text as a start command carries it."""

    name: str
    words: str
    text: str


@dataclass(frozen=True, slots=True)
class ShopView:
    """The shop as screens see it."""

    name: str
    units: UnitSystem
    places: tuple[Place, ...]
    presets: tuple[Preset, ...] = ()
    recipes: tuple[str, ...] = ()
    zone: tzinfo | None = None
    shop: Shop | None = None
    """The whole shop file, for what has to be worked out; None where only the names are known."""

    @classmethod
    def of(cls, shop: Shop) -> ShopView:
        """From the shop file."""
        presets = []
        for name, made in shop.repairs.items():
            stacks = made.repair.stacks
            thickness = max(sum(layer.thickness for layer in stack.layers) for stack in stacks) * 1000.0
            presets.append(Preset(name, f"{thickness:.0f} mm", shop.repair_texts[name]))
        return cls(
            name=shop.name,
            units=shop.units,
            places=tuple(Place(p.name, p.title, p.recipe) for p in shop.presses.values()),
            presets=tuple(presets),
            recipes=tuple(shop.recipes),
            zone=shop.zone,
            shop=shop,
        )

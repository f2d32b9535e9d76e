"""What a shop has found out by trials of its own, and a repair with those figures in place of the usual ones.

A trial gives the diffusivity of rubber, contact conductance between mat thermocouple and rubber, or both. Its limits
take the place of the usual band where they cover every layer of a repair.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from press_monitor.cure.compound import CureError
from press_monitor.cure.layers import CASING_CONDUCTIVITY, CASING_DENSITY, CASING_HEAT_CAPACITY, Layer, Repair
from press_monitor.cure.limits import Limits

__all__ = ["LEAST_SPREAD", "PERFECT", "FittedRepair", "Found", "ShopFit", "with_fits"]

LEAST_SPREAD = 0.05
"""One trial is one piece of rubber: a band is never taken to be narrower than this part of its diffusivity, which is
how well methods made for it measure that of filled rubber."""

PERFECT = 1e6
"""W/m2/K, as good as perfect contact: a quarter of a micron of rubber."""


@dataclass(frozen=True, slots=True)
class Found:
    """A figure with its limits at 95 %. Raises `CureError` unless 0 < low <= value <= high."""

    value: float
    low: float
    high: float

    def __post_init__(self) -> None:
        if not 0.0 < self.low <= self.value <= self.high < float("inf"):
            raise CureError(f"fit: {self.value:g} must lie between its limits {self.low:g} and {self.high:g}")

    @property
    def factors(self) -> tuple[float, float]:
        """The limits over the value."""
        return self.low / self.value, self.high / self.value


@dataclass(frozen=True, slots=True)
class ShopFit:
    """What one trial told, and the record it came from.

    Attributes:
        name: the shop's own, e.g. ``north-press-march``.
        trial, trial_sha256: the log it was fitted to: file name and hex digest of its bytes.
        diffusivity: m2/s, None where the trial could not tell.
        contact: W/m2/K, `PERFECT` where it is not told from perfect; None where the trial could not tell.
        compound: the diffusivity is that of layers of this compound alone; None: of all rubber of the shop.
        press: the contact is that of this press alone; None: of every press.
    """

    name: str
    trial: str
    trial_sha256: str
    diffusivity: Found | None
    contact: Found | None
    compound: str | None = None
    press: str | None = None

    @property
    def words(self) -> str:
        """The fit and where it came from, for a record."""
        return f"{self.name}: fitted to {self.trial}, SHA-256 {self.trial_sha256}"


@dataclass(frozen=True, slots=True)
class FittedRepair:
    """A repair with the shop's own figures, the band that goes with them, and the fits they came from."""

    repair: Repair
    limits: Limits
    fits: tuple[ShopFit, ...]


def with_fits(repair: Repair, fits: Sequence[ShopFit], press: str | None = None) -> FittedRepair:
    """Put fitted figures in: of several that fit, the last counts.

    Diffusivity goes to layers that have the usual figures (a layer with figures of its own keeps them), contact to a
    repair that states none. The band narrows only where the diffusivity of every layer is fitted.
    """
    used: list[ShopFit] = []
    spreads: list[tuple[float, float]] = []
    covered = True

    def fitted(layer: Layer) -> Layer:
        nonlocal covered
        fit = _of_layer(layer, fits)
        if fit is None or fit.diffusivity is None:
            covered = False
            return layer
        if fit not in used:
            used.append(fit)
            spreads.append(fit.diffusivity.factors)
        return replace(layer, conductivity=fit.diffusivity.value * layer.density * layer.heat_capacity)

    stacks = tuple(replace(s, layers=tuple(fitted(layer) for layer in s.layers)) for s in repair.stacks)
    usual = Limits()
    diffusivity = usual.diffusivity
    if covered:
        diffusivity = (
            min(1.0 - LEAST_SPREAD, *(low for low, _ in spreads)),
            max(1.0 + LEAST_SPREAD, *(high for _, high in spreads)),
        )
    limits = replace(usual, diffusivity=diffusivity)
    conductance = repair.contact_conductance
    touching = next((f for f in reversed(fits) if f.contact is not None and f.press in (None, press)), None)
    if conductance is None and touching is not None and touching.contact is not None:
        conductance = touching.contact.value
        limits = replace(limits, contact=touching.contact.factors)
        if touching not in used:
            used.append(touching)
    return FittedRepair(replace(repair, stacks=stacks, contact_conductance=conductance), limits, tuple(used))


def _of_layer(layer: Layer, fits: Sequence[ShopFit]) -> ShopFit | None:
    """The last fit that tells this layer's diffusivity; None for a layer with figures of its own."""
    if (layer.conductivity, layer.density, layer.heat_capacity) != (
        CASING_CONDUCTIVITY,
        CASING_DENSITY,
        CASING_HEAT_CAPACITY,
    ):
        return None
    name = None if layer.compound is None else layer.compound.name
    return next((f for f in reversed(fits) if f.diffusivity is not None and f.compound in (None, name)), None)

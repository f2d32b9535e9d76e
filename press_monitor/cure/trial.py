"""A trial with a thermocouple buried in the rubber, and what was found from it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from press_monitor.cure.compound import CureError
from press_monitor.cure.fitted import PERFECT, Found
from press_monitor.cure.kinetics import Array
from press_monitor.cure.layers import Layer, Stack

__all__ = ["Fit", "Trial", "finding"]

_LEAST_READINGS = 20
_FIRST_READINGS = 5


@dataclass(frozen=True, slots=True)
class Trial:
    """A trial with a buried probe; arrays (K,) at rising times in s, degC.

    Attributes:
        stack: the layers as believed.
        times, inner, outer: when, and both mats; buried: the probe, nan where it gave nothing.
        depth: of the probe, m from the inner mat; depth_uncertainty: one standard deviation of that, m.
        disagreement: of the mats' thermocouples with the probe, one standard deviation, K.
        start: of the whole stack, degC; None takes the probe's first readings.
        free: which layers' diffusivity is sought, by one factor; None: all of them. The rest is as believed.
    """

    stack: Stack
    times: Array
    inner: Array
    outer: Array
    buried: Array
    depth: float
    depth_uncertainty: float = 0.0005
    disagreement: float = 0.5
    start: float | None = None
    free: tuple[bool, ...] | None = None

    def __post_init__(self) -> None:
        count = len(self.times)
        if not all(len(column) == count for column in (self.inner, self.outer, self.buried)):
            raise CureError("trial: every channel needs as many readings as there are times")
        if not (np.isfinite(self.times).all() and (np.diff(self.times) > 0.0).all()):
            raise CureError("trial: times must rise strictly")
        if not (np.isfinite(self.inner).all() and np.isfinite(self.outer).all()):
            raise CureError("trial: a mat reading is missing")
        if np.count_nonzero(np.isfinite(self.buried)) < _LEAST_READINGS:
            raise CureError(f"trial: fewer than {_LEAST_READINGS} readings of the buried probe")
        if not 0.0 <= self.depth <= self.stack.thickness:
            raise CureError(
                f"trial: a probe {self.depth * 1e3:g} mm deep lies outside a stack of {self.stack.thickness * 1e3:g} mm"
            )
        if self.free is not None and (len(self.free) != len(self.stack.layers) or not any(self.free)):
            raise CureError("trial: no layer is left to find the diffusivity of")

    @property
    def begins(self) -> float:
        """What the whole stack is taken to begin at, degC."""
        if self.start is not None:
            return self.start
        return float(self.buried[np.isfinite(self.buried)][:_FIRST_READINGS].mean())

    @property
    def sought(self) -> tuple[Layer, ...]:
        """The layers whose diffusivity is sought."""
        every = self.stack.layers
        return every if self.free is None else tuple(x for x, free in zip(every, self.free, strict=True) if free)


@dataclass(frozen=True, slots=True)
class Fit:
    """What a trial says. Limits are at 95 %.

    Attributes:
        factor, factor_low, factor_high: diffusivity over that of the layers as believed.
        diffusivity: m2/s, of the thickest layer sought, with that factor.
        conductance, conductance_low, conductance_high: W/m2/K of the contact; None: perfect, or not told from it.
        offset: K by which the probe reads more than the mats, as far as the data show it.
        deeper: m by which it lies deeper than believed, likewise.
        tells_diffusivity, tells_contact: whether the data can tell.
        rms: K, of the residuals; residuals: (K,), read minus modelled, nan where nothing was read.
        words: the finding in plain words.
    """

    factor: float
    factor_low: float
    factor_high: float
    diffusivity: float
    conductance: float | None
    conductance_low: float | None
    conductance_high: float | None
    offset: float
    deeper: float
    tells_diffusivity: bool
    tells_contact: bool
    rms: float
    residuals: Array
    words: str

    @property
    def diffusivity_found(self) -> Found | None:
        """In m2/s with its limits, None where the data cannot tell."""
        if not self.tells_diffusivity:
            return None
        per_factor = self.diffusivity / self.factor
        return Found(self.diffusivity, self.factor_low * per_factor, self.factor_high * per_factor)

    @property
    def contact_found(self) -> Found | None:
        """In W/m2/K with its limits, `PERFECT` where it is not told from that; None where the data cannot tell."""
        if not self.tells_contact or self.conductance_low is None:
            return None
        value, high = (PERFECT if x is None else x for x in (self.conductance, self.conductance_high))
        return Found(value, self.conductance_low, max(high, value))


def finding(found: Fit, contact: bool) -> str:
    """What a fit says, in plain words."""
    per_factor = 1e6 * found.diffusivity / found.factor
    low, high = found.factor_low * per_factor, found.factor_high * per_factor
    best = f"Best is {1e6 * found.diffusivity:.4f} mm2/s, {low:.4f} to {high:.4f} at 95 %"
    if found.tells_diffusivity:
        first = f"Diffusivity {1e6 * found.diffusivity:.4f} mm2/s ({low:.4f} to {high:.4f} at 95 %)."
    elif found.factor_high - found.factor > 0.2 * found.factor or found.factor_low < found.factor / 1.2:
        first = f"The data cannot tell the diffusivity. {best}: heat longer, or bury the probe deeper."
    else:
        first = (
            f"The data cannot tell the diffusivity. {best}, which no rubber has: something in the trial is not as "
            "believed."
        )
    if not contact:
        return first
    if not found.tells_contact or found.conductance_low is None:
        return first + (
            " The data cannot tell the contact conductance. Where the mats' thermocouples are known to lie against the "
            "rubber, say so, and the diffusivity is told better."
        )
    if found.conductance_high is None:
        return first + (
            f" Contact is not told from perfect; its conductance is at least {found.conductance_low:.0f} W/m2/K."
        )
    return first + (f" Contact conductance {found.conductance_low:.0f} to {found.conductance_high:.0f} W/m2/K at 95 %.")

"""The shop's own figures from a trial: diffusivity and contact conductance, by a thermocouple buried in the rubber.

Least squares (Levenberg-Marquardt) on ln(diffusivity factor) and on the contact resistance 1/h, which is 0 for perfect
contact. Confidence limits count the residuals' own persistence (fewer independent readings than readings) and how well
the probe's depth is known. Where they are wide the answer is that the data cannot tell.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from press_monitor.cure.compound import CureError
from press_monitor.cure.conduction import DEFAULT_NODES, decompose, mesh_of, recompute
from press_monitor.cure.kinetics import Array
from press_monitor.cure.layers import Stack

__all__ = ["Fit", "Trial", "fit"]

_NORMAL_95 = 1.959964
_LEAST_READINGS = 20
_TELLING_DIFFUSIVITY = 0.2
"""Diffusivity is told when its limits lie within this part of it."""
_TELLING_RESISTANCE = 0.005
"""m2 K/W: contact is told when its resistance is known to this, which is what 1.25 mm of rubber resists."""
_LARGEST_RESISTANCE = 0.1
_PERFECT = 1e-6
"""m2 K/W, a quarter of a micron of rubber: taken for perfect contact."""
_APART_S = 30.0
"""Readings nearer in time than this share what the model and the instrument do not know, and count as one."""
_GRID = 2000
_ROUNDS = 40
_ENOUGH = 1e-7

Miss = Callable[[Array], Array]


@dataclass(frozen=True, slots=True)
class Trial:
    """A trial with a buried probe; arrays (K,) at rising times in s, degC.

    Attributes:
        stack: the layers as believed.
        times, inner, outer: when, and both mats; buried: the probe, nan where it gave nothing.
        depth: of the probe, m from the inner mat; depth_uncertainty: one standard deviation of that, m.
        start: of the whole stack, degC; None takes the probe's first reading.
    """

    stack: Stack
    times: Array
    inner: Array
    outer: Array
    buried: Array
    depth: float
    depth_uncertainty: float = 0.0005
    start: float | None = None

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


@dataclass(frozen=True, slots=True)
class Fit:
    """What a trial says. Limits are at 95 %.

    Attributes:
        factor, factor_low, factor_high: diffusivity over that of the layers as believed.
        diffusivity: m2/s, of the stack's thickest layer with that factor.
        conductance, conductance_low, conductance_high: W/m2/K of the contact; None: perfect, or not told from it.
        tells_diffusivity, tells_contact: whether the data can tell.
        rms: K, of the residuals; residuals: (K,), read minus modelled, nan where nothing was read.
        correlation: between the two figures, -1 to 1.
        words: the finding in plain words.
    """

    factor: float
    factor_low: float
    factor_high: float
    diffusivity: float
    conductance: float | None
    conductance_low: float | None
    conductance_high: float | None
    tells_diffusivity: bool
    tells_contact: bool
    rms: float
    residuals: Array
    correlation: float
    words: str


def fit(trial: Trial, *, contact: bool = True, nodes: int = DEFAULT_NODES) -> Fit:
    """Fit a trial; `contact` False takes the mats to lie in perfect contact."""
    seen = np.isfinite(trial.buried)

    model = _Model.of(trial, nodes)

    def miss_at(depth: float) -> Miss:
        return lambda parameters: np.asarray((trial.buried - model.probe(parameters, depth))[seen])

    miss = miss_at(trial.depth)
    best, residuals = _least_squares(miss, np.array([0.0, 0.002][: 2 if contact else 1]))
    span = float(trial.times[seen][-1] - trial.times[seen][0])
    covariance = _covariance(_jacobian(miss, best, residuals), residuals, span / _APART_S)
    if trial.depth_uncertainty > 0.0:
        # What the depth's uncertainty means is found by fitting again, for the contact cannot be better than perfect.
        sides = (max(trial.depth - trial.depth_uncertainty, 0.0), trial.depth + trial.depth_uncertainty)
        shallow, deep = (_least_squares(miss_at(min(d, trial.stack.thickness)), best)[0] for d in sides)
        covariance = covariance + np.outer(deep - shallow, deep - shallow) / 4.0
    error = np.sqrt(np.diag(covariance))
    low, high = best - _NORMAL_95 * error, best + _NORMAL_95 * error
    tells = bool(math.expm1(min(high[0] - best[0], 50.0)) <= _TELLING_DIFFUSIVITY)
    contact_told = bool(contact and high[1] - best[1] <= _TELLING_RESISTANCE)
    every = np.full(len(trial.times), np.nan)
    every[seen] = residuals
    thickest = max(trial.stack.layers, key=lambda layer: layer.thickness)
    believed = thickest.conductivity / (thickest.density * thickest.heat_capacity)

    def conductance(resistance: float) -> float | None:
        return 1.0 / resistance if contact and resistance > _PERFECT else None

    return Fit(
        factor=float(np.exp(best[0])),
        factor_low=float(np.exp(max(low[0], -50.0))),
        factor_high=float(np.exp(min(high[0], 50.0))),
        diffusivity=float(believed * np.exp(best[0])),
        conductance=conductance(float(best[-1])),
        conductance_low=conductance(float(high[-1])),
        conductance_high=conductance(float(low[-1])),
        tells_diffusivity=tells,
        tells_contact=contact_told,
        rms=float(np.sqrt(np.mean(residuals**2))),
        residuals=every,
        correlation=float(covariance[0, 1] / (error[0] * error[1])) if contact and error.all() else 0.0,
        words=_words(tells, contact_told, contact, math.exp(best[0]) * believed, low, high, believed),
    )


@dataclass(frozen=True, slots=True)
class _Model:
    """The trial's mats on an even grid of times, which the model walks fastest."""

    trial: Trial
    nodes: int
    times: Array
    inner: Array
    outer: Array
    start: float

    @classmethod
    def of(cls, trial: Trial, nodes: int) -> _Model:
        first, last = float(trial.times[0]), float(trial.times[-1])
        width = max(float(np.median(np.diff(trial.times))), (last - first) / _GRID)
        times = first + width * np.arange(math.ceil((last - first) / width) + 1)
        return cls(
            trial,
            nodes,
            times,
            np.asarray(np.interp(times, trial.times, trial.inner), dtype=np.float64),
            np.asarray(np.interp(times, trial.times, trial.outer), dtype=np.float64),
            float(trial.buried[np.isfinite(trial.buried)][0]) if trial.start is None else trial.start,
        )

    def probe(self, parameters: Array, depth: float) -> Array:
        """Temperatures (K,) at a depth at the trial's own times."""
        conductance = 1.0 / float(parameters[1]) if len(parameters) > 1 else None
        mesh = mesh_of([self.trial.stack], self.nodes, conductivity=math.exp(parameters[0]))
        basis = decompose(mesh, conductance, conductance).row(0)
        found = recompute(basis, self.times, self.inner, self.outer, np.full(self.nodes, self.start))
        at = int(np.clip(np.searchsorted(mesh.depth[0], depth) - 1, 0, self.nodes - 2))
        part = (depth - mesh.depth[0, at]) / (mesh.depth[0, at + 1] - mesh.depth[0, at])
        there = found[:, at] * (1.0 - part) + found[:, at + 1] * part
        return np.asarray(np.interp(self.trial.times, self.times, there), dtype=np.float64)


def _jacobian(miss: Miss, at: Array, residuals: Array) -> Array:
    columns = []
    for i, step in zip(range(len(at)), (1e-3, 1e-5), strict=False):
        moved = at.copy()
        moved[i] += step
        columns.append((miss(moved) - residuals) / step)
    return np.array(columns).T


def _least_squares(miss: Miss, start: Array) -> tuple[Array, Array]:
    at = start
    residuals = miss(at)
    damping = 1e-3
    for _ in range(_ROUNDS):
        jacobian = _jacobian(miss, at, residuals)
        normal = jacobian.T @ jacobian
        scale = np.diag(np.maximum(np.diag(normal), 1e-12))
        power = float(residuals @ residuals)
        gain = 0.0
        while damping < 1e8:
            moved = at - np.linalg.solve(normal + damping * scale, jacobian.T @ residuals)
            moved[0] = min(max(float(moved[0]), -3.0), 3.0)
            moved[1:] = np.clip(moved[1:], _PERFECT, _LARGEST_RESISTANCE)
            new = miss(moved)
            if float(new @ new) < power:
                gain = 1.0 - float(new @ new) / power
                at, residuals, damping = moved, new, damping * 0.2
                break
            damping *= 5.0
        if gain < _ENOUGH:
            break
    return at, residuals


def _covariance(jacobian: Array, residuals: Array, most: float) -> Array:
    """From the residuals' scatter, counting by their persistence how many are independent, `most` at most."""
    count = len(residuals)
    centred = residuals - residuals.mean()
    power = float(centred @ centred)
    persistence = float(centred[1:] @ centred[:-1]) / power if power > 0.0 else 0.0
    kept = min(max(persistence, 0.0), 0.999)
    independent = max(min(count * (1.0 - kept) / (1.0 + kept), most), jacobian.shape[1] + 1.0)
    # Nothing is scattered less than the last digit of a thermocouple reading.
    variance = max(float(residuals @ residuals) / count, 0.01**2) * independent / (independent - jacobian.shape[1])
    return np.asarray(np.linalg.pinv(jacobian.T @ jacobian) * variance * count / independent)


def _words(
    tells: bool, contact_told: bool, contact: bool, diffusivity: float, low: Array, high: Array, believed: float
) -> str:
    if not tells:
        first = (
            "The data cannot tell the diffusivity: its limits lie more than a fifth away. Heat longer, or bury the "
            "probe deeper."
        )
    else:
        limits = [believed * math.exp(edge) for edge in (low[0], high[0])]
        first = f"Diffusivity {diffusivity * 1e6:.4f} mm2/s ({limits[0] * 1e6:.4f} to {limits[1] * 1e6:.4f} at 95 %)."
    if not contact:
        return first
    if not contact_told:
        return first + " The data cannot tell the contact conductance."
    if low[1] <= _PERFECT:
        return first + f" Contact is not told from perfect; its conductance is at least {1.0 / high[1]:.0f} W/m2/K."
    return first + f" Contact conductance {1.0 / high[1]:.0f} to {1.0 / low[1]:.0f} W/m2/K at 95 %."

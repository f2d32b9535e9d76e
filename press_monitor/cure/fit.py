"""The shop's own figures from a trial: diffusivity and contact conductance, by a thermocouple buried in the rubber.

Least squares on ln(diffusivity factor) for each contact resistance 1/h, which is 0 for perfect contact, and then over
those: a little resistance and a little less diffusivity look almost alike from one probe, so the limits are taken where
the residuals really grow (profile likelihood), not from a curvature. They count how few independent readings there are
and how well the probe's depth is known. Where they are wide the answer is that the data cannot tell.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

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
_PERFECT = 1e-6
"""m2 K/W, a quarter of a micron of rubber: taken for perfect contact."""
_LADDER = (_PERFECT, 0.0005, 0.001, 0.002, 0.004, 0.008, 0.016, 0.032, 0.064)
_APART_S = 30.0
"""Readings nearer in time than this share what the model and the instrument do not know, and count as one."""
_GRID = 1000
_ROUNDS = 30
_GOLDEN_ROUNDS = 10
_EDGE_ROUNDS = 5
_FINE = 1e-5
_GOLDEN = (math.sqrt(5.0) - 1.0) / 2.0


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
    words: str


def fit(trial: Trial, *, contact: bool = True, nodes: int = DEFAULT_NODES) -> Fit:
    """Fit a trial; `contact` False takes the mats to lie in perfect contact."""
    seen = np.isfinite(trial.buried)
    model = _Model.of(trial, nodes)

    def at(resistance: float | None, start: float, depth: float = trial.depth) -> _Best:
        def miss(log_factor: float) -> Array:
            return np.asarray((trial.buried - model.probe(log_factor, resistance, depth))[seen])

        return _best_factor(miss, start)

    resistance, best = _best_resistance(at) if contact else (None, at(None, 0.0))
    span = float(trial.times[seen][-1] - trial.times[seen][0])
    variance = _variance(best.residuals, span / _APART_S)
    edges = _resistances_as_good(at, resistance, best, variance) if resistance is not None else ((None, best),) * 2
    # What the depth's uncertainty means is found by fitting again with the probe higher and lower.
    shifted = [
        at(resistance, best.log_factor, min(max(trial.depth + d, 0.0), trial.stack.thickness)).log_factor
        for d in (-trial.depth_uncertainty, trial.depth_uncertainty)
    ]
    shift = max(abs(log_factor - best.log_factor) for log_factor in shifted)
    reach = [_NORMAL_95 * math.hypot(math.sqrt(variance / edge.curvature), shift) for _, edge in edges]
    low = min(edge.log_factor - r for (_, edge), r in zip(edges, reach, strict=True))
    high = max(edge.log_factor + r for (_, edge), r in zip(edges, reach, strict=True))
    contact_edges = _contact_edges(trial, model, seen, resistance, best, (edges[0][0], edges[1][0]))
    every = np.full(len(trial.times), np.nan)
    every[seen] = best.residuals
    thickest = max(trial.stack.layers, key=lambda layer: layer.thickness)
    believed = thickest.conductivity / (thickest.density * thickest.heat_capacity)

    def conductance(value: float | None) -> float | None:
        return 1.0 / value if value is not None and value > _PERFECT else None

    found = Fit(
        factor=math.exp(best.log_factor),
        factor_low=math.exp(max(low, -50.0)),
        factor_high=math.exp(min(high, 50.0)),
        diffusivity=believed * math.exp(best.log_factor),
        conductance=conductance(resistance),
        conductance_low=conductance(contact_edges[1]),
        conductance_high=conductance(contact_edges[0]),
        tells_diffusivity=math.expm1(max(high - best.log_factor, best.log_factor - low)) <= _TELLING_DIFFUSIVITY,
        tells_contact=contact and contact_edges[1] - contact_edges[0] <= 2.0 * _TELLING_RESISTANCE,
        rms=float(np.sqrt(np.mean(best.residuals**2))),
        residuals=every,
        words="",
    )
    return replace(found, words=_words(found, contact))


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
            np.asarray(times, dtype=np.float64),
            np.asarray(np.interp(times, trial.times, trial.inner), dtype=np.float64),
            np.asarray(np.interp(times, trial.times, trial.outer), dtype=np.float64),
            float(trial.buried[np.isfinite(trial.buried)][0]) if trial.start is None else trial.start,
        )

    def probe(self, log_factor: float, resistance: float | None, depth: float) -> Array:
        """Temperatures (K,) at a depth at the trial's own times; resistance None is perfect contact."""
        conductance = None if resistance is None else 1.0 / resistance
        mesh = mesh_of([self.trial.stack], self.nodes, conductivity=math.exp(log_factor))
        basis = decompose(mesh, conductance, conductance).row(0)
        found = recompute(basis, self.times, self.inner, self.outer, np.full(self.nodes, self.start))
        at = int(np.clip(np.searchsorted(mesh.depth[0], depth) - 1, 0, self.nodes - 2))
        part = (depth - mesh.depth[0, at]) / (mesh.depth[0, at + 1] - mesh.depth[0, at])
        there = found[:, at] * (1.0 - part) + found[:, at + 1] * part
        return np.asarray(np.interp(self.trial.times, self.times, there), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class _Best:
    """The best diffusivity for one contact: ln of its factor, the squared residuals' curvature in it, the residuals."""

    log_factor: float
    curvature: float
    residuals: Array

    @property
    def power(self) -> float:
        return float(self.residuals @ self.residuals)


At = Callable[[float, float], _Best]


def _best_factor(miss: Callable[[float], Array], start: float) -> _Best:
    """Gauss-Newton in one unknown, halving steps that do not improve."""
    at, residuals = start, miss(start)
    slope = (miss(at + 1e-3) - residuals) / 1e-3
    for _ in range(_ROUNDS):
        step = -float(slope @ residuals) / max(float(slope @ slope), 1e-12)
        step = min(max(step, -0.5), 0.5)
        new = miss(at + step)
        while float(new @ new) > float(residuals @ residuals) and abs(step) > _FINE:
            step *= 0.5
            new = miss(at + step)
        if float(new @ new) > float(residuals @ residuals):
            break
        at, residuals = at + step, new
        if abs(step) <= _FINE or abs(at) > 4.0:
            break
        # Near the answer the slope hardly changes.
        if abs(step) > 0.02:
            slope = (miss(at + 1e-3) - residuals) / 1e-3
    return _Best(at, max(float(slope @ slope), 1e-12), residuals)


def _best_resistance(at: At) -> tuple[float, _Best]:
    """The contact resistance with the least residuals, first from a ladder, then between its neighbours."""
    tried: list[tuple[float, _Best]] = []
    start = 0.0
    for resistance in _LADDER:
        tried.append((resistance, at(resistance, start)))
        start = tried[-1][1].log_factor
    i = min(range(len(tried)), key=lambda k: tried[k][1].power)
    low, high = tried[max(i - 1, 0)][0], tried[min(i + 1, len(tried) - 1)][0]
    best = tried[i]
    inner = [high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)]
    found = [at(r, best[1].log_factor) for r in inner]
    for _ in range(_GOLDEN_ROUNDS):
        best = min(best, *zip(inner, found, strict=True), key=lambda pair: pair[1].power)
        if found[0].power <= found[1].power:
            high = inner[1]
            inner = [high - _GOLDEN * (high - low), inner[0]]
            found = [at(inner[0], best[1].log_factor), found[0]]
        else:
            low = inner[0]
            inner = [inner[1], low + _GOLDEN * (high - low)]
            found = [found[1], at(inner[1], best[1].log_factor)]
    return best


def _resistances_as_good(
    at: At, resistance: float, best: _Best, variance: float
) -> tuple[tuple[float, _Best], tuple[float, _Best]]:
    """The lowest and the highest resistance that the residuals do not speak against (profile likelihood, 95 %)."""
    limit = best.power + _NORMAL_95**2 * variance

    def edge(rungs: Iterable[float]) -> tuple[float, _Best]:
        good, found = resistance, best
        for rung in rungs:
            here = at(rung, found.log_factor)
            if here.power > limit:
                bad = rung
                break
            good, found = rung, here
        else:
            return good, found
        for _ in range(_EDGE_ROUNDS):
            middle = 0.5 * (good + bad)
            here = at(middle, found.log_factor)
            if here.power <= limit:
                good, found = middle, here
            else:
                bad = middle
        return good, found

    return edge(r for r in reversed(_LADDER) if r < resistance), edge(r for r in _LADDER if r > resistance)


def _contact_edges(
    trial: Trial,
    model: _Model,
    seen: npt.NDArray[np.bool_],
    resistance: float | None,
    best: _Best,
    edges: tuple[float | None, float | None],
) -> tuple[float, float]:
    """Limits of the resistance, widened by what the depth's uncertainty does to it at this diffusivity."""
    if resistance is None or edges[0] is None or edges[1] is None:
        return 0.0, 0.0
    here = model.probe(best.log_factor, resistance, trial.depth)[seen]
    by_resistance = model.probe(best.log_factor, resistance + 1e-4, trial.depth)[seen] - here
    nudge = min(trial.depth_uncertainty, trial.stack.thickness - trial.depth) or -trial.depth_uncertainty
    moved = model.probe(best.log_factor, resistance, trial.depth + nudge)[seen] - here
    shift = 1e-4 * abs(float(by_resistance @ moved)) / max(float(by_resistance @ by_resistance), 1e-12)
    wider = _NORMAL_95 * shift
    return (
        max(resistance - math.hypot(resistance - edges[0], wider), 0.0),
        resistance + math.hypot(edges[1] - resistance, wider),
    )


def _variance(residuals: Array, most: float) -> float:
    """Of a reading, times how many readings count as one: by their persistence, and `most` of them at most."""
    count = len(residuals)
    centred = residuals - residuals.mean()
    power = float(centred @ centred)
    persistence = float(centred[1:] @ centred[:-1]) / power if power > 0.0 else 0.0
    kept = min(max(persistence, 0.0), 0.999)
    independent = max(min(count * (1.0 - kept) / (1.0 + kept), most), 3.0)
    # Nothing is scattered less than the last digit of a thermocouple reading.
    scatter = max(float(residuals @ residuals) / count, 0.01**2) * independent / (independent - 2.0)
    return scatter * count / independent


def _words(found: Fit, contact: bool) -> str:
    scale = 1e6 * found.diffusivity / found.factor
    if not found.tells_diffusivity:
        first = (
            "The data cannot tell the diffusivity: its limits lie more than a fifth away. Heat longer, or bury the "
            "probe deeper."
        )
    else:
        first = (
            f"Diffusivity {found.factor * scale:.4f} mm2/s ({found.factor_low * scale:.4f} to "
            f"{found.factor_high * scale:.4f} at 95 %)."
        )
    if not contact:
        return first
    if not found.tells_contact or found.conductance_low is None:
        return first + " The data cannot tell the contact conductance."
    if found.conductance_high is None:
        return first + (
            f" Contact is not told from perfect; its conductance is at least {found.conductance_low:.0f} W/m2/K."
        )
    return first + (f" Contact conductance {found.conductance_low:.0f} to {found.conductance_high:.0f} W/m2/K at 95 %.")

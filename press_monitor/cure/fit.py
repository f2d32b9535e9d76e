"""The shop's own figures from a trial: diffusivity and contact conductance, by a thermocouple buried in the rubber.

Least squares on ln(diffusivity factor) for each contact resistance 1/h, which is 0 for perfect contact, and then over
those: a little resistance and a little less diffusivity look almost alike from one probe, so the limits are taken where
the residuals really grow (profile likelihood), not from a curvature. They count how few independent readings there
are, how well the probe's depth is known, and how far thermocouples disagree. Where they are wide the answer is that the
data cannot tell.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from press_monitor.cure.conduction import DEFAULT_NODES, Mesh, decompose, intervals_over, mesh_of, recompute
from press_monitor.cure.kinetics import Array
from press_monitor.cure.trial import Fit, Trial, finding

__all__ = ["fit"]

_NORMAL_95 = 1.959964
_TELLING_DIFFUSIVITY = 0.2
"""Diffusivity is told when its limits lie within this part of it."""
_OF_RUBBER = (0.5e-7, 2.0e-7)
"""m2/s; unfilled soft rubber has 0.6e-7, filled rubber 0.9 to 1.4e-7 (handbooks, from memory)."""
_TELLING_RESISTANCE = 0.005
"""m2 K/W: contact is told when its resistance is known to this, which is what 1.25 mm of rubber resists."""
_PERFECT = 1e-6
"""m2 K/W, a quarter of a micron of rubber: taken for perfect contact."""
_LADDER = (_PERFECT, 0.0005, 0.001, 0.002, 0.004, 0.008, 0.016, 0.032, 0.064)
_APART_S = 300.0
"""Readings nearer in time than this share what the model and the instrument do not know, and count as one."""
_LEAST_BLOCKS = 4
_GRID = 1000
_ROUNDS = 30
_GOLDEN_ROUNDS = 10
_EDGE_ROUNDS = 5
_USUAL_NOISE = 0.1
_FINE = 1e-5
_GOLDEN = (math.sqrt(5.0) - 1.0) / 2.0


def fit(trial: Trial, *, contact: bool = True, nodes: int = DEFAULT_NODES) -> Fit:
    """Fit a trial; `contact` False takes the mats to lie in perfect contact."""
    model = _Model.of(trial, nodes)
    miss = _Miss.of(trial, model)

    def at(resistance: float | None, start: float) -> _Best:
        return _best_factor(lambda log_factor: miss(log_factor, resistance), start)

    resistance, best = _best_resistance(at) if contact else (None, at(None, 0.0))
    residuals, offset, deeper = miss.parted(best.residuals)
    variance = _variance(residuals, miss.span / _APART_S)
    edges = _resistances_as_good(at, resistance, best, variance) if resistance is not None else ((None, best),) * 2
    by_scatter = [_NORMAL_95 * math.sqrt(variance / edge.curvature) for _, edge in edges]
    low = min(edge.log_factor - r for (_, edge), r in zip(edges, by_scatter, strict=True))
    high = max(edge.log_factor + r for (_, edge), r in zip(edges, by_scatter, strict=True))
    least, most = (0.0, 0.0) if resistance is None else (edges[0][0] or 0.0, edges[1][0] or 0.0)
    every = np.full(len(trial.times), np.nan)
    every[miss.seen] = residuals
    believed = max(trial.sought, key=lambda layer: layer.thickness).diffusivity

    rubber = _OF_RUBBER[0] <= believed * math.exp(best.log_factor) <= _OF_RUBBER[1]

    def conductance(value: float | None) -> float | None:
        return 1.0 / value if value is not None and value > _PERFECT else None

    found = Fit(
        factor=math.exp(best.log_factor),
        factor_low=math.exp(max(low, -50.0)),
        factor_high=math.exp(min(high, 50.0)),
        diffusivity=believed * math.exp(best.log_factor),
        conductance=conductance(resistance),
        conductance_low=conductance(most),
        conductance_high=conductance(least),
        offset=offset,
        deeper=deeper,
        tells_diffusivity=rubber
        and math.expm1(max(high - best.log_factor, best.log_factor - low)) <= _TELLING_DIFFUSIVITY,
        tells_contact=rubber and contact and most - least <= 2.0 * _TELLING_RESISTANCE,
        rms=float(np.sqrt(np.mean(residuals**2))),
        residuals=every,
        words="",
    )
    return replace(found, words=finding(found, contact))


@dataclass(frozen=True, slots=True)
class _Miss:
    """What the model misses the probe by, less what two doubts explain of it.

    One is how far the thermocouples disagree, mats against probe, the other how much deeper the probe lies than
    believed. Both are sought along with the rest, each held near zero by how far it is believed to go, so that their
    room widens every limit as it should. A miss has an element for each reading, then one for each doubt.

    Attributes:
        shape: (K,) what the probe shows of a disagreement of 1 K.
        variance: K2, a usual reading's, counted as one with those near it in time: what doubts are weighed against.
    """

    trial: Trial
    model: _Model
    seen: npt.NDArray[np.bool_]
    shape: Array
    variance: float

    @classmethod
    def of(cls, trial: Trial, model: _Model) -> _Miss:
        seen = np.isfinite(trial.buried)
        # The model is linear in the mats, and this shape hardly depends on what is sought.
        shape = (model.probe(0.0, None, hotter=1.0)[0] - model.probe(0.0, None)[0])[seen]
        interval = float(np.median(np.diff(trial.times)))
        return cls(trial, model, seen, shape, _USUAL_NOISE**2 * max(1.0, _APART_S / interval))

    @property
    def span(self) -> float:
        """Seconds from the first to the last reading."""
        times = self.trial.times[self.seen]
        return float(times[-1] - times[0])

    def __call__(self, log_factor: float, resistance: float | None) -> Array:
        there, slope = self.model.probe(log_factor, resistance)
        missed = (self.trial.buried - there)[self.seen]
        doubts = np.stack([self.shape, slope[self.seen]])
        held = np.diag(self.variance / np.array([self.trial.disagreement, self.trial.depth_uncertainty]) ** 2)
        found = np.linalg.solve(doubts @ doubts.T + held, doubts @ missed)
        return np.concatenate([missed - found @ doubts, np.sqrt(held.diagonal()) * found])

    def parted(self, missed: Array) -> tuple[Array, float, float]:
        """The readings' residuals, by how many K the probe reads more than the mats, by how many m it lies deeper."""
        spreads = np.array([self.trial.disagreement, self.trial.depth_uncertainty])
        offset, deeper = missed[-2:] * spreads / math.sqrt(self.variance)
        return missed[:-2], float(offset), float(deeper)


@dataclass(frozen=True, slots=True)
class _Model:
    """The trial's mats on an even grid of times, which the model walks fastest."""

    trial: Trial
    nodes: int
    times: Array
    inner: Array
    outer: Array
    start: float
    mesh: Mesh
    sought: Array
    """(N-1,) 1 between nodes of a layer that is sought, else 0."""

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
            trial.begins,
            mesh_of([trial.stack], nodes),
            np.repeat(
                np.ones(len(trial.stack.layers)) if trial.free is None else np.array(trial.free, dtype=np.float64),
                intervals_over(trial.stack, nodes),
            ),
        )

    def probe(self, log_factor: float, resistance: float | None, *, hotter: float = 0.0) -> tuple[Array, Array]:
        """Temperatures (K,) of the probe at the trial's own times, and by how many K/m they would rise lying deeper.

        resistance None is perfect contact; `hotter` is what the mats are above what they read.
        """
        conductance = None if resistance is None else 1.0 / resistance
        mesh = replace(self.mesh, conductance=self.mesh.conductance * np.exp(log_factor * self.sought))
        basis = decompose(mesh, conductance, conductance).row(0)
        inner, outer = self.inner + hotter, self.outer + hotter
        found = recompute(basis, self.times, inner, outer, np.full(self.nodes, self.start))
        depths, depth = mesh.depth[0], self.trial.depth
        at = int(np.clip(np.searchsorted(depths, depth) - 1, 0, self.nodes - 2))
        width = depths[at + 1] - depths[at]
        part = (depth - depths[at]) / width
        rise = found[:, at + 1] - found[:, at]
        there = np.interp(self.trial.times, self.times, found[:, at] + part * rise)
        return np.asarray(there, dtype=np.float64), np.asarray(np.interp(self.trial.times, self.times, rise / width))


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


def _variance(residuals: Array, most: float) -> float:
    """Of a reading, times how many readings count as one: as the residuals keep together, and `most` at most.

    What a model leaves unexplained does not scatter from reading to reading but wanders. How long it keeps together
    is told by the means of ever longer blocks: of independent readings they scatter as one over the length.
    """
    count = len(residuals)
    together = 1.0
    power = max(float(residuals @ residuals) / count, 1e-12)
    length = 2
    while count // length >= _LEAST_BLOCKS:
        means = residuals[: count // length * length].reshape(-1, length).mean(axis=1)
        together = max(together, length * float(means @ means) / len(means) / power)
        length *= 2
    independent = max(min(count / together, most), 3.0)
    # Nothing is scattered less than the last digit of a thermocouple reading.
    scatter = max(power, 0.01**2) * independent / (independent - 2.0)
    return scatter * count / independent

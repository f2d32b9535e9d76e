"""The judged points of a repair: every node of every uncured layer, with its compound's figures as arrays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from press_monitor.cure.compound import Compound
from press_monitor.cure.conduction import Mesh, intervals_over
from press_monitor.cure.kinetics import Array, curve_exponent, equivalent_time_at, rate, state_of_cure
from press_monitor.cure.layers import Stack

__all__ = ["Points", "Tracks", "points_of"]


@dataclass(frozen=True, slots=True)
class Points:
    """Judged points, P in all, stack by stack and from the inner face outward.

    A node between two uncured layers stands here twice, once for each compound.

    Attributes:
        flat: (P,) index into the stacks' nodes laid end to end; stack, node: its two parts.
        depth, cover: (P,) m from the inner face, and from the nearer face.
        weight: (P,) m of its own layer's rubber that the node stands for.
        share: (P,) the same over all uncured rubber of its stack.
        compounds: the compounds met; compound: (P,) index into them.
        reference, tc50, tc90, exponent, scorch, blow, reversion: (P,) degC and s at the reference temperature.
        energy, reversion_energy: (P,) J/mol.
        own_reversion: whether any point's reversion has an activation energy of its own.
        groups: the points of each compound, as indices.
    """

    flat: npt.NDArray[np.intp]
    stack: npt.NDArray[np.intp]
    node: npt.NDArray[np.intp]
    depth: Array
    cover: Array
    weight: Array
    share: Array
    compounds: tuple[Compound, ...]
    compound: npt.NDArray[np.intp]
    reference: Array
    tc50: Array
    tc90: Array
    exponent: Array
    scorch: Array
    blow: Array
    reversion: Array
    energy: Array
    reversion_energy: Array
    own_reversion: bool
    groups: tuple[npt.NDArray[np.intp], ...]

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self.flat)

    def state(self, equivalent: Array) -> Array:
        """State of cure (..., P) at equivalent seconds (..., P)."""
        return state_of_cure(equivalent, self.tc50, self.exponent)

    def state_at(self, index: int, equivalent: Array) -> Array:
        """State of cure at equivalent seconds, of any shape, at one point."""
        return state_of_cure(equivalent, self.tc50[index], self.exponent[index])

    def reverting(self, temperature: float) -> float:
        """Share of its reversion limit a second that the rubber nearest to it uses at a temperature, degC."""
        return float((rate(temperature, self.reversion_energy, self.reference) / self.reversion).max())

    def needed(self, state: float) -> Array:
        """Equivalent seconds (P,) after which each point reaches a state of cure."""
        each = np.array([equivalent_time_at(state, compound) for compound in self.compounds])
        return each[self.compound] if self.count else np.zeros(0)


@dataclass(frozen=True, slots=True)
class Tracks:
    """What equivalent time is kept for: R pairs of a thermal variant and activation energies.

    Attributes:
        variant: (R,) row of the temperatures; energies: (R, P) J/mol.
    """

    variant: npt.NDArray[np.intp]
    energies: Array

    @classmethod
    def nominal(cls, points: Points) -> Tracks:
        """One track: the first variant with the compounds' own energies."""
        return cls(np.zeros(1, dtype=np.intp), points.energy[None])

    @classmethod
    def corners(cls, points: Points, variants: Sequence[int], differences: Sequence[float]) -> Tracks:
        """Each of `variants` with each of the `differences` (J/mol) from the compounds' own energies."""
        each = [(v, np.maximum(points.energy + d, 1.0)) for v in variants for d in differences]
        return cls(
            np.array([v for v, _ in each], dtype=np.intp),
            np.array([e for _, e in each], dtype=np.float64).reshape(len(each), points.count),
        )

    def select(self, rows: slice, offset: int) -> Tracks:
        """Some of the tracks, their variants counted from `offset`."""
        return Tracks(self.variant[rows] - offset, self.energies[rows])

    def __add__(self, other: Tracks) -> Tracks:
        return Tracks(np.concatenate([self.variant, other.variant]), np.vstack([self.energies, other.energies]))


def points_of(stacks: Sequence[Stack], mesh: Mesh) -> Points:
    """Every node that touches a judged layer, for a mesh of these stacks."""
    nodes = mesh.depth.shape[-1]
    compounds: list[Compound] = []
    rows: list[tuple[int, int, float, int]] = []
    totals = np.zeros(len(stacks))
    for s, stack in enumerate(stacks):
        at = 0
        for layer, count in zip(stack.layers, intervals_over(stack, nodes), strict=True):
            compound = layer.compound
            if compound is not None and compound.judged:
                if compound not in compounds:
                    compounds.append(compound)
                which = compounds.index(compound)
                width = layer.thickness / count
                rows += [(s, at + i, 0.5 * width if i in (0, count) else width, which) for i in range(count + 1)]
                totals[s] += layer.thickness
            at += count
    stack_of = np.array([row[0] for row in rows], dtype=np.intp)
    node_of = np.array([row[1] for row in rows], dtype=np.intp)
    weight = np.array([row[2] for row in rows], dtype=np.float64)
    index = np.array([row[3] for row in rows], dtype=np.intp)

    def each(values: list[float]) -> Array:
        return np.array(values, dtype=np.float64)[index] if rows else np.zeros(0)

    depth = mesh.depth[stack_of, node_of]
    blow = each([equivalent_time_at(c.blow_point, c) for c in compounds])
    return Points(
        flat=stack_of * nodes + node_of,
        stack=stack_of,
        node=node_of,
        depth=depth,
        cover=np.minimum(depth, mesh.depth[stack_of, -1] - depth),
        weight=weight,
        share=weight / totals[stack_of] if rows else weight,
        compounds=tuple(compounds),
        compound=index,
        reference=each([c.reference_temperature for c in compounds]),
        tc50=each([c.tc50 for c in compounds]),
        tc90=each([c.tc90 for c in compounds]),
        exponent=each([curve_exponent(c.tc50, c.tc90) for c in compounds]),
        # A card whose scorch lies past the blow point still leaves a way between them: the last tenth before it.
        scorch=np.minimum(each([c.scorch for c in compounds]), 0.9 * blow),
        blow=blow,
        reversion=each([c.reversion for c in compounds]),
        energy=each([c.activation_energy for c in compounds]),
        reversion_energy=each([c.reversion_activation_energy or c.activation_energy for c in compounds]),
        own_reversion=any(c.reversion_activation_energy not in (None, c.activation_energy) for c in compounds),
        groups=tuple(np.flatnonzero(index == k) for k in range(len(compounds))),
    )

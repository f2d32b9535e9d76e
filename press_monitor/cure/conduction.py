"""Heat through layers: one-dimensional finite volumes, exact in time.

Nodes lie on every interface, so a control volume holds half a cell of each neighbour and what leaves one layer
enters the next. In space this is second order. In time nothing is discretised: with the capacities C and the
conductances A the system C dT/dt = -A T + faces is made symmetric by sqrt(C), decomposed once for a wall and its
kind of faces, and each eigenmode is carried over a step in closed form for faces that move linearly within it. Any
step is stable, a steady state is reproduced, and because -C^-1 A has no negative off-diagonal element, temperatures
never leave the range of what was put in.

A face is described by its conductance in W/m2/K, or None for perfect contact (its node then *is* at the face's
temperature). Arrays lead with the walls: shape (..., N) for N nodes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from press_monitor.cure.compound import CureError
from press_monitor.cure.kinetics import Array
from press_monitor.cure.layers import Stack

__all__ = [
    "DEFAULT_NODES",
    "Basis",
    "Mesh",
    "Steps",
    "decompose",
    "intervals_over",
    "mesh_of",
    "recompute",
    "steps_of",
]

DEFAULT_NODES = 61
_LEAST_INTERVALS = 3


@dataclass(frozen=True, slots=True)
class Mesh:
    """Walls cut into nodes; every array leads with the walls.

    Attributes:
        depth: (..., N), m from the inner face.
        capacity: (..., N), J/m2/K of each node's control volume.
        conductance: (..., N-1), W/m2/K between neighbours.
    """

    depth: Array
    capacity: Array
    conductance: Array


@dataclass(frozen=True, slots=True)
class Basis:
    """The eigenmodes of walls between two kinds of face.

    Attributes:
        rates: (..., N), 1/s.
        to_nodes, to_modes: (..., N, N): temperatures = to_nodes @ modes (but for nodes at a face in perfect
            contact), modes = to_modes @ temperatures.
        drive: (2, ..., N), how fast 1 K at the inner and the outer face drives each mode, K/s.
        inner_held, outer_held: whether that face's node is the face itself.
    """

    rates: Array
    to_nodes: Array
    to_modes: Array
    drive: Array
    inner_held: bool
    outer_held: bool

    def nodes(self, modes: Array, inner: float, outer: float) -> Array:
        """Temperatures (..., N) of modes (..., N) while the faces stand at `inner` and `outer` degC."""
        temperatures: Array = np.matmul(self.to_nodes, modes[..., None])[..., 0]
        if self.inner_held:
            temperatures[..., 0] = inner
        if self.outer_held:
            temperatures[..., -1] = outer
        return temperatures

    def modes(self, temperatures: Array) -> Array:
        """The modes (..., N) that make up temperatures (..., N)."""
        found: Array = np.matmul(self.to_modes, temperatures[..., None])[..., 0]
        return found

    def rest(self, inner: float, outer: float) -> Array:
        """The modes (..., N) of the steady state between two faces held for ever."""
        return np.asarray((self.drive[0] * inner + self.drive[1] * outer) / self.rates)

    def row(self, index: int) -> Basis:
        """That of one wall alone, without the leading axis."""
        return Basis(
            self.rates[index],
            self.to_nodes[index],
            self.to_modes[index],
            self.drive[:, index],
            self.inner_held,
            self.outer_held,
        )

    def select(self, rows: slice) -> Basis:
        """The same of some of the walls only."""
        return Basis(
            self.rates[rows],
            self.to_nodes[rows],
            self.to_modes[rows],
            self.drive[:, rows],
            self.inner_held,
            self.outer_held,
        )


def intervals_over(stack: Stack, nodes: int = DEFAULT_NODES) -> list[int]:
    """How many intervals each layer gets: in proportion to the time heat takes to cross it, at least three.

    Raises `CureError` when the nodes do not suffice.
    """
    layers = stack.layers
    spare = nodes - 1 - _LEAST_INTERVALS * len(layers)
    if spare < 0:
        raise CureError(f"stack {stack.name}: {len(layers)} layers need more than {nodes} nodes")
    weights = [layer.thickness * (layer.density * layer.heat_capacity / layer.conductivity) ** 0.5 for layer in layers]
    wanted = [max(0.0, (nodes - 1) * w / sum(weights) - _LEAST_INTERVALS) for w in weights]
    scale = spare / sum(wanted) if sum(wanted) > 0.0 else 0.0
    counts = [_LEAST_INTERVALS + int(w * scale) for w in wanted]
    by_remainder = sorted(range(len(layers)), key=lambda i: (int(wanted[i] * scale) - wanted[i] * scale, i))
    for i in by_remainder[: nodes - 1 - sum(counts)]:
        counts[i] += 1
    return counts


def mesh_of(
    stacks: Sequence[Stack], nodes: int = DEFAULT_NODES, *, conductivity: float = 1.0, thickness: float = 1.0
) -> Mesh:
    """Cut stacks into `nodes` each: arrays (len(stacks), nodes). The factors scale every layer (for bands)."""
    depth = np.zeros((len(stacks), nodes))
    capacity = np.zeros((len(stacks), nodes))
    conductance = np.zeros((len(stacks), nodes - 1))
    for row, stack in enumerate(stacks):
        at = 0
        for layer, count in zip(stack.layers, intervals_over(stack, nodes), strict=True):
            width = layer.thickness * thickness / count
            depth[row, at : at + count + 1] = depth[row, at] + width * np.arange(count + 1)
            half = 0.5 * width * layer.density * layer.heat_capacity
            capacity[row, at : at + count] += half
            capacity[row, at + 1 : at + count + 1] += half
            conductance[row, at : at + count] = layer.conductivity * conductivity / width
            at += count
    return Mesh(depth, capacity, conductance)


def decompose(mesh: Mesh, inner: float | Array | None, outer: float | Array | None) -> Basis:
    """The eigenmodes of a mesh between faces of conductance `inner`, `outer` (W/m2/K, None: perfect contact).

    An array of conductances goes with the mesh's leading axes.
    """
    between, capacity = mesh.conductance, mesh.capacity
    count = capacity.shape[-1]
    diagonal = np.zeros_like(capacity)
    diagonal[..., :-1] += between
    diagonal[..., 1:] += between
    into = np.zeros((2, *capacity.shape))
    off = between.copy()
    for side, node, neighbour, conductance in ((0, 0, 1, inner), (1, -1, -2, outer)):
        if conductance is None:
            # The face's node is given, not solved for: cut it out and let it drive its neighbour.
            into[side, ..., neighbour] = between[..., node]
            off[..., node] = 0.0
        else:
            diagonal[..., node] += conductance
            into[side, ..., node] = conductance
    root = np.sqrt(capacity)
    matrix = np.zeros((*capacity.shape, count))
    i = np.arange(count)
    matrix[..., i, i] = diagonal / capacity
    symmetric = -off / (root[..., :-1] * root[..., 1:])
    matrix[..., i[:-1], i[1:]] = symmetric
    matrix[..., i[1:], i[:-1]] = symmetric
    rates, vectors = np.linalg.eigh(matrix)
    # One sign convention, whatever the linear algebra library at hand prefers.
    vectors *= np.where(np.sum(vectors * (1.0 + i[:, None]), axis=-2) < 0.0, -1.0, 1.0)[..., None, :]
    to_nodes = vectors / root[..., :, None]
    to_modes = np.swapaxes(vectors, -1, -2) * root[..., None, :]
    drive = np.matmul(np.swapaxes(to_nodes, -1, -2), into[..., None])[..., 0]
    for node, conductance in ((0, inner), (-1, outer)):
        if conductance is None:
            to_nodes[..., node, :] = 0.0
            to_modes[..., :, node] = 0.0
    return Basis(rates, to_nodes, to_modes, drive, inner is None, outer is None)


@dataclass(frozen=True, slots=True)
class Steps:
    """One step's closed form: modes = keep * modes + faces @ push.

    Attributes:
        keep: (..., N).
        push: (4, ...) flattened behind: of inner before and after, outer before and after the step.
    """

    keep: Array
    push: Array

    def __call__(self, modes: Array, faces: Array) -> Array:
        """Modes (..., N) after the step, `faces` being inner before, inner after, outer before, outer after."""
        return np.asarray(self.keep * modes + (faces @ self.push).reshape(modes.shape))


def steps_of(basis: Basis, seconds: float) -> Steps:
    """The closed form of one step for faces moving linearly within it."""
    x = basis.rates * seconds
    first, second = _phi(x)
    before, after = seconds * (first - second), seconds * second
    push = np.stack([basis.drive[0] * before, basis.drive[0] * after, basis.drive[1] * before, basis.drive[1] * after])
    return Steps(np.exp(-x), push.reshape(4, -1))


def _phi(x: Array) -> tuple[Array, Array]:
    """phi1 = (1 - e^-x)/x and phi2 = (1 - phi1)/x for x >= 0, by their series where the quotients would cancel."""
    small = x < 0.2
    safe = np.where(small, 1.0, x)
    first = -np.expm1(-safe) / safe
    second = (1.0 - first) / safe
    low = np.where(small, x, 0.0)
    series = np.zeros_like(low)
    for k in range(11, 1, -1):
        series = (1.0 - low * series) / k if k > 2 else (1.0 - low * series) * 0.5
    return np.where(small, 1.0 - low * series, first), np.where(small, series, second)


def recompute(basis: Basis, times: Array, inner: Array, outer: Array, start: Array) -> Array:
    """A whole cycle of one wall at once.

    The modes are carried in blocks side by side, their ends then chained: a few large array operations.

    Args:
        basis: of one wall: rates (N,).
        times: (K,), s, rising; irregular is fine.
        inner: (K,), degC of the inner face at those times, linear between.
        outer: (K,), of the outer face.
        start: (N,), degC at times[0]; nodes held by a face take the face's temperature.

    Returns:
        Temperatures (K, N), degC.
    """
    count, nodes = len(times), basis.rates.shape[-1]
    modes = basis.modes(start)
    first = basis.nodes(modes, float(inner[0]), float(outer[0]))
    if count < 2:
        return first[None]
    # To the nanosecond: an even clock's intervals are then the same to the bit, and far quicker to walk.
    widths = np.round(np.diff(times), 9)
    block = max(1, round((count - 1) ** 0.5))
    rows = -(-(count - 1) // block)
    keep, push = _pushes(basis, widths, inner, outer, block, rows)
    # Within every block from rest, then the blocks' ends one after the other, then what each block began with.
    for j in range(1, block):
        push[j] += keep[j] * push[j - 1]
    fade = np.cumprod(keep, axis=0)
    opening = np.empty((rows, nodes))
    for row in range(rows):
        opening[row] = modes
        modes = fade[-1, min(row, fade.shape[1] - 1)] * modes + push[-1, row]
    fade = fade * opening
    push += fade
    carried = np.matmul(push.reshape(-1, nodes), basis.to_nodes.T, out=fade.reshape(-1, nodes))
    result = np.empty((rows * block + 1, nodes))
    result[0] = first
    result[1:].reshape(rows, block, nodes)[:] = carried.reshape(block, rows, nodes).transpose(1, 0, 2)
    result = result[:count]
    if basis.inner_held:
        result[:, 0] = inner
    if basis.outer_held:
        result[:, -1] = outer
    return result


def _pushes(basis: Basis, widths: Array, inner: Array, outer: Array, block: int, rows: int) -> tuple[Array, Array]:
    """What is kept (block, rows or 1, N) of the modes in each step and what the faces add (block, rows, N).

    The steps are laid out block-wise, step j of every row together; the last row is filled up with the last faces.
    """
    steps, nodes = len(widths), basis.rates.shape[-1]
    fill = rows * block - steps
    kinds, which = np.unique(np.concatenate([widths, np.full(fill, widths[-1])]), return_inverse=True)
    x = basis.rates * kinds[:, None]
    first, second = _phi(x)
    before, after = kinds[:, None] * (first - second), kinds[:, None] * second
    sides = [np.concatenate([face[1:], np.full(fill, face[-1])]) for face in (inner, outer)]
    moves = np.stack(
        [np.concatenate([inner[:1], sides[0][:-1]]), sides[0], np.concatenate([outer[:1], sides[1][:-1]]), sides[1]]
    )
    by_step = moves.reshape(4, rows, block).transpose(2, 1, 0)
    if len(kinds) == 1:
        weights = np.stack(
            [before * basis.drive[0], after * basis.drive[0], before * basis.drive[1], after * basis.drive[1]]
        )
        push = by_step.reshape(-1, 4) @ weights[:, 0]
        return np.broadcast_to(np.exp(-x), (block, 1, nodes)), push.reshape(block, rows, nodes)
    order = which.reshape(rows, block).T
    push = before[order] * (by_step[..., 0:1] * basis.drive[0] + by_step[..., 2:3] * basis.drive[1])
    push += after[order] * (by_step[..., 1:2] * basis.drive[0] + by_step[..., 3:4] * basis.drive[1])
    return np.exp(-x)[order], push

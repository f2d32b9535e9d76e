"""The temperatures of a repair as it stands, for the nominal figures and for each thermal corner of the band."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from functools import lru_cache

import numpy as np

from press_monitor.cure.compound import CureError
from press_monitor.cure.conduction import DEFAULT_NODES, Basis, Mesh, Steps, decompose, mesh_of, steps_of
from press_monitor.cure.kinetics import Array
from press_monitor.cure.layers import Stack
from press_monitor.cure.limits import Limits
from press_monitor.cure.points import Points, points_of

__all__ = ["FAST_LOSS", "SHOP_AIR", "Contact", "Face", "Temperatures", "Walls", "walls_of"]

SHOP_AIR = 10.0
"""W/m2/K from a bare face to still shop air, convection and radiation together."""

FAST_LOSS = 25.0
"""W/m2/K assumed of each face once the heat is off: a fast loss, so that no cure is credited that may not come."""

_STEPS_KEPT = 64


class Contact(Enum):
    """How a face is bounded."""

    MAT = "mat"
    AIR = "air"
    FAST_LOSS = "fast-loss"


@dataclass(frozen=True, slots=True)
class Face:
    """What a face lies against at the end of an interval, and how hot that is, degC."""

    contact: Contact
    temperature: float

    def __post_init__(self) -> None:
        if not math.isfinite(self.temperature):
            raise CureError(f"face: temperature must be a number, not {self.temperature}")

    @classmethod
    def mat(cls, temperature_degC: float) -> Face:
        """Under a heat mat, through the repair's contact conductance."""
        return cls(Contact.MAT, temperature_degC)

    @classmethod
    def air(cls, ambient_degC: float) -> Face:
        """In still shop air (h 10)."""
        return cls(Contact.AIR, ambient_degC)

    @classmethod
    def fast_loss(cls, ambient_degC: float) -> Face:
        """Cooling faster than it will (h 25)."""
        return cls(Contact.FAST_LOSS, ambient_degC)


class Walls:
    """The geometry of V thermal variants (nominal, then the corners) of S stacks, and their modes by face.

    Nothing of it depends on what happens to a repair, so that presses with the same repair share one: see `walls_of`.
    """

    def __init__(
        self,
        stacks: Sequence[Stack],
        contact_conductance: float | None,
        limits: Limits | None,
        nodes: int = DEFAULT_NODES,
    ) -> None:
        """`limits` None models the nominal figures only."""
        nodes = max(nodes, *(3 * len(stack.layers) + 1 for stack in stacks))
        variants = [(1.0, 1.0, 1.0), *(limits.thermal_corners if limits else ())]
        meshes = [mesh_of(stacks, nodes, conductivity=a, thickness=d) for a, d, _ in variants]
        self.mesh = Mesh(
            np.stack([m.depth for m in meshes]),
            np.stack([m.capacity for m in meshes]),
            np.stack([m.conductance for m in meshes]),
        )
        self.mesh_nominal = meshes[0]
        mat: float | Array | None = contact_conductance
        if contact_conductance is not None and limits is not None and limits.contact != (1.0, 1.0):
            mat = contact_conductance * np.array([[c] for _, _, c in variants])
        self._conductance = {Contact.MAT: mat, Contact.AIR: SHOP_AIR, Contact.FAST_LOSS: FAST_LOSS}
        self._bases: dict[tuple[Contact, Contact], Basis] = {}
        self._steps: dict[tuple[Contact, Contact, int | None, int | None], dict[float, Steps]] = {}

    @property
    def shape(self) -> tuple[int, int, int]:
        """(V, S, N)."""
        v, s, n = self.mesh.depth.shape
        return v, s, n

    def basis(self, inner: Contact, outer: Contact) -> Basis:
        """The eigenmodes of every variant between these faces; found once, then kept."""
        kinds = (inner, outer)
        if kinds not in self._bases:
            self._bases[kinds] = decompose(self.mesh, self._conductance[inner], self._conductance[outer])
        return self._bases[kinds]

    def steps(self, inner: Contact, outer: Contact, rows: slice) -> dict[float, Steps]:
        """Where the closed forms of steps between these faces are kept, by their seconds, for some variants."""
        return self._steps.setdefault((inner, outer, rows.start, rows.stop), {})


@lru_cache(maxsize=32)
def walls_of(
    stacks: tuple[Stack, ...], contact_conductance: float | None, limits: Limits | None, nodes: int
) -> tuple[Walls, Points]:
    """The walls of a repair with their judged points, shared by all who ask for the same."""
    walls = Walls(stacks, contact_conductance, limits, nodes)
    return walls, points_of(stacks, walls.mesh_nominal)


class Temperatures:
    """The temperatures (V, S, N) of some variants of the walls, carried step by step."""

    def __init__(self, walls: Walls, rows: slice, now: Array) -> None:
        self.walls, self.rows = walls, rows
        self.now = now
        self.inner: Face | None = None
        self.outer: Face | None = None
        self.modes = np.zeros_like(now)
        self.fresh = False
        """Whether the last `face` changed the kind of a face."""
        self._basis: Basis | None = None
        self._steps: dict[float, Steps] = {}

    @property
    def basis(self) -> Basis:
        """The eigenmodes between the present faces."""
        if self._basis is None:
            raise CureError("section: no face has been given yet")
        return self._basis

    def turns(self, inner: Face, outer: Face) -> bool:
        """Whether these are other kinds of face than the present ones."""
        return (
            self.inner is None
            or self.outer is None
            or inner.contact is not self.inner.contact
            or outer.contact is not self.outer.contact
        )

    def face(self, inner: Face, outer: Face) -> tuple[Face, Face]:
        """Take on these kinds of face; returns what each moves *from*: itself where it is of a new kind."""
        before = (
            self.inner if self.inner is not None and self.inner.contact is inner.contact else inner,
            self.outer if self.outer is not None and self.outer.contact is outer.contact else outer,
        )
        self.fresh = self.turns(inner, outer)
        if self.fresh:
            self._enter(inner, outer)
        self.inner, self.outer = inner, outer
        return before

    def _enter(self, inner: Face, outer: Face) -> None:
        self._basis = self.basis_between(inner, outer)
        self._steps = self.walls.steps(inner.contact, outer.contact, self.rows)
        self.modes = self._basis.modes(self.now)

    def step(self, seconds: float, faces: Array) -> None:
        """One step with the faces (inner before, after, outer before, after) moving linearly."""
        if seconds > 0.0:
            self.modes = self._step_of(seconds)(self.modes, faces)
        self.now = self.basis.nodes(self.modes, float(faces[1]), float(faces[3]))

    def walk(self, steps: Sequence[tuple[float, float, float]]) -> None:
        """Several steps between faces of the present kinds: s, and degC of inner and outer face at the end of each."""
        if self.inner is None or self.outer is None:
            raise CureError("section: no face has been given yet")
        before = (self.inner.temperature, self.outer.temperature)
        for seconds, inner, outer in steps:
            self.modes = self._step_of(seconds)(self.modes, np.array([before[0], inner, before[1], outer]))
            before = (inner, outer)
        self.inner, self.outer = Face(self.inner.contact, before[0]), Face(self.outer.contact, before[1])
        self.now = self.basis.nodes(self.modes, *before)

    def _step_of(self, seconds: float) -> Steps:
        steps = self._steps.get(seconds)
        if steps is None:
            if len(self._steps) >= _STEPS_KEPT:
                self._steps.clear()
            steps = self._steps[seconds] = steps_of(self.basis, seconds)
        return steps

    def basis_between(self, inner: Face, outer: Face) -> Basis:
        """The eigenmodes between faces of these kinds."""
        return self.walls.basis(inner.contact, outer.contact).select(self.rows)

    def between(self, inner: Face, outer: Face) -> tuple[Basis, Array]:
        """The eigenmodes between faces of these kinds, and the present temperatures in them."""
        now = None if self.inner is None or self.outer is None else (self.inner.contact, self.outer.contact)
        if now == (inner.contact, outer.contact):
            return self.basis, self.modes
        basis = self.basis_between(inner, outer)
        return basis, basis.modes(self.now)

    def first(self) -> Temperatures:
        """The first variant's alone."""
        return Temperatures(self.walls, slice(0, 1), self.now[:1])

    def copy(self, rows: slice) -> Temperatures:
        """The same of some of the variants, going its own way from here."""
        twin = Temperatures(self.walls, rows, self.now[rows].copy())
        twin.inner, twin.outer = self.inner, self.outer
        if self.inner is not None and self.outer is not None:
            twin._enter(self.inner, self.outer)
            twin.modes = self.modes[rows].copy()
        return twin

    def resume(self, inner: Face, outer: Face, modes: Array) -> None:
        """Go on from saved faces and modes, where those still mean the temperatures at hand on this computer."""
        self._enter(inner, outer)
        self.inner, self.outer = inner, outer
        meant = self.basis.nodes(modes, inner.temperature, outer.temperature)
        if np.allclose(meant, self.now, rtol=0.0, atol=1e-6):
            self.modes = modes

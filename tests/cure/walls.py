"""What the tests of the cure model share: plain walls, a curemeter card, and classical series for comparison."""

from __future__ import annotations

import numpy as np
from scipy.optimize import brentq

from press_monitor.cure.compound import Compound
from press_monitor.cure.conduction import decompose, mesh_of, recompute
from press_monitor.cure.layers import Layer, Repair, Stack

GUM = Compound(
    name="section-gum",
    reference_temperature=150.0,
    scorch=150.0,
    tc50=360.0,
    tc90=720.0,
    activation_energy=100_000.0,
    blow_point=0.35,
    reversion=5400.0,
)


def slab(
    thickness: float, alpha: float = 1.1e-7, conductivity: float = 0.25, compound: Compound | None = None
) -> Stack:
    """One layer of the wanted diffusivity."""
    return Stack("slab", (Layer("slab", thickness, compound, conductivity, 1150.0, conductivity / alpha / 1150.0),))


def section(*, all_uncured: bool = False, name: str = "injury centre") -> Stack:
    """8 / 22 / 14 mm: patch, casing, filler."""
    casing = Layer("casing", 0.022, GUM if all_uncured else None)
    return Stack(name, (Layer("repair patch", 0.008, GUM), casing, Layer("filler rubber", 0.014, GUM)))


def repair(*stacks: Stack, **more: object) -> Repair:
    return Repair(stacks or (section(),), **more)  # type: ignore[arg-type]


def held(
    stack: Stack,
    seconds: list[float],
    inner: float,
    outer: float,
    start: float = 20.0,
    *,
    faces: tuple[float | None, float | None] = (None, None),
    nodes: int = 61,
) -> np.ndarray:
    """Temperatures (len(seconds), N) with faces held from time 0; `faces` gives conductances, None perfect contact."""
    basis = decompose(mesh_of([stack], nodes), *faces).row(0)
    times = np.array([0.0, *seconds])
    return recompute(basis, times, np.full(len(times), inner), np.full(len(times), outer), np.full(nodes, start))[1:]


def roots(biot: float, count: int = 40) -> np.ndarray:
    """The first roots of zeta tan zeta = Bi."""
    return np.array(
        [
            brentq(lambda z: z * np.sin(z) - biot * np.cos(z), n * np.pi + 1e-12, n * np.pi + np.pi / 2, xtol=1e-15)
            for n in range(count)
        ]
    )


def plane_wall(position: float, fourier: float, biot: float | None) -> float:
    """(T - Tf)/(Ti - Tf) at x/L of a wall of half thickness L (Incropera eq. 5.42); `biot` None: faces held."""
    zeta = (np.arange(60) + 0.5) * np.pi if biot is None else roots(biot)
    weight = 4.0 * np.sin(zeta) / (2.0 * zeta + np.sin(2.0 * zeta))
    return float(np.sum(weight * np.exp(-(zeta**2) * fourier) * np.cos(zeta * position)))

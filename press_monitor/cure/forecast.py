"""What comes of a cure from here: with the faces held as they are, and with the heat off now."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from press_monitor.cure.conduction import Basis
from press_monitor.cure.kinetics import Array, exponent_of, step_mean
from press_monitor.cure.points import Points, Tracks
from press_monitor.cure.walls import Face, Temperatures

__all__ = ["COOLING_S", "HORIZON_S", "CureForecast", "Held", "after", "coming", "first_reached", "growing_times"]

HORIZON_S = 8 * 3600.0
COOLING_S = 5 * 3600.0
"""How long a cooling under pressure is followed; rubber of any repair is cold, and cures no more, by then."""

_FADED = -700.0
"""Exponent below which a mode is gone: smaller results are not told from zero, and take four times as long."""


@dataclass(frozen=True, slots=True)
class CureForecast:
    """Seconds until the deepest rubber has the required cure at the faces as they are, and what heat-off ends at.

    None: not within the horizon. `early` and `late` are the band's upper and lower edge. The states of cure after
    heat-off are those of the least cured rubber, cooled under pressure with a fast loss.
    """

    seconds: float | None
    seconds_early: float | None
    seconds_late: float | None
    heat_off_ends_at: float
    heat_off_low: float
    heat_off_high: float


@dataclass(frozen=True, slots=True)
class Held:
    """A stretch of `seconds` with both faces held."""

    inner: Face
    outer: Face
    seconds: float


def growing_times(horizon: float, first: float = 10.0, growth: float = 1.08) -> Array:
    """0 and then times whose steps grow by `growth`, the last being `horizon`."""
    count = max(1, int(np.ceil(np.log1p(horizon * (growth - 1.0) / first) / np.log(growth))))
    times = first * (growth ** np.arange(count + 1) - 1.0) / (growth - 1.0)
    times[-1] = horizon
    return np.asarray(times)


def coming(
    basis: Basis,
    modes: Array,
    faces: tuple[float, float],
    times: Array,
    points: Points,
    tracks: Tracks,
) -> Iterator[Array]:
    """Equivalent seconds gained (K - 1, P) between `times`, track after track, between faces that stay as they are.

    Args:
        basis: of V variants of S stacks.
        modes: (V, S, N) now.
        faces: degC of the inner and the outer face.
        times: (K,) s from now.
        points: the P judged points.
        tracks: R pairs of a variant and an activation energy.
    """
    rest = basis.rest(*faces)
    fading = basis.rates[..., None, :] * -times[:, None]
    np.exp(np.maximum(fading, _FADED, out=fading), out=fading)
    fading *= (modes - rest)[..., None, :]
    fading += rest[..., None, :]
    nodes = np.matmul(fading, np.swapaxes(basis.to_nodes, -1, -2))
    if basis.inner_held:
        nodes[..., 0] = faces[0]
    if basis.outer_held:
        nodes[..., -1] = faces[1]
    variants, _, steps, _ = nodes.shape
    here = np.swapaxes(nodes, 1, 2).reshape(variants, steps, -1).take(points.flat, axis=-1)
    theta = exponent_of(here, points.reference)
    widths = np.diff(times)[:, None]
    # One track at a time keeps the work within the processor's cache.
    for variant, energies in zip(tracks.variant, tracks.energies, strict=True):
        exponents = theta[variant] * energies
        speed = np.exp(exponents)
        means = step_mean(speed[:-1], speed[1:], exponents[1:] - exponents[:-1])
        means *= widths
        yield means


def after(
    field: Temperatures, stretches: Sequence[Held], points: Points, tracks: Tracks, growth: float = 1.12
) -> Array:
    """Equivalent seconds gained (R, P) over stretches of held faces from the present temperatures."""
    gained = np.zeros_like(tracks.energies)
    nodes = field.now
    for held in stretches:
        if held.seconds <= 0.0:
            continue
        basis = field.basis_between(held.inner, held.outer)
        modes = basis.modes(nodes)
        faces = (held.inner.temperature, held.outer.temperature)
        times = growing_times(held.seconds, growth=growth)
        gained += [track.sum(axis=0) for track in coming(basis, modes, faces, times, points, tracks)]
        rest = basis.rest(*faces)
        nodes = basis.nodes(rest + (modes - rest) * np.exp(-basis.rates * held.seconds), *faces)
    return gained


def first_reached(times: Array, worst: Array) -> Array:
    """When each row of `worst` (..., K), never falling, first comes to 1; inf where it does not.

    Between two times it is taken to grow by a constant ratio, as equivalent time in rubber growing warmer about does.
    """
    reached = worst >= 1.0
    index = np.argmax(reached, axis=-1)
    before = np.maximum(index - 1, 0)
    rise = np.log(np.maximum(worst, 1e-300))
    high = np.take_along_axis(rise, index[..., None], -1)[..., 0]
    low = np.take_along_axis(rise, before[..., None], -1)[..., 0]
    gap = np.where(high > low, high - low, 1.0)
    found = times[before] + (times[index] - times[before]) * np.clip(-low / gap, 0.0, 1.0)
    return np.where(np.any(reached, axis=-1), np.where(index == 0, times[0], found), np.inf)

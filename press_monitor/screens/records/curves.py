"""A sealed cure's curves as charts: mats in their band, bag between its limits. Pure: a preview in, a chart out."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from press_monitor.quantities import UnitSystem
from press_monitor.readings.types import Role
from press_monitor.screens.records.preview import Preview, Track
from press_monitor.screens.widgets.canvas import Band, Chart, Curve, Guide, Mark, View
from press_monitor.screens.widgets.palette import Look

__all__ = ["in_units", "sealed_bag", "sealed_mats", "span_of"]

_ROOM = 15.0


def span_of(tracks: Sequence[Track]) -> float:
    """Minutes at the right end of the time axis."""
    last = max((float(track.minutes[-1]) for track in tracks if len(track.minutes)), default=1.0)
    step = 5.0 if last <= 60 else 10.0
    return max(1.0, math.ceil(last / step) * step) if last > 5 else max(1.0, last)


def in_units(values: NDArray[np.float64], role: Role, units: UnitSystem) -> NDArray[np.float64]:
    """SI values in the shop's unit."""
    if role is Role.BAG:
        return np.asarray(values * units.pressed(1.0), np.float64)
    zero = units.degrees(0.0)
    return np.asarray(values * (units.degrees(1.0) - zero) + zero, np.float64)


def _marks(preview: Preview, look: Look) -> tuple[Mark, ...]:
    palette = look.palette
    return tuple(
        Mark(minute, look.signs.alarm, palette.alarm if high else palette.attention)
        for minute, _, high in preview.alarms
    )


def _curve(track: Track, units: UnitSystem, look: Look) -> Curve:
    palette = look.palette
    ink = {Role.INNER_MAT: palette.inner, Role.OUTER_MAT: palette.outer}.get(track.role, palette.bag)
    dashed = palette.dashed and track.role is Role.OUTER_MAT
    return Curve(track.minutes, in_units(track.values, track.role, units), ink, track.gap, dashed)


def sealed_mats(preview: Preview, units: UnitSystem, look: Look, *, x_axis: bool = True) -> Chart:
    """Both mats over the band they had to keep, and where alarms began."""
    limits = preview.limits
    mats = [track for track in preview.tracks if track.role is not Role.BAG]
    curves = [_curve(track, units, look) for track in sorted(mats, key=lambda t: t.role is Role.INNER_MAT)]
    x1 = span_of(preview.tracks)
    values = np.concatenate([curve.y[np.isfinite(curve.y)] for curve in curves] or [np.empty(0)])
    bottom = min(units.degrees(_ROOM), float(values.min()) if values.size else units.degrees(_ROOM))
    top = float(values.max()) if values.size else bottom + 1.0
    bands: tuple[Band, ...] = ()
    if {"hold_temperature", "hold_tolerance"} <= limits.keys():
        low, high = (units.degrees(limits["hold_temperature"] + s * limits["hold_tolerance"]) for s in (-1, 1))
        top = max(top, high)
        start = preview.heated_min
        until = start + limits.get("heat_up_limit", 0.0) / 60.0
        rise = ((start, bottom), (until, low)) if until > start else ((start, low),)
        edge = [*rise, (max(x1, until + 1.0), low)]
        bands = (Band([x for x, _ in edge], [y for _, y in edge], [high] * len(edge), look.palette.band),)
    if "maximum_temperature" in limits:
        top = max(top, units.degrees(limits["maximum_temperature"]))
    return Chart(
        View(0.0, x1, bottom - 0.02 * (top - bottom), top + 0.02 * (top - bottom)),
        bands=bands,
        curves=tuple(curves),
        marks=_marks(preview, look),
        x_axis=x_axis,
        y_axis=5,
        x_unit="min" if x_axis else "",
    )


def sealed_bag(preview: Preview, units: UnitSystem, look: Look) -> Chart:
    """The bag between its limits, its minimum dotted."""
    limits, palette = preview.limits, look.palette
    curves = [_curve(track, units, look) for track in preview.tracks if track.role is Role.BAG]
    x1 = span_of(preview.tracks)
    values = np.concatenate([curve.y[np.isfinite(curve.y)] for curve in curves] or [np.empty(0)])
    top = float(values.max()) * 1.05 if values.size else 1.0
    least, most = (limits.get(key) for key in ("bag_minimum", "bag_maximum"))
    bands: tuple[Band, ...] = ()
    guides: tuple[Guide, ...] = ()
    if least is not None and most is not None:
        low, high = units.pressed(least), units.pressed(most)
        top = max(top, high * 1.05)
        bands = (Band((0.0, x1), (low, low), (high, high), palette.band),)
        guides = (Guide(low, palette.guide, vertical=False, dense=True),)
    return Chart(
        View(0.0, x1, 0.0, max(top, 1e-6)),
        bands,
        guides,
        tuple(curves),
        x_axis=True,
        y_axis=5,
        x_unit="min",
        y_ticks=None if least is None else (0.0, units.pressed(least)),
    )

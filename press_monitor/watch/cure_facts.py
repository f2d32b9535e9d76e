"""The model's figures as plain data: points of the repair for screens, the `cure` object of records."""

from __future__ import annotations

import math

from press_monitor.cure.section import CurePointSI, Section
from press_monitor.watch.plain import Json
from press_monitor.watch.types import CurePoint, LayerView, StackView

__all__ = ["cure_json", "cure_point", "stack_views"]

_MINUTE = 60.0


def cure_point(point: CurePointSI | None) -> CurePoint | None:
    """A point of the model in the units people read: mm and minutes."""
    if point is None:
        return None
    return CurePoint(
        stack=point.stack,
        depth_mm=1000.0 * point.depth,
        state_of_cure=point.state_of_cure,
        state_of_cure_low=point.state_of_cure_low,
        state_of_cure_high=point.state_of_cure_high,
        equivalent_min=point.equivalent_s / _MINUTE,
        peak_degC=point.peak_degC,
        temperature_degC=point.temperature_degC,
    )


def _point_json(point: CurePointSI | None) -> Json:
    view = cure_point(point)
    if view is None:
        return None
    return {
        "stack": view.stack,
        "depth_mm": view.depth_mm,
        "state_of_cure": view.state_of_cure,
        "state_of_cure_low": view.state_of_cure_low,
        "state_of_cure_high": view.state_of_cure_high,
        "equivalent_min": view.equivalent_min,
        "peak_degC": view.peak_degC,
    }


def cure_json(section: Section | None) -> Json:
    """The `cure` object of ``replay --json``, as it stands now."""
    vapour = section.worst_vapour_margin() if section else None
    boil = section.worst_boil_margin() if section else None
    return {
        "deepest": _point_json(section.deepest()) if section else None,
        "hottest": _point_json(section.hottest()) if section else None,
        "worst_vapour_margin_kPa": None if vapour is None else vapour / 1000.0,
        "worst_boil_margin_kPa": None if boil is None else boil / 1000.0,
        "set_without_pressure": section.set_without_pressure() if section else None,
    }


def stack_views(section: Section | None) -> tuple[StackView, ...]:
    """Every stack through its depth, as it stands now."""
    if section is None:
        return ()
    points = (section.deepest(), section.hottest())
    views = []
    for profile in section.profile():
        deepest, hottest = (p if p is not None and p.stack == profile.name else None for p in points)
        views.append(
            StackView(
                name=profile.name,
                layers=tuple(LayerView(b.name, 1000.0 * b.top, 1000.0 * b.bottom, b.uncured) for b in profile.layers),
                depth_mm=tuple((1000.0 * profile.depth).round(2).tolist()),
                temperature_degC=tuple(profile.temperature.round(2).tolist()),
                state_of_cure=tuple(None if math.isnan(v) else v for v in profile.state_of_cure.round(4).tolist()),
                deepest_mm=1000.0 * deepest.depth if deepest else None,
                hottest_mm=1000.0 * hottest.depth if hottest else None,
            )
        )
    return tuple(views)

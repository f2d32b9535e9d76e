"""The model's figures as plain data: points of the repair for screens, the `cure` object of records."""

from __future__ import annotations

import math

from press_monitor.cure.section import CurePointSI, Section
from press_monitor.watch.types import CurePoint, Json, LayerView, StackView

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
    deepest, hottest = section.deepest(), section.hottest()
    views = []
    for profile in section.profile():
        layers = tuple(LayerView(b.name, 1000.0 * b.top, 1000.0 * b.bottom, b.uncured) for b in profile.layers)
        here = [p if p is not None and p.stack == profile.name else None for p in (deepest, hottest)]
        views.append(
            StackView(
                name=profile.name,
                layers=layers,
                depth_mm=tuple(round(1000.0 * d, 2) for d in profile.depth.tolist()),
                temperature_degC=tuple(round(v, 2) for v in profile.temperature.tolist()),
                state_of_cure=tuple(None if math.isnan(v) else round(v, 4) for v in profile.state_of_cure.tolist()),
                deepest_mm=1000.0 * here[0].depth if here[0] else None,
                hottest_mm=1000.0 * here[1].depth if here[1] else None,
            )
        )
    return tuple(views)

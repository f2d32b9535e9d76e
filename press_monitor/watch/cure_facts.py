"""The model's figures as plain data: points of the repair for screens, the `cure` object of records."""

from __future__ import annotations

from press_monitor.cure.section import CurePointSI, Section
from press_monitor.watch.types import CurePoint, Json

__all__ = ["cure_json", "cure_point"]

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

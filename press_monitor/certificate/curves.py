"""The curves of a record: mats against their band and the bag against its minimum, in the shop's units."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from press_monitor.archive.trace import Trace
from press_monitor.certificate.model import Chart, Mark, Section, Series
from press_monitor.certificate.outcome import alarm_letters
from press_monitor.quantities import UnitSystem, from_si, to_si
from press_monitor.readings.types import Role, role_of

__all__ = ["chart_sections"]

Json = Any
Floats = NDArray[np.float64]

LETTERS = {Role.INNER_MAT: "ij", Role.OUTER_MAT: "op", Role.BAG: "bc"}
SHORTEST_GAP_S = 5.0
GAP_INTERVALS = 4.0


def chart_sections(
    trace: Trace, body: Mapping[str, Json], result: Mapping[str, Json], units: UnitSystem
) -> tuple[Section, ...]:
    """Sections ``temperature`` and ``bag``, with the alarms marked by the letters of the alarm list."""
    recipe = body["recipe"] if isinstance(body.get("recipe"), Mapping) else {}
    low = high = None
    if recipe.get("hold_temperature") is not None and recipe.get("hold_tolerance") is not None:
        low = recipe["hold_temperature"] - recipe["hold_tolerance"]
        high = recipe["hold_temperature"] + recipe["hold_tolerance"]
    warm = (("band", low), ("band", high), ("maximum", recipe.get("maximum_temperature")))
    press = (("minimum", recipe.get("bag_minimum")), ("maximum", recipe.get("bag_maximum")))
    letters = alarm_letters(result["alarms"])
    marks = tuple(
        Mark(alarm["raised_s"] / 60, letters[alarm["id"]], f"{letters[alarm['id']]}: {alarm['kind']}")
        for alarm in sorted(result["alarms"], key=lambda each: each["raised_s"])
    )
    mats = _chart(trace, "Mats against the band", (Role.INNER_MAT, Role.OUTER_MAT), units.temperature, warm, marks)
    bag = _chart(trace, "Bag against its limits", (Role.BAG,), units.pressure, press, marks)
    return (
        Section("temperature", "Temperature", (_in_signs(mats, units),)),
        Section("bag", "Bag", (bag,)),
    )


def _in_signs(chart: Chart, units: UnitSystem) -> Chart:
    return Chart(chart.title, units.temperature_sign, chart.minutes, chart.series, chart.limits, chart.marks)


def _chart(
    trace: Trace,
    title: str,
    roles: Sequence[Role],
    unit: str,
    limits: Sequence[tuple[str, float | None]],
    marks: tuple[Mark, ...],
) -> Chart:
    times = trace.times
    breaks = _breaks(times)
    series = []
    used: dict[Role, int] = {}
    for channel in trace.channels:
        role = role_of(channel.name)
        if role not in roles:
            continue
        letter = LETTERS[role][used.get(role, 0) : used.get(role, 0) + 1] or "x"
        used[role] = used.get(role, 0) + 1
        values = np.insert(_converted(trace.column(channel.name), channel.unit, unit), breaks, np.nan)
        known: tuple[float | None, ...] = tuple(None if v != v else v for v in values.tolist())
        series.append(Series(channel.name.replace("_", " "), letter, known))
    middles = (times[breaks - 1] + times[breaks]) / 2 if len(breaks) else times[:0]
    at = tuple((np.insert(times, breaks, middles) / 60).tolist())
    levels = tuple((name, from_si(level, unit)) for name, level in limits if level is not None)
    return Chart(title, unit, at, tuple(series), levels, marks)


def _breaks(times: Floats) -> NDArray[np.intp]:
    """Row numbers before which readings were missing for longer than their pace explains."""
    if len(times) < 3:
        return np.zeros(0, np.intp)
    steps = np.diff(times)
    return np.flatnonzero(steps > max(SHORTEST_GAP_S, GAP_INTERVALS * float(np.median(steps)))) + 1


def _converted(values: Floats, unit: str, wanted: str) -> Floats:
    """Units convert by a factor and an offset; two points give both."""
    zero = from_si(to_si(0.0, unit), wanted)
    return values * (from_si(to_si(1.0, unit), wanted) - zero) + zero

"""The curves of a record as charts, in the shop's units: the one source of what text, page and web page plot.

Over time: mats against their band and the bag against its limits, with alarms, actions and phases. Through the
thickness: state of cure and temperature at heat-off and at release.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from press_monitor.archive.trace import Trace
from press_monitor.certificate.model import Chart, Mark, Section, Series, Span, Words
from press_monitor.certificate.outcome import alarm_letters, deeds
from press_monitor.quantities import UnitSystem, from_si, to_si
from press_monitor.readings.types import Role, role_of

__all__ = ["chart_sections", "profile_charts", "profile_section", "time_charts"]

Json = Any
Floats = NDArray[np.float64]

LETTERS = {Role.INNER_MAT: "ij", Role.OUTER_MAT: "op", Role.BAG: "bc"}
SHORTEST_GAP_S = 5.0
GAP_INTERVALS = 4.0
MOMENTS = (("heat_off", "heat-off", "h"), ("release", "release", "r"))


def _mapping(value: Json) -> Mapping[str, Json]:
    return value if isinstance(value, Mapping) else {}


def chart_sections(
    trace: Trace, body: Mapping[str, Json], result: Mapping[str, Json], units: UnitSystem
) -> tuple[Section, ...]:
    """Section ``curves``: mats and bag, with alarms and actions marked as their lists mark them."""
    return (Section("curves", "What mats and bag did", time_charts(trace, body, result, units)),)


def time_charts(
    trace: Trace, body: Mapping[str, Json], result: Mapping[str, Json], units: UnitSystem
) -> tuple[Chart, Chart]:
    """Mats and bag over time."""
    recipe = _mapping(body.get("recipe"))
    hold, tolerance = recipe.get("hold_temperature"), recipe.get("hold_tolerance")
    band = None
    if hold is not None and tolerance is not None:
        band = (units.degrees(hold - tolerance), units.degrees(hold + tolerance))
    most = recipe.get("maximum_temperature")
    least, top = recipe.get("bag_minimum"), recipe.get("bag_maximum")
    kept = None if least is None or top is None else (units.pressed(least), units.pressed(top))
    marks, spans = _marks(body, result), _spans(result)
    mats = _over_time(trace, (Role.INNER_MAT, Role.OUTER_MAT), units.temperature)
    bag = _over_time(trace, (Role.BAG,), units.pressure)
    warm = () if most is None else (("maximum", units.degrees(most)),)
    low = () if least is None or kept is not None else (("minimum", units.pressed(least)),)
    return (
        Chart("Mats against the band", units.temperature_sign, *mats, warm, marks, band=band, spans=spans),
        Chart("Bag against its limits", units.pressure, *bag, low, marks, band=kept, spans=spans, reach=(0.0,)),
    )


def _marks(body: Mapping[str, Json], result: Mapping[str, Json]) -> tuple[Mark, ...]:
    letters = alarm_letters(result["alarms"])
    marks = [
        Mark(alarm["raised_s"] / 60, letters[alarm["id"]], f"{letters[alarm['id']]}: {alarm['kind']}")
        for alarm in result["alarms"]
        if alarm.get("raised_s") is not None
    ]
    marks += [
        Mark(deed.t / 60, deed.sign, f"{deed.sign}: {deed.kind}", action=True)
        for deed in deeds(body)
        if deed.t is not None
    ]
    return tuple(sorted(marks, key=lambda mark: mark.at))


def _spans(result: Mapping[str, Json]) -> tuple[Span, ...]:
    return tuple(
        Span(phase["start_s"] / 60, phase["end_s"] / 60, str(phase["phase"]))
        for phase in result.get("phases") or ()
        if phase.get("end_s") is not None and phase["end_s"] > phase["start_s"]
    )


def _over_time(trace: Trace, roles: Sequence[Role], unit: str) -> tuple[tuple[float, ...], tuple[Series, ...]]:
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
    return tuple((np.insert(times, breaks, middles) / 60).tolist()), tuple(series)


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


# -- through the thickness --


def profile_section(body: Mapping[str, Json], units: UnitSystem) -> Section:
    """Section ``profile``: cure and temperature by depth, for every stack, or why there is none."""
    charts = profile_charts(body, units)
    title = "Cure through the thickness"
    if not charts:
        why = "Not recorded: it was neither heated to the end nor released, or its layers are not known."
        return Section("profile", title, (Words(why),))
    return Section("profile", title, charts)


def profile_charts(
    body: Mapping[str, Json], units: UnitSystem, only: str | None = None, *, temperature: bool = True
) -> tuple[Chart, ...]:
    """A chart of the state of cure for each stack (or the one named `only`) and one of its temperature beside it."""
    kept = _mapping(body.get("profiles"))
    stacks: dict[str, dict[str, Mapping[str, Json]]] = {}
    for moment, _, _ in MOMENTS:
        for stack in kept.get(moment) or ():
            if only is None or stack["name"] == only:
                stacks.setdefault(str(stack["name"]), {})[moment] = stack
    charts = []
    for name, moments in stacks.items():
        charts.append(_cure_chart(name, moments, body))
        if temperature:
            charts.append(_heat_chart(name, moments, units))
    return tuple(charts)


def _layers(stack: Mapping[str, Json]) -> tuple[Span, ...]:
    return tuple(
        Span(layer["top_mm"], layer["bottom_mm"], str(layer["name"]), bool(layer["uncured"]))
        for layer in stack.get("layers") or ()
    )


def _by_depth(
    moments: Mapping[str, Mapping[str, Json]], key: str, convert: Callable[[float], float]
) -> tuple[tuple[float, ...], tuple[Series, ...]]:
    stacks = list(moments.values())
    depth = tuple(float(d) for d in stacks[0]["depth_mm"])
    series = tuple(
        Series(words, letter, tuple(None if v is None else convert(v) for v in moments[moment][key]))
        for moment, words, letter in MOMENTS
        if moment in moments and len(moments[moment][key]) == len(depth)
    )
    return depth, series


def _cure_chart(name: str, moments: Mapping[str, Mapping[str, Json]], body: Mapping[str, Json]) -> Chart:
    depth, series = _by_depth(moments, "state_of_cure", lambda v: 100.0 * v)
    limits = []
    required = _mapping(body.get("recipe")).get("required_cure")
    if required is not None:
        limits.append(("required", 100.0 * required))
    blow = [layer["compound"]["blow_point"] for layer in _stack_layers(body, name) if _judged(layer)]
    if blow:
        limits.append(("blow point", 100.0 * max(blow)))
    layers = _layers(next(iter(moments.values())))
    return Chart(f"Cure, {name}", "%", depth, series, tuple(limits), (), "mm", None, layers, (0.0, 100.0), True)


def _heat_chart(name: str, moments: Mapping[str, Mapping[str, Json]], units: UnitSystem) -> Chart:
    depth, series = _by_depth(moments, "temperature_degC", units.degrees)
    layers = _layers(next(iter(moments.values())))
    return Chart(f"Temperature, {name}", units.temperature_sign, depth, series, (), (), "mm", None, layers, (), True)


def _stack_layers(body: Mapping[str, Json], name: str) -> Sequence[Mapping[str, Json]]:
    stacks = _mapping(body.get("repair")).get("stacks") or ()
    return next((stack["layers"] for stack in stacks if stack.get("name") == name), ())


def _judged(layer: Mapping[str, Json]) -> bool:
    compound = layer.get("compound")
    return isinstance(compound, Mapping) and compound.get("blow_point") is not None

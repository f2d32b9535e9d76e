"""The curves of one cure as charts: temperature against its band, bag against its minimum. Pure: view in, cells out."""

from __future__ import annotations

import math
from collections.abc import Hashable
from datetime import tzinfo

import numpy as np

from press_monitor.quantities import UnitSystem
from press_monitor.readings.types import Role
from press_monitor.screens.reading import about_bag, minutes_left, speaks_for_itself, tone_of
from press_monitor.screens.source import PressView
from press_monitor.screens.widgets.canvas import Band, Chart, Curve, Guide, Mark, View
from press_monitor.screens.widgets.palette import Look
from press_monitor.screens.words import say_clock
from press_monitor.watch.types import Phase, Snapshot

__all__ = ["axis_end", "bag_chart", "moment_of", "span_of", "temperature_chart"]

_ROOM_TEMPERATURE = 15.0
_STEP_S = 5.0


def axis_end(snapshot: Snapshot) -> float:
    """Minutes at the right end of the time axis: a round number past the forecast end, so that it seldom moves."""
    now = snapshot.t / 60.0
    left = minutes_left(snapshot)
    running = snapshot.phase in (Phase.LOADED, Phase.HEAT_UP, Phase.HOLD)
    expected = now + (left if left is not None else 20.0) if running else now
    planned = (snapshot.heat_up_limit_s + snapshot.hold_needed_s) / 60.0
    wanted = max(expected * 1.05, planned if running else 0.0, now * 1.04, 10.0)
    step = 10.0 if wanted <= 120 else 30.0
    return math.ceil(wanted / step) * step


def span_of(snapshot: Snapshot, recent_min: float | None) -> tuple[float, float]:
    """The minutes of the cure at the left and the right end of its charts."""
    if recent_min is None:
        return 0.0, axis_end(snapshot)
    # In steps, so that the whole curve does not shift by a part of a dot each second.
    now = math.ceil((snapshot.t + 1.0) / _STEP_S) * _STEP_S / 60.0
    return max(0.0, now - recent_min), max(now, min(recent_min, 1.0))


def moment_of(view: PressView, snapshot: Snapshot, wide: int, tall: int, recent_min: float | None = None) -> Hashable:
    """What the charts of a press depend on, in dots: it changes when a chart of `wide` x `tall` dots would, or sooner.

    A curve is reduced to the least and the greatest value of each dot column, so a sample between them draws nothing.
    """
    x0, x1 = span_of(snapshot, recent_min)
    column = (x1 - x0) / max(1, wide)
    now = math.floor((snapshot.t / 60.0 - x0) / column)
    left = minutes_left(snapshot)
    end = (
        None if left is None else (math.floor((snapshot.t / 60.0 + left - x0) / column), round(view.utc / 60.0 + left))
    )
    reach: tuple[int, ...] = ()
    if view.trace is not None:
        newest = view.trace.since((x0 + now * column) * 60.0)
        if newest.shape[1]:
            steps = np.array([_step(role, snapshot, tall) for role in view.trace.order])[:, None]
            # Adding 0.0 makes a minus zero plain; a column without a value is told by a number no value comes to.
            some = np.nan_to_num(np.floor(newest / steps), nan=-1e6)
            reach = (*some.min(axis=1).astype(int).tolist(), *some.max(axis=1).astype(int).tolist())
    alarms = tuple((a.id, a.state, a.priority) for a in snapshot.alarms)
    limits = (snapshot.band_low_degC, snapshot.band_high_degC, snapshot.maximum_degC, snapshot.bag_minimum_Pa)
    begun = tuple(span.start_s for span in snapshot.phases)
    return (x0, x1, now, end, reach, alarms, limits, begun, snapshot.phase, recent_min)


def _step(role: Role, snapshot: Snapshot, tall: int) -> float:
    """About what one dot of height stands for, in the channel's SI unit."""
    if role in (Role.INNER_MAT, Role.OUTER_MAT):
        return (snapshot.maximum_degC - _ROOM_TEMPERATURE) / max(1, tall)
    if role is Role.BAG:
        return snapshot.bag_maximum_Pa / max(1, tall)
    return math.inf


def _marks(snapshot: Snapshot, look: Look, *, bag: bool | None) -> tuple[Mark, ...]:
    """Where root alarms began; `bag`: only those about the bag, only the others, or (None) all."""
    palette = look.palette
    return tuple(
        Mark(alarm.since_s / 60.0, look.signs.alarm, palette.tone(tone_of(alarm)) if alarm.standing else palette.dim)
        for alarm in snapshot.alarms
        if speaks_for_itself(alarm, snapshot) and bag in (None, about_bag(alarm.kind))
    )


def _curves(view: PressView, units: UnitSystem, look: Look) -> list[Curve]:
    trace, palette = view.trace, look.palette
    made: list[Curve] = []
    if trace is None or not len(trace):
        return made
    for role, ink, dashed in (
        (Role.OUTER_MAT, palette.outer, palette.dashed),
        (Role.INNER_MAT, palette.inner, False),
    ):
        for which in range(len(trace.roles.get(role, ()))):
            column = trace.column(role, which)
            if column is not None:
                shown = np.asarray(units.degrees(0.0) + column * (units.degrees(1.0) - units.degrees(0.0)))
                made.append(Curve(trace.times / 60.0, shown, ink, trace.gap / 60.0, dashed))
    return made


def bag_curve(
    view: PressView, units: UnitSystem, look: Look, y_view: tuple[float, float] | None = None
) -> tuple[Curve, ...]:
    """The bag's pressure in the shop's unit."""
    column = view.trace.column(Role.BAG) if view.trace is not None else None
    if view.trace is None or column is None or not len(view.trace):
        return ()
    return (
        Curve(
            view.trace.times / 60.0,
            column / (1.0 / units.pressed(1.0)),
            look.palette.bag,
            view.trace.gap / 60.0,
            look.palette.dashed,
            y_view,
        ),
    )


def temperature_chart(
    view: PressView,
    snapshot: Snapshot,
    units: UnitSystem,
    look: Look,
    *,
    axes: bool = True,
    bag_over: bool = False,
    bag_marks: bool = True,
    recent_min: float | None = None,
    zone: tzinfo | None = None,
    done_label: bool = False,
) -> Chart:
    """Both mats over the band they must keep, the present moment, the forecast end, and where alarms began.

    `bag_over` lays the bag's curve, on its own scale, over the lower half. `recent_min` shows only the last minutes.
    """
    palette = look.palette
    x0, x1 = span_of(snapshot, recent_min)
    low, high = units.degrees(snapshot.band_low_degC), units.degrees(snapshot.band_high_degC)
    curves = _curves(view, units, look)
    top = units.degrees(snapshot.maximum_degC)
    bottom = units.degrees(_ROOM_TEMPERATURE)
    if recent_min is not None:
        bottom = low - 2.5 * (high - low)
    for curve in curves:
        shown = curve.y[(curve.x >= x0) & np.isfinite(curve.y)]
        if shown.size:
            top = max(top, float(shown.max()))
            bottom = min(bottom, float(shown.min()))
    y_view = View(x0, x1, bottom - 0.02 * (top - bottom), top)
    start = next((s.start_s for s in snapshot.phases if s.phase is Phase.HEAT_UP), snapshot.t) / 60.0
    until = start + snapshot.heat_up_limit_s / 60.0
    # Anywhere in the tint is on time: below its rising edge the heat-up will be late.
    rise = ((start, bottom), (until, low)) if until > x0 else ((x0, low),)
    edge = [*rise, (max(x1, until + 1.0), low)]
    bands = (Band([x for x, _ in edge], [y for _, y in edge], [high] * len(edge), palette.band),)
    guides = [Guide(snapshot.t / 60.0, palette.guide)]
    left = minutes_left(snapshot)
    if left and snapshot.phase in (Phase.HEAT_UP, Phase.HOLD) and recent_min is None:
        label = f"done {say_clock(view.utc + left * 60.0, zone)}" if done_label else ""
        guides.append(Guide(snapshot.t / 60.0 + left, palette.cure, label=label))
    if bag_over:
        full = units.pressed(snapshot.bag_maximum_Pa)
        curves = [*bag_curve(view, units, look, (0.0, full / 0.55)), *curves]
    return Chart(
        y_view,
        bands=bands,
        guides=tuple(guides),
        curves=tuple(curves),
        marks=_marks(snapshot, look, bag=None if bag_marks else False),
        x_axis=axes,
        y_axis=5 if axes else 0,
        x_unit="min" if axes else "",
    )


def bag_chart(
    view: PressView,
    snapshot: Snapshot,
    units: UnitSystem,
    look: Look,
    *,
    axes: bool = True,
    recent_min: float | None = None,
    strip: bool = False,
) -> Chart:
    """The bag's pressure between its limits; the minimum as a dotted line. `strip`: a few rows, so nearer."""
    palette = look.palette
    x0, x1 = span_of(snapshot, recent_min)
    minimum, maximum = units.pressed(snapshot.bag_minimum_Pa), units.pressed(snapshot.bag_maximum_Pa)
    curves = bag_curve(view, units, look)
    top, bottom = maximum * 1.05, 0.0
    if recent_min is not None or strip:
        bottom = minimum * 0.55
    for curve in curves:
        shown = curve.y[(curve.x >= x0) & np.isfinite(curve.y)]
        if shown.size:
            top = max(top, float(shown.max()))
    y_view = View(x0, x1, bottom, top)
    return Chart(
        y_view,
        bands=(Band((x0, x1), (minimum, minimum), (maximum, maximum), palette.band),),
        guides=(
            Guide(snapshot.t / 60.0, palette.guide),
            Guide(minimum, palette.guide, vertical=False, dense=True),
        ),
        curves=curves,
        marks=_marks(snapshot, look, bag=True),
        x_axis=axes,
        y_axis=5 if axes else 0,
        x_unit="min" if axes else "",
        y_ticks=(minimum,) if strip else None,
    )

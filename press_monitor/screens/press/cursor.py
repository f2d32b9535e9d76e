"""What every channel read at one moment of the cure, and how far the deepest rubber was."""

from __future__ import annotations

import math
from contextlib import suppress

import numpy as np

from press_monitor.quantities import UnitSystem, from_si
from press_monitor.readings.types import Role, role_of
from press_monitor.screens.charts import span_of
from press_monitor.screens.press.past import CurePast
from press_monitor.screens.source import PressView
from press_monitor.screens.widgets.cells import Cells, plain
from press_monitor.screens.widgets.palette import Look
from press_monitor.screens.words import PHASE_WORDS
from press_monitor.watch.types import Snapshot

__all__ = ["column_of", "cure_words", "lay_cursor", "phase_words", "step_of", "value_words"]

_AXIS = 5
"""Cells left of a chart's plot."""


def step_of(snapshot: Snapshot, width: int, recent_min: float | None) -> float:
    """Minutes that one cell of a chart `width` cells wide stands for."""
    x0, x1 = span_of(snapshot, recent_min)
    return (x1 - x0) / max(1, width - _AXIS)


def column_of(snapshot: Snapshot, minute: float, width: int, recent_min: float | None) -> int | None:
    """The chart's column that shows a minute; None where it lies outside."""
    x0, x1 = span_of(snapshot, recent_min)
    column = math.floor((minute - x0) / (x1 - x0) * (width - _AXIS))
    return _AXIS + column if 0 <= column < width - _AXIS else None


def lay_cursor(cells: Cells, column: int | None, look: Look) -> None:
    """A line down a panel's chart, behind its curves; the heading and the time axis stay."""
    if column is None or not 0 <= column < cells.width or cells.height < 3:
        return
    rows = slice(1, cells.height - 1)
    free = cells.glyph[rows, column] == " "
    cells.glyph[rows, column][free] = look.signs.mark
    cells.ink[rows, column][free] = look.palette.text
    cells.ground[rows, column] = look.palette.track


def value_words(view: PressView, units: UnitSystem, minute: float) -> list[tuple[str, str]]:
    """Each channel's name and its value at a minute of the cure, with its unit; ``--`` where it had none."""
    trace = view.trace
    if trace is None or not len(trace):
        return []
    row = int(np.clip(np.searchsorted(trace.times, minute * 60.0, side="right") - 1, 0, len(trace) - 1))
    # Beyond a gap's length nothing was read at that moment.
    there = abs(float(trace.times[row]) - minute * 60.0) <= max(trace.gap, 2.0)
    words = []
    for n, channel in enumerate(trace.start.channels):
        value = float(trace.row(row)[n]) if there else math.nan
        words.append((_name(channel.name), _say(role_of(channel.name), value, channel.unit, units)))
    return words


def _name(channel: str) -> str:
    short = channel.replace("_mat", "").replace("_", " ").replace(".", " ")
    return plain(short)


def _say(role: Role, value: float, unit: str, units: UnitSystem) -> str:
    if not math.isfinite(value):
        return "--"
    if role in (Role.INNER_MAT, Role.OUTER_MAT, Role.AIR, Role.BURIED):
        return units.say_temperature(value)
    if role in (Role.BAG, Role.RAM):
        return units.say_pressure(value)
    with suppress(ValueError):
        value = from_si(value, unit)
    return f"{value:.4g} {unit}"


def cure_words(view: PressView, past: CurePast | None, minute: float) -> str:
    """How far the deepest rubber was: the watch's own figure for now, the model run again for what lies behind."""
    snapshot = view.snapshot
    if snapshot is None or snapshot.deepest is None:
        return "cure not judged"
    point = snapshot.deepest
    if minute * 60.0 >= snapshot.t - 30.0:
        states, about = (point.state_of_cure, point.state_of_cure_low, point.state_of_cure_high), ""
    else:
        found = past.at(minute * 60.0) if past is not None else None
        if found is None:
            worked = past is not None and past.known
            return "deepest rubber: being worked out" if worked else "deepest rubber: known for now only"
        states, about = found, "about "
    return f"deepest rubber {about}{100 * states[0]:.0f} % ({100 * states[1]:.0f}-{100 * states[2]:.0f})"


def phase_words(snapshot: Snapshot, minute: float) -> str:
    """The phase at a minute."""
    t = minute * 60.0
    spans = [s for s in snapshot.phases if s.start_s <= t and (s.end_s is None or t < s.end_s)]
    return PHASE_WORDS[spans[-1].phase].lower() if spans else ""

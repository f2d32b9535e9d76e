"""A chart in plain letters, for text that any printer and any terminal can show."""

from __future__ import annotations

import math
from collections.abc import Sequence

from press_monitor.certificate.letters import cells, cut
from press_monitor.certificate.model import Chart, Series
from press_monitor.certificate.scale import axis, level_range, round_step

__all__ = ["draw"]

AXIS = 7
BOTH = "#"
LIMIT = "."
MANY = "+"
"""Stands for two marks in one column, and for a mark whose sign has more than one letter."""


def draw(chart: Chart, width: int = 78, height: int = 14) -> list[str]:
    """Lines of at most `width` columns: the plot, its axis, the marks and a legend.

    A column holds every value that fell into it, lowest to highest, so that a spike of one reading is seen.
    """
    present = any(v is not None for series in chart.series for v in series.values)
    if not present or len(chart.x) < 2 or chart.x[-1] <= chart.x[0]:
        return [f"{cut(chart.title, width - 20)}: nothing was read"]
    low, high = _scale(*level_range(chart), height)
    across = width - AXIS - 1
    grid = [[" "] * across for _ in range(height)]

    def row_of(value: float) -> int:
        return min(height - 1, max(0, round((high - value) / (high - low) * (height - 1))))

    for level in (*(chart.band or ()), *(level for _, level in chart.limits)):
        for column in range(0, across, 2):
            grid[row_of(level)][column] = LIMIT
    for series in chart.series:
        for column, span in enumerate(_filled(chart.x, series, across)):
            if span is None:
                continue
            for row in range(row_of(span[1]), row_of(span[0]) + 1):
                there = grid[row][column]
                taken = there not in (" ", LIMIT, series.letter)
                grid[row][column] = BOTH if taken else series.letter
    labelled = {row_of(value): value for value in axis(low, high, max(2, height // 3))}
    lines = [f"{cut(chart.title, width - 10)}, {chart.unit}"]
    for number, letters in enumerate(grid):
        label = _label(labelled[number]) if number in labelled else ""
        lines.append(f"{label:>{AXIS - 1}} |{''.join(letters)}".rstrip())
    lines.append(" " * AXIS + "+" + "-" * across)
    lines.append(_x_axis(chart, across))
    lines.extend(_spans(chart, across))
    for action, name in ((False, "alarms"), (True, "people")):
        if any(mark.action is action for mark in chart.marks):
            lines.append(_marks(chart, across, action, name))
    lines.extend(_legend(chart, width))
    return lines


def _label(value: float) -> str:
    text = f"{value:g}"
    return text if len(text) < AXIS else f"{value:.0e}"


def _scale(low: float, high: float, height: int) -> tuple[float, float]:
    """Limits on half steps of the labels that hold every value."""
    half = round_step(high - low, max(2, height // 3)) / 2
    return math.floor(low / half) * half, math.ceil(high / half) * half


def _column(chart: Chart, at: float, across: int) -> int:
    share = (at - chart.x[0]) / (chart.x[-1] - chart.x[0])
    return min(across - 1, max(0, int(share * across)))


def _filled(along: Sequence[float], series: Series, across: int) -> list[tuple[float, float] | None]:
    """Lowest and highest value a column, joined to the column before where readings followed one another."""
    start, length = along[0], along[-1] - along[0]
    spans: list[tuple[float, float] | None] = [None] * across
    before: tuple[int, float] | None = None
    for at, value in zip(along, series.values, strict=True):
        if value is None:
            before = None
            continue
        column = min(across - 1, int((at - start) / length * across))
        lowest = highest = value
        if before is not None and before[0] == column - 1:
            middle = (before[1] + value) / 2
            lowest, highest = min(value, middle), max(value, middle)
        known = spans[column]
        spans[column] = (lowest, highest) if known is None else (min(known[0], lowest), max(known[1], highest))
        if before is not None and before[0] < column - 1:
            # Rows further apart than a column: the straight line between them.
            for between in range(before[0] + 1, column):
                share = (between - before[0]) / (column - before[0])
                point = before[1] + share * (value - before[1])
                spans[between] = (point, point)
        before = (column, value)
    return spans


def _x_axis(chart: Chart, across: int) -> str:
    start, end = chart.x[0], chart.x[-1]
    line = [" "] * (across + 1)
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        at = start + share * (end - start)
        text = f"{at:.0f}" if end - start >= 20 else f"{at:.1f}"
        if share == 1.0:
            text += f" {chart.x_unit}"
        place = min(across + 1 - len(text), max(0, round(share * across) - len(text) // 2))
        line[place : place + len(text)] = text
    return " " * AXIS + "".join(line).rstrip()


def _spans(chart: Chart, across: int) -> list[str]:
    """The names of phases or layers under the stretches they cover; shortened where they are narrow."""
    line = ""
    for span in chart.spans:
        first, last = _column(chart, span.start, across), _column(chart, span.end, across)
        if last - first < 2 or cells(line) > first:
            continue
        line += " " * (first - cells(line)) + "|" + cut(span.name, last - first - 1)
    return [" " * (AXIS + 1) + line] if line else []


def _marks(chart: Chart, across: int, action: bool, name: str) -> str:
    line = [" "] * across
    for mark in chart.marks:
        if mark.action is action:
            column = _column(chart, mark.at, across)
            line[column] = mark.letter if line[column] == " " and len(mark.letter) == 1 else MANY
    return f"{name:>{AXIS}} " + "".join(line).rstrip()


def _legend(chart: Chart, width: int) -> list[str]:
    room = width - AXIS - 1
    parts = [f"{series.letter} {cut(series.name, room - 2)}" for series in chart.series]
    if len(chart.series) > 1:
        parts.append(f"{BOTH} together")
    if chart.band is not None:
        parts.append(f"{LIMIT} band {chart.band[0]:.4g} to {chart.band[1]:.4g}")
    parts.extend(f"{LIMIT} {name} {level:.4g}" for name, level in chart.limits)
    lines, line = [], ""
    for part in parts:
        if line and cells(line) + 3 + cells(part) > room:
            lines.append(" " * (AXIS + 1) + line)
            line = ""
        line = f"{line}   {part}" if line else part
    return [*lines, " " * (AXIS + 1) + line]

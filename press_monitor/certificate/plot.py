"""A chart in plain letters, for text that any printer and any terminal can show."""

from __future__ import annotations

import math
from collections.abc import Sequence

from press_monitor.certificate.model import Chart, Series

__all__ = ["draw"]

AXIS = 7
BOTH = "#"
LIMIT = "."


def draw(chart: Chart, width: int = 78, height: int = 14) -> list[str]:
    """Lines of at most `width` columns: the plot, the time axis, the marks and a legend.

    A column holds every value that fell into it, lowest to highest, so that a spike of one reading is seen.
    """
    present = [v for series in chart.series for v in series.values if v is not None]
    if not present or len(chart.minutes) < 2:
        return [f"{chart.title}: nothing was read"]
    low, high, step = _scale([*present, *(level for _, level in chart.limits)], height)
    across = width - AXIS - 1
    grid = [[" "] * across for _ in range(height)]

    def row_of(value: float) -> int:
        return min(height - 1, max(0, round((high - value) / (high - low) * (height - 1))))

    for _, level in chart.limits:
        for column in range(0, across, 2):
            grid[row_of(level)][column] = LIMIT
    for series in chart.series:
        for column, span in enumerate(_spans(chart.minutes, series, across)):
            if span is None:
                continue
            for row in range(row_of(span[1]), row_of(span[0]) + 1):
                there = grid[row][column]
                taken = there not in (" ", LIMIT, series.letter)
                grid[row][column] = BOTH if taken else series.letter
    first = math.ceil(low / step - 1e-9)
    labelled = {row_of(step * i): step * i for i in range(first, math.floor(high / step + 1e-9) + 1)}
    lines = [f"{chart.title}, {chart.unit}"]
    for number, cells in enumerate(grid):
        label = _label(labelled[number]) if number in labelled else ""
        lines.append(f"{label:>{AXIS - 1}} |{''.join(cells)}".rstrip())
    lines.append(" " * AXIS + "+" + "-" * across)
    lines.append(_time_axis(chart.minutes, across))
    if chart.marks:
        lines.append(_marks(chart, across))
    lines.extend(_legend(chart, width))
    return lines


def _label(value: float) -> str:
    text = f"{value:g}"
    return text if len(text) < AXIS else f"{value:.0e}"


def _scale(values: Sequence[float], height: int) -> tuple[float, float, float]:
    """Limits on half steps that hold every value, and the round step between labels."""
    low, high = min(values), max(values)
    if high - low < 1e-9:
        low, high = low - 1.0, high + 1.0
    rough = (high - low) / max(2, height // 3)
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * m for m in (1, 2, 5, 10) if power * m >= rough * (1 - 1e-9))
    half = step / 2
    return math.floor(low / half) * half, math.ceil(high / half) * half, step


def _spans(minutes: Sequence[float], series: Series, across: int) -> list[tuple[float, float] | None]:
    """Lowest and highest value a column, joined to the column before where readings followed one another."""
    start, length = minutes[0], minutes[-1] - minutes[0]
    spans: list[tuple[float, float] | None] = [None] * across
    before: tuple[int, float] | None = None
    for at, value in zip(minutes, series.values, strict=True):
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


def _time_axis(minutes: Sequence[float], across: int) -> str:
    start, end = minutes[0], minutes[-1]
    line = [" "] * (across + 1)
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        at = start + share * (end - start)
        text = f"{at:.0f}" if end - start >= 20 else f"{at:.1f}"
        if share == 1.0:
            text += " min"
        place = min(across + 1 - len(text), max(0, round(share * across) - len(text) // 2))
        line[place : place + len(text)] = text
    return " " * AXIS + "".join(line).rstrip()


def _marks(chart: Chart, across: int) -> str:
    start, length = chart.minutes[0], chart.minutes[-1] - chart.minutes[0]
    line = [" "] * (across + 1)
    for mark in chart.marks:
        column = 1 + min(across - 1, max(0, int((mark.minutes - start) / length * across)))
        line[column] = mark.letter if line[column] == " " else "+"
    return " " * AXIS + "".join(line).rstrip()


def _legend(chart: Chart, width: int) -> list[str]:
    parts = [f"{series.letter} {series.name}" for series in chart.series]
    if len(chart.series) > 1:
        parts.append(f"{BOTH} together")
    parts.extend(f"{LIMIT} {name} {level:.4g}" for name, level in chart.limits)
    lines, line = [], ""
    for part in parts:
        if line and len(line) + 3 + len(part) > width - AXIS - 1:
            lines.append(" " * (AXIS + 1) + line)
            line = ""
        line = f"{line}   {part}" if line else part
    return [*lines, " " * (AXIS + 1) + line]

"""Round numbers for axes, and a curve thinned to what a width can show. Used by every form of a chart."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from press_monitor.certificate.model import Chart

__all__ = ["axis", "columns_of", "level_range", "round_step", "strokes"]

Ints = NDArray[np.int64]
Points = list[tuple[float, float]]


def round_step(length: float, most: int) -> float:
    """The smallest of 1, 2, 5 times a power of ten that makes at most `most` steps in `length`."""
    rough = length / max(1, most)
    power = 10.0 ** math.floor(math.log10(rough))
    return next(power * m for m in (1, 2, 5, 10) if power * m >= rough * (1 - 1e-9))


def axis(low: float, high: float, most: int) -> list[float]:
    """Round numbers from `low` to `high`, about `most` of them at the most."""
    step = round_step(high - low, most)
    first = math.ceil(low / step - 1e-9)
    return [step * i for i in range(first, math.floor(high / step + 1e-9) + 1)]


def level_range(chart: Chart) -> tuple[float, float]:
    """Lowest and highest level that a chart must show; two different ones, also for a flat curve."""
    levels = [v for series in chart.series for v in series.values if v is not None]
    levels += [level for _, level in chart.limits]
    levels += [*(chart.band or ()), *chart.reach]
    low, high = (min(levels), max(levels)) if levels else (0.0, 1.0)
    return (low - 1.0, high + 1.0) if high - low < 1e-9 else (low, high)


def columns_of(x: Sequence[float], columns: int) -> Ints:
    """Which of `columns` equal parts of the axis each point falls into: int64 (n,)."""
    at = np.asarray(x, np.float64)
    length = at[-1] - at[0]
    shares: Ints = np.minimum(columns - 1, ((at - at[0]) / length * columns).astype(np.int64))
    return shares


def strokes(chart: Chart, columns: int) -> list[list[Points]]:
    """For each series its unbroken stretches as points, all of them points of the series.

    Where there are more than four points a column of the width, each column keeps its first, lowest, highest and last,
    so that a spike of one reading is drawn however long the cure was.
    """
    if len(chart.x) < 2:
        return [[] for _ in chart.series]
    x = np.asarray(chart.x, np.float64)
    column = columns_of(chart.x, columns)
    made: list[list[Points]] = []
    for series in chart.series:
        y = np.array([math.nan if v is None else v for v in series.values], np.float64)
        known = np.flatnonzero(~np.isnan(y))
        stretches = np.split(known, np.flatnonzero(np.diff(known) > 1) + 1) if known.size else []
        made.append([[(float(x[i]), float(y[i])) for i in _thinned(stretch, y, column)] for stretch in stretches])
    return made


def _thinned(stretch: Ints, y: NDArray[np.float64], column: Ints) -> Ints:
    held = column[stretch]
    starts = np.flatnonzero(np.concatenate(([True], held[1:] != held[:-1])))
    if len(stretch) <= 4 * len(starts):
        return stretch
    ends = np.append(starts[1:], len(stretch))
    # Sorted by level inside each column, the first of a column is its lowest and the last its highest.
    order = np.lexsort((y[stretch], held))
    return np.unique(
        np.concatenate((stretch[starts], stretch[ends - 1], stretch[order[starts]], stretch[order[ends - 1]]))
    )

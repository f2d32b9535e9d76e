"""One cure beside comparable good ones: figures and curves, each with the band that the good ones make.

Comparable: the same recipe, the same thickness within a tenth, watched in the same way. Good: judged ``pass`` or
``exceptions`` and not come back with a fault. The newest count, up to `MOST`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from press_monitor.archive import ArchiveError, ArchiveReader, CertificateRow, Json, Trace
from press_monitor.archive.entries import NEW_INJURY
from press_monitor.quantities import to_si
from press_monitor.readings import Role, role_of

__all__ = ["MOST", "BandCurve", "BandFigure", "Comparison", "comparable", "compare"]

MOST = 40
FEWEST = 5
"""Below this many good cures a band says next to nothing, and that is said."""

ENOUGH = 20
"""From this many on the band runs from the 5th to the 95th percentile; below, from the lowest to the highest."""

POINTS = 120
_THICKNESS = 0.1
_RUN_S = 300.0
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class BandFigure:
    """A figure of this cure and of the good ones: their band and median. None where it has none."""

    name: str
    unit: str
    value: float | None
    low: float | None
    median: float | None
    high: float | None
    n: int

    @property
    def outside(self) -> bool:
        """Whether it lies outside the band."""
        if self.value is None or self.low is None or self.high is None:
            return False
        return not self.low <= self.value <= self.high

    def to_json(self) -> dict[str, Json]:
        """Every key, always."""
        return {**asdict(self), "outside": self.outside}


@dataclass(frozen=True, slots=True)
class BandCurve:
    """A curve over the time since the cure began, and the band of the good ones, None where there is none.

    `times_min` are common to all; `outside_min` are the spans of five minutes and more outside the band.
    """

    name: str
    unit: str
    times_min: tuple[float, ...]
    value: tuple[float | None, ...]
    low: tuple[float | None, ...]
    median: tuple[float | None, ...]
    high: tuple[float | None, ...]
    outside_min: tuple[tuple[float, float, str], ...]

    def to_json(self) -> dict[str, Json]:
        """Every key, always."""
        return {
            **asdict(self),
            "outside_min": [{"from": a, "to": b, "side": side} for a, b, side in self.outside_min],
        }


@dataclass(frozen=True, slots=True)
class Comparison:
    """A cure beside its like. `good`: numbers of those it was compared with."""

    certificate: int
    good: tuple[int, ...]
    figures: tuple[BandFigure, ...]
    curves: tuple[BandCurve, ...]
    note: str
    """What the number of good cures allows to be said."""

    def to_json(self) -> dict[str, Json]:
        """Every key, always."""
        return {
            "certificate": self.certificate,
            "good": list(self.good),
            "figures": [figure.to_json() for figure in self.figures],
            "curves": [curve.to_json() for curve in self.curves],
            "note": self.note,
        }


def comparable(reader: ArchiveReader, row: CertificateRow, most: int = MOST) -> tuple[CertificateRow, ...]:
    """The newest good cures like this one."""
    thickness = row.thickness_mm
    wide = "" if thickness is None else " AND thickness_mm BETWEEN ? AND ?"
    limits = () if thickness is None else (thickness * (1 - _THICKNESS), thickness * (1 + _THICKNESS))
    found = reader.query(
        "SELECT number FROM certificate WHERE recipe = ? AND source = ? AND number <> ?"
        " AND verdict IN ('pass', 'exceptions') AND (comeback IS NULL OR comeback = ?)"
        f"{wide} ORDER BY number DESC LIMIT ?",
        (row.recipe, row.source, row.number, NEW_INJURY, *limits, most),
    )
    rows = (reader.records(number=number) for (number,) in found)
    return tuple(each[0] for each in rows if each)


def compare(reader: ArchiveReader, number: int, most: int = MOST) -> Comparison:
    """A certificate's cure beside comparable good ones. Raises `ArchiveError` for a certificate that is not there."""
    found = reader.records(number=number)
    if not found:
        raise ArchiveError(f"there is no certificate {number}")
    good = comparable(reader, found[0], most)
    mine = _cure(reader, number)
    others = [cure for row in good if (cure := _cure(reader, row.number)) is not None]
    if mine is None:
        raise ArchiveError(f"the readings of certificate {number} cannot be read; run verify")
    figures = tuple(_figure(name, unit, mine, others, read) for name, unit, read in _FIGURES)
    return Comparison(number, tuple(row.number for row in good), figures, _curves(mine, others), _note(len(others)))


def _note(count: int) -> str:
    if count == 0:
        return "no comparable good cure is on record: there is nothing to compare with"
    if count < FEWEST:
        return f"only {count} comparable good cure{'s' if count > 1 else ''} on record: the band says little"
    if count < ENOUGH:
        return f"{count} comparable good cures: the band runs from the lowest to the highest of them"
    return f"{count} comparable good cures: the band holds nine in ten of them"


@dataclass(frozen=True, slots=True)
class _Cure:
    """A cure's result as it stands and its rows in SI, on the axis of its first row."""

    result: Mapping[str, Json]
    t: Floats
    mats: dict[str, Floats]
    bag: Floats | None

    @property
    def lower_mat(self) -> Floats | None:
        """The cooler of the mats at each row."""
        return _lowest(list(self.mats.values()))


def _lowest(columns: Sequence[Floats]) -> Floats | None:
    if not columns:
        return None
    stacked = np.stack(columns)
    lowest: Floats = np.where(
        np.isnan(stacked).all(axis=0), np.nan, np.nanmin(np.where(np.isnan(stacked), np.inf, stacked), axis=0)
    )
    return lowest


def _cure(reader: ArchiveReader, number: int) -> _Cure | None:
    from press_monitor.archive.derived import as_it_stands

    record = reader.record(number)
    try:
        trace = reader.trace(number)
    except ArchiveError:
        return None
    _, result = as_it_stands(record.sealed.content, [entry.content for entry in record.later])
    times = trace.times
    return _Cure(
        result,
        times - times[0] if len(times) else times,
        {
            c.name: _si(trace, c.name, c.unit)
            for c in trace.channels
            if role_of(c.name) in (Role.INNER_MAT, Role.OUTER_MAT)
        },
        next((_si(trace, c.name, c.unit) for c in trace.channels if role_of(c.name) is Role.BAG), None),
    )


def _si(trace: Trace, name: str, unit: str) -> Floats:
    column = trace.column(name)
    zero, one = to_si(0.0, unit), to_si(1.0, unit)
    return column * (one - zero) + zero


def _phase(cure: _Cure, name: str) -> tuple[float, float] | None:
    """From when to when a phase lasted, s."""
    for span in cure.result.get("phases") or ():
        if isinstance(span, Mapping) and span.get("phase") == name and span.get("end_s") is not None:
            return float(span["start_s"]), float(span["end_s"])
    return None


def _during(cure: _Cure, column: Floats | None, phases: Sequence[str]) -> Floats:
    """A column's values during phases; empty without them."""
    if column is None:
        return np.empty(0)
    spans = [span for name in phases if (span := _phase(cure, name)) is not None]
    inside = np.zeros(len(cure.t), np.bool_)
    for start, end in spans:
        inside |= (cure.t >= start) & (cure.t <= end)
    values = column[inside]
    return values[~np.isnan(values)]


def _minutes(name: str) -> Callable[[_Cure], float | None]:
    def read(cure: _Cure) -> float | None:
        span = _phase(cure, name)
        return None if span is None else (span[1] - span[0]) / 60.0

    return read


def _told(*path: str, scale: float = 1.0) -> Callable[[_Cure], float | None]:
    def read(cure: _Cure) -> float | None:
        value: Any = cure.result
        for key in path:
            value = value.get(key) if isinstance(value, Mapping) else None
        return scale * float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None

    return read


def _of(kind: str, phases: Sequence[str], how: Callable[[Floats], Any]) -> Callable[[_Cure], float | None]:
    def read(cure: _Cure) -> float | None:
        values = _during(cure, cure.bag if kind == "bag" else cure.lower_mat, phases)
        return float(how(values)) if len(values) else None

    return read


def _apart(cure: _Cure) -> float | None:
    """How far two mats lay apart on the mean of the hold, K."""
    means = [float(np.mean(v)) for c in cure.mats.values() if len(v := _during(cure, c, ("hold",)))]
    return max(means) - min(means) if len(means) > 1 else None


def _alarm_count(cure: _Cure) -> float:
    return float(len(cure.result.get("alarms") or ()))


_HEATED = ("heat-up", "hold")
_FIGURES: tuple[tuple[str, str, Callable[[_Cure], float | None]], ...] = (
    ("heat-up", "min", _minutes("heat-up")),
    ("hold clock", "min", _told("hold_min")),
    ("cool-down", "min", _minutes("cool-down")),
    ("cooler mat in the hold, mean", "degC", _of("mat", ("hold",), np.mean)),
    ("cooler mat in the hold, lowest", "degC", _of("mat", ("hold",), np.min)),
    ("mats apart in the hold", "K", _apart),
    ("bag while heated, mean", "Pa", _of("bag", _HEATED, np.mean)),
    ("bag while heated, lowest", "Pa", _of("bag", _HEATED, np.min)),
    ("deepest state of cure", "share", _told("cure", "deepest", "state_of_cure")),
    ("deepest state of cure, lower edge", "share", _told("cure", "deepest", "state_of_cure_low")),
    ("hottest rubber peaked at", "degC", _told("cure", "hottest", "peak_degC")),
    ("worst vapour margin", "Pa", _told("cure", "worst_vapour_margin_kPa", scale=1000.0)),
    ("set without pressure", "share", _told("cure", "set_without_pressure")),
    ("alarms", "count", _alarm_count),
)


def _band(values: Floats) -> tuple[float, float, float]:
    low, high = (5.0, 95.0) if len(values) >= ENOUGH else (0.0, 100.0)
    found = np.percentile(values, (low, 50.0, high))
    return float(found[0]), float(found[1]), float(found[2])


def _figure(
    name: str, unit: str, mine: _Cure, others: Sequence[_Cure], read: Callable[[_Cure], float | None]
) -> BandFigure:
    values = np.array([value for cure in others if (value := read(cure)) is not None], np.float64)
    if not len(values):
        return BandFigure(name, unit, read(mine), None, None, None, 0)
    low, median, high = _band(values)
    return BandFigure(name, unit, read(mine), low, median, high, len(values))


def _curves(mine: _Cure, others: Sequence[_Cure]) -> tuple[BandCurve, ...]:
    if not len(mine.t):
        return ()
    grid = np.linspace(0.0, float(mine.t[-1]), POINTS)
    found = []
    for name, column in mine.mats.items():
        like = [_sampled(cure.t, cure.mats[name], grid) for cure in others if name in cure.mats]
        found.append(_curve(name, "degC", grid, _sampled(mine.t, column, grid), like))
    if mine.bag is not None:
        like = [_sampled(cure.t, cure.bag, grid) for cure in others if cure.bag is not None]
        found.append(_curve("bag", "Pa", grid, _sampled(mine.t, mine.bag, grid), like))
    return tuple(found)


def _sampled(t: Floats, column: Floats, grid: Floats) -> Floats:
    """A column at the grid's times, nan past its end and inside its gaps."""
    there = ~np.isnan(column)
    if not there.any():
        return np.full(len(grid), np.nan)
    values: Floats = np.interp(grid, t[there], column[there], left=np.nan, right=np.nan)
    nearest = np.searchsorted(t[there], grid)
    left, right = t[there][np.maximum(nearest - 1, 0)], t[there][np.minimum(nearest, there.sum() - 1)]
    return np.where(right - left > 60.0, np.nan, values)


def _curve(name: str, unit: str, grid: Floats, mine: Floats, like: Sequence[Floats]) -> BandCurve:
    low, median, high = (np.full(len(grid), np.nan) for _ in range(3))
    if like:
        stacked = np.stack(like)
        for k in range(len(grid)):
            values = stacked[~np.isnan(stacked[:, k]), k]
            if len(values):
                low[k], median[k], high[k] = _band(values)
    return BandCurve(
        name,
        unit,
        tuple(float(t) / 60.0 for t in grid),
        _plain(mine),
        _plain(low),
        _plain(median),
        _plain(high),
        _outside(grid, mine, low, high),
    )


def _plain(values: Floats) -> tuple[float | None, ...]:
    return tuple(None if np.isnan(v) else float(v) for v in values)


def _outside(grid: Floats, mine: Floats, low: Floats, high: Floats) -> tuple[tuple[float, float, str], ...]:
    spans: list[tuple[float, float, str]] = []
    with np.errstate(invalid="ignore"):
        sides = np.where(mine < low, -1, np.where(mine > high, 1, 0))
    start = 0
    for k in range(1, len(grid) + 1):
        if k == len(grid) or sides[k] != sides[start]:
            end = k - 1
            if sides[start] and grid[end] - grid[start] >= _RUN_S:
                spans.append(
                    (float(grid[start]) / 60.0, float(grid[end]) / 60.0, "below" if sides[start] < 0 else "above")
                )
            start = k
    return tuple(spans)

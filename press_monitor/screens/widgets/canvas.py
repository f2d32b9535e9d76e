"""Charts in character cells: curves as braille dots, half blocks or ASCII, over tinted bands. Arrays in, cells out.

A curve of any length costs one numpy pass: its samples are reduced to the smallest and largest value of each dot
column, so a one-second spike stays visible. Columns without a sample are bridged only between samples closer than
the curve's `gap`; a longer silence, or a nan, leaves the chart blank.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from press_monitor.screens.widgets.cells import Cells, width_of
from press_monitor.screens.widgets.palette import Look, Marker

__all__ = [
    "Band",
    "Chart",
    "Curve",
    "Guide",
    "Mark",
    "View",
    "columns",
    "dots_across",
    "dots_of",
    "draw_chart",
    "ticks",
]

Floats = NDArray[np.float64]
Bits = NDArray[np.bool_]

_DOTS = {Marker.BRAILLE: (2, 4), Marker.BLOCKS: (1, 2), Marker.ASCII: (1, 2)}
_BRAILLE = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))
_BRAILLE_GLYPHS = np.array([chr(0x2800 + n) for n in range(256)], dtype="<U1")
_BLOCK_GLYPHS = np.array([" ", "▀", "▄", "█"], dtype="<U1")
_ASCII_GLYPHS = np.array([" ", "'", ".", ":"], dtype="<U1")
_GLYPHS = {Marker.BRAILLE: _BRAILLE_GLYPHS, Marker.BLOCKS: _BLOCK_GLYPHS, Marker.ASCII: _ASCII_GLYPHS}


@dataclass(frozen=True, slots=True)
class View:
    """What part of the plane is shown: x from x0 to x1 left to right, y from y0 to y1 upwards."""

    x0: float
    x1: float
    y0: float
    y1: float


@dataclass(frozen=True, slots=True)
class Curve:
    """Samples in rising x. Values that are not finite break it. `y_view` gives it a scale of its own."""

    x: Floats
    y: Floats
    ink: int
    gap: float
    dashed: bool = False
    y_view: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Band:
    """A tinted ground between two edges given at rising x."""

    x: Sequence[float]
    low: Sequence[float]
    high: Sequence[float]
    ground: int


@dataclass(frozen=True, slots=True)
class Guide:
    """A thin dotted line across the chart, with an optional label at its end (top of a vertical one)."""

    at: float
    ink: int
    vertical: bool = True
    label: str = ""
    dense: bool = False


@dataclass(frozen=True, slots=True)
class Mark:
    """A sign on the bottom row at x."""

    x: float
    glyph: str
    ink: int


@dataclass(frozen=True, slots=True)
class Chart:
    """All of one chart, back to front."""

    view: View
    bands: tuple[Band, ...] = ()
    guides: tuple[Guide, ...] = ()
    curves: tuple[Curve, ...] = ()
    marks: tuple[Mark, ...] = ()
    x_axis: bool = False
    y_axis: int = 0
    """Cells kept at the left for y labels; 0 = none."""
    x_unit: str = ""
    y_ticks: tuple[float, ...] | None = None
    """Values to label instead of round ones."""


def dots_across(marker: Marker) -> tuple[int, int]:
    """Dots of a cell, across and down."""
    return _DOTS[marker]


def ticks(low: float, high: float, most: int) -> list[float]:
    """Round values (steps of 1, 2 or 5 times a power of ten) within low to high, at most `most` of them."""
    if most < 1 or not high > low:
        return []
    step = 10.0 ** np.floor(np.log10((high - low) / most))
    for factor in (1, 2, 5, 10, 20, 50):
        first = np.ceil(low / (step * factor) - 1e-9)
        last = np.floor(high / (step * factor) + 1e-9)
        if last - first + 1 <= most:
            return [float(n * step * factor) + 0.0 for n in np.arange(first, last + 1)]
    return []


def columns(curve: Curve, view: View, count: int) -> tuple[Floats, Floats]:
    """The smallest and largest value of `curve` in each of `count` columns of the view, nan where it is silent.

    Neighbouring columns are stretched to meet each other, unless a break lies between them.
    """
    low = np.full(count, np.nan)
    high = np.full(count, np.nan)
    good = np.flatnonzero(np.isfinite(curve.y) & np.isfinite(curve.x))
    if not good.size or count < 1 or not view.x1 > view.x0:
        return low, high
    x, y = curve.x[good], curve.y[good]
    column = np.floor((x - view.x0) / (view.x1 - view.x0) * count).astype(np.int64)
    column[x == view.x1] = count - 1
    starts = np.flatnonzero(np.diff(column, prepend=column[0] - 1))
    lows, highs = np.minimum.reduceat(y, starts), np.maximum.reduceat(y, starts)
    at = column[starts]
    inside = (at >= 0) & (at < count)
    low[at[inside]], high[at[inside]] = lows[inside], highs[inside]
    if starts.size < 2:
        return low, high
    before, after = starts[1:] - 1, starts[1:]
    joined = (np.diff(good)[before] == 1) & (x[after] - x[before] <= curve.gap)
    _meet(low, high, at, lows, highs, joined)
    centres = view.x0 + (np.arange(count) + 0.5) * (view.x1 - view.x0) / count
    for n in np.flatnonzero(joined & (np.diff(at) > 1)):
        first, last = max(0, int(at[n]) + 1), min(count, int(at[n + 1]))
        if last > first:
            pair = [before[n], after[n]]
            low[first:last] = high[first:last] = np.interp(centres[first:last], x[pair], y[pair])
    return low, high


def _meet(low: Floats, high: Floats, at: NDArray[np.int64], lows: Floats, highs: Floats, joined: Bits) -> None:
    """Stretch columns that are neighbours and joined to the middle between them, so that a steep curve stays whole."""
    near = joined & (np.diff(at) == 1) & (at[:-1] >= 0) & (at[1:] < low.size)
    left, right = at[:-1][near], at[1:][near]
    rising = lows[1:][near] > highs[:-1][near]
    falling = highs[1:][near] < lows[:-1][near]
    middle_up = (lows[1:][near] + highs[:-1][near]) / 2
    middle_down = (highs[1:][near] + lows[:-1][near]) / 2
    high[left[rising]] = np.maximum(high[left[rising]], middle_up[rising])
    low[right[rising]] = np.minimum(low[right[rising]], middle_up[rising])
    low[left[falling]] = np.minimum(low[left[falling]], middle_down[falling])
    high[right[falling]] = np.maximum(high[right[falling]], middle_down[falling])


def dots_of(curve: Curve, view: View, wide: int, tall: int) -> Bits:
    """The dots, shape (tall, wide), that draw `curve`; what lies above or below the view is drawn at its edge."""
    y0, y1 = curve.y_view or (view.y0, view.y1)
    low, high = columns(curve, view, wide)
    there = np.isfinite(low)
    scale = (tall - 1) / (y1 - y0)
    held = (np.clip(np.where(there, edge, y0), y0, y1) for edge in (high, low))
    top, bottom = (
        np.where(there, np.rint((y1 - edge) * scale), none) for edge, none in zip(held, (1e9, -1e9), strict=True)
    )
    if curve.dashed:
        # Only level stretches are broken: a drop or a spike is never dashed away.
        level = np.nan_to_num(bottom - top) <= 1
        level &= np.arange(wide) % 4 >= 2
        top[level] = 1e9
    row = np.arange(tall)[:, None]
    dots: Bits = (row >= top) & (row <= bottom)
    return dots


def _codes(dots: Bits, marker: Marker) -> NDArray[np.uint8]:
    """One number a cell, from its dots; 0 where there is none."""
    across, down = _DOTS[marker]
    tall, wide = dots.shape
    blocks = dots.view(np.uint8).reshape(tall // down, down, wide // across, across)
    code = np.zeros((tall // down, wide // across), dtype=np.uint8)
    for row in range(down):
        for column in range(across):
            bit = _BRAILLE[row][column] if marker is Marker.BRAILLE else 1 << row
            code |= blocks[:, row, :, column] * np.uint8(bit)
    return code


def _put(glyph: NDArray[np.str_], codes: NDArray[np.uint8], where: Bits, marker: Marker) -> None:
    """Write the glyphs of `codes` into cells where `where` says so."""
    glyph[where] = _GLYPHS[marker][codes[where]]


def _guide_dots(guide: Guide, view: View, wide: int, tall: int) -> Bits:
    dots = np.zeros((tall, wide), dtype=np.bool_)
    if guide.vertical:
        at = int(np.floor((guide.at - view.x0) / (view.x1 - view.x0) * wide))
        if 0 <= at < wide:
            dots[:: 2 if guide.dense else 3, at] = True
    else:
        at = round((view.y1 - guide.at) / (view.y1 - view.y0) * (tall - 1))
        if 0 <= at < tall:
            dots[at, :: 2 if guide.dense else 4] = True
    return dots


def _edges(band: Band, view: View, width: int, height: int) -> tuple[Floats, Floats]:
    """Top and bottom edge of a band in cells from the top, one value a column; nan beside the band."""
    centres = view.x0 + (np.arange(width) + 0.5) * (view.x1 - view.x0) / width
    inside = (centres >= band.x[0]) & (centres <= band.x[-1])
    scale = height / (view.y1 - view.y0)
    top = np.where(inside, (view.y1 - np.interp(centres, band.x, band.high)) * scale, np.nan)
    bottom = np.where(inside, (view.y1 - np.interp(centres, band.x, band.low)) * scale, np.nan)
    return top, bottom


def _lay_band(cells: Cells, band: Band, view: View, left: int, dots: Bits, look: Look) -> None:
    """Tint the ground. Edges within a cell are drawn to an eighth where no curve stands in it; where one does, the
    whole cell counts as inside when half of it is, or when the band is thin and the curve's dots lie within it.
    """
    across, down = _DOTS[look.marker]
    height, width = dots.shape[0] // down, cells.width - left
    top, bottom = _edges(band, view, width, height)
    row = np.arange(height)[:, None]
    covered = np.clip(np.minimum(bottom, row + 1) - np.maximum(top, row), 0.0, 1.0)
    covered = np.nan_to_num(covered)
    ground, glyph, ink = (a[:height, left:] for a in (cells.ground, cells.glyph, cells.ink))
    by_column: Bits = np.any(dots.reshape(height, down, width, across), axis=3)
    dotted: Bits = np.any(by_column, axis=1)
    middle = (by_column * (np.arange(down)[None, :, None] + 0.5)).sum(axis=1) / np.maximum(1, by_column.sum(axis=1))
    level = row + middle / down
    thin = covered.max(axis=0) < 0.5
    held = dotted & thin & (covered > 0) & (level >= top) & (level <= bottom)
    steps = {Marker.BRAILLE: 8, Marker.BLOCKS: 2}.get(look.marker, 1)
    parts = np.rint(covered * steps).astype(np.int64)
    outside = ground.copy()
    full = held | (~dotted & (parts == steps)) | (dotted & (covered >= 0.5))
    ground[full] = band.ground
    edge = ~dotted & (parts > 0) & (parts < steps) & (glyph == " ")
    eighths = np.array(list(" ▁▂▃▄▅▆▇█"))
    upper = edge & (bottom[None, :] <= row + 1)  # the band's lower edge: it fills the cell from above
    ground[upper], ink[upper] = band.ground, outside[upper]
    glyph[upper] = eighths[(steps - parts[upper]) * 8 // steps]
    lower = edge & ~upper
    ink[lower] = band.ground
    glyph[lower] = eighths[parts[lower] * 8 // steps]


def draw_chart(chart: Chart, width: int, height: int, look: Look, ground: int | None = None) -> Cells:
    """Draw a chart with its axes into `width` x `height` cells."""
    palette, view = look.palette, chart.view
    cells = Cells(width, height, palette.panel if ground is None else ground, palette.text)
    left, tall = chart.y_axis, height - chart.x_axis
    wide = width - left
    if wide < 2 or tall < 1 or not (view.x1 > view.x0 and view.y1 > view.y0):
        return cells
    across, down = _DOTS[look.marker]
    every = np.zeros((tall * down, wide * across), dtype=np.bool_)
    plot_glyph, plot_ink = cells.glyph[:tall, left:], cells.ink[:tall, left:]
    drawn: list[tuple[Bits, int]] = []
    for curve in chart.curves:
        dots = dots_of(curve, view, wide * across, tall * down)
        every |= dots
        drawn.append((_codes(dots, look.marker) > 0, curve.ink))
    for band in chart.bands:
        _lay_band(cells, band, view, left, every, look)
    for guide in chart.guides:
        codes = _codes(_guide_dots(guide, view, wide * across, tall * down), look.marker)
        # On a cell that carries a band's edge the guide gives way.
        some = (codes > 0) & (plot_glyph == " ")
        _put(plot_glyph, codes, some, look.marker)
        plot_ink[some] = guide.ink
    for some, ink in drawn:
        plot_ink[some] = ink
    codes = _codes(every, look.marker)
    _put(plot_glyph, codes, codes > 0, look.marker)
    for mark in chart.marks:
        at = int(np.floor((mark.x - view.x0) / (view.x1 - view.x0) * wide))
        if 0 <= at < wide:
            cells.text(left + at, tall - 1, mark.glyph, mark.ink, bold=True)
    _label(cells, chart, look, left, wide, tall)
    return cells


def _label(cells: Cells, chart: Chart, look: Look, left: int, wide: int, tall: int) -> None:
    """Axis figures and the labels of guides, which keep clear of the right edge."""
    view, dim = chart.view, look.palette.dim
    if left:
        values = list(chart.y_ticks) if chart.y_ticks is not None else ticks(view.y0, view.y1, max(3, tall // 3))
        digits = 0 if all(abs(v - round(v)) < 1e-6 for v in values) else 1
        for value in values:
            row = int(np.clip((view.y1 - value) / (view.y1 - view.y0) * tall, 0, tall - 1))
            cells.right(left - 1, row, f"{value:.{digits}f}", dim)
    if chart.x_axis:
        free = left - 1
        for value in ticks(view.x0, view.x1, max(2, wide // 7)):
            if abs(value - round(value)) > 1e-6:
                continue  # between whole minutes, which the figures name
            label = f"{value:.0f}"
            at = left + int((value - view.x0) / (view.x1 - view.x0) * wide)
            start = min(max(left, at - len(label) // 2), left + wide - len(label))
            room = left + wide - (len(chart.x_unit) + 1 if chart.x_unit else 0)
            if start > free and start + len(label) <= room:
                free = cells.text(start, tall, label, dim)
        if chart.x_unit:
            cells.right(left + wide, tall, chart.x_unit, dim)
    for guide in chart.guides:
        if not guide.label:
            continue
        if guide.vertical:
            at = left + int((guide.at - view.x0) / (view.x1 - view.x0) * wide)
            if left <= at < left + wide:
                start = at + 1
                if start + width_of(guide.label) > left + wide:
                    start = max(left, at - width_of(guide.label))
                cells.text(start, 0, guide.label, guide.ink)
        else:
            row = int(np.clip((view.y1 - guide.at) / (view.y1 - view.y0) * tall, 0, tall - 1))
            cells.right(left + wide, row, guide.label, guide.ink)

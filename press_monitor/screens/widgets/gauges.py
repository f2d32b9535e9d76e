"""Horizontal gauges one cell tall: a bag's pressure between its limits, and a state of cure with its band."""

from __future__ import annotations

import numpy as np

from press_monitor.screens.widgets.cells import Cells
from press_monitor.screens.widgets.palette import Look, Marker

__all__ = ["bag_gauge", "cure_gauge"]

_PARTS = " ▏▎▍▌▋▊▉"


def _place(share: float, width: int) -> int:
    return int(np.clip(np.floor(share * width), 0, width - 1))


def _bar(cells: Cells, share: float, fill: int, look: Look) -> None:
    """Fill row 0 from the left to `share` (0-1) of the width, to an eighth of a cell."""
    width = cells.width
    share = float(np.clip(share, 0.0, 1.0))
    if look.marker is Marker.ASCII:
        whole = round(share * width)
        cells.glyph[0, :whole], cells.glyph[0, whole:] = "=", "."
        cells.ink[0, :whole], cells.ink[0, whole:] = fill, look.palette.dim
        return
    eighths = round(share * width * 8)
    whole, part = divmod(eighths, 8)
    cells.glyph[0, :whole] = "█"
    cells.ink[0, :whole] = fill
    cells.ground[0, :whole] = fill
    if part and whole < width:
        cells.glyph[0, whole] = _PARTS[part]
        cells.ink[0, whole] = fill


def _mark(cells: Cells, share: float, look: Look, ink: int) -> None:
    """A limit: dark where the bar covers it, bright where it does not."""
    at = _place(share, cells.width)
    covered = cells.glyph[0, at] == "█"
    cells.glyph[0, at] = look.signs.mark
    cells.bold[0, at] = True
    cells.ink[0, at] = 0x000000 if covered else ink


def bag_gauge(
    value: float | None, minimum: float, maximum: float, width: int, look: Look, *, fill: int | None = None
) -> Cells:
    """A bag's pressure with marks at its minimum and maximum; any unit. None leaves the track empty."""
    palette = look.palette
    cells = Cells(width, 1, palette.track, palette.text)
    if width < 1:
        return cells
    full = maximum * 1.15 if maximum > 0 else 1.0
    _bar(cells, (value or 0.0) / full, palette.bag if fill is None else fill, look)
    _mark(cells, minimum / full, look, palette.text)
    _mark(cells, maximum / full, look, palette.text)
    return cells


def cure_gauge(
    value: float | None,
    low: float | None,
    high: float | None,
    blow_point: float | None,
    need: float,
    width: int,
    look: Look,
) -> Cells:
    """A state of cure 0-1: solid to the lower edge of its band, paler to the upper, with blow-point and need marks."""
    palette = look.palette
    cells = Cells(width, 1, palette.track, palette.text)
    if width < 1:
        return cells
    if value is not None:
        low = value if low is None else low
        high = value if high is None else high
        _bar(cells, low, palette.cure, look)
        first, last = int(np.clip(low, 0, 1) * width), int(np.clip(np.ceil(high * width), 0, width))
        at = _place(value, width)
        if look.marker is Marker.ASCII:
            cells.glyph[0, first:last] = "-"
        else:
            soft = cells.glyph[0, first:last] != "█"
            cells.ground[0, first:last][soft] = palette.cure_soft
            if at > first:
                cells.glyph[0, at], cells.ink[0, at] = "▐", palette.cure
    elif look.marker is Marker.ASCII:
        cells.glyph[0, :] = "."
    if blow_point is not None:
        _mark(cells, blow_point, look, palette.text)
    _mark(cells, need, look, palette.fine)
    return cells

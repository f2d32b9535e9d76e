"""Through the repair: depth across, inner mat to outer mat; temperature as a curve, state of cure as rising fill."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from press_monitor.screens.widgets.canvas import Chart, Curve, View, draw_chart, ticks
from press_monitor.screens.widgets.cells import Cells, width_of
from press_monitor.screens.widgets.palette import Look, Marker, mix

__all__ = ["Layer", "Pin", "Through", "draw_through"]

_RISE = " ▁▂▃▄▅▆▇█"
_ASCII_RISE = " .:-=+*%#"


@dataclass(frozen=True, slots=True)
class Layer:
    """A layer between two depths."""

    name: str
    top: float
    bottom: float
    uncured: bool


@dataclass(frozen=True, slots=True)
class Pin:
    """A place in the depth worth pointing at, with two lines of words."""

    depth: float
    words: str
    more: str
    ink: int


@dataclass(frozen=True, slots=True)
class Through:
    """One stack as drawn. `temperature` is in the unit shown; `cure` is 0-1, nan in cured casing."""

    layers: tuple[Layer, ...]
    depth: Sequence[float]
    temperature: Sequence[float]
    cure: Sequence[float]
    pins: tuple[Pin, ...]
    span: tuple[float, float]
    """Least and greatest temperature of the axis."""


def _strip(data: Through, full: float, width: int, rows: int, look: Look) -> Cells:
    """State of cure by depth: each column rises with the cure there, so it reads without colour too."""
    palette = look.palette
    cells = Cells(width, rows, palette.panel, palette.cure)
    depth, cure = np.asarray(data.depth, dtype=float), np.asarray(data.cure, dtype=float)
    for layer in data.layers:
        left, right = round(layer.top / full * width), round(layer.bottom / full * width)
        if not layer.uncured or right <= left:
            continue
        cells.fill(left, 0, right - left, rows, palette.track)
        inside = (depth >= layer.top - 1e-9) & (depth <= layer.bottom + 1e-9) & np.isfinite(cure)
        if not inside.any():
            continue
        centres = (np.arange(left, right) + 0.5) / width * full
        values = np.clip(np.interp(centres, depth[inside], cure[inside]), 0.0, 1.0)
        _rise(cells, values, left, rows, look)
    return cells


def _rise(cells: Cells, values: NDArray[np.float64], left: int, rows: int, look: Look) -> None:
    palette = look.palette
    glyphs = _ASCII_RISE if look.marker is Marker.ASCII else _RISE
    for n, value in enumerate(values):
        eighths = max(1, round(value * rows * 8))
        ink = mix(palette.cure_soft, palette.cure, float(value))
        for row in range(rows):
            part = int(np.clip(eighths - (rows - 1 - row) * 8, 0, 8))
            if part:
                cells.glyph[row, left + n] = glyphs[part]
                cells.ink[row, left + n] = ink


def draw_through(data: Through, width: int, height: int, look: Look, *, axis: int = 5) -> Cells:
    """Draw one stack in `width` x `height` cells (at least 20 x 7): names, curve, mats, strip, pins."""
    palette = look.palette
    cells = Cells(width, height, palette.panel, palette.text)
    if not data.layers or width < axis + 8 or height < 6:
        return cells
    full = data.layers[-1].bottom
    wide = width - axis
    pin_rows = 2 if height >= 8 else 1
    strip_rows = 3 if height >= 14 else 2 if height >= 9 else 1
    plot_rows = height - strip_rows - pin_rows - 1
    curve = Curve(
        np.asarray(data.depth, dtype=float), np.asarray(data.temperature, dtype=float), palette.inner, float("inf")
    )
    view = View(0.0, full, *data.span)
    chart = draw_chart(Chart(view, curves=(curve,)), wide, plot_rows, look)
    for layer in data.layers:
        left, right = round(layer.top / full * wide), round(layer.bottom / full * wide)
        if layer.uncured:
            chart.fill(left, 0, right - left, plot_rows, palette.raised)
    cells.paste(chart, axis, 0)
    for value in ticks(*data.span, max(2, plot_rows // 2)):
        row = int(np.clip((view.y1 - value) / (view.y1 - view.y0) * plot_rows, 0, plot_rows - 1))
        cells.right(axis - 1, row, f"{value:.0f}", palette.dim)
    _names(cells, data, full, wide, axis, look)
    row = plot_rows
    cells.text(axis, row, "inner mat", palette.dim)
    cells.right(width, row, "outer mat", palette.dim)
    cells.centre(axis + 10, width - 10, row, f"{full:.0f} mm", palette.dim)
    strip = _strip(data, full, wide, strip_rows, look)
    cells.paste(strip, axis, row + 1)
    cells.text(0, row + 1 + (strip_rows - 1) // 2, "cure"[: axis - 1], palette.dim)
    _pins(cells, data.pins, full, wide, axis, row + 1 + strip_rows, look)
    return cells


def _names(cells: Cells, data: Through, full: float, wide: int, axis: int, look: Look) -> None:
    """Layer names on the top row, where the curve leaves them room; a thin layer keeps what fits."""
    for layer in data.layers:
        left, right = axis + round(layer.top / full * wide), axis + round(layer.bottom / full * wide)
        if right - left >= 3:
            words = layer.name if width_of(layer.name) <= right - left else layer.name.split()[-1]
            cells.glyph[0, left:right] = " "
            cells.centre(left, right, 0, words, look.palette.dim)


def _free(
    words: str, more: str, at: int, least: int, width: int, taken: Sequence[Sequence[tuple[int, int]]]
) -> tuple[int, int, list[tuple[int, int]]] | None:
    """Where both lines of a pin begin, right of its sign or else left of it, and the cells each takes."""
    right = (at + 2, at + 2, [(at, at + 2 + width_of(words)), (at + 2, at + 2 + width_of(more))])
    first, second = at - 1 - width_of(words), at + 1 - width_of(more)
    left = (first, second, [(first, at + 1), (second, at + 1)])
    for option in (right, left):
        inside = all(a >= least and b <= width for a, b in option[2])
        # Two figures side by side would read as one: the second line keeps two cells between them.
        clear = all(b + row < c or a > d + row for row, (a, b) in enumerate(option[2]) if b > a for c, d in taken[row])
        if inside and clear:
            return option
    return None


def _pins(cells: Cells, pins: tuple[Pin, ...], full: float, wide: int, axis: int, row: int, look: Look) -> None:
    """Signs under the strip at their depths, words beside them where there is room, never over each other."""
    spots = [axis + min(wide - 1, round(pin.depth / full * wide)) for pin in pins]
    taken: tuple[list[tuple[int, int]], list[tuple[int, int]]] = ([(at, at + 1) for at in spots], [])
    for pin, at in zip(pins, spots, strict=True):
        taken[0].remove((at, at + 1))
        more = pin.more if row + 1 < cells.height else ""
        place = _free(pin.words, more, at, axis, cells.width, taken)
        if place is None:
            more, place = "", _free(pin.words, "", at, axis, cells.width, taken)
        if place is None:
            continue  # an arrow without a word says nothing
        cells.text(at, row, look.signs.here, pin.ink, bold=True)
        first, second, spans = place
        taken[0].append(spans[0])
        cells.text(first, row, pin.words, pin.ink, bold=True)
        if more:
            taken[1].append(spans[1])
            cells.text(second, row + 1, more, look.palette.dim)

"""Big digits readable across a shop: three rows (a drawn stroke) or five (twice as heavy)."""

from __future__ import annotations

import numpy as np

from press_monitor.screens.widgets.cells import Cells
from press_monitor.screens.widgets.palette import Look, Marker

__all__ = ["big_number", "big_width"]

# Pixels are as wide as a cell and half as tall: six rows of four in the small face, five of three, doubled, in the big.
_SMALL = {
    "0": "####/#..#/#..#/#..#/#..#/####",
    "1": "..#./.##./..#./..#./..#./..#.",
    "2": "####/...#/...#/####/#.../####",
    "3": "####/...#/.###/...#/...#/####",
    "4": "#..#/#..#/#..#/####/...#/...#",
    "5": "####/#.../####/...#/...#/####",
    "6": "####/#.../####/#..#/#..#/####",
    "7": "####/...#/...#/..#./..#./..#.",
    "8": "####/#..#/####/#..#/#..#/####",
    "9": "####/#..#/#..#/####/...#/####",
    "-": "..../..../####/..../..../....",
    " ": "..../..../..../..../..../....",
}
_BIG = {
    "0": "###/#.#/#.#/#.#/###",
    "1": ".#./##./.#./.#./.#.",
    "2": "###/..#/###/#../###",
    "3": "###/..#/.##/..#/###",
    "4": "#.#/#.#/###/..#/..#",
    "5": "###/#../###/..#/###",
    "6": "###/#../###/#.#/###",
    "7": "###/..#/..#/.#./.#.",
    "8": "###/#.#/###/#.#/###",
    "9": "###/#.#/###/..#/###",
    "-": ".../.../###/.../...",
    " ": ".../.../.../.../...",
}


def big_width(text: str, rows: int) -> int:
    """Cells that `text` takes at 3 or 5 rows."""
    return len(text) * (8 if rows >= 5 else 5) - 1 - (1 if rows >= 5 else 0) if text else 0


def big_number(text: str, rows: int, ink: int, look: Look, ground: int) -> Cells:
    """Digits, minus signs and blanks, 5 rows tall where `rows` allows it, else 3."""
    big = rows >= 5
    face, step, tall = (_BIG, 8, 10) if big else (_SMALL, 5, 6)
    pixels = np.zeros((tall, max(0, big_width(text, rows))), dtype=np.bool_)
    for place, char in enumerate(text):
        shape = np.array([[c == "#" for c in row] for row in face.get(char, face[" "]).split("/")])
        if big:
            shape = shape.repeat(2, axis=0).repeat(2, axis=1)
        pixels[: shape.shape[0], place * step : place * step + shape.shape[1]] |= shape
    cells = Cells(pixels.shape[1], tall // 2, ground, ink)
    code = pixels[0::2] + 2 * pixels[1::2].astype(np.int64)
    marks = "  ##" if look.marker is Marker.ASCII else " ▀▄█"
    if look.marker is Marker.ASCII:
        code = np.where(code > 0, 3, 0)
    cells.glyph[:] = np.array(list(marks))[code]
    cells.bold[:] = look.marker is Marker.ASCII
    return cells

"""A grid of character cells with ink and ground: what every drawing ends in. Knows nothing of Textual."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from functools import cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

__all__ = ["Cells", "Run", "clip", "plain", "shorten", "width_of"]


class Run(NamedTuple):
    """Neighbouring cells that look alike."""

    text: str
    ink: int
    ground: int
    bold: bool


@cache
def _cell_width(char: str) -> int:
    if " " <= char <= "~":
        return 1
    if unicodedata.combining(char) or unicodedata.category(char) in ("Mn", "Me", "Cf", "Cc"):
        return 0
    return 2 if unicodedata.east_asian_width(char) in "WF" else 1


def width_of(text: str) -> int:
    """Cells that `text` takes."""
    return len(text) if text.isascii() else sum(map(_cell_width, text))


def plain(text: str) -> str:
    """Text from outside as one harmless line: control, format and bidirectional characters out, blanks merged."""
    spaced = "".join(" " if c.isspace() else c for c in text)
    return " ".join("".join(c for c in spaced if unicodedata.category(c)[0] != "C").split())


def clip(text: str, width: int, ellipsis: str = "…") -> str:
    """`text` cut to `width` cells; a cut is shown and never silent."""
    if width_of(text) <= width:
        return text
    if width <= 0:
        return ""
    kept, used = [], 0
    for char in text:
        used += _cell_width(char)
        if used > width - 1:
            break
        kept.append(char)
    return "".join(kept).rstrip() + ellipsis


def shorten(text: str, width: int, ellipsis: str = "…") -> str:
    """`text` in `width` cells without a word cut in two: whole clauses where they fill half of it, else whole words."""
    if width_of(text) <= width:
        return text
    kept = clip(text, width, "")
    clause = max(text.rfind(mark, 0, len(kept) + 2) for mark in (", ", ": ", "; ", ". "))
    if 2 * clause >= width:
        return text[:clause]
    word = len(kept) if text[len(kept) :].startswith(" ") else kept.rfind(" ")
    return clip(text, width, ellipsis) if 2 * word < width else text[:word].rstrip(" ,:;") + ellipsis


class Cells:
    """Characters, inks and grounds in arrays of shape (height, width). Writing outside the grid is cut off."""

    __slots__ = ("bold", "glyph", "ground", "height", "ink", "width")

    def __init__(self, width: int, height: int, ground: int, ink: int = 0xFFFFFF) -> None:
        self.width, self.height = max(0, width), max(0, height)
        shape = (self.height, self.width)
        self.glyph: NDArray[np.str_] = np.full(shape, " ", dtype="<U1")
        self.ink: NDArray[np.int32] = np.full(shape, ink, dtype=np.int32)
        self.ground: NDArray[np.int32] = np.full(shape, ground, dtype=np.int32)
        self.bold: NDArray[np.bool_] = np.zeros(shape, dtype=np.bool_)

    def text(
        self, x: int, y: int, words: str, ink: int, *, bold: bool = False, ground: int | None = None, most: int = 9999
    ) -> int:
        """Write `words` from cell (x, y), at most `most` cells; returns the column after the last one."""
        words = clip(words, min(most, self.width - x))
        if not 0 <= y < self.height or not words:
            return x
        size = width_of(words)
        if x >= 0 and size == len(words):
            span = slice(x, x + size)
            self.glyph[y, span] = list(words)
            self.ink[y, span], self.bold[y, span] = ink, bold
            if ground is not None:
                self.ground[y, span] = ground
            return x + size
        for char in words:
            wide = _cell_width(char)
            if wide and x >= 0 and x + wide <= self.width:
                self.glyph[y, x] = char
                self.glyph[y, x + 1 : x + wide] = ""
                self.ink[y, x : x + wide] = ink
                self.bold[y, x : x + wide] = bold
                if ground is not None:
                    self.ground[y, x : x + wide] = ground
            x += wide
        return x

    def right(self, x: int, y: int, words: str, ink: int, *, bold: bool = False, ground: int | None = None) -> int:
        """Write `words` so that they end before column `x`; returns the column they begin at."""
        start = x - width_of(words)
        self.text(max(0, start), y, words, ink, bold=bold, ground=ground)
        return start

    def centre(self, left: int, right: int, y: int, words: str, ink: int, *, bold: bool = False) -> None:
        """Write `words` in the middle of columns left to right."""
        words = clip(words, right - left)
        self.text(left + (right - left - width_of(words)) // 2, y, words, ink, bold=bold)

    def fill(self, x: int, y: int, width: int, height: int, ground: int) -> None:
        """Give a rectangle another ground."""
        self.ground[max(0, y) : max(0, y + height), max(0, x) : max(0, x + width)] = ground

    def paste(self, other: Cells, x: int, y: int) -> None:
        """Lay another grid over this one with its corner at (x, y), which must not be negative."""
        h, w = min(other.height, self.height - y), min(other.width, self.width - x)
        if h <= 0 or w <= 0:
            return
        for name in ("glyph", "ink", "ground", "bold"):
            getattr(self, name)[y : y + h, x : x + w] = getattr(other, name)[:h, :w]

    def runs(self, y: int) -> Iterator[Run]:
        """Row `y` with cells that look alike merged; a blank takes the ink before it, so that it never splits a run."""
        if not self.width:
            return
        glyph, ground = self.glyph[y], self.ground[y]
        look = self.ink[y].astype(np.int64) * 2 + self.bold[y]
        inked = glyph != " "
        # the index of the nearest inked cell at or before each cell, else the first cell
        source = np.maximum.accumulate(np.where(inked, np.arange(self.width), 0))
        look = look[source]
        edges = np.flatnonzero((np.diff(look) != 0) | (np.diff(ground) != 0)) + 1
        letters = glyph.tolist()
        start = 0
        for end in [*edges.tolist(), self.width]:
            yield Run("".join(letters[start:end]), int(look[start]) >> 1, int(ground[start]), bool(look[start] & 1))
            start = end

    def differences(self, other: Cells) -> list[tuple[int, int, int]]:
        """Where two grids of one size differ: row, first column, column after the last; only rows that do."""
        unlike = self.glyph != other.glyph
        unlike |= self.ink != other.ink
        unlike |= self.ground != other.ground
        unlike |= self.bold != other.bold
        rows = np.flatnonzero(unlike.any(axis=1)).tolist()
        if not rows:
            return []
        some = unlike[rows]
        first = some.argmax(axis=1).tolist()
        last = (self.width - some[:, ::-1].argmax(axis=1)).tolist()
        return list(zip(rows, first, last, strict=True))

    def line(self, y: int) -> str:
        """Row `y` as text."""
        return "".join(self.glyph[y].tolist())

    def lines(self) -> list[str]:
        """All rows as text without trailing blanks."""
        return [self.line(y).rstrip() for y in range(self.height)]

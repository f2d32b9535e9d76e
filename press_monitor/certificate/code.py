"""QR codes as squares to paint."""

from __future__ import annotations

from functools import lru_cache

__all__ = ["QUIET_ZONE", "code_rows"]

QUIET_ZONE = 4
"""Modules of white that a code needs on each side (ISO/IEC 18004)."""


@lru_cache(maxsize=8)
def code_rows(text: str) -> tuple[int, tuple[tuple[int, int, int], ...]]:
    """A text's QR code at correction level M: modules a side, and its dark bars as (row, first column, length)."""
    import segno

    code = segno.make(text, error="m", micro=False, boost_error=False, encoding="utf-8")
    bars = []
    for number, row in enumerate(code.matrix):
        column = 0
        while column < len(row):
            length = 0
            while column + length < len(row) and row[column + length]:
                length += 1
            if length:
                bars.append((number, column, length))
            column += max(1, length)
    return len(code.matrix), tuple(bars)

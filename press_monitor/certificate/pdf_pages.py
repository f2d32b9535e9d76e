"""Rows of known height, and how they come onto pages."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from press_monitor.certificate.pdf_sheet import Sheet

__all__ = ["Paint", "Placed", "Row", "paginate"]

Paint = Callable[[Sheet, float, float], None]


@dataclass(frozen=True, slots=True)
class Row:
    """One strip over the width of the page. Without `paint` it is white, and left out at the top of a page.

    `keep` binds it to the next row; `head` is set again above it where a new page begins.
    """

    height: float
    paint: Paint | None = None
    keep: bool = False
    head: tuple[Row, ...] = ()


Placed = tuple[float, Row]


def paginate(rows: Sequence[Row], first: float, rest: float) -> list[list[Placed]]:
    """Pages of rows and their distance from the top; the first page holds `first` points, the others `rest`."""
    pages: list[list[Placed]] = [[]]
    used, room = 0.0, first

    def turn(row: Row) -> None:
        nonlocal used, room
        pages.append([])
        used, room = 0.0, rest
        for head in row.head:
            pages[-1].append((used, head))
            used += head.height

    i = 0
    while i < len(rows):
        end = i
        while rows[end].keep and end + 1 < len(rows):
            end += 1
        group = rows[i : end + 1]
        high = sum(row.height for row in group)
        if used and used + high > room and high <= rest:
            turn(group[0])
        for row in group:
            if used and used + row.height > room:
                turn(row)
            if row.paint is None and not used:
                continue
            pages[-1].append((used, row))
            used += row.height
        i = end + 1
    return [page for page in pages if any(row.paint for _, row in page)] or [[]]

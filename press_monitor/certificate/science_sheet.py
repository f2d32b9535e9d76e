"""What the science was checked against, as sections."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from press_monitor.audit.science import Row
from press_monitor.certificate.model import Grid, Item, Section, Words

__all__ = ["science_sections"]

_ROUNDING = 1e-9


def science_sections(rows: Sequence[Row]) -> tuple[Section, ...]:
    """A section a topic: each comparison with its worst error, then where the figures come from."""
    made = []
    for topic, group in groupby(rows, key=lambda row: row.topic):
        here = list(group)
        table = Grid(
            ("Checked", "values", "worst error", "allowed", ""),
            tuple(
                (row.what, f"{row.checked}", _figure(row), _allowed(row), "ok" if row.ok else "WRONG") for row in here
            ),
            numeric=(1, 2, 3),
        )
        sources = dict.fromkeys((row.source, row.status.value) for row in here)
        items: list[Item] = [table, *(Words(f"{source}: {status}.", bullet=True) for source, status in sources)]
        made.append(Section(topic.lower().replace(" ", "-"), topic, tuple(items)))
    return tuple(made)


def _figure(row: Row) -> str:
    error = 0.0 if row.worst_error < _ROUNDING else row.worst_error
    return f"{error:.2g} {row.unit}".rstrip()


def _allowed(row: Row) -> str:
    return f"{row.allowed:.2g}"

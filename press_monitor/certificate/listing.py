"""Sealed records as a list, one line each."""

from __future__ import annotations

from collections.abc import Sequence

from press_monitor.archive.record import utc_text
from press_monitor.archive.types import CertificateRow
from press_monitor.certificate.model import Grid
from press_monitor.certificate.text import render_items

__all__ = ["record_lines"]

HEAD = ("No.", "Started, UTC", "Press", "Verdict", "Deepest", "Tire", "Customer", "Since")


def record_lines(found: Sequence[CertificateRow]) -> list[str]:
    """A table of at most 80 columns; nothing for no records."""
    if not found:
        return []
    rows = tuple(
        (
            str(row.number),
            utc_text(row.started_utc)[:16].replace("T", " "),
            row.press,
            row.verdict + (" (log)" if row.source == "log" else ""),
            "" if row.state_of_cure is None else f"{100 * row.state_of_cure:.0f} %",
            " ".join(part for part in (row.tire, row.section) if part),
            row.customer,
            "; ".join(part for part in (row.inspection, row.comeback) if part),
        )
        for row in found
    )
    shown = [n for n in range(len(HEAD)) if any(row[n] for row in rows)]
    grid = Grid(
        tuple(HEAD[n] for n in shown),
        tuple(tuple(row[n] for n in shown) for row in rows),
        numeric=tuple(shown.index(n) for n in (0, 4) if n in shown),
    )
    return render_items((grid,))

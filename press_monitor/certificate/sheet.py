"""A certificate as CSV: a log that ``replay`` reads again, with every fact of the certificate in its comments.

Readings are written digit for digit as they were sealed. A spreadsheet takes a cell that begins with ``=``, ``+``,
``-``, ``@`` or a control character for a formula and would run what somebody typed into a ticket: no cell of this file
begins so, numbers apart.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Final

from drivers.log import Column, format_log
from press_monitor.archive.trace import Trace
from press_monitor.certificate.letters import tame
from press_monitor.certificate.model import Certificate, Chart, Code, Grid, Pair, Words

__all__ = ["render_csv"]

# What a spreadsheet may take for the beginning of a cell, in any of the ways it may split a line.
_BEGINS: Final = re.compile(r"([,;|]\s*)([=+\-@＝＋－＠])")


def render_csv(certificate: Certificate, trace: Trace) -> bytes:
    """The file. Raises ValueError for a trace that no log can say, such as one without a row."""
    rows = [
        tuple(
            None if count is None else count / 10.0**c.decimals for count, c in zip(counts, trace.channels, strict=True)
        )
        for _, _, counts in trace.rows()
    ]
    return format_log(
        [Column(channel.name, channel.unit, channel.decimals) for channel in trace.channels],
        trace.times.tolist(),
        [() if all(value is None for value in row) else row for row in rows],
        time_decimals=trace.time_decimals,
        comments=[(_safe(key), _safe(value)) for key, value in _facts(certificate)],
    )


def _safe(text: str) -> str:
    """One line that stays in its cell and is nothing but text."""
    line = " ".join(tame(text).replace('"', "'").split())
    return _BEGINS.sub(r"\1'\2", line)


def _facts(certificate: Certificate) -> Iterator[tuple[str, str]]:
    yield "press-monitor certificate", str(certificate.number)
    yield "certificate", f"{certificate.title}; {certificate.subtitle}"
    for banner in certificate.banners:
        yield "banner", banner
    for section in certificate.sections:
        for item in section.items:
            match item:
                case Pair(label, value):
                    yield f"{section.title}, {label}", value
                case Words(text):
                    yield section.title, text
                case Grid(head, rows):
                    for row in rows:
                        said = "; ".join(f"{name} {cell}".strip() for name, cell in zip(head, row, strict=True) if cell)
                        yield section.title, said
                case Code(text):
                    for line in text.splitlines():
                        yield "code", line
                case Chart():
                    pass

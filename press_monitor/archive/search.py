"""Finding certificates: from what a person asks to one SQL statement over the derived tables.

Newest first. The shapes are chosen so that a page of hits costs about as much on 100,000 certificates as on a hundred:
the full-text tables are read from their newest end and left as soon as the page is full, things used come from a set
by name, and a span of days is turned into a span of numbers, which rise with the days.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TypedDict

from press_monitor.archive.derived import COLUMN_NAMES
from press_monitor.archive.types import Json

__all__ = ["FilterArgs", "Filters", "count_query", "match_words", "records_query"]

_SHORTEST_PART = 3
_SELECT = ", ".join(f"c.{name}" for name in COLUMN_NAMES)
_PARTS = {"customer": "customer", "tire": "tire", "place": "section", "tin": "tin", "serial": "serial", "job": "job"}
_USED = ("lot", "bag", "mat", "probe", "person")
_SPAN = "SELECT {}(number) FROM certificate WHERE started_utc >= ? AND started_utc < ?"


@dataclass(frozen=True, slots=True)
class Filters:
    """What must all hold of a certificate; None: anything.

    Attributes:
        number: certificates with this number; `from_number` to `to_number`: those between, both included.
        press, recipe, verdict, source: exactly.
        customer, tire, place, tin, serial, job: any part of it; capitals do not matter.
        lot, bag, mat, probe, person: named on the ticket; capitals do not matter.
        alarm: an alarm of this kind was raised.
        inspection, comeback: the newest result or cause; ``any`` for any, ``none`` for none.
        since_utc, until_utc: the start of the cure in UTC seconds; until is exclusive.
        text: every word stands somewhere in the record, each also as the beginning of a longer one.
    """

    number: int | None = None
    from_number: int | None = None
    to_number: int | None = None
    press: str | None = None
    recipe: str | None = None
    verdict: str | None = None
    source: str | None = None
    customer: str | None = None
    tire: str | None = None
    place: str | None = None
    tin: str | None = None
    serial: str | None = None
    job: str | None = None
    lot: str | None = None
    bag: str | None = None
    mat: str | None = None
    probe: str | None = None
    person: str | None = None
    alarm: str | None = None
    inspection: str | None = None
    comeback: str | None = None
    since_utc: float | None = None
    until_utc: float | None = None
    text: str | None = None


class FilterArgs(TypedDict, total=False):
    """`Filters` as keyword arguments."""

    number: int | None
    from_number: int | None
    to_number: int | None
    press: str | None
    recipe: str | None
    verdict: str | None
    source: str | None
    customer: str | None
    tire: str | None
    place: str | None
    tin: str | None
    serial: str | None
    job: str | None
    lot: str | None
    bag: str | None
    mat: str | None
    probe: str | None
    person: str | None
    alarm: str | None
    inspection: str | None
    comeback: str | None
    since_utc: float | None
    until_utc: float | None
    text: str | None


def match_words(text: str) -> str:
    """An FTS5 query for what a person typed: every word, each also as a beginning. Nothing typed can be syntax."""
    return " ".join(f'"{word}"*' for word in re.findall(r"\w+", text))


def _match_parts(filters: Filters) -> str:
    """An FTS5 query over `certificate_part` for texts long enough for its index."""
    found = []
    for name, column in _PARTS.items():
        text = getattr(filters, name)
        if text is not None and len(text) >= _SHORTEST_PART:
            quoted = text.replace("\0", " ").replace('"', '""')
            found.append(f'{column} : "{quoted}"')
    return " AND ".join(found)


def _clauses(filters: Filters) -> tuple[list[str], list[Json]]:
    """Conditions on ``certificate c`` but for the full-text ones."""
    wanted: list[tuple[str, list[Json]]] = []
    for clause, value in (
        ("c.number = ?", filters.number),
        ("c.number >= ?", filters.from_number),
        ("c.number <= ?", filters.to_number),
        ("c.press = ?", filters.press),
        ("c.recipe = ?", filters.recipe),
        ("c.verdict = ?", filters.verdict),
        ("c.source = ?", filters.source),
    ):
        if value is not None:
            wanted.append((clause, [value]))
    for name, column in _PARTS.items():
        text = getattr(filters, name)
        if text is not None and len(text) < _SHORTEST_PART:
            wanted.append((f"instr(lower(c.{column}), lower(?))", [text]))
    for kind in _USED:
        name = getattr(filters, kind)
        if name is not None:
            wanted.append(
                (
                    "c.number IN (SELECT certificate FROM used WHERE kind = ? AND name = ?)",
                    [kind, " ".join(name.split())],
                )
            )
    if filters.alarm is not None:
        wanted.append(("c.number IN (SELECT certificate FROM alarm_raised WHERE kind = ?)", [filters.alarm]))
    for column in ("inspection", "comeback"):
        value = getattr(filters, column)
        if value in ("any", "none"):
            wanted.append((f"c.{column} IS {'NOT ' if value == 'any' else ''}NULL", []))
        elif value is not None:
            wanted.append((f"c.{column} = ?", [value]))
    if filters.since_utc is not None or filters.until_utc is not None:
        since = float("-inf") if filters.since_utc is None else filters.since_utc
        until = float("inf") if filters.until_utc is None else filters.until_utc
        span = f"c.number BETWEEN ({_SPAN.format('min')}) AND ({_SPAN.format('max')})"
        wanted.append((span, [since, until, since, until]))
        wanted.append(("+c.started_utc >= ? AND +c.started_utc < ?", [since, until]))
    return [clause for clause, _ in wanted], [value for _, values in wanted for value in values]


def _from(filters: Filters) -> tuple[str, list[str], list[Json], str] | None:
    """Tables, conditions and values of the full-text part, and what to sort by; None where no word was typed."""
    words = None if filters.text is None else match_words(filters.text)
    if words == "":
        return None
    parts = _match_parts(filters)
    if parts:
        clauses, values = ["certificate_part MATCH ?"], [parts]
        if words:
            clauses.append("c.number IN (SELECT rowid FROM certificate_text WHERE certificate_text MATCH ?)")
            values.append(words)
        return "certificate_part p CROSS JOIN certificate c ON c.number = p.rowid", clauses, values, "p.rowid"
    if words:
        joined = "certificate_text t CROSS JOIN certificate c ON c.number = t.rowid"
        return joined, ["certificate_text MATCH ?"], [words], "t.rowid"
    return "certificate c", [], [], "c.number"


def records_query(filters: Filters, *, limit: int | None, before: int | None) -> tuple[str, list[Json]] | None:
    """The statement for the rows, newest first, and its values; None where nothing can match.

    `before`: only numbers below it, for paging with `limit`.
    """
    found = _from(filters)
    if found is None:
        return None
    tables, matches, matched, order = found
    clauses, values = _clauses(filters)
    if before is not None:
        clauses.append(f"{order} < ?")
        values.append(before)
    where = " AND ".join((*matches, *clauses))
    said = f" WHERE {where}" if where else ""
    sql = f"SELECT {_SELECT} FROM {tables}{said} ORDER BY {order} DESC LIMIT ?"
    return sql, [*matched, *values, -1 if limit is None else limit]


def count_query(filters: Filters) -> tuple[str, list[Json]] | None:
    """The statement that counts them all; None where nothing can match."""
    found = _from(filters)
    if found is None:
        return None
    tables, matches, matched, _ = found
    clauses, values = _clauses(filters)
    where = " AND ".join((*matches, *clauses))
    return f"SELECT count(*) FROM {tables}{' WHERE ' + where if where else ''}", [*matched, *values]

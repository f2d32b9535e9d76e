"""The index of cure records: a row a certificate, and its words for searching. All of it comes from the ledger."""

from __future__ import annotations

import json
import re
import sqlite3
from collections.abc import Iterator, Mapping, Sequence

from press_monitor.archive.ledger import COMEBACK, CORRECTION, CURE_RECORD, INSPECTION, TICKET_ATTACHED
from press_monitor.archive.record import epoch_of
from press_monitor.archive.types import ArchiveError, CertificateRow, Json

__all__ = [
    "COLUMNS",
    "bodies",
    "certificate_row",
    "index_values",
    "match_words",
    "rebuild",
    "refresh",
    "row_of",
    "words_of",
]

COLUMNS = (
    "number, entry, cycle_id, press, source, started_utc, ended_utc, verdict, reasons, recipe, customer, tire,"
    " section, state_of_cure, inspection, comeback"
)
_MARKS = ", ".join("?" * 16)
_FOUND_BY = ("ticket", "recipe", "press", "shop")


def _strings(value: Json) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping):
        for item in value.values():
            yield from _strings(item)
    elif isinstance(value, list):
        for item in value:
            yield from _strings(item)


def _mapping(value: Json) -> Mapping[str, Json]:
    return value if isinstance(value, Mapping) else {}


def _text(value: Json) -> str:
    return value if isinstance(value, str) else ""


def _number(value: Json) -> float | None:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def _as_it_stands(sealed: Json, later: Sequence[Json]) -> tuple[dict[str, Json], Mapping[str, Json]]:
    """Ticket and result: a ticket attached later adds to the first and brings the verdict judged anew; a correction
    replaces what it names.
    """
    ticket, result = dict(_mapping(sealed.get("ticket"))), _mapping(sealed.get("result"))
    for body in later:
        if body.get("kind") in (TICKET_ATTACHED, CORRECTION):
            ticket |= _mapping(body.get("ticket"))
        if body.get("kind") == TICKET_ATTACHED:
            result = _mapping(body.get("result")) or result
    return ticket, result


def _newest(later: Sequence[Json], kind: str, key: str) -> str | None:
    said = [_text(body.get(key)) for body in later if body.get("kind") == kind]
    return next((text for text in reversed(said) if text), None)


def certificate_row(sealed: Json, later: Sequence[Json]) -> CertificateRow:
    """The index row of a cure record's body and the bodies that name it since, oldest first.

    Raises `ArchiveError` for a body that is no cure record.
    """
    ticket, result = _as_it_stands(sealed, later)
    recipe = sealed.get("recipe")
    deepest = _mapping(_mapping(result.get("cure")).get("deepest"))
    try:
        return CertificateRow(
            number=sealed["certificate"],
            entry=sealed["entry"],
            cycle_id=sealed["cycle_id"],
            press=sealed["press"],
            source=sealed["source"],
            started_utc=epoch_of(sealed["started_utc"]),
            ended_utc=epoch_of(sealed["ended_utc"]),
            verdict=str(result["verdict"]),
            reasons=tuple(_strings(result.get("reasons"))),
            recipe=recipe if isinstance(recipe, str) else _text(_mapping(recipe).get("name")),
            customer=_text(ticket.get("customer")),
            tire=_text(ticket.get("tire")),
            section=_text(ticket.get("section")),
            state_of_cure=_number(deepest.get("state_of_cure")),
            inspection=_newest(later, INSPECTION, "result"),
            comeback=_newest(later, COMEBACK, "cause"),
        )
    except (KeyError, TypeError, ValueError) as e:
        raise ArchiveError(f"ledger entry {sealed.get('entry')} is not a cure record: {e}") from e


def words_of(sealed: Json, later: Sequence[Json]) -> str:
    """The words a cure record is found by."""
    ticket, result = _as_it_stands(sealed, later)
    words = [text for name in _FOUND_BY for text in _strings(sealed.get(name))]
    words += [_text(result.get("verdict")), *_strings(result.get("reasons")), *_strings(ticket)]
    words += [_text(_mapping(alarm).get("kind")) for alarm in result.get("alarms") or ()]
    words += [text for body in later for text in _strings(body)]
    return " ".join(dict.fromkeys(words))


def index_values(row: CertificateRow) -> tuple[Json, ...]:
    """A row as table ``certificate`` holds it, in the order of `COLUMNS`."""
    return (
        *(row.number, row.entry, row.cycle_id, row.press, row.source, row.started_utc, row.ended_utc),
        *(row.verdict, json.dumps(row.reasons), row.recipe, row.customer, row.tire, row.section),
        *(row.state_of_cure, row.inspection, row.comeback),
    )


def row_of(values: tuple[Json, ...]) -> CertificateRow:
    """A row of table ``certificate``, in the order of `COLUMNS`."""
    named = list(values)
    named[8] = tuple(json.loads(named[8]))
    return CertificateRow(*named)


def bodies(db: sqlite3.Connection, number: int) -> list[Json]:
    """The cure record of certificate `number` and what names it since."""
    found = db.execute("SELECT body FROM ledger WHERE certificate = ? ORDER BY seq", (number,))
    return [json.loads(body) for (body,) in found]


def refresh(db: sqlite3.Connection, number: int) -> None:
    """Write the index row of one certificate anew, inside the caller's transaction."""
    sealed, *later = bodies(db, number)
    row, words = certificate_row(sealed, later), words_of(sealed, later)
    db.execute("DELETE FROM certificate_text WHERE rowid = ?", (number,))
    db.execute(
        f"INSERT OR REPLACE INTO certificate ({COLUMNS}) VALUES ({_MARKS})",
        index_values(row),
    )
    db.execute("INSERT INTO certificate_text (rowid, words) VALUES (?, ?)", (number, words))


def rebuild(db: sqlite3.Connection) -> int:
    """Throw the index away and make it again from the ledger, inside the caller's transaction; returns its size."""
    db.execute("DELETE FROM certificate_text")
    db.execute("DELETE FROM certificate")
    numbers = db.execute("SELECT certificate FROM ledger WHERE kind = ? ORDER BY seq", (CURE_RECORD,)).fetchall()
    for (number,) in numbers:
        refresh(db, number)
    return len(numbers)


def match_words(text: str) -> str:
    """An FTS5 query for what a person typed: every word, each also as a beginning. Nothing typed can be syntax."""
    return " ".join(f'"{word}"*' for word in re.findall(r"\w+", text))

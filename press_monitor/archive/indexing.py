"""Writing the derived tables, inside the writer's transaction: one certificate, one store item, or all anew."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping

from press_monitor.archive.derived import COLUMN_NAMES, COLUMNS, PART_COLUMNS, Indexed, index_of, index_values
from press_monitor.archive.ledger import CALIBRATION, CURE_RECORD, STORES
from press_monitor.archive.stores import ITEM_FIELDS
from press_monitor.archive.types import ArchiveError, Json

__all__ = ["IndexReader", "bodies", "item_changes", "rebuild", "refresh", "refresh_item", "write_index"]

_MARKS = ", ".join("?" * len(COLUMN_NAMES))
_PARTS = ", ".join(PART_COLUMNS)
_PART_MARKS = ", ".join("?" * (len(PART_COLUMNS) + 1))
_DERIVED = ("used", "alarm_raised", "certificate_part", "certificate_text", "certificate", "store_item")


def bodies(db: sqlite3.Connection, number: int, after: int = -1) -> list[Json]:
    """The cure record of certificate `number` and what names it since; only entries after `after`."""
    found = db.execute("SELECT body FROM ledger WHERE certificate = ? AND seq > ? ORDER BY seq", (number, after))
    return [json.loads(body) for (body,) in found]


def write_index(db: sqlite3.Connection, indexed: Indexed) -> None:
    """Write what is derived of one certificate; nothing of it may be there."""
    row, number = indexed.row, indexed.row.number
    db.execute(f"INSERT INTO certificate ({COLUMNS}) VALUES ({_MARKS})", index_values(row))
    db.execute("INSERT INTO certificate_text (rowid, words) VALUES (?, ?)", (number, indexed.words))
    db.execute(
        f"INSERT INTO certificate_part (rowid, {_PARTS}) VALUES ({_PART_MARKS})",
        (number, *(getattr(row, name) for name in PART_COLUMNS)),
    )
    db.executemany(
        "INSERT INTO used (kind, name, certificate, role) VALUES (?, ?, ?, ?)",
        [(kind, name, number, role) for kind, name, role in indexed.used],
    )
    db.executemany(
        "INSERT INTO alarm_raised (kind, certificate, times) VALUES (?, ?, ?)",
        [(kind, number, times) for kind, times in indexed.alarms],
    )


def refresh(db: sqlite3.Connection, number: int) -> None:
    """Write what is derived of one certificate anew."""
    sealed, *later = bodies(db, number)
    indexed = index_of(sealed, later)
    for table in ("used", "alarm_raised"):
        db.execute(f"DELETE FROM {table} WHERE certificate = ?", (number,))
    for table in ("certificate_part", "certificate_text"):
        db.execute(f"DELETE FROM {table} WHERE rowid = ?", (number,))
    db.execute("DELETE FROM certificate WHERE number = ?", (number,))
    write_index(db, indexed)


class IndexReader:
    """Compares the derived tables with what they should say, read side by side: certificates come in rising order."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._tables = [
            _Rising(db.execute(f"SELECT {COLUMNS} FROM certificate ORDER BY number")),
            _Rising(db.execute("SELECT certificate, kind, name, role FROM used ORDER BY certificate, kind, name")),
            _Rising(db.execute("SELECT certificate, kind, times FROM alarm_raised ORDER BY certificate, kind")),
            _Rising(db.execute("SELECT rowid, words FROM certificate_text ORDER BY rowid")),
        ]
        unlike = " OR ".join(f"p.{name} IS NOT c.{name}" for name in PART_COLUMNS)
        found = db.execute(
            f"SELECT c.number FROM certificate c LEFT JOIN certificate_part p ON p.rowid = c.number WHERE {unlike}"
        )
        self._apart = frozenset(number for (number,) in found)

    def holds(self, indexed: Indexed) -> bool:
        """Whether the tables say of a certificate what they should; asked again of the same one, the same."""
        row, number = indexed.row, indexed.row.number
        stored, used, alarms, words = [table.rows_of(number) for table in self._tables]
        return (
            stored == [index_values(row)]
            and used == [(number, *one) for one in indexed.used]
            and alarms == [(number, *alarm) for alarm in indexed.alarms]
            and words == [(number, indexed.words)]
            and number not in self._apart
        )


class _Rising:
    """Rows in the order of their first column, asked for by rising numbers."""

    def __init__(self, cursor: sqlite3.Cursor) -> None:
        self._cursor = cursor
        self._next: tuple[Json, ...] | None = cursor.fetchone()
        self._number: int | None = None
        self._rows: list[tuple[Json, ...]] = []

    def rows_of(self, number: int) -> list[tuple[Json, ...]]:
        if number == self._number:
            return self._rows
        found = []
        row = self._next
        while row is not None and row[0] <= number:
            if row[0] == number:
                found.append(row)
            row = self._cursor.fetchone()
        self._next, self._number, self._rows = row, number, found
        return found


def item_changes(body: Json) -> tuple[str, str, dict[str, Json]] | None:
    """What an entry says of a store item: its kind, its name, and the columns it sets; None where it says nothing."""
    if not isinstance(body, Mapping):
        return None
    if body.get("kind") == STORES and isinstance(body.get("item"), Mapping):
        item = body["item"]
        kind, name = item.get("kind"), item.get("name")
        changes = {key: item[key] for key in ITEM_FIELDS if key in item}
    elif body.get("kind") == CALIBRATION:
        kind, name = "probe", body.get("probe")
        changes = {
            column: body[key]
            for column, key in (
                ("calibrated", "done"),
                ("calibration_due", "due"),
                ("calibration_reference", "reference"),
            )
            if key in body
        }
    else:
        return None
    if not isinstance(kind, str) or not isinstance(name, str) or not (name := " ".join(name.split())):
        return None
    plain = {k: v for k, v in changes.items() if v is None or isinstance(v, str | int | float)}
    return kind, name, plain


def refresh_item(db: sqlite3.Connection, seq: int, body: Json) -> None:
    """Take what a new ledger entry says of a store item into table ``store_item``."""
    said = item_changes(body)
    if said is None:
        return
    kind, name, changes = said
    columns = ["kind", "name", "entry", *changes]
    updates = ", ".join(f"{column} = excluded.{column}" for column in ("entry", *changes))
    db.execute(
        f"INSERT INTO store_item ({', '.join(columns)}) VALUES ({', '.join('?' * len(columns))})"
        f" ON CONFLICT (kind, name) DO UPDATE SET {updates}",
        (kind, name, seq, *changes.values()),
    )


def rebuild(db: sqlite3.Connection) -> tuple[int, list[int]]:
    """Throw the derived tables away and make them again from the ledger.

    Returns how many certificates are indexed, and those whose entries could not be read: `verify` says why.
    """
    for table in _DERIVED:
        db.execute(f"DELETE FROM {table}")
    indexed, unread = 0, []
    numbers = db.execute("SELECT certificate FROM ledger WHERE kind = ? ORDER BY seq", (CURE_RECORD,)).fetchall()
    for (number,) in numbers:
        try:
            sealed, *later = bodies(db, number)
            found = index_of(sealed, later)
        except (ArchiveError, ValueError, AttributeError, TypeError):
            unread.append(number)
            continue
        write_index(db, found)
        indexed += 1
    beside = "SELECT seq, body FROM ledger WHERE certificate IS NULL AND kind IN (?, ?) ORDER BY seq"
    for seq, body in db.execute(beside, (STORES, CALIBRATION)).fetchall():
        try:
            refresh_item(db, seq, json.loads(body))
        except (ValueError, sqlite3.IntegrityError):
            continue
    return indexed, unread

"""What the archive's tests share: a cycle's start, its rows, a sealed archive, and ways to tamper with a file."""

from __future__ import annotations

import math
import random
import sqlite3
import uuid
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

from press_monitor.archive import Archive, ChannelMeta, CycleStart, LiveRow, record_body

CHANNELS = (ChannelMeta("inner_mat", "degF", 1), ChannelMeta("outer_mat", "degF", 1), ChannelMeta("bag", "psi", 2))
NOON = 1_900_000_000.0
START = CycleStart(
    cycle_id="0" * 32,
    press="P1",
    started_utc=NOON,
    source="live",
    recipe={"name": "section-300", "hold_temperature": 148.9},
    repair={"stacks": []},
    ticket={"customer": "Long Draw Orchards", "tire": "18.4-38 R1", "section": "shoulder"},
    channels=CHANNELS,
    time_decimals=3,
    setup={"ambient_degC": 18.3},
)

GRAIN = random.Random(1).randbytes(9000).hex()
"""What deflating makes little smaller than half: for saves that must fill pages."""


def new_start(**changes: Any) -> CycleStart:
    """A cycle of its own."""
    return replace(START, **{"cycle_id": uuid.uuid4().hex, **changes})


def rows(count: int, first: int = 0) -> list[LiveRow]:
    """Rows with an open probe here and there, once a second."""
    return [
        (
            k,
            k * 1000,
            (int(720 + 30 * math.sin(k / 7)), None if k % 13 == 5 else 3000 - k, 3200 + k % 5),
        )
        for k in range(first, first + count)
    ]


def result(verdict: str = "pass") -> dict[str, Any]:
    """A watch's result, as far as the archive looks into it."""
    return {
        "verdict": verdict,
        "reasons": [f"because it is a {verdict}"],
        "alarms": [{"kind": "bag-leaking", "message": "the bag loses pressure"}],
        "cure": {"deepest": {"state_of_cure": 0.94}},
    }


def body(start: CycleStart, verdict: str = "pass", **changes: Any) -> dict[str, Any]:
    """A record's body, ready to be sealed."""
    given: dict[str, Any] = {
        "shop": "Juniper Flat Section Repair",
        "software": "0.0",
        "ended_utc": start.started_utc + 5400.0,
        **changes,
    }
    return record_body(start, result(verdict), **given)


def seal_one(archive: Archive, count: int = 50, verdict: str = "pass", **changes: Any) -> str:
    """One whole cycle; returns its id."""
    start = new_start(**changes)
    archive.begin_cycle(start)
    archive.add_rows(start.cycle_id, rows(count))
    archive.seal(start.cycle_id, body(start, verdict))
    return start.cycle_id


def tamper(path: Path, change: Callable[[sqlite3.Connection], object]) -> None:
    """Change the file as someone would who knows SQLite: triggers dropped first."""
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA synchronous = OFF")
        for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            db.execute(f"DROP TRIGGER {name}")
        change(db)
        db.commit()


def flip(db: sqlite3.Connection, table: str, column: str, key: str, row: int, bit: int) -> None:
    """Flip one bit of one BLOB; `bit` counts through it and around."""
    (blob,) = db.execute(f"SELECT {column} FROM {table} WHERE {key} = ?", (row,)).fetchone()
    changed = bytearray(blob)
    at = bit % (8 * len(changed))
    changed[at // 8] ^= 1 << at % 8
    db.execute(f"UPDATE {table} SET {column} = ? WHERE {key} = ?", (bytes(changed), row))

"""What changes while cycles last: rows, events, states, saves, the heartbeat; for whoever holds a connection."""

from __future__ import annotations

import json
import os
import platform
import sqlite3
from collections.abc import Iterator, Sequence
from functools import cache
from typing import TYPE_CHECKING

from press_monitor import __version__
from press_monitor.archive.record import check_start, start_json
from press_monitor.archive.schema import PLAIN_CHANNELS
from press_monitor.archive.types import (
    ArchiveError,
    ChannelMeta,
    CycleStart,
    DeflatedJson,
    Json,
    JsonText,
    LiveRow,
    deflated,
)

if TYPE_CHECKING:
    from press_monitor.archive.trace import Trace

__all__ = [
    "add_events",
    "add_rows",
    "beat",
    "begin",
    "cycle_number",
    "cycle_start",
    "last_seq",
    "live_rows",
    "put_save",
    "put_state",
    "put_steady",
    "sealed_as",
]


def cycle_number(db: sqlite3.Connection, cycle_id: str) -> int:
    """The number by which other tables know a cycle. Raises `ArchiveError` for one not here."""
    row = db.execute("SELECT number FROM cycle WHERE cycle_id = ?", (cycle_id,)).fetchone()
    if row is None:
        raise ArchiveError(f"there is no cycle {cycle_id}")
    return int(row[0])


def sealed_as(db: sqlite3.Connection, cycle: int) -> int | None:
    """The certificate a cycle was sealed as, None while it is open."""
    (certificate,) = db.execute("SELECT certificate FROM cycle WHERE number = ?", (cycle,)).fetchone()
    return None if certificate is None else int(certificate)


def begin(db: sqlite3.Connection, start: CycleStart) -> int:
    """Write a cycle's start; returns its number. Raises `ArchiveError` for a start that cannot be kept."""
    check_start(start)
    about = json.dumps(start_json(start))
    try:
        number = db.execute(
            "INSERT INTO cycle (cycle_id, press, started_utc, source, time_decimals, start) VALUES (?, ?, ?, ?, ?, ?)",
            (start.cycle_id, start.press, start.started_utc, start.source, start.time_decimals, about),
        ).lastrowid
    except sqlite3.IntegrityError as e:
        raise ArchiveError(f"cycle {start.cycle_id} cannot begin: {e}") from e
    assert number is not None
    db.executemany(
        "INSERT INTO channel (cycle, position, name, unit, decimals) VALUES (?, ?, ?, ?, ?)",
        [(number, k, c.name, c.unit, c.decimals) for k, c in enumerate(start.channels, 1)],
    )
    return number


def cycle_start(db: sqlite3.Connection, cycle_id: str) -> CycleStart:
    """How a cycle began. Raises `ArchiveError` for one not here."""
    row = db.execute(
        "SELECT number, press, started_utc, source, time_decimals, start FROM cycle WHERE cycle_id = ?", (cycle_id,)
    ).fetchone()
    if row is None:
        raise ArchiveError(f"there is no cycle {cycle_id}")
    number, press, started_utc, source, time_decimals, text = row
    about: Json = json.loads(text)
    channels = tuple(
        ChannelMeta(*channel)
        for channel in db.execute(
            "SELECT name, unit, decimals FROM channel WHERE cycle = ? ORDER BY position", (number,)
        )
    )
    return CycleStart(
        cycle_id,
        press,
        started_utc,
        source,
        about["recipe"],
        about["repair"],
        about["ticket"],
        channels,
        time_decimals,
        about["setup"],
    )


@cache
def _columns(channels: int) -> list[str]:
    named = [f"c{k}" for k in range(1, min(channels, PLAIN_CHANNELS) + 1)]
    return [*named, "more"] if channels > PLAIN_CHANNELS else named


@cache
def _insert(channels: int) -> str:
    names = ["cycle", "seq", "t", *_columns(channels)]
    return f"INSERT INTO live_row ({', '.join(names)}) VALUES ({', '.join('?' * len(names))})"


def _stored(cycle: int, channels: int, rows: Sequence[LiveRow]) -> Iterator[tuple[int | str | None, ...]]:
    for seq, t, values in rows:
        if len(values) != channels:
            raise ArchiveError(f"row {seq} has {len(values)} values; its cycle has {channels} channels")
        if channels > PLAIN_CHANNELS:
            yield (cycle, seq, t, *values[:PLAIN_CHANNELS], json.dumps(values[PLAIN_CHANNELS:]))
        else:
            yield (cycle, seq, t, *values)


def add_rows(db: sqlite3.Connection, cycle: int, channels: int, rows: Sequence[LiveRow]) -> None:
    """Append rows. Raises `ArchiveError` for a row of another width or a number already used."""
    try:
        db.executemany(_insert(channels), _stored(cycle, channels, rows))
    except sqlite3.IntegrityError as e:
        raise ArchiveError(f"rows refused: {e}") from e


def live_rows(
    db: sqlite3.Connection, cycle: int, channels: tuple[ChannelMeta, ...], time_decimals: int, after_seq: int
) -> Trace:
    """The rows after `after_seq`, in order."""
    from press_monitor.archive.trace import Trace  # with numpy, which few who read want

    wide = len(channels)
    names = ", ".join(["seq", "t", *_columns(wide)])
    found = db.execute(
        f"SELECT {names} FROM live_row WHERE cycle = ? AND seq > ? ORDER BY seq", (cycle, after_seq)
    ).fetchall()
    if wide > PLAIN_CHANNELS:
        rows: list[LiveRow] = [(r[0], r[1], (*r[2:-1], *json.loads(r[-1]))) for r in found]
    else:
        rows = [(r[0], r[1], r[2:]) for r in found]
    return Trace.from_rows(channels, time_decimals, rows)


def last_seq(db: sqlite3.Connection, cycle: int) -> int:
    """The newest row number of a cycle, -1 without rows."""
    row = db.execute("SELECT max(seq) FROM live_row WHERE cycle = ?", (cycle,)).fetchone()
    return -1 if row[0] is None else int(row[0])


def add_events(db: sqlite3.Connection, cycle: int | None, events: Sequence[tuple[float, float, str, Json]]) -> None:
    """Append events: seconds on the cycle's axis, UTC, kind, the event."""
    db.executemany(
        "INSERT INTO event (cycle, t, utc, kind, event) VALUES (?, ?, ?, ?, ?)",
        [(cycle, t, utc, kind, _text(event)) for t, utc, kind, event in events],
    )


def put_state(db: sqlite3.Connection, press: str, cycle: int | None, utc: float, snapshot: Json) -> None:
    """A press's newest state, or what of it moves: see `put_steady`."""
    db.execute(
        "INSERT INTO press_state (press, cycle, utc, moving) VALUES (?, ?, ?, ?) ON CONFLICT (press)"
        " DO UPDATE SET cycle = excluded.cycle, utc = excluded.utc, moving = excluded.moving",
        (press, cycle, utc, _text(snapshot)),
    )


def put_steady(db: sqlite3.Connection, press: str, steady: JsonText | None) -> None:
    """What seldom changes of a press's state; None where that is whole by itself."""
    if steady is None:
        db.execute("DELETE FROM press_steady WHERE press = ?", (press,))
    else:
        db.execute(
            "INSERT INTO press_steady (press, steady) VALUES (?, ?)"
            " ON CONFLICT (press) DO UPDATE SET steady = excluded.steady",
            (press, steady),
        )


def put_save(db: sqlite3.Connection, cycle: int, seq: int, t: float, save: Json) -> None:
    """A watch's newest saved state."""
    db.execute(
        "INSERT INTO watch_save (cycle, seq, t, save) VALUES (?, ?, ?, ?) ON CONFLICT (cycle)"
        " DO UPDATE SET seq = excluded.seq, t = excluded.t, save = excluded.save",
        (cycle, seq, t, save if isinstance(save, DeflatedJson) else deflated(save)),
    )


def beat(db: sqlite3.Connection, holder: str, utc: float, beats: int) -> None:
    """This process's heartbeat; its first one says since when it records."""
    db.execute(
        "INSERT INTO recorder (id, holder, host, pid, version, started_utc, heartbeat_utc, beats)"
        " VALUES (1, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (id) DO UPDATE SET holder = excluded.holder,"
        " host = excluded.host, pid = excluded.pid, version = excluded.version,"
        " started_utc = CASE WHEN excluded.beats = 1 THEN excluded.started_utc ELSE started_utc END,"
        " heartbeat_utc = excluded.heartbeat_utc, beats = excluded.beats, stopped_utc = NULL",
        (holder, platform.node(), os.getpid(), __version__, utc, utc, beats),
    )


def _text(value: Json) -> str:
    if isinstance(value, JsonText):
        return str(value)
    return json.dumps(value, separators=(",", ":"))

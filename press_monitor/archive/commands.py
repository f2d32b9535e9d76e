"""Commands: how a dashboard asks the recorder for something, through the archive."""

from __future__ import annotations

import json
import sqlite3
import uuid
from pathlib import Path

from press_monitor.archive.connect import connect_reader, connect_writer
from press_monitor.archive.types import COMMAND_LIFETIME_S, ArchiveError, Command, CommandAnswer, Json

__all__ = ["command_answer", "new_command", "send_command", "waiting", "write_answer"]

_COLUMNS = "uuid, issued_utc, expires_utc, operator, press, cycle_id, alarm_id, kind, args"


def new_command(
    kind: str,
    now_utc: float,
    *,
    operator: str = "",
    press: str | None = None,
    cycle_id: str | None = None,
    alarm_id: str | None = None,
    args: Json = None,
) -> Command:
    """A command issued now. It means one press, one cycle and one alarm, or whatever of these is given."""
    return Command(
        uuid.uuid4().hex,
        now_utc,
        now_utc + COMMAND_LIFETIME_S,
        operator,
        press,
        cycle_id,
        alarm_id,
        kind,
        {} if args is None else args,
    )


def send_command(path: Path, command: Command, *, busy_ms: int = 2_000) -> None:
    """Put a command where the recorder finds it, durably, over a short connection of its own.

    Raises `ArchiveError` when the archive is missing or stays busy.
    """
    db = connect_writer(path, create=False, busy_ms=busy_ms)
    try:
        db.execute(
            f"INSERT INTO command ({_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                *(command.uuid, command.issued_utc, command.expires_utc, command.operator, command.press),
                *(command.cycle_id, command.alarm_id, command.kind, json.dumps(command.args)),
            ),
        )
    except sqlite3.Error as e:
        raise ArchiveError(f"{path}: the command could not be written: {e}") from e
    finally:
        db.close()


def answer_in(db: sqlite3.Connection, command_uuid: str) -> CommandAnswer | None:
    """The recorder's answer, None while there is none. Raises `ArchiveError` for a command never sent."""
    row = db.execute("SELECT answer, answer_text, answered_utc FROM command WHERE uuid = ?", (command_uuid,)).fetchone()
    if row is None:
        raise ArchiveError(f"command {command_uuid} was never sent")
    return None if row[0] is None else CommandAnswer(*row)


def command_answer(path: Path, command_uuid: str) -> CommandAnswer | None:
    """`answer_in` over a connection of its own; a dashboard asks its `ArchiveReader`."""
    db = connect_reader(path)
    try:
        return answer_in(db, command_uuid)
    finally:
        db.close()


def waiting(db: sqlite3.Connection) -> tuple[tuple[Command, ...], tuple[str, ...]]:
    """Commands nobody has answered, oldest first, live or not; and the ids of those whose arguments cannot be read."""
    rows = db.execute(f"SELECT {_COLUMNS} FROM command WHERE answer IS NULL ORDER BY issued_utc, rowid").fetchall()
    read, unreadable = list[Command](), list[str]()
    for u, i, e, o, p, c, a, k, args in rows:
        try:
            given = json.loads(args)
        except (ValueError, RecursionError):
            given = False
        if given is None or isinstance(given, dict):
            read.append(Command(u, i, e, o, p, c, a, k, given))
        else:
            unreadable.append(u)
    return tuple(read), tuple(unreadable)


def write_answer(
    db: sqlite3.Connection, command_uuid: str, answer: str, text: str, utc: float, *, keep_args: bool = True
) -> bool:
    """Answer a command once; False when it has an answer already. Raises `ArchiveError` for one never sent.

    Without `keep_args` its arguments are dropped: what they held stands in the ledger, or was not wanted there.
    """
    if answer not in ("done", "refused", "expired"):
        raise ArchiveError(f"{answer!r} is no answer to a command")
    changed = db.execute(
        "UPDATE command SET answer = ?, answer_text = ?, answered_utc = ?,"
        " args = CASE WHEN ? THEN args ELSE '{}' END WHERE uuid = ? AND answer IS NULL",
        (answer, text, utc, keep_args, command_uuid),
    ).rowcount
    if not changed:
        answer_in(db, command_uuid)
    return bool(changed)

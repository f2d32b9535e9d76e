"""Additions to the ledger from a process that is not the recorder.

Who holds the lock writes. Where it is free, it is taken for a moment; where the recorder holds it, what is to be added
is queued as a command, which the recorder's writer carries out and answers in one transaction. So a caller who has
given up waiting can withdraw the command and be sure: it is either done and answered, or it never will be.
"""

from __future__ import annotations

import base64
import binascii
import re
import sqlite3
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from press_monitor.archive.commands import answer_in, new_command, send_command
from press_monitor.archive.connect import connect_reader, connect_writer
from press_monitor.archive.entries import check_entry
from press_monitor.archive.ledger import plain_json
from press_monitor.archive.record import check_start, start_json
from press_monitor.archive.trace import Trace, pack, unpack
from press_monitor.archive.types import (
    ArchiveError,
    ArchiveLocked,
    ChannelMeta,
    Command,
    CommandAnswer,
    CycleStart,
    Json,
)
from press_monitor.archive.writer import Archive

__all__ = ["LEDGER_COMMANDS", "WAIT_S", "Asked", "append_entry", "carry_out", "seal_cycle"]

APPEND: Final = "ledger-append"
SEAL: Final = "ledger-seal"
LEDGER_COMMANDS = frozenset({APPEND, SEAL})
"""Kinds of commands that the writer carries out by itself: they concern no press."""

WAIT_S: Final = 5.0
_POLL_S = 0.05
_ENTRY = re.compile(r"ledger entry (\d+)")
_CERTIFICATE = re.compile(r"certificate (\d+)")


@dataclass(frozen=True, slots=True)
class Asked:
    """How to ask: where the archive and its key lie, who asks, and the clocks."""

    path: Path
    key_path: Path
    holder: str
    wait_s: float = WAIT_S
    now: Callable[[], float] = time.time
    monotonic: Callable[[], float] = time.monotonic
    pause: Callable[[float], None] = time.sleep


def append_entry(asked: Asked, kind: str, body: Mapping[str, Json], certificate: int | None = None) -> int:
    """Add a later entry, by taking the lock or by asking whoever holds it; returns the entry's number.

    Raises `ArchiveError`: refused, no such archive, or no answer within `asked.wait_s` (and then it was not added).
    """
    check_entry(kind, body)
    if not asked.path.exists():
        raise ArchiveError(f"{asked.path}: there is no archive")
    args = {"entry": kind, "body": plain_json(body), "certificate": certificate}
    return _number(_ENTRY, _perform(asked, APPEND, args))


def seal_cycle(asked: Asked, start: CycleStart, trace: Trace, body: Mapping[str, Json]) -> int:
    """Seal a whole cycle at once, as `append_entry` adds an entry; returns the certificate's number."""
    args = {
        "start": {
            **start_json(start),
            "cycle_id": start.cycle_id,
            "press": start.press,
            "started_utc": start.started_utc,
            "source": start.source,
            "time_decimals": start.time_decimals,
        },
        "trace": base64.b64encode(pack(trace)).decode(),
        "body": plain_json(body),
    }
    return _number(_CERTIFICATE, _perform(asked, SEAL, args))


def _number(pattern: re.Pattern[str], text: str) -> int:
    found = pattern.search(text)
    if found is None:
        raise ArchiveError(f"it was added, and the answer cannot be read: {text!r}")
    return int(found.group(1))


def _perform(asked: Asked, kind: str, args: Json) -> str:
    """Carry a request out under the lock or queue it; the words of the answer."""
    until = asked.monotonic() + asked.wait_s
    while True:
        try:
            with Archive.open(asked.path, key_path=asked.key_path, holder=asked.holder, clock=asked.now) as archive:
                return _carried_out(archive, kind, args)
        except ArchiveLocked as locked:
            if locked.holder == "recorder":
                return _queue(asked, kind, args, until)
            # Any other holder is another such call, which is over in a moment.
            if asked.monotonic() >= until:
                raise
        asked.pause(_POLL_S)


def _queue(asked: Asked, kind: str, args: Json, until: float) -> str:
    command = new_command(kind, asked.now(), operator=asked.holder, args=args)
    send_command(asked.path, command)
    db = connect_reader(asked.path)
    try:
        while (answer := answer_in(db, command.uuid)) is None and asked.monotonic() < until:
            asked.pause(_POLL_S)
    finally:
        db.close()
    if answer is None:
        answer = _withdrawn(asked.path, command, asked.now())
    if answer is None:
        raise ArchiveError(f"{asked.path}: the recorder did not answer within {asked.wait_s:g} s; nothing was added")
    if answer.answer != "done":
        raise ArchiveError(f"{asked.path}: the recorder refused: {answer.text}")
    return answer.text


def _withdrawn(path: Path, command: Command, utc: float) -> CommandAnswer | None:
    """Take a command back; None where that worked, else the answer that came first."""
    db = connect_writer(path, create=False)
    try:
        changed = db.execute(
            "UPDATE command SET answer = 'expired', answer_text = 'withdrawn', answered_utc = ?, args = '{}'"
            " WHERE uuid = ? AND answer IS NULL",
            (utc, command.uuid),
        ).rowcount
        return None if changed else answer_in(db, command.uuid)
    except sqlite3.Error as e:
        raise ArchiveError(f"{path}: cannot be written: {e}") from e
    finally:
        db.close()


def carry_out(archive: Archive, command: Command) -> str | None:
    """For the writer: do what a command of `LEDGER_COMMANDS` asks and answer it, both or neither.

    Returns a line for the log; None where it had been answered or withdrawn in the meantime. A request that cannot be
    carried out is answered ``refused``. Raises `ArchiveError` only where the disk refuses: then try again.
    """
    try:
        with archive.transaction():
            text = _carried_out(archive, command.kind, command.args)
            if not archive.answer(command.uuid, "done", text, keep_args=False):
                raise _AnsweredAlready
    except _AnsweredAlready:
        return None
    except Exception as error:  # whatever a request may hold must not end the recording
        cause = error.__cause__
        if isinstance(cause, sqlite3.OperationalError) or type(cause) is sqlite3.DatabaseError:
            raise
        why = str(error) if isinstance(error, ArchiveError) else f"the request cannot be read: {error}"
        archive.answer(command.uuid, "refused", why, keep_args=False)
        return f"{command.kind} by {command.operator or 'no name'}: refused, {why}"
    return f"{command.kind} by {command.operator or 'no name'}: {text}"


class _AnsweredAlready(Exception):
    """The command was withdrawn while it was being carried out."""


def _carried_out(archive: Archive, kind: str, args: Json) -> str:
    if kind == APPEND:
        check_entry(args["entry"], args["body"])
        return f"ledger entry {archive.append(args['entry'], args['body'], args['certificate'])}"
    try:
        trace = unpack(base64.b64decode(args["trace"], validate=True))
    except binascii.Error as error:
        raise ArchiveError(f"the readings cannot be read: {error}") from error
    return f"certificate {_sealed(archive, args['start'], trace, args['body'])}"


def _sealed(archive: Archive, told: Json, trace: Trace, body: Mapping[str, Json]) -> int:
    start = CycleStart(
        cycle_id=told["cycle_id"],
        press=told["press"],
        started_utc=float(told["started_utc"]),
        source=told["source"],
        recipe=told["recipe"],
        repair=told["repair"],
        ticket=told["ticket"],
        channels=tuple(ChannelMeta(c.name, c.unit, c.decimals) for c in trace.channels),
        time_decimals=int(told["time_decimals"]),
        setup=told["setup"],
    )
    check_start(start)
    if start.source != "log":
        raise ArchiveError("only a replayed log is sealed whole; a live cure is sealed by the recorder that watched it")
    with archive.transaction():
        archive.begin_cycle(start)
        archive.add_rows(start.cycle_id, trace.rows())
        return archive.seal(start.cycle_id, body)

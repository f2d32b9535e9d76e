"""Making a sound archive out of a damaged one, as far as the ledger verifies; and going on after a lost key."""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import asdict, dataclass, field
from pathlib import Path

from press_monitor import __version__
from press_monitor.archive.backup import move_aside, stamp
from press_monitor.archive.connect import connect_writer
from press_monitor.archive.indexing import rebuild
from press_monitor.archive.keys import Verifier, create_key, fingerprint, load_key, read_public_key
from press_monitor.archive.ledger import CURE_RECORD, GENESIS_PREV, KINDS, LENGTH, chained
from press_monitor.archive.lock import WriterLock
from press_monitor.archive.record import utc_text
from press_monitor.archive.salvage import Cell, Pages, Row, cells
from press_monitor.archive.schema import migrate
from press_monitor.archive.sealing import begin_ledger
from press_monitor.archive.types import ArchiveError, Json, JsonText, deflated, inflated
from press_monitor.archive.verify import verify

__all__ = ["RecoverReport", "SuccessorReport", "recover", "succeed"]

_CARRIED = ("cycle", "channel", "live_row", "event", "watch_save")


@dataclass(frozen=True, slots=True)
class RecoverReport:
    """What could be saved of a damaged archive.

    Attributes:
        archive: the sound file made.
        original: where the damaged one lies, untouched.
        entries, certificates: saved, in an unbroken chain from entry 0.
        entries_seen: ledger entries that could be read at all; those past the first gap cannot be proved.
        without_readings: certificates whose record is proved and whose readings are lost or damaged.
        open_cycles, open_rows: of cures that were not sealed yet.
        ok: nothing that could be seen was left behind.
    """

    archive: str
    original: str
    entries: int
    entries_seen: int
    certificates: int
    without_readings: tuple[int, ...]
    open_cycles: int
    open_rows: int
    ok: bool

    def to_json(self) -> dict[str, Json]:
        """Every key, always."""
        return {**asdict(self), "without_readings": list(self.without_readings)}

    def lines(self) -> list[str]:
        """In words."""
        said = [
            f"{self.archive}: {self.certificates} certificates saved, ledger entries 0 to {self.entries - 1}",
            f"the damaged file is kept as {self.original}",
        ]
        if self.entries_seen > self.entries:
            said.append(f"{self.entries_seen - self.entries} entries past the first gap can be read and not be proved")
        if self.without_readings:
            said.append(f"without their readings: certificates {', '.join(map(str, self.without_readings))}")
        if self.open_cycles:
            said.append(f"cures not sealed yet: {self.open_cycles}, with {self.open_rows} rows")
        return said


@dataclass(slots=True)
class _Found:
    """Where the rows of a damaged file lie, by table."""

    ledger: dict[int, list[Cell]] = field(default_factory=lambda: defaultdict(list))
    trace: dict[int, list[Cell]] = field(default_factory=lambda: defaultdict(list))
    cycle: dict[int, Row] = field(default_factory=dict)
    channel: dict[tuple[int, int], Row] = field(default_factory=dict)
    live_row: list[Cell] = field(default_factory=list)
    event: list[Cell] = field(default_factory=list)
    watch_save: dict[int, tuple[int, int, float, bytes]] = field(default_factory=dict)


def recover(
    path: Path,
    to: Path | None = None,
    *,
    key: Path | None = None,
    utc: Callable[[], float] = time.time,
) -> RecoverReport:
    """Save what can be proved of a damaged archive.

    Args:
        path: the damaged file; read only.
        to: the new file; None: the archive's own place, the damaged file moving aside.
        key: a PEM file with the public (or private) key that signed it; without one entry 0 is believed.
        utc: seconds since 1970, for the name of what is moved aside.

    Raises:
        ArchiveLocked: somebody writes it.
        ArchiveError: nothing of a ledger could be proved; or `to` exists.
    """
    if not path.is_file():
        raise ArchiveError(f"{path}: there is no archive")
    if to is not None and to.exists():
        raise ArchiveError(f"{to}: exists already")
    lock = WriterLock(path, "recover", __version__)
    target = to if to is not None else path.with_name(f"{path.name}.recovering")
    try:
        if to is None:
            for side in ("", "-wal", "-shm"):
                Path(f"{target}{side}").unlink(missing_ok=True)
        pages = Pages(path)
        try:
            saved = _save(pages, _find(pages), path, target, None if key is None else read_public_key(key))
        finally:
            pages.close()
        original = path
        if to is None:
            kept = move_aside(path, f"damaged-{stamp(utc())}")
            original = path if kept is None else kept
            os.replace(target, path)
    except (OSError, sqlite3.Error) as e:
        raise ArchiveError(f"{path}: could not be recovered: {e}") from e
    finally:
        lock.release()
    return RecoverReport(str(path if to is None else to), str(original), **saved)


def _find(pages: Pages) -> _Found:
    """Tell rows apart by what stands in their columns: the schema may be gone."""
    found = _Found()
    for cell, row in cells(pages):
        match row:
            case (None, str() as kind, int() | None, bytes(), bytes() as digest, bytes() as signature):
                if kind in KINDS and len(digest) == 32 and len(signature) == 64 and cell.rowid is not None:
                    found.ledger[cell.rowid].append(cell)
            case (None, str() as cycle_id, bytes() as digest, bytes()):
                if len(cycle_id) == 32 and len(digest) == 32 and cell.rowid is not None:
                    found.trace[cell.rowid].append(cell)
            case (
                None,
                str() as cycle_id,
                str(),
                int() | float(),
                str(),
                "open" | "sealed",
                int() | None,
                int(),
                str(),
            ):
                if len(cycle_id) == 32 and cell.rowid is not None:
                    found.cycle.setdefault(cell.rowid, (cell.rowid, *row[1:]))
            case (int() as cycle, int() as position, str(), str(), int()):
                found.channel.setdefault((cycle, position), row)
            case (int(), int(), int(), *values, str() | None) if len(values) == 12 and _whole(values):
                found.live_row.append(cell)
            case (None, int() | None, int() | float(), int() | float(), str(), str()):
                if cell.rowid is not None:
                    found.event.append(cell)
            case (None, int() as seq, int() | float() as t, str() | bytes() as save):
                if cell.rowid is not None and (sound := _sound(save)) is not None:
                    kept = found.watch_save.get(cell.rowid)
                    if kept is None or seq > kept[1]:  # leftovers of an older page lie about
                        found.watch_save[cell.rowid] = (cell.rowid, seq, t, sound)
            case _:
                pass
    return found


def _sound(save: str | bytes) -> bytes | None:
    """A save as this version keeps it, where an earlier one kept its text; None of one that cannot be read.

    Without it a watch goes on from the cycle's rows alone.
    """
    try:
        kept = save if isinstance(save, bytes) else deflated(JsonText(save))
        inflated(kept)
    except ValueError:
        return None
    return kept


def _whole(values: list[Json]) -> bool:
    return all(value is None or isinstance(value, int) for value in values)


def _save(pages: Pages, found: _Found, path: Path, target: Path, pinned: bytes | None) -> dict[str, Json]:
    with closing(connect_writer(target, create=True)) as db:
        migrate(db)
        db.execute("BEGIN IMMEDIATE")
        entries, certificates, without = 0, set(), []
        for seq, row in _proved(pages, found, pinned):
            kind, certificate, body = row[1], row[2], row[3]
            db.execute("INSERT INTO ledger VALUES (?, ?, ?, ?, ?, ?)", (seq, *row[1:]))
            entries += 1
            if kind == CURE_RECORD:
                certificates.add(certificate)
                if not _save_trace(db, pages, found, seq, body):
                    without.append(certificate)
        if not entries:
            raise ArchiveError(f"{path}: no ledger could be proved in it; put a backup back")
        db.execute("INSERT OR REPLACE INTO meta VALUES (?, ?)", (LENGTH, str(entries)))
        open_cycles, open_rows = _save_cycles(db, pages, found, certificates)
        rebuild(db)
        db.execute("COMMIT")
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return {
        "entries": entries,
        "entries_seen": max(entries, len(found.ledger)),
        "certificates": len(certificates),
        "without_readings": tuple(without),
        "open_cycles": open_cycles,
        "open_rows": open_rows,
        "ok": len(found.ledger) <= entries and not without,
    }


def _proved(pages: Pages, found: _Found, pinned: bytes | None) -> Iterator[tuple[int, tuple[Json, ...]]]:
    """Ledger rows from entry 0 on, as long as each follows from the one before and is signed."""
    prev, seq, verifier = GENESIS_PREV, 0, None if pinned is None else Verifier(pinned)
    while True:
        for cell in found.ledger.get(seq, ()):
            row = cell.row(pages)
            if row is None or len(row) != 6:
                continue
            body, digest, signature = row[3], row[4], row[5]
            if not (isinstance(body, bytes) and isinstance(digest, bytes) and isinstance(signature, bytes)):
                continue
            if chained(prev, body) != digest or not _says(body, seq, row[1], row[2]):
                continue
            holds = verifier if verifier is not None else _genesis_key(body)
            if holds is not None and holds.holds(signature, digest):
                verifier, prev = holds, digest
                yield seq, row
                break
        else:
            return
        seq += 1


def _says(body: bytes, seq: int, kind: Json, certificate: Json) -> bool:
    try:
        content = json.loads(body)
        return bool((content["entry"], content["kind"], content["certificate"]) == (seq, kind, certificate))
    except (ValueError, KeyError, TypeError):
        return False


def _genesis_key(body: bytes) -> Verifier | None:
    try:
        return Verifier(bytes.fromhex(json.loads(body)["public_key"]))
    except (ArchiveError, ValueError, KeyError, TypeError):
        return None


def _save_trace(db: sqlite3.Connection, pages: Pages, found: _Found, seq: int, body: Json) -> bool:
    try:
        content = json.loads(body)
        signed = bytes.fromhex(content["trace"]["sha256"])
    except (ValueError, KeyError, TypeError):
        return False
    for cell in found.trace.get(seq, ()):
        row = cell.row(pages)
        if row is None or len(row) != 4 or not isinstance(row[3], bytes):
            continue
        if hashlib.sha256(row[3]).digest() == signed:
            db.execute("INSERT INTO trace VALUES (?, ?, ?, ?)", (seq, content["cycle_id"], signed, row[3]))
            return True
    return False


def _save_cycles(db: sqlite3.Connection, pages: Pages, found: _Found, certificates: set[Json]) -> tuple[int, int]:
    """Cycles, events, and what was kept of cures that were not sealed yet; how many of those, and their rows."""
    kept, still_open = set(), set()
    for number, row in sorted(found.cycle.items()):
        state, certificate = row[5], row[6]
        if state == "sealed" and certificate not in certificates:
            continue
        if _insert(db, "cycle", row):
            kept.add(number)
            if state == "open":
                still_open.add(number)
    for (cycle, _), row in sorted(found.channel.items()):
        if cycle in kept:
            _insert(db, "channel", row)
    rows = 0
    for cell in found.live_row:
        live = cell.row(pages)
        if live is not None and live[0] in still_open:
            rows += _insert(db, "live_row", live)
    for cell in found.event:
        event = cell.row(pages)
        if event is not None and (event[1] is None or event[1] in kept):
            _insert(db, "event", (cell.rowid, *event[1:]))
    for cycle, row in found.watch_save.items():
        if cycle in still_open:
            _insert(db, "watch_save", row)
    return len(still_open), rows


def _insert(db: sqlite3.Connection, table: str, row: Row) -> bool:
    """Insert a salvaged row; False where the table refuses it: a leftover of an older page."""
    try:
        db.execute(f"INSERT INTO {table} VALUES ({', '.join('?' * len(row))})", row)
    except (sqlite3.IntegrityError, sqlite3.OperationalError):
        return False
    return True


@dataclass(frozen=True, slots=True)
class SuccessorReport:
    """A new archive that goes on where another one ended."""

    archive: str
    predecessor: str
    predecessor_head: str
    first_certificate: int
    key_fingerprint: str
    open_cycles: int

    def to_json(self) -> dict[str, Json]:
        """Every key, always."""
        return asdict(self)

    def lines(self) -> list[str]:
        """In words."""
        said = [
            f"{self.archive}: begins with certificate {self.first_certificate} and names the head of the one before",
            f"the old archive is kept as {self.predecessor}, and its public key still verifies it",
            f"new key {self.key_fingerprint}: copy it off this computer (press-monitor archive copy-key FOLDER)",
        ]
        if self.open_cycles:
            said.append(f"cures not sealed yet taken over: {self.open_cycles}")
        return said


def succeed(path: Path, key_path: Path, *, utc: Callable[[], float] = time.time) -> SuccessorReport:
    """After a lost key: end an archive as it stands and begin a new one in its place, with a key that is there.

    The first entry of the new one names the old one's head, so that neither can be exchanged unseen; certificate
    numbers go on; cures in progress are taken over. The old file is moved aside whole and stays verifiable.

    Raises `ArchiveLocked` while somebody writes it; `ArchiveError` where the archive does not verify, or where its key
    is there after all.
    """
    report = verify(path)
    if not report.ok:
        raise ArchiveError(f"{path}: does not verify: {report.problems[0].message}; recover it first")
    if key_path.exists() and fingerprint(load_key(key_path).public) == report.key_fingerprint:
        raise ArchiveError(f"{key_path}: is the key that signs {path}: nothing is lost, the recorder goes on with it")
    lock = WriterLock(path, "successor", __version__)
    try:
        with closing(connect_writer(path, create=False)) as old:
            old.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            row = old.execute("SELECT body FROM ledger WHERE seq = 0").fetchone()
            last = old.execute("SELECT max(certificate) FROM ledger WHERE kind = ?", (CURE_RECORD,)).fetchone()[0]
        genesis = json.loads(row[0])
        first = (int(last) if last is not None else int(genesis.get("first_certificate", 1)) - 1) + 1
        predecessor = {
            "archive_id": genesis.get("archive_id"),
            "public_key": genesis.get("public_key"),
            "head_entry": report.head_entry,
            "head_hash": report.head_hash,
        }
        key = load_key(key_path) if key_path.exists() else create_key(key_path)
        fresh = path.with_name(f"{path.name}.successor")
        for side in ("", "-wal", "-shm"):
            Path(f"{fresh}{side}").unlink(missing_ok=True)
        with closing(connect_writer(fresh, create=True)) as db:
            migrate(db)
            db.execute("ATTACH ? AS old", (str(path),))
            db.execute("BEGIN IMMEDIATE")
            more = {"predecessor": predecessor, "first_certificate": first}
            begin_ledger(db, key, utc_text(utc()), more)
            carried = _carry_open(db)
            db.execute("COMMIT")
            db.execute("DETACH old")
            db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        kept = move_aside(path, f"ended-{stamp(utc())}")
        os.replace(fresh, path)
    except (OSError, sqlite3.Error) as e:
        raise ArchiveError(f"{path}: no successor could be made: {e}") from e
    finally:
        lock.release()
    return SuccessorReport(str(path), str(kept), str(report.head_hash), first, fingerprint(key.public), carried)


def _carry_open(db: sqlite3.Connection) -> int:
    """Take the cycles that are not sealed over from the attached old archive; how many."""
    which = "SELECT number FROM old.cycle WHERE state = 'open'"
    for table in _CARRIED:
        column = "number" if table == "cycle" else "cycle"
        db.execute(f"INSERT INTO main.{table} SELECT * FROM old.{table} WHERE {column} IN ({which})")
    return int(db.execute("SELECT count(*) FROM main.cycle").fetchone()[0])

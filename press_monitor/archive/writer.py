"""Writing the archive: the one process that holds the lock."""

from __future__ import annotations

import json
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from types import TracebackType

from press_monitor import __version__
from press_monitor.archive import indexing, live, sealing
from press_monitor.archive.ballast import Ballast, is_full
from press_monitor.archive.commands import waiting, write_answer
from press_monitor.archive.connect import BUSY_MS, connect_writer, reads, refuse_network_share
from press_monitor.archive.durable import make_folder
from press_monitor.archive.keys import SigningKey
from press_monitor.archive.lock import WriterLock
from press_monitor.archive.record import utc_text
from press_monitor.archive.schema import migrate
from press_monitor.archive.stores import Stores, read_stores
from press_monitor.archive.types import ArchiveError, Command, CycleStart, Json, JsonText, LiveRow

__all__ = ["Archive"]

_CHECKPOINT_BUSY_MS = 50
_UNFOLDED_PAGES = 8000
"""How long the log may grow before a commit folds it after all, where its holder does so beside the commits."""
_STATISTICS_EVERY = 500
"""Certificates between two looks at what the derived tables hold: a recorder may run for months."""


class Archive:
    """The writer. Made by `open`, which takes the lock; every method is safe from any thread.

    Each method is one durable commit of its own, or part of the `transaction` around it. SQLite's own errors (disk
    full, I/O) come out as `ArchiveError` with nothing half-written; the caller keeps its data and tries again.
    """

    def __init__(
        self,
        path: Path,
        db: sqlite3.Connection,
        lock: WriterLock,
        key: SigningKey,
        holder: str,
        clock: Callable[[], float],
        ballast: Ballast,
    ) -> None:
        self.path = path
        self.holder = holder
        self._db = db
        self._lock = lock
        self._key = key
        self._clock = clock
        self._turn = threading.RLock()
        self._depth = 0
        self._beats = 0
        self._sealed = False
        self._cycles: dict[str, tuple[int, CycleStart]] = {}
        self._steady: dict[str, JsonText | None] = {}
        self._ballast = ballast
        self._full_since: float | None = None

    @classmethod
    def open(
        cls,
        path: Path,
        *,
        key_path: Path,
        holder: str = "recorder",
        clock: Callable[[], float] = time.time,
        ballast_bytes: int = 0,
    ) -> Archive:
        """Take the lock, make or migrate the file, find or make the signing key.

        Args:
            path: the archive; made if missing, with its folder.
            key_path: the private key; made if missing, unless the archive has entries signed by another.
            holder: who this is, in words, for whoever finds the lock taken.
            clock: UTC seconds, for the times that sealing writes.
            ballast_bytes: room kept back on the disk, see `ballast`; 0 for a holder that is soon done.

        Raises:
            ArchiveLocked: somebody else writes; says who.
            ArchiveError: the file is newer, not ours, on a network share, or its key is missing or another one.
        """
        refuse_network_share(path)
        try:
            make_folder(path.parent)
        except OSError as e:
            raise ArchiveError(f"{path.parent}: cannot be made: {e.strerror or e}") from e
        lock = WriterLock(path, holder, __version__)
        try:
            db = connect_writer(path, create=True)
            try:
                migrate(db)
                ballast = Ballast(path, ballast_bytes)
                archive = cls(path, db, lock, sealing.key_for(db, path, key_path), holder, clock, ballast)
                ballast.keep()
                with archive.transaction():
                    sealing.begin_ledger(db, archive._key, archive._now())
            except sqlite3.Error as e:
                db.close()
                raise ArchiveError(f"{path}: {e}") from e
            except BaseException:
                db.close()
                raise
        except BaseException:
            lock.release()
            raise
        return archive

    def __enter__(self) -> Archive:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Say that the recorder stopped in good order, close, and let the lock go. May be called more than once."""
        with self._turn:
            try:
                if self._beats:
                    self._db.execute("UPDATE recorder SET stopped_utc = ?", (self._clock(),))
                    self.take_statistics()
                self.checkpoint()
            except (sqlite3.Error, ArchiveError):
                pass  # closed already, or the disk is failing: the missing beats will tell
            finally:
                self._db.close()
                self._lock.release()

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """Everything inside is one commit, or nothing of it is. An inner one that fails takes back only its own."""
        with self._turn:
            inner = self._depth > 0
            begin, end = ("SAVEPOINT inside", "RELEASE inside") if inner else ("BEGIN IMMEDIATE", "COMMIT")
            undo = ("ROLLBACK TO inside", "RELEASE inside") if inner else ("ROLLBACK",)
            try:
                self._db.execute(begin)
                self._depth += 1
                try:
                    yield
                    self._db.execute(end)
                except BaseException:
                    self._cycles.clear()
                    self._steady.clear()
                    self._sealed = False
                    if self._db.in_transaction:
                        for statement in undo:
                            self._db.execute(statement)
                    raise
                finally:
                    self._depth -= 1
            except sqlite3.Error as e:
                if is_full(e):
                    self._make_room()
                raise ArchiveError(f"{self.path}: cannot be written: {e}") from e
            if self._sealed and not inner:
                self._sealed = False
                # What was committed stands; a disk that fails at tidying up will say so at the next commit.
                with suppress(ArchiveError):
                    self.checkpoint()

    @contextmanager
    def _statement(self) -> Iterator[None]:
        """What SQLite does whole or not at all by itself: inside a transaction it wants no savepoint of its own."""
        with self._turn:
            if not self._depth:
                with self.transaction():
                    yield
                return
            try:
                yield
            except sqlite3.Error as e:
                if is_full(e):
                    self._make_room()
                raise ArchiveError(f"{self.path}: cannot be written: {e}") from e

    def _make_room(self) -> None:
        """At the first full disk the ballast goes, and what did not fit is tried again by the caller."""
        if self._ballast.drop() and self._full_since is None:
            self._full_since = self._clock()

    def trouble(self) -> tuple[float, str] | None:
        """Since when the disk is short of room, and in words; None while there is no trouble.

        Stands from the moment the ballast had to go until there is room for it again.
        """
        if not self._ballast.dropped or self._full_since is None:
            self._full_since = None
            return None
        room = f"{self._ballast.size / 2**20:.0f} MB"
        return self._full_since, f"the disk is full; the {room} kept back for the cures in progress are being used up"

    # -- a cycle while it lasts --

    def begin_cycle(self, start: CycleStart) -> None:
        """Open a cycle. Raises `ArchiveError` when its id is used or its press has one open."""
        with self.transaction():
            live.begin(self._db, start)

    def _open_cycle(self, cycle_id: str) -> tuple[int, CycleStart]:
        """Number and start of a cycle that still takes rows; only this writer can seal it, so they are kept."""
        if cycle_id not in self._cycles:
            number = live.cycle_number(self._db, cycle_id)
            if live.sealed_as(self._db, number) is not None:
                raise ArchiveError(f"cycle {cycle_id} is sealed")
            self._cycles[cycle_id] = number, live.cycle_start(self._db, cycle_id)
        return self._cycles[cycle_id]

    def _number(self, cycle_id: str | None) -> int | None:
        if cycle_id is None:
            return None
        known = self._cycles.get(cycle_id)
        return known[0] if known else live.cycle_number(self._db, cycle_id)

    def add_rows(self, cycle_id: str, rows: Sequence[LiveRow]) -> None:
        """Append rows to an open cycle: number, scaled time, scaled values in the order of its channels.

        Raises `ArchiveError` for a row of another width, a number already used, or a sealed cycle.
        """
        with self._statement() if len(rows) == 1 else self.transaction():
            number, start = self._open_cycle(cycle_id)
            live.add_rows(self._db, number, len(start.channels), rows)

    def add_events(self, cycle_id: str | None, events: Sequence[tuple[float, float, str, Json]]) -> None:
        """Append events: seconds on the cycle's axis, UTC, kind, the event. None: of no cycle, the whole shop's."""
        with self._statement() if len(events) == 1 else self.transaction():
            live.add_events(self._db, self._number(cycle_id), events)

    def put_state(
        self, press: str, cycle_id: str | None, utc: float, snapshot: Json, steady: JsonText | None = None
    ) -> None:
        """What a press is now, for every dashboard; replaces what it was.

        Args:
            press: whose.
            cycle_id: of the cycle it is in; None for an empty press.
            utc: when it was so.
            snapshot: an object, or those of its members that are others each time.
            steady: its other members, written only where they are not what they were. A member of both is an object,
                and has its own members here and there.
        """
        with self._statement() if self._stands(press, steady) else self.transaction():
            live.put_state(self._db, press, self._number(cycle_id), utc, snapshot)
            if not self._stands(press, steady):
                live.put_steady(self._db, press, steady)
                self._steady[press] = steady

    def _stands(self, press: str, steady: JsonText | None) -> bool:
        return press in self._steady and self._steady[press] == steady

    def put_save(self, cycle_id: str, seq: int, t: float, save: Json) -> None:
        """The watch's state as of row `seq`; replaces the one before."""
        with self._statement():
            live.put_save(self._db, self._open_cycle(cycle_id)[0], seq, t, save)

    # -- commands and the heartbeat --

    @reads
    def data_version(self) -> int:
        """Changes whenever somebody else has committed: then look for commands."""
        with self._turn:
            return int(self._db.execute("PRAGMA data_version").fetchone()[0])

    @reads
    def waiting_commands(self, now_utc: float | None = None) -> tuple[Command, ...]:
        """Commands to be carried out, oldest first. Those too old, or from the future, are answered ``expired``, and
        those that cannot be read ``refused``: left lying they would stand before every later one.
        """
        now = self._clock() if now_utc is None else now_utc
        with self._turn:
            found, unreadable = waiting(self._db)
            dead = [command for command in found if not command.live(now)]
            if dead or unreadable:
                with self.transaction():
                    for command in dead:
                        write_answer(self._db, command.uuid, "expired", "was not taken up in time", now)
                    for uuid in unreadable:
                        write_answer(self._db, uuid, "refused", "cannot be read", now)
            return tuple(command for command in found if command not in dead)

    def answer(
        self, command_uuid: str, answer: str, text: str = "", utc: float | None = None, *, keep_args: bool = True
    ) -> bool:
        """Stamp a command ``done``, ``refused`` or ``expired``; False when it was answered before.

        Without `keep_args` what it asked is dropped, for a request that stands in the ledger now.
        """
        with self.transaction():
            when = self._clock() if utc is None else utc
            return write_answer(self._db, command_uuid, answer, text, when, keep_args=keep_args)

    def beat(self, utc: float) -> None:
        """The recorder lives."""
        with self._statement():
            self._beats += 1
            live.beat(self._db, self.holder, utc, self._beats)
        self._ballast.keep()

    # -- the ledger --

    def seal(self, cycle_id: str, body: Mapping[str, Json]) -> int:
        """Make a cycle a certificate, in one transaction; returns its number.

        Packs the live rows into the trace, completes the body (`record_body`'s) with the trace's SHA-256 and the
        certificate before it, signs it into the ledger, and deletes the live rows. Sealing a sealed cycle again
        changes nothing and returns its number. Raises `RecordError` for a body that cannot be sealed.
        """
        with self.transaction():
            done = live.sealed_as(self._db, live.cycle_number(self._db, cycle_id))
            if done is not None:
                return done
            number, start = self._open_cycle(cycle_id)
            certificate = sealing.seal(self._db, self._key, number, start, body, self._now())
            if certificate % _STATISTICS_EVERY == 0:
                self.take_statistics()
            del self._cycles[cycle_id]
            self._sealed = True
            return certificate

    def append(self, kind: str, body: Mapping[str, Json], certificate: int | None = None) -> int:
        """Add a later entry: inspection, comeback, correction, ticket attached (each naming a certificate),
        calibration, shop file. Returns its number. Raises `RecordError`, `ArchiveError` for an unknown certificate.
        """
        with self.transaction():
            return sealing.append_later(self._db, self._key, kind, body, certificate, self._now())

    @reads
    def all_of(self, kind: str) -> list[Json]:
        """What the entries of a kind that names no certificate say, oldest first."""
        with self._turn:
            rows = self._db.execute(
                "SELECT body FROM ledger WHERE certificate IS NULL AND kind = ? ORDER BY seq", (kind,)
            ).fetchall()
        return [json.loads(body) for (body,) in rows]

    def last_of(self, kind: str) -> Json:
        """What the newest of them says; None where there is none."""
        found = self.all_of(kind)
        return found[-1] if found else None

    @reads
    def stores(self) -> Stores:
        """What was entered of lots, bags, mats and probes, with the cures each has done."""
        with self._turn:
            return read_stores(self._db, unknown=False)

    @reads
    def head(self) -> int:
        """The number of the newest ledger entry, -1 without any."""
        with self._turn:
            (seq,) = self._db.execute("SELECT coalesce(max(seq), -1) FROM ledger").fetchone()
            return int(seq)

    def _now(self) -> str:
        return utc_text(self._clock())

    def rebuild_index(self) -> tuple[int, list[int]]:
        """Make the derived tables again from the ledger.

        Returns how many certificates are indexed, and the numbers of those whose entries could not be read.
        """
        with self.transaction():
            return indexing.rebuild(self._db)

    def take_statistics(self) -> None:
        """Tell SQLite's planner what the derived tables hold; looks at a few hundred rows of each."""
        with self.transaction():
            self._db.execute("PRAGMA analysis_limit = 400")
            for table in ("certificate", "used", "alarm_raised"):
                self._db.execute(f"ANALYZE {table}")

    @contextmanager
    def _tidying(self) -> Iterator[None]:
        """What is done outside any transaction, its errors being the archive's."""
        with self._turn:
            try:
                yield
            except sqlite3.Error as e:
                raise ArchiveError(f"{self.path}: cannot be written: {e}") from e

    def checkpoint(self) -> None:
        """Fold the write-ahead log into the file if no reader is in the way; never waits long for one."""
        with self._tidying():
            self._db.execute(f"PRAGMA busy_timeout = {_CHECKPOINT_BUSY_MS}")
            try:
                self._db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            finally:
                self._db.execute(f"PRAGMA busy_timeout = {BUSY_MS}")

    def fold_beside(self) -> None:
        """From here on the holder calls `fold` between its commits, so that none of them has to wait for it."""
        with self._tidying():
            self._db.execute(f"PRAGMA wal_autocheckpoint = {_UNFOLDED_PAGES}")

    def fold(self) -> None:
        """Fold into the file what of the write-ahead log no reader holds back, waiting for none."""
        with self._tidying():
            self._db.execute("PRAGMA wal_checkpoint(PASSIVE)")

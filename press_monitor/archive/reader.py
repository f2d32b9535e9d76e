"""Reading the archive: what dashboards, certificates and audits ask. Nothing here can write."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Unpack

from press_monitor.archive.commands import answer_in
from press_monitor.archive.connect import connect_reader, reads
from press_monitor.archive.keys import fingerprint
from press_monitor.archive.ledger import CURE_RECORD, GENESIS, entry_of
from press_monitor.archive.live import cycle_number, cycle_start, last_seq, live_rows, sealed_as
from press_monitor.archive.types import (
    ArchiveError,
    CertificateRecord,
    CertificateRow,
    CommandAnswer,
    CycleStart,
    EventRow,
    Json,
    LedgerEntry,
    OpenCycle,
    PressState,
    RecorderRow,
    Save,
    inflated,
)

# What a floor does not ask is loaded by what asks it: the searches, Stores, and the traces with numpy.
if TYPE_CHECKING:
    from press_monitor.archive.search import FilterArgs
    from press_monitor.archive.stores import Stores
    from press_monitor.archive.trace import Trace

__all__ = ["ArchiveReader"]

_ENTRY = "seq, kind, certificate, body, hash, signature"


_STARTS_KEPT = 128
"""Cycles whose beginnings are kept in memory; those that run are far fewer."""


class ArchiveReader:
    """A read-only view of the archive, one thread at a time. Each call reads and lets go; nothing is held between.

    Raises `ArchiveError` for a file that is missing, not ours, newer, or not set up yet.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._db = connect_reader(path)
        self._starts: dict[str, tuple[int, CycleStart]] = {}
        self._steady: dict[str, tuple[str, Json]] = {}

    def __enter__(self) -> ArchiveReader:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close; may be called more than once."""
        self._db.close()

    # -- what is going on --

    @reads
    def data_version(self) -> int:
        """Changes whenever somebody else has committed. Costs microseconds: ask this, and read when it moved."""
        return int(self._db.execute("PRAGMA data_version").fetchone()[0])

    @reads
    def recorder(self) -> RecorderRow | None:
        """Who records or last did; None when nobody ever has."""
        row = self._db.execute(
            "SELECT holder, host, pid, version, started_utc, heartbeat_utc, beats, stopped_utc FROM recorder"
        ).fetchone()
        return None if row is None else RecorderRow(*row)

    @reads
    def press_states(self, known: Mapping[str, tuple[float, str | None]] | None = None) -> dict[str, PressState]:
        """The last state of every press, by name; without those whose time and cycle are `known` already."""
        stamps = self._db.execute(
            "SELECT s.press, s.utc, c.cycle_id FROM press_state s"
            " LEFT JOIN cycle c ON c.number = s.cycle ORDER BY s.press"
        ).fetchall()
        found = {}
        for press, *stamp in stamps:
            if known is None or known.get(press) != tuple(stamp):
                cycle_id, utc, moving, steady = self._db.execute(
                    "SELECT c.cycle_id, s.utc, s.moving, p.steady FROM press_state s"
                    " LEFT JOIN press_steady p ON p.press = s.press"
                    " LEFT JOIN cycle c ON c.number = s.cycle WHERE s.press = ?",
                    (press,),
                ).fetchone()
                found[press] = PressState(press, cycle_id, utc, self._whole(press, json.loads(moving), steady))
        return found

    def _whole(self, press: str, moving: Json, steady: str | None) -> Json:
        """A state put together; what is steady is read again only where it has changed."""
        if steady is None:
            return moving
        if press not in self._steady or self._steady[press][0] != steady:
            self._steady[press] = steady, json.loads(steady)
        rest = self._steady[press][1]
        more = {key: {**rest[key], **moving[key]} for key in rest.keys() & moving.keys()}
        return {**rest, **moving, **more}

    @reads
    def open_cycles(self) -> tuple[OpenCycle, ...]:
        """Cycles not sealed yet, in the order they began."""
        found = self._db.execute("SELECT number, cycle_id FROM cycle WHERE state = 'open' ORDER BY number").fetchall()
        return tuple(OpenCycle(self._start(name)[1], last_seq(self._db, number)) for number, name in found)

    @reads
    def cycle_start(self, cycle_id: str) -> CycleStart:
        """How a cycle began, sealed or open. Raises `ArchiveError` for one not here."""
        return self._start(cycle_id)[1]

    def _start(self, cycle_id: str) -> tuple[int, CycleStart]:
        if cycle_id not in self._starts:
            if len(self._starts) >= _STARTS_KEPT:
                self._starts.pop(next(iter(self._starts)))  # a dashboard reads for months
            self._starts[cycle_id] = (cycle_number(self._db, cycle_id), cycle_start(self._db, cycle_id))
        return self._starts[cycle_id]

    @reads
    def rows(self, cycle_id: str, after_seq: int = -1) -> Trace:
        """An open cycle's rows after `after_seq` (a trace's `last_seq`); none once it is sealed: see `trace`."""
        number, start = self._start(cycle_id)
        return live_rows(self._db, number, start.channels, start.time_decimals, after_seq)

    @reads
    def events(self, cycle_id: str | None, after: int = 0) -> tuple[EventRow, ...]:
        """A cycle's events numbered above `after`, in order; for None those that belong to no cycle."""
        cycle = None if cycle_id is None else self._start(cycle_id)[0]
        found = self._db.execute(
            "SELECT number, t, utc, kind, event FROM event WHERE cycle IS ? AND number > ? ORDER BY number",
            (cycle, after),
        )
        return tuple(EventRow(n, cycle_id, t, utc, kind, json.loads(text)) for n, t, utc, kind, text in found)

    @reads
    def latest_save(self, cycle_id: str) -> Save | None:
        """The newest saved state of an open cycle's watch."""
        number = cycle_number(self._db, cycle_id)
        row = self._db.execute("SELECT seq, t, save FROM watch_save WHERE cycle = ?", (number,)).fetchone()
        return None if row is None else Save(cycle_id, row[0], row[1], inflated(row[2]))

    @reads
    def command_answer(self, command_uuid: str) -> CommandAnswer | None:
        """The recorder's answer, None while there is none. Raises `ArchiveError` for a command never sent."""
        return answer_in(self._db, command_uuid)

    # -- what is sealed --

    @reads
    def certificate_of(self, cycle_id: str) -> int | None:
        """The certificate a cycle was sealed as, None while it is open. Raises `ArchiveError` for one not here."""
        return sealed_as(self._db, cycle_number(self._db, cycle_id))

    @reads
    def records(
        self, *, limit: int | None = None, before: int | None = None, **filters: Unpack[FilterArgs]
    ) -> tuple[CertificateRow, ...]:
        """Cure records, newest first; whatever is given must all hold: see `search.Filters`.

        `before`: only numbers below it, for paging with `limit`.
        """
        from press_monitor.archive.derived import row_of
        from press_monitor.archive.search import Filters, records_query

        query = records_query(Filters(**filters), limit=limit, before=before)
        return () if query is None else tuple(row_of(row) for row in self._db.execute(*query))

    @reads
    def count(self, **filters: Unpack[FilterArgs]) -> int:
        """How many cure records `records` would give without a limit."""
        from press_monitor.archive.search import Filters, count_query

        query = count_query(Filters(**filters))
        return 0 if query is None else int(self._db.execute(*query).fetchone()[0])

    @reads
    def used(self, number: int) -> tuple[tuple[str, str, str], ...]:
        """Kind, name and role of what a certificate's cure used: lots, bag, mats, probes, people."""
        found = self._db.execute(
            "SELECT kind, name, role FROM used WHERE certificate = ? ORDER BY kind, name", (number,)
        )
        return tuple(found)

    @reads
    def alarms_since(self, utc: float) -> dict[str, int]:
        """How often each kind of alarm was raised in the cures sealed that began at or after `utc`."""
        found = self._db.execute(
            "SELECT a.kind, sum(a.times) FROM alarm_raised a JOIN certificate c ON c.number = a.certificate"
            " WHERE c.started_utc >= ? GROUP BY a.kind",
            (utc,),
        )
        return dict(found.fetchall())

    @reads
    def stores(self) -> Stores:
        """Lots, bags, mats and probes, with the cures each has done."""
        from press_monitor.archive.stores import read_stores

        return read_stores(self._db)

    @reads
    def query(self, sql: str, values: Sequence[Json] = ()) -> list[tuple[Json, ...]]:
        """Rows of a statement over the derived tables, for audits that count rather than show."""
        return self._db.execute(sql, values).fetchall()

    @reads
    def record(self, number: int, as_of: int | None = None) -> CertificateRecord:
        """Certificate `number` as the ledger stood at entry `as_of` (default: now).

        Raises `ArchiveError` for a certificate that is not there, or was not there yet.
        """
        head = self.head()
        if head is None:
            raise ArchiveError(f"{self.path}: the ledger is empty")
        if as_of is not None and not 0 <= as_of <= head.seq:
            raise ArchiveError(f"there is no ledger entry {as_of}; the newest is {head.seq}")
        until = head.seq if as_of is None else as_of
        found = self._entries("certificate = ? AND seq <= ?", number, until)
        if not found or found[0].kind != CURE_RECORD:
            when = "" if as_of is None else f" as of entry {as_of}"
            raise ArchiveError(f"there is no certificate {number}{when}")
        return CertificateRecord(number, found[0], found[1:], until, self.key_fingerprint())

    @reads
    def trace(self, number: int) -> Trace:
        """The readings of certificate `number`. Raises `ArchiveError` where they are not what was sealed."""
        row = self._db.execute(
            "SELECT l.body, t.data FROM ledger l LEFT JOIN trace t ON t.entry = l.seq"
            " WHERE l.certificate = ? AND l.kind = ?",
            (number, CURE_RECORD),
        ).fetchone()
        if row is None:
            raise ArchiveError(f"there is no certificate {number}")
        body, data = row
        if data is None or hashlib.sha256(data).hexdigest() != json.loads(body)["trace"]["sha256"]:
            raise ArchiveError(f"the readings of certificate {number} are not those that were sealed; run verify")
        from press_monitor.archive.trace import unpack

        return unpack(data)

    # -- the ledger --

    @reads
    def head(self) -> LedgerEntry | None:
        """The newest entry; None in a ledger without any."""
        found = self._entries("seq = (SELECT max(seq) FROM ledger)")
        return found[0] if found else None

    @reads
    def entry(self, seq: int) -> LedgerEntry:
        """One entry. Raises `ArchiveError` for one that is not there."""
        found = self._entries("seq = ?", seq)
        if not found:
            raise ArchiveError(f"there is no ledger entry {seq}")
        return found[0]

    @reads
    def entry_hash(self, seq: int) -> bytes:
        """The hash of one entry, which may itself be damaged. Raises `ArchiveError` for one that is not there."""
        row = self._db.execute("SELECT hash FROM ledger WHERE seq = ?", (seq,)).fetchone()
        if row is None:
            raise ArchiveError(f"there is no ledger entry {seq}; run verify")
        return bytes(row[0])

    @reads
    def key_fingerprint(self) -> str:
        """SHA-256 of the public key in entry 0, hex. Raises `ArchiveError` where there is none."""
        genesis = self.entry(0)
        try:
            if genesis.kind != GENESIS:
                raise ValueError
            return fingerprint(bytes.fromhex(genesis.content["public_key"]))
        except (KeyError, TypeError, ValueError):
            raise ArchiveError(f"{self.path}: ledger entry 0 holds no public key; run verify") from None

    def _entries(self, where: str, *given: int) -> tuple[LedgerEntry, ...]:
        found = self._db.execute(f"SELECT {_ENTRY} FROM ledger WHERE {where} ORDER BY seq", given)
        return tuple(entry_of(row) for row in found)

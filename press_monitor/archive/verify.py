"""Does the archive still say what was sealed? Walks the ledger from the bytes stored and never writes.

Checked, entry by entry: numbers without gaps; the hash over the one before and the body; the signature; that the
columns beside a body say what the signed body says; that certificate numbers run 1, 2, 3 …; that each record's trace
is there and has the SHA-256 that was signed, and, on request, unpacks to the rows that were stated. Then what lies
beside the ledger: its length, no trace without a record, no cycle sealed as a certificate that it lacks, the index
saying what it says. Those show a plain cut at the end; whoever cuts with care, or puts an old file back, is found by
a certificate handed out since.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

from press_monitor.archive.connect import connect_reader
from press_monitor.archive.derived import index_of, sketch
from press_monitor.archive.indexing import IndexReader, bodies, item_changes
from press_monitor.archive.keys import Verifier, fingerprint, read_public_key
from press_monitor.archive.ledger import CURE_RECORD, GENESIS_PREV, LENGTH, chained, first_certificate
from press_monitor.archive.stores import ITEM_FIELDS, folded
from press_monitor.archive.trace import TraceError, unpack
from press_monitor.archive.types import ArchiveError, Json
from press_monitor.archive.verify_report import Problem, VerifyReport

__all__ = ["Problem", "VerifyReport", "verify"]

_WALK = (
    "SELECT l.seq, l.kind, l.certificate, l.body, l.hash, l.signature, t.cycle_id, t.sha256, t.data"
    " FROM ledger l LEFT JOIN trace t ON t.entry = l.seq ORDER BY l.seq"
)

_BATCH = 64


@dataclass(slots=True)
class _Walk:
    """The state of one walk."""

    db: sqlite3.Connection
    tables: IndexReader
    unpack: bool
    pinned: bytes | None
    later: frozenset[int]
    """Certificates with later entries."""
    problems: list[Problem] = field(default_factory=list)
    entries: int = 0
    certificates: int = 0
    prev: bytes | None = GENESIS_PREV
    next_certificate: int = 1
    public: bytes | None = None
    verifier: Verifier | None = None
    head: tuple[int, bytes] | None = None
    present: set[int] = field(default_factory=set)
    unread: set[int] = field(default_factory=set)
    """Certificates of which an entry is not believed."""
    doubted: list[int] = field(default_factory=list)
    """Certificates of which the derived tables say something else than their entries."""
    items: dict[tuple[str, str], dict[str, Json]] = field(default_factory=dict)
    """What Stores should say of each item, as long as every entry that may speak of one is believed."""
    items_known: bool = True

    def bad(self, entry: int | None, certificate: int | None, what: str, message: str) -> None:
        self.problems.append(Problem(entry, certificate, what, message))

    def take_key(self, seq: int, body: bytes, whole: bool) -> None:
        """The key that entry 0 names, if its bytes can be believed so far; a pinned key goes before it."""
        try:
            content = json.loads(body)
            self.next_certificate = first_certificate(content)
            self.public = bytes.fromhex(content["public_key"])
            named: Verifier | None = Verifier(self.public)
        except (ArchiveError, KeyError, TypeError, ValueError):
            self.bad(seq, None, "key", "entry 0 holds no public key: signatures cannot be checked without --key")
            self.public = named = None
        if self.pinned is not None:
            self.verifier = Verifier(self.pinned)
            if self.public is not None and self.public != self.pinned:
                self.bad(
                    seq,
                    None,
                    "key",
                    f"the archive is signed by key {fingerprint(self.public)[:16]},"
                    f" not by the pinned key {fingerprint(self.pinned)[:16]}",
                )
        elif whole:
            self.verifier = named

    def proved(
        self, seq: int, certificate: int | None, body: bytes, stored: bytes, signature: bytes, signed: bool | None
    ) -> bool:
        """Chain and signature of one entry; sets the hash that the next one builds on. False: do not believe it.

        `signed`: whether the signature over the stored hash holds, where that has been looked at already.
        """
        computed = None if self.prev is None else chained(self.prev, body)
        if seq == 0:
            self.take_key(seq, body, computed == stored)
        holds = self.verifier.holds if self.verifier is not None else None
        if computed == stored:
            self.prev = stored
            if holds is None or (holds(signature, stored) if signed is None else signed):
                return True
            self.bad(seq, certificate, "signature", f"entry {seq}: the signature does not hold")
            return False
        if computed is not None and holds is not None and holds(signature, computed):
            # Body and signature agree: only the stored hash was touched, and the next entry builds on the true one.
            self.prev = computed
            self.bad(seq, certificate, "chain", f"entry {seq}: the stored hash was changed")
            return True
        self.prev = stored
        if computed is None:
            self.bad(seq, certificate, "chain", f"entry {seq}: cannot be proved, the entry before it is missing")
        else:
            self.bad(seq, certificate, "chain", f"entry {seq}: was changed; its hash does not follow from its body")
        return False

    def entry(self, row: tuple[Json, ...], signed: bool | None = None) -> None:
        """One entry and its trace; `signed` as in `proved`."""
        seq, kind, certificate, body, stored, signature, *trace = row
        self.entries += 1
        expected = 0 if self.head is None else self.head[0] + 1
        if seq != expected:
            gap = (
                f"entry {expected} is missing"
                if seq == expected + 1
                else f"entries {expected} to {seq - 1} are missing"
            )
            self.bad(expected, None, "missing", gap)
            self.prev = None
        if kind == CURE_RECORD:
            self.number(seq, certificate)
        if not (isinstance(body, bytes) and isinstance(stored, bytes) and isinstance(signature, bytes)):
            self.bad(seq, certificate, "columns", f"entry {seq}: body, hash or signature is not bytes")
            self.head, self.prev = (seq, b""), None
            self.items_known = False
            if certificate is not None:
                self.unread.add(certificate)
            return
        self.head = (seq, stored)
        believed = self.proved(seq, certificate, body, stored, signature, signed)
        content: Json = None
        said = None
        if believed:
            try:
                content = sketch(self.db, body) if kind == CURE_RECORD else json.loads(body)
                said = (content["entry"], content["kind"], content["certificate"])
            except (ValueError, KeyError, TypeError):
                content = None
        if believed and said != (seq, kind, certificate):
            self.bad(seq, certificate, "columns", f"entry {seq}: the row says another number, kind or certificate")
        if certificate is not None:
            self.index(certificate, content if believed and said is not None else None)
        elif believed and said is not None:
            self.item(content)
        else:
            self.items_known = False
        if kind == CURE_RECORD:
            self.trace(seq, certificate, content if believed else None, *trace)

    def index(self, certificate: int, content: Json) -> None:
        """Compare what is derived of a certificate. Entries that name it later are taken as they stand there; where one
        of them is not believed when its turn comes, nothing is said of the index.
        """
        if content is None:
            self.unread.add(certificate)
        elif content["kind"] == CURE_RECORD:
            try:
                later = bodies(self.db, certificate, after=content["entry"]) if certificate in self.later else []
                if self.tables.holds(index_of(content, later)):
                    return
                sealed, *later = bodies(self.db, certificate)
                if not self.tables.holds(index_of(sealed, later)):
                    self.doubted.append(certificate)
            except ArchiveError as e:
                self.bad(content["entry"], certificate, "columns", str(e))
                self.unread.add(certificate)
            except (ValueError, AttributeError, TypeError):
                self.doubted.append(certificate)

    def item(self, content: Json) -> None:
        """What an entry of its own says of something in Stores."""
        said = item_changes(content)
        if said is not None:
            kind, name, changes = said
            known = self.items.setdefault((kind, folded(name)), dict.fromkeys(ITEM_FIELDS))
            known.update(changes)

    def number(self, seq: int, certificate: int | None) -> None:
        self.certificates += 1
        if certificate is not None:
            self.present.add(certificate)
        if certificate != self.next_certificate:
            self.bad(
                seq, certificate, "number", f"entry {seq}: is certificate {certificate}, not {self.next_certificate}"
            )
        self.next_certificate = (certificate or self.next_certificate) + 1

    def trace(
        self, seq: int, certificate: int, content: Json, cycle_id: str | None, stored: bytes | None, data: bytes | None
    ) -> None:
        if data is None:
            self.bad(seq, certificate, "trace", f"entry {seq}: the readings of certificate {certificate} are missing")
            return
        digest = hashlib.sha256(data).digest()
        about = content.get("trace") if isinstance(content, Mapping) else None
        signed = about.get("sha256") if isinstance(about, Mapping) else None
        if content is not None and digest.hex() != signed:
            self.bad(seq, certificate, "trace", f"entry {seq}: the readings of certificate {certificate} were changed")
            return
        if digest != stored or (content is not None and cycle_id != content.get("cycle_id")):
            self.bad(seq, certificate, "trace", f"entry {seq}: the trace's row does not fit the readings in it")
            return
        if not self.unpack:
            return
        try:
            rows = len(unpack(data))
        except TraceError as e:
            self.bad(seq, certificate, "trace", f"entry {seq}: readings: {e}")
            return
        if isinstance(about, Mapping) and rows != about.get("rows"):
            self.bad(seq, certificate, "trace", f"entry {seq}: {rows} readings, {about.get('rows')} stated")


def _walk(walk: _Walk, rows: sqlite3.Cursor) -> None:
    """Every entry in its order. Signatures are checked a batch ahead, beside reading and comparing all the rest."""
    first = rows.fetchone()
    if first is None:
        return
    walk.entry(first)
    if walk.verifier is None:
        for row in rows:
            walk.entry(row)
        return
    holds = walk.verifier.holds

    def check(batch: Sequence[tuple[Json, ...]]) -> list[bool]:
        return [
            isinstance(stored, bytes) and isinstance(signature, bytes) and holds(signature, stored)
            for _, _, _, _, stored, signature, *_ in batch
        ]

    ahead: tuple[list[tuple[Json, ...]], Future[list[bool]]] | None = None
    with ThreadPoolExecutor(1, thread_name_prefix="signatures") as pool:
        while True:
            batch = rows.fetchmany(_BATCH)
            coming = (batch, pool.submit(check, batch)) if batch else None
            if ahead is not None:
                for row, signed in zip(ahead[0], ahead[1].result(), strict=True):
                    walk.entry(row, signed)
            if coming is None:
                return
            ahead = coming


def _beside(db: sqlite3.Connection, walk: _Walk) -> None:
    """What must agree with the ledger: traces, cycles, the index."""
    head = -1 if walk.head is None else walk.head[0]
    counted = db.execute("SELECT value FROM meta WHERE name = ?", (LENGTH,)).fetchone()
    if walk.head is None:
        walk.bad(0, None, "missing", "the ledger is empty: not even the entry with its key is there")
    elif counted is None or counted[0] != str(head + 1):
        says = "nothing" if counted is None else counted[0]
        walk.bad(head + 1, None, "missing", f"the ledger ends with entry {head}; the count of its entries says {says}")
    orphans = db.execute(
        "SELECT entry FROM trace WHERE entry NOT IN (SELECT seq FROM ledger WHERE kind = ?) ORDER BY entry",
        (CURE_RECORD,),
    )
    for (seq,) in orphans:
        walk.bad(seq, None, "trace", f"entry {seq}: there are readings, and no cure record to them")
    lost = db.execute(
        "SELECT cycle_id, certificate FROM cycle WHERE state = 'sealed' AND certificate NOT IN"
        " (SELECT certificate FROM ledger WHERE kind = ?) ORDER BY certificate",
        (CURE_RECORD,),
    )
    for cycle_id, certificate in lost:
        walk.bad(
            head + 1,
            certificate,
            "missing",
            f"cycle {cycle_id} was sealed as certificate {certificate}, and the ledger has no such record",
        )
    for number in walk.doubted:
        if number not in walk.unread:
            walk.bad(None, number, "index", f"the index of records does not say what certificate {number} says")
    extra = db.execute(
        "SELECT number FROM certificate WHERE number NOT IN (SELECT certificate FROM ledger WHERE kind = ?)"
        " ORDER BY number",
        (CURE_RECORD,),
    )
    for (number,) in extra:
        if number not in walk.unread:
            walk.bad(None, number, "index", f"the index lists certificate {number}, and the ledger has no such record")
    stored = {
        (kind, folded(name)): dict(zip(ITEM_FIELDS, values, strict=True))
        for kind, name, *values in db.execute(f"SELECT kind, name, {', '.join(ITEM_FIELDS)} FROM store_item")
    }
    for kind, name in sorted(set(stored) | set(walk.items)) if walk.items_known else ():
        if stored.get((kind, name)) != walk.items.get((kind, name)):
            walk.bad(None, None, "index", f"Stores does not say of {kind} {name} what the ledger says")


def _with_later(db: sqlite3.Connection) -> frozenset[int]:
    """Certificates that more than one entry names."""
    found = db.execute(
        "SELECT certificate FROM ledger WHERE certificate IS NOT NULL GROUP BY certificate HAVING count(*) > 1"
    )
    return frozenset(number for (number,) in found)


def _compare_handed_out(walk: _Walk, handed_out: Sequence[tuple[int, bytes]]) -> None:
    """Whoever cuts the end off, or puts an old file back, cannot take back what was handed out since."""
    for number, digest in handed_out:
        row = walk.db.execute(
            "SELECT seq, hash FROM ledger WHERE certificate = ? AND kind = ?", (number, CURE_RECORD)
        ).fetchone()
        if row is None:
            entry = 0 if walk.head is None else walk.head[0] + 1
            said = f"certificate {number} was handed out and is not here: entries were cut off, or an old file put back"
            walk.bad(entry, number, "handed-out", said)
        elif row[1] != digest:
            said = f"certificate {number} was handed out with hash {digest.hex()[:16]}…, and here it has another"
            walk.bad(row[0], number, "handed-out", said)


def verify(
    path: Path,
    key: Path | None = None,
    *,
    unpack_traces: bool = False,
    handed_out: Sequence[tuple[int, bytes]] = (),
) -> VerifyReport:
    """Verify the archive at `path`, in use or a copy, also on a medium that cannot be written.

    Args:
        path: the archive.
        key: a PEM file with the public (or private) key that must have signed it all. Without one the key in entry
            0 is taken, which whoever wrote the whole chain anew would have replaced.
        unpack_traces: also unpack each trace and count its rows. Its SHA-256 proves already that it is the one that
            sealing unpacked and compared row by row, so this only costs time, unless one doubts the program.
        handed_out: number and hash of certificates that left the shop; the archive must have them still.

    Raises:
        ArchiveError: no archive that could be opened, or no key in `key`. What does not hold is in the report.
    """
    pinned = None if key is None else read_public_key(key)
    with closing(connect_reader(path)) as db:
        try:
            db.execute("BEGIN")
            walk = _Walk(db, IndexReader(db), unpack_traces, pinned, _with_later(db))
        except sqlite3.Error as e:
            raise ArchiveError(f"{path}: cannot be read: {e}") from e
        try:
            _walk(walk, db.execute(_WALK))
            _beside(db, walk)
            _compare_handed_out(walk, handed_out)
        except sqlite3.Error as e:
            where = 0 if walk.head is None else walk.head[0] + 1
            walk.bad(where, None, "file", f"the file cannot be read from entry {where} on: {e}")
    entries = [problem.entry for problem in walk.problems if problem.entry is not None]
    bad = walk.present & {problem.certificate for problem in walk.problems if problem.certificate is not None}
    return VerifyReport(
        ok=not walk.problems,
        archive=str(path),
        entries=walk.entries,
        certificates=walk.certificates,
        first_bad=min(entries, default=None),
        certificates_bad=tuple(sorted(bad)),
        problems=tuple(walk.problems),
        head_entry=None if walk.head is None else walk.head[0],
        head_hash=None if walk.head is None else bytes(walk.head[1]).hex(),
        key_fingerprint=None if walk.public is None else fingerprint(walk.public),
        key_pinned=pinned is not None,
        traces_unpacked=unpack_traces,
        handed_out=len(handed_out),
    )

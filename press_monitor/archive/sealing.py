"""What a sealed cycle, a later entry and a new ledger are made of, step by step, inside the writer's transaction."""

from __future__ import annotations

import json
import sqlite3
import uuid
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from press_monitor import __version__
from press_monitor.archive import indexing, live
from press_monitor.archive.keys import SigningKey, create_key, fingerprint, load_key
from press_monitor.archive.ledger import CURE_RECORD, GENESIS, NAMING, append_entry, first_certificate
from press_monitor.archive.record import completed
from press_monitor.archive.trace import Trace, pack, unpack
from press_monitor.archive.types import ArchiveError, CycleStart, Json

__all__ = ["append_later", "begin_ledger", "key_for", "seal"]


def seal(
    db: sqlite3.Connection, key: SigningKey, cycle: int, start: CycleStart, body: Mapping[str, Json], written_utc: str
) -> int:
    """Turn an open cycle into a certificate; returns its number. See `Archive.seal`."""
    if body.get("cycle_id") != start.cycle_id:
        raise ArchiveError(f"the body is of cycle {body.get('cycle_id')}, not {start.cycle_id}")
    trace = live.live_rows(db, cycle, start.channels, start.time_decimals, -1)
    packed = _packed(trace)
    last = db.execute(
        "SELECT certificate, hash FROM ledger WHERE kind = ? ORDER BY seq DESC LIMIT 1", (CURE_RECORD,)
    ).fetchone()
    certificate = int(last[0]) + 1 if last else _first_certificate(db)
    whole = completed(body, trace, packed, last)
    seq = _append(db, key, CURE_RECORD, whole, certificate, written_utc)
    db.execute(
        "INSERT INTO trace (entry, cycle_id, sha256, data) VALUES (?, ?, ?, ?)",
        (seq, start.cycle_id, bytes.fromhex(whole["trace"]["sha256"]), packed),
    )
    db.execute("DELETE FROM live_row WHERE cycle = ?", (cycle,))
    db.execute("DELETE FROM watch_save WHERE cycle = ?", (cycle,))
    db.execute("UPDATE cycle SET state = 'sealed', certificate = ? WHERE number = ?", (certificate, cycle))
    return certificate


def _first_certificate(db: sqlite3.Connection) -> int:
    row = db.execute("SELECT body FROM ledger WHERE seq = 0").fetchone()
    return first_certificate(json.loads(row[0])) if row else 1


def _packed(trace: Trace) -> bytes:
    """The packed trace, proved to give every row back before anything is signed or deleted."""
    packed = pack(trace)
    back = unpack(packed)
    same = (
        np.array_equal(back.t, trace.t)
        and np.array_equal(back.present, trace.present)
        and np.array_equal(back.counts[back.present], trace.counts[trace.present])
    )
    if not same:
        raise ArchiveError("the readings do not come back from their packed form; the cycle stays open")
    return packed


def append_later(
    db: sqlite3.Connection,
    key: SigningKey,
    kind: str,
    body: Mapping[str, Json],
    certificate: int | None,
    written_utc: str,
) -> int:
    """Add an entry that is not a cure record; returns its number. See `Archive.append`."""
    if kind in (GENESIS, CURE_RECORD):
        raise ArchiveError(f"{kind}: is not appended by hand")
    if (kind in NAMING) != (certificate is not None):
        raise ArchiveError(f"{kind}: {'must' if kind in NAMING else 'cannot'} name a certificate")
    if certificate is not None:
        known = db.execute("SELECT 1 FROM ledger WHERE certificate = ? AND kind = ?", (certificate, CURE_RECORD))
        if known.fetchone() is None:
            raise ArchiveError(f"there is no certificate {certificate}")
    return _append(db, key, kind, body, certificate, written_utc)


def _append(
    db: sqlite3.Connection,
    key: SigningKey,
    kind: str,
    body: Mapping[str, Json],
    certificate: int | None,
    written_utc: str,
) -> int:
    seq, _ = append_entry(db, key, kind, body, certificate=certificate, written_utc=written_utc)
    if certificate is not None:
        indexing.refresh(db, certificate)
    else:
        indexing.refresh_item(db, seq, {**body, "kind": kind})
    return seq


def begin_ledger(
    db: sqlite3.Connection, key: SigningKey, written_utc: str, more: Mapping[str, Json] | None = None
) -> None:
    """Entry 0 with the public key, where there is no entry yet. `more`: what goes on from another archive."""
    if db.execute("SELECT 1 FROM ledger").fetchone() is None:
        body = {
            "archive_id": uuid.uuid4().hex,
            "algorithm": "Ed25519",
            "public_key": key.public.hex(),
            "software": __version__,
            **(more or {}),
        }
        _append(db, key, GENESIS, body, None, written_utc)


def key_for(db: sqlite3.Connection, path: Path, key_path: Path) -> SigningKey:
    """The key that signed this archive's ledger; made for an empty one."""
    row = db.execute("SELECT body FROM ledger WHERE seq = 0").fetchone()
    if row is None:
        return load_key(key_path) if key_path.exists() else create_key(key_path)
    if not key_path.exists():
        raise ArchiveError(
            f"{key_path}: the key that signs {path} is missing; copy it back from where you keep it,"
            " or keep this archive as it is and start a new one"
        )
    key = load_key(key_path)
    try:
        public = str(json.loads(row[0])["public_key"])
    except (ValueError, KeyError, TypeError):
        raise ArchiveError(f"{path}: ledger entry 0 holds no public key; run verify") from None
    if key.public.hex() != public:
        raise ArchiveError(
            f"{key_path}: is not the key that signs {path}: that one's fingerprint is"
            f" {fingerprint(bytes.fromhex(public))[:16]}, this one's {fingerprint(key.public)[:16]}"
        )
    return key

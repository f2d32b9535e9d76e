"""The ledger: entries that can be added and never changed, each chained to the one before and signed.

``body`` is RFC 8785 canonical JSON; ``hash = SHA-256(prev hash ‖ body)`` with 32 zero bytes before entry 0;
``signature`` is Ed25519 over the hash. Entry 0 carries the public key. What is hashed is always the bytes stored.

What this proves: without the private key nobody can alter, insert, drop from within or reorder entries unseen. What
it cannot: whoever holds this computer and its key can write the whole chain anew, and whoever cuts entries off its
end leaves a shorter chain that holds. Only a copy elsewhere tells: a certificate handed out, a pinned key, a
backup.
"""

from __future__ import annotations

import hashlib
import json
import math
import sqlite3
from collections.abc import Mapping
from typing import Final

import rfc8785

from press_monitor.archive.keys import SigningKey
from press_monitor.archive.types import ArchiveError, Json, LedgerEntry

__all__ = [
    "CALIBRATION",
    "COMEBACK",
    "CORRECTION",
    "CURE_RECORD",
    "GENESIS",
    "GENESIS_PREV",
    "INSPECTION",
    "KINDS",
    "LENGTH",
    "NAMING",
    "SHOP_FILE",
    "STORES",
    "TICKET_ATTACHED",
    "RecordError",
    "append_entry",
    "canonical",
    "chained",
    "entry_of",
    "first_certificate",
    "plain_json",
]

GENESIS: Final = "genesis"
CURE_RECORD: Final = "cure-record"
INSPECTION: Final = "inspection"
COMEBACK: Final = "comeback"
CORRECTION: Final = "correction"
TICKET_ATTACHED: Final = "ticket-attached"
CALIBRATION: Final = "calibration"
SHOP_FILE: Final = "shop-file"
STORES: Final = "stores"
KINDS = (GENESIS, CURE_RECORD, INSPECTION, COMEBACK, CORRECTION, TICKET_ATTACHED, CALIBRATION, SHOP_FILE, STORES)

NAMING = (INSPECTION, COMEBACK, CORRECTION, TICKET_ATTACHED)
"""Kinds that name a certificate."""

GENESIS_PREV = bytes(32)

LENGTH: Final = "ledger_entries"
"""The row of table ``meta`` that counts the entries, so that a plain cut at the end shows."""
_MOST = (1 << 53) - 1
_DEEPEST = 200


class RecordError(ArchiveError):
    """A body that cannot be sealed as it stands; the message names the key."""


def plain_json(value: object, where: str = "body", depth: int = 0) -> Json:
    """A copy in plain JSON types (tuples become lists). Raises `RecordError` naming the place of anything else:
    a number that is not finite, an integer beyond 2**53 - 1 (RFC 8785 writes IEEE doubles), a lone surrogate.
    """
    if depth > _DEEPEST:
        raise RecordError(f"{where}: nested too deeply")
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, str):
        try:
            value.encode()
        except UnicodeEncodeError:
            raise RecordError(f"{where}: text that is not Unicode") from None
        return str(value)
    if isinstance(value, int):
        if abs(value) > _MOST:
            raise RecordError(f"{where}: {value} is too large to be written exactly")
        return int(value)
    if isinstance(value, float):
        if not math.isfinite(value):
            raise RecordError(f"{where}: {value} is not a finite number")
        return float(value)
    if isinstance(value, list | tuple):
        return [plain_json(item, f"{where}[{k}]", depth + 1) for k, item in enumerate(value)]
    if isinstance(value, Mapping):
        out = {}
        for key, item in value.items():
            if not isinstance(key, str):
                raise RecordError(f"{where}: the key {key!r} is not text")
            out[plain_json(key, f"{where}: a key")] = plain_json(item, f"{where}.{key}", depth + 1)
        return out
    raise RecordError(f"{where}: a {type(value).__name__} is not plain JSON")


def canonical(body: Mapping[str, Json]) -> bytes:
    """RFC 8785 bytes. Raises `RecordError` naming the key that cannot be written."""
    return rfc8785.dumps(plain_json(body))


def chained(prev: bytes, body: bytes) -> bytes:
    """SHA-256 over the hash of the entry before and this body."""
    return hashlib.sha256(prev + body).digest()


def first_certificate(genesis: Json) -> int:
    """The number of a ledger's first certificate: 1, or the next one where the ledger goes on from another."""
    number = genesis.get("first_certificate", 1) if isinstance(genesis, Mapping) else 1
    return number if isinstance(number, int) and not isinstance(number, bool) and number > 0 else 1


def entry_of(row: tuple[int, str, int | None, bytes, bytes, bytes]) -> LedgerEntry:
    """A row ``seq, kind, certificate, body, hash, signature`` with its body read."""
    try:
        content = json.loads(row[3])
    except ValueError:
        raise ArchiveError(f"ledger entry {row[0]} cannot be read; run verify") from None
    return LedgerEntry(*row, content)


def append_entry(
    db: sqlite3.Connection,
    key: SigningKey,
    kind: str,
    body: Mapping[str, Json],
    *,
    certificate: int | None,
    written_utc: str,
) -> tuple[int, bytes]:
    """Add one entry inside the caller's transaction; returns its number and hash.

    The body gets ``entry``, ``kind``, ``certificate`` and ``written_utc``, so that they are signed with the rest.
    Raises `RecordError`, also where `body` already says one of them differently.
    """
    if kind not in KINDS:
        raise RecordError(f"kind: {kind!r} is none of {', '.join(KINDS)}")
    last = db.execute("SELECT seq, hash FROM ledger ORDER BY seq DESC LIMIT 1").fetchone()
    seq, prev = (last[0] + 1, last[1]) if last else (0, GENESIS_PREV)
    signed: dict[str, Json] = {
        "entry": seq,
        "kind": kind,
        "certificate": certificate,
        "written_utc": written_utc,
    }
    for name, value in signed.items():
        if name in body and body[name] != value:
            raise RecordError(f"{name}: is the ledger's own to say ({value!r}), not {body[name]!r}")
    stored = canonical({**body, **signed})
    digest = chained(prev, stored)
    db.execute(
        "INSERT INTO ledger (seq, kind, certificate, body, hash, signature) VALUES (?, ?, ?, ?, ?, ?)",
        (seq, kind, certificate, stored, digest, key.sign(digest)),
    )
    db.execute(
        "INSERT INTO meta (name, value) VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET value = excluded.value",
        (LENGTH, str(seq + 1)),
    )
    return seq, digest

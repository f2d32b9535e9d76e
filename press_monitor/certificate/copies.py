"""A certificate read for copying: the record, its readings and what its seal needs, checked before anything is made.

Nothing is printed from a record whose seal does not hold: paper would make it look sound.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from press_monitor.archive.keys import Verifier
from press_monitor.archive.ledger import GENESIS_PREV, chained
from press_monitor.archive.reader import ArchiveReader
from press_monitor.archive.trace import Trace
from press_monitor.archive.types import ArchiveError, CertificateRecord
from press_monitor.certificate.customer import customer_copy
from press_monitor.certificate.facts import shop_copy
from press_monitor.certificate.label import label_copy
from press_monitor.certificate.model import Certificate

__all__ = ["COPIES", "Copy", "made_of", "read_copy"]

COPIES = ("shop", "customer", "label")


@dataclass(frozen=True, slots=True)
class Copy:
    """All that any copy of one certificate is made of. `before` is the hash before each of its entries, by number."""

    record: CertificateRecord
    trace: Trace | None
    before: Mapping[int, bytes]
    public_key: bytes


def read_copy(reader: ArchiveReader, number: int, as_of: int | None = None) -> Copy:
    """Read certificate `number` as it stood at ledger entry `as_of` (default: now), and prove its seal.

    Raises `ArchiveError` for one that is not there, or is not what was sealed.
    """
    record = reader.record(number, as_of)
    try:
        public_key = bytes.fromhex(reader.entry(0).content["public_key"])
        verifier = Verifier(public_key)
    except (KeyError, TypeError, ValueError):
        raise ArchiveError(f"{reader.path}: ledger entry 0 holds no public key; run verify") from None
    before = {}
    for entry in (record.sealed, *record.later):
        before[entry.seq] = reader.entry_hash(entry.seq - 1) if entry.seq else GENESIS_PREV
        if chained(before[entry.seq], entry.body) != entry.hash or not verifier.holds(entry.signature, entry.hash):
            raise ArchiveError(f"ledger entry {entry.seq} of certificate {number} is not what was sealed; run verify")
        said = entry.content
        if (said.get("entry"), said.get("kind"), said.get("certificate")) != (entry.seq, entry.kind, number):
            raise ArchiveError(f"ledger entry {entry.seq} was sealed as something else; run verify")
    return Copy(record, reader.trace(number), before, public_key)


def made_of(copy: Copy, which: str) -> Certificate:
    """The content of one copy: ``shop``, ``customer`` or ``label``."""
    after = copy.before[copy.record.sealed.seq]
    match which:
        case "customer":
            return customer_copy(copy.record, copy.trace, after)
        case "label":
            return label_copy(copy.record, after)
    return shop_copy(copy.record, copy.trace, after)

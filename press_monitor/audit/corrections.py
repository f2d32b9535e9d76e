"""What a correction changes: whole keys of a ticket, checked as a ticket is, or a later entry that is withdrawn."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from press_monitor.archive import CertificateRecord, Json
from press_monitor.archive.derived import as_it_stands
from press_monitor.archive.entries import EntryError
from press_monitor.archive.ledger import CORRECTION
from press_monitor.archive.ticket import read_ticket

__all__ = ["corrected_ticket", "withdrawable"]


def withdrawable(record: CertificateRecord) -> tuple[int, ...]:
    """Numbers of the later entries that a correction may withdraw."""
    return tuple(sorted(entry.seq for entry in record.later if entry.kind != CORRECTION))


def corrected_ticket(
    record: CertificateRecord, settings: Mapping[str, Json], withdraw: int | None, today: date
) -> dict[str, Json]:
    """The ticket's changed keys, whole and checked, for `correction_body`; empty where an entry is withdrawn.

    `settings`: values by key, a part of a key by ``key.part``. Raises `EntryError` for an entry that is not there or
    not this certificate's, `ShopError` for what no ticket can say.
    """
    if withdraw is not None:
        entries = withdrawable(record)
        if withdraw not in entries:
            known = ", ".join(map(str, entries)) or "none"
            raise EntryError(f"certificate {record.number} has no entry {withdraw} to withdraw; there are: {known}")
        return {}
    ticket, _ = as_it_stands(record.sealed.content, [entry.content for entry in record.later])
    fresh: dict[str, Json] = {}
    for path, value in settings.items():
        key, _, inner = path.partition(".")
        if inner:
            held = fresh.get(key, ticket.get(key))
            fresh[key] = {**(held if isinstance(held, dict) else {}), inner: value}
        else:
            fresh[key] = value
    said = read_ticket(fresh, today).to_json()
    # A key set to nothing is taken off the ticket, and a corrected TIN brings its week.
    return {**{key: said.get(key) for key in fresh}, **({"tin_week": said.get("tin_week")} if "tin" in fresh else {})}

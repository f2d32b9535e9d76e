"""Stores: lots, bags, mats and probes, what is known of each, and whether it may still be used.

What was said of an item stands in the ledger (kinds ``stores`` and ``calibration``); how many cures it has done is
counted from the certificates that name it. Tables ``store_item`` and ``used`` are made from both.
"""

from __future__ import annotations

import sqlite3
import string
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from datetime import date
from types import MappingProxyType
from typing import Any

from press_monitor.archive.ticket import Ticket
from press_monitor.archive.types import ArchiveError, Json

__all__ = [
    "ITEM_FIELDS",
    "ITEM_KINDS",
    "NO_STORES",
    "StoreItem",
    "Stores",
    "UseRefused",
    "folded",
    "read_stores",
    "with_overrides",
]

ITEM_KINDS = ("lot", "bag", "mat", "probe")
ITEM_FIELDS = (
    *("product", "compound", "received", "expires", "life_cures", "cures_before", "dry_time_s", "calibrated"),
    *("calibration_due", "calibration_reference", "retired", "retired_why", "note"),
)
"""Columns of table ``store_item`` after kind and name; the same keys stand in a ledger entry's ``item``."""

_DAYS = frozenset({"received", "expires", "calibrated", "calibration_due", "retired"})
_SMALL = str.maketrans(string.ascii_uppercase, string.ascii_lowercase)


class UseRefused(ArchiveError):
    """Something on the ticket must not be used; the message says what, and how to override it."""


@dataclass(frozen=True, slots=True)
class StoreItem:
    """One lot, bag, mat or probe. None and empty where nothing was said.

    Attributes:
        kind: ``lot``, ``bag``, ``mat`` or ``probe``.
        name: as written on it.
        product, compound: what it is, and the compound's name in the shop file.
        received, expires: days; `expires` is the last good one.
        life_cures: cures it may do.
        cures_before: cures it had done before it was entered here.
        dry_time_s: of a cement, how long it must dry.
        calibrated, calibration_due, calibration_reference: of a probe.
        retired, retired_why: since when it must not be used, and why.
        known: False for something that tickets name and nobody has entered.
        cures: certificates that name it.
    """

    kind: str
    name: str
    product: str = ""
    compound: str = ""
    received: date | None = None
    expires: date | None = None
    life_cures: int | None = None
    cures_before: int = 0
    dry_time_s: float | None = None
    calibrated: date | None = None
    calibration_due: date | None = None
    calibration_reference: str = ""
    retired: date | None = None
    retired_why: str = ""
    note: str = ""
    known: bool = True
    cures: int = 0

    @property
    def cures_done(self) -> int:
        """In its life, as far as anybody counted."""
        return self.cures_before + self.cures

    def trouble(self, on: date) -> str | None:
        """Why it must not be used on a day; None where nothing speaks against it."""
        name = f"{self.kind} {self.name}"
        if self.retired is not None and on >= self.retired:
            return f"{name} is out of use since {self.retired}" + (f" ({self.retired_why})" if self.retired_why else "")
        if self.expires is not None and on > self.expires:
            return f"{name} expired on {self.expires}"
        if self.life_cures is not None and self.cures_done >= self.life_cures:
            return f"{name} has done {self.cures_done} cures of {self.life_cures}"
        if self.calibration_due is not None and on > self.calibration_due:
            return f"{name}: its calibration was due on {self.calibration_due}"
        return None

    def to_json(self) -> dict[str, Json]:
        """Every key, always; days as text."""
        plain: dict[str, Json] = {f.name: getattr(self, f.name) for f in fields(self)}
        for key in _DAYS:
            plain[key] = plain[key] and plain[key].isoformat()
        return {**plain, "cures_done": self.cures_done}


@dataclass(frozen=True, slots=True)
class Stores:
    """All items, by kind and name; capitals do not matter."""

    items: Mapping[tuple[str, str], StoreItem]

    def get(self, kind: str, name: str) -> StoreItem | None:
        """One item; None where nobody has entered or used it."""
        return self.items.get((kind, folded(name)))

    def troubles(self, ticket: Ticket, on: date, channels: Iterable[tuple[str, str, date | None]] = ()) -> list[str]:
        """Everything that speaks against a cure with this ticket on a day, a sentence each.

        `channels`: of the press, each with its sensor's name (may be empty) and the day its calibration is due by the
        shop file.
        """
        found = [
            f"{material.lot or material.use} expired on {material.expires}, as the ticket says"
            for material in ticket.materials
            if material.expires is not None and on > material.expires
        ]
        named = dict.fromkeys((kind, name) for kind, name in ticket.items())
        for channel, sensor, due in channels:
            if due is not None and on > due:
                found.append(f"{channel}: its calibration was due on {due}")
            elif sensor:
                named[("probe", sensor)] = None
        for kind, name in named:
            item = self.get(kind, name)
            if item is None:
                continue
            if trouble := item.trouble(on):
                found.append(trouble)
            dried = ticket.cement_dry_s
            if item.dry_time_s is not None and (dried is None or dried < item.dry_time_s):
                said = "does not say how long it dried" if dried is None else f"says {dried / 60:g} min"
                found.append(f"lot {item.name} wants {item.dry_time_s / 60:g} min to dry; the ticket {said}")
        return found


NO_STORES = Stores(MappingProxyType({}))


def with_overrides(ticket: Mapping[str, Json], troubles: list[str], override: Json) -> dict[str, Json]:
    """The ticket as it is recorded: with each trouble that somebody overrode, by name and reason.

    Raises `UseRefused` where there is trouble and no override that names who and why.
    """
    if not troubles:
        return dict(ticket)
    said = override if isinstance(override, Mapping) else {}
    by, reason = (str(said.get(key) or "").strip() for key in ("by", "reason"))
    if not by or not reason:
        raise UseRefused("; ".join(troubles) + ": give a name and a reason to use it all the same")
    return {**ticket, "overrides": [{"what": what, "by": by, "reason": reason} for what in troubles]}


def folded(name: str) -> str:
    """A name as SQLite's NOCASE takes it: capitals from A to Z do not matter."""
    return name.translate(_SMALL)


def _day(text: str | None) -> date | None:
    return date.fromisoformat(text) if text else None


def read_stores(db: sqlite3.Connection, *, unknown: bool = True) -> Stores:
    """All items with their counts; without `unknown` only those that somebody entered."""
    items: dict[tuple[str, str], StoreItem] = {}
    count = "SELECT count(*) FROM used u WHERE u.kind = s.kind AND u.name = s.name"
    for kind, name, cures, *values in db.execute(
        f"SELECT kind, name, ({count}), {', '.join(ITEM_FIELDS)} FROM store_item s ORDER BY kind, name"
    ):
        said: dict[str, Any] = {key: _day(v) if key in _DAYS else v for key, v in zip(ITEM_FIELDS, values, strict=True)}
        given = {key: value for key, value in said.items() if value is not None}
        items[(kind, folded(name))] = StoreItem(kind, name, **given, cures=cures)
    if unknown:
        for kind, name, cures in db.execute(
            "SELECT kind, name, count(*) FROM used WHERE kind IN ('lot', 'bag', 'mat', 'probe') GROUP BY kind, name"
        ):
            items.setdefault((kind, folded(name)), StoreItem(kind, name, known=False, cures=cures))
    return Stores(MappingProxyType(dict(sorted(items.items()))))

"""What is added to the ledger after a cure: inspections, comebacks, corrections, calibrations, Stores.

Each function makes a body that `Archive.append` signs; `check_entry` refuses one that says less than its kind must,
wherever it comes from. Raises `EntryError` naming the key.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import date
from typing import Final

from press_monitor.archive.ledger import (
    CALIBRATION,
    COMEBACK,
    CORRECTION,
    INSPECTION,
    STORES,
    TICKET_ATTACHED,
    RecordError,
)
from press_monitor.archive.stores import ITEM_FIELDS, ITEM_KINDS
from press_monitor.archive.ticket import read_ticket
from press_monitor.archive.types import Json
from press_monitor.tables import ShopError

__all__ = [
    "CAUSES",
    "NEW_INJURY",
    "RESULTS",
    "EntryError",
    "calibration_body",
    "check_entry",
    "comeback_body",
    "correction_body",
    "inspection_body",
    "named_cause",
    "stores_body",
]

NEW_INJURY: Final = "new injury"
CAUSES = ("adhesion failure", "cure sponge", "moisture blow", "reversion", "cord separation", NEW_INJURY)
"""Why a tire came back, in the trade's words. A new injury is no fault of the repair and counts in no rate."""

RESULTS = ("sound", "sound with remarks", "rejected")
"""What an inspection may find."""

CORRECTABLE = (
    *("number", "customer", "machine", "tire", "size", "construction", "serial", "tin", "section", "operator", "note"),
    *("mats_overlap", "injury", "prep", "people", "materials", "bag", "mats", "probes"),
)
"""Keys of a ticket that a correction may replace. Nothing corrects a reading or a verdict."""

_DAY = re.compile(r"\d{4}-\d\d-\d\d")
_LONGEST = 4000


class EntryError(RecordError):
    """An entry that says too little, or something else than its kind can say."""


def named_cause(text: str) -> str:
    """A cause as people type it: capitals, hyphens and spaces do not matter. Raises `EntryError` naming them all."""
    found = " ".join(re.split(r"[\s_-]+", text.strip().casefold()))
    if found not in CAUSES:
        raise EntryError(f"{text!r} is no cause; there are: {', '.join(CAUSES)}")
    return found


def inspection_body(result: str, *, by: str, day: date, note: str = "") -> dict[str, Json]:
    """A person has looked at the finished repair."""
    return _checked(INSPECTION, {"result": result, "day": day.isoformat(), "by": by, "note": note})


def comeback_body(
    cause: str, *, day: date, by: str = "", note: str = "", judged_anew: Json | None = None
) -> dict[str, Json]:
    """The tire came back. `judged_anew`: what today's model makes of the cure, as `audit.rejudge` says it."""
    return _checked(
        COMEBACK,
        {"cause": named_cause(cause), "day": day.isoformat(), "by": by, "note": note, "judged_anew": judged_anew},
    )


def correction_body(
    *, why: str, by: str, ticket: Mapping[str, Json] | None = None, withdraws: int | None = None
) -> dict[str, Json]:
    """What the ticket should have said, or a later entry that should not have been made. What was said stays."""
    return _checked(CORRECTION, {"ticket": dict(ticket or {}), "withdraws": withdraws, "why": why, "by": by})


def calibration_body(
    *,
    probe: str = "",
    press: str = "",
    channel: str = "",
    facts: Mapping[str, Json],
    by: str = "",
) -> dict[str, Json]:
    """A sensor was compared with a reference. `facts` as `Calibration.facts` gives them."""
    return _checked(CALIBRATION, {"probe": probe, "press": press, "channel": channel, **facts, "by": by})


def stores_body(kind: str, name: str, said: Mapping[str, Json], *, by: str = "", why: str = "") -> dict[str, Json]:
    """Something came into Stores, or more is known of it. Keys of `ITEM_FIELDS`; only those given are changed."""
    return _checked(STORES, {"item": {"kind": kind, "name": name.strip(), **said}, "by": by, "why": why})


def _checked(kind: str, body: dict[str, Json]) -> dict[str, Json]:
    check_entry(kind, body)
    return body


def check_entry(kind: str, body: Mapping[str, Json]) -> None:
    """Raises `EntryError` for a body that does not say what an entry of its kind must."""
    check = _CHECKS.get(kind)
    if check is None:
        raise EntryError(f"{kind}: no entry of this kind is added by hand")
    if not isinstance(body, Mapping):
        raise EntryError("body: wants keys and values")
    _texts(body, "")
    check(body)


def _texts(value: Json, where: str) -> None:
    """Refuse texts that no one can have meant, at any depth."""
    if isinstance(value, Mapping):
        for key, item in value.items():
            _texts(item, f"{where}.{key}" if where else str(key))
    elif isinstance(value, list):
        for number, item in enumerate(value, start=1):
            _texts(item, f"{where}.{number}")
    elif isinstance(value, str):
        if len(value) > _LONGEST:
            raise EntryError(f"{where}: is longer than {_LONGEST} letters")
        if any(not c.isprintable() and c not in "\n\t" for c in value):
            raise EntryError(f"{where}: holds a character that cannot be printed")


def _want(body: Mapping[str, Json], key: str, what: str) -> str:
    value = body.get(key)
    if not isinstance(value, str) or not value.strip():
        raise EntryError(f"{key}: is missing: {what}")
    return value


def _day(body: Mapping[str, Json], key: str, *, needed: bool) -> None:
    value = body.get(key)
    if value is None and not needed:
        return
    if isinstance(value, str) and _DAY.fullmatch(value):
        try:
            date.fromisoformat(value)
        except ValueError:
            pass
        else:
            return
    raise EntryError(f"{key}: wants a day such as 2031-05-04, got {value!r}")


def _inspection(body: Mapping[str, Json]) -> None:
    if body.get("result") not in RESULTS:
        raise EntryError(f"result: wants one of {', '.join(RESULTS)}; got {body.get('result')!r}")
    _want(body, "by", "who has looked at it")
    _day(body, "day", needed=True)


def _comeback(body: Mapping[str, Json]) -> None:
    if body.get("cause") not in CAUSES:
        raise EntryError(f"cause: wants one of {', '.join(CAUSES)}; got {body.get('cause')!r}")
    _day(body, "day", needed=True)


def _correction(body: Mapping[str, Json]) -> None:
    _want(body, "why", "what was wrong")
    _want(body, "by", "who says so")
    ticket, withdraws = body.get("ticket") or {}, body.get("withdraws")
    if not isinstance(ticket, Mapping) or (not ticket) == (withdraws is None):
        raise EntryError("ticket: give either what the ticket should have said or the entry to withdraw")
    if withdraws is not None and (isinstance(withdraws, bool) or not isinstance(withdraws, int) or withdraws < 1):
        raise EntryError(f"withdraws: wants a ledger entry's number, got {withdraws!r}")
    for key in ticket:
        if key not in CORRECTABLE and key != "tin_week":
            raise EntryError(f"ticket.{key}: cannot be corrected; there are: {', '.join(CORRECTABLE)}")
    _ticket(ticket)


def _ticket(ticket: Mapping[str, Json]) -> None:
    try:
        read_ticket(ticket, date.max)
    except ShopError as error:
        raise EntryError(str(error)) from None


def _attached(body: Mapping[str, Json]) -> None:
    if not isinstance(body.get("ticket"), Mapping):
        raise EntryError("ticket: is missing")
    _ticket(body["ticket"])
    result = body.get("result")
    if not isinstance(result, Mapping) or not isinstance(result.get("verdict"), str):
        raise EntryError("result: is missing: the cure judged on this ticket")


def _calibration(body: Mapping[str, Json]) -> None:
    if not body.get("probe") and not (body.get("press") and body.get("channel")):
        raise EntryError("probe: is missing: the probe, or the press and the channel")
    for key in ("done", "due"):
        _day(body, key, needed=False)
    if body.get("done") and body.get("due") and body["due"] < body["done"]:
        raise EntryError(f"due: {body['due']} is before the day it was done, {body['done']}")
    for key in ("offset", "gain"):
        value = body.get(key)
        if value is not None and (isinstance(value, bool) or not isinstance(value, int | float)):
            raise EntryError(f"{key}: wants a number, got {value!r}")


def _stores(body: Mapping[str, Json]) -> None:
    item = body.get("item")
    if not isinstance(item, Mapping):
        raise EntryError("item: is missing")
    if item.get("kind") not in ITEM_KINDS:
        raise EntryError(f"item.kind: wants one of {', '.join(ITEM_KINDS)}; got {item.get('kind')!r}")
    _want(item, "name", "what is written on it")
    for key, value in item.items():
        if key in ("kind", "name"):
            continue
        if key not in ITEM_FIELDS:
            raise EntryError(f"item.{key}: is not known of any item; there are: {', '.join(ITEM_FIELDS)}")
        _item_value(key, value)


def _item_value(key: str, value: Json) -> None:
    if key in ("received", "expires", "calibrated", "calibration_due", "retired"):
        _day({f"item.{key}": value}, f"item.{key}", needed=False)
    elif key in ("life_cures", "cures_before"):
        if value is not None and (isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= 10**6):
            raise EntryError(f"item.{key}: wants a number of cures, got {value!r}")
    elif key == "dry_time_s":
        if value is not None and (isinstance(value, bool) or not isinstance(value, int | float) or not value > 0):
            raise EntryError(f"item.{key}: wants seconds above zero, got {value!r}")
    elif value is not None and not isinstance(value, str):
        raise EntryError(f"item.{key}: wants text, got {value!r}")


_CHECKS: Mapping[str, Callable[[Mapping[str, Json]], None]] = {
    INSPECTION: _inspection,
    COMEBACK: _comeback,
    CORRECTION: _correction,
    TICKET_ATTACHED: _attached,
    CALIBRATION: _calibration,
    STORES: _stores,
}

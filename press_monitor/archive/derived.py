"""What the tables beside the ledger say of one certificate: its index row, what it used, its alarms, its words.

Pure: from sealed bodies, as `json.loads` gives them, to values. `indexing` writes them, `search` asks for them,
`verify` makes them anew.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields

from press_monitor.archive.ledger import COMEBACK, CORRECTION, INSPECTION, TICKET_ATTACHED
from press_monitor.archive.record import epoch_of
from press_monitor.archive.stores import folded
from press_monitor.archive.types import ArchiveError, CertificateRow, Json

__all__ = [
    "COLUMNS",
    "PART_COLUMNS",
    "Indexed",
    "as_it_stands",
    "index_of",
    "index_values",
    "row_of",
    "sketch",
    "standing",
    "used_of",
]

COLUMN_NAMES = tuple(f.name for f in fields(CertificateRow))
COLUMNS = ", ".join(COLUMN_NAMES)
_REASONS = COLUMN_NAMES.index("reasons")
PART_COLUMNS = ("customer", "tire", "section", "tin", "serial", "job")
"""Columns of `certificate_part`: found by any three letters of them."""


@dataclass(frozen=True, slots=True)
class Indexed:
    """All that the derived tables hold of one certificate.

    Attributes:
        row: of table ``certificate``.
        used: kind, name and role of everything it used, each once.
        alarms: each kind of alarm and how often it was raised.
        words: what it is found by.
    """

    row: CertificateRow
    used: tuple[tuple[str, str, str], ...]
    alarms: tuple[tuple[str, int], ...]
    words: str


def _strings(value: Json) -> list[str]:
    found: list[str] = []
    _gather(value, found)
    return found


def _gather(value: Json, found: list[str]) -> None:
    if isinstance(value, str):
        found.append(value)
    elif isinstance(value, dict):
        for item in value.values():
            _gather(item, found)
    elif isinstance(value, list):
        for item in value:
            _gather(item, found)


def _mapping(value: Json) -> Mapping[str, Json]:
    return value if isinstance(value, dict) else {}


def _listed(value: Json) -> Sequence[Json]:
    return value if isinstance(value, list) else ()


def _text(value: Json) -> str:
    return value if isinstance(value, str) else ""


def _number(value: Json) -> float | None:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


_SKETCHED = (
    *("entry", "kind", "certificate", "cycle_id", "press", "shop", "source", "started_utc", "ended_utc", "ticket"),
    *("recipe", "repair", "result", "trace", "setup.inputs"),
)
_SKETCH = f"SELECT json_extract(CAST(? AS TEXT), {', '.join(repr(f'$.{name}') for name in _SKETCHED)})"


def sketch(db: sqlite3.Connection, body: bytes) -> Json:
    """A cure record's body without what nothing here is derived from: events, profiles and compounds, most of it.

    SQLite finds the rest in a tenth of the time that reading it all would take. Raises ValueError for other bytes
    than JSON, KeyError for a member that a cure record must have.
    """
    try:
        (found,) = db.execute(_SKETCH, (body,)).fetchone()
    except sqlite3.OperationalError as e:
        raise ValueError(str(e)) from e
    made = dict(zip(_SKETCHED, json.loads(found), strict=True))
    inputs = made.pop("setup.inputs")
    made["setup"] = {"inputs": inputs}
    return made


def standing(later: Sequence[Json]) -> list[Json]:
    """The later bodies without those that a correction has withdrawn."""
    if not later:
        return []
    withdrawn = {body.get("withdraws") for body in later if body.get("kind") == CORRECTION}
    return [body for body in later if body.get("entry") not in withdrawn]


def as_it_stands(sealed: Json, later: Sequence[Json]) -> tuple[dict[str, Json], Mapping[str, Json]]:
    """Ticket and result: a ticket attached later adds to the first and brings the verdict judged anew; a correction
    replaces what it names.
    """
    ticket, result = dict(_mapping(sealed.get("ticket"))), _mapping(sealed.get("result"))
    for body in standing(later):
        if body.get("kind") in (TICKET_ATTACHED, CORRECTION):
            ticket |= _mapping(body.get("ticket"))
        if body.get("kind") == TICKET_ATTACHED:
            result = _mapping(body.get("result")) or result
    return ticket, result


def _newest(later: Sequence[Json], kind: str) -> Mapping[str, Json]:
    return next((body for body in reversed(later) if body.get("kind") == kind), {})


def _repair(sealed: Json, later: Sequence[Json]) -> Mapping[str, Json]:
    attached = [_mapping(body.get("repair")) for body in later if body.get("kind") == TICKET_ATTACHED]
    return next((repair for repair in reversed(attached) if repair), _mapping(sealed.get("repair")))


def _thickness_mm(repair: Mapping[str, Json]) -> float | None:
    """Of the thickest stack."""
    found = []
    for stack in _listed(repair.get("stacks")):
        layers = [_number(_mapping(layer).get("thickness")) for layer in _listed(_mapping(stack).get("layers"))]
        if layers and None not in layers:
            found.append(1000.0 * sum(layer for layer in layers if layer is not None))
    return round(max(found), 3) if found else None


def _row(sealed: Json, ticket: Mapping[str, Json], result: Mapping[str, Json], later: Sequence[Json]) -> CertificateRow:
    recipe = sealed.get("recipe")
    deepest = _mapping(_mapping(result.get("cure")).get("deepest"))
    back = _newest(later, COMEBACK)
    return CertificateRow(
        number=sealed["certificate"],
        entry=sealed["entry"],
        cycle_id=sealed["cycle_id"],
        press=sealed["press"],
        source=sealed["source"],
        started_utc=epoch_of(sealed["started_utc"]),
        ended_utc=epoch_of(sealed["ended_utc"]),
        verdict=str(result["verdict"]),
        reasons=tuple(_strings(result.get("reasons"))),
        recipe=recipe if isinstance(recipe, str) else _text(_mapping(recipe).get("name")),
        customer=_text(ticket.get("customer")),
        tire=_text(ticket.get("tire")),
        section=_text(ticket.get("section")),
        state_of_cure=_number(deepest.get("state_of_cure")),
        inspection=_text(_newest(later, INSPECTION).get("result")) or None,
        comeback=_text(back.get("cause")) or None,
        comeback_day=(_text(back.get("day")) or _text(back.get("written_utc"))[:10]) or None,
        job=_text(ticket.get("number")),
        machine=_text(ticket.get("machine")),
        size=_text(ticket.get("size")),
        construction=_text(ticket.get("construction")),
        serial=_text(ticket.get("serial")),
        tin=_text(ticket.get("tin")),
        thickness_mm=_thickness_mm(_repair(sealed, later)),
        hold_min=_number(result.get("hold_min")),
        state_of_cure_low=_number(deepest.get("state_of_cure_low")),
    )


def _named(value: Json) -> Iterator[tuple[str, str]]:
    """Names with the part they play, in any form a ticket has them: text, a list, or by role."""
    if isinstance(value, str):
        yield value, ""
    elif isinstance(value, dict):
        yield from ((name, role) for role, name in value.items() if isinstance(name, str))
    elif isinstance(value, list):
        for item in value:
            if isinstance(item, str):
                yield item, ""


def used_of(sealed: Json, ticket: Mapping[str, Json]) -> tuple[tuple[str, str, str], ...]:
    """Kind, name and role of what a cure used: lots, bag, mats, probes, and who worked on it. Each once, in order."""
    found: list[tuple[str, str, str]] = []
    for material in (*_listed(ticket.get("materials")), *_listed(ticket.get("lots"))):
        if isinstance(material, dict):
            found.append(("lot", _text(material.get("lot")), _text(material.get("use"))))
        else:
            found.append(("lot", _text(material), ""))
    found.append(("lot", _text(ticket.get("lot")), ""))
    for kind, key in (("bag", "bag"), ("mat", "mats"), ("probe", "probes"), ("person", "people")):
        found += ((kind, name, role) for name, role in _named(ticket.get(key)))
    found.append(("person", _text(ticket.get("operator")), "operator"))
    for channel in _listed(_mapping(sealed.get("setup")).get("inputs")):
        told = _mapping(channel)
        found.append(("probe", _text(told.get("sensor")), _text(told.get("name"))))
    once: dict[tuple[str, str], tuple[str, str, str]] = {}
    for kind, name, role in found:
        if name := " ".join(name.split()):
            once.setdefault((kind, folded(name)), (kind, name, role))
    return tuple(once[key] for key in sorted(once))


def _alarms(result: Mapping[str, Json]) -> tuple[tuple[str, int], ...]:
    counted: dict[str, int] = {}
    for alarm in _listed(result.get("alarms")):
        if kind := _text(_mapping(alarm).get("kind")):
            counted[kind] = counted.get(kind, 0) + 1
    return tuple(sorted(counted.items()))


def _words(sealed: Json, ticket: Mapping[str, Json], result: Mapping[str, Json], later: Sequence[Json]) -> str:
    words: list[str] = []
    for value in (sealed.get("recipe"), sealed.get("press"), sealed.get("shop"), sealed.get("ticket")):
        _gather(value, words)
    words.append(_text(result.get("verdict")))
    _gather(result.get("reasons"), words)
    words += [kind for kind, _ in _alarms(result)]
    if later:
        _gather(ticket, words)
    for body in later:
        # A result judged anew was taken in above; its layers and profiles are no words to look for.
        told = {k: v for k, v in body.items() if k not in ("result", "repair", "compounds", "profiles", "model")}
        _gather(told, words)
    return " ".join(dict.fromkeys(words))


def index_of(sealed: Json, later: Sequence[Json]) -> Indexed:
    """Everything derived from a cure record's body and the bodies that name it since, oldest first.

    Raises `ArchiveError` for a body that is no cure record.
    """
    ticket, result = as_it_stands(sealed, later)
    try:
        row = _row(sealed, ticket, result, standing(later))
    except (KeyError, TypeError, ValueError) as e:
        raise ArchiveError(f"ledger entry {sealed.get('entry')} is not a cure record: {e}") from e
    return Indexed(row, used_of(sealed, ticket), _alarms(result), _words(sealed, ticket, result, later))


def index_values(row: CertificateRow) -> tuple[Json, ...]:
    """A row as table ``certificate`` holds it, in the order of `COLUMNS`."""
    values = [getattr(row, name) for name in COLUMN_NAMES]
    values[_REASONS] = json.dumps(row.reasons)
    return tuple(values)


def row_of(values: tuple[Json, ...]) -> CertificateRow:
    """A row of table ``certificate``, in the order of `COLUMNS`."""
    named = list(values)
    named[_REASONS] = tuple(json.loads(named[_REASONS]))
    return CertificateRow(*named)

"""What the tables beside the ledger say of one certificate: its index row, what it used, its alarms, its words.

Pure: from sealed bodies to values. `indexing` writes them, `search` asks for them, `verify` makes them anew.
"""

from __future__ import annotations

import json
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
    "certificate_row",
    "index_of",
    "index_values",
    "row_of",
    "standing",
    "used_of",
    "words_of",
]

COLUMN_NAMES = tuple(f.name for f in fields(CertificateRow))
COLUMNS = ", ".join(COLUMN_NAMES)
_REASONS = COLUMN_NAMES.index("reasons")
PART_COLUMNS = ("customer", "tire", "section", "tin", "serial", "job")
"""Columns of `certificate_part`: found by any three letters of them."""

_FOUND_BY = ("ticket", "recipe", "press", "shop")


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


def _strings(value: Json) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping):
        for item in value.values():
            yield from _strings(item)
    elif isinstance(value, list):
        for item in value:
            yield from _strings(item)


def _mapping(value: Json) -> Mapping[str, Json]:
    return value if isinstance(value, Mapping) else {}


def _listed(value: Json) -> Sequence[Json]:
    return value if isinstance(value, list) else ()


def _text(value: Json) -> str:
    return value if isinstance(value, str) else ""


def _number(value: Json) -> float | None:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def standing(later: Sequence[Json]) -> list[Json]:
    """The later bodies without those that a correction has withdrawn."""
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


def certificate_row(sealed: Json, later: Sequence[Json]) -> CertificateRow:
    """The index row of a cure record's body and the bodies that name it since, oldest first.

    Raises `ArchiveError` for a body that is no cure record.
    """
    ticket, result = as_it_stands(sealed, later)
    later = standing(later)
    recipe = sealed.get("recipe")
    deepest = _mapping(_mapping(result.get("cure")).get("deepest"))
    back = _newest(later, COMEBACK)
    try:
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
    except (KeyError, TypeError, ValueError) as e:
        raise ArchiveError(f"ledger entry {sealed.get('entry')} is not a cure record: {e}") from e


def _named(value: Json) -> Iterator[tuple[str, str]]:
    """Names with the part they play, in any form a ticket has them: text, a list, or by role."""
    if isinstance(value, str):
        yield value, ""
    elif isinstance(value, Mapping):
        yield from ((name, role) for role, name in value.items() if isinstance(name, str))
    elif isinstance(value, list):
        for item in value:
            if isinstance(item, str):
                yield item, ""


def used_of(sealed: Json, ticket: Mapping[str, Json]) -> tuple[tuple[str, str, str], ...]:
    """Kind, name and role of what a cure used: lots, bag, mats, probes, and who worked on it. Each once, in order."""
    found: list[tuple[str, str, str]] = []
    for material in (*_listed(ticket.get("materials")), *_listed(ticket.get("lots"))):
        if isinstance(material, Mapping):
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


def words_of(sealed: Json, later: Sequence[Json]) -> str:
    """The words a cure record is found by."""
    ticket, result = as_it_stands(sealed, later)
    words = [text for name in _FOUND_BY for text in _strings(sealed.get(name))]
    words += [_text(result.get("verdict")), *_strings(result.get("reasons")), *_strings(ticket)]
    words += [kind for kind, _ in _alarms(result)]
    for body in later:
        # A result judged anew was taken in above; its layers and profiles are no words to look for.
        told = {k: v for k, v in body.items() if k not in ("result", "repair", "compounds", "profiles", "model")}
        words += _strings(told)
    return " ".join(dict.fromkeys(words))


def index_of(sealed: Json, later: Sequence[Json]) -> Indexed:
    """Everything derived from a certificate's bodies. Raises `ArchiveError` for a body that is no cure record."""
    ticket, result = as_it_stands(sealed, later)
    return Indexed(certificate_row(sealed, later), used_of(sealed, ticket), _alarms(result), words_of(sealed, later))


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

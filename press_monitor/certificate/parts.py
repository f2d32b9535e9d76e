"""What every copy of a certificate is put together from: reading a sealed record whatever version wrote it.

A record must read for as long as it is kept, so nothing here insists on a key that a later version may drop: what
is not there is left out, and what is not known by name is shown as it stands.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from press_monitor.archive.derived import as_it_stands as added_up
from press_monitor.archive.derived import standing as still_standing
from press_monitor.archive.ledger import TICKET_ATTACHED
from press_monitor.archive.types import CertificateRecord, LedgerEntry
from press_monitor.certificate.model import Pair
from press_monitor.certificate.outcome import share
from press_monitor.quantities import Dimension, QuantityError, UnitSystem, dimension_of

__all__ = [
    "JUDGED_ON",
    "as_it_stands",
    "dated",
    "footer_of",
    "judged_body",
    "known",
    "label_of",
    "leaves",
    "mapping",
    "newest_entry",
    "standing",
    "unit_words",
    "units_of",
    "when",
]

Json = Any

JUDGED_ON = ("repair", "compounds", "profiles", "model")
"""What a ticket attached later brings with the result judged anew."""


def units_of(body: Mapping[str, Json]) -> UnitSystem:
    """The shop's units as the record says, else those its temperatures were read in."""
    named = mapping(body.get("setup")).get("units")
    named = named.get("name") if isinstance(named, Mapping) else named
    if isinstance(named, str):
        try:
            return UnitSystem.named(named)
        except QuantityError:
            pass
    read_in = {channel["unit"] for channel in mapping(body.get("trace")).get("channels", ())}
    return UnitSystem.named("si" if "degC" in read_in else "us")


def mapping(value: Json) -> Mapping[str, Json]:
    """The value where it is a mapping, else an empty one."""
    return value if isinstance(value, Mapping) else {}


def when(utc: Json) -> str:
    """``2031-05-04 16:20:00 UTC`` of the record's own text."""
    text = str(utc or "not known")
    return f"{text[:10]} {text[11:19]} UTC" if text.endswith("Z") and len(text) >= 20 else text


def standing(record: CertificateRecord) -> tuple[LedgerEntry, ...]:
    """The later entries without those that a correction has withdrawn."""
    kept = {body["entry"] for body in still_standing([entry.content for entry in record.later])}
    return tuple(entry for entry in record.later if entry.seq in kept)


def as_it_stands(record: CertificateRecord) -> tuple[dict[str, Json], Mapping[str, Json], int | None]:
    """Ticket and result with what was added since and not withdrawn, and the entry that judged anew."""
    ticket, result = added_up(record.sealed.content, [entry.content for entry in record.later])
    judged = [e.seq for e in standing(record) if e.kind == TICKET_ATTACHED and e.content.get("result")]
    return ticket, result, judged[-1] if judged else None


def judged_body(record: CertificateRecord) -> Mapping[str, Json]:
    """The sealed body with what the cure was judged on last: layers, compounds, model and profiles of a ticket that
    was attached later.
    """
    body = dict(record.sealed.content)
    for entry in standing(record):
        if entry.kind == TICKET_ATTACHED and entry.content.get("result"):
            body |= {key: entry.content[key] for key in JUDGED_ON if entry.content.get(key)}
    return body


def leaves(value: Json, path: str = "") -> Iterator[tuple[str, str]]:
    """Every value of nested JSON with its path, for what is shown as it stands."""
    if isinstance(value, Mapping):
        for key, item in value.items():
            yield from leaves(item, f"{path}.{key}" if path else str(key))
    elif isinstance(value, list):
        if value and all(isinstance(item, str | int | float) for item in value):
            yield path, ", ".join(map(str, value))
        else:
            for number, item in enumerate(value):
                yield from leaves(item, f"{path} {number + 1}")
    elif value is not None and value != "":
        yield path, "yes" if value is True else "no" if value is False else str(value)


def label_of(path: str) -> str:
    """A key as a label."""
    words = path.replace("_", " ").replace(".", ": ")
    return words[:1].upper() + words[1:]


def _say(value: Json, kind: str, units: UnitSystem) -> str:
    if not isinstance(value, int | float) or isinstance(value, bool):
        return str(value)
    match kind:
        case "degC":
            return units.say_temperature(value)
        case "K":
            return f"{units.degrees_difference(value):.0f} {units.temperature_sign}"
        case "Pa":
            return units.say_pressure(value)
        case "s":
            return f"{value / 60:g} min"
        case "share":
            return share(value)
        case "J/mol":
            return f"{value / 1000:g} kJ/mol"
    return f"{value:g}"


def known(data: Json, names: Mapping[str, tuple[str, str]], units: UnitSystem) -> Iterator[Pair]:
    """Values by their names, in the shop's units; what has no name here as it stands."""
    if not isinstance(data, Mapping):
        yield Pair("Recipe", str(data))
        return
    if "name" in data:
        yield Pair("Name", str(data["name"]))
    for key, (label, kind) in names.items():
        if data.get(key) is not None:
            yield Pair(label, _say(data[key], kind, units))
    for path, value in leaves({k: v for k, v in data.items() if k not in names and k != "name"}):
        yield Pair(label_of(path), value)


def unit_words(unit: str) -> str:
    """A unit as people write it: ``°F``."""
    try:
        dimension = dimension_of(unit)
    except QuantityError:
        return unit
    return unit.replace("deg", "°") if dimension is Dimension.TEMPERATURE else unit


def newest_entry(record: CertificateRecord) -> int:
    """The newest entry that names this certificate, so that a copy stays the same while others are sealed."""
    return max((entry.seq for entry in record.later), default=record.sealed.seq)


def dated(record: CertificateRecord) -> str:
    """When the newest entry shown was written, as the ledger says."""
    newest = record.later[-1] if record.later else record.sealed
    return str(newest.content.get("written_utc") or "")


def footer_of(record: CertificateRecord) -> str:
    """Which record a page is a copy of."""
    return (
        f"Certificate {record.number}, ledger entry {record.sealed.seq}, as of entry {newest_entry(record)},"
        f" hash {record.sealed.hash.hex()[:16]}…"
    )

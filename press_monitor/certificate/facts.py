"""From a sealed record, the entries that name it since and its trace, to what a certificate says.

A record must read for as long as it is kept, so nothing here insists on a key that a later version may drop: what
is not there is left out, and what is not known by name is shown as it stands.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from press_monitor.archive.ledger import CORRECTION, TICKET_ATTACHED
from press_monitor.archive.trace import Trace
from press_monitor.archive.types import CertificateRecord, LedgerEntry
from press_monitor.certificate.curves import chart_sections
from press_monitor.certificate.model import Certificate, Grid, Item, Pair, Section, Words
from press_monitor.certificate.outcome import LOG_BANNER, alarm_letters, minutes, outcome_sections, share
from press_monitor.quantities import Dimension, QuantityError, UnitSystem, dimension_of

__all__ = ["CAUTIONS", "certificate_of", "units_of"]

Json = Any

CAUTIONS = (
    "This certificate speaks of the cure record only. Adhesion, cords and moisture cannot be seen in it: they are"
    " for a competent person's inspection, which is recorded apart.",
    "Press-monitor watches and records. It is no safety device and no controller.",
    "Inflating a repaired tire can kill. First inflation belongs in a cage or behind a barrier, from a distance, by"
    " trained people.",
    "Where local codes, standards, the makers' instructions or licensed practice say more, they decide.",
)

CLOCK_NOTES = ("clock-step", "sleep-gap")
LEDGERS_OWN = ("entry", "kind", "certificate", "written_utc")

RECIPE = {
    "hold_temperature": ("Hold temperature", "degC"),
    "hold_tolerance": ("Hold tolerance", "K"),
    "maximum_temperature": ("Maximum temperature", "degC"),
    "heat_up_limit": ("Heat-up limit", "s"),
    "minimum_hold": ("Minimum hold", "s"),
    "required_cure": ("Required cure", "share"),
    "release_below": ("Release below", "degC"),
    "bag_pressure": ("Bag pressure", "Pa"),
    "bag_minimum": ("Bag minimum", "Pa"),
    "bag_maximum": ("Bag maximum", "Pa"),
}
COMPOUND = {
    "reference_temperature": ("reference temperature", "degC"),
    "scorch": ("scorch", "s"),
    "tc50": ("tc50", "s"),
    "tc90": ("tc90", "s"),
    "activation_energy": ("activation energy", "J/mol"),
    "blow_point": ("blow point", "share"),
    "reversion": ("reversion", "s"),
}


def units_of(body: Mapping[str, Json]) -> UnitSystem:
    """The shop's units as the record says, else those its temperatures were read in."""
    named = _mapping(body.get("setup")).get("units")
    named = named.get("name") if isinstance(named, Mapping) else named
    if isinstance(named, str):
        try:
            return UnitSystem.named(named)
        except QuantityError:
            pass
    read_in = {channel["unit"] for channel in _mapping(body.get("trace")).get("channels", ())}
    return UnitSystem.named("si" if "degC" in read_in else "us")


def certificate_of(record: CertificateRecord, trace: Trace | None) -> Certificate:
    """The content of one certificate. The same record and entries give the same content."""
    body: Mapping[str, Json] = record.sealed.content
    units = units_of(body)
    ticket, result, judged_by = _as_it_stands(record)
    verdict, cure, phases, alarms = outcome_sections(result, units)
    if judged_by is not None:
        first = body["result"]["verdict"]
        said = f"Judged anew by ledger entry {judged_by}, on the ticket attached there; sealed as: {first}."
        verdict = Section(verdict.key, verdict.title, (*verdict.items, Words(said)))
    sections = (
        Section("job", "Tire and repair", tuple(_job(body, ticket))),
        verdict,
        *(chart_sections(trace, body, result, units) if trace is not None else ()),
        cure,
        phases,
        alarms,
        Section("actions", "What people did", _actions(body, alarm_letters(result["alarms"]))),
        Section("gaps", "Gaps in the record", tuple(_gaps(body))),
        Section("layers", "Layers and compounds", tuple(_layers(body, units))),
        Section("recipe", "Recipe", tuple(_known(body.get("recipe"), RECIPE, units))),
        Section("sensors", "Sensors", _sensors(body)),
        Section("later", "Since it was sealed", tuple(_later(record.later))),
        Section("seal", "Seal", tuple(_seal(record))),
        Section("cautions", "What this does and does not say", tuple(Words(c, bullet=True) for c in CAUTIONS)),
    )
    from_log = body.get("source") == "log"
    when = f"replayed {_when(body.get('ended_utc'))}" if from_log else _when(body.get("started_utc"))
    return Certificate(
        number=record.number,
        title=f"Certificate {record.number}: {result['verdict']}",
        subtitle=f"{body.get('shop') or 'Cure record'}, press {body['press']}, {when}",
        banner=LOG_BANNER if from_log else None,
        sections=sections,
    )


def _mapping(value: Json) -> Mapping[str, Json]:
    return value if isinstance(value, Mapping) else {}


def _when(utc: Json) -> str:
    """``2031-05-04 16:20:00 UTC`` of the record's own text."""
    text = str(utc or "not known")
    return f"{text[:10]} {text[11:19]} UTC" if text.endswith("Z") and len(text) >= 20 else text


def _as_it_stands(record: CertificateRecord) -> tuple[dict[str, Json], Mapping[str, Json], int | None]:
    """Ticket and result with what was added since, and the entry that judged anew."""
    body = record.sealed.content
    ticket, result, judged_by = dict(_mapping(body.get("ticket"))), _mapping(body["result"]), None
    for entry in record.later:
        if entry.kind in (TICKET_ATTACHED, CORRECTION):
            ticket |= _mapping(entry.content.get("ticket"))
        if entry.kind == TICKET_ATTACHED and entry.content.get("result"):
            result, judged_by = _mapping(entry.content["result"]), entry.seq
    return ticket, result, judged_by


def _leaves(value: Json, path: str = "") -> Iterator[tuple[str, str]]:
    """Every value of nested JSON with its path, for what is shown as it stands."""
    if isinstance(value, Mapping):
        for key, item in value.items():
            yield from _leaves(item, f"{path}.{key}" if path else str(key))
    elif isinstance(value, list):
        if value and all(isinstance(item, str | int | float) for item in value):
            yield path, ", ".join(map(str, value))
        else:
            for number, item in enumerate(value):
                yield from _leaves(item, f"{path} {number + 1}")
    elif value is not None and value != "":
        yield path, "yes" if value is True else "no" if value is False else str(value)


def _label(path: str) -> str:
    words = path.replace("_", " ").replace(".", ": ")
    return words[:1].upper() + words[1:]


def _job(body: Mapping[str, Json], ticket: Mapping[str, Json]) -> Iterator[Item]:
    yield Pair("Press", str(body["press"]))
    if body.get("source") == "log":
        # A log's times are its own axis: when the cure itself took place, nobody here saw.
        yield Pair("Replayed", _when(body.get("ended_utc")))
    else:
        yield Pair("Started", _when(body.get("started_utc")))
        yield Pair("Closed", _when(body.get("ended_utc")))
    if ticket:
        for path, value in _leaves(ticket):
            yield Pair(_label(path), value)
    else:
        yield Pair("Ticket", "none: what was repaired, and by whom, is not recorded")


def _actions(body: Mapping[str, Json], letters: Mapping[str, str]) -> tuple[Item, ...]:
    rows = []
    for action in body.get("actions") or ():
        done = _mapping(action.get("action")) or action
        said = [str(done["note"])] if done.get("note") else []
        if done.get("seconds"):
            said.append(f"{done['seconds'] / 60:g} min")
        if action.get("refused"):
            said.append(f"refused: {action['refused']}")
        about = done.get("alarm")
        rows.append(
            (
                minutes(done.get("t", action.get("t"))),
                str(done.get("kind", "")),
                letters.get(about, str(about)) if about else "",
                str(done.get("operator") or "no name"),
                "; ".join(said),
            )
        )
    if not rows:
        return (Words("Nothing was recorded."),)
    return (Grid(("When", "What", "Alarm", "Who", "Note"), tuple(rows), numeric=(0,)),)


def _gaps(body: Mapping[str, Json]) -> Iterator[Item]:
    """Where readings are missing, and what the recorder saw its clocks and its computer do."""
    gaps = body.get("gaps") or ()
    clocks = [event for event in body.get("events") or () if event.get("kind") in CLOCK_NOTES]
    if not gaps and not clocks:
        yield Words("None.")
    if gaps:
        rows = tuple(
            (
                minutes(gap["start_s"]),
                minutes(gap["end_s"]),
                f"{gap['end_s'] - gap['start_s']:.0f} s",
                str(gap.get("why") or ""),
            )
            for gap in gaps
        )
        yield Grid(("From", "To", "Length", "Why"), rows, numeric=(0, 1, 2))
    for note in clocks:
        yield Words(f"at {minutes(note.get('t'))}: {note.get('words') or note['kind']}", bullet=True)


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


def _known(data: Json, names: Mapping[str, tuple[str, str]], units: UnitSystem) -> Iterator[Pair]:
    """Values by their names, in the shop's units; what has no name here as it stands."""
    if not isinstance(data, Mapping):
        yield Pair("Recipe", str(data))
        return
    if "name" in data:
        yield Pair("Name", str(data["name"]))
    for key, (label, kind) in names.items():
        if data.get(key) is not None:
            yield Pair(label, _say(data[key], kind, units))
    for path, value in _leaves({k: v for k, v in data.items() if k not in names and k != "name"}):
        yield Pair(_label(path), value)


def _layers(body: Mapping[str, Json], units: UnitSystem) -> Iterator[Item]:
    repair = _mapping(body.get("repair"))
    compounds: dict[str, Json] = dict(_mapping(body.get("compounds")))
    for stack in repair.get("stacks") or ():
        rows = []
        for layer in stack["layers"]:
            compound = layer.get("compound")
            if isinstance(compound, Mapping):
                compounds.setdefault(str(compound["name"]), compound)
                compound = compound["name"]
            rows.append((str(layer["name"]), f"{1000 * layer['thickness']:.1f} mm", str(compound or "vulcanised")))
        yield Words(f"{stack['name']}, from the inner mat to the outer mat:")
        yield Grid(("Layer", "Thickness", "Compound"), tuple(rows), numeric=(1,))
    if not repair.get("stacks"):
        yield Words("Not recorded: without the layers no cure can be worked out.")
    for path, value in _leaves({k: v for k, v in repair.items() if k != "stacks"}):
        yield Pair(_label(path), value)
    for name, compound in compounds.items():
        said = [f"{pair.label} {pair.value}" for pair in _known({**compound, "name": name}, COMPOUND, units)][1:]
        yield Pair(f"Compound {name}", ", ".join(said))


def _sensors(body: Mapping[str, Json]) -> tuple[Item, ...]:
    calibration = _mapping(body.get("calibration"))
    rows = []
    for channel in _mapping(body.get("trace")).get("channels", ()):
        known = calibration.get(channel["name"])
        said = ", ".join(f"{k} {v}" for k, v in _leaves(known)) if isinstance(known, Mapping) else str(known or "")
        step = f"{10.0 ** -channel['decimals']:g} {_unit(channel['unit'])}"
        rows.append((channel["name"], step, said or "none recorded"))
    if not rows:
        return (Words("None."),)
    return (Grid(("Channel", "Kept in steps of", "Calibration"), tuple(rows)),)


def _unit(unit: str) -> str:
    try:
        known = dimension_of(unit)
    except QuantityError:
        return unit
    return unit.replace("deg", "°") if known is Dimension.TEMPERATURE else unit


def _later(entries: Sequence[LedgerEntry]) -> Iterator[Item]:
    if not entries:
        yield Words("Nothing was added. No inspection is recorded.")
    for entry in entries:
        yield Words(f"{entry.kind}, ledger entry {entry.seq}, {_when(entry.content.get('written_utc'))}:")
        own = {k: v for k, v in entry.content.items() if k not in LEDGERS_OWN}
        if entry.kind == TICKET_ATTACHED and isinstance(own.get("result"), Mapping):
            own["result"] = own["result"].get("verdict")
        for path, value in _leaves(own):
            yield Words(f"{_label(path)}: {value}", bullet=True)


def _seal(record: CertificateRecord) -> Iterator[Item]:
    body = record.sealed.content
    # The newest entry that names this certificate, so that a copy stays the same while others are sealed.
    newest = max((entry.seq for entry in record.later), default=record.sealed.seq)
    yield Pair("Ledger entry", f"{record.sealed.seq}; as of entry {newest}")
    yield Pair("Sealed", _when(body.get("written_utc")))
    yield Pair("Hash", record.sealed.hash.hex())
    yield Pair("Signature (Ed25519)", record.sealed.signature.hex())
    yield Pair("Key fingerprint", record.key_fingerprint)
    before = _mapping(body.get("previous"))
    if before:
        yield Pair("Certificate before", f"{before['certificate']}, hash {before['hash']}")
    if trace := _mapping(body.get("trace")):
        yield Pair("Readings", f"{trace['rows']} rows, SHA-256 {trace['sha256']}")
    if body.get("source_log_sha256"):
        yield Pair("Log file", f"SHA-256 {body['source_log_sha256']}")
    yield Pair("Cycle", str(body.get("cycle_id")))
    yield Pair("Written by", f"press-monitor {body.get('software')}, record format {body.get('schema')}")
    for path, value in _leaves(body.get("model")):
        yield Pair(_label(path), value)

"""The shop's copy: from a sealed record, the entries that name it since and its trace, to all that they say."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from press_monitor.archive.ledger import TICKET_ATTACHED
from press_monitor.archive.trace import Trace
from press_monitor.archive.types import CertificateRecord
from press_monitor.certificate.cautions import SHOP_CAUTIONS
from press_monitor.certificate.curves import chart_sections, profile_section
from press_monitor.certificate.customer import NAMES, SHOWN
from press_monitor.certificate.model import Certificate, Code, Grid, Item, Pair, Section, Words
from press_monitor.certificate.outcome import (
    Deed,
    alarm_letters,
    banners_of,
    deeds,
    minutes,
    outcome_sections,
    recorder_alarms,
)
from press_monitor.certificate.parts import (
    JUDGED_ON,
    as_it_stands,
    dated,
    footer_of,
    judged_body,
    known,
    label_of,
    leaves,
    mapping,
    newest_entry,
    standing,
    unit_words,
    units_of,
    when,
)
from press_monitor.certificate.proof import code_text
from press_monitor.quantities import UnitSystem

__all__ = ["shop_copy"]

Json = Any

CLOCK_NOTES = ("clock-step", "sleep-gap")
LEDGERS_OWN = ("entry", "kind", "certificate", "written_utc")
TOLD_ABOVE = (*JUDGED_ON, "setup")
"""Of a ticket attached later: shown in sections of their own."""
OVERRIDES = ("shelve", "extend")
JOB = (*SHOWN, "prep", "mats_overlap", "note")
"""The order of a ticket's facts; what else there is follows."""
MATERIALS = ("lots", "lot", "materials", "bag", "mats", "probes")
COLUMNS = ("use", "product", "compound", "lot", "expires")
PEOPLE = ("people", "technician", "operator")

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
MODEL = {
    "band.activation_energy": ("Band, activation", "J/mol"),
    "band.diffusivity": ("Band, diffusivity", "times"),
    "band.thickness": ("Band, thickness", "times"),
    "band.contact": ("Band, contact", "times"),
    "shop_air_W_m2_K": ("Loss to shop air", "W/m²K"),
    "fast_loss_W_m2_K": ("Fast loss", "W/m²K"),
    "version": ("Model version", ""),
}
FACES = {"inner": "Inner face", "outer": "Outer face"}
COMPOUND = {
    "reference_temperature": ("reference temperature", "degC"),
    "scorch": ("scorch", "s"),
    "tc50": ("tc50", "s"),
    "tc90": ("tc90", "s"),
    "activation_energy": ("activation energy", "J/mol"),
    "blow_point": ("blow point", "share"),
    "reversion": ("reversion", "s"),
}


def shop_copy(record: CertificateRecord, trace: Trace | None, after: bytes | None = None) -> Certificate:
    """The content of the shop's copy. The same record and entries give the same content.

    `after` is the hash of the ledger entry before, for the QR code.
    """
    body: Mapping[str, Json] = record.sealed.content
    units = units_of(body)
    ticket, result, judged_by = as_it_stands(record)
    judged = judged_body(record)
    verdict, cure, phases, alarms = outcome_sections(result, units)
    if judged_by is not None:
        first = body["result"]["verdict"]
        said = f"Judged anew by ledger entry {judged_by}, on the ticket attached there; sealed as: {first}."
        verdict = Section(verdict.key, verdict.title, (*verdict.items, Words(said)))
    told = _sorted_ticket(ticket)
    done = deeds(body)
    from_log = body.get("source") == "log"
    sections = (
        Section("job", "Tire and repair", tuple(_job(body, told["job"], bool(ticket)))),
        verdict,
        *(chart_sections(trace, body, result, units) if trace is not None else ()),
        cure,
        profile_section(judged, units),
        phases,
        alarms,
        *(() if from_log else (Section("recorder", "The recorder's own alarms", recorder_alarms(body)),)),
        Section("actions", "What people did", _actions(done, alarm_letters(result["alarms"]))),
        Section("overrides", "Overrides", tuple(_overrides(done, ticket))),
        Section("gaps", "Gaps in the record", tuple(_gaps(body))),
        Section("layers", "Layers and compounds", tuple(_layers(judged, units))),
        Section("materials", "Materials", tuple(_told(told["materials"], "Not recorded."))),
        Section("people", "People", tuple(_told(told["people"], "Not recorded on the ticket."))),
        Section("recipe", "Recipe", tuple(known(body.get("recipe"), RECIPE, units))),
        Section("sensors", "Sensors", _sensors(body)),
        Section("later", "Since it was sealed", tuple(_later(record))),
        Section("model", "Model", tuple(_model(judged, record, judged_by))),
        Section("seal", "Seal", tuple(_seal(record, after))),
        Section("cautions", "What this does and does not say", tuple(Words(c, bullet=True) for c in SHOP_CAUTIONS)),
    )
    started = f"replayed {when(body.get('ended_utc'))}" if from_log else when(body.get("started_utc"))
    return Certificate(
        number=record.number,
        title=f"Certificate {record.number}: {result['verdict']}",
        subtitle=f"{body.get('shop') or 'Cure record'}, press {body['press']}, {started}",
        banners=banners_of(body),
        sections=sections,
        copy="shop",
        verdict=str(result["verdict"]),
        footer=footer_of(record),
        dated=dated(record),
        author=str(body.get("shop") or ""),
        letter=units.name == "us",
    )


def _sorted_ticket(ticket: Mapping[str, Json]) -> dict[str, dict[str, Json]]:
    """A ticket's facts as those of the job, of its materials and of who worked on it. Overrides stand apart."""
    told: dict[str, dict[str, Json]] = {"job": {}, "materials": {}, "people": {}}
    for key, value in ticket.items():
        if key == "overrides":
            continue
        kind = "people" if key in PEOPLE or key.endswith("_by") else "materials" if key in MATERIALS else "job"
        told[kind][key] = value
    return told


def _told(facts: Mapping[str, Json], nothing: str) -> Iterator[Item]:
    if not any(True for _ in leaves(facts)):
        yield Words(nothing)
    tables = {k: v for k, v in facts.items() if isinstance(v, list) and v and all(isinstance(i, Mapping) for i in v)}
    for value in tables.values():
        yield _table(value)
    for key, value in facts.items():
        if key in tables:
            continue
        for path, said in leaves({key: value}):
            yield Pair(label_of(path.removeprefix("people.")), said)


def _table(items: Sequence[Mapping[str, Json]]) -> Grid:
    """Things with the same keys, a row each."""
    rows = [dict(leaves(item)) for item in items]
    order = {key: place for place, key in enumerate(COLUMNS)}
    there = dict.fromkeys(key for row in rows for key in row)
    head = tuple(sorted(there, key=lambda key: order.get(key, len(order))))
    return Grid(tuple(map(label_of, head)), tuple(tuple(row.get(key, "") for key in head) for row in rows))


def _job(body: Mapping[str, Json], told: Mapping[str, Json], ticketed: bool) -> Iterator[Item]:
    yield Pair("Press", str(body["press"]))
    if body.get("source") == "log":
        # A log's times are its own axis: when the cure itself took place, nobody here saw.
        yield Pair("Replayed", when(body.get("ended_utc")))
    else:
        yield Pair("Started", when(body.get("started_utc")))
        yield Pair("Closed", when(body.get("ended_utc")))
    if not ticketed:
        yield Pair("Ticket", "none: what was repaired, and by whom, is not recorded")
    order = {key: place for place, key in enumerate(JOB)}
    for key in sorted(told, key=lambda key: order.get(key, len(order))):
        for path, value in leaves({key: told[key]}):
            yield Pair(NAMES.get(path) or label_of(path), value)


def _actions(done: Sequence[Deed], letters: Mapping[str, str]) -> tuple[Item, ...]:
    rows = []
    for deed in done:
        said = [deed.note] if deed.note else []
        if deed.seconds:
            said.append(f"{deed.seconds / 60:g} min")
        if deed.refused:
            said.append(f"refused: {deed.refused}")
        about = letters.get(deed.alarm, str(deed.alarm)) if deed.alarm else ""
        rows.append((deed.sign, minutes(deed.t), deed.kind, about, deed.operator or "no name", "; ".join(said)))
    if not rows:
        return (Words("Nothing was recorded."),)
    return (Grid(("", "When", "What", "Alarm", "Who", "Note"), tuple(rows), numeric=(1,)),)


def _overrides(done: Sequence[Deed], ticket: Mapping[str, Json]) -> Iterator[Item]:
    """What somebody decided against the program's own word, by name and reason."""
    said = [
        f"{deed.sign}: {deed.kind} by {deed.operator or 'no name'}: {deed.note or 'no reason given'}"
        for deed in done
        if deed.kind in OVERRIDES and not deed.refused
    ]
    signed_off = ticket.get("overrides")
    said += [_signed_off(item) for item in (signed_off if isinstance(signed_off, list) else ())]
    if not said:
        yield Words("None.")
    for text in said:
        yield Words(text, bullet=True)


def _signed_off(item: Json) -> str:
    """One use that the ticket names though it should not have been. Without a name it was found after the cure."""
    told = mapping(item)
    if not told.get("what"):
        return "ticket: " + ", ".join(f"{path.replace('_', ' ')} {value}" for path, value in leaves(item))
    by = f"used all the same by {told['by']}, " if told.get("by") else ""
    return f"ticket: {told['what']}; {by}{told.get('reason') or 'no reason given'}"


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


def _layers(body: Mapping[str, Json], units: UnitSystem) -> Iterator[Item]:
    repair = mapping(body.get("repair"))
    compounds: dict[str, Json] = {}
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
    for path, value in leaves({k: v for k, v in repair.items() if k != "stacks"}):
        yield Pair(FACES.get(path) or label_of(path), value)
    for name, compound in compounds.items() or mapping(body.get("compounds")).items():
        said = [
            f"{pair.label[:1].lower()}{pair.label[1:]} {pair.value}"
            for pair in known({**compound, "name": name}, COMPOUND, units)
        ][1:]
        yield Pair(f"Compound {name}", ", ".join(said))


def _sensors(body: Mapping[str, Json]) -> tuple[Item, ...]:
    calibration = mapping(body.get("calibration"))
    rows = []
    for channel in mapping(body.get("trace")).get("channels", ()):
        facts = calibration.get(channel["name"])
        said = ", ".join(f"{k} {v}" for k, v in leaves(facts)) if isinstance(facts, Mapping) else str(facts or "")
        step = f"{10.0 ** -channel['decimals']:g} {unit_words(channel['unit'])}"
        rows.append((channel["name"], step, said or "none recorded"))
    if not rows:
        return (Words("None."),)
    return (Grid(("Channel", "Kept in steps of", "Calibration"), tuple(rows)),)


def _later(record: CertificateRecord) -> Iterator[Item]:
    if not record.later:
        yield Words("Nothing was added. No inspection is recorded.")
    kept = {entry.seq for entry in standing(record)}
    ticket, _, _ = as_it_stands(record)
    for entry in record.later:
        withdrawn = "" if entry.seq in kept else " WITHDRAWN by a later entry"
        yield Words(f"{entry.kind}, ledger entry {entry.seq}, {when(entry.content.get('written_utc'))}:{withdrawn}")
        own = {k: v for k, v in entry.content.items() if k not in LEDGERS_OWN}
        if entry.kind == TICKET_ATTACHED:
            own = {k: v for k, v in own.items() if k not in TOLD_ABOVE}
            said = mapping(own.pop("ticket", None))
            own["ticket"] = {k: v for k, v in said.items() if ticket.get(k) != v}
            if entry.seq in kept:
                but = ", but for what was corrected since:" if own["ticket"] else "."
                yield Words(f"Ticket: told above{but}", bullet=True)
            if isinstance(own.get("result"), Mapping):
                own["result"] = own["result"].get("verdict")
        for path, value in leaves(own):
            yield Words(f"{label_of(path)}: {value}", bullet=True)


def _model(judged: Mapping[str, Json], record: CertificateRecord, judged_by: int | None) -> Iterator[Item]:
    for path, value in leaves(judged.get("model")):
        name, unit = MODEL.get(path, (label_of(path), ""))
        yield Pair(name, f"{value.replace(', ', ' to ')} {unit}".strip() if path in MODEL else value)
    yield Pair("Written by", f"press-monitor {judged.get('software')}, record format {judged.get('schema')}")
    anew = next((entry.content.get("software") for entry in record.later if entry.seq == judged_by), None)
    if anew:
        yield Pair("Judged anew by", f"press-monitor {anew}")


def _seal(record: CertificateRecord, after: bytes | None) -> Iterator[Item]:
    body = record.sealed.content
    yield Code(
        code_text(record, after),
        "Scan to keep number, hash and key. Checking it needs the shop's public key and no archive:"
        " press-monitor verify --file F --key K.",
    )
    yield Pair("Ledger entry", f"{record.sealed.seq}; as of entry {newest_entry(record)}")
    yield Pair("Sealed", when(body.get("written_utc")))
    yield Pair("Hash", record.sealed.hash.hex(), exact=True)
    yield Pair("Key fingerprint", record.key_fingerprint, exact=True)
    yield Pair("Signature (Ed25519)", record.sealed.signature.hex(), exact=True)
    before = mapping(body.get("previous"))
    if before:
        yield Pair(f"Hash of certificate {before['certificate']}", str(before["hash"]), exact=True)
    if trace := mapping(body.get("trace")):
        yield Pair("Readings", f"{trace['rows']} rows")
        yield Pair("SHA-256 of readings", str(trace["sha256"]), exact=True)
    if body.get("source_log_sha256"):
        yield Pair("SHA-256 of the log", str(body["source_log_sha256"]), exact=True)
    yield Pair("Cycle", str(body.get("cycle_id")), exact=True)

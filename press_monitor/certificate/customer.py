"""The customer's copy: one page, in words for who owns the tire. No name of anyone who worked on it.

It keeps apart what was measured (the cure record) and what a person looked at (the inspection), and says what neither
shows.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from press_monitor.archive.ledger import COMEBACK, INSPECTION
from press_monitor.archive.trace import Trace
from press_monitor.archive.types import CertificateRecord, LedgerEntry
from press_monitor.certificate.cautions import DEFERENCE, INFLATION, PROVES
from press_monitor.certificate.curves import profile_charts, time_charts
from press_monitor.certificate.model import Certificate, Code, Item, Pair, Section, Words
from press_monitor.certificate.outcome import banners_of, key_figures, share
from press_monitor.certificate.parts import (
    as_it_stands,
    dated,
    footer_of,
    judged_body,
    label_of,
    leaves,
    mapping,
    standing,
    units_of,
    when,
)
from press_monitor.certificate.proof import code_text
from press_monitor.quantities import UnitSystem

__all__ = ["NAMES", "SHOWN", "customer_copy"]

Json = Any

SHOWN = (
    *("number", "customer", "machine", "tire", "size", "construction", "serial", "tin", "tin_week"),
    *("section", "injury"),
)
"""Of a ticket, what the customer sees. Anything else may hold a name of the shop's."""

NAMES = {"number": "Ticket", "tin": "TIN", "tin_week": "Made in", "section": "Place of injury"}

VERIFIED: Mapping[str, tuple[str, str]] = {
    "pass": ("Cure record verified", "The record meets the recipe that this repair was to be cured by."),
    "exceptions": (
        "Cure record verified, with exceptions",
        "The required cure was reached. What deviated is listed, and the figures show it to be harmless.",
    ),
    "review": (
        "Cure record not verified: for review",
        "A person has to decide before this repair goes any further.",
    ),
    "fail": ("Cure record not verified: failed", "The record shows that the cure did not come out as required."),
    "incomplete": (
        "Cure record not verified: incomplete",
        "The record does not show a whole cure and is no evidence that the rubber is cured.",
    ),
}


def customer_copy(record: CertificateRecord, trace: Trace | None, after: bytes | None = None) -> Certificate:
    """The content of the customer's copy."""
    body: Mapping[str, Json] = record.sealed.content
    units = units_of(body)
    ticket, result, _ = as_it_stands(record)
    charts: tuple[Item, ...] = ()
    if trace is not None:
        # Marks stand for entries of the shop's own lists, which are not on this page.
        mats, bag = time_charts(trace, {**body, "actions": ()}, {**result, "alarms": ()}, units)
        deepest = mapping(mapping(result.get("cure")).get("deepest"))
        through = profile_charts(judged_body(record), units, str(deepest.get("stack")), temperature=False)[:1]
        charts = (mats, replace(bag, half=bool(through)), *through)
    sections = (
        Section("job", "Tire and repair", tuple(_job(body, ticket))),
        Section("verdict", "Cure record", tuple(_verdict(result))),
        Section("inspection", "Inspection", tuple(_inspection(record))),
        Section("curves", "What the record shows", (*_figures(result, units), *charts)),
        Section("proves", "What this does and does not prove", tuple(Words(text, bullet=True) for text in PROVES)),
        Section(
            "cautions",
            "Before this tire goes back to work",
            tuple(Words(text, bullet=True) for text in (*INFLATION, DEFERENCE)),
        ),
        Section("seal", "Seal", tuple(_seal(record, after))),
    )
    verdict = str(result["verdict"])
    return Certificate(
        number=record.number,
        title=f"Cure certificate {record.number}",
        subtitle=f"{body.get('shop') or 'Cure record'}, {when(record.sealed.content.get('written_utc'))[:10]}",
        banners=banners_of(body),
        sections=sections,
        copy="customer",
        verdict=verdict,
        footer=footer_of(record),
        dated=dated(record),
        author=str(body.get("shop") or ""),
        letter=units.name == "us",
    )


def _job(body: Mapping[str, Json], ticket: Mapping[str, Json]) -> Iterator[Item]:
    shown = {key: ticket[key] for key in SHOWN if ticket.get(key)}
    for path, value in leaves(shown):
        yield Pair(NAMES.get(path) or label_of(path), value)
    if not shown:
        yield Pair("Ticket", "none: which tire this was is not recorded")
    if body.get("source") == "log":
        yield Pair("Replayed", when(body.get("ended_utc")))
    else:
        yield Pair("Cured", when(body.get("started_utc")))


def _verdict(result: Mapping[str, Json]) -> Iterator[Item]:
    verdict = str(result["verdict"])
    title, text = VERIFIED.get(verdict, (f"Cure record: {verdict}", ""))
    yield Words(title, strong=True)
    if text:
        yield Words(text)
    for reason in result["reasons"]:
        yield Words(str(reason), bullet=True)


def _inspection(record: CertificateRecord) -> Iterator[Item]:
    """The newest inspection's result and day, without its inspector; and any comeback."""
    inspections = [entry for entry in standing(record) if entry.kind == INSPECTION]
    if not inspections:
        yield Words("Not inspected", strong=True)
        yield Words("No inspection of the finished repair is recorded here. Ask for one before the tire is inflated.")
    else:
        newest = inspections[-1]
        day = _day(newest)
        yield Words(f"Inspected: {newest.content.get('result') or 'result not recorded'}", strong=True)
        yield Words(f"On {day}, ledger entry {newest.seq}. A person's judgement, apart from the cure record.")
    for entry in standing(record):
        if entry.kind == COMEBACK:
            yield Words(f"Came back {_day(entry)}: {entry.content.get('cause') or 'cause not recorded'}", strong=True)


def _day(entry: LedgerEntry) -> str:
    return str(entry.content.get("day") or when(entry.content.get("written_utc"))[:10])


def _figures(result: Mapping[str, Json], units: UnitSystem) -> Iterator[Pair]:
    cure = mapping(result.get("cure"))
    deepest, hottest = mapping(cure.get("deepest")), mapping(cure.get("hottest"))
    yield from key_figures(result)
    if deepest:
        band = f"{100 * deepest['state_of_cure_low']:.0f} to {100 * deepest['state_of_cure_high']:.0f} %"
        yield Pair("Deepest rubber", f"{share(deepest['state_of_cure'])} cured ({band})")
    else:
        yield Pair("Deepest rubber", "could not be judged")
    if hottest:
        yield Pair("Hottest rubber", units.say_temperature(hottest["peak_degC"]))
    if cure.get("set_without_pressure") is not None:
        yield Pair("Set without pressure", share(cure["set_without_pressure"]))


def _seal(record: CertificateRecord, after: bytes | None) -> Iterator[Item]:
    yield Code(
        code_text(record, after),
        "Keep this code. With it anyone who has the shop's public key can check the shop's record:"
        " press-monitor verify --file F --key K.",
    )
    yield Pair("Hash", record.sealed.hash.hex(), exact=True)
    yield Pair("Key fingerprint", record.key_fingerprint, exact=True)

"""What the preview shows of one certificate: read once from its record and its readings, in SI, ready to draw."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from press_monitor.archive.ledger import COMEBACK, CORRECTION, INSPECTION, TICKET_ATTACHED
from press_monitor.archive.reader import ArchiveReader
from press_monitor.archive.trace import Trace
from press_monitor.archive.types import ArchiveError, CertificateRecord, CertificateRow, Json
from press_monitor.certificate.outcome import VERDICT_WORDS, banners_of
from press_monitor.certificate.parts import as_it_stands, leaves, mapping, standing
from press_monitor.quantities import UnitSystem, to_si
from press_monitor.readings.types import Role, role_of
from press_monitor.screens.widgets.cells import plain
from press_monitor.screens.widgets.palette import Tone

__all__ = ["VERDICT_TONES", "Fact", "Line", "Preview", "Track", "read_preview", "sketched", "tracks_of"]

Floats = NDArray[np.float64]

VERDICT_TONES = {
    "pass": Tone.FINE,
    "exceptions": Tone.DONE,
    "review": Tone.ATTENTION,
    "fail": Tone.ALARM,
    "incomplete": Tone.IDLE,
}
_CURVES = (Role.INNER_MAT, Role.OUTER_MAT, Role.BAG)


@dataclass(frozen=True, slots=True)
class Track:
    """One channel's readings in SI over minutes since the cure began; `gap` is the longest bridged silence, min."""

    name: str
    role: Role
    minutes: Floats
    values: Floats
    gap: float


@dataclass(frozen=True, slots=True)
class Line:
    """A line of text and how it feels; None: plain."""

    text: str
    tone: Tone | None = None


@dataclass(frozen=True, slots=True)
class Fact:
    """A label and what stands beside it."""

    label: str
    text: str


@dataclass(frozen=True, slots=True)
class Preview:
    """A certificate as the preview shows it.

    Attributes:
        row: its line of the index.
        verdict: as it stands, with what that word means and its reasons.
        cure: deepest state of cure with both edges, 0-1, None where it was not judged.
        required: what the recipe asks, 0-1.
        peak_degC: of the hottest rubber.
        ticketed: whether a ticket belongs to it by now.
        facts: of the ticket.
        alarms: minute, kind and whether it was high, roots only.
        later: what was entered since, oldest first.
        tracks: mats and bag.
        limits: of the recipe in SI, by its keys.
        heated_min: when heating began.
        banners: what must be said of a record nobody watched live.
        trouble: why its readings cannot be shown; empty where they can.
    """

    row: CertificateRow
    verdict: str
    words: str
    reasons: tuple[str, ...]
    cure: tuple[float, float, float] | None
    required: float | None
    peak_degC: float | None
    ticketed: bool
    facts: tuple[Fact, ...]
    alarms: tuple[tuple[float, str, bool], ...]
    later: tuple[Line, ...]
    tracks: tuple[Track, ...]
    limits: Mapping[str, float] = field(default_factory=dict)
    heated_min: float = 0.0
    banners: tuple[str, ...] = ()
    trouble: str = ""
    partial: bool = False
    """Made of the index alone, until the record has been read."""

    def figures(self, units: UnitSystem) -> str:
        """The figures that matter in one line."""
        said = []
        if self.cure is not None:
            value, low, high = (100.0 * share for share in self.cure)
            said.append(f"deepest {value:.0f} % ({low:.0f}-{high:.0f})")
        if self.row.hold_min is not None:
            said.append(f"hold {self.row.hold_min:.0f} min")
        if self.peak_degC is not None:
            said.append(f"hottest {units.say_temperature(self.peak_degC)}")
        return ", ".join(said)


def _number(value: Json) -> float | None:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def _cure(result: Mapping[str, Json]) -> tuple[float, float, float] | None:
    deepest = mapping(mapping(result.get("cure")).get("deepest"))
    value = _number(deepest.get("state_of_cure"))
    if value is None:
        return None
    low, high = (_number(deepest.get(f"state_of_cure_{edge}")) for edge in ("low", "high"))
    return value, value if low is None else low, value if high is None else high


def _texts(value: Json) -> str:
    return ", ".join(plain(said) for _, said in leaves(value))


def _facts(ticket: Mapping[str, Json]) -> Iterator[Fact]:
    def said(*keys: str) -> str:
        return ", ".join(text for key in keys if (text := _texts(ticket.get(key))))

    yield Fact("tire", said("tire", "size", "construction"))
    injury = mapping(ticket.get("injury"))
    sizes = " x ".join(plain(str(injury[key])) for key in ("length", "width", "depth") if injury.get(key))
    yield Fact("injury", ", ".join(part for part in (said("section"), sizes, _texts(injury.get("cords"))) if part))
    yield Fact("job", said("number", "customer", "machine"))
    yield Fact("number", said("tin", "serial"))
    people = mapping(ticket.get("people"))
    names = dict.fromkeys(plain(str(name)) for name in (ticket.get("operator"), *people.values()) if name)
    yield Fact("by", ", ".join(names))
    lots = [
        " ".join(plain(str(item[key])) for key in ("use", "lot") if item.get(key))
        for item in ticket.get("materials") or ()
        if isinstance(item, Mapping)
    ]
    yield Fact("lots", ", ".join(part for part in (*lots, said("lots", "lot")) if part))
    things = [
        f"{label} {text}"
        for label, key in (("bag", "bag"), ("mats", "mats"), ("probes", "probes"))
        if (text := said(key))
    ]
    yield Fact("with", ", ".join(things))
    yield Fact("note", said("note"))


def _later(record: CertificateRecord) -> Iterator[Line]:
    kept = {entry.seq for entry in standing(record)}
    for entry in record.later:
        told = entry.content
        day = str(told.get("day") or "")[:10] or str(told.get("written_utc") or "")[:10]
        by = f" by {told['by']}" if told.get("by") else ""
        note = f": {told['note']}" if told.get("note") else ""
        tone: Tone | None = None
        match entry.kind:
            case kind if kind == INSPECTION:
                result = str(told.get("result") or "")
                tone = {"sound": Tone.FINE, "rejected": Tone.ALARM}.get(result, Tone.DONE)
                text = f"inspected {day}{by}, {result}{note}"
            case kind if kind == COMEBACK:
                tone = Tone.ATTENTION
                text = f"came back {day}, {told.get('cause') or 'cause not said'}{by and f', said{by}'}{note}"
            case kind if kind == CORRECTION:
                what = (
                    ", ".join(path for path, _ in leaves(told.get("ticket")))
                    or f"entry {told.get('withdraws')} withdrawn"
                )
                text = f"corrected {day}{by}: {what.replace('_', ' ')} ({told.get('why') or 'no reason given'})"
            case kind if kind == TICKET_ATTACHED:
                text = f"ticket attached {day}{by}, judged on it: {mapping(told.get('result')).get('verdict')}"
            case kind:
                text = f"{kind} {day}{by}"
        if entry.seq not in kept:
            text, tone = f"withdrawn: {text}", Tone.IDLE
        yield Line(plain(text), tone)


def tracks_of(trace: Trace) -> tuple[Track, ...]:
    """Mats and bag of a sealed cure in SI, on the axis of its first row."""
    times = trace.times
    if not len(times):
        return ()
    minutes = (times - times[0]) / 60.0
    pace = float(np.median(np.diff(minutes))) if len(minutes) > 1 else 0.0
    gap = max(5.0 / 60.0, 4.0 * pace)
    found = []
    for channel in trace.channels:
        role = role_of(channel.name)
        if role in _CURVES:
            zero, one = to_si(0.0, channel.unit), to_si(1.0, channel.unit)
            found.append(Track(channel.name, role, minutes, trace.column(channel.name) * (one - zero) + zero, gap))
    return tuple(found)


def sketched(row: CertificateRow) -> Preview:
    """What the index says, for the moment until the record has been read."""
    told = {
        "tire": row.tire,
        "size": row.size,
        "construction": row.construction,
        "section": row.section,
        "number": row.job,
        "customer": row.customer,
        "machine": row.machine,
        "tin": row.tin,
        "serial": row.serial,
    }
    share, low = row.state_of_cure, row.state_of_cure_low
    return Preview(
        row=row,
        verdict=row.verdict,
        words=VERDICT_WORDS.get(row.verdict, ""),
        reasons=tuple(map(plain, row.reasons)),
        cure=None if share is None else (share, share if low is None else low, share),
        required=None,
        peak_degC=None,
        ticketed=any(told.values()),
        facts=tuple(fact for fact in _facts(told) if fact.text),
        alarms=(),
        later=(),
        tracks=(),
        partial=True,
    )


def read_preview(reader: ArchiveReader, row: CertificateRow) -> Preview:
    """A certificate's preview; readings that cannot be read are said in it. Raises `ArchiveError`."""
    record = reader.record(row.number)
    body = record.sealed.content
    ticket, result, _ = as_it_stands(record)
    trouble = ""
    tracks: tuple[Track, ...] = ()
    try:
        tracks = tracks_of(reader.trace(row.number))
    except ArchiveError as error:
        trouble = str(error)
    recipe = mapping(body.get("recipe"))
    limits = {key: value for key in recipe if (value := _number(recipe[key])) is not None}
    phases = [p for p in result.get("phases") or () if isinstance(p, Mapping)]
    heated = next((_number(p.get("start_s")) for p in phases if p.get("phase") == "heat-up"), None)
    alarms = tuple(
        ((_number(a.get("since_s")) or 0.0) / 60.0, plain(str(a.get("kind"))), a.get("priority") == "high")
        for a in result.get("alarms") or ()
        if isinstance(a, Mapping) and not a.get("consequence_of")
    )
    verdict = str(result.get("verdict"))
    return Preview(
        row=row,
        verdict=verdict,
        words=VERDICT_WORDS.get(verdict, ""),
        reasons=tuple(plain(str(reason)) for reason in result.get("reasons") or ()),
        cure=_cure(result),
        required=limits.get("required_cure"),
        peak_degC=_number(mapping(mapping(result.get("cure")).get("hottest")).get("peak_degC")),
        ticketed=bool(ticket),
        facts=tuple(fact for fact in _facts(ticket) if fact.text),
        alarms=alarms,
        later=tuple(_later(record)),
        tracks=tracks,
        limits=limits,
        heated_min=(heated or 0.0) / 60.0,
        banners=tuple(banners_of(body)),
        trouble=trouble,
    )

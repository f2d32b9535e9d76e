"""A tire came back, or a ticket came late: the cure judged again, put beside its like, and added to the ledger."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime

from press_monitor import __version__
from press_monitor.archive import ArchiveError, ArchiveReader, CertificateRecord, CertificateRow, Json
from press_monitor.archive.derived import as_it_stands
from press_monitor.archive.entries import comeback_body
from press_monitor.archive.ledger import COMEBACK, TICKET_ATTACHED
from press_monitor.archive.record import epoch_of
from press_monitor.archive.requests import Asked, append_entry
from press_monitor.archive.ticket import Ticket
from press_monitor.audit.comparison import Comparison, compare
from press_monitor.audit.rejudge import (
    AuditError,
    Change,
    Judged,
    changes,
    compounds_of,
    judge_again,
    model_changes,
    setup_of,
    todays,
)
from press_monitor.audit.where_used import OLD_ENOUGH_DAYS, Rate, suspects
from press_monitor.shop import RepairFile, Shop
from press_monitor.watch.plain import to_json
from press_monitor.watch.setup import WatchSetup

__all__ = ["AttachReport", "ComebackReport", "JudgedAnew", "attach_ticket", "came_back", "judged_anew"]


@dataclass(frozen=True, slots=True)
class JudgedAnew:
    """What today's model makes of a cure. `verdict` is None, with `trouble`, where it cannot judge it."""

    verdict: str | None
    reasons: tuple[str, ...]
    changes: tuple[Change, ...]
    model_changes: tuple[Change, ...]
    trouble: str

    def to_json(self) -> dict[str, Json]:
        """Every key, always."""
        return {
            "verdict": self.verdict,
            "reasons": list(self.reasons),
            "changes": [change.to_json() for change in self.changes],
            "model_changes": [change.to_json() for change in self.model_changes],
            "trouble": self.trouble,
        }


@dataclass(frozen=True, slots=True)
class ComebackReport:
    """A comeback and what the past says of it.

    Attributes:
        certificate, entry: the cure, and the ledger entry that was added; None where none was to be.
        cause, day, age_days: why and when it came back, and how long the repair had been out.
        sealed_verdict: as it stood.
        anew: by today's model.
        comparison: beside comparable good cures.
        suspects: what it shared with others, with comeback rates.
        warnings: how far those carry.
    """

    certificate: int
    entry: int | None
    cause: str
    day: str
    age_days: int
    sealed_verdict: str
    anew: JudgedAnew
    comparison: Comparison
    suspects: tuple[Rate, ...]
    warnings: tuple[str, ...]

    def to_json(self) -> dict[str, Json]:
        """Every key, always."""
        return {
            **{k: getattr(self, k) for k in ("certificate", "entry", "cause", "day", "age_days", "sealed_verdict")},
            "judged_anew": self.anew.to_json(),
            "comparison": self.comparison.to_json(),
            "suspects": [rate.to_json() for rate in self.suspects],
            "warnings": list(self.warnings),
        }


def _record(reader: ArchiveReader, number: int) -> tuple[CertificateRecord, CertificateRow]:
    record = reader.record(number)
    rows = reader.records(number=number)
    if not rows:
        raise AuditError(f"certificate {number} is not indexed; run: press-monitor archive rebuild")
    return record, rows[0]


def judged_anew(reader: ArchiveReader, number: int, shop: Shop | None = None) -> JudgedAnew:
    """A certificate judged by today's model, with today's compound cards where `shop` has them.

    Raises `ArchiveError` for a certificate that is not there; what cannot be judged is said in the answer.
    """
    record = reader.record(number)
    body = _with_attached(record)
    _, result = as_it_stands(record.sealed.content, [entry.content for entry in record.later])
    try:
        setup = todays(setup_of(body), shop, str(body.get("press")))
        judged = judge_again(body, reader.trace(number), setup)
        return JudgedAnew(
            judged.result["verdict"],
            tuple(judged.result["reasons"]),
            changes(result, judged.result),
            model_changes(body, judged),
            "",
        )
    except ArchiveError as error:
        return JudgedAnew(None, (), (), (), str(error))


def _with_attached(record: CertificateRecord) -> Mapping[str, Json]:
    """The sealed body with the layers and the answers of a ticket that was attached later."""
    body = dict(record.sealed.content)
    for entry in record.later:
        if entry.kind == TICKET_ATTACHED and isinstance(entry.content.get("setup"), Mapping):
            body["setup"] = {**body.get("setup", {}), **entry.content["setup"]}
            body["repair"] = entry.content.get("repair") or body.get("repair")
            body["model"] = entry.content.get("model") or body.get("model")
    return body


def came_back(
    asked: Asked,
    number: int,
    cause: str,
    *,
    day: date | None = None,
    by: str = "",
    note: str = "",
    shop: Shop | None = None,
    old_enough_days: int = OLD_ENOUGH_DAYS,
    people: bool = False,
) -> ComebackReport:
    """Enter a comeback and say what the archive knows about it.

    Raises `ArchiveError`: no such certificate or cause, a day before the cure or in the future, a refusal. Nothing is
    entered unless everything else could be read.
    """
    now = asked.now()
    today = datetime.fromtimestamp(now, UTC).astimezone().date()
    with ArchiveReader(asked.path) as reader:
        record, row = _record(reader, number)
        ended = datetime.fromtimestamp(epoch_of(record.sealed.content["ended_utc"]), UTC).astimezone().date()
        today = max(today, ended)  # a clock that ran ahead, as a demo's does, must not keep a comeback out
        when = today if day is None else day
        if not ended <= when <= today:
            span = f"between the cure on {ended} and today, {today}"
            raise AuditError(f"certificate {number} cannot have come back on {when}: it must be {span}")
        anew = judged_anew(reader, number, shop)
        comparison = compare(reader, number)
        brief = {"verdict": anew.verdict, "software": __version__, "changes": [c.to_json() for c in anew.changes]}
        body = comeback_body(cause, day=when, by=by, note=note, judged_anew=brief)
    entry = append_entry(asked, COMEBACK, body, number)
    with ArchiveReader(asked.path) as reader:
        rates, warnings = suspects(reader, number, now, old_enough_days=old_enough_days, people=people)
    return ComebackReport(
        number,
        entry,
        body["cause"],
        when.isoformat(),
        (when - ended).days,
        row.verdict,
        anew,
        comparison,
        rates,
        warnings,
    )


@dataclass(frozen=True, slots=True)
class AttachReport:
    """A ticket attached after the cure: the entry, the verdict before and on the ticket, and what changed."""

    certificate: int
    entry: int
    verdict_before: str
    verdict: str
    reasons: tuple[str, ...]
    changes: tuple[Change, ...]
    found: tuple[str, ...]
    """What the ticket names that should not have been used."""

    def to_json(self) -> dict[str, Json]:
        """Every key, always."""
        return {
            **{k: getattr(self, k) for k in ("certificate", "entry", "verdict_before", "verdict")},
            "reasons": list(self.reasons),
            "changes": [change.to_json() for change in self.changes],
            "found": list(self.found),
        }


def attach_ticket(
    asked: Asked, number: int, ticket: Ticket, *, shop: Shop, repair: RepairFile | None = None, by: str = ""
) -> AttachReport:
    """Attach a ticket to a sealed cure and judge it on what the ticket says; layers from `repair` where it is given.

    Raises `ArchiveError`: no such certificate, one that cannot be judged again, a refusal.
    """
    with ArchiveReader(asked.path) as reader:
        record, row = _record(reader, number)
        body = _with_attached(record)
        judged = judge_again(body, reader.trace(number), _ticketed(body, ticket, shop, repair))
        cured_on = datetime.fromtimestamp(row.started_utc, UTC).astimezone().date()
        found = tuple(reader.stores().troubles(ticket, cured_on))
        _, before = as_it_stands(record.sealed.content, [entry.content for entry in record.later])
    entry = append_entry(asked, TICKET_ATTACHED, _attached_body(ticket, judged, found, by), number)
    return AttachReport(
        number,
        entry,
        row.verdict,
        judged.result["verdict"],
        tuple(judged.result["reasons"]),
        changes(before, judged.result),
        found,
    )


def _ticketed(body: Mapping[str, Json], ticket: Ticket, shop: Shop, repair: RepairFile | None) -> WatchSetup:
    setup = setup_of(body)
    overlap = ticket.mats_overlap
    if overlap is None:
        overlap = repair.mats_overlap if repair is not None else setup.mats_overlap
    ticketed = replace(
        setup,
        ticketed=True,
        tire=ticket.tire or setup.tire,
        section=ticket.section or setup.section,
        mats_overlap=overlap,
        overlap_asked=True,
    )
    if repair is None:
        return ticketed
    fitted = shop.fitted(repair.repair, str(body.get("press")))
    fits = tuple(fit.words for fit in fitted.fits)
    return replace(ticketed, repair=fitted.repair, limits=fitted.limits, fits=fits)


def _attached_body(ticket: Ticket, judged: Judged, found: tuple[str, ...], by: str) -> dict[str, Json]:
    said = ticket.to_json()
    if found:
        when = "found when the ticket was attached, after the cure"
        said["overrides"] = [{"what": what, "by": "", "reason": when} for what in found]
    setup = to_json(judged.setup)
    return {
        "ticket": said,
        "by": by,
        "repair": setup.pop("repair"),
        "setup": {k: v for k, v in setup.items() if k not in ("recipe", "units")},
        "compounds": {name: to_json(card) for name, card in compounds_of(judged.setup.repair).items()},
        "result": judged.result,
        "profiles": judged.profiles,
        "model": judged.model,
        "software": __version__,
    }

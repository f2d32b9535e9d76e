"""The label for the job: which record the tire in hand belongs to, small enough to stick on it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from press_monitor.archive.types import CertificateRecord
from press_monitor.certificate.model import Certificate, Code, Item, Pair, Section
from press_monitor.certificate.outcome import banners_of
from press_monitor.certificate.parts import as_it_stands, dated, footer_of, units_of, when
from press_monitor.certificate.proof import code_text

__all__ = ["label_copy"]

Json = Any


def label_copy(record: CertificateRecord, after: bytes | None = None) -> Certificate:
    """The content of the job label."""
    body: Mapping[str, Json] = record.sealed.content
    ticket, result, _ = as_it_stands(record)
    verdict = str(result["verdict"])
    return Certificate(
        number=record.number,
        title=f"No. {record.number}",
        subtitle=str(body.get("shop") or "Cure record"),
        banners=banners_of(body),
        sections=(
            Section("job", "Job", tuple(_job(body, ticket, verdict))),
            Section("seal", "Seal", (Code(code_text(record, after), ""),)),
        ),
        copy="label",
        verdict=verdict,
        footer=footer_of(record),
        dated=dated(record),
        author=str(body.get("shop") or ""),
        letter=units_of(body).name == "us",
    )


def _job(body: Mapping[str, Json], ticket: Mapping[str, Json], verdict: str) -> Iterator[Item]:
    yield Pair("Cure record", verdict)
    for key, label in (("tire", "Tire"), ("section", "Section"), ("customer", "Customer")):
        if isinstance(ticket.get(key), str) and ticket[key]:
            yield Pair(label, ticket[key])
    from_log = body.get("source") == "log"
    day = when(body.get("ended_utc") if from_log else body.get("started_utc"))[:10]
    yield Pair("Replayed" if from_log else "Cured", f"{day}, press {body['press']}")

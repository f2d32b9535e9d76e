"""What a cure record says: the body that is sealed.

The body is complete on its own: with it and the trace whose SHA-256 it carries, anyone can judge the cure again.
Numbers are plain and finite, units stand in the key names.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from press_monitor.archive.ledger import RecordError, plain_json
from press_monitor.archive.types import ArchiveError, CycleStart, Json

if TYPE_CHECKING:
    from press_monitor.archive.trace import Trace

__all__ = ["RECORD_SCHEMA", "completed", "epoch_of", "record_body", "utc_text"]

RECORD_SCHEMA = 1
"""Raised when a reader of older records would misread a newer one."""

_COMPLETED = ("trace", "previous")


def utc_text(utc: float) -> str:
    """Seconds since 1970 as ``2031-05-04T16:20:00.125Z``."""
    return datetime.fromtimestamp(round(utc, 3), UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def epoch_of(text: str) -> float:
    """The inverse of `utc_text`. Raises ValueError."""
    return datetime.fromisoformat(text).timestamp()


def record_body(
    start: CycleStart,
    result: Json,
    *,
    shop: str,
    software: str,
    ended_utc: float,
    compounds: Json = None,
    calibration: Json = None,
    model: Json = None,
    actions: Sequence[Json] = (),
    events: Sequence[Json] = (),
    gaps: Sequence[Json] = (),
    profiles: Json = None,
    source_log_sha256: str | None = None,
) -> dict[str, Json]:
    """The body of a cure record, but for what sealing adds: number, trace, the certificate before it.

    Args:
        start: how the cycle began; recipe, layers (`repair`), ticket and channels come from here.
        result: the watch's result: verdict, reasons, phases, alarms, cure.
        shop: the shop's name.
        software: this program's version.
        ended_utc: seconds since 1970 at the cycle's end.
        compounds: the compounds used, by name, as the shop file gave them.
        calibration: by channel name: offset, gain, date, reference, due date.
        model: the model's parameters and the limits of its band.
        actions: what operators did, in order.
        events: everything else the watch said, in order.
        profiles: the stacks through their depth at ``heat_off`` and at ``release``, each None where it never came.
        gaps: holes in the record, each with ``start_s``, ``end_s`` and why.
        source_log_sha256: of the log file, hex, for ``source: "log"``; None for a live cure.

    Raises:
        RecordError: a number that is not finite, or a value that is not plain JSON, naming its key; a log without
            its hash or a live cure with one.
    """
    if (start.source == "log") != (source_log_sha256 is not None):
        raise RecordError("source_log_sha256: a record from a log has one, a live record has none")
    body: dict[str, Json] = {
        "schema": RECORD_SCHEMA,
        "cycle_id": start.cycle_id,
        "press": start.press,
        "shop": shop,
        "source": start.source,
        "source_log_sha256": source_log_sha256,
        "software": software,
        "started_utc": utc_text(start.started_utc),
        "ended_utc": utc_text(ended_utc),
        "ticket": start.ticket,
        "recipe": start.recipe,
        "repair": start.repair,
        "compounds": compounds,
        "calibration": calibration,
        "model": model,
        "setup": start.setup,
        "result": result,
        "actions": list(actions),
        "events": list(events),
        "gaps": list(gaps),
        "profiles": profiles,
    }
    plain: dict[str, Json] = plain_json(body)
    return plain


def completed(
    body: Mapping[str, Json], trace: Trace, packed: bytes, previous: tuple[int, bytes] | None
) -> dict[str, Json]:
    """The body with its trace's description and SHA-256 and the hash of the certificate before it.

    Raises `RecordError` where `body` already says one of them, or carries no verdict.
    """
    for name in _COMPLETED:
        if name in body:
            raise RecordError(f"{name}: is filled in by sealing")
    try:
        verdict = body["result"]["verdict"]
        epoch_of(body["started_utc"])
        epoch_of(body["ended_utc"])
    except (KeyError, TypeError, ValueError) as e:
        raise RecordError(f"the body is not a cure record: {e}") from e
    if not isinstance(verdict, str):
        raise RecordError("result.verdict: is not text")
    return {
        **body,
        "trace": {
            "sha256": hashlib.sha256(packed).hexdigest(),
            "rows": len(trace),
            "time_decimals": trace.time_decimals,
            "channels": [{"name": c.name, "unit": c.unit, "decimals": c.decimals} for c in trace.channels],
        },
        "previous": None if previous is None else {"certificate": previous[0], "hash": previous[1].hex()},
    }


def start_json(start: CycleStart) -> Json:
    """A cycle's start as plain JSON. Raises `ArchiveError` for values that are not."""
    return plain_json(
        {"recipe": start.recipe, "repair": start.repair, "ticket": start.ticket, "setup": start.setup}, "start"
    )


def check_start(start: CycleStart) -> None:
    """Raises `ArchiveError` for a start that cannot be kept."""
    if len(start.cycle_id) != 32 or any(c not in "0123456789abcdef" for c in start.cycle_id):
        raise ArchiveError(f"cycle id {start.cycle_id!r} is not a UUID's 32 hex digits")
    if start.source not in ("live", "log"):
        raise ArchiveError(f'source must be "live" or "log", not {start.source!r}')
    names = [channel.name for channel in start.channels]
    if len(set(names)) != len(names):
        raise ArchiveError("two channels of one cycle have the same name")

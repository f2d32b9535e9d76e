"""What the ledger says of one item of Stores, newest first."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from typing import Any

from press_monitor.archive.ledger import CALIBRATION, STORES
from press_monitor.archive.reader import ArchiveReader
from press_monitor.archive.stores import folded
from press_monitor.screens.widgets.cells import plain

__all__ = ["history_of"]

_WORDS = {
    "product": "is",
    "compound": "compound",
    "received": "received",
    "expires": "good until",
    "life_cures": "may do",
    "cures_before": "cures before",
    "dry_time_s": "dry time",
    "calibrated": "calibrated",
    "calibration_due": "due",
    "calibration_reference": "against",
    "note": "note",
}


def history_of(reader: ArchiveReader, kind: str, name: str) -> tuple[str, ...]:
    """The entries about an item in a line each. Raises `ArchiveError`."""
    found = reader.query(
        "SELECT body FROM ledger WHERE kind IN (?, ?) AND instr(lower(CAST(body AS TEXT)), lower(?)) ORDER BY seq DESC",
        (STORES, CALIBRATION, json.dumps(name, ensure_ascii=False)),
    )
    return tuple(plain(line) for (body,) in found for line in _lines(json.loads(body), kind, name))


def _lines(body: Mapping[str, Any], kind: str, name: str) -> Iterator[str]:
    day = str(body.get("written_utc") or "")[:10]
    by = f" by {body['by']}" if body.get("by") else ""
    why = f": {body['why']}" if body.get("why") else ""
    if body.get("kind") == CALIBRATION:
        if kind == "probe" and folded(str(body.get("probe") or "")) == folded(name):
            due = f", due {body['due']}" if body.get("due") else ""
            offset = body.get("offset")
            found = f", off by {offset:g} {body.get('unit') or ''}".rstrip() if isinstance(offset, int | float) else ""
            yield f"{day} calibrated {body.get('done') or ''}{by}{found}{due}"
        return
    item = body.get("item")
    if not isinstance(item, Mapping) or item.get("kind") != kind or folded(str(item.get("name"))) != folded(name):
        return
    if "retired" in item:
        yield f"{day} taken out of use{by}{why}" if item["retired"] else f"{day} put into use again{by}{why}"
        return
    said = ", ".join(f"{_WORDS[key]} {_value(key, item[key])}" for key in _WORDS if key in item)
    yield f"{day} entered{by}: {said or 'its name'}{why}"


def _value(key: str, value: object) -> str:
    if value is None:
        return "nothing"
    if key == "dry_time_s" and isinstance(value, int | float):
        return f"{value / 60:g} min"
    return f"{value} cures" if key == "life_cures" else str(value)

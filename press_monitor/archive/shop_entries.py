"""The shop file and its calibrations in the ledger: an entry whenever they have changed since the last one.

So a record's recipe, compounds and sensors can be followed back to when the shop settled on them. What could hold a
password (the phones' addresses) is left out.
"""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Iterable, Mapping
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

from press_monitor.archive.entries import calibration_body
from press_monitor.archive.ledger import CALIBRATION, SHOP_FILE
from press_monitor.archive.types import ArchiveError, Json
from press_monitor.archive.writer import Archive

__all__ = ["changed_keys", "record_calibrations", "record_shop_file"]

_SECRET = ("phone",)
_MOST_CHANGES = 200


def _plain(value: Any) -> Json:  # noqa: ANN401 - any TOML
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_plain(item) for item in value]
    if isinstance(value, date | datetime | time):
        return value.isoformat()
    return value


def changed_keys(before: Json, after: Json, path: str = "") -> list[str]:
    """The dotted keys in which two TOML documents differ, in order."""
    if isinstance(before, Mapping) and isinstance(after, Mapping):
        found = []
        for key in sorted(set(before) | set(after)):
            found += changed_keys(before.get(key), after.get(key), f"{path}.{key}" if path else str(key))
        return found
    return [] if before == after else [path]


def record_shop_file(archive: Archive, path: Path) -> int | None:
    """Add an entry if the shop file says something else than the last one; its number, None where it does not.

    Raises `ArchiveError` where the file cannot be read any more.
    """
    try:
        data = path.read_bytes()
        content = _plain(tomllib.loads(data.decode("utf-8-sig")))
    except (OSError, ValueError) as error:
        raise ArchiveError(f"{path}: cannot be entered into the ledger: {error}") from error
    for key in _SECRET:
        content.pop(key, None)
    last = archive.last_of(SHOP_FILE)
    before = None if last is None else last.get("content")
    changed = changed_keys(before or {}, content)
    if last is not None and not changed:
        return None
    body = {
        "file": path.name,
        "sha256": hashlib.sha256(data).hexdigest(),
        "changed": changed[:_MOST_CHANGES],
        "content": content,
    }
    return archive.append(SHOP_FILE, body)


def record_calibrations(archive: Archive, channels: Iterable[tuple[str, str, str, Mapping[str, Json]]]) -> list[int]:
    """Add an entry for every channel whose calibration differs from the last one entered; their numbers.

    `channels`: press, channel, what is written on the sensor (may be empty), and the calibration's facts.
    """
    known: dict[tuple[str, str], Mapping[str, Json]] = {}
    for entry in archive.all_of(CALIBRATION):
        known[(str(entry.get("press")), str(entry.get("channel")))] = entry
    added = []
    for press, channel, sensor, facts in channels:
        last = known.get((press, channel), {})
        if all(last.get(key) == value for key, value in facts.items()) and last.get("probe") == sensor:
            continue
        body = calibration_body(probe=sensor, press=press, channel=channel, facts=facts)
        added.append(archive.append(CALIBRATION, body))
    return added

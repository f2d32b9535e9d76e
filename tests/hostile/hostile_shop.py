"""An archive whose every text is out to get whoever looks at it, sealed past all that would have refused it."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any

from press_monitor.archive.keys import load_key
from press_monitor.archive.ledger import append_entry
from press_monitor.archive.writer import Archive
from tests.audit.cures import Bench, warming

BAD = (
    "\x1b[2J\x1b]0;owned\x07\x9b31m\u202egnp.exe\u202c\x7f\b\r[red]x[/red] [@click=app.quit]y[/] <img src=x onerror=1>"
)
"""ECMA-48 sequences in their 7-bit and 8-bit forms, a turned line, rubbing out, screen markup, and a page's."""

FORMULA = "=cmd|'/c calc'!A1"


def bad(word: str) -> str:
    """A text that says who it is and then does its worst."""
    return f"{word}{BAD}"


TICKET: dict[str, Any] = {
    "number": bad("J-1"),
    "customer": bad("Upper Mesa"),
    "machine": bad("loader"),
    "tire": bad("23.5R25"),
    "size": FORMULA,
    "section": bad("shoulder"),
    "serial": f"+{FORMULA}",
    "operator": bad("Ann"),
    "note": bad("hot") + "\n\n# forged: yes\n",
    "bag": bad("B1"),
    "mats": [bad("M1"), "M2"],
    "probes": [bad("T1")],
    "materials": [{"use": "filler rubber", "lot": bad("L1"), "maker": FORMULA}],
    "people": {"buffed": bad("Tom")},
    "injury": {"kind": bad("cut"), "length": "130 mm"},
    "mats_overlap": True,
}


def make(folder: Path) -> tuple[Bench, int]:
    """The archive, and the number of its certificate."""
    bench = Bench(folder)
    with bench.open() as archive:
        number = bench.seal(archive, warming(), ticket=TICKET)
        _past_all_checks(archive, bench, number)
    return bench, number


def _past_all_checks(archive: Archive, bench: Bench, number: int) -> None:
    """Entries as a program with the key could sign them, whatever `check_entry` says."""
    key, db = load_key(bench.key), archive._db
    assert isinstance(db, sqlite3.Connection)
    later = (
        ("inspection", {"result": bad("sound"), "day": "2025-10-01", "by": bad("Ann"), "note": bad("n")}, number),
        ("comeback", {"cause": bad("moisture blow"), "day": "2025-10-02", "by": bad("A"), "note": FORMULA}, number),
        ("correction", {"ticket": {"tire": bad("t2")}, "withdraws": None, "why": bad("w"), "by": bad("b")}, number),
        ("calibration", {"probe": bad("T1"), "press": "", "channel": "", "reference": bad("ice"), "by": ""}, None),
        ("stores", {"item": {"kind": "lot", "name": bad("L9"), "note": bad("x")}, "by": bad("A"), "why": ""}, None),
    )
    for kind, body, certificate in later:
        append_entry(db, key, kind, body, certificate=certificate, written_utc="2025-10-03T10:00:00.000Z")
    archive.rebuild_index()

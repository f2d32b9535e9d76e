"""Stores: what the ledger says of an item, what it has done, and when it must not be used."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from press_monitor.archive import Archive, ArchiveReader
from press_monitor.archive.entries import EntryError, calibration_body, stores_body
from press_monitor.archive.stores import StoreItem, UseRefused, with_overrides
from press_monitor.archive.ticket import read_ticket
from press_monitor.archive.verify import verify
from tests.archive.helpers import seal_one

DAY = date(2031, 5, 4)


def enter(archive: Archive, kind: str, name: str, **said: Any) -> int:
    return archive.append("stores", stores_body(kind, name, said))


def test_cures_are_counted_from_the_certificates(archive: Archive, reader: ArchiveReader) -> None:
    enter(archive, "bag", "B3", life_cures=12, cures_before=9)
    for number in range(3):
        seal_one(archive, 3, ticket={"bag": "b3" if number else "B3", "mats": ["M1"]})
    bag, mat = reader.stores().get("bag", "B3"), reader.stores().get("mat", "m1")
    assert bag is not None and mat is not None
    assert (bag.cures, bag.cures_done, bag.known) == (3, 12, True)
    assert bag.trouble(DAY) == "bag B3 has done 12 cures of 12"
    assert (mat.cures, mat.known, mat.trouble(DAY)) == (3, False, None)
    assert archive.stores().get("mat", "M1") is None  # the recorder asks only for what was entered
    assert verify(archive.path).ok


def test_what_is_said_later_changes_only_what_it_names(archive: Archive, reader: ArchiveReader) -> None:
    enter(archive, "lot", "SG-2203", product="filler rubber", expires="2031-05-04")
    second = enter(archive, "lot", "sg-2203", expires="2031-08-01")
    item = reader.stores().get("lot", "SG-2203")
    assert item is not None
    assert (item.name, item.product, item.expires) == ("SG-2203", "filler rubber", date(2031, 8, 1))
    assert reader.query("SELECT entry FROM store_item") == [(second,)]
    enter(archive, "lot", "SG-2203", retired="2031-02-01", retired_why="stored too warm")
    item = reader.stores().get("lot", "SG-2203")
    assert item is not None
    assert item.trouble(DAY) == "lot SG-2203 is out of use since 2031-02-01 (stored too warm)"
    enter(archive, "lot", "SG-2203", retired=None, retired_why=None)
    item = reader.stores().get("lot", "SG-2203")
    assert item is not None and item.trouble(DAY) is None


def test_a_calibration_of_a_probe(archive: Archive, reader: ArchiveReader) -> None:
    facts = {"done": "2030-05-04", "due": "2031-05-04", "reference": "dry block DB-2", "offset": 0.4}
    archive.append("calibration", calibration_body(probe="K-17", facts=facts))
    probe = reader.stores().get("probe", "k-17")
    assert probe is not None
    assert (probe.calibrated, probe.calibration_reference) == (date(2030, 5, 4), "dry block DB-2")
    assert probe.trouble(DAY) is None
    assert probe.trouble(date(2031, 5, 5)) == "probe K-17: its calibration was due on 2031-05-04"


def test_all_of_it_can_be_made_anew(archive: Archive, reader: ArchiveReader) -> None:
    enter(archive, "lot", "SG-2203", expires="2031-05-04")
    enter(archive, "lot", "SG-2203", note="top shelf")
    seal_one(archive, 3, ticket={"materials": [{"lot": "SG-2203"}]})
    before = reader.stores()
    archive._db.execute("DELETE FROM store_item")
    archive._db.execute("UPDATE used SET name = 'other'")
    assert reader.stores() != before
    archive.rebuild_index()
    assert reader.stores() == before


LOT = StoreItem("lot", "SG-2203", expires=DAY)


@pytest.mark.parametrize(("day", "good"), [(date(2031, 5, 3), True), (DAY, True), (date(2031, 5, 5), False)])
def test_the_last_good_day_is_good(day: date, good: bool) -> None:
    assert (LOT.trouble(day) is None) == good


def test_everything_that_speaks_against_a_ticket(archive: Archive, reader: ArchiveReader) -> None:
    enter(archive, "lot", "SG-2203", expires="2031-05-04")
    enter(archive, "lot", "C-7", dry_time_s=1800.0)
    enter(archive, "mat", "M2", life_cures=0)
    told = {
        "materials": [{"lot": "SG-2203"}, {"lot": "C-7", "use": "cement"}, {"use": "patch", "expires": "2031-01-01"}],
        "mats": ["M1", "M2"],
        "prep": {"cement_dry_time": "10 min"},
    }
    ticket = read_ticket(told, DAY)
    channels = [("inner_mat", "K-1", date(2031, 1, 1)), ("outer_mat", "K-2", None), ("bag", "", date(2032, 1, 1))]
    archive.append("calibration", calibration_body(probe="K-2", facts={"due": "2031-02-01"}))
    assert reader.stores().troubles(ticket, date(2031, 6, 1), channels) == [
        "patch expired on 2031-01-01, as the ticket says",
        "inner_mat: its calibration was due on 2031-01-01",
        "lot SG-2203 expired on 2031-05-04",
        "lot C-7 wants 30 min to dry; the ticket says 10 min",
        "mat M2 has done 0 cures of 0",
        "probe K-2: its calibration was due on 2031-02-01",
    ]
    assert reader.stores().troubles(read_ticket({}, DAY), DAY) == []
    silent = read_ticket({"materials": [{"lot": "c-7"}]}, DAY)
    assert reader.stores().troubles(silent, DAY) == [
        "lot C-7 wants 30 min to dry; the ticket does not say how long it dried"
    ]


def test_an_override_wants_a_name_and_a_reason() -> None:
    troubles = ["lot A expired", "bag B is worn"]
    for override in (None, {}, {"by": "Ines"}, {"reason": "no other"}, {"by": " ", "reason": "x"}, "Ines"):
        with pytest.raises(UseRefused, match=r"^lot A expired; bag B is worn: give a name and a reason"):
            with_overrides({"bag": "B"}, troubles, override)
    kept = with_overrides({"bag": "B"}, troubles, {"by": "Ines", "reason": "tested a sample"})
    assert kept == {
        "bag": "B",
        "overrides": [{"what": what, "by": "Ines", "reason": "tested a sample"} for what in troubles],
    }
    assert with_overrides({"bag": "B"}, [], None) == {"bag": "B"}


@pytest.mark.parametrize(
    ("kind", "name", "said", "says"),
    [
        ("tire", "X", {}, "item.kind: wants one of lot, bag, mat, probe"),
        ("lot", "  ", {}, "name: is missing"),
        ("lot", "A", {"colour": "red"}, "item.colour: is not known of any item"),
        ("lot", "A", {"expires": "2031-02-30"}, "item.expires: wants a day"),
        ("bag", "A", {"life_cures": -1}, "item.life_cures: wants a number of cures"),
        ("bag", "A", {"life_cures": True}, "item.life_cures: wants a number of cures"),
        ("lot", "A", {"dry_time_s": 0}, "item.dry_time_s: wants seconds above zero"),
        ("lot", "A", {"note": 3}, "item.note: wants text"),
        ("lot", "A", {"note": "x" * 5000}, "item.note: is longer than 4000 letters"),
        ("lot", "A", {"note": "\x1b[2J"}, "item.note: holds a character that cannot be printed"),
    ],
)
def test_what_cannot_be_entered(kind: str, name: str, said: dict[str, Any], says: str) -> None:
    with pytest.raises(EntryError, match=says):
        stores_body(kind, name, said)

"""What is added after a cure says what its kind must, and what is withdrawn no longer counts."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from press_monitor.archive import Archive, ArchiveReader
from press_monitor.archive.entries import (
    CAUSES,
    RESULTS,
    EntryError,
    calibration_body,
    check_entry,
    comeback_body,
    correction_body,
    inspection_body,
    named_cause,
)
from press_monitor.archive.verify import verify
from tests.archive.helpers import result, seal_one

DAY = date(2031, 5, 4)


def test_the_causes_are_the_trades() -> None:
    assert (
        *("adhesion failure", "cure sponge", "moisture blow", "reversion", "cord separation", "new injury"),
    ) == CAUSES
    for cause in CAUSES:
        for typed in (cause, cause.upper(), cause.replace(" ", "-"), f" {cause.replace(' ', '_')} "):
            assert named_cause(typed) == cause
    with pytest.raises(EntryError, match="'bad luck' is no cause; there are: adhesion failure, cure sponge"):
        named_cause("bad luck")


@pytest.mark.parametrize(
    ("kind", "body", "says"),
    [
        ("genesis", {}, "no entry of this kind is added by hand"),
        ("cure-record", {}, "no entry of this kind is added by hand"),
        ("shop-file", {}, "no entry of this kind is added by hand"),
        ("inspection", {"result": "fine", "by": "Ines", "day": "2031-05-04"}, "result: wants one of sound"),
        ("inspection", {"result": "sound", "by": " ", "day": "2031-05-04"}, "by: is missing"),
        ("inspection", {"result": "sound", "by": "Ines"}, "day: wants a day"),
        ("inspection", {"result": "sound", "by": "I\x07nes", "day": "2031-05-04"}, "by: holds a character"),
        ("comeback", {"cause": "luck", "day": "2031-05-04"}, "cause: wants one of"),
        ("comeback", {"cause": "reversion", "day": "2031-02-29"}, "day: wants a day"),
        ("correction", {"why": "x", "by": "y"}, "ticket: give either"),
        ("correction", {"why": "x", "by": "y", "ticket": {"tire": "A"}, "withdraws": 3}, "ticket: give either"),
        ("correction", {"why": "", "by": "y", "withdraws": 3}, "why: is missing"),
        ("correction", {"why": "x", "by": "y", "withdraws": 0}, "withdraws: wants a ledger entry"),
        ("correction", {"why": "x", "by": "y", "ticket": {"verdict": "pass"}}, "ticket.verdict: cannot be corrected"),
        ("correction", {"why": "x", "by": "y", "ticket": {"tin": "G"}}, "G is never used"),
        ("ticket-attached", {"ticket": {"tire": "A"}}, "result: is missing"),
        ("ticket-attached", {"ticket": 3, "result": {"verdict": "pass"}}, "ticket: is missing"),
        ("calibration", {"done": "2031-05-04"}, "probe: is missing"),
        ("calibration", {"probe": "K", "done": "2031-05-04", "due": "2030-05-04"}, "is before the day it was done"),
        ("calibration", {"probe": "K", "offset": "much"}, "offset: wants a number"),
        ("stores", {}, "item: is missing"),
    ],
)
def test_what_says_too_little(kind: str, body: dict[str, Any], says: str) -> None:
    with pytest.raises(EntryError, match=says):
        check_entry(kind, body)


def test_what_says_enough() -> None:
    for made in RESULTS:
        check_entry("inspection", inspection_body(made, by="Ines", day=DAY))
    check_entry("comeback", comeback_body("Cure-Sponge", day=DAY))
    check_entry("correction", correction_body(why="misspelt", by="Ines", ticket={"customer": "Upper Mesa Hay"}))
    check_entry("calibration", calibration_body(press="P1", channel="bag", facts={"offset": 0.1, "gain": 1.0}))
    check_entry("ticket-attached", {"ticket": {"tire": "A"}, "result": result()})


def test_what_was_withdrawn_no_longer_counts_and_still_reads(archive: Archive, reader: ArchiveReader) -> None:
    seal_one(archive, 3)
    archive.append("inspection", inspection_body("rejected", by="Tom", day=DAY), 1)
    wrong = archive.append("comeback", comeback_body("reversion", day=DAY), 1)
    assert (reader.records()[0].comeback, reader.records()[0].comeback_day) == ("reversion", "2031-05-04")
    archive.append("correction", correction_body(why="another tire", by="Ines", withdraws=wrong), 1)
    row = reader.records()[0]
    assert (row.comeback, row.comeback_day, row.inspection) == (None, None, "rejected")
    assert [entry.seq for entry in reader.record(1).later] == [2, wrong, wrong + 1]
    assert [found.number for found in reader.records(text="another tire")] == [1]
    assert verify(archive.path).ok


def test_a_correction_replaces_what_it_names(archive: Archive, reader: ArchiveReader) -> None:
    seal_one(archive, 3, ticket={"customer": "Uper Mesa", "tire": "18.4-38", "bag": "B3"})
    archive.append("correction", correction_body(why="misspelt", by="I", ticket={"customer": "Upper Mesa"}), 1)
    archive.append("correction", correction_body(why="wrong bag", by="I", ticket={"bag": "B4"}), 1)
    row = reader.records()[0]
    assert (row.customer, row.tire) == ("Upper Mesa", "18.4-38")
    assert [len(reader.records(bag=bag)) for bag in ("B3", "B4")] == [0, 1]
    assert reader.record(1).sealed.content["ticket"]["customer"] == "Uper Mesa"
    # Found by what stands on the certificate that was handed out, too.
    assert len(reader.records(text="uper")) == len(reader.records(text="upper")) == 1


json_values = st.recursive(
    st.none() | st.booleans() | st.integers(-9, 9) | st.text(max_size=6),
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.text(max_size=5), inner, max_size=2),
    max_leaves=5,
)
KEYS = (
    "result",
    "by",
    "day",
    "cause",
    "ticket",
    "why",
    "withdraws",
    "probe",
    "press",
    "channel",
    "due",
    "done",
    "item",
)


@given(
    st.sampled_from(["inspection", "comeback", "correction", "ticket-attached", "calibration", "stores", "odd"]),
    st.dictionaries(st.sampled_from(KEYS), json_values, max_size=5),
)
def test_any_body_is_good_or_refused_with_a_reason(kind: str, body: dict[str, Any]) -> None:
    try:
        check_entry(kind, body)
    except EntryError as error:
        refused = str(error)
    else:
        refused = "not"
    assert refused

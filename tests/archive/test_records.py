"""Finding records, and certificate N as it stood."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from press_monitor.archive import Archive, ArchiveError, ArchiveReader
from press_monitor.archive.ledger import KINDS
from press_monitor.archive.verify import verify
from tests.archive.helpers import NOON, body, new_start, result, seal_one

DAY = 86_400.0


def fill(archive: Archive) -> Archive:
    seal_one(archive, 3, "pass", press="P1")
    seal_one(archive, 3, "fail", press="P2", started_utc=NOON + DAY, ticket={"customer": "Dry Fork Farm"})
    seal_one(archive, 3, "review", press="P1", started_utc=NOON + 2 * DAY, ticket=None)
    start = new_start(source="log", press="log", started_utc=NOON + 3 * DAY)
    archive.begin_cycle(start)
    archive.seal(start.cycle_id, body(start, source_log_sha256="0" * 64))
    return archive


@pytest.fixture
def filled(archive: Archive) -> Archive:
    return fill(archive)


@pytest.fixture(scope="module")
def standing(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ArchiveReader]:
    """The same records, read only and made once."""
    path = tmp_path_factory.mktemp("standing") / "archive.sqlite"
    with Archive.open(path, key_path=path.with_name("ledger.key")) as archive:
        fill(archive)
    with ArchiveReader(path) as reader:
        yield reader


@pytest.mark.parametrize(
    ("filters", "numbers"),
    [
        ({}, [4, 3, 2, 1]),
        ({"press": "P1"}, [3, 1]),
        ({"verdict": "fail"}, [2]),
        ({"source": "log"}, [4]),
        ({"customer": "orchards"}, [4, 1]),
        ({"customer": "farm"}, [2]),
        ({"tire": "18.4"}, [4, 1]),
        ({"since_utc": NOON + DAY, "until_utc": NOON + 3 * DAY}, [3, 2]),
        ({"text": "dry fork"}, [2]),
        ({"text": "fork dry fail"}, [2]),
        ({"text": "orch"}, [4, 1]),
        ({"text": "bag leaking"}, [4, 3, 2, 1]),
        ({"text": "shoulder", "press": "P1"}, [1]),
        ({"text": '"; DROP TABLE ledger --'}, []),
        ({"text": 'fork" OR "pass'}, []),
        ({"text": "  "}, []),
        ({"limit": 2}, [4, 3]),
        ({"limit": 2, "before": 3}, [2, 1]),
        ({"press": "P9"}, []),
    ],
)
def test_filters(standing: ArchiveReader, filters: dict[str, Any], numbers: list[int]) -> None:
    assert [row.number for row in standing.records(**filters)] == numbers


def test_a_row_says_what_the_record_says(standing: ArchiveReader) -> None:
    row = standing.records(press="P2")[0]
    assert (row.number, row.entry, row.verdict, row.reasons) == (2, 2, "fail", ("because it is a fail",))
    assert (row.started_utc, row.ended_utc) == (NOON + DAY, NOON + DAY + 5400)
    assert (row.customer, row.tire, row.section, row.recipe) == ("Dry Fork Farm", "", "", "section-300")
    assert (row.state_of_cure, row.inspection, row.comeback) == (0.94, None, None)


def test_later_entries_add_to_a_certificate(filled: Archive, reader: ArchiveReader) -> None:
    inspected = filled.append("inspection", {"result": "sound", "by": "Ines"}, 1)
    attached = filled.append("ticket-attached", {"ticket": {"customer": "Upper Mesa"}, "result": result("pass")}, 3)
    filled.append("correction", {"ticket": {"customer": "Upper Mesa Hay"}, "why": "misspelt"}, 3)
    back = filled.append("comeback", {"cause": "moisture blow"}, 1)
    by_number = {row.number: row for row in reader.records()}
    assert (by_number[1].inspection, by_number[1].comeback) == ("sound", "moisture blow")
    assert (by_number[3].customer, by_number[3].verdict) == ("Upper Mesa Hay", "pass")
    assert [row.number for row in reader.records(text="ines moisture")] == [1]
    assert [row.number for row in reader.records(text="mesa")] == [3]

    now, then = reader.record(1), reader.record(1, as_of=attached)
    assert [entry.seq for entry in now.later] == [inspected, back]
    assert [entry.seq for entry in then.later] == [inspected]
    assert (now.as_of, then.as_of) == (back, attached)
    assert now.sealed == then.sealed and now.sealed.content["result"]["verdict"] == "pass"
    assert now.key_fingerprint == verify(filled.path).key_fingerprint
    assert reader.record(3).sealed.content["result"]["verdict"] == "review"
    assert verify(filled.path).ok


def test_what_is_not_there(filled: Archive, reader: ArchiveReader) -> None:
    for ask in (lambda: reader.record(9), lambda: reader.trace(9), lambda: reader.record(0)):
        with pytest.raises(ArchiveError, match="there is no certificate"):
            ask()
    with pytest.raises(ArchiveError, match="there is no certificate 4 as of entry 3"):
        reader.record(4, as_of=3)
    with pytest.raises(ArchiveError, match="there is no ledger entry 99; the newest is 4"):
        reader.record(4, as_of=99)
    with pytest.raises(ArchiveError, match="there is no ledger entry 99"):
        reader.entry(99)
    with pytest.raises(ArchiveError, match="there is no cycle"):
        reader.certificate_of("e" * 32)


@pytest.mark.parametrize(
    ("kind", "certificate", "says"),
    [
        ("cure-record", 1, "not appended by hand"),
        ("genesis", None, "not appended by hand"),
        ("inspection", None, "must name a certificate"),
        ("calibration", 1, "cannot name a certificate"),
        ("inspection", 77, "there is no certificate 77"),
        ("holiday", None, "kind: 'holiday' is none of"),
    ],
)
def test_what_cannot_be_appended(filled: Archive, kind: str, certificate: int | None, says: str) -> None:
    with pytest.raises(ArchiveError, match=says):
        filled.append(kind, {"a": 1}, certificate)
    assert verify(filled.path).entries == 5


def test_every_kind_can_be_appended(filled: Archive, reader: ArchiveReader) -> None:
    for kind in KINDS[2:]:
        naming = kind in ("inspection", "comeback", "correction", "ticket-attached")
        seq = filled.append(kind, {"a": 1.0}, 1 if naming else None)
        entry = reader.entry(seq)
        assert (entry.kind, entry.content["kind"], entry.content["entry"], entry.content["a"]) == (kind, kind, seq, 1)
    assert verify(filled.path).ok


def test_readings_that_were_changed_are_not_shown(filled: Archive, reader: ArchiveReader) -> None:
    from tests.archive.helpers import flip, tamper

    tamper(filled.path, lambda db: flip(db, "trace", "data", "entry", 1, 400))
    with pytest.raises(ArchiveError, match="readings of certificate 1 are not those that were sealed"):
        reader.trace(1)
    assert len(reader.trace(2)) == 3


def test_a_damaged_or_closed_file_is_the_archives_error(filled: Archive, reader: ArchiveReader) -> None:
    reader.close()
    for ask in (reader.data_version, reader.press_states, reader.records, lambda: reader.record(1), reader.head):
        with pytest.raises(ArchiveError, match=r"archive\.sqlite: cannot be read"):
            ask()
    filled.close()
    with pytest.raises(ArchiveError, match="cannot be read"):
        filled.waiting_commands()
    with pytest.raises(ArchiveError, match="cannot be written"):
        filled.beat(NOON)
    filled.close()

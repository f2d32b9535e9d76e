"""From an open cycle to a certificate, whole or not at all."""

from __future__ import annotations

import hashlib
import json
import sqlite3
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from press_monitor.archive import Archive, ArchiveError, ArchiveReader, RecordError, pack
from press_monitor.archive.verify import verify
from tests.archive.conftest import Clock
from tests.archive.helpers import CHANNELS, NOON, body, new_start, result, rows, seal_one


def test_rows_come_back_while_the_cycle_lasts(archive: Archive, reader: ArchiveReader) -> None:
    start = new_start()
    archive.begin_cycle(start)
    archive.add_rows(start.cycle_id, rows(20))
    first = reader.rows(start.cycle_id)
    assert first.rows() == rows(20)
    assert first.times.tolist() == [float(k) for k in range(20)]
    assert np.isnan(first.column("outer_mat")[5]) and first.column("outer_mat")[6] == 299.4
    archive.add_rows(start.cycle_id, rows(5, first=20))
    assert reader.rows(start.cycle_id, first.last_seq).rows() == rows(5, first=20)
    (cycle,) = reader.open_cycles()
    assert (cycle.start, cycle.last_seq) == (start, 24)
    with pytest.raises(KeyError):
        first.column("ram")


def test_more_channels_than_plain_columns(archive: Archive, reader: ArchiveReader) -> None:
    many = tuple(type(CHANNELS[0])(f"probe.{k}", "degC", 2) for k in range(30))
    start = new_start(channels=many)
    archive.begin_cycle(start)
    given = [(k, k, tuple(None if (k + c) % 5 == 0 else k * c for c in range(30))) for k in range(9)]
    archive.add_rows(start.cycle_id, given)
    assert reader.rows(start.cycle_id).rows() == given
    archive.seal(start.cycle_id, body(start))
    assert reader.trace(1).rows() == given


def test_values_beyond_a_double_are_exact(archive: Archive, reader: ArchiveReader) -> None:
    start = new_start()
    archive.begin_cycle(start)
    given = [(0, 0, ((1 << 63) - 1, None, -(1 << 63))), (1, 1, ((1 << 53) + 1, 0, None))]
    archive.add_rows(start.cycle_id, given)
    assert reader.rows(start.cycle_id).rows() == given


def test_sealing(archive: Archive, reader: ArchiveReader, clock: Clock) -> None:
    start = new_start()
    archive.begin_cycle(start)
    archive.add_rows(start.cycle_id, rows(300))
    archive.add_events(start.cycle_id, [(1.0, NOON + 1, "phase", {"phase": "heat-up"})])
    archive.put_save(start.cycle_id, 299, 299.0, {"phase": "heat-up"})
    sealed_rows = reader.rows(start.cycle_id)
    clock.now = NOON + 5401.5

    assert archive.seal(start.cycle_id, body(start)) == 1

    assert reader.trace(1).rows() == rows(300)
    record = reader.record(1)
    content = record.sealed.content
    assert content["trace"] == {
        "sha256": hashlib.sha256(pack(sealed_rows)).hexdigest(),
        "rows": 300,
        "time_decimals": 3,
        "channels": [{"name": c.name, "unit": c.unit, "decimals": c.decimals} for c in CHANNELS],
    }
    assert (content["kind"], content["certificate"], content["entry"]) == ("cure-record", 1, 1)
    assert content["written_utc"] == "2030-03-17T19:16:41.500Z"
    assert content["started_utc"] == "2030-03-17T17:46:40.000Z"
    assert content["result"] == result() and content["previous"] is None
    assert content["ticket"] == start.ticket and content["recipe"] == start.recipe
    assert reader.open_cycles() == () and reader.latest_save(start.cycle_id) is None
    assert len(reader.rows(start.cycle_id)) == 0
    assert reader.certificate_of(start.cycle_id) == 1
    assert [event.kind for event in reader.events(start.cycle_id)] == ["phase"]
    assert verify(archive.path, unpack_traces=True).ok


def test_each_certificate_carries_the_hash_of_the_one_before(archive: Archive, reader: ArchiveReader) -> None:
    for _ in range(3):
        seal_one(archive)
    archive.append("inspection", {"result": "sound"}, 2)
    seal_one(archive)
    before = reader.record(3).sealed
    assert reader.record(4).sealed.content["previous"] == {"certificate": 3, "hash": before.hash.hex()}


def test_sealing_twice_gives_one_certificate(archive: Archive, reader: ArchiveReader) -> None:
    start = new_start()
    archive.begin_cycle(start)
    archive.add_rows(start.cycle_id, rows(5))
    assert archive.seal(start.cycle_id, body(start)) == 1
    assert archive.seal(start.cycle_id, body(start, "fail")) == 1
    assert [row.verdict for row in reader.records()] == ["pass"]
    with pytest.raises(ArchiveError, match="sealed"):
        archive.add_rows(start.cycle_id, rows(1, first=5))
    with pytest.raises(ArchiveError, match="sealed"):
        archive.put_save(start.cycle_id, 5, 5.0, {})
    archive.add_events(start.cycle_id, [(6.0, NOON, "note", {})])


def test_a_cycle_without_rows_can_be_sealed(archive: Archive, reader: ArchiveReader) -> None:
    seal_one(archive, 0, "incomplete")
    assert len(reader.trace(1)) == 0
    assert verify(archive.path).ok


class Failing:
    """A connection whose n-th statement fails, as a full or dying disk lets it."""

    def __init__(self, db: sqlite3.Connection, at: int, error: Callable[[], Exception]) -> None:
        self._db, self._left, self._error = db, at, error

    def __getattr__(self, name: str) -> Any:
        return getattr(self._db, name)

    def _count(self) -> None:
        self._left -= 1
        if self._left == 0:
            raise self._error()

    def execute(self, *given: Any) -> sqlite3.Cursor:
        self._count()
        return self._db.execute(*given)

    def executemany(self, *given: Any) -> sqlite3.Cursor:
        self._count()
        return self._db.executemany(*given)


@pytest.mark.parametrize("error", [lambda: sqlite3.OperationalError("disk I/O error"), KeyboardInterrupt])
def test_a_failure_at_any_statement_leaves_nothing_half_written(
    archive: Archive, reader: ArchiveReader, error: Callable[[], Exception]
) -> None:
    seal_one(archive)
    start = new_start()
    archive.begin_cycle(start)
    archive.add_rows(start.cycle_id, rows(30))
    archive.put_save(start.cycle_id, 29, 29.0, {"a": 1})
    sound = archive._db
    at = 0
    while True:
        at += 1
        archive._db = Failing(sound, at, error)  # type: ignore[assignment]
        try:
            archive.seal(start.cycle_id, body(start))
        except (ArchiveError, KeyboardInterrupt):
            archive._db = sound
            if reader.certificate_of(start.cycle_id) is not None:
                break  # an interrupt after the commit, while tidying up
            assert reader.rows(start.cycle_id).rows() == rows(30)
            assert reader.latest_save(start.cycle_id) is not None
            assert [row.number for row in reader.records()] == [1]
            report = verify(archive.path)
            assert report.ok and (report.entries, report.certificates) == (2, 1)
            continue
        break
    assert at > 12  # it did bite, at each of the steps in turn
    archive._db = sound
    assert archive.seal(start.cycle_id, body(start)) == 2
    assert reader.trace(2).rows() == rows(30)
    assert verify(archive.path).ok


def test_an_exception_in_a_transaction_takes_everything_back(archive: Archive, reader: ArchiveReader) -> None:
    start = new_start()

    def die_after_sealing() -> None:
        with archive.transaction():
            archive.begin_cycle(start)
            archive.add_rows(start.cycle_id, rows(30))
            archive.seal(start.cycle_id, body(start))
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        die_after_sealing()
    assert reader.records() == () and reader.open_cycles() == ()
    with pytest.raises(ArchiveError, match="there is no cycle"):
        archive.add_rows(start.cycle_id, rows(1))
    assert verify(archive.path).ok
    with archive.transaction():
        archive.begin_cycle(start)
        archive.add_rows(start.cycle_id, rows(30))
        assert archive.seal(start.cycle_id, body(start)) == 1
    assert verify(archive.path).ok


def test_an_inner_failure_takes_back_only_its_own(archive: Archive, reader: ArchiveReader) -> None:
    start = new_start()
    archive.begin_cycle(start)
    with archive.transaction():
        archive.add_rows(start.cycle_id, rows(3))
        with pytest.raises(ArchiveError, match="refused"):
            archive.add_rows(start.cycle_id, [*rows(1, first=3), *rows(1, first=2)])
    assert reader.rows(start.cycle_id).rows() == rows(3)


def test_readers_see_nothing_before_the_commit(archive: Archive, reader: ArchiveReader) -> None:
    start = new_start()
    version = reader.data_version()
    with archive.transaction():
        archive.begin_cycle(start)
        assert reader.open_cycles() == ()
        assert reader.data_version() == version
    assert len(reader.open_cycles()) == 1
    assert reader.data_version() != version


def test_threads_may_share_the_writer(archive: Archive, reader: ArchiveReader) -> None:
    start = new_start()
    archive.begin_cycle(start)

    def write(first: int) -> None:
        for k in range(first, first + 15):
            archive.add_rows(start.cycle_id, rows(1, first=k))

    threads = [threading.Thread(target=write, args=(15 * n,)) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert reader.rows(start.cycle_id).rows() == rows(60)


def refuse_trace(start: Any) -> dict[str, Any]:
    return {**body(start), "trace": {}}


def no_verdict(start: Any) -> dict[str, Any]:
    return {**body(start), "result": {}}


def another_number(start: Any) -> dict[str, Any]:
    return {**body(start), "certificate": 7}


def another_cycle(start: Any) -> dict[str, Any]:
    return {**body(start), "cycle_id": "f" * 32}


def not_finite(start: Any) -> dict[str, Any]:
    return {**body(start), "model": {"alpha": float("nan")}}


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (refuse_trace, "trace: is filled in by sealing"),
        (no_verdict, "not a cure record"),
        (another_number, "certificate: is the ledger's own"),
        (another_cycle, "the body is of cycle"),
        (not_finite, r"body\.model\.alpha: nan is not a finite number"),
    ],
)
def test_a_body_that_cannot_be_sealed(archive: Archive, spoil: Callable[[Any], dict[str, Any]], says: str) -> None:
    start = new_start()
    archive.begin_cycle(start)
    archive.add_rows(start.cycle_id, rows(3))
    with pytest.raises(ArchiveError, match=says):
        archive.seal(start.cycle_id, spoil(start))
    assert archive.seal(start.cycle_id, body(start)) == 1


def test_a_record_from_a_log_carries_the_logs_hash(archive: Archive, reader: ArchiveReader) -> None:
    log = new_start(source="log")
    with pytest.raises(RecordError, match="source_log_sha256"):
        body(log)
    with pytest.raises(RecordError, match="source_log_sha256"):
        body(new_start(), source_log_sha256="ab")
    archive.begin_cycle(log)
    archive.seal(log.cycle_id, body(log, source_log_sha256="ab" * 32))
    assert reader.record(1).sealed.content["source_log_sha256"] == "ab" * 32


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"cycle_id": "P1"}, "32 hex digits"),
        ({"source": "dream"}, '"live" or "log"'),
        ({"channels": (CHANNELS[0], CHANNELS[0])}, "same name"),
        ({"setup": {"limit": float("inf")}}, r"start\.setup\.limit"),
    ],
)
def test_a_start_that_cannot_be_kept(archive: Archive, change: dict[str, Any], says: str) -> None:
    with pytest.raises(ArchiveError, match=says):
        archive.begin_cycle(new_start(**change))


def test_a_press_holds_one_tire(archive: Archive) -> None:
    archive.begin_cycle(new_start())
    with pytest.raises(ArchiveError, match="cannot begin"):
        archive.begin_cycle(new_start())
    archive.begin_cycle(new_start(press="P2"))
    archive.begin_cycle(new_start(source="log"))


def test_bad_rows_are_refused(archive: Archive, reader: ArchiveReader) -> None:
    start = new_start()
    archive.begin_cycle(start)
    with pytest.raises(ArchiveError, match="row 0 has 2 values; its cycle has 3 channels"):
        archive.add_rows(start.cycle_id, [(0, 0, (1, 2))])
    with pytest.raises(ArchiveError, match="refused"):
        archive.add_rows(start.cycle_id, [(0, 0, (1, 2, 2.5))])  # type: ignore[list-item]
    assert len(reader.rows(start.cycle_id)) == 0
    with pytest.raises(ArchiveError, match="there is no cycle"):
        archive.add_rows("a" * 32, rows(1))


def test_the_index_is_rebuilt_from_the_ledger(archive: Archive, reader: ArchiveReader) -> None:
    seal_one(archive, verdict="review")
    seal_one(archive)
    archive.append("comeback", {"cause": "moisture blow"}, 1)
    before = reader.records()
    archive._db.execute("UPDATE certificate SET verdict = 'pass'")
    archive._db.execute("DELETE FROM certificate_text")
    assert reader.records() != before and reader.records(text="moisture") == ()
    assert archive.rebuild_index() == (2, [])
    assert reader.records() == before
    assert [row.number for row in reader.records(text="moisture")] == [1]


def test_the_file_opens_in_ordinary_tools(archive: Archive, path: Path) -> None:
    from sqlite_utils import Database

    seal_one(archive)
    db = Database(path)
    assert {"ledger", "trace", "certificate", "cycle", "live_row", "event", "command"} <= set(db.table_names())
    assert [row["verdict"] for row in db["certificate"].rows] == ["pass"]
    (record,) = [json.loads(row["body"]) for row in db["ledger"].rows if row["kind"] == "cure-record"]
    assert record["result"]["verdict"] == "pass"
    assert not list(db.query("PRAGMA foreign_key_check"))
    assert [tuple(row.values()) for row in db.query("PRAGMA integrity_check")] == [("ok",)]
    db.close()

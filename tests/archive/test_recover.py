"""Out of a damaged file comes a sound one, as far as the ledger can be proved; the damaged one is kept."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from press_monitor.archive import Archive, ArchiveError, ArchiveLocked, ArchiveReader
from press_monitor.archive.keys import create_key, fingerprint, load_key, public_file
from press_monitor.archive.recover import recover, succeed
from press_monitor.archive.salvage import Pages, cells
from press_monitor.archive.verify import verify
from tests.archive.fixtures.make import FOLDER
from tests.archive.helpers import GRAIN, NOON, body, flip, new_start, rows, seal_one, tamper

CERTIFICATES, OPEN_ROWS = 12, 200
STILL = new_start(press="P9")


def fill(path: Path, key: Path) -> None:
    with Archive.open(path, key_path=key) as archive:
        for number in range(CERTIFICATES):
            seal_one(archive, 300 + 40 * number, "pass" if number % 3 else "fail", ticket={"customer": "Dry Fork Farm"})
            if number % 4 == 1:
                archive.append("inspection", {"result": "sound"}, number + 1)
        archive.begin_cycle(STILL)
        archive.add_rows(STILL.cycle_id, rows(OPEN_ROWS))
        archive.add_events(STILL.cycle_id, [(float(k), NOON + k, "PhaseChanged", {"t": k}) for k in range(40)])
        archive.put_save(STILL.cycle_id, OPEN_ROWS - 1, 199.0, {"phase": "hold", "deep": GRAIN})


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("kept") / "archive.sqlite"
    fill(path, path.with_name("ledger.key"))
    return path


@pytest.fixture
def damaged(kept: Path, tmp_path: Path) -> Path:
    path = tmp_path / "archive.sqlite"
    shutil.copyfile(kept, path)
    return path


def root_of(path: Path, table: str) -> int:
    with closing(sqlite3.connect(path)) as db:
        return int(db.execute("SELECT rootpage FROM sqlite_master WHERE name = ?", (table,)).fetchone()[0])


def wipe(path: Path, pages: list[int], fill_with: bytes = b"\0") -> None:
    with path.open("r+b") as file:
        for page in pages:
            file.seek((page - 1) * 4096)
            file.write(fill_with * (4096 // len(fill_with)))


def whole(path: Path, kept: Path) -> bool:
    """Everything of the original is in the recovered file."""
    with ArchiveReader(path) as ours, ArchiveReader(kept) as theirs:
        (still,) = ours.open_cycles()
        return (
            verify(path, unpack_traces=True).ok
            and ours.head() == theirs.head()
            and ours.records() == theirs.records()
            and ours.rows(still.start.cycle_id).rows() == rows(OPEN_ROWS)
            and ours.events(still.start.cycle_id) == theirs.events(still.start.cycle_id)
            and ours.latest_save(still.start.cycle_id) == theirs.latest_save(still.start.cycle_id)
            and still.start == STILL
        )


def test_a_sound_file_comes_through_whole(damaged: Path, kept: Path, tmp_path: Path) -> None:
    before = damaged.read_bytes()
    report = recover(damaged, tmp_path / "new.sqlite")
    assert report.ok and whole(tmp_path / "new.sqlite", kept)
    assert (report.certificates, report.open_cycles, report.open_rows) == (CERTIFICATES, 1, OPEN_ROWS)
    assert damaged.read_bytes() == before


@pytest.mark.parametrize("lost", ["first page", "schema and root", "half of the index"])
def test_what_sqlite_no_longer_opens_is_read_page_by_page(damaged: Path, kept: Path, tmp_path: Path, lost: str) -> None:
    pages = {
        "first page": [1],
        "schema and root": [1, root_of(damaged, "ledger"), root_of(damaged, "trace")],
        "half of the index": [root_of(damaged, "certificate"), root_of(damaged, "certificate_text_data")],
    }[lost]
    wipe(damaged, pages)
    if lost != "half of the index":
        with pytest.raises(ArchiveError):
            ArchiveReader(damaged)
    report = recover(damaged, tmp_path / "new.sqlite")
    assert report.entries == report.entries_seen and whole(tmp_path / "new.sqlite", kept)


def test_a_watch_kept_by_an_earlier_format_goes_on(tmp_path: Path) -> None:
    damaged = tmp_path / "archive.sqlite"
    shutil.copyfile(FOLDER / "version-2.db", damaged)
    recover(damaged, tmp_path / "new.sqlite")
    with ArchiveReader(tmp_path / "new.sqlite") as reader:
        (still,) = reader.open_cycles()
        save = reader.latest_save(still.start.cycle_id)
        assert save is not None and (save.seq, save.save) == (29, {"phase": "loaded"})


def test_a_watchs_state_that_is_torn_is_left_out_and_its_rows_are_not(damaged: Path, tmp_path: Path) -> None:
    with closing(sqlite3.connect(damaged)) as db:
        db.execute("UPDATE watch_save SET save = CAST(substr(save, 1, 5000) || zeroblob(4000) AS BLOB)")
        db.commit()
    assert recover(damaged, tmp_path / "new.sqlite").open_rows == OPEN_ROWS
    with ArchiveReader(tmp_path / "new.sqlite") as reader:
        assert reader.latest_save(STILL.cycle_id) is None
        assert reader.rows(STILL.cycle_id).rows() == rows(OPEN_ROWS)


def test_in_its_place_the_damaged_one_moves_aside(damaged: Path, kept: Path) -> None:
    key = kept.with_name("ledger.key")
    wipe(damaged, [1])
    bytes_before = damaged.read_bytes()
    report = recover(damaged, utc=lambda: NOON)
    assert report.original.endswith("archive.sqlite.damaged-20300317T174640Z")
    assert Path(report.original).read_bytes() == bytes_before
    with Archive.open(damaged, key_path=key) as archive:
        archive.add_rows(STILL.cycle_id, rows(5, first=OPEN_ROWS))
        assert archive.seal(STILL.cycle_id, body(STILL)) == CERTIFICATES + 1
    assert verify(damaged, public_file(key)).ok


def test_the_chain_ends_at_the_first_entry_that_cannot_be_proved(damaged: Path, tmp_path: Path) -> None:
    tamper(damaged, lambda db: flip(db, "ledger", "body", "seq", 9, 1234))
    report = recover(damaged, tmp_path / "new.sqlite")
    assert (report.entries, report.ok) == (9, False)
    assert report.entries_seen > 9
    found = verify(tmp_path / "new.sqlite")
    assert found.ok and found.entries == 9 and found.certificates == report.certificates
    assert "past the first gap" in " ".join(report.lines())


def test_readings_that_are_lost_are_named(damaged: Path, tmp_path: Path) -> None:
    tamper(damaged, lambda db: flip(db, "trace", "data", "entry", 2, 777))
    report = recover(damaged, tmp_path / "new.sqlite")
    assert (report.without_readings, report.certificates, report.ok) == ((2,), CERTIFICATES, False)
    found = verify(tmp_path / "new.sqlite")
    assert found.certificates_bad == (2,) and found.entries == report.entries


def test_what_stands_only_in_the_log_is_read_too(kept: Path, tmp_path: Path) -> None:
    """A recorder killed before its checkpoint: the newest commits lie beside the file."""
    path, key = tmp_path / "live.sqlite", kept.with_name("ledger.key")
    shutil.copyfile(kept, path)
    with Archive.open(path, key_path=key) as archive:
        archive.append("inspection", {"result": "sound"}, 1)
        for side in ("", "-wal"):
            shutil.copyfile(f"{path}{side}", f"{tmp_path / 'killed.sqlite'}{side}")
        entries = archive.head() + 1
    wipe(tmp_path / "killed.sqlite", [1])
    assert recover(tmp_path / "killed.sqlite", tmp_path / "new.sqlite").entries == entries


@settings(
    max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
@given(st.data())
def test_whatever_is_destroyed_what_comes_out_is_proved(kept: Path, tmp_path: Path, data: st.DataObject) -> None:
    path, new = tmp_path / "torn.sqlite", tmp_path / "new.sqlite"
    for old in tmp_path.glob("new.sqlite*"):
        old.unlink()
    shutil.copyfile(kept, path)
    size = path.stat().st_size // 4096
    pages = data.draw(st.lists(st.integers(1, size), max_size=12, unique=True))
    wipe(path, pages, data.draw(st.sampled_from([b"\0", b"\xff", b"\r\0\1\0"])))
    if data.draw(st.booleans()):
        with path.open("r+b") as file:
            file.truncate(data.draw(st.integers(1, size)) * 4096 - data.draw(st.integers(0, 4095)))
    try:
        report = recover(path, new)
    except ArchiveError as error:
        if "no ledger could be proved" not in str(error):
            raise
        return
    found = verify(new)
    assert found.entries == report.entries and found.certificates == report.certificates
    assert {problem.what for problem in found.problems} <= {"trace"}
    assert set(found.certificates_bad) == set(report.without_readings)
    with ArchiveReader(kept) as original, ArchiveReader(new) as ours:
        for seq in range(report.entries):
            assert ours.entry(seq) == original.entry(seq)


def test_a_whole_chain_by_another_key_is_not_taken_for_ours(damaged: Path, kept: Path, tmp_path: Path) -> None:
    create_key(tmp_path / "other.key")
    with pytest.raises(ArchiveError, match="no ledger could be proved in it; put a backup back"):
        recover(damaged, tmp_path / "new.sqlite", key=tmp_path / "other.pub")
    assert recover(damaged, tmp_path / "second.sqlite", key=public_file(kept.with_name("ledger.key"))).ok


def test_what_is_no_archive_or_in_use_is_left_alone(damaged: Path, kept: Path, tmp_path: Path) -> None:
    letter = tmp_path / "letter.txt"
    letter.write_bytes(b"Dear customer,\n" * 999)
    with pytest.raises(ArchiveError, match="no ledger could be proved"):
        recover(letter)
    assert letter.read_bytes() == b"Dear customer,\n" * 999
    with Archive.open(damaged, key_path=kept.with_name("ledger.key")), pytest.raises(ArchiveLocked):
        recover(damaged)
    with pytest.raises(ArchiveError, match="exists already"):
        recover(damaged, letter)
    with pytest.raises(ArchiveError, match="there is no archive"):
        recover(tmp_path / "none.sqlite")


def test_every_row_of_a_table_is_found_with_its_columns(tmp_path: Path) -> None:
    """Against SQLite itself: text, blobs that run over, negative and large numbers, empty cells, deleted rows."""
    path = tmp_path / "any.sqlite"
    given_rows = [
        (k, (-1) ** k * 7**k, None if k % 5 else k / 3, "ü" * (k * 37 % 9000), bytes([k % 256]) * (k * 91 % 12000))
        for k in range(1, 200)
    ]
    with closing(sqlite3.connect(path)) as db:
        db.execute("CREATE TABLE t (k INTEGER PRIMARY KEY, n INTEGER, r REAL, s TEXT, b BLOB)")
        for row in given_rows:
            n = row[1] if abs(row[1]) < 1 << 63 else None
            db.execute("INSERT INTO t VALUES (?, ?, ?, ?, ?)", (row[0], n, *row[2:]))
        db.execute("DELETE FROM t WHERE k % 11 = 0")
        db.commit()
        stored = db.execute("SELECT * FROM t ORDER BY k").fetchall()
    pages = Pages(path)
    found = sorted((cell.rowid or 0, *row[1:]) for cell, row in cells(pages) if len(row) == 5 and row[0] is None
                   and not isinstance(row[1], str))  # fmt: skip
    pages.close()
    assert [(k, n, r, s, b) for k, n, r, s, b in found] == [(k, n, r, s, b) for k, n, r, s, b in stored]


# -- after a lost key --


def test_a_successor_goes_on_where_the_old_archive_ended(damaged: Path, tmp_path: Path) -> None:
    old_report, new_key = verify(damaged), tmp_path / "new" / "ledger.key"
    report = succeed(damaged, new_key, utc=lambda: NOON)
    assert (report.first_certificate, report.open_cycles) == (CERTIFICATES + 1, 1)
    assert report.predecessor_head == old_report.head_hash and report.predecessor.endswith("ended-20300317T174640Z")
    assert verify(Path(report.predecessor)).head_hash == old_report.head_hash
    assert report.key_fingerprint == fingerprint(load_key(new_key).public) != old_report.key_fingerprint
    with Archive.open(damaged, key_path=new_key) as archive:
        archive.add_rows(STILL.cycle_id, rows(5, first=OPEN_ROWS))
        assert archive.seal(STILL.cycle_id, body(STILL)) == CERTIFICATES + 1
        seal_one(archive, 3)
    found = verify(damaged, public_file(new_key))
    assert found.ok and found.certificates == 2
    with ArchiveReader(damaged) as reader:
        genesis = reader.entry(0).content
        assert genesis["predecessor"]["head_hash"] == old_report.head_hash
        assert [row.number for row in reader.records()] == [CERTIFICATES + 2, CERTIFICATES + 1]
        assert reader.trace(CERTIFICATES + 1).rows() == rows(OPEN_ROWS + 5)


def test_numbers_of_a_successor_that_do_not_begin_where_it_says(damaged: Path, tmp_path: Path) -> None:
    succeed(damaged, tmp_path / "new.key")
    with Archive.open(damaged, key_path=tmp_path / "new.key") as archive:
        seal_one(archive, 3)
    tamper(damaged, lambda db: db.execute("UPDATE ledger SET certificate = 1 WHERE seq = 1"))
    assert not verify(damaged).ok


def test_no_successor_while_the_key_is_there(damaged: Path, kept: Path) -> None:
    with pytest.raises(ArchiveError, match="nothing is lost"):
        succeed(damaged, kept.with_name("ledger.key"))
    tamper(damaged, lambda db: flip(db, "ledger", "body", "seq", 3, 5))
    with pytest.raises(ArchiveError, match=r"does not verify: entry 3: .*; recover it first"):
        succeed(damaged, kept.with_name("other.key"))
    assert not kept.with_name("other.key").exists()

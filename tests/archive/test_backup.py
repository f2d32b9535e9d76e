"""Copies: verified after writing, thinned out, put back with what lay there kept."""

from __future__ import annotations

import itertools
import sqlite3
import sys
from contextlib import closing
from pathlib import Path

import pytest

from press_monitor.archive import Archive, ArchiveError, ArchiveLocked, ArchiveReader
from press_monitor.archive import backup as backup_module
from press_monitor.archive.backup import backup, backup_due, backup_name, backups_in, restore, thin_out
from press_monitor.archive.keys import create_key, public_file
from press_monitor.archive.verify import verify
from tests.archive.helpers import NOON, body, flip, new_start, rows, seal_one, tamper

DAY = 86_400.0


def test_a_copy_is_verified_after_writing(archive: Archive, path: Path, tmp_path: Path) -> None:
    seal_one(archive)
    start = new_start()
    archive.begin_cycle(start)
    archive.add_rows(start.cycle_id, rows(10))
    report = backup(path, tmp_path / "monday.sqlite")
    assert report.ok and report.problems == ()
    assert (report.entries, report.certificates, report.head_entry) == (2, 1, 1)
    assert report.head_hash == verify(path).head_hash
    assert report.bytes == (tmp_path / "monday.sqlite").stat().st_size
    assert report.to_json()["backup"].endswith("monday.sqlite")
    assert [p.name for p in tmp_path.glob("monday*")] == ["monday.sqlite"]


def test_a_damaged_archive_is_copied_and_reported(archive: Archive, path: Path, tmp_path: Path) -> None:
    """The copy of a bad archive may be all that is left; it must not pass for a good one."""
    seal_one(archive)
    seal_one(archive)
    archive.checkpoint()
    tamper(path, lambda db: flip(db, "ledger", "body", "seq", 2, 99))
    report = backup(path, tmp_path / "copy.sqlite")
    assert not report.ok and "entry 2" in report.problems[0]
    assert verify(tmp_path / "copy.sqlite").certificates_bad == (2,)


def test_a_full_disk_leaves_no_half_a_copy(
    archive: Archive, path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_: Path) -> None:
        raise OSError(28, "No space left on device")

    seal_one(archive)
    monkeypatch.setattr(sys.modules["press_monitor.archive.backup"], "_sync", full)
    with pytest.raises(ArchiveError, match=r"the copy could not be made: .*No space left"):
        backup(path, tmp_path / "copies" / "copy.sqlite")
    assert list((tmp_path / "copies").iterdir()) == []


def test_a_file_that_stays_locked_is_not_waited_for_without_an_end(
    archive: Archive, path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seal_one(archive)
    plain = tmp_path / "plain.sqlite"
    with closing(sqlite3.connect(plain, isolation_level=None)) as holder:
        holder.execute("CREATE TABLE t (a)")
        holder.execute("BEGIN EXCLUSIVE")
        monkeypatch.setattr(backup_module, "connect_reader", lambda _: sqlite3.connect(plain, timeout=0.0))
        ticks = itertools.count(0.0, 6.0)
        with pytest.raises(ArchiveError, match="could not be made: database is locked"):
            backup(path, tmp_path / "copies" / "one.sqlite", clock=lambda: next(ticks))
    assert list((tmp_path / "copies").iterdir()) == []


def test_names_sort_by_time_and_the_oldest_go_first(tmp_path: Path) -> None:
    made = [NOON + k * DAY for k in range(5)]
    for utc in reversed(made):
        (tmp_path / backup_name(utc)).write_bytes(b"x")
    (tmp_path / "archive-own-notes.sqlite").write_bytes(b"mine")
    (tmp_path / "archive-20999999T999999Z.sqlite").write_bytes(b"no day")
    assert [utc for utc, _ in backups_in(tmp_path)] == made
    assert thin_out(tmp_path, 2) == [tmp_path / backup_name(utc) for utc in made[:3]]
    assert [utc for utc, _ in backups_in(tmp_path)] == made[3:]
    assert thin_out(tmp_path, 0) == [tmp_path / backup_name(made[3])]  # the newest always stays
    assert (tmp_path / "archive-own-notes.sqlite").exists()


def test_when_one_is_due(tmp_path: Path) -> None:
    folder = tmp_path / "none yet"
    assert backup_due(folder, DAY, NOON)
    folder.mkdir()
    (folder / backup_name(NOON)).write_bytes(b"x")
    assert not backup_due(folder, DAY, NOON + DAY - 1)
    assert backup_due(folder, DAY, NOON + DAY)
    assert backup_due(folder, DAY, NOON - DAY)  # the clock was set back: do not wait for it


@pytest.fixture
def copy(path: Path, key_path: Path, tmp_path: Path) -> Path:
    with Archive.open(path, key_path=key_path) as archive:
        seal_one(archive)
        seal_one(archive)
    backup(path, tmp_path / "copy.sqlite")
    return tmp_path / "copy.sqlite"


def test_putting_a_copy_back_keeps_what_lay_there(copy: Path, path: Path, key_path: Path) -> None:
    path.write_bytes(b"broken")
    Path(f"{path}-wal").write_bytes(b"its log")
    report = restore(copy, path, key=public_file(key_path), utc=lambda: NOON)
    assert report.kept is not None and report.kept.endswith("archive.sqlite.replaced-20300317T174640Z")
    assert Path(report.kept).read_bytes() == b"broken" and Path(f"{report.kept}-wal").read_bytes() == b"its log"
    assert (report.certificates, report.entries_given_up) == (2, 0)
    with Archive.open(path, key_path=key_path) as archive:
        seal_one(archive)
    assert verify(path).certificates == 3


def test_putting_back_where_nothing_is(copy: Path, tmp_path: Path) -> None:
    report = restore(copy, tmp_path / "new pc" / "archive.sqlite")
    assert report.kept is None and verify(tmp_path / "new pc" / "archive.sqlite").ok


def test_newer_entries_are_not_given_up_unasked(copy: Path, path: Path, key_path: Path) -> None:
    with Archive.open(path, key_path=key_path) as archive:
        seal_one(archive)
    before = path.read_bytes()
    with pytest.raises(ArchiveError, match=r"has 1 ledger entries that .*copy\.sqlite lacks"):
        restore(copy, path)
    assert path.read_bytes() == before
    report = restore(copy, path, give_up_newer=True)
    assert report.entries_given_up == 1 and report.kept is not None
    assert verify(Path(report.kept)).certificates == 3 and verify(path).certificates == 2


def test_nothing_is_put_back_under_a_running_recorder(copy: Path, path: Path, key_path: Path) -> None:
    with Archive.open(path, key_path=key_path), pytest.raises(ArchiveLocked, match="held by recorder"):
        restore(copy, path)
    assert [p.name for p in path.parent.glob("*.replaced*")] == []


def test_a_copy_that_does_not_verify_is_not_put_back(copy: Path, path: Path, tmp_path: Path) -> None:
    other = create_key(tmp_path / "other" / "ledger.key")
    assert other.public
    with pytest.raises(ArchiveError, match="does not verify: the archive is signed by key"):
        restore(copy, path, key=tmp_path / "other" / "ledger.pub")
    tamper(copy, lambda db: flip(db, "trace", "data", "entry", 1, 500))
    with pytest.raises(ArchiveError, match="does not verify: entry 1: the readings of certificate 1 were changed"):
        restore(copy, path)
    with closing(sqlite3.connect(path)) as db:
        assert db.execute("SELECT count(*) FROM ledger").fetchone() == (3,)


def test_a_copy_says_all_that_the_archive_says(archive: Archive, path: Path, tmp_path: Path) -> None:
    start = new_start()
    archive.begin_cycle(start)
    archive.add_rows(start.cycle_id, rows(10))
    backup(path, tmp_path / "copy.sqlite")
    archive.seal(start.cycle_id, body(start))
    with ArchiveReader(tmp_path / "copy.sqlite") as reader:
        assert reader.rows(start.cycle_id).rows() == rows(10)

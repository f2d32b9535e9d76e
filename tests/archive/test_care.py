"""The key, its copy, the backups, and the drill for losing any of them."""

from __future__ import annotations

import os
import stat
from contextlib import closing
from pathlib import Path

import pytest

from press_monitor.archive import Archive, ArchiveError, care
from press_monitor.archive.backup import backup, backup_name
from press_monitor.archive.care import Finding, copy_keys, drill, look_after
from press_monitor.archive.connect import connect_reader
from press_monitor.archive.keys import create_key, load_key, public_file, read_public_key
from tests.archive.helpers import NOON, flip, seal_one, tamper

DAY = 86_400.0


@pytest.fixture
def shop(path: Path, key_path: Path) -> Path:
    with Archive.open(path, key_path=key_path) as archive:
        seal_one(archive)
    return path


def by_name(found: tuple[Finding, ...]) -> dict[str, Finding]:
    return {finding.name: finding for finding in found}


def test_nothing_is_wrong_before_there_is_anything(path: Path, key_path: Path, tmp_path: Path) -> None:
    found = look_after(path, key_path, tmp_path / "backups", NOON)
    assert all(finding.ok for finding in found)
    assert not path.exists() and not key_path.exists()


def test_a_shop_that_looks_after_its_records(shop: Path, key_path: Path, tmp_path: Path) -> None:
    folder = tmp_path / "backups"
    backup(shop, folder / backup_name(NOON - DAY))
    found = by_name(look_after(shop, key_path, folder, NOON))
    assert all(finding.ok for finding in found.values())
    assert "24 h old" in found["backup"].words and "keep one elsewhere" in found["backup"].advice
    assert found["backup"].line().startswith("ok  backup: ")
    assert set(found["key"].to_json()) == {"name", "ok", "words", "advice"}


def test_what_is_missing_is_said_with_what_to_do(shop: Path, key_path: Path, tmp_path: Path) -> None:
    backup(shop, tmp_path / "b" / backup_name(NOON - 9 * DAY))
    assert not by_name(look_after(shop, key_path, tmp_path / "b", NOON))["backup"].ok
    assert "no copy yet" in by_name(look_after(shop, key_path, tmp_path / "none", NOON))["backup"].words
    key = key_path.read_bytes()
    key_path.unlink()
    lost = by_name(look_after(shop, key_path, tmp_path, NOON))["key"]
    assert not lost.ok and "nothing can be sealed" in lost.words and "archive successor" in lost.advice
    create_key(tmp_path / "x" / "ledger.key")
    key_path.write_bytes((tmp_path / "x" / "ledger.key").read_bytes())
    other = by_name(look_after(shop, key_path, tmp_path, NOON))["key"]
    assert not other.ok and "the archive is signed by" in other.words
    key_path.write_bytes(b"junk")
    assert "is not an Ed25519 private key" in by_name(look_after(shop, key_path, tmp_path, NOON))["key"].words
    key_path.write_bytes(key)
    public_file(key_path).unlink()
    assert not by_name(look_after(shop, key_path, tmp_path, NOON))["public key"].ok
    shop.write_bytes(b"not a database at all")
    assert not by_name(look_after(shop, key_path, tmp_path, NOON))["archive"].ok


def test_a_log_that_cannot_shrink_because_somebody_reads_is_told_until_they_stop(
    shop: Path, key_path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # SQLite folds the log in by itself from 1000 pages on (4 MB): only a reader in its way lets it grow past that.
    monkeypatch.setattr(care, "LOG_BYTES", 6_000_000)

    def log() -> Finding:
        return by_name(look_after(shop, key_path, tmp_path, NOON))["write-ahead log"]

    def write(archive: Archive) -> None:
        for _ in range(20):
            archive.add_events(None, [(0.0, NOON, "note", {"words": "x" * 400_000})])

    with Archive.open(shop, key_path=key_path) as archive:
        write(archive)
        assert log().ok and log().advice == "", "as much without a reader"
        with closing(connect_reader(shop)) as reader:
            reader.execute("BEGIN")
            reader.execute("SELECT count(*) FROM event").fetchone()
            write(archive)
            seal_one(archive)
            told = log()
            assert not told.ok and "something has been reading for long" in told.words
            assert "MB wait in " in told.words and "close what reads the archive" in told.advice
        seal_one(archive)
        assert log().ok and log().words.startswith("0 MB")


@pytest.mark.skipif(os.name != "posix", reason="file modes")
def test_a_key_that_others_can_read(shop: Path, key_path: Path, tmp_path: Path) -> None:
    key_path.chmod(0o644)
    found = by_name(look_after(shop, key_path, tmp_path, NOON))["key file"]
    assert (found.ok, found.words, found.advice) == (False, "mode 644: others can read it", f"chmod 600 {key_path}")


def test_the_key_copied_off_the_computer(shop: Path, key_path: Path, tmp_path: Path) -> None:
    stick = tmp_path / "stick"
    private, public, note = copy_keys(key_path, stick, "2031-05-04")
    assert load_key(private).public == read_public_key(public) == load_key(key_path).public
    assert "copied on 2031-05-04" in note.read_text() and "archive drill FOLDER" in note.read_text()
    if os.name == "posix":
        assert stat.S_IMODE(private.stat().st_mode) == 0o600
    copy_keys(key_path, stick, "2031-06-01")  # again: the same key, the note anew
    create_key(tmp_path / "other.key")
    with pytest.raises(ArchiveError, match=r"ledger\.key: is another key, and it is not written over"):
        copy_keys(tmp_path / "other.key", stick, "2031-06-01")
    assert load_key(private).public == load_key(key_path).public


def test_the_drill_with_everything_there(shop: Path, key_path: Path, tmp_path: Path) -> None:
    stick = tmp_path / "stick"
    copy_keys(key_path, stick / "keys", "2031-05-04")
    backup(shop, stick / "copies" / backup_name(NOON))
    with Archive.open(shop, key_path=key_path) as archive:
        seal_one(archive)
    found = by_name(drill(stick, shop))
    assert all(finding.ok for finding in found.values())
    assert "1 certificates hold" in found["backup"].words
    assert "the recorder could go on" in found["key"].words
    assert found["archive in use"].words == "the copy lacks 1 ledger entries made since"
    # The words are true: a new computer with only the stick goes on where the copy ended.
    new = tmp_path / "new pc" / "archive.sqlite"
    new.parent.mkdir()
    new.write_bytes((stick / "copies" / backup_name(NOON)).read_bytes())
    with Archive.open(new, key_path=stick / "keys" / "ledger.key") as archive:
        seal_one(archive)


def test_the_drill_finds_what_would_be_missing(shop: Path, key_path: Path, tmp_path: Path) -> None:
    stick = tmp_path / "stick"
    stick.mkdir()
    found = by_name(drill(stick))
    assert not found["backup"].ok and not found["key"].ok
    assert not any(f.ok for f in drill(tmp_path / "no such folder"))
    create_key(stick / "old.key")
    backup(shop, stick / backup_name(NOON))
    found = by_name(drill(stick, shop))
    assert found["backup"].ok and "none of its 1 keys signs this archive" in found["key"].words
    tamper(stick / backup_name(NOON), lambda db: flip(db, "ledger", "hash", "seq", 1, 3))
    assert "entry 1" in by_name(drill(stick, shop))["backup"].words


def test_a_copy_of_another_archive(shop: Path, key_path: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.sqlite"
    with Archive.open(other, key_path=key_path) as archive:
        seal_one(archive)
    backup(other, tmp_path / "stick" / backup_name(NOON))
    assert by_name(drill(tmp_path / "stick", shop))["archive in use"].words == "the copy is not of this archive"

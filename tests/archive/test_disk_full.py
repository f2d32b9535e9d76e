"""A full disk, at every write seam in turn: what is sealed stays, what is not can be written once there is room."""

from __future__ import annotations

import errno
import os
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from press_monitor.archive import Archive, ArchiveError, ArchiveReader
from press_monitor.archive.ballast import Ballast, is_full
from press_monitor.archive.types import JsonText
from press_monitor.archive.verify import verify
from tests.archive.helpers import GRAIN, NOON, body, new_start, rows, seal_one


def room(archive: Archive, pages: int) -> None:
    """Let the file grow by so many pages and no more: SQLite then answers as it does on a full disk."""
    (now,) = archive._db.execute("PRAGMA page_count").fetchone()
    archive._db.execute(f"PRAGMA max_page_count = {now + pages}")


START = new_start(press="P2")
DAY: dict[str, Callable[[Archive], Any]] = {
    "begin": lambda archive: archive.begin_cycle(START),
    "rows": lambda archive: archive.add_rows(START.cycle_id, rows(1200)),
    "events": lambda archive: archive.add_events(START.cycle_id, [(1.0, NOON, "alarm", {"words": "x" * 6000})]),
    "save": lambda archive: archive.put_save(START.cycle_id, 1199, 1199.0, {"all": GRAIN}),
    "state": lambda archive: archive.put_state("P2", START.cycle_id, NOON, {"all": "z" * 9000}),
    "steady": lambda archive: archive.put_state("P2", START.cycle_id, NOON, {}, JsonText(f'{{"all": "{GRAIN}"}}')),
    "beat": lambda archive: archive.beat(NOON),
    "seal": lambda archive: archive.seal(START.cycle_id, body(START, events=[{"words": "e" * 20_000}])),
    "inspection": lambda archive: archive.append("inspection", {"result": "sound", "note": "n" * 5000}, 2),
    "stores": lambda archive: archive.append("stores", {"item": {"kind": "lot", "name": "A"}, "why": "w" * 5000}),
}
"""A day's writing, each step one durable commit."""


def test_full_at_every_write_seam_in_turn(path: Path, key_path: Path) -> None:
    """Each step with no room, with one page of room, with two …, until it comes through.

    It is done whole or not at all, what was sealed before stays, and once there is room it is done all the same.
    """
    with Archive.open(path, key_path=key_path) as archive:
        seal_one(archive, 30)
    bit: set[str] = set()
    for name, step in DAY.items():
        with closing(sqlite3.connect(path)) as db:
            db.execute("VACUUM")  # no free pages to hide in
        before = path.read_bytes()
        sealed = verify(path).certificates
        for pages in range(100):
            path.write_bytes(before)
            with Archive.open(path, key_path=key_path) as archive:
                room(archive, pages)
                try:
                    step(archive)
                except ArchiveError as error:
                    if not is_full(error):
                        raise
                    bit.add(name)
                    report = verify(path)
                    assert report.ok and report.certificates == sealed
                    with ArchiveReader(path) as reader:
                        assert len(reader.trace(1)) == 30
                    room(archive, 10_000)
                    step(archive)
                    assert verify(path).ok
                else:
                    break
        else:
            pytest.fail(f"{name} never came through")
    report = verify(path, unpack_traces=True)
    assert report.ok and (report.certificates, report.entries) == (2, 5)
    with ArchiveReader(path) as reader:
        assert reader.trace(2).rows() == rows(1200)
    assert bit >= {"rows", "events", "save", "state", "steady", "seal", "inspection", "stores"}, bit


def test_the_ballast_goes_at_the_first_full_disk_and_the_cure_is_still_written(
    path: Path, key_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Archive.open(path, key_path=key_path, clock=lambda: NOON, ballast_bytes=1 << 20) as archive:
        ballast = Path(f"{path}.ballast")
        assert ballast.stat().st_size == 1 << 20 and archive.trouble() is None
        start = new_start()
        archive.begin_cycle(start)
        room(archive, 2)
        with pytest.raises(ArchiveError, match="database or disk is full"), archive.transaction():
            archive.add_rows(start.cycle_id, rows(3000))  # inside, as the recorder's writer does it
        assert not ballast.exists()
        since, why = archive.trouble() or (None, "")
        assert since == NOON and "the disk is full; the 1 MB kept back" in why
        room(archive, 256)  # what the ballast took
        archive.add_rows(start.cycle_id, rows(3000))
        archive.seal(start.cycle_id, body(start))
        assert archive.trouble() is not None  # still no room for another one
        monkeypatch.setattr(archive._ballast, "_looked", float("-inf"))
        archive.beat(NOON + 60)
        assert archive.trouble() is None and ballast.stat().st_size == 1 << 20
    assert verify(path).ok


def test_ballast_is_only_made_where_there_is_plenty(tmp_path: Path) -> None:
    archive = tmp_path / "a.sqlite"
    free = [7 << 20]
    now = [0.0]
    ballast = Ballast(archive, 1 << 20, free=lambda _: free[0], monotonic=lambda: now[0])
    ballast.keep()
    assert not ballast.path.exists()
    free[0] = 8 << 20
    ballast.keep()
    assert not ballast.path.exists()  # it looks once a minute
    now[0] = 61.0
    ballast.keep()
    assert ballast.path.stat().st_size == 1 << 20
    assert ballast.path.stat().st_blocks * 512 >= 1 << 20 if hasattr(os.stat_result, "st_blocks") else True
    assert ballast.drop() and not ballast.drop()
    assert ballast.dropped


def test_a_disk_that_refuses_ballast_does_not_stop_anything(
    path: Path, key_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(self: Ballast) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Ballast, "_make", full)
    with Archive.open(path, key_path=key_path, ballast_bytes=1 << 20) as archive:
        seal_one(archive)
    assert verify(path).ok and not Path(f"{path}.ballast").exists()


@pytest.mark.parametrize(
    ("error", "full"),
    [
        (OSError(errno.ENOSPC, "x"), True),
        (OSError(errno.EIO, "x"), False),
        (sqlite3.OperationalError("database is locked"), False),
        (ArchiveError("x"), False),
        (None, False),
    ],
)
def test_which_errors_mean_a_full_disk(error: BaseException | None, full: bool) -> None:
    assert is_full(error) is full

"""The power cuts in small, and what they rest on: a disk that forgets what was not synced."""

from __future__ import annotations

import random

import pytest

from tests.crash import power
from tests.crash.power import Did, Disk

needs_strace = pytest.mark.skipif(not power.available(), reason="strace is not here, or may not trace")


@needs_strace
def test_power_cuts_lose_nothing_acknowledged(tmp_path):
    life = power.record_a_life(tmp_path / "life", commits=8)
    acknowledged = sum(did.name == "acknowledged" and did.what == "write" for did in life.did)
    assert acknowledged >= 3 and any(did.what == "sync" for did in life.did)
    report = power.cut(life, tmp_path / "cuts", 24, seed=2)
    assert report.violations == [] and report.cuts == 24 and report.lost > 100


@needs_strace
def test_without_syncs_they_find_what_is_lost(tmp_path):
    life = power.record_a_life(tmp_path / "life", commits=8, unsafe="OFF")
    assert power.cut(life, tmp_path / "cuts", 12, seed=2).violations


def after(*done: Did, keep: float, seed: int = 1, before: dict[str, bytes] | None = None) -> dict[str, bytes]:
    disk = Disk(before or {})
    for did in done:
        disk.take(did)
    return disk.after_a_cut(random.Random(seed), keep)[0]


MADE, FOLDER_SYNC = Did("open", "a"), Did("sync", ".")
WRITE, SYNC, SECOND = Did("write", "a", b"x" * 1024, 0), Did("sync", "a"), Did("write", "a", b"y" * 1024, 0)


def test_what_was_synced_stays_and_the_rest_may_go():
    assert after(MADE, WRITE, SYNC, keep=0.0) == {}, "a name that was not synced"
    assert after(MADE, FOLDER_SYNC, WRITE, keep=0.0) == {"a": b""}
    assert after(MADE, FOLDER_SYNC, WRITE, SYNC, SECOND, keep=0.0) == {"a": b"x" * 1024}
    assert after(MADE, WRITE, SECOND, keep=1.0) == {"a": b"y" * 1024}
    assert after(Did("unlink", "b"), keep=0.0, before={"b": b"1"}) == {"b": b"1"}
    assert after(Did("unlink", "b"), FOLDER_SYNC, keep=0.0, before={"b": b"1"}) == {}
    moved = (Did("rename", "b", other="c"), FOLDER_SYNC)
    assert after(*moved, keep=0.0, before={"b": b"1", "c": b"2"}) == {"c": b"1"}


def test_unsynced_writes_are_torn_by_sectors():
    found = {after(MADE, FOLDER_SYNC, WRITE, SYNC, SECOND, keep=0.5, seed=seed)["a"] for seed in range(60)}
    assert found == {a * 512 + b * 512 for a in (b"x", b"y") for b in (b"x", b"y")}


def test_a_line_of_strace_is_read_whole():
    at = b"/t/data/x".hex()
    path = "".join(f"\\x{at[k : k + 2]}" for k in range(0, len(at), 2))
    assert list(power._did("pwrite64", f'5<{path}>, "\\x00\\xff", 2, 4096', 2, "/t")) == [
        Did("write", "data/x", b"\x00\xff", 4096)
    ]
    assert list(power._did("fsync", f"5<{path}>", 0, "/t")) == [Did("sync", "data/x")]
    assert list(power._did("fsync", f"5<{path}>", 0, "/other")) == []

"""The campaign of kills in small; ``python -m tests.crash --full`` is the whole."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing

import pytest

from press_monitor.archive import ArchiveReader
from tests.crash import boundaries, kills
from tests.crash.filelayer import available
from tests.crash.invariants import Inspector
from tests.crash.processes import until

pytestmark = pytest.mark.skipif(os.name != "posix", reason="SIGKILL and forkserver are POSIX's")


def test_random_kills_lose_nothing_and_the_cycles_go_on(tmp_path):
    report = kills.random_kills(tmp_path, 6, seed=11, life=kills.by_commits)
    assert report.violations == [] and report.kills == 6
    assert report.rows > 50 and report.resumed > 2, "the kills must fall while cures run"


@pytest.mark.skipif(not available(), reason="this Python's SQLite is not a library of its own")
def test_kills_between_two_steps_of_what_must_be_whole(tmp_path):
    names = ("row write", "commit", "log sync")
    report = kills.at_running_boundaries(tmp_path, 3, times=1, names=names)
    report.add(kills.at_opening_boundaries(tmp_path, 3, old=False, names=("key named",)))
    report.add(kills.at_opening_boundaries(tmp_path, 3, old=True, names=("derived tables made anew",)))
    assert report.violations == []
    assert set(report.boundaries) == {*names, "key named", "derived tables made anew"}


def test_every_boundary_names_something_of_the_program():
    from importlib import import_module

    for function in boundaries.FUNCTIONS.values():
        module, _, holder = function.module.partition(":")
        owner = getattr(import_module(module), holder) if holder else import_module(module)
        assert callable(getattr(owner, function.name))
    named = {*boundaries.RUNNING, *boundaries.OPENING, *boundaries.COPYING}
    assert named == {*boundaries.FUNCTIONS, *boundaries.FILES}, "each is reached by some part of the campaign"


HARM = {
    "the newest acknowledged row": ("DELETE FROM live_row WHERE seq = {newest}", "is gone"),
    "a value": ("UPDATE live_row SET c1 = c1 + 1 WHERE seq = 3", "is another"),
    "an event": ("DELETE FROM event WHERE number = (SELECT min(number) FROM event)", "are gone"),
    "a save": ("UPDATE watch_save SET t = t + 2, seq = seq + 1", "differs from a full replay"),
}


def later_than_its_save(bench: kills.Bench) -> bool:
    """Whether the cycle has a save, and rows after it."""
    bench.inspector.hear()
    rows = [max(kept) for kept in bench.inspector.promised.rows.values()]
    if not rows:
        return False
    with ArchiveReader(bench.place.archive) as reader:
        saves = [reader.latest_save(cycle.start.cycle_id) for cycle in reader.open_cycles()]
    return None not in saves and all(save.seq + 5 < max(rows) for save in saves if save is not None)


def test_the_checks_bite(tmp_path):
    """What a lost commit, a bad write or a torn save would leave is found."""
    bench = kills.Bench(tmp_path, 5, presses=1)
    process = bench.start()
    until(lambda: bench.live(process, 0.3) and later_than_its_save(bench), "rows a good way past a save")
    bench.kill(process)
    assert bench.inspector.check() == []
    (rows,) = bench.inspector.promised.rows.values()
    whole = {p.name: p.read_bytes() for p in bench.place.archive.parent.glob("archive.sqlite*") if p.is_file()}
    for what, (harm, words) in HARM.items():
        for name, data in whole.items():
            (bench.place.archive.parent / name).write_bytes(data)
        with closing(sqlite3.connect(bench.place.archive, isolation_level=None)) as db:
            done = db.execute(harm.format(newest=max(rows))).rowcount
        assert done, f"there was no {what} to harm"
        found = Inspector(bench.place).check()
        assert any(words in line for line in found), (what, found)

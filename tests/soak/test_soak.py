"""A few minutes of the soak; ``python -m tests.soak`` is the day."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from press_monitor.archive import Archive, ArchiveReader
from tests.archive.helpers import new_start
from tests.soak.__main__ import Look, Watched, soak


@pytest.mark.skipif(not Path("/proc/self/fd").exists() or os.name != "posix", reason="looks into /proc")
def test_recorder_and_dashboard_run_side_by_side(tmp_path):
    result = soak(tmp_path, hours=0.12, presses=2, speed=100.0)
    assert result.wrong == []
    assert "2 presses" in result.line


def day(grows: float = 0.0, handles: int = 20) -> Watched:
    """A day of looks at a process that grows by so many MB a day, and opens so many handles more in the last third."""
    noise = (0.0, 0.4, -0.3, 0.1)
    looks = [Look(k / 10, 90.0 + grows * k / 240 + noise[k % 4], 20 if k < 170 else handles, 8) for k in range(240)]
    return Watched("it", 0, looks)


def test_the_limits_bite():
    assert day().wrong() == [] and day(grows=10.0).wrong() == []
    assert day().slope() == pytest.approx(0.0, abs=2.0)
    assert day(grows=40.0).slope() == pytest.approx(40.0, abs=2.0)
    assert "grows" in day(grows=40.0).wrong()[0]
    assert "handles" in day(handles=30).wrong()[0]


def test_a_reader_that_never_ends_keeps_few_beginnings(tmp_path):
    """What the first soak found: a dashboard kept the beginning of every cycle it had ever asked for."""
    path = tmp_path / "archive.sqlite"
    with Archive.open(path, key_path=tmp_path / "key") as archive:
        starts = [new_start(press=f"P{n}") for n in range(140)]
        with archive.transaction():
            for start in starts:
                archive.begin_cycle(start)
        with ArchiveReader(path) as reader:
            for start in (*starts, starts[0]):
                assert reader.cycle_start(start.cycle_id) == start
            assert len(reader._starts) == 128

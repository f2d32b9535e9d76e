"""The benchmarks on small archives: the archive they make is a real one, and they measure what they say."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from press_monitor.archive import ArchiveReader
from press_monitor.archive.ledger import canonical
from press_monitor.archive.verify import verify
from tests.benchmarks import _records, opening, search
from tests.benchmarks import verify as verifying

COUNT = 150


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("bench")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PRESS_MONITOR_BENCH", str(folder))
        return _records.archive_of(COUNT)


@pytest.fixture(autouse=True)
def _there(made: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PRESS_MONITOR_BENCH", str(made.parent.parent))


def test_what_is_made_verifies_and_is_canonical(made: Path) -> None:
    report = verify(made, unpack_traces=True)
    assert report.ok and report.certificates == COUNT and report.entries > COUNT
    with ArchiveReader(made) as reader:
        assert reader.count() == COUNT and reader.count(inspection="any") > COUNT / 4
        for number in (1, 50, COUNT):
            sealed = reader.record(number).sealed
            assert canonical(json.loads(sealed.body)) == sealed.body
    left = [p.name for p in made.parent.iterdir() if ".part" in p.name]
    assert left == []


def test_search_and_verify_measure_the_same_work(made: Path) -> None:
    found = search.run(COUNT, rounds=2)  # it compares every answer with the bare SQL's
    assert found["p95 ms"] > 0 and found["p95 over bare SQL"] > 0
    found = verifying.run(COUNT, rounds=1)
    assert found["over hashing and signatures"] > 0


def test_opening_draws_both(made: Path) -> None:
    found = opening.run(COUNT, rounds=1)
    ratio = found["100,000 certificates, ms"] / found["none, ms"]
    assert found["over an empty archive"] == pytest.approx(ratio)

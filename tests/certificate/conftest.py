from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from press_monitor.archive import Archive, ArchiveReader
from press_monitor.archive.keys import public_file
from tests.certificate.samples import ALL_CHANNELS, body_of, live_rows, result, start_of


@dataclass(frozen=True)
class Shop:
    """A sealed archive, its public key, and a stranger's."""

    archive: Path
    key: Path
    other_key: Path


def seal(archive: Archive, number: int, rows: int = 600, verdict: str = "review") -> int:
    """One made-up cycle, sealed."""
    start = start_of(cycle_id=f"{number:032x}", source="live")
    body = body_of(start, result=result(source="live", verdict=verdict))
    archive.begin_cycle(start)
    archive.add_rows(start.cycle_id, live_rows(rows, ALL_CHANNELS))
    return archive.seal(start.cycle_id, body)


@pytest.fixture(scope="session")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Shop:
    """Three certificates; the first one was inspected and came back, after the others had been sealed."""
    folder = tmp_path_factory.mktemp("shop")
    with Archive.open(folder / "cures.sqlite", key_path=folder / "ledger.key") as archive:
        for number in (1, 2, 3):
            seal(archive, number)
        archive.append("inspection", {"result": "accepted", "inspector": "Wilma Oakes"}, certificate=1)
        archive.append("comeback", {"cause": "adhesion failure", "hours": 410}, certificate=1)
    Archive.open(folder / "other.sqlite", key_path=folder / "other.key").close()
    return Shop(folder / "cures.sqlite", public_file(folder / "ledger.key"), public_file(folder / "other.key"))


@pytest.fixture
def reader(shop: Shop) -> Iterator[ArchiveReader]:
    with ArchiveReader(shop.archive) as opened:
        yield opened

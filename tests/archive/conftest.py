from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from press_monitor.archive import Archive, ArchiveReader
from tests.archive.helpers import NOON


class Clock:
    """UTC seconds that move only when told."""

    def __init__(self) -> None:
        self.now = NOON

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "data" / "archive.sqlite"


@pytest.fixture
def key_path(tmp_path: Path) -> Path:
    return tmp_path / "settings" / "ledger.key"


@pytest.fixture
def archive(path: Path, key_path: Path, clock: Clock) -> Iterator[Archive]:
    with Archive.open(path, key_path=key_path, clock=clock) as opened:
        yield opened


@pytest.fixture
def reader(archive: Archive) -> Iterator[ArchiveReader]:
    with ArchiveReader(archive.path) as opened:
        yield opened

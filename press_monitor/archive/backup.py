"""A copy of the archive while it is in use."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from pathlib import Path

from press_monitor.archive.connect import connect_reader
from press_monitor.archive.types import ArchiveError

__all__ = ["backup"]


def backup(path: Path, to: Path) -> None:
    """Copy the archive at `path` to a new file `to`, whole or not at all, by SQLite's backup interface.

    Never copy the file itself while it is in use: its newest commits lie in the log beside it.
    Raises `ArchiveError`, also when `to` exists.
    """
    if to.exists():
        raise ArchiveError(f"{to}: exists already")
    part = to.with_name(f"{to.name}.part")
    try:
        to.parent.mkdir(parents=True, exist_ok=True)
        part.unlink(missing_ok=True)
        with closing(connect_reader(path)) as source, closing(sqlite3.connect(part)) as copy:
            source.backup(copy)
            # A copy that needs no side files can be read from any medium.
            copy.execute("PRAGMA journal_mode = DELETE")
        os.replace(part, to)
    except (OSError, sqlite3.Error) as e:
        part.unlink(missing_ok=True)
        raise ArchiveError(f"{to}: the copy could not be made: {e}") from e

"""A file that only takes up room, so that there is some to give back when the disk is full.

It is let go at the first commit that finds no room; the alarm and the cures in progress are then written into what it
leaves. Whoever clears the disk gets it back by itself.
"""

from __future__ import annotations

import errno
import os
import shutil
import sqlite3
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final

from press_monitor.archive.durable import private_file

__all__ = ["BALLAST_BYTES", "Ballast", "is_full"]

BALLAST_BYTES: Final = 32 << 20
"""Three hours of sixteen presses take about 4 MiB, as rows and in the write-ahead log together."""

_PLENTY: Final = 8
"""It is only made where this many times its size is free: else it would itself be what fills the disk."""

_LOOK_EVERY_S: Final = 60.0
_CHUNK: Final = 1 << 20
_FULL: Final = (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC))


def is_full(error: BaseException | None) -> bool:
    """Whether an error, or what caused it, says that the disk is full."""
    while error is not None:
        if isinstance(error, sqlite3.Error) and getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_FULL:
            return True
        if isinstance(error, OSError) and error.errno in _FULL:
            return True
        error = error.__cause__
    return False


class Ballast:
    """The ballast of one archive. Nothing here raises: without ballast the archive works as well, until it is full."""

    def __init__(
        self,
        archive: Path,
        size: int = BALLAST_BYTES,
        *,
        free: Callable[[Path], int] = lambda folder: shutil.disk_usage(folder).free,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self.path = Path(f"{archive}.ballast")
        self.size = size
        self._free = free
        self._monotonic = monotonic
        self._looked = float("-inf")
        self.dropped = False
        """Whether it has been let go and not been made again since."""

    def keep(self) -> None:
        """See that it is there, once a minute at most."""
        now = self._monotonic()
        if not self.size or now - self._looked < _LOOK_EVERY_S:
            return
        self._looked = now
        try:
            if self.path.exists() and self.path.stat().st_size == self.size:
                self.dropped = False
                return
            if self._free(self.path.parent) < _PLENTY * self.size:
                return
            self._make()
            self.dropped = False
        except OSError:
            self.path.unlink(missing_ok=True)

    def _make(self) -> None:
        fresh = self.path.with_name(f"{self.path.name}.part")
        private_file(fresh)
        with fresh.open("wb") as file:
            if hasattr(os, "posix_fallocate"):
                os.posix_fallocate(file.fileno(), 0, self.size)
            else:
                # Written out, and not of one kind: a file system that compresses would take no room for zeros.
                for _ in range(self.size // _CHUNK):
                    file.write(os.urandom(_CHUNK))
                file.truncate(self.size)
            file.flush()
            os.fsync(file.fileno())
        os.replace(fresh, self.path)

    def drop(self) -> bool:
        """Let it go; whether that made room."""
        try:
            self.path.unlink()
        except OSError:
            return False
        self.dropped = True
        self._looked = self._monotonic()
        return True

"""The file lock that makes one process the archive's writer, and the note that says who it is."""

from __future__ import annotations

import json
import os
import warnings
from pathlib import Path

import filelock

from press_monitor.archive.durable import private_file
from press_monitor.archive.types import ArchiveError, ArchiveLocked

__all__ = ["WriterLock"]


class WriterLock:
    """Held from construction to `release`. The note is a file of its own: Windows lets nobody read a locked one.

    The operating system frees the lock when the process dies, however it dies; the note may then outlive it, and is
    only believed while the lock is held.
    """

    def __init__(self, archive: Path, holder: str, version: str) -> None:
        """Take the lock. Raises `ArchiveLocked` at once when it is held, `ArchiveError` when it cannot be had."""
        self._note = Path(f"{archive}.holder")
        self._lock = filelock.FileLock(
            f"{archive}.lock", timeout=0, blocking=False, thread_local=False, fallback_to_soft=False, mode=0o600
        )
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("error", UserWarning)
                self._lock.acquire()
        except filelock.Timeout:
            raise ArchiveLocked(archive, *self._read()) from None
        except (OSError, NotImplementedError, UserWarning) as e:
            raise ArchiveError(f"{archive}: cannot be locked: {e}") from e
        try:
            note = json.dumps({"holder": holder, "pid": os.getpid(), "version": version})
            fresh = Path(f"{self._note}.{os.getpid()}")
            private_file(fresh)
            fresh.write_text(note, encoding="utf-8")
            os.replace(fresh, self._note)
        except OSError as e:
            self._lock.release()
            raise ArchiveError(f"{archive}: cannot be locked: {e}") from e

    def _read(self) -> tuple[str | None, int | None, str | None]:
        try:
            note = json.loads(self._note.read_text(encoding="utf-8"))
            return str(note["holder"]), int(note["pid"]), str(note["version"])
        except (OSError, ValueError, KeyError, TypeError):
            return None, None, None

    def release(self) -> None:
        """Let go; may be called more than once."""
        if self._lock.is_locked:
            self._note.unlink(missing_ok=True)
            self._lock.release()

"""Who records; and starting a recorder that outlives who starts it: a dashboard closed or killed, its terminal gone."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from press_monitor.archive import ArchiveError, ArchiveLocked, ArchiveReader
from press_monitor.archive.lock import WriterLock

__all__ = ["LaunchError", "holder_of", "recorder_command", "start_detached"]

STARTS_WITHIN_S = 10.0
_TAIL_LINES = 3


class LaunchError(Exception):
    """The recorder did not come up; the message is fit for the operator."""


def recorder_command(shop: Path, archive: Path, key: Path) -> list[str]:
    """The command line of a recorder, by this very Python."""
    places = ("--shop", str(shop), "--archive", str(archive), "--key", str(key))
    return [sys.executable, "-m", "press_monitor.recorder", *places]


def start_detached(
    command: Sequence[str],
    archive: Path,
    log: Path,
    *,
    within: float = STARTS_WITHIN_S,
    pause: Callable[[float], None] = time.sleep,
    monotonic: Callable[[], float] = time.monotonic,
) -> int:
    """Start a recorder in a session of its own and wait for its first heartbeat; its process id.

    Where another one records already, that one's heartbeat counts, and its id is returned.
    Raises `LaunchError` with the last lines of the log where none comes.
    """
    before = _beats(archive)
    log.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    with log.open("ab") as out:
        process = _spawn(command, out.fileno())
    deadline = monotonic() + within
    while monotonic() < deadline:
        code = process.poll()
        now = _beats(archive)
        if now is not None and now != before:
            return now[0]
        if code not in (None, 0):
            break
        pause(0.05)
    raise LaunchError(f"the recorder did not start{_tail(log)}")


def holder_of(archive: Path) -> ArchiveLocked | None:
    """Who holds the archive for writing; None where nobody does."""
    if not archive.exists():
        return None
    try:
        WriterLock(archive, "a look", "").release()
    except ArchiveLocked as locked:
        return locked
    return None


def _spawn(command: Sequence[str], log: int) -> subprocess.Popen[bytes]:
    if sys.platform == "win32":
        flags = subprocess.DETACHED_PROCESS | subprocess.CREATE_NEW_PROCESS_GROUP
        return subprocess.Popen(
            command, stdin=subprocess.DEVNULL, stdout=log, stderr=log, close_fds=True, creationflags=flags
        )
    return subprocess.Popen(
        command,
        stdin=subprocess.DEVNULL,
        stdout=log,
        stderr=log,
        close_fds=True,
        start_new_session=True,
    )


def _beats(archive: Path) -> tuple[int, float, int] | None:
    """Who beats, since when, and how often it has; None where nobody ever did."""
    try:
        with ArchiveReader(archive) as reader:
            row = reader.recorder()
    except ArchiveError:
        return None
    return None if row is None else (row.pid, row.started_utc, row.beats)


def _tail(log: Path) -> str:
    try:
        lines = [line for line in log.read_text(encoding="utf-8", errors="replace").splitlines() if line.strip()]
    except OSError:
        return ""
    return "".join(f"\n{line}" for line in lines[-_TAIL_LINES:])

"""Copies of the archive: made while it is in use, verified after writing, thinned out, and put back."""

from __future__ import annotations

import os
import re
import sqlite3
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path

from press_monitor import __version__
from press_monitor.archive.connect import connect_reader, refuse_network_share
from press_monitor.archive.durable import make_folder, private_file, sync_folder
from press_monitor.archive.lock import WriterLock
from press_monitor.archive.types import ArchiveError, Json
from press_monitor.archive.verify import VerifyReport, verify

__all__ = [
    "BackupReport",
    "RestoreReport",
    "backup",
    "backup_due",
    "backup_name",
    "backups_in",
    "move_aside",
    "restore",
    "stamp",
    "thin_out",
]

_NAMED = re.compile(r"archive-(\d{8}T\d{6}Z)\.sqlite")
_FORM = "%Y%m%dT%H%M%SZ"
_SIDE_FILES = ("", "-wal", "-shm")
_PATIENCE_S = 10.0
"""How long a copy waits for a file that somebody keeps locked."""


@dataclass(frozen=True, slots=True)
class BackupReport:
    """A copy that was made. `ok` False: it was made and does not verify, most likely because the archive does not."""

    backup: str
    ok: bool
    bytes: int
    entries: int
    certificates: int
    head_entry: int | None
    head_hash: str | None
    problems: tuple[str, ...]
    seconds: float

    def to_json(self) -> dict[str, Json]:
        """Every key, always."""
        return {**asdict(self), "problems": list(self.problems)}

    def lines(self) -> list[str]:
        """In words."""
        size = f"{self.bytes / 2**20:.1f} MB"
        said = [f"{self.backup}: {size}, {self.certificates} certificates, ledger entries to {self.head_entry}"]
        return said + (["verified after writing"] if self.ok else [f"DOES NOT VERIFY: {p}" for p in self.problems[:3]])


def stamp(utc: float) -> str:
    """A moment for a file's name, which sorts: ``20310504T162000Z``."""
    return datetime.fromtimestamp(utc, UTC).strftime(_FORM)


def backup_name(utc: float) -> str:
    """The name of a copy made at a moment."""
    return f"archive-{stamp(utc)}.sqlite"


def backup(path: Path, to: Path, *, check: bool = True, clock: Callable[[], float] = time.monotonic) -> BackupReport:
    """Copy the archive at `path` to a new file `to`, whole or not at all, by SQLite's backup interface; verify it.

    Never copy the file itself while it is in use: its newest commits lie in the log beside it. Without `check` the
    copy's ledger is not walked. Raises `ArchiveError`, also when `to` exists; a copy that does not verify is kept and
    reported, for it may be all that is left.
    """
    began = clock()
    if to.exists():
        raise ArchiveError(f"{to}: exists already")
    part = to.with_name(f"{to.name}.part")
    try:
        make_folder(to.parent)
        part.unlink(missing_ok=True)
        private_file(part)
        with closing(connect_reader(path)) as source, closing(sqlite3.connect(part)) as copy:
            source.backup(copy, progress=_patience(clock))
            # A copy that needs no side files can be read from any medium.
            copy.execute("PRAGMA journal_mode = DELETE")
        _sync(part)
        os.replace(part, to)
        try:
            sync_folder(to.parent)
        except OSError:
            to.unlink(missing_ok=True)  # a name that may not last was not promised, and must not be in the way
            raise
    except (OSError, sqlite3.Error) as e:
        part.unlink(missing_ok=True)
        raise ArchiveError(f"{to}: the copy could not be made: {e}") from e
    found = verify(to) if check else None
    problems = _problems(to, found)
    return BackupReport(
        backup=str(to),
        ok=not problems,
        bytes=to.stat().st_size,
        entries=0 if found is None else found.entries,
        certificates=0 if found is None else found.certificates,
        head_entry=None if found is None else found.head_entry,
        head_hash=None if found is None else found.head_hash,
        problems=problems,
        seconds=clock() - began,
    )


def _patience(clock: Callable[[], float]) -> Callable[[int, int, int], None]:
    """What a copy is asked after each try: left to itself it waits for a locked file without an end."""
    since: list[float] = []

    def asked(status: int, remaining: int, total: int) -> None:
        del remaining, total
        if status & 0xFF not in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
            since.clear()
        elif not since:
            since.append(clock())
        elif clock() - since[0] > _PATIENCE_S:
            raise sqlite3.OperationalError("database is locked")

    return asked


def _problems(copy: Path, found: VerifyReport | None) -> tuple[str, ...]:
    if found is None:
        return ()
    said = [problem.message for problem in found.problems]
    try:
        with closing(connect_reader(copy)) as db:
            said += [str(row[0]) for row in db.execute("PRAGMA quick_check (3)") if row[0] != "ok"]
    except (ArchiveError, sqlite3.Error) as e:
        said.append(str(e))
    return tuple(said)


def _sync(path: Path) -> None:
    with path.open("r+b") as file:
        os.fsync(file.fileno())


def backups_in(folder: Path) -> list[tuple[float, Path]]:
    """The copies in a folder with the UTC seconds they were made at, by their names; oldest first."""
    found = []
    if folder.is_dir():
        for path in folder.iterdir():
            if named := _NAMED.fullmatch(path.name):
                try:
                    made = datetime.strptime(named[1], _FORM).replace(tzinfo=UTC)
                except ValueError:
                    continue
                found.append((made.timestamp(), path))
    return sorted(found)


def backup_due(folder: Path, every_s: float, now: float) -> bool:
    """Whether the newest copy is older than `every_s`, or lies in the future of a clock that was set back."""
    found = backups_in(folder)
    return not found or not 0.0 <= now - found[-1][0] < every_s


def thin_out(folder: Path, keep: int) -> list[Path]:
    """Delete the oldest copies but for the newest `keep` (at least one); returns what was deleted."""
    gone = []
    for _, path in backups_in(folder)[: -max(1, keep)]:
        try:
            path.unlink()
        except OSError:
            continue
        gone.append(path)
    return gone


@dataclass(frozen=True, slots=True)
class RestoreReport:
    """A copy put back. `kept`: where what lay there before lies now; None where nothing did."""

    archive: str
    backup: str
    kept: str | None
    entries: int
    certificates: int
    entries_given_up: int
    """Entries of the old file that the copy lacks."""

    def to_json(self) -> dict[str, Json]:
        """Every key, always."""
        return asdict(self)

    def lines(self) -> list[str]:
        """In words."""
        said = [f"{self.archive}: put back from {self.backup}, {self.certificates} certificates"]
        if self.kept is not None:
            said.append(f"what lay there before is kept as {self.kept}")
        if self.entries_given_up:
            said.append(f"{self.entries_given_up} newer ledger entries stand only there")
        return said


def restore(
    copy: Path,
    path: Path,
    *,
    key: Path | None = None,
    give_up_newer: bool = False,
    utc: Callable[[], float] = time.time,
) -> RestoreReport:
    """Put a copy in the archive's place. What lies there is kept beside it, and nothing of it is deleted.

    Raises `ArchiveLocked` while somebody writes the archive; `ArchiveError` for a copy that does not verify, or where
    the archive has newer entries than the copy, unless `give_up_newer`.
    """
    found = verify(copy, key)
    if not found.ok:
        raise ArchiveError(f"{copy}: does not verify: {found.problems[0].message}")
    refuse_network_share(path)
    make_folder(path.parent)
    lock = WriterLock(path, "restore", __version__)
    try:
        newer = _entries_beyond(path, found)
        if newer and not give_up_newer:
            raise ArchiveError(
                f"{path}: has {newer} ledger entries that {copy} lacks; they would stand in the old file only"
                " (--give-up-newer does it all the same)"
            )
        fresh = path.with_name(f"{path.name}.restoring")
        fresh.unlink(missing_ok=True)
        try:
            private_file(fresh)
            with closing(connect_reader(copy)) as source, closing(sqlite3.connect(fresh)) as target:
                source.backup(target, progress=_patience(time.monotonic))
            _sync(fresh)
            kept = move_aside(path, f"replaced-{stamp(utc())}")
            os.replace(fresh, path)
            sync_folder(path.parent)
        except (OSError, sqlite3.Error) as e:
            fresh.unlink(missing_ok=True)
            raise ArchiveError(f"{path}: could not be put back: {e}") from e
    finally:
        lock.release()
    return RestoreReport(
        str(path), str(copy), None if kept is None else str(kept), found.entries, found.certificates, newer
    )


def _entries_beyond(path: Path, copy: VerifyReport) -> int:
    """How many entries of the archive go beyond the copy's; 0 for one that cannot be read."""
    if not path.exists():
        return 0
    try:
        with closing(connect_reader(path, any_version=True)) as db:
            (count,) = db.execute("SELECT count(*) FROM ledger").fetchone()
            row = db.execute("SELECT hash FROM ledger WHERE seq = ?", (copy.head_entry,)).fetchone()
    except (ArchiveError, sqlite3.Error):
        return 0
    if row is None or bytes(row[0]).hex() != copy.head_hash:
        return int(count) if count > copy.entries else 0
    return max(0, int(count) - copy.entries)


def move_aside(path: Path, mark: str) -> Path | None:
    """Rename an archive with its side files to ``NAME.MARK``, numbered where that is taken; None where there is none.

    Raises OSError.
    """
    kept, number = path.with_name(f"{path.name}.{mark}"), 1
    while any(Path(f"{kept}{side}").exists() for side in _SIDE_FILES):
        number += 1
        kept = path.with_name(f"{path.name}.{mark}-{number}")
    moved = None
    # The log first: a file without its log is older than one with it, and never the other way round.
    for side in reversed(_SIDE_FILES):
        old = Path(f"{path}{side}")
        if old.exists():
            os.replace(old, Path(f"{kept}{side}"))
            moved = kept
    return moved

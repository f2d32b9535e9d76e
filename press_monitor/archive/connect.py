"""Opening the file: what is refused, and the settings each connection runs with."""

from __future__ import annotations

import sqlite3
import sys
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import Concatenate, ParamSpec, Protocol, TypeVar
from urllib.parse import quote

from press_monitor.archive.durable import private_file
from press_monitor.archive.schema import VERSION, file_version
from press_monitor.archive.types import ArchiveError

__all__ = ["JOURNAL_LIMIT", "connect_reader", "connect_writer", "reads", "refuse_network_share"]

BUSY_MS = 5_000
_OLDEST_SQLITE = (3, 37, 0)
_SHARES = frozenset(
    {"nfs", "nfs4", "cifs", "smb", "smb2", "smb3", "smbfs", "afs", "ncpfs", "9p", "afpfs", "webdav", "davfs"}
    | {"fuse.sshfs", "fuse.davfs2", "fuse.smbnetfs", "fuse.rclone", "glusterfs", "fuse.glusterfs", "ceph", "lustre"}
)
_DRIVE_REMOTE = 4
JOURNAL_LIMIT = 16 << 20
"""What the write-ahead log may keep of its size once it has been folded into the file, bytes."""


class _Placed(Protocol):
    path: Path


P = ParamSpec("P")
R = TypeVar("R")
S = TypeVar("S", bound=_Placed)


def reads(method: Callable[Concatenate[S, P], R]) -> Callable[Concatenate[S, P], R]:
    """For a method that reads: SQLite's errors (busy, I/O, damaged, closed) come out as `ArchiveError`.

    So does a value that no writer of ours can have left there: not every torn page is one to SQLite.
    """

    @wraps(method)
    def asked(self: S, /, *args: P.args, **kwargs: P.kwargs) -> R:
        try:
            return method(self, *args, **kwargs)
        except sqlite3.Error as e:
            raise ArchiveError(f"{self.path}: cannot be read: {e}") from e
        except (ValueError, TypeError, KeyError, AttributeError, OverflowError, RecursionError) as e:
            raise ArchiveError(f"{self.path}: is damaged; run verify: {type(e).__name__}: {e}") from e

    return asked


def _mount_kind(folder: Path, mounts: str) -> str:
    """The file system type of the deepest mount point above `folder`, from the text of a mount table."""
    found, kind = -1, ""
    for line in mounts.splitlines():
        fields = line.split()
        if len(fields) < 3:
            continue
        point = Path(fields[1].replace("\\040", " ").replace("\\011", "\t").replace("\\134", "\\"))
        if (folder == point or point in folder.parents) and len(point.parts) >= found:
            found, kind = len(point.parts), fields[2]
    return kind


def _mount_table() -> str:
    """Linux's table; empty elsewhere."""
    try:
        return Path("/proc/mounts").read_text(errors="replace")
    except OSError:
        return ""


def _is_remote_drive(folder: Path) -> bool:
    if sys.platform == "win32":
        import ctypes

        return bool(ctypes.windll.kernel32.GetDriveTypeW(folder.anchor) == _DRIVE_REMOTE)
    return _mount_kind(folder, _mount_table()) in _SHARES


def refuse_network_share(path: Path) -> None:
    """Raise `ArchiveError` for a path on a network share: SQLite's locks and syncs do not hold there."""
    given = str(path)
    unc = given.startswith(("\\\\", "//")) and not given.startswith(("\\\\?\\", "\\\\.\\"))
    if unc or given.startswith("\\\\?\\UNC") or _is_remote_drive(path.absolute().parent.resolve()):
        raise ArchiveError(f"{path}: is on a network share, which can lose or damage records; use a local disk")


def _uri(path: Path, mode: str) -> str:
    text = path.absolute().as_posix()
    return f"file:{quote(text if text.startswith('/') else '/' + text)}?{mode}"


def _connect(path: Path, mode: str, busy_ms: int) -> sqlite3.Connection:
    if sqlite3.sqlite_version_info < _OLDEST_SQLITE:
        raise ArchiveError(f"SQLite {sqlite3.sqlite_version} is too old; 3.37 or newer is needed")
    try:
        return sqlite3.connect(
            _uri(path, mode), uri=True, isolation_level=None, check_same_thread=False, timeout=busy_ms / 1000
        )
    except sqlite3.Error as e:
        raise ArchiveError(f"{path}: cannot be opened: {e}") from e


def _settings(db: sqlite3.Connection, path: Path) -> None:
    """Set what safety rests on and read it back: builds differ in their defaults."""
    (journal,) = db.execute("PRAGMA journal_mode = WAL").fetchone()
    db.execute("PRAGMA synchronous = FULL")
    db.execute("PRAGMA foreign_keys = ON")
    db.execute(f"PRAGMA journal_size_limit = {JOURNAL_LIMIT}")
    (synchronous,) = db.execute("PRAGMA synchronous").fetchone()
    (keys,) = db.execute("PRAGMA foreign_keys").fetchone()
    if (journal, synchronous, keys) != ("wal", 2, 1):
        raise ArchiveError(
            f"{path}: SQLite refuses safe settings here"
            f" (journal_mode {journal}, synchronous {synchronous}, foreign_keys {keys})"
        )


def connect_writer(path: Path, *, create: bool, busy_ms: int = BUSY_MS) -> sqlite3.Connection:
    """A connection that may write. A newer or foreign file is refused before anything is written to it.

    Raises `ArchiveError`, also for a missing file without `create`.
    """
    refuse_network_share(path)
    if path.exists() and path.stat().st_size:
        connect_reader(path, any_version=True).close()
    elif not create:
        raise ArchiveError(f"{path}: there is no archive")
    if create:
        try:
            private_file(path)
        except OSError as e:
            raise ArchiveError(f"{path}: cannot be opened: {e.strerror or e}") from e
    db = _connect(path, "mode=rwc" if create else "mode=rw", busy_ms)
    try:
        _settings(db, path)
    except sqlite3.Error as e:
        db.close()
        raise ArchiveError(f"{path}: {e}") from e
    except ArchiveError:
        db.close()
        raise
    return db


def connect_reader(path: Path, *, any_version: bool = False, busy_ms: int = BUSY_MS) -> sqlite3.Connection:
    """A connection that cannot write. On a medium that cannot hold SQLite's side files the file is read as it lies.

    Raises `ArchiveError` for a missing, newer, older (unless `any_version`) or foreign file.
    """
    if not path.is_file():
        raise ArchiveError(f"{path}: there is no archive")
    db = _connect(path, "mode=ro", busy_ms)
    try:
        try:
            db.execute("SELECT 1 FROM sqlite_master").fetchone()
        except sqlite3.OperationalError:
            if Path(f"{path}-wal").exists():
                raise
            db.close()
            db = _connect(path, "mode=ro&immutable=1", busy_ms)
        version = file_version(db)
        if not version and not any_version:
            raise ArchiveError("is not set up yet")
        if version < VERSION and not any_version:
            raise ArchiveError(f"is of an earlier format ({version}); start the recorder once to bring it up to date")
        db.execute("PRAGMA query_only = ON")
    except (sqlite3.Error, ArchiveError) as e:
        db.close()
        raise ArchiveError(f"{path}: {e}") from e
    return db

"""SQLite's file layer with a hook in it: every write, sync, truncation, deletion and lock passes by.

SQLite reaches files through a table of functions that may be replaced at run time. Here each of them that changes
something first asks a Python function, which may let it pass, have it fail as the system would (I/O error, disk full,
half written, locked), or end this process on the spot. It works wherever Python's SQLite is a library of its own;
`available` says whether this one is.
"""

from __future__ import annotations

import ctypes
import ctypes.util
import sys
from collections.abc import Callable
from ctypes import CFUNCTYPE, POINTER, Structure, c_char_p, c_int, c_int64, c_void_p
from dataclasses import dataclass
from pathlib import Path

BUSY, IOERR, FULL = 5, 10, 13
IOERR_WRITE, IOERR_FSYNC, IOERR_TRUNCATE, IOERR_DELETE = (IOERR | n << 8 for n in (3, 4, 6, 10))
_CANTOPEN = 14
_EXCLUSIVE_WRITE = 2 | 8
"""xShmLock flags: take a lock, exclusively. At offset 0 that is the writer's; for the others SQLite waits by itself."""


@dataclass(frozen=True, slots=True)
class Half:
    """Have a write go half way and then fail with a code."""

    code: int = FULL


Verdict = int | Half | None
Hook = Callable[[str, str], Verdict]
"""Asked what may happen (``open``, ``write``, ``sync``, ``truncate``, ``delete``, ``lock``) and on what."""

_WRITE = CFUNCTYPE(c_int, c_void_p, c_void_p, c_int, c_int64)
_TRUNCATE = CFUNCTYPE(c_int, c_void_p, c_int64)
_ONE_INT = CFUNCTYPE(c_int, c_void_p, c_int)
_CLOSE = CFUNCTYPE(c_int, c_void_p)
_SHM_LOCK = CFUNCTYPE(c_int, c_void_p, c_int, c_int, c_int)
_OPEN = CFUNCTYPE(c_int, c_void_p, c_void_p, c_void_p, c_int, POINTER(c_int))
_DELETE = CFUNCTYPE(c_int, c_void_p, c_char_p, c_int)


class _Methods(Structure):
    """sqlite3_io_methods, version 3 (sqlite.org/c3ref/io_methods.html)."""

    _fields_ = (
        ("iVersion", c_int),
        ("xClose", c_void_p),
        ("xRead", c_void_p),
        ("xWrite", c_void_p),
        ("xTruncate", c_void_p),
        ("xSync", c_void_p),
        ("xFileSize", c_void_p),
        ("xLock", c_void_p),
        ("xUnlock", c_void_p),
        ("xCheckReservedLock", c_void_p),
        ("xFileControl", c_void_p),
        ("xSectorSize", c_void_p),
        ("xDeviceCharacteristics", c_void_p),
        ("xShmMap", c_void_p),
        ("xShmLock", c_void_p),
        ("xShmBarrier", c_void_p),
        ("xShmUnmap", c_void_p),
        ("xFetch", c_void_p),
        ("xUnfetch", c_void_p),
    )


class _Layer(Structure):
    """sqlite3_vfs, as far as it is touched here (sqlite.org/c3ref/vfs.html)."""

    _fields_ = (
        ("iVersion", c_int),
        ("szOsFile", c_int),
        ("mxPathname", c_int),
        ("pNext", c_void_p),
        ("zName", c_char_p),
        ("pAppData", c_void_p),
        ("xOpen", c_void_p),
        ("xDelete", c_void_p),
    )


def _library() -> ctypes.CDLL | None:
    """The very library this process's sqlite3 module uses."""
    import _sqlite3  # noqa: F401 - loaded first, so that the same copy is found

    try:
        if sys.platform == "linux":
            lines = Path("/proc/self/maps").read_text().splitlines()
            paths = {line.split(maxsplit=5)[5] for line in lines if "libsqlite3" in line}
            return ctypes.CDLL(paths.pop()) if len(paths) == 1 else None
        found = ctypes.util.find_library("sqlite3")
        return ctypes.CDLL(found) if found and sys.platform != "win32" else None
    except OSError:
        return None


class FileLayer:
    """The hook, installed from `with` to its end for every connection made meanwhile."""

    def __init__(self, hook: Hook) -> None:
        library = _library()
        if library is None:
            raise RuntimeError("this Python's SQLite cannot be reached")
        library.sqlite3_vfs_find.restype = POINTER(_Layer)
        library.sqlite3_vfs_find.argtypes = (c_char_p,)
        self._layer = library.sqlite3_vfs_find(None).contents
        self._address = ctypes.addressof(self._layer)
        self.hook: Hook | None = hook
        self._names: dict[int, str] = {}
        self._tables: dict[int, tuple[_Methods, object]] = {}
        self._first = (self._layer.xOpen, self._layer.xDelete)
        self._true_open, self._true_delete = _OPEN(self._first[0]), _DELETE(self._first[1])
        self._open, self._delete = _OPEN(self._opened), _DELETE(self._deleted)

    def __enter__(self) -> FileLayer:
        self._layer.xOpen = ctypes.cast(self._open, c_void_p).value
        self._layer.xDelete = ctypes.cast(self._delete, c_void_p).value
        _ALIVE.append(self)  # connections that outlive the block still call into these tables
        return self

    def __exit__(self, *_: object) -> None:
        self._layer.xOpen, self._layer.xDelete = self._first
        self.hook = None

    def _ask(self, what: str, name: str) -> Verdict:
        return None if self.hook is None else self.hook(what, name)

    def _opened(self, layer: int, name: int | None, file: int, flags: int, out: POINTER(c_int)) -> int:  # type: ignore[valid-type]
        path = Path(ctypes.string_at(name).decode()).name if name else "temporary"
        if self._ask("open", path) is not None:
            return _CANTOPEN
        code = self._true_open(layer, name, file, flags, out)
        methods = ctypes.cast(file, POINTER(c_void_p))
        if code == 0 and methods[0]:
            self._names[file] = path
            methods[0] = ctypes.addressof(self._table(methods[0])[0])
        return int(code)

    def _deleted(self, layer: int, name: bytes, sync: int) -> int:
        answer = self._ask("delete", Path(name.decode()).name)
        return answer if isinstance(answer, int) else int(self._true_delete(layer, name, sync))

    def _table(self, true: int) -> tuple[_Methods, object]:
        """A copy of a table of functions with ours in it."""
        if true in self._tables:
            return self._tables[true]
        methods = _Methods.from_buffer_copy(ctypes.string_at(true, ctypes.sizeof(_Methods)))
        write, truncate = _WRITE(methods.xWrite), _TRUNCATE(methods.xTruncate)
        sync, lock, close = _ONE_INT(methods.xSync), _ONE_INT(methods.xLock), _CLOSE(methods.xClose)

        def on_write(file: int, data: int, size: int, at: int) -> int:
            answer = self._ask("write", self._names[file])
            if isinstance(answer, Half):
                write(file, data, size // 2, at)
                return answer.code
            return answer if answer is not None else write(file, data, size, at)

        def on_truncate(file: int, size: int) -> int:
            answer = self._ask("truncate", self._names[file])
            return answer if isinstance(answer, int) else truncate(file, size)

        def on_sync(file: int, flags: int) -> int:
            answer = self._ask("sync", self._names[file])
            return answer if isinstance(answer, int) else sync(file, flags)

        def on_lock(file: int, level: int) -> int:
            answer = self._ask("lock", self._names[file]) if level > 1 else None
            return answer if isinstance(answer, int) else lock(file, level)

        def on_close(file: int) -> int:
            self._names.pop(file, None)
            return close(file)

        ours: list[tuple[str, object]] = [
            ("xWrite", _WRITE(on_write)),
            ("xTruncate", _TRUNCATE(on_truncate)),
            ("xSync", _ONE_INT(on_sync)),
            ("xLock", _ONE_INT(on_lock)),
            ("xClose", _CLOSE(on_close)),
        ]
        if methods.iVersion >= 2 and methods.xShmLock:
            shm_lock = _SHM_LOCK(methods.xShmLock)

            def on_shm_lock(file: int, offset: int, count: int, flags: int) -> int:
                writer = offset == 0 and flags == _EXCLUSIVE_WRITE
                answer = self._ask("lock", self._names[file]) if writer else None
                return answer if isinstance(answer, int) else shm_lock(file, offset, count, flags)

            ours.append(("xShmLock", _SHM_LOCK(on_shm_lock)))
        for field, function in ours:
            setattr(methods, field, ctypes.cast(function, c_void_p).value)  # type: ignore[arg-type]
        self._tables[true] = (methods, (ours, write, truncate, sync, lock, close))
        return self._tables[true]


_ALIVE: list[FileLayer] = []


def available() -> bool:
    """Whether this Python's SQLite can be reached."""
    return _library() is not None

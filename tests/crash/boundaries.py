"""Named boundaries: the moments between two steps of what must be whole, at which a process may be made to die.

A boundary is reached each time its function is about to be called (`before`) or has just returned (`after`), or its
file operation is about to be done. `arm` counts these, and at the n-th has the process kill itself with SIGKILL.
Nothing of this is in the program: it is wrapped around it here.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from tests.crash.filelayer import FileLayer, Verdict

Strike = Callable[[], None]


@dataclass(frozen=True, slots=True)
class Function:
    """A function of the program: module, or ``module:Class``, and its name there."""

    module: str
    name: str

    def wrap(self, around: Callable[[Callable[..., Any]], Callable[..., Any]]) -> None:
        from importlib import import_module

        module, _, holder = self.module.partition(":")
        owner: Any = import_module(module)
        if holder:
            owner = getattr(owner, holder)
        setattr(owner, self.name, around(getattr(owner, self.name)))


_LIVE = "press_monitor.archive.live"
_SEALING = "press_monitor.archive.sealing"
_KEYS = "press_monitor.archive.keys"

FUNCTIONS: dict[str, Function] = {
    "begin": Function(_LIVE, "begin"),
    "row write": Function(_LIVE, "add_rows"),
    "event write": Function(_LIVE, "add_events"),
    "save write": Function(_LIVE, "put_save"),
    "state write": Function(_LIVE, "put_state"),
    "steady state write": Function(_LIVE, "put_steady"),
    "heartbeat": Function(_LIVE, "beat"),
    "command answer": Function("press_monitor.archive.writer", "write_answer"),
    "commit": Function("press_monitor.archive.writer:Archive", "transaction"),
    "checkpoint": Function("press_monitor.archive.writer:Archive", "checkpoint"),
    "folding": Function("press_monitor.archive.writer:Archive", "fold"),
    "packing": Function(_SEALING, "pack"),
    "unpacking again": Function(_SEALING, "unpack"),
    "sealing": Function(_SEALING, "seal"),
    "ledger append": Function(_SEALING, "append_entry"),
    "indexing": Function("press_monitor.archive.indexing", "refresh"),
    "ledger begun": Function(_SEALING, "begin_ledger"),
    "migration": Function("press_monitor.archive.writer", "migrate"),
    "migration statements": Function("press_monitor.archive.schema", "_script"),
    "derived tables made anew": Function("press_monitor.archive.indexing", "rebuild"),
    "key creation": Function(_SEALING, "create_key"),
    "key file": Function(_KEYS, "_write_private"),
    "key named": Function(_KEYS, "_place"),
    "key folder synced": Function(_KEYS, "sync_folder"),
    "ballast": Function("press_monitor.archive.ballast:Ballast", "_make"),
    "backup": Function("press_monitor.archive.backup", "backup"),
    "backup synced": Function("press_monitor.archive.backup", "_sync"),
    "backup verified": Function("press_monitor.archive.backup", "_problems"),
}
"""Each counts twice: before and after. For ``commit`` these are the transaction's beginning and its durable end."""

FILES: dict[str, tuple[str, str]] = {
    "log write": ("write", "-wal"),
    "log sync": ("sync", "-wal"),
    "log truncation": ("truncate", "-wal"),
    "file write": ("write", ".sqlite"),
    "file sync": ("sync", ".sqlite"),
    "file truncation": ("truncate", ".sqlite"),
    "backup write": ("write", ".part"),
    "backup journal": ("write", ".part-journal"),
    "backup file sync": ("sync", ".part"),
}
"""File operations of SQLite's, by the end of the file's name: those of each commit, each checkpoint, each copy."""

RUNNING = (
    *("begin", "row write", "event write", "save write", "state write", "steady state write", "heartbeat"),
    *(
        "command answer",
        "commit",
        "checkpoint",
        "folding",
        "packing",
        "unpacking again",
        "sealing",
        "ledger append",
        "indexing",
    ),
    *("log write", "log sync", "log truncation", "file write", "file sync", "file truncation"),
)
"""Those a recorder reaches as it records."""

OPENING = (
    *("migration", "migration statements", "ledger begun", "key creation", "key file", "key named"),
    *("key folder synced", "ballast", "derived tables made anew", "log write", "log sync", "file write", "file sync"),
)
"""Those a recorder reaches as it takes an archive that is new, or of an earlier format."""

COPYING = ("backup", "backup write", "backup journal", "backup file sync", "backup synced", "backup verified")
"""Those a copy reaches."""


def die() -> None:
    """End this process as a power button or the system does: nothing is cleaned up."""
    os.kill(os.getpid(), signal.SIGKILL)


class Counted:
    """Counts how often a boundary is reached; at the n-th, from 1, strikes. 0: only counts."""

    def __init__(self, at: int, strike: Strike = die) -> None:
        self.at = at
        self.reached = 0
        self._strike = strike

    def __call__(self) -> None:
        self.reached += 1
        if self.reached == self.at:
            self._strike()


def arm(name: str, at: int) -> Counted:
    """Have this process die when the boundary `name` is reached for the `at`-th time."""
    counted = Counted(at)
    if name in FILES:
        what, end = FILES[name]

        def hook(did: str, file: str) -> Verdict:
            if did == what and file.endswith(end):
                counted()
            return None

        FileLayer(hook).__enter__()
        return counted

    def around(function: Callable[..., Any]) -> Callable[..., Any]:
        def call(*args: Any, **kwargs: Any) -> Any:
            counted()
            result = function(*args, **kwargs)
            counted()
            return result

        if name == "commit":
            from contextlib import contextmanager

            @contextmanager
            def transaction(*args: Any) -> Any:
                counted()
                with function(*args):
                    yield
                counted()

            return transaction
        return call

    FUNCTIONS[name].wrap(around)
    return counted

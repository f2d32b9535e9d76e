"""Copies of the archive on a schedule, each made and verified by a process of its own at low priority.

Walking a large ledger takes seconds of computing, which the recorder's loop and its watches must not wait for.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Protocol

from press_monitor.archive.backup import backup_due
from press_monitor.archive.types import Json
from press_monitor.upkeep import Upkeep

__all__ = ["Backups", "backup_command"]

_LOOK_EVERY_S = 60.0
_FIRST_AFTER_S = 600.0
"""A recorder that has just begun has other things to do, and one that is started over and over makes no heap."""

_AGAIN_AFTER_S = 3600.0
_TAIL = 300


class Child(Protocol):
    """A copy being made."""

    def poll(self) -> int | None:
        """Its exit code, None while it works."""

    def communicate(self) -> tuple[bytes, bytes]:
        """What it said on stdout and stderr."""


def backup_command(archive: Path, folder: Path, keep: int) -> list[str]:
    """The command line that makes and verifies one copy and thins the old ones out, by this very Python."""
    words = ("archive", "backup", "--archive", str(archive), "--into", str(folder), "--keep", str(keep))
    return [sys.executable, "-m", "press_monitor", *words, "--gently", "--json"]


def _spawn(command: Sequence[str]) -> Child:
    if sys.platform == "win32":
        flags = subprocess.BELOW_NORMAL_PRIORITY_CLASS | subprocess.CREATE_NO_WINDOW
        return subprocess.Popen(
            command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            creationflags=flags,
        )
    return subprocess.Popen(
        command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, start_new_session=True
    )


class Backups:
    """Sees that a copy is made when one is due. Asked from the recorder's loop, and never waits.

    Args:
        archive: to be copied.
        folder: where copies go, unless the shop file says otherwise.
        upkeep: how often, how many.
        record: keeps an event of the whole shop: kind, and what is told.
        say: takes one line for the log.
        spawn: starts the process that makes a copy.
    """

    def __init__(
        self,
        archive: Path,
        folder: Path,
        upkeep: Upkeep,
        record: Callable[[str, Json], None],
        say: Callable[[str], None],
        spawn: Callable[[Sequence[str]], Child] = _spawn,
    ) -> None:
        self._archive = archive
        self._folder = folder if upkeep.backup_folder is None else upkeep.backup_folder
        self._upkeep = upkeep
        self._record = record
        self._say = say
        self._spawn = spawn
        self._child: Child | None = None
        self._next: float | None = None
        self.why = ""
        """What went wrong with the last one; empty where nothing did."""

    def look(self, real: float, wall: float) -> None:
        """See what the running copy does, or whether one is due. `real`: seconds that never step; `wall`: UTC."""
        if self._upkeep.backup_every is None:
            return
        if self._next is None:
            self._next = real + _FIRST_AFTER_S
        if self._child is not None:
            if self._child.poll() is not None:
                self._finish(self._child, real)
            return
        if real < self._next:
            return
        self._next = real + _LOOK_EVERY_S
        if backup_due(self._folder, self._upkeep.backup_every, wall):
            try:
                self._child = self._spawn(backup_command(self._archive, self._folder, self._upkeep.backup_keep))
            except OSError as error:
                self._failed(f"no copy of the archive can be made: {error}", real)

    def _finish(self, child: Child, real: float) -> None:
        out, err = child.communicate()
        self._child = None
        try:
            report = json.loads(out)
            ok, where = report["ok"] is True, str(report["backup"])
            trouble = "; ".join(map(str, report["problems"]))
        except (ValueError, KeyError, TypeError):
            ok, where, trouble = False, "", err.decode("utf-8", "replace").strip()[-_TAIL:] or "it said nothing"
        if ok:
            self.why = ""
            self._say(f"copied the archive to {where}")
            self._record("backup", {"ok": True, "backup": where, "words": ""})
        else:
            self._failed(f"the copy of the archive failed: {trouble}", real)

    def _failed(self, why: str, real: float) -> None:
        self.why = why
        self._next = real + _AGAIN_AFTER_S
        self._say(why)
        self._record("backup", {"ok": False, "backup": None, "words": why})

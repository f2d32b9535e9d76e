"""Keeping the computer awake while a press is hot, where the system has a way to ask for it.

It holds off sleep for idleness, and on Linux and macOS sleep that a program asks for. A closed lid, the power button,
an update that restarts, and ports the system puts to sleep by themselves are beyond it.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import sys
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Protocol

__all__ = ["AwakeState", "AwakeStatus", "ChildInhibitor", "Inhibitor", "KeepAwake", "usual_inhibitor"]

_LOOK_S = 5.0
_RETRY_S = 60.0
_ENDS_WITHIN_S = 2.0
_SETTLE_S = 0.5


class AwakeState(Enum):
    """Whether the computer is kept awake, in a word."""

    OFF = "off"
    HELD = "held"
    FAILED = "failed"


@dataclass(frozen=True, slots=True)
class AwakeStatus:
    """The state and, where it failed, why."""

    state: AwakeState
    why: str = ""


class Inhibitor(Protocol):
    """One way to hold off sleep. All calls come from one thread, which Windows binds the request to."""

    def hold(self) -> None:
        """Begin. Raises OSError with words."""

    def held(self) -> bool:
        """Whether it still works."""

    def release(self) -> None:
        """End. Never raises."""


class ChildInhibitor:
    """A helper program that holds off sleep while it runs; it ends with its standard input, so with this process.

    Args:
        commands: tried one after the other until one stays.
        settle: seconds one that fails needs to say so at most.
    """

    def __init__(self, commands: Sequence[Sequence[str]], settle: float = _SETTLE_S) -> None:
        self._commands = commands
        self._settle = settle
        self._child: subprocess.Popen[bytes] | None = None

    @property
    def known(self) -> bool:
        """Whether any of the helpers is installed."""
        return any(shutil.which(command[0]) for command in self._commands)

    def hold(self) -> None:
        """Start the first command that stays. Raises OSError with the last one's words."""
        why = "no way is known on this system"
        for command in self._commands:
            if shutil.which(command[0]) is None:
                why = f"there is no {command[0]}"
                continue
            child = subprocess.Popen(
                command, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, close_fds=True
            )
            self._child = child
            with contextlib.suppress(subprocess.TimeoutExpired):
                child.wait(self._settle)
            if self.held():
                return
            said = child.stderr.read().decode(errors="replace").strip() if child.stderr else ""
            why = f"{command[0]}: {said.splitlines()[-1] if said else f'ended with {child.returncode}'}"
            self.release()
        raise OSError(why)

    def held(self) -> bool:
        """Whether the helper runs."""
        return self._child is not None and self._child.poll() is None

    def release(self) -> None:
        """End the helper."""
        child, self._child = self._child, None
        if child is None:
            return
        with contextlib.suppress(OSError):
            if child.stdin is not None:
                child.stdin.close()
        try:
            child.wait(_ENDS_WITHIN_S)
        except subprocess.TimeoutExpired:
            child.terminate()
            with contextlib.suppress(subprocess.TimeoutExpired):
                child.wait(_ENDS_WITHIN_S)
        if child.stderr is not None:
            child.stderr.close()


if sys.platform == "win32":
    import ctypes

    class WindowsInhibitor:
        """``SetThreadExecutionState``, which holds for the thread that called it."""

        _CONTINUOUS, _SYSTEM_REQUIRED = 0x8000_0000, 0x0000_0001

        def __init__(self) -> None:
            self._held = False

        def hold(self) -> None:
            """Ask for it. Raises OSError."""
            done = ctypes.windll.kernel32.SetThreadExecutionState(self._CONTINUOUS | self._SYSTEM_REQUIRED)
            if not done:
                raise OSError("SetThreadExecutionState was refused")
            self._held = True

        def held(self) -> bool:
            """Whether it was granted."""
            return self._held

        def release(self) -> None:
            """Let the thread sleep as it may."""
            self._held = False
            ctypes.windll.kernel32.SetThreadExecutionState(self._CONTINUOUS)


def usual_inhibitor() -> Inhibitor:
    """This system's way."""
    if sys.platform == "win32":
        return WindowsInhibitor()
    if sys.platform == "darwin":
        return ChildInhibitor([["caffeinate", "-i", "-s", "-w", str(os.getpid()), "cat"]])
    who = ("--who=press-monitor", "--why=a press is hot")
    # Where the user may not hold off sleep itself, idleness is what sends most computers there.
    return ChildInhibitor([["systemd-inhibit", f"--what={what}", *who, "cat"] for what in ("idle:sleep", "idle")])


class KeepAwake:
    """Holds the computer awake while it is wanted, from a thread of its own.

    Args:
        inhibitor: made in the thread.
        look, retry: seconds between looks while it holds, and before trying again.
    """

    def __init__(
        self, inhibitor: Callable[[], Inhibitor] = usual_inhibitor, *, look: float = _LOOK_S, retry: float = _RETRY_S
    ) -> None:
        self._make = inhibitor
        self._look, self._retry = look, retry
        self._changed = threading.Condition()
        self._wanted = self._stopping = False
        self._status = AwakeStatus(AwakeState.OFF)
        self._thread = threading.Thread(target=self._run, name="keep awake", daemon=True)

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()

    def want(self, wanted: bool) -> None:
        """Whether a press is hot. Never waits."""
        if wanted is not self._wanted:
            with self._changed:
                self._wanted = wanted
                self._changed.notify()

    def status(self) -> AwakeStatus:
        """How it stands."""
        with self._changed:
            return self._status

    def stop(self, deadline: float = 5.0) -> bool:
        """Let the computer sleep and end the thread."""
        with self._changed:
            self._stopping = True
            self._changed.notify()
        if self._thread.is_alive():
            self._thread.join(deadline)
        return not self._thread.is_alive()

    def _run(self) -> None:
        inhibitor = self._make()
        while True:
            with self._changed:
                if self._stopping:
                    break
                wanted = self._wanted
            wait = self._see_to(inhibitor, wanted)
            with self._changed:
                self._changed.wait_for(lambda w=wanted: self._stopping or self._wanted is not w, wait)  # type: ignore[misc]
        inhibitor.release()
        self._become(AwakeStatus(AwakeState.OFF))

    def _see_to(self, inhibitor: Inhibitor, wanted: bool) -> float | None:
        """Hold or release; the seconds until it wants looking at again."""
        if not wanted:
            inhibitor.release()
            self._become(AwakeStatus(AwakeState.OFF))
            return None
        if inhibitor.held():
            return self._look
        inhibitor.release()
        try:
            inhibitor.hold()
        except OSError as error:
            self._become(AwakeStatus(AwakeState.FAILED, f"the computer may fall asleep: {error}"))
            return self._retry
        self._become(AwakeStatus(AwakeState.HELD))
        return self._look

    def _become(self, status: AwakeStatus) -> None:
        with self._changed:
            self._status = status
            self._changed.notify_all()

"""Asking a running recorder for something from the command line, and waiting for its answer."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

from press_monitor.archive import ArchiveError, CommandAnswer, command_answer, new_command, send_command

__all__ = ["ask_recorder"]

WITHIN_S = 5.0


def ask_recorder(
    archive: Path,
    kind: str,
    operator: str = "",
    *,
    within: float = WITHIN_S,
    pause: Callable[[float], None] = time.sleep,
    monotonic: Callable[[], float] = time.monotonic,
) -> CommandAnswer:
    """Send a command that means no press and wait for what becomes of it.

    Raises `ArchiveError` where no recorder takes it up.
    """
    command = new_command(kind, time.time(), operator=operator)
    send_command(archive, command)
    deadline = monotonic() + within
    while monotonic() < deadline:
        answer = command_answer(archive, command.uuid)
        if answer is not None:
            return answer
        pause(0.05)
    raise ArchiveError("no recorder has answered: press-monitor starts one, or press-monitor recorder")

"""Running the recorder as a process, and asking a running one to stop."""

from __future__ import annotations

import gc
import os
import signal
import sys
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from press_monitor.archive import ArchiveError, ArchiveLocked, new_command, send_command
from press_monitor.archive.ballast import BALLAST_BYTES
from press_monitor.certificate.letters import tame
from press_monitor.recorder.clock import ShopClock
from press_monitor.recorder.launch import holder_of
from press_monitor.recorder.recorder import Recorder
from press_monitor.shop import load_shop

__all__ = ["log_line", "run_recorder", "serve", "stop_recorder"]

STOP_WITHIN_S = 10.0


def log_line(text: str) -> None:
    """One line with its UTC time on stderr, which a detached recorder has pointed at its log file."""
    stamp = datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
    print(f"{stamp} {tame(text)}", file=sys.stderr, flush=True)  # noqa: T201 - the process's own log


def run_recorder(
    shop_file: Path, archive: Path, key: Path, *, speed: float = 1.0, say: Callable[[str], None] = log_line
) -> int:
    """Record until told to stop; the exit code. Raises `ShopError` or `ArchiveError` where it cannot begin.

    Where somebody records already, says so in one line and returns 0.
    """

    def make() -> Recorder:
        return Recorder(
            load_shop(shop_file),
            archive,
            key,
            clock=ShopClock(speed),
            backups=archive.parent / "backups",
            ballast_bytes=BALLAST_BYTES,
            say=say,
        )

    return serve(make, say)


def serve(
    make: Callable[[], Recorder],
    say: Callable[[str], None],
    begun: Callable[[Recorder], None] = lambda _: None,
) -> int:
    """Run what `make` makes until a signal or a command stops it; the exit code.

    Signals are seen to before anything is taken, so that none can fall between.
    """
    stopped = threading.Event()
    running: list[Recorder] = []

    def on_signal(number: int, _: object) -> None:
        stopped.set()
        for recorder in running:
            recorder.stop()

    _handle_signals(on_signal)
    recorder = make()
    running.append(recorder)
    try:
        recorder.start()
    except ArchiveLocked as locked:
        say(f"{_words_of_holder(locked)} records already; nothing to do")
        return 0
    # What lives now stays: left in the search for cycles it would hold every press up for a tenth of a second.
    gc.freeze()
    say(f"recording {len(recorder.shop.presses)} presses of {recorder.shop.name}, process {os.getpid()}")
    if stopped.is_set():
        recorder.stop()
    try:
        begun(recorder)
        recorder.run()
    finally:
        written = recorder.close()
    say("stopped" if written else "stopped; the disk did not take the last readings")
    return 0 if written else 1


def _handle_signals(handler: Callable[[int, object], None]) -> None:
    if threading.current_thread() is not threading.main_thread():
        return
    for name in ("SIGTERM", "SIGINT", "SIGBREAK"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), handler)
    if hasattr(signal, "SIGHUP"):
        # A closed terminal must not end a recording.
        signal.signal(signal.SIGHUP, signal.SIG_IGN)


def _words_of_holder(locked: ArchiveLocked) -> str:
    who = locked.holder or "another program"
    pid = f" (process {locked.pid}" if locked.pid is not None else ""
    version = f", version {locked.version}" if locked.version else ""
    return f"{who}{pid}{version}{')' if pid else ''}"


def stop_recorder(
    archive: Path,
    say: Callable[[str], None],
    *,
    within: float = STOP_WITHIN_S,
    pause: Callable[[float], None] = time.sleep,
    monotonic: Callable[[], float] = time.monotonic,
) -> int:
    """Ask the recorder of an archive to stop and wait until it has let go; the exit code.

    Raises `ArchiveError` where the archive cannot be written to.
    """
    locked = holder_of(archive)
    if locked is None:
        say("no recorder is running")
        return 0
    if locked.holder not in (None, "recorder"):
        raise ArchiveError(f"{_words_of_holder(locked)} holds the archive, and that is no recorder")
    send_command(archive, new_command("stop-recorder", time.time()))
    deadline = monotonic() + within
    while monotonic() < deadline:
        if holder_of(archive) is None:
            say("the recorder has stopped; open cycles go on when it is started again")
            return 0
        pause(0.05)
    say(f"{_words_of_holder(locked)} did not stop within {within:.0f} s")
    return 1

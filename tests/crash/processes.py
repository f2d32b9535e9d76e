"""Real recorder processes for the tests, and an instrument at the far end of a pseudo-terminal pair."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import threading
import time
import tty
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from press_monitor.archive import ArchiveError, ArchiveReader, command_answer, new_command, send_command
from tests.shopfiles import SHOP_WITHOUT_PRESSES

ROOT = Path(__file__).resolve().parents[2]

SHORT = SHOP_WITHOUT_PRESSES.replace('minimum_hold = "60 min"', 'minimum_hold = "5 min"')
SHOP = f"""{SHORT}
[repairs.sidewall]
mats_overlap = true
[[repairs.sidewall.layers]]
name = "filler rubber"
thickness = "8 mm"
compound = "section-gum"
[presses.P1]
driver = "text-line"
recipe = "section-300"
port = "PORT"
options = {{ baud = 19200, labels = {{ TI = "inner_mat[degF]", TO = "outer_mat[degF]", P = "bag[psi]" }} }}
"""

START = {"recipe": "section-300", "preset": "sidewall", "ticket": {"tire": "skid-steer 12-16.5"}}


def until(condition: Callable[[], object], what: str, deadline: float = 45.0):
    """Wait for a condition and return what it gave; fail in words at the deadline."""
    tick, end = threading.Event(), time.monotonic() + deadline
    while time.monotonic() < end:
        if found := condition():
            return found
        tick.wait(0.02)
    raise AssertionError(f"waited {deadline:.0f} s in vain for: {what}")


class Folder:
    """An archive, its key, its shop file, and the recorders a test starts on them."""

    def __init__(self, path: Path, shop: str = SHOP, port: str = "/dev/null", speed: float = 1.0):
        self.shop, self.archive, self.key = path / "shop.toml", path / "archive.sqlite", path / "ledger.key"
        self.shop.write_text(shop.replace("PORT", port), encoding="utf-8")
        self.log = path / "recorder.log"
        self.speed = speed
        self.started: list[subprocess.Popen] = []

    def command(self) -> list[str]:
        places = ("--shop", str(self.shop), "--archive", str(self.archive), "--key", str(self.key))
        return [sys.executable, "-m", "press_monitor.recorder", *places, "--speed", str(self.speed)]

    def start(self) -> subprocess.Popen:
        """Start a recorder and wait for its heartbeat."""
        before = self.beats()
        with self.log.open("ab") as log:
            process = subprocess.Popen(self.command(), cwd=ROOT, stdin=subprocess.DEVNULL, stdout=log, stderr=log)
        self.started.append(process)
        until(lambda: self._alive(process) and self.beats() not in (None, before), "the first heartbeat")
        return process

    def _alive(self, process: subprocess.Popen) -> bool:
        assert process.poll() is None, self.log.read_text()
        return True

    def ask(self, question: Callable[[ArchiveReader], object]):
        """Ask a fresh reader; None where there is no archive yet."""
        try:
            with ArchiveReader(self.archive) as reader:
                return question(reader)
        except ArchiveError:
            return None

    def beats(self):
        row = self.ask(lambda reader: reader.recorder())
        return None if row is None else (row.pid, row.beats)

    def tell(self, kind: str, **more):
        """Send a command and wait for its answer."""
        command = new_command(kind, time.time(), press="P1", **more)
        send_command(self.archive, command)
        return until(lambda: command_answer(self.archive, command.uuid), f"an answer to {kind}")

    def rows(self, cycle_id: str) -> list[tuple]:
        found = self.ask(lambda reader: reader.rows(cycle_id).rows())
        return [] if found is None else [(seq, t, tuple(values)) for seq, t, values in found]

    def open_cycle(self):
        return self.ask(lambda reader: next(iter(reader.open_cycles()), None))

    def snapshot(self):
        states = self.ask(lambda reader: reader.press_states()) or {}
        return states["P1"].snapshot if "P1" in states else None

    def end(self) -> None:
        for process in self.started:
            with contextlib.suppress(ProcessLookupError):
                process.kill()
            process.wait(10.0)


class Instrument:
    """Writes lines into one end of a pseudo-terminal pair, at an even pace, from a thread of its own."""

    def __init__(self, pace: float):
        self.master, slave = os.openpty()
        tty.setraw(self.master)
        tty.setraw(slave)
        self.port = os.ttyname(slave)
        self._slave = slave
        self._pace = pace
        self._stop = threading.Event()
        self._values: Iterator[tuple[float, float, float]] = iter(())
        self.now = (70.0, 70.0, 32.0)
        self.sent: list[tuple[float, float, float]] = []
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def play(self, values: Iterable[tuple[float, float, float]]) -> None:
        """Say these next, one a beat, then go on saying the last."""
        self._values = iter(values)

    def _run(self) -> None:
        while not self._stop.wait(self._pace):
            self.now = next(self._values, self.now)
            self.sent.append(self.now)
            line = "TI={:.1f} TO={:.1f} P={:.2f}\r\n".format(*self.now)
            with contextlib.suppress(OSError):
                os.write(self.master, line.encode())

    def close(self) -> None:
        self._stop.set()
        self._thread.join(5.0)
        os.close(self.master)
        os.close(self._slave)


def curve(*parts: tuple[int, tuple[float, float, float]], start=(70.0, 70.0, 32.0)) -> Iterator[tuple[float, ...]]:
    """Straight lines from point to point: so many beats each."""
    here = start
    for beats, there in parts:
        for n in range(1, beats + 1):
            yield tuple(a + (b - a) * n / beats for a, b in zip(here, there, strict=True))
        here = there


def kill(process: subprocess.Popen) -> None:
    process.send_signal(signal.SIGKILL)
    process.wait(10.0)

"""The demo: a fresh folder with an invented shop, and a recorder that ends with whoever started it."""

from __future__ import annotations

import subprocess
import sys
import tempfile
import threading
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from drivers.base import Clock
from drivers.simulated import SimulatedDriver
from press_monitor.paths import Locations
from press_monitor.recorder.clock import ShopClock
from press_monitor.recorder.recorder import Recorder
from press_monitor.recorder.scenarios import INTERVAL_S, driver_options, opening, shop_text, turn
from press_monitor.recorder.service import log_line, serve
from press_monitor.shop import load_shop

__all__ = ["DEFAULT_SPEED", "DemoRecorder", "demo_shop", "run_demo_recorder", "start_demo_recorder"]

DEFAULT_SPEED = 40.0

_EMPTY_S = 3.0
"""Real seconds a press stands empty between two cycles."""

_COLD_S = 1.0
"""Real seconds between loading the simulated press and beginning its cycle, so that no reading is the last one's."""


def demo_shop(presses: int = 4, parent: Path | None = None) -> Locations:
    """Make the demo's folder, which is kept, with its shop file; everything of the demo lies in it."""
    folder = Path(tempfile.mkdtemp(prefix="press-monitor-demo-", dir=parent))
    places = Locations.under(folder).create()
    places.shop_file.write_text(shop_text(presses), encoding="utf-8", newline="\n")
    return places


@dataclass(slots=True)
class DemoRecorder:
    """A running demo recorder. It ends when `close` is called or when this process is gone, however it went."""

    process: subprocess.Popen[bytes]

    def close(self, deadline: float = 8.0) -> None:
        """Have it end and wait for it; after `deadline` real seconds it is left to end by itself."""
        if self.process.stdin is not None:
            self.process.stdin.close()
        try:
            self.process.wait(deadline)
        except subprocess.TimeoutExpired:
            return


def start_demo_recorder(places: Locations, speed: float = DEFAULT_SPEED) -> DemoRecorder:
    """Start the demo's recorder as a child. Returns at once; its states appear in the archive.

    The child watches a pipe whose other end only this process holds: nothing has to be told, not even on Windows.
    """
    command = [sys.executable, "-m", "press_monitor.recorder", "--demo", "--speed", str(speed)]
    command += ["--shop", str(places.shop_file), "--archive", str(places.archive), "--key", str(places.key_file)]
    with places.recorder_log.open("ab") as log:
        # A group of its own: Ctrl-C in the dashboard's terminal is the dashboard's.
        if sys.platform == "win32":
            flags = subprocess.CREATE_NEW_PROCESS_GROUP
            process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=log, stderr=log, creationflags=flags)
        else:
            process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=log, stderr=log, start_new_session=True)
    return DemoRecorder(process)


def run_demo_recorder(shop_file: Path, archive: Path, key: Path, speed: float, pipe: BinaryIO | None = None) -> int:
    """The demo's recorder process: records until `pipe` (standard input) is closed."""
    director = Director()

    def make() -> Recorder:
        recorder = Recorder(
            load_shop(shop_file),
            archive,
            key,
            clock=ShopClock(speed),
            interval=INTERVAL_S,
            make=director.make,
            each_pass=director.look,
            say=log_line,
        )
        director.open(recorder)
        return recorder

    def begun(recorder: Recorder) -> None:
        end = pipe if pipe is not None else sys.stdin.buffer
        threading.Thread(target=_stop_at_end, args=(end, recorder), name="pipe", daemon=True).start()

    return serve(make, log_line, begun)


def _stop_at_end(pipe: BinaryIO, recorder: Recorder) -> None:
    while pipe.read(1):
        pass
    recorder.stop()


@dataclass(slots=True)
class _Stage:
    """One press of the demo: its driver, how many cycles it has shown, and when what comes next is due (real s)."""

    driver: SimulatedDriver
    count: int = 0
    load_at: float | None = None
    begin_at: float | None = None


class Director:
    """Puts the next cycle on each press when the one before is sealed."""

    def __init__(self) -> None:
        self._stages: list[_Stage] = []

    def make(self, name: str, options: Mapping[str, object], clock: Clock) -> SimulatedDriver:
        """Make a press's driver, and keep hold of it. The shop file of the demo names no other kind."""
        driver = SimulatedDriver(options, clock)
        self._stages.append(_Stage(driver))
        return driver

    def open(self, recorder: Recorder) -> None:
        """Have every press begin with its opening cycle, as far back as its instrument remembers."""
        for index, station in enumerate(recorder.stations.values()):
            station.await_first(opening(index).start())

    def look(self, recorder: Recorder) -> None:
        """Called at every pass of the recorder's loop."""
        now = recorder.clock.real()
        for index, (station, stage) in enumerate(zip(recorder.stations.values(), self._stages, strict=True)):
            if stage.begin_at is not None:
                if now >= stage.begin_at:
                    stage.begin_at = None
                    station.await_first(turn(index, stage.count).start())
            elif station.cycle is None and not station.awaiting:
                stage.load_at = now + _EMPTY_S if stage.load_at is None else stage.load_at
                if now >= stage.load_at:
                    stage.load_at, stage.begin_at = None, now + _COLD_S
                    stage.count += 1
                    stage.driver.reload(**driver_options(turn(index, stage.count), index, stage.count))

"""The recorder under test: the real one, in a process of its own, on the campaign's shop.

It differs from ``python -m press_monitor.recorder`` in four things, all put around it here: its instruments are the
campaign's, its clocks run as fast as told, its log is folded more often, and every commit that has come back is noted
in a file of acknowledgements, by one write for each. What stands there was promised, and must be found after any death.
"""

from __future__ import annotations

import json
import os
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing import get_context
from multiprocessing.context import ForkServerContext, ForkServerProcess
from pathlib import Path
from typing import Any

from press_monitor.archive import Archive, CycleStart, Json, LiveRow
from press_monitor.archive.backup import backup as backup_archive
from press_monitor.recorder import recorder as recorder_module
from press_monitor.recorder import writer as writer_module
from press_monitor.recorder.recorder import Recorder
from press_monitor.recorder.service import serve
from press_monitor.shop import load_shop
from tests.crash import boundaries
from tests.crash.world import LOADED_S, STEP_S, STORIES, Hands, WorldDriver, frames, start_args, story_of, tire_at

PRELOAD = ("tests.crash.launcher", "press_monitor.watch.cure_watch", "press_monitor.archive.verify", "sqlite_utils")


@dataclass(frozen=True, slots=True)
class Boundary:
    """Where the process is to kill itself: a name of `boundaries`, and at which time it is reached."""

    name: str
    at: int


@dataclass(frozen=True, slots=True)
class Place:
    """The files of one archive under test."""

    folder: Path

    @property
    def shop(self) -> Path:
        return self.folder / "shop.toml"

    @property
    def archive(self) -> Path:
        return self.folder / "data" / "archive.sqlite"

    @property
    def key(self) -> Path:
        return self.folder / "settings" / "ledger.key"

    @property
    def acks(self) -> Path:
        return self.folder / "acknowledged"

    @property
    def log(self) -> Path:
        return self.folder / "recorder.log"

    @property
    def copies(self) -> Path:
        return self.folder / "backups"


class NotingArchive(Archive):
    """An archive that notes what was committed, after it was."""

    note: int = -1

    def _tell(self, what: str, *told: Json) -> None:
        self.__dict__.setdefault("_told", []).append([what, *told])

    @contextmanager
    def transaction(self) -> Iterator[None]:
        told: list[Json] = self.__dict__.setdefault("_told", [])
        outer, before = self._depth == 0, len(told)
        try:
            with super().transaction():
                yield
        except BaseException:
            del told[before:]
            raise
        if outer:
            if told and self.note >= 0:
                os.write(self.note, json.dumps(told, separators=(",", ":")).encode() + b"\n")
            told.clear()

    def begin_cycle(self, start: CycleStart) -> None:
        with self.transaction():
            super().begin_cycle(start)
            self._tell("begun", start.cycle_id, start.press)

    def add_rows(self, cycle_id: str, rows: Sequence[LiveRow]) -> None:
        with self.transaction():
            super().add_rows(cycle_id, rows)
            self._tell("rows", cycle_id, [[seq, t, list(values)] for seq, t, values in rows])

    def add_events(self, cycle_id: str | None, events: Sequence[tuple[float, float, str, Json]]) -> None:
        with self.transaction():
            super().add_events(cycle_id, events)
            self._tell("events", cycle_id, len(events))

    def answer(
        self, command_uuid: str, answer: str, text: str = "", utc: float | None = None, *, keep_args: bool = True
    ) -> bool:
        with self.transaction():
            given = super().answer(command_uuid, answer, text, utc, keep_args=keep_args)
            if given:
                self._tell("answered", command_uuid, answer)
            return given

    def seal(self, cycle_id: str, body: Mapping[str, Json]) -> int:
        with self.transaction():
            number = super().seal(cycle_id, body)
            self._tell("sealed", cycle_id, number)
            return number

    def append(self, kind: str, body: Mapping[str, Json], certificate: int | None = None) -> int:
        with self.transaction():
            seq = super().append(kind, body, certificate)
            self._tell("entry", seq, kind)
            return seq


def record(
    place: Place,
    hands: Hands,
    boundary: Boundary | None = None,
    *,
    ballast_bytes: int = 0,
    unsafe: str = "",
    reached: Path | None = None,
    tickets: bool = False,
) -> None:
    """The body of the process: record until killed.

    `unsafe`: another setting of SQLite's ``synchronous``, to see that the checks bite. `tickets`: the process itself
    starts each tire's cycle, where no other process may write the archive.
    """
    log = os.open(place.log, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    os.dup2(log, 1)
    os.dup2(log, 2)
    NotingArchive.note = os.open(place.acks, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    recorder_module.Archive = NotingArchive  # type: ignore[misc]
    # A beat costs shop time as everything else does that waits for real time.
    recorder_module._BEAT_S /= hands.speed  # type: ignore[misc]
    # In its short life the log is to be folded many times.
    writer_module._FOLD_EVERY = 40
    if unsafe:
        with_synchronous(unsafe)
    counted = boundaries.arm(boundary.name, boundary.at) if boundary is not None else None
    presses: list[WorldDriver] = []

    def make_driver(name: str, options: Mapping[str, object], clock: Any) -> WorldDriver:
        presses.append(WorldDriver(len(presses), clock, hands.zero))
        return presses[-1]

    def say(line: str) -> None:
        print(f"{hands.shop_s():.1f} {line}", file=sys.stderr, flush=True)

    def load(recorder: Recorder) -> None:
        for press, station in enumerate(recorder.stations.values()):
            tire, since = tire_at(press, hands.shop_s())
            if station.cycle is None and not station.awaiting and LOADED_S <= since < LOADED_S + 200:
                station.await_first(start_args(tire, story_of(press, tire)))

    def make() -> Recorder:
        return Recorder(
            load_shop(place.shop),
            place.archive,
            place.key,
            clock=hands.clock(),
            interval=STEP_S,
            make=make_driver,
            ballast_bytes=ballast_bytes,
            each_pass=load if tickets else lambda _: None,
            say=say,
        )

    code = serve(make, say)
    if reached is not None and counted is not None:
        reached.write_text(str(counted.reached), encoding="ascii")
    sys.exit(code)


def with_synchronous(setting: str) -> None:
    """Have SQLite sync less, and the archive not notice: what a build or a setting gone wrong would do."""
    from press_monitor.archive import connect, writer

    true = connect.connect_writer

    def unsafe(path: Path, *, create: bool, busy_ms: int = connect.BUSY_MS) -> Any:
        db = true(path, create=create, busy_ms=busy_ms)
        db.execute(f"PRAGMA synchronous = {setting}")
        return db

    writer.connect_writer = unsafe  # type: ignore[assignment]


def copy(place: Place, to: Path, boundary: Boundary | None = None) -> None:
    """The body of a process that makes one copy of the archive."""
    if boundary is not None:
        boundaries.arm(boundary.name, boundary.at)
    report = sys.modules["press_monitor.archive.backup"].backup(place.archive, to)
    sys.exit(0 if report.ok else 3)


def processes() -> ForkServerContext:
    """Makes processes that have the program loaded already: a thousand starts would take most of the time."""
    context = get_context("forkserver")
    context.set_forkserver_preload(list(PRELOAD))
    return context


def start(target: Any, *args: Any, **kwargs: Any) -> ForkServerProcess:
    """Start one."""
    process = processes().Process(target=target, args=args, kwargs=kwargs, daemon=True)
    process.start()
    return process


def wait_for_death(process: ForkServerProcess, deadline: float) -> int | None:
    """Its exit code; None where it lives on after `deadline` real seconds."""
    process.join(deadline)
    return process.exitcode


def uptime() -> float:
    """Real seconds, for deadlines."""
    return time.monotonic()


def _warm() -> None:
    """Work out what every process needs, once, before they are made."""
    for story in range(len(STORIES)):
        frames(story)
    assert backup_archive is not None, "loaded with the rest"


_warm()

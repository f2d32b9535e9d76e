"""Every step of every operation made to fail in turn: I/O error, disk full, half a write, a lock not to be had.

An operation runs again and again on the same archive, the first time failing at its first step on a file, then at its
second, until it comes through untouched. Each time it must end in a plain `ArchiveError` or come through; the archive
must say what it said before or what it says when all goes well, and nothing between; it must be sound and verify; and
the next try, with the disk well again, must give what it always gives.
"""

from __future__ import annotations

import errno
import io
import os
import shutil
import sqlite3
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any
from unittest.mock import patch

from press_monitor.archive import Archive, ArchiveError, new_command, send_command
from press_monitor.archive import connect as connect_module
from press_monitor.archive import writer as writer_module
from press_monitor.archive.backup import backup
from press_monitor.archive.ballast import Ballast
from press_monitor.archive.types import JsonText
from press_monitor.archive.verify import verify
from press_monitor.recorder.writer import Job, Writer
from tests.archive.fixtures.make import FOLDER, write_key
from tests.archive.helpers import GRAIN, NOON, START, body, rows, seal_one
from tests.crash.filelayer import BUSY, FULL, IOERR_FSYNC, IOERR_WRITE, FileLayer, Half, Verdict

_BALLAST = 1 << 20
_OPEN = replace(START, cycle_id="1" * 32, press="P2")
_NEW = replace(START, cycle_id="2" * 32, press="P3")
_COMMAND = replace(new_command("note", NOON, press="P2"), uuid="3" * 32)


@dataclass(frozen=True, slots=True)
class Failure:
    """A way to fail: the code of SQLite's, that of the system's, which steps, and whether it goes on failing."""

    name: str
    code: int
    number: int
    steps: tuple[str, ...]
    lasting: bool = False
    half: bool = False


_CHANGES = ("write", "sync", "truncate", "delete", "open", "make", "name", "room")
FAILURES = (
    Failure("I/O error", IOERR_WRITE, errno.EIO, _CHANGES),
    Failure("I/O errors from then on", IOERR_FSYNC, errno.EIO, _CHANGES, lasting=True),
    Failure("disk full", FULL, errno.ENOSPC, ("write", "truncate", "make", "room"), lasting=True),
    Failure("half a write", FULL, errno.ENOSPC, ("write",), half=True),
    Failure("locked", BUSY, errno.EAGAIN, ("lock",), lasting=True),
)


class Trigger:
    """Fails the n-th step of a failure's kind, and those after it where the failure lasts."""

    def __init__(self, failure: Failure, at: int) -> None:
        self.failure = failure
        self.at = at
        self.steps = 0
        self.well = False

    def struck(self, what: str) -> bool:
        if self.well or what not in self.failure.steps:
            return False
        self.steps += 1
        return self.steps >= self.at if self.failure.lasting else self.steps == self.at

    @property
    def failed(self) -> bool:
        return self.steps >= self.at

    def sqlite(self, what: str, name: str) -> Verdict:
        """For SQLite's file layer."""
        del name
        if not self.struck(what):
            return None
        return Half(self.failure.code) if self.failure.half else self.failure.code

    def python(self, what: str, name: object) -> None:
        """For Python's: raises."""
        if self.struck(what):
            raise OSError(self.failure.number, os.strerror(self.failure.number), str(name))


@contextmanager
def failing(counter: Trigger) -> Iterator[None]:
    """Both file layers, with the counter's failures in them."""

    def before(what: str, true: Callable[..., Any], wanted: Callable[..., bool] = lambda *_, **__: True) -> Any:
        def call(*args: Any, **kwargs: Any) -> Any:
            if wanted(*args, **kwargs):
                counter.python(what, args[0] if args else "")
            return true(*args, **kwargs)

        return call

    true_fdopen = os.fdopen

    class HalfWriting(io.FileIO):
        """A file that a full disk takes half of."""

        def write(self, data: Any) -> int:
            if counter.struck("write"):
                super().write(bytes(data)[: len(data) // 2])
                raise OSError(counter.failure.number, os.strerror(counter.failure.number))
            return super().write(data) or 0

    def fdopen(handle: int, mode: str = "r", *args: Any, **kwargs: Any) -> Any:
        return (
            HalfWriting(handle, mode.replace("b", "")) if mode == "wb" else true_fdopen(handle, mode, *args, **kwargs)
        )

    def writes(_: object, mode: str = "r", *__: object, **___: object) -> bool:
        return any(letter in mode for letter in "wa+x")

    def makes(_: object, flags: int, *__: object, **___: object) -> bool:
        return bool(flags & (os.O_CREAT | os.O_WRONLY | os.O_RDWR))

    with ExitStack() as stack:
        for name, function in (
            ("os.open", before("make", os.open, makes)),
            ("io.open", before("make", io.open, writes)),
            ("os.fsync", before("sync", os.fsync)),
            ("os.replace", before("name", os.replace)),
            ("os.link", before("name", os.link)),
            ("os.mkdir", before("make", os.mkdir)),
            ("os.posix_fallocate", before("room", os.posix_fallocate)),
            ("os.fdopen", fdopen),
        ):
            stack.enter_context(patch(name, function))
        stack.enter_context(FileLayer(counter.sqlite))
        # Nobody waits five seconds for a lock here.
        stack.enter_context(patch.object(writer_module, "BUSY_MS", 20))
        for connect in (connect_module.connect_writer, connect_module.connect_reader):
            stack.enter_context(patch.dict(connect.__kwdefaults__, busy_ms=20))
        yield


@dataclass(frozen=True, slots=True)
class Site:
    """The files an operation works on."""

    folder: Path

    @property
    def archive(self) -> Path:
        return self.folder / "data" / "archive.sqlite"

    @property
    def key(self) -> Path:
        return self.folder / "settings" / "ledger.key"

    def open(self, ballast_bytes: int = 0) -> Archive:
        return Archive.open(self.archive, key_path=self.key, clock=lambda: NOON, ballast_bytes=ballast_bytes)

    def said(self) -> dict[str, Any] | None:
        """All that the archive says, table by table; None where there is none yet."""
        if not self.archive.exists():
            return None
        with closing(sqlite3.connect(self.archive)) as db:
            names = [n for (n,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")]
            kept = [
                n for n in names if not n.startswith(("sqlite_", "_sqlite", "certificate_text_", "certificate_part_"))
            ]
            return {n: db.execute(f'SELECT * FROM "{n}" ORDER BY 1').fetchall() for n in kept}


Step = Callable[[Site, Archive], object]


def _grouped(_: Site, archive: Archive) -> None:
    """A commit of the recorder's: several presses' jobs, one of them the heartbeat."""
    writer = Writer(lambda: archive)
    writer.put(
        Job(lambda a: a.add_rows(_OPEN.cycle_id, rows(40, 60)), rows=40),
        Job(lambda a: a.add_events(_OPEN.cycle_id, [(99.0, NOON, "alarm", {"words": "x"})])),
        Job(lambda a: a.put_save(_OPEN.cycle_id, 99, 99.0, {"all": GRAIN[:6000]})),
        Job(lambda a: a.begin_cycle(_NEW)),
        Job(lambda a: a.beat(NOON), key="beat"),
    )
    if not writer.commit(archive):
        status = writer.status()
        assert status.failing_since is not None
        assert (status.waiting_jobs, status.dropped_rows, status.refused_jobs) == (5, 0, 0), "what waits was dropped"
        raise ArchiveError(status.why)


STEPS: dict[str, Step] = {
    "begin": lambda _, a: a.begin_cycle(_NEW),
    "rows": lambda _, a: a.add_rows(_OPEN.cycle_id, rows(400, 60)),
    "events": lambda _, a: a.add_events(_OPEN.cycle_id, [(1.0, NOON, "alarm", {"words": "x" * 6000})]),
    "save": lambda _, a: a.put_save(_OPEN.cycle_id, 59, 59.0, {"all": GRAIN}),
    "state": lambda _, a: a.put_state("P2", _OPEN.cycle_id, NOON, {"all": "z" * 9000}, JsonText('{"phase": "hold"}')),
    "heartbeat": lambda _, a: a.beat(NOON),
    "command": lambda site, _: send_command(site.archive, _COMMAND, busy_ms=20),
    "answer": lambda _, a: a.answer("5" * 32, "done", "", NOON),
    "group": _grouped,
    "seal": lambda _, a: a.seal(_OPEN.cycle_id, body(_OPEN, events=[{"words": "e" * 9000}])),
    "inspection": lambda _, a: a.append("inspection", {"result": "sound", "note": "n" * 5000}, 1),
    "stores": lambda _, a: a.append("stores", {"item": {"kind": "lot", "name": "A"}, "why": "w" * 5000}),
    "derived tables": lambda _, a: a.rebuild_index(),
    "checkpoint": lambda _, a: a.checkpoint(),
}
"""What an open archive does; each is one durable commit or none."""


def _opened(site: Site) -> None:
    site.open(_BALLAST).close()


def _copied(site: Site) -> None:
    # One that was made and could not be verified is kept; the next has another name.
    to = site.folder / "copies" / "copy.sqlite"
    report = backup(site.archive, to.with_name("again.sqlite") if to.exists() else to)
    if not report.ok:
        raise ArchiveError("; ".join(report.problems))


WHOLE: dict[str, tuple[str, Callable[[Site], None]]] = {
    "new archive": ("nothing", _opened),
    "earlier format": ("old", _opened),
    "archive opened": ("filled", _opened),
    "backup": ("filled", _copied),
}
"""What begins without an open archive, on which of the prepared folders."""


def prepare(folder: Path, kind: str) -> Site:
    """A folder to begin with: nothing in it, an archive of an earlier format, or a filled one and its log."""
    site = Site(folder)
    folder.mkdir(parents=True)
    if kind == "nothing":
        return site
    write_key(site.key)
    site.archive.parent.mkdir()
    if kind == "old":
        shutil.copyfile(FOLDER / "version-1.db", site.archive)
        return site
    with site.open() as archive:
        seal_one(archive, 30, cycle_id="4" * 32)
        archive.begin_cycle(_OPEN)
        archive.add_rows(_OPEN.cycle_id, rows(60))
        send_command(site.archive, replace(_COMMAND, uuid="5" * 32))
    return site


@dataclass(slots=True)
class Report:
    """What came of it."""

    injected: int = 0
    refused: int = 0
    harmless: int = 0
    operations: Counter[str] = field(default_factory=Counter)
    violations: list[str] = field(default_factory=list)

    def words(self) -> str:
        """In words."""
        worst = ", ".join(f"{name} {count}" for name, count in self.operations.most_common(4))
        return f"{self.refused} refused and done at the next try, {self.harmless} did no harm (most steps: {worst})"


class Injector:
    """Runs operations with failures, in a folder of its own."""

    def __init__(self, folder: Path, every: int = 1) -> None:
        self._folder = folder
        self._every = every
        self._ready: dict[str, Site] = {}
        self._wanted: dict[str, Any] = {}
        self.report = Report()

    def run(self, name: str, failure: Failure) -> None:
        """One operation with one kind of failure, at each of its steps in turn (or at every n-th of them)."""
        at = 1
        while at < 2000 and self._once(name, failure, at):
            at += self._every

    def _fresh(self, name: str) -> Site:
        kind = WHOLE[name][0] if name in WHOLE else "filled"
        if kind not in self._ready:
            self._ready[kind] = prepare(self._folder / f"ready-{kind}", kind)
        shutil.rmtree(self._folder / "now", ignore_errors=True)
        shutil.copytree(self._ready[kind].folder, self._folder / "now")
        return Site(self._folder / "now")

    def _does(self, name: str, site: Site) -> tuple[Callable[[], object], Archive | None]:
        if name in WHOLE:
            return (lambda: WHOLE[name][1](site)), None
        archive = site.open()
        return (lambda: STEPS[name](site, archive)), archive

    def _after(self, name: str) -> Any:
        """What the archive says when all goes well."""
        if name not in self._wanted:
            site = self._fresh(name)
            does, archive = self._does(name, site)
            does()
            if archive is not None:
                archive.close()
            self._wanted[name] = _plain(site.said(), name)
        return self._wanted[name]

    def _once(self, name: str, failure: Failure, at: int) -> bool:
        """Fail once; False where the operation came to its end before."""
        wanted, site = self._after(name), self._fresh(name)
        counter = Trigger(failure, at)
        where = f"{name}, {failure.name} at step {at}"
        told: BaseException | None = None
        counter.well = True
        with failing(counter):
            does, archive = self._does(name, site)
            before = _plain(site.said(), name)
            counter.well = False
            try:
                does()
            except Exception as error:
                told = error
            counter.well = True
            if counter.failed:
                self.report.injected += 1
                self.report.operations[name] += 1
                self.report.violations += [f"{where}: {line}" for line in self._left(name, site, told, before, wanted)]
                if told is not None:
                    try:
                        does()
                    except Exception as error:
                        self.report.violations.append(f"{where}: the next try: {type(error).__name__}: {error}")
            if archive is not None:
                archive.close()
        if counter.failed and (now := _plain(site.said(), name)) != wanted:
            self.report.violations.append(f"{where}: in the end it says something else in {_differ(now, wanted)}")
        return counter.failed

    def _left(self, name: str, site: Site, told: BaseException | None, before: Any, wanted: Any) -> Iterator[str]:
        """What is wrong with what a failure left."""
        if told is None:
            self.report.harmless += 1
        else:
            self.report.refused += 1
            if not isinstance(told, ArchiveError):
                yield f"comes out as {type(told).__name__}: {told}"
        if name in ("new archive", "earlier format"):
            return  # several commits, each of which may stand
        now = _plain(site.said(), name)
        if now not in (before, wanted):
            yield f"neither what it said before nor after, in {_differ(now, before)}"
        if told is None and now != wanted:
            yield f"said to be done, and is not, in {_differ(now, wanted)}"
        report = verify(site.archive, site.key, unpack_traces=True)
        if not report.ok:
            yield f"does not verify: {report.problems[0]}"
        with closing(sqlite3.connect(site.archive)) as db:
            if (found := db.execute("PRAGMA integrity_check").fetchone()) != ("ok",):
                yield f"is damaged: {found}"
        copy = site.folder / "copies" / "copy.sqlite"
        if told is not None and copy.exists() and not verify(copy).ok:
            yield "a copy that failed is there and does not verify"


def _plain(said: Any, name: str) -> Any:
    """Without what is new each time: a new ledger's id and key, migrations' times, the heartbeat's process."""
    if said is None:
        return None
    if name in ("new archive", "earlier format"):
        return {table: len(found) for table, found in said.items() if table != "recorder"}
    return {table: found for table, found in said.items() if table not in ("recorder", "sqlite_stat1")}


def _differ(one: Any, other: Any) -> object:
    if one is None or other is None:
        return "whether it is there"
    return [table for table in one if one.get(table) != other.get(table)] or sorted(set(other) - set(one))


def everywhere(folder: Path, *, every: int = 1, names: tuple[str, ...] = (*STEPS, *WHOLE)) -> Report:
    """Every operation, every kind of failure, every step (or every n-th)."""
    injector = Injector(folder, every)
    folder.mkdir(parents=True)
    for name in names:
        for failure in FAILURES:
            injector.run(name, failure)
    return injector.report


def ballast_fails(folder: Path) -> list[str]:
    """Room that cannot be kept back must stop nothing, and leave no part of itself; one line a violation."""
    wrong = []
    for failure in FAILURES[:3]:
        for at in range(1, 8):
            ballast = Ballast(folder / f"{failure.name} {at}.sqlite", _BALLAST)
            counter = Trigger(failure, at)
            with failing(counter):
                ballast.keep()
            if counter.failed and ballast.path.exists() and ballast.path.stat().st_size != _BALLAST:
                wrong.append(f"ballast, {failure.name} at step {at}: half of it stands")
    return wrong

"""The writer thread: the one place that waits for the disk.

Jobs are queued and committed in groups, each within a quarter of a second of its arrival. When the disk refuses,
the group is kept and tried again; the watch and the horn go on meanwhile, and `status` says since when.
"""

from __future__ import annotations

import contextlib
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future
from dataclasses import dataclass

from press_monitor.archive import Archive, Command
from press_monitor.archive.requests import LEDGER_COMMANDS, carry_out
from press_monitor.archive.stores import NO_STORES, Stores
from press_monitor.archive.types import ArchiveError

__all__ = ["Job", "Writer", "WriterStatus"]

_LINGER = 0.1
"""Seconds a first job waits for others to share its commit."""

_POLL = 0.1
"""Seconds between looks for commands."""

_FIRST_RETRY, _LONGEST_RETRY = 0.25, 5.0

_FOLD_EVERY = 500
"""Jobs after which the archive's log is folded into its file, between two commits."""

_ROW_LIMIT = 250_000
"""Rows kept in memory while the disk refuses: an hour of 64 presses at 1 Hz."""


@dataclass(frozen=True, slots=True)
class Job:
    """Something to write.

    Attributes:
        run: does it; called in the writer's thread inside a transaction, again if that fails.
        key: a newer job of the same key replaces one still waiting (a heartbeat, a press's state).
        rows: how many rows of readings it holds; counted against the limit.
        done: called in the writer's thread with what `run` returned, after the commit.
        failed: called with words where the archive refuses this very job, which is then dropped.
    """

    run: Callable[[Archive], object]
    key: str | None = None
    rows: int = 0
    done: Callable[[object], None] | None = None
    failed: Callable[[str], None] | None = None


@dataclass(frozen=True, slots=True)
class WriterStatus:
    """How the writing goes. `failing_since` is UTC seconds, None while the disk takes everything."""

    failing_since: float | None
    why: str
    waiting_jobs: int
    waiting_rows: int
    dropped_rows: int
    refused_jobs: int
    commits: int


def _is_disk(error: BaseException) -> bool:
    """Whether an error is the disk's or the file's, so that trying again later makes sense."""
    if isinstance(error, OSError | sqlite3.OperationalError | MemoryError):
        return True
    return type(error) is sqlite3.DatabaseError or (error.__cause__ is not None and _is_disk(error.__cause__))


class Writer:
    """Owns the archive in a thread of its own.

    Args:
        open_store: opens the archive; called in the thread.
        wall: UTC seconds.
        news: called in the thread when commands came.
        linger, poll: real seconds, see above.
        row_limit: rows kept while the disk refuses; further ones are dropped and counted.
    """

    def __init__(
        self,
        open_store: Callable[[], Archive],
        *,
        wall: Callable[[], float] = time.time,
        news: Callable[[], None] = lambda: None,
        linger: float = _LINGER,
        poll: float = _POLL,
        row_limit: int = _ROW_LIMIT,
    ) -> None:
        self._open = open_store
        self._wall = wall
        self._news = news
        self._linger = linger
        self._poll = poll
        self._row_limit = row_limit
        self._changed = threading.Condition()
        self._queue: dict[object, Job] = {}
        self._batch: list[Job] = []
        self._at_once = False
        self._stopping = False
        self._commands: list[Command] = []
        self._delivered: set[str] = set()
        self._opened: Future[None] = Future()
        self._failing_since: float | None = None
        self._why = ""
        self._trouble: tuple[float, str] | None = None
        self._stores, self._head = NO_STORES, -1
        self._said: list[str] = []
        self._dropped = self._refused = self._commits = 0
        self._unfolded = 0
        self._thread = threading.Thread(target=self._run, name="writer", daemon=True)

    def start(self) -> None:
        """Start the thread and wait until the archive is open. Raises what opening it raised."""
        self._thread.start()
        self._opened.result()

    def put(self, *jobs: Job) -> None:
        """Queue jobs, in order and for one commit. Never waits for the disk."""
        with self._changed:
            first = not self._queue
            for job in jobs:
                if job.rows and self._rows() + job.rows > self._row_limit:
                    self._dropped += job.rows
                    continue
                key: object = job.key if job.key is not None else object()
                self._queue.pop(key, None)  # the newer one stands last: it may speak of what was queued between
                self._queue[key] = job
            if first:  # a thread woken for each would only take the interpreter from its caller
                self._changed.notify()

    def write_now(self) -> None:
        """Have what is queued committed without waiting for more to share the commit."""
        with self._changed:
            if self._queue:
                self._at_once = True
                self._changed.notify()

    @contextlib.contextmanager
    def together(self) -> Iterator[None]:
        """Whatever is put inside goes into one commit. The writer waits meanwhile: be quick."""
        with self._changed:
            yield

    def commands(self) -> list[Command]:
        """Commands that came since the last call."""
        with self._changed:
            taken, self._commands = self._commands, []
            return taken

    def stores(self) -> Stores:
        """What was entered of lots, bags, mats and probes, as the ledger last stood."""
        with self._changed:
            return self._stores

    def said(self) -> list[str]:
        """Lines for the log since the last call: what was added to the ledger on others' behalf."""
        with self._changed:
            taken, self._said = self._said, []
            return taken

    def status(self) -> WriterStatus:
        """How the writing goes. A disk that was full, and takes what is written only for the room kept back, fails."""
        with self._changed:
            since, why = self._failing_since, self._why
            if since is None and self._trouble is not None:
                since, why = self._trouble
            return WriterStatus(
                since,
                why,
                len(self._queue) + len(self._batch),
                self._rows(),
                self._dropped,
                self._refused,
                self._commits,
            )

    def stop(self, deadline: float) -> bool:
        """Write what waits and close the archive, in `deadline` real seconds; False where the disk refused."""
        with self._changed:
            self._stopping = True
            self._changed.notify()
        self._thread.join(deadline)
        return not self._thread.is_alive()

    def _rows(self) -> int:
        return sum(job.rows for job in self._queue.values()) + sum(job.rows for job in self._batch)

    def _run(self) -> None:
        try:
            store = self._open()
            store.fold_beside()
        except BaseException as error:
            self._opened.set_exception(error)
            return
        self._follow_ledger(store)
        self._opened.set_result(None)
        retry = 0.0
        while True:
            with self._changed:
                if not self._queue and not self._batch and self._stopping:
                    break
                if retry and self._stopping:
                    self._changed.wait(_FIRST_RETRY)
                elif retry:
                    self._changed.wait_for(lambda: self._stopping, retry)
                elif not self._queue and not self._batch:
                    self._changed.wait(self._poll)
                if not retry and self._queue and not self._at_once and not self._stopping:
                    self._changed.wait_for(lambda: self._at_once or self._stopping, self._linger)
            if self.commit(store):
                retry = 0.0
                self.look(store)
                self._follow_ledger(store)
                self._fold(store)
            else:
                retry = min(2.0 * retry or _FIRST_RETRY, _LONGEST_RETRY)
        with contextlib.suppress(Exception):
            store.close()

    def _fold(self, store: Archive) -> None:
        if self._unfolded >= _FOLD_EVERY:
            self._unfolded = 0
            with contextlib.suppress(ArchiveError):  # a disk that fails at tidying up will say so at the next commit
                store.fold()

    def commit(self, store: Archive) -> bool:
        """Write everything that waits; False where the disk refuses, and then it all stays waiting."""
        with self._changed:
            self._batch += self._queue.values()
            self._queue.clear()
            self._at_once = False
            batch = list(self._batch)
        if not batch:
            return True
        try:
            with store.transaction():
                results = [job.run(store) for job in batch]
        except Exception as error:
            if _is_disk(error):
                return self._fail(error)
            return self._one_by_one(store, batch)
        self._settle(batch, results)
        return True

    def look(self, store: Archive) -> None:
        """Fetch new commands. A disk that cannot be read is told by the next commit."""
        try:
            waiting = list(store.waiting_commands())
        except Exception as error:
            if _is_disk(error):
                self._fail(error)
            else:  # a command that cannot be read must not end the recording
                with self._changed:
                    self._why = f"{type(error).__name__}: {error}"
            return
        waiting = [command for command in waiting if not self._added(store, command)]
        with self._changed:
            fresh = [command for command in waiting if command.uuid not in self._delivered]
            self._delivered = {command.uuid for command in waiting}
            self._commands += fresh
        if fresh:
            self._news()

    def _added(self, store: Archive, command: Command) -> bool:
        """Whether a command only asks for an addition to the ledger, which is then made here."""
        if command.kind not in LEDGER_COMMANDS:
            return False
        try:
            line = carry_out(store, command)
        except Exception as error:  # the disk: it is tried again until the command is too old
            if _is_disk(error):
                self._fail(error)
            return True
        if line is not None:
            with self._changed:
                self._said.append(line)
            self._news()
        return True

    def _follow_ledger(self, store: Archive) -> None:
        """Read Stores again when the ledger has grown, and how the disk is."""
        try:
            head, trouble = store.head(), store.trouble()
            stores = store.stores() if head != self._head else self._stores
        except Exception as error:  # what cannot be read must not end the recording
            if _is_disk(error):
                self._fail(error)
            return
        with self._changed:
            self._head, self._stores, self._trouble = head, stores, trouble

    def _one_by_one(self, store: Archive, batch: list[Job]) -> bool:
        """One job is at fault: find it and drop it, so that it cannot hold up every press's record."""
        for job in batch:
            try:
                with store.transaction():
                    result = job.run(store)
            except Exception as error:
                if _is_disk(error):
                    return self._fail(error)
                with self._changed:
                    del self._batch[:1]
                    self._refused += 1
                    self._why = f"{type(error).__name__}: {error}"
                if job.failed:
                    job.failed(f"{type(error).__name__}: {error}")
            else:
                self._settle([job], [result])
        return True

    def _settle(self, jobs: Sequence[Job], results: list[object]) -> None:
        with self._changed:
            del self._batch[: len(jobs)]
            self._commits += 1
            self._unfolded += len(jobs)
            self._failing_since = None
        for job, result in zip(jobs, results, strict=True):
            if job.done:
                job.done(result)

    def _fail(self, error: BaseException) -> bool:
        with self._changed:
            if self._failing_since is None:
                self._failing_since = self._wall()
            self._why = str(error) or type(error).__name__
        return False

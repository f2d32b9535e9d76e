"""Fakes the recorder's tests share: clocks that stand until told, drivers that do what a list says."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Sequence

from drivers.base import Sample
from press_monitor.archive import ArchiveError, Save
from press_monitor.archive.types import inflated


class FakeTime:
    """Real and wall seconds that move only when told."""

    def __init__(self, real: float = 1000.0, wall: float = 1_700_000_000.0) -> None:
        self.seconds = real
        self.utc = wall

    def real(self) -> float:
        return self.seconds

    def wall(self) -> float:
        return self.utc

    def pass_(self, seconds: float) -> None:
        self.seconds += seconds
        self.utc += seconds


class ScriptedDriver:
    """Plays a list: a sequence of samples is returned, an exception is raised, a callable is called.

    When the list is over it blocks until released, as a stuck instrument does.
    """

    def __init__(self, opens: Sequence[object] = (), reads: Sequence[object] = ()) -> None:
        self.opens = list(opens)
        self.reads = list(reads)
        self.calls: list[str] = []
        self.threads: set[str] = set()
        self.stuck = threading.Event()
        self.release = threading.Event()

    def open(self) -> None:
        self._note("open")
        if self.opens:
            self._play(self.opens.pop(0))

    def read(self, wait: float) -> Sequence[Sample]:
        self._note("read")
        if not self.reads:
            self.stuck.set()
            self.release.wait(10.0)
            return ()
        return self._play(self.reads.pop(0)) or ()

    def close(self) -> None:
        self._note("close")

    def _note(self, call: str) -> None:
        self.calls.append(call)
        self.threads.add(threading.current_thread().name)

    def _play(self, step: object) -> Sequence[Sample] | None:
        if isinstance(step, Exception):
            raise step
        if callable(step):
            call: Callable[[], Sequence[Sample] | None] = step
            return call()
        return step  # type: ignore[return-value]


def good(channel: str, value: float, at: float, unit: str = "degC") -> Sample:
    return Sample(channel, value, unit, at)


class MemoryArchive:
    """What stations write, kept in lists; jobs are done at once, and callbacks called."""

    def __init__(self) -> None:
        self.starts: list = []
        self.rows: dict[str, list] = {}
        self.events: dict[str, list] = {}
        self.states: dict[str, tuple] = {}
        self.saves: dict[str, tuple] = {}
        self.sealed: list = []
        self.refuse_seal: list[str] = []

    def put(self, *jobs) -> None:
        for job in jobs:
            try:
                result = job.run(self)
            except ArchiveError as error:
                job.failed(str(error))
            else:
                if job.done:
                    job.done(result)

    def begin_cycle(self, start) -> None:
        self.starts.append(start)
        self.rows[start.cycle_id], self.events[start.cycle_id] = [], []

    def add_rows(self, cycle_id, rows) -> None:
        self.rows[cycle_id] += rows

    def add_events(self, cycle_id, events) -> None:
        self.events[cycle_id] += events

    def put_state(self, press, cycle_id, utc, snapshot, steady) -> None:
        moving, rest = json.loads(snapshot), json.loads(steady)
        self.states[press] = (cycle_id, utc, {**rest, **moving, "recorder": rest["recorder"] | moving["recorder"]})

    def put_save(self, cycle_id, seq, t, save) -> None:
        self.saves[cycle_id] = Save(cycle_id, seq, t, inflated(save))

    def seal(self, cycle_id, body) -> int:
        if self.refuse_seal:
            raise ArchiveError(self.refuse_seal.pop(0))
        self.sealed.append((cycle_id, json.loads(json.dumps(body, allow_nan=False))))
        return len(self.sealed)

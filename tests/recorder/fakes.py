"""Fakes the recorder's tests share: clocks that stand until told, drivers that do what a list says."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence

from drivers.base import Sample


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

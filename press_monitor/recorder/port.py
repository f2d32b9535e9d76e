"""A thread a port: whatever one instrument does, no other press waits for it.

The thread opens its driver, reads, and hands samples over through a bounded queue. When the port goes it closes the
driver, in this same thread, waits 0.5 s growing to 10 s, and opens it again, for ever.
"""

from __future__ import annotations

import contextlib
import threading
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import Enum

from drivers.base import Clock, Driver, Fault, PortLost, Sample

__all__ = ["Port", "PortState", "PortStatus", "Talk", "back_off"]

_FIRST_WAIT, _LONGEST_WAIT = 0.5, 10.0
_FLOOD_HZ = 100.0
"""Samples of a channel a second past which an instrument sends faster than anything is judged."""

_FLOOD_WINDOW_S = 1.0


class PortState(Enum):
    """How a port stands, in words for the operator."""

    OPENING = "opening"
    OPEN = "open"
    LOST = "lost"
    CLOSED = "closed"


class Talk(Enum):
    """What comes through an open port. The value is a word for the operator, `Talk.words` a sentence."""

    WAITING = "waiting"
    READINGS = "readings"
    SILENT = "silent"
    NO_ANSWER = "no answer"
    GARBLED = "garbled"
    FLOODED = "flooded"

    @property
    def words(self) -> str:
        """What it means and what to look at; empty where all is well."""
        return _TALK_WORDS[self]


_TALK_WORDS = {
    Talk.WAITING: "",
    Talk.READINGS: "",
    Talk.SILENT: "nothing comes: is the instrument switched on, and does it send by itself?",
    Talk.NO_ANSWER: "the instrument does not answer: is it switched on, is its number right, are both wires crossed?",
    Talk.GARBLED: "what comes cannot be understood: are baud, parity and the form of the line right?",
    Talk.FLOODED: "the instrument sends faster than anything can be judged; only the newest is kept",
}


@dataclass(frozen=True, slots=True)
class PortStatus:
    """How a port stands.

    Attributes:
        state, since, why: the state, the shop-monotonic second it began, and the reason.
        dropped: samples lost to a full queue.
        talk: what comes through it while it is open.
        losses: how often it was lost since the start.
    """

    state: PortState
    since: float
    why: str
    dropped: int
    talk: Talk = Talk.WAITING
    losses: int = 0


def back_off(wait: float | None) -> float:
    """The next wait before a port is tried again, s: 0.5 doubling to 10."""
    return _FIRST_WAIT if wait is None else min(2.0 * wait, _LONGEST_WAIT)


class Port:
    """One driver in its own thread.

    Args:
        name: the press's name, for the thread and for messages.
        driver: made already, not opened; from now on only this thread calls it.
        clock: shop monotonic seconds.
        wake: called after samples came, from the port's thread.
        read_wait: real seconds one read may block.
        pause: waits up to so many real seconds and says whether to stop; `threading.Event.wait` by default.
        limit: samples kept when nobody takes them; the oldest go first.
        quiet: shop seconds without a reading after which an open port counts as silent or garbled.
    """

    def __init__(
        self,
        name: str,
        driver: Driver,
        clock: Clock,
        *,
        wake: Callable[[], None] = lambda: None,
        read_wait: float = 0.2,
        pause: Callable[[float], bool] | None = None,
        limit: int = 60_000,
        quiet: float = 5.0,
    ) -> None:
        self.name = name
        self._driver = driver
        self._clock = clock
        self._wake = wake
        self._read_wait = read_wait
        self._stop = threading.Event()
        self._pause = pause if pause is not None else self._stop.wait
        self._samples: deque[Sample] = deque()
        self._limit = limit
        self._lock = threading.Lock()
        self._units: dict[str, str] = {}
        self._quiet = quiet
        self._again = threading.Event()
        self._state, self._since, self._why = PortState.CLOSED, clock(), "not started"
        self._dropped = self._losses = 0
        self._good_at = self._fault_at = self._flooded_at = float("-inf")
        self._fault = Fault.NO_ANSWER
        self._window_at, self._window_count = self._since, 0
        self._thread = threading.Thread(target=self.run, name=f"port {name}", daemon=True)

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()

    def stop(self) -> None:
        """Ask the thread to close its driver and end; does not wait."""
        self._stop.set()

    def join(self, deadline: float) -> bool:
        """Wait up to `deadline` real seconds; False where the driver is stuck (its thread is left)."""
        self._thread.join(deadline)
        return not self._thread.is_alive()

    def reopen(self) -> None:
        """Have the port closed and opened once, as after the computer slept: some handles then stay dumb for ever."""
        self._again.set()

    def status(self) -> PortStatus:
        """How the port stands now."""
        with self._lock:
            return PortStatus(self._state, self._since, self._why, self._dropped, self._talk(), self._losses)

    def _talk(self) -> Talk:
        now = self._clock()
        if self._state is not PortState.OPEN:
            return Talk.WAITING
        if now - self._flooded_at < self._quiet:
            return Talk.FLOODED
        if now - self._good_at < self._quiet:
            return Talk.READINGS
        if now - self._since < self._quiet:
            return Talk.WAITING
        if now - self._fault_at >= self._quiet:
            return Talk.SILENT
        # An instrument that says its sensors are open is understood.
        return {Fault.GARBLED: Talk.GARBLED, Fault.OPEN: Talk.READINGS}.get(self._fault, Talk.NO_ANSWER)

    def take(self) -> list[Sample]:
        """Everything that came since the last call, oldest first. Never blocks on the instrument."""
        with self._lock:
            taken = list(self._samples)
            self._samples.clear()
        return taken

    def run(self) -> None:
        """The thread's body: open, read, lose, wait, for ever until `stop`."""
        wait: float | None = None
        stopped = self._stop.is_set()
        while not stopped:
            self._become(PortState.OPENING, "")
            lost = True
            try:
                self._driver.open()
                self._become(PortState.OPEN, "")
                while not self._stop.is_set() and not self._again.is_set():
                    if self._keep(self._driver.read(self._read_wait)):
                        wait = None
                lost = False
            except PortLost as error:
                self._lose(str(error))
            except Exception as error:  # one driver's mistake must not end the other presses' record
                self._lose(f"{type(error).__name__}: {error}")
            with contextlib.suppress(Exception):
                self._driver.close()
            self._again.clear()
            stopped = self._stop.is_set()
            if not stopped and lost:
                wait = back_off(wait)
                stopped = self._pause(wait)
        self._become(PortState.CLOSED, "stopped")

    def _become(self, state: PortState, why: str) -> None:
        with self._lock:
            self._state, self._since, self._why = state, self._clock(), why

    def _lose(self, why: str) -> None:
        with self._lock:
            self._losses += 1
        self._become(PortState.LOST, why)
        now = self._clock()
        # Saying so per channel spares the watch the wait until the last values have grown stale.
        self._keep([Sample(channel, None, unit, now, Fault.UNPLUGGED) for channel, unit in self._units.items()])

    def _keep(self, samples: Sequence[Sample]) -> bool:
        if not samples:
            return False
        for sample in samples:
            self._units[sample.channel] = sample.unit
        with self._lock:
            self._hear(samples)
            self._samples.extend(samples)
            over = len(self._samples) - self._limit
            for _ in range(over):
                self._samples.popleft()
            if over > 0:
                self._dropped += over
        self._wake()
        return True

    def _hear(self, samples: Sequence[Sample]) -> None:
        now = self._clock()
        for sample in samples:
            if sample.fault is None:
                self._good_at = now
            elif sample.fault is not Fault.UNPLUGGED:
                self._fault, self._fault_at = sample.fault, now
        # What an instrument remembers comes all at once and is no flood.
        self._window_count += sum(sample.at >= now - _FLOOD_WINDOW_S for sample in samples)
        if now - self._window_at >= _FLOOD_WINDOW_S:
            if self._window_count > _FLOOD_HZ * len(self._units) * (now - self._window_at):
                self._flooded_at = now
            self._window_at, self._window_count = now, 0

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

__all__ = ["Port", "PortState", "PortStatus", "back_off"]

_FIRST_WAIT, _LONGEST_WAIT = 0.5, 10.0


class PortState(Enum):
    """How a port stands, in words for the operator."""

    OPENING = "opening"
    OPEN = "open"
    LOST = "lost"
    CLOSED = "closed"


@dataclass(frozen=True, slots=True)
class PortStatus:
    """A port's state, the shop-monotonic second it began, why, and how many samples were lost to a full queue."""

    state: PortState
    since: float
    why: str
    dropped: int


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
        self._status = PortStatus(PortState.CLOSED, clock(), "not started", 0)
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

    def status(self) -> PortStatus:
        """The port's state now."""
        with self._lock:
            return self._status

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
            try:
                self._driver.open()
                self._become(PortState.OPEN, "")
                while not self._stop.is_set():
                    if self._keep(self._driver.read(self._read_wait)):
                        wait = None
            except PortLost as lost:
                self._lose(str(lost))
            except Exception as error:  # one driver's mistake must not end the other presses' record
                self._lose(f"{type(error).__name__}: {error}")
            with contextlib.suppress(Exception):
                self._driver.close()
            stopped = self._stop.is_set()
            if not stopped:
                wait = back_off(wait)
                stopped = self._pause(wait)
        self._become(PortState.CLOSED, "stopped")

    def _become(self, state: PortState, why: str) -> None:
        with self._lock:
            self._status = PortStatus(state, self._clock(), why, self._status.dropped)

    def _lose(self, why: str) -> None:
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
            self._samples.extend(samples)
            over = len(self._samples) - self._limit
            for _ in range(over):
                self._samples.popleft()
            if over > 0:
                status = self._status
                self._status = PortStatus(status.state, status.since, status.why, status.dropped + over)
        self._wake()
        return True

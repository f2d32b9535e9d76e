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
from typing import ParamSpec, TypeVar

from drivers.base import Clock, Driver, Fault, Loss, PortLost, Sample
from press_monitor.watch.types import PortView

__all__ = ["Port", "PortState", "PortStatus", "Talk", "back_off"]

_P = ParamSpec("_P")
_R = TypeVar("_R")

_FIRST_WAIT, _LONGEST_WAIT = 0.5, 10.0
_FLOOD_HZ = 100.0
"""Samples of a channel a second past which an instrument sends faster than anything is judged."""

_FLOOD_WINDOW_S = 1.0
_STUCK_QUIETS = 3.0
"""A call into the driver that lasts so many times `quiet` hangs: reads end after a fraction of a second."""


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
    STUCK = "stuck"

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
    Talk.STUCK: "its driver hangs in the system: pull the adapter out and plug it in again",
}


@dataclass(frozen=True, slots=True)
class PortStatus:
    """How a port stands.

    Attributes:
        state, since, why: the state, the shop-monotonic second it began, and the reason.
        dropped: samples lost to a full queue.
        talk: what comes through it while it is open; `Talk.STUCK` in any state.
        losses: how often it was lost since the start.
        loss: why it was lost last; None once it is open again.
        device: its name, as far as it is known.
        notes: what the driver says of single instruments on it, a line each.
    """

    state: PortState
    since: float
    why: str
    dropped: int
    talk: Talk = Talk.WAITING
    losses: int = 0
    loss: Loss | None = None
    device: str = ""
    notes: tuple[str, ...] = ()

    @property
    def view(self) -> PortView:
        """The same for the watch and the screens; unchanged while it is only tried again."""
        lost = self.loss is not None and self.state in (PortState.LOST, PortState.OPENING)
        if lost and self.loss is not None and self.talk is not Talk.STUCK:
            return PortView(self.loss.value, self.device, self.why, trouble=True, lost=True)
        if self.talk is Talk.STUCK or self.state is PortState.OPEN:
            trouble = self.talk not in (Talk.WAITING, Talk.READINGS)
            return PortView(
                self.talk.value, self.device, "; ".join(filter(None, (self.talk.words, *self.notes))), trouble
            )
        return PortView(self.state.value, self.device, "", trouble=False)


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
        self._loss: Loss | None = None
        self._device = str(getattr(driver, "port_name", ""))
        self._called_at: float | None = None
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
            return PortStatus(
                self._state,
                self._since,
                self._why,
                self._dropped,
                self._talk(),
                self._losses,
                self._loss,
                self._device,
                tuple(getattr(self._driver, "trouble", ())) if self._state is PortState.OPEN else (),
            )

    def _talk(self) -> Talk:
        now = self._clock()
        if self._called_at is not None and now - self._called_at >= _STUCK_QUIETS * self._quiet:
            return Talk.STUCK
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
        if not self._samples:
            return []
        with self._lock:
            taken = list(self._samples)
            self._samples.clear()
        return taken

    def run(self) -> None:
        """The thread's body: open, read, lose, wait, for ever until `stop`."""
        wait: float | None = None
        stopped = self._stop.is_set()
        while not stopped:
            self._become(PortState.OPENING, self._why if self._loss is not None else "")
            lost = True
            try:
                self._call(self._driver.open)
                self._opened()
                while not self._stop.is_set() and not self._again.is_set():
                    if self._keep(self._call(self._driver.read, self._read_wait)):
                        wait = None
                lost = False
            except PortLost as error:
                self._lose(str(error), error.loss, error.device)
            except Exception as error:  # one driver's mistake must not end the other presses' record
                self._lose(f"{type(error).__name__}: {error}", Loss.FAILED)
            with contextlib.suppress(Exception):
                self._driver.close()
            self._again.clear()
            stopped = self._stop.is_set()
            if not stopped and lost:
                wait = back_off(wait)
                stopped = self._pause(wait)
        self._become(PortState.CLOSED, "stopped")

    def _call(self, call: Callable[_P, _R], *args: _P.args, **kwargs: _P.kwargs) -> _R:
        """Call into the driver, so that a call that never comes back can be told."""
        self._called_at = self._clock()
        try:
            return call(*args, **kwargs)
        finally:
            self._called_at = None

    def _opened(self) -> None:
        name = str(getattr(self._driver, "port_name", ""))
        with self._lock:
            self._loss, self._device = None, name or self._device
        self._become(PortState.OPEN, "")

    def _become(self, state: PortState, why: str) -> None:
        with self._lock:
            self._state, self._since, self._why = state, self._clock(), why

    def _lose(self, why: str, loss: Loss, device: str = "") -> None:
        with self._lock:
            self._losses += 1
            self._loss, self._device = loss, device or self._device
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

"""The horn or lamp: a control line of a serial port, driven by a thread of its own.

Without a heartbeat the horn hangs on the line: on is loud. With one, a timer relay hangs on it that holds the horn
quiet as long as the line keeps changing: an alarm, a recorder that hangs, a computer that died and a cable pulled out
all stop the beat and are heard alike.
"""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Protocol

import serial

from drivers.base import PortLost
from drivers.ports import FoundPort, list_ports, resolve, wanted_words
from drivers.serial_port import TROUBLE, lost_by, shut
from press_monitor.callout import Horn
from press_monitor.recorder.calling import Loudness
from press_monitor.recorder.port import back_off

__all__ = ["ControlLine", "HornState", "HornStatus", "HornThread", "SerialLine", "line_is_on"]

_BEAT_S = 1.0
"""Seconds on, then off, of a horn that calls; after the escalation it stays on."""

_DEAD_S = 10.0
"""Seconds without a sign of life from the recorder's loop after which it counts as hanging."""

_LOOK_S = 0.25
_AGAIN_S = 2.0
"""Seconds after which the line is set again though nothing has changed, so that a port that went is noticed."""


class HornState(Enum):
    """How the horn stands, in a word."""

    READY = "ready"
    SOUNDING = "sounding"
    LOST = "lost"


@dataclass(frozen=True, slots=True)
class HornStatus:
    """The horn's state and, where it is lost, why."""

    state: HornState
    why: str = ""


class ControlLine(Protocol):
    """A line that can be on or off. `open` and `set` raise `PortLost`."""

    def open(self) -> None:
        """Take the port; the line is off."""

    def set(self, on: bool) -> None:
        """Set the line."""

    def close(self) -> None:
        """Let the port go. Never raises."""


class SerialLine:
    """DTR or RTS of a port that pyserial opens."""

    def __init__(self, horn: Horn, ports: Callable[[], Sequence[FoundPort]] = list_ports) -> None:
        self._horn = horn
        self._ports = ports
        self._name = wanted_words(horn.port)
        self._port: serial.SerialBase | None = None

    def open(self) -> None:
        """Take the port with both lines off. Raises `PortLost`."""
        self.close()
        self._name = resolve(self._horn.port, self._ports)
        port = None
        try:
            port = serial.serial_for_url(self._name, do_not_open=True, timeout=0.0)
            if os.name == "posix" and "://" not in self._name:
                port.exclusive = True
            # Set before it is opened, so that opening does not sound it for longer than the system itself does.
            port.dtr = port.rts = False
            port.open()
            self._port = port
            self.set(False)
        except TROUBLE as error:
            self._port = None
            shut(port)
            raise lost_by(self._name, error) from error

    def set(self, on: bool) -> None:
        """Set the line. Raises `PortLost`, also for a port that has no such line."""
        if self._port is None:
            raise PortLost(f"{self._name}: not open")
        try:
            setattr(self._port, self._horn.line, on)
        except TROUBLE as error:
            raise PortLost(f"{self._name}: its {self._horn.line.upper()} line cannot be set: {error}") from error

    def close(self) -> None:
        """Let the port go. Never raises."""
        port, self._port = self._port, None
        shut(port)


def line_is_on(horn: Horn, loudness: Loudness, now: float, *, alive: bool, testing: bool) -> bool:
    """Whether the line is to be on at `now`, any monotonic seconds.

    Args:
        horn: with or without a heartbeat.
        loudness: what the alarms ask for.
        now: for the beat.
        alive: whether the recorder's loop has shown itself lately.
        testing: whether somebody wants to hear it.
    """
    if horn.heartbeat is not None:
        quiet = loudness is Loudness.QUIET and alive and not testing
        return quiet and now % horn.heartbeat < 0.5 * horn.heartbeat
    if testing or not alive or loudness is Loudness.ESCALATED:
        return True
    return loudness is Loudness.CALLING and now % (2.0 * _BEAT_S) < _BEAT_S


class HornThread:
    """Drives the horn. `feed` is called by the recorder's loop at every pass and is its sign of life.

    Args:
        horn: of the shop file.
        line: the control line; by default that of the horn's port.
        clock: real monotonic seconds.
        pause: waits up to so many seconds and says whether to stop; an event's `wait` by default.
    """

    def __init__(
        self,
        horn: Horn,
        line: ControlLine | None = None,
        *,
        clock: Callable[[], float] = time.monotonic,
        pause: Callable[[float], bool] | None = None,
    ) -> None:
        self.horn = horn
        self._line: ControlLine = line if line is not None else SerialLine(horn)
        self._clock = clock
        self._stop = threading.Event()
        self._pause = pause if pause is not None else self._stop.wait
        self._lock = threading.Lock()
        self._loudness = Loudness.QUIET
        self._fed_at = clock()
        self._testing_until = float("-inf")
        self._lost: str | None = "not opened yet"
        self._thread = threading.Thread(target=self.run, name="horn", daemon=True)

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()

    def stop(self, deadline: float = 2.0) -> bool:
        """End the thread, the line off; False where the port is stuck."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(deadline)
        return not self._thread.is_alive()

    def feed(self, loudness: Loudness) -> None:
        """What the alarms ask for now. Never waits for the port."""
        with self._lock:
            self._loudness, self._fed_at = loudness, self._clock()

    def test(self, seconds: float) -> None:
        """Sound it for so long."""
        with self._lock:
            self._testing_until = self._clock() + seconds

    def status(self) -> HornStatus:
        """How it stands."""
        with self._lock:
            if self._lost is not None:
                return HornStatus(HornState.LOST, self._lost)
            sounding = self._loudness is not Loudness.QUIET or self._clock() < self._testing_until
            return HornStatus(HornState.SOUNDING if sounding else HornState.READY)

    def run(self) -> None:
        """The thread's body: open, drive, lose, wait, for ever until `stop`."""
        wait: float | None = None
        stopped = self._stop.is_set()
        while not stopped:
            try:
                self._line.open()
                self._note(None)
                wait = None
                while not stopped:
                    stopped = self._drive()
                self._line.set(False)
            except Exception as error:  # the horn's trouble is told, and is never the end of its thread
                self._note(str(error) if isinstance(error, PortLost) else f"{type(error).__name__}: {error}")
            self._line.close()
            if not stopped:
                wait = back_off(wait)
                stopped = self._pause(wait)

    def _drive(self) -> bool:
        """Set the line as it should be until it would be set again anyway; True to stop."""
        began, was = self._clock(), self._wanted()
        self._line.set(was)
        while self._clock() - began < _AGAIN_S:
            if self._pause(self._until_look()):
                return True
            if self._wanted() != was:
                return False
        return False

    def _until_look(self) -> float:
        beat = self.horn.heartbeat
        if beat is None:
            return _LOOK_S
        half = 0.5 * beat
        return min(_LOOK_S, half - self._clock() % half + 0.001)

    def _wanted(self) -> bool:
        with self._lock:
            now = self._clock()
            return line_is_on(
                self.horn,
                self._loudness,
                now,
                alive=now - self._fed_at < _DEAD_S,
                testing=now < self._testing_until,
            )

    def _note(self, lost: str | None) -> None:
        with self._lock:
            self._lost = lost

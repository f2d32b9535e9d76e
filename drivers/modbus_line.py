"""The line: a serial port or a TCP connection, one question at a time, shared by every press whose channels are on it.

Several presses may have their channels behind one port, each with a driver and a thread of its own. They take turns,
so that a question and its answer are never mixed with another's.
"""

from __future__ import annotations

import os
import socket
import sys
import threading
import time
from collections import deque
from collections.abc import Hashable
from dataclasses import dataclass
from typing import Protocol
from urllib.parse import urlsplit

import serial

from drivers.base import PortLost
from drivers.modbus_frames import Answer, Codec, Garble, Question, RtuCodec, TcpCodec

if sys.platform == "win32":
    _TERMIOS: tuple[type[BaseException], ...] = ()
else:
    import termios

    _TERMIOS = (termios.error,)

__all__ = ["TROUBLE", "Line", "LineSettings", "Silence", "join", "leave"]

# What an unplugged or closing port raises: SerialException and bare OSError, termios.error (no OSError), and
# TypeError, ValueError or AttributeError where a handle vanished under a read.
TROUBLE: tuple[type[BaseException], ...] = (OSError, TypeError, ValueError, AttributeError, *_TERMIOS)

_TCP = "tcp://"
_TCP_PORT = 502
_CONNECT_S = 3.0
_SLICE_S = 0.02
_NAP_S = 0.002
_WRITE_S = 0.5
_SILENT_CONNECTION_S = 10.0
_SILENT_QUESTIONS = 3
_MOST_BYTES = 4096


@dataclass(frozen=True, slots=True)
class LineSettings:
    """A line and how it is driven; `parity` as pyserial has it. Of ``tcp://`` only the name counts."""

    name: str
    baud: int = 9600
    parity: str = "N"
    stopbits: float = 1.0

    @property
    def tcp(self) -> bool:
        """Whether it is a TCP connection with Modbus TCP's own frames."""
        return self.name.lower().startswith(_TCP)

    @property
    def key(self) -> Hashable:
        """The same for two names of one port."""
        if "://" in self.name:
            return self.name.lower()
        return os.path.realpath(self.name) if os.name == "posix" else self.name.upper()

    @property
    def form(self) -> str:
        """How bytes go over it, in words."""
        return "" if self.tcp else f"{self.baud} baud 8{self.parity}{self.stopbits:g}"

    def seconds(self, count: int) -> float:
        """How long `count` bytes are on the wire; start, 8 data, parity and stop bits each."""
        bits = 9.0 + (self.parity != "N") + self.stopbits
        return 0.0 if self.tcp else count * bits / self.baud

    @property
    def pause(self) -> float:
        """Silence between frames, s: 3.5 characters, 1.75 ms above 19200 baud.

        Modbus over Serial Line V1.02, 2.5.1.1.
        """
        if self.tcp:
            return 0.0
        return self.seconds(7) / 2.0 if self.baud <= 19_200 else 0.00175

    def host(self) -> tuple[str, int]:
        """Host and port of a ``tcp://`` name. Raises `ValueError` where it is none."""
        parts = urlsplit(self.name)
        if not parts.hostname or parts.path not in ("", "/") or parts.query or parts.fragment or parts.username:
            raise ValueError('wants "tcp://host" or "tcp://host:502"')
        return parts.hostname, _TCP_PORT if parts.port is None else parts.port


@dataclass(frozen=True, slots=True)
class Silence:
    """Nothing came in time."""


class _Wire(Protocol):
    """Bytes out and in. Every call may raise what stands in `TROUBLE`."""

    def send(self, data: bytes) -> None: ...

    def receive(self, least: int, wait: float) -> bytes:
        """Whatever came within `wait` seconds; may return before, with less than `least` or nothing."""

    def drain(self) -> None:
        """Throw away what came unasked."""

    def close(self) -> None: ...


class _SerialWire:
    """A port of pyserial's. Its time-out is fixed: changing it means setting the whole port up again."""

    def __init__(self, settings: LineSettings) -> None:
        port = serial.serial_for_url(
            settings.name,
            do_not_open=True,
            baudrate=settings.baud,
            parity=settings.parity,
            stopbits=settings.stopbits,
            timeout=_SLICE_S,
            write_timeout=_WRITE_S,
        )
        # Two masters on one port would read each other's answers; Windows refuses the second by itself.
        if os.name == "posix" and "://" not in settings.name:
            port.exclusive = True
        port.open()
        self._port = port
        self._nap = threading.Event()

    def send(self, data: bytes) -> None:
        self._port.write(data)

    def receive(self, least: int, wait: float) -> bytes:
        waiting = self._port.in_waiting
        if waiting < least and wait < _SLICE_S:
            # Not the time for a whole time-out.
            self._nap.wait(max(0.0, min(wait, _NAP_S)))
            waiting = least = self._port.in_waiting
        return self._port.read(min(_MOST_BYTES, max(least, waiting))) if least else b""

    def drain(self) -> None:
        for _ in range(16):
            waiting = self._port.in_waiting
            if not waiting:
                break
            self._port.read(min(_MOST_BYTES, waiting))

    def close(self) -> None:
        self._port.close()


class _TcpWire:
    """A socket. Nothing is drained: an answer nobody waits for is known by its number."""

    def __init__(self, settings: LineSettings) -> None:
        self._socket = socket.create_connection(settings.host(), timeout=_CONNECT_S)
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def send(self, data: bytes) -> None:
        self._socket.settimeout(_WRITE_S)
        self._socket.sendall(data)

    def receive(self, least: int, wait: float) -> bytes:
        self._socket.settimeout(max(0.0, wait))
        try:
            data = self._socket.recv(_MOST_BYTES)
        except (TimeoutError, BlockingIOError):
            return b""
        if not data:
            raise ConnectionError("the other end hung up")
        return data

    def drain(self) -> None:
        return

    def close(self) -> None:
        self._socket.close()


class _Turns:
    """First come, first served."""

    def __init__(self) -> None:
        self._waiting: deque[object] = deque()
        self._change = threading.Condition()

    def take(self, who: object, wait: float) -> bool:
        """Wait `wait` seconds for one's turn; who has not got it keeps the place in the queue."""
        with self._change:
            if who not in self._waiting:
                self._waiting.append(who)
            return self._change.wait_for(lambda: not self._waiting or self._waiting[0] is who, max(0.0, wait))

    def give(self, who: object) -> None:
        """Let the next one have it; harmless for who is not in the queue."""
        with self._change:
            if who in self._waiting:
                self._waiting.remove(who)
                self._change.notify_all()


class Line:
    """One open line. Every call comes from the thread of a driver that joined it, and has its turn."""

    def __init__(self, settings: LineSettings) -> None:
        self.settings = settings
        self.members: set[object] = set()
        self.turns = _Turns()
        self._opening = threading.Lock()
        self._wire: _Wire | None = None
        self._codec: Codec
        self._lost = ""
        self._question = Question(0, 3, 0, 1)
        self._quiet_at = self._deadline = 0.0
        self._heard_at = 0.0
        self._unheard = 0
        self._garbled = False
        self._nap = threading.Event()

    def open(self) -> None:
        """Open it where no other driver has. Raises `PortLost`."""
        with self._opening:
            if self._wire is not None:
                return
            if self._lost:
                raise PortLost(self._lost)
            try:
                self._codec = TcpCodec() if self.settings.tcp else RtuCodec()
                self._wire = _TcpWire(self.settings) if self.settings.tcp else _SerialWire(self.settings)
            except TROUBLE as error:
                raise self.lose(error) from error
            self._heard_at = time.monotonic()

    def ask(self, question: Question, timeout: float, until: float) -> bool:
        """Send a question once the line has been quiet for long enough; False where that is past `until`.

        The instrument is given `timeout` seconds to think, beside the time both frames take. Raises `PortLost`.
        """
        self._question, self._garbled = question, False
        if not self._send(until):
            return False
        both = self.settings.seconds(8 + 5 + 2 * question.count)
        self._deadline = time.monotonic() + timeout + both
        return True

    def repeat(self, until: float) -> bool:
        """Send the question again, its time running on; False where the line is quiet for that only past `until`."""
        return self._send(until)

    def _send(self, until: float) -> bool:
        now = time.monotonic()
        if now < self._quiet_at:
            if self._quiet_at > until:
                return False
            self._nap.wait(self._quiet_at - now)
        wire = self._open_wire()
        frame = self._codec.ask(self._question)
        try:
            wire.drain()
            wire.send(frame)
        except TROUBLE as error:
            raise self.lose(error) from error
        return True

    def answer(self, until: float) -> Answer | Silence | None:
        """Wait for the answer; None at `until`, `Silence` or `Garble` when its time is up. Raises `PortLost`."""
        while True:
            wire = self._open_wire()
            answer: Answer | Silence | None = None
            try:
                data = wire.receive(self._codec.wanted, min(until, self._deadline) - time.monotonic())
                if data:
                    answer = self._codec.feed(data)
            except TROUBLE as error:
                raise self.lose(error) from error
            now = time.monotonic()
            if data:
                self._garbled = True
                self._heard_at, self._unheard = now, 0
            if answer is None and now >= self._deadline:
                answer = Garble() if self._garbled else Silence()
            if answer is not None or now >= until:
                self._quiet_at = now + self.settings.pause
                return answer

    @property
    def time_left(self) -> float:
        """Seconds until the present question's time is up."""
        return self._deadline - time.monotonic()

    def unheard(self) -> None:
        """Count a silence. A TCP connection that gave nothing for long may be dead unnoticed: `PortLost`."""
        self._unheard += 1
        silent = time.monotonic() - self._heard_at
        if self.settings.tcp and self._unheard >= _SILENT_QUESTIONS and silent >= _SILENT_CONNECTION_S:
            raise self.lose(ConnectionError(f"nothing came for {silent:.0f} s"))

    def lose(self, why: BaseException) -> PortLost:
        """Close it for all who share it; returns what to raise."""
        self._lost = self._lost or f"{self.settings.name}: {str(why) or type(why).__name__}"
        with _TABLE_LOCK:
            if _LINES.get(self.settings.key) is self:
                del _LINES[self.settings.key]
        self.close()
        return PortLost(self._lost)

    def close(self) -> None:
        """Close the port; never raises."""
        wire, self._wire = self._wire, None
        if wire is not None:
            try:
                wire.close()
            except TROUBLE:
                return

    def _open_wire(self) -> _Wire:
        wire = self._wire
        if wire is None:
            raise PortLost(self._lost or f"{self.settings.name}: not open")
        return wire


_LINES: dict[Hashable, Line] = {}
_TABLE_LOCK = threading.Lock()


def join(settings: LineSettings, who: object) -> Line:
    """The open line of those settings, for `who` and whoever else is on it. Raises `PortLost`."""
    with _TABLE_LOCK:
        line = _LINES.setdefault(settings.key, Line(settings))
        if line.settings.form != settings.form:
            raise PortLost(
                f"{settings.name}: another press has it open with {line.settings.form}, this one wants "
                f"{settings.form}; one line has one setting"
            )
        line.members.add(who)
    try:
        line.open()
    except BaseException:
        leave(line, who)
        raise
    return line


def leave(line: Line, who: object) -> None:
    """Let go; the last one closes it. Never raises."""
    line.turns.give(who)
    with _TABLE_LOCK:
        line.members.discard(who)
        last = not line.members
        if last and _LINES.get(line.settings.key) is line:
            del _LINES[line.settings.key]
    if last:
        line.close()

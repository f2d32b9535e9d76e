"""Where a Modbus line is, and bytes over it: a serial port or a TCP connection."""

from __future__ import annotations

import socket
from dataclasses import dataclass
from typing import Protocol
from urllib.parse import urlsplit

from drivers.base import DriverError, Loss, PortLost
from drivers.options import Options
from drivers.ports import port_key, wanted_words
from drivers.serial_port import TROUBLE, SerialPort, read_line_settings
from drivers.serial_port import LineSettings as SerialSettings

__all__ = ["LineSettings", "Network", "Wire", "make_wire", "read_settings"]

_TCP = "tcp://"
_TCP_PORT = 502
_CONNECT_S = 3.0
_WRITE_S = 0.5
# A serial port's time-out is fixed: changing it means setting the whole port up again.
_SLICE_S = 0.02
_NAP_S = 0.002
_MOST_BYTES = 4096


@dataclass(frozen=True, slots=True)
class Network:
    """Where a Modbus TCP server listens."""

    host: str
    port: int


@dataclass(frozen=True, slots=True)
class LineSettings:
    """A line: a serial port and how it is driven, or a server on the network."""

    place: SerialSettings | Network

    @property
    def tcp(self) -> bool:
        """Whether it is a TCP connection with Modbus TCP's own frames."""
        return isinstance(self.place, Network)

    @property
    def name(self) -> str:
        """In words."""
        if isinstance(self.place, Network):
            return f"{_TCP}{self.place.host}:{self.place.port}"
        return wanted_words(self.place.wanted)

    @property
    def key(self) -> str:
        """The same for two names of one port."""
        return self.name.lower() if isinstance(self.place, Network) else port_key(self.place.wanted)

    @property
    def form(self) -> str:
        """How bytes go over it, in words."""
        if isinstance(self.place, Network):
            return ""
        return f"{self.place.baud} baud {self.place.bytesize}{self.place.parity}{self.place.stopbits:g}"

    def seconds(self, count: int) -> float:
        """How long `count` bytes are on the wire; start, data, parity and stop bits each."""
        if isinstance(self.place, Network):
            return 0.0
        bits = 1.0 + self.place.bytesize + (self.place.parity != "N") + self.place.stopbits
        return count * bits / self.place.baud

    @property
    def pause(self) -> float:
        """Silence between frames, s: 3.5 characters, 1.75 ms above 19200 baud.

        Modbus over Serial Line V1.02, 2.5.1.1.
        """
        if isinstance(self.place, Network):
            return 0.0
        return self.seconds(7) / 2.0 if self.place.baud <= 19_200 else 0.00175


def read_settings(options: Options) -> LineSettings:
    """Read `port` and, of a serial line, `baud`, `parity`, `stopbits`. Raises `DriverError` naming the key."""
    port = options.value("port")
    if isinstance(port, str) and port.lower().startswith(_TCP):
        return LineSettings(_network(port))
    settings = read_line_settings(options)
    if settings.bytesize != 8:
        raise DriverError("bytesize", f"must be 8 for Modbus, not {settings.bytesize}: leave it out")
    return LineSettings(settings)


def _network(url: str) -> Network:
    try:
        parts = urlsplit(url)
        number = parts.port
    except ValueError as error:
        raise DriverError("port", f"cannot be used: {error}") from None
    if not parts.hostname or parts.path not in ("", "/") or parts.query or parts.fragment or parts.username:
        raise DriverError("port", f'wants "tcp://host" or "tcp://host:502", not {url!r}')
    return Network(parts.hostname, _TCP_PORT if number is None else number)


class Wire(Protocol):
    """Bytes out and in. Every call but `close` may raise `PortLost`."""

    def open(self) -> None:
        """Connect."""

    def send(self, data: bytes) -> None:
        """Send, having thrown away what came unasked where that could be taken for an answer."""

    def receive(self, wait: float) -> bytes:
        """What has come, waiting `wait` seconds at most; may return before, with nothing."""

    def close(self) -> None:
        """Let go; may be called more than once."""


class _SerialWire:
    """A serial port, or any URL of pyserial's."""

    def __init__(self, settings: SerialSettings) -> None:
        self._port = SerialPort(settings)

    def open(self) -> None:
        self._port.open()

    def send(self, data: bytes) -> None:
        # What came unasked may be a late answer, and nothing in an answer says to which question.
        self._port.more(16 * _MOST_BYTES)
        self._port.write(data)

    def receive(self, wait: float) -> bytes:
        if wait >= _SLICE_S:
            return self._port.read(_SLICE_S)
        data = self._port.more(_MOST_BYTES)
        if not data and wait > 0.0:
            self._port.pause(min(wait, _NAP_S))
        return data

    def close(self) -> None:
        self._port.close()


class _TcpWire:
    """A socket. Nothing is thrown away: an answer nobody waits for is known by its number."""

    def __init__(self, place: Network, name: str) -> None:
        self._place = place
        self._name = name
        self._socket: socket.socket | None = None

    def open(self) -> None:
        try:
            self._socket = socket.create_connection((self._place.host, self._place.port), timeout=_CONNECT_S)
            self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        except OSError as error:
            self.close()
            raise self._lost(error) from error

    def send(self, data: bytes) -> None:
        try:
            taken = self._taken()
            taken.settimeout(_WRITE_S)
            taken.sendall(data)
        except TROUBLE as error:
            raise self._lost(error) from error

    def receive(self, wait: float) -> bytes:
        try:
            taken = self._taken()
            taken.settimeout(max(0.0, wait))
            data = taken.recv(_MOST_BYTES)
        except (TimeoutError, BlockingIOError):
            return b""
        except TROUBLE as error:
            raise self._lost(error) from error
        if not data:
            raise PortLost(f"{self._name}: the other end hung up", Loss.NOT_REACHED, self._name)
        return data

    def close(self) -> None:
        taken, self._socket = self._socket, None
        if taken is not None:
            taken.close()

    def _taken(self) -> socket.socket:
        if self._socket is None:
            raise ConnectionError("not open")
        return self._socket

    def _lost(self, error: BaseException) -> PortLost:
        return PortLost(f"{self._name}: {str(error) or type(error).__name__}", Loss.NOT_REACHED, self._name)


def make_wire(settings: LineSettings) -> Wire:
    """The wire of a line, not open."""
    place = settings.place
    return _TcpWire(place, settings.name) if isinstance(place, Network) else _SerialWire(place)

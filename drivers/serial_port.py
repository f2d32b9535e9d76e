"""One serial port or URL, opened and read so that every trouble it can make is a `PortLost` with words."""

from __future__ import annotations

import contextlib
import errno
import os
import sys
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import serial

from drivers.base import DriverError, Loss, PortLost
from drivers.options import Options
from drivers.ports import FoundPort, Wanted, list_ports, read_wanted, resolve, wanted_words

if sys.platform == "win32":
    _TERMIOS: tuple[type[BaseException], ...] = ()
else:
    import termios

    _TERMIOS = (termios.error,)

__all__ = [
    "TROUBLE",
    "LineSettings",
    "SerialPort",
    "loss_of_trouble",
    "lost_by",
    "read_line_settings",
    "shut",
    "words_of_trouble",
]

TROUBLE: tuple[type[BaseException], ...] = (
    OSError,
    TypeError,
    ValueError,
    AttributeError,
    NotImplementedError,
    *_TERMIOS,
)
"""What a port raises that is unplugged, closing or not able: SerialException and bare OSError, termios.error (no
OSError); TypeError, ValueError or AttributeError where a handle vanished under a read; NotImplementedError where a kind
of port lacks what was asked."""

_PARITY = {"none": "N", "even": "E", "odd": "O", "mark": "M", "space": "S"}
_WRITE_S = 1.0
_SLICE_S = 0.1
"""The port's own time-out, s. It stays as it is: changing it sets the whole port up again, over a network too."""

_NAP_S = 0.005


@dataclass(frozen=True, slots=True)
class LineSettings:
    """A port and how its line is driven; `parity` as pyserial has it."""

    wanted: Wanted
    baud: int = 9600
    bytesize: int = 8
    parity: str = "N"
    stopbits: float = 1.0

    def for_pyserial(self) -> dict[str, Any]:
        """The keyword arguments."""
        return {
            "baudrate": self.baud,
            "bytesize": self.bytesize,
            "parity": self.parity,
            "stopbits": self.stopbits,
        }


def read_line_settings(options: Options) -> LineSettings:
    """Read `port`, `baud`, `bytesize`, `parity`, `stopbits`. Opens nothing. Raises `DriverError` naming the key."""
    wanted = read_wanted(options.value("port"))
    stopbits = options.number("stopbits", 1.0, low=1.0, high=2.0)
    if stopbits not in (1.0, 1.5, 2.0):
        raise DriverError("stopbits", f"must be 1, 1.5 or 2, not {stopbits:g}")
    settings = LineSettings(
        wanted,
        options.whole("baud", 9600, low=50, high=4_000_000),
        options.whole("bytesize", 8, low=5, high=8),
        _PARITY[options.text("parity", "none", among=tuple(_PARITY))],
        stopbits,
    )
    if isinstance(wanted, str):
        try:
            serial.serial_for_url(wanted, do_not_open=True, **settings.for_pyserial())
        except TROUBLE as error:
            raise DriverError("port", f"cannot be used: {error}") from None
    return settings


def loss_of_trouble(device: str, error: BaseException) -> Loss:
    """What kind of loss an error on a port is."""
    number = getattr(error, "errno", None)
    text = str(error) or type(error).__name__
    if "://" in device:
        return Loss.NOT_REACHED
    if number == errno.EACCES or (sys.platform != "win32" and "Permission denied" in text):
        return Loss.NO_PERMISSION
    if (
        number in (errno.EBUSY, errno.EAGAIN)
        or "exclusively lock" in text
        or (sys.platform == "win32" and ("PermissionError" in text or "Access is denied" in text))
    ):
        return Loss.IN_USE
    # What a port raises that vanishes under a read is as varied as the systems are; see `TROUBLE`.
    return Loss.UNPLUGGED


def words_of_trouble(device: str, error: BaseException) -> str:
    """What an error on a port means, and what to do about it."""
    text = str(error) or type(error).__name__
    match loss_of_trouble(device, error):
        case Loss.NO_PERMISSION:
            return f"{device}: no permission. {_permission_words(device)}"
        case Loss.IN_USE:
            return f"{device}: another program has it open. Close that one, or give this press another port"
    if getattr(error, "errno", None) == errno.ENOENT or "FileNotFoundError" in text:
        return f"{device}: is not there. Is the cable plugged in, and is that its name? press-monitor ports"
    return f"{device}: {text}"


def lost_by(device: str, error: BaseException) -> PortLost:
    """The `PortLost` that an error on a port is."""
    return PortLost(words_of_trouble(device, error), loss_of_trouble(device, error), device)


def _permission_words(device: str) -> str:
    if sys.platform == "win32":
        return "Another program may have it open"
    import grp

    try:
        group = grp.getgrgid(os.stat(device).st_gid).gr_name
    except (OSError, KeyError):
        group = "dialout"
    return f"Add this user to its group, then log out and in again: sudo usermod -a -G {group} $USER"


class SerialPort:
    """A port for one owner. Every call comes from the owner's thread, except `close`.

    Args:
        settings: which port, and how.
        ports: lists the ports there are, for one wanted by its identity.
    """

    def __init__(self, settings: LineSettings, ports: Callable[[], Sequence[FoundPort]] = list_ports) -> None:
        self.settings = settings
        self.name = wanted_words(settings.wanted)
        self._ports = ports
        self._port: serial.Serial | None = None
        self._closing = threading.Event()

    def open(self) -> None:
        """Find the port and take it. Raises `PortLost`, `PortAmbiguous` where two could be the one."""
        self.close()
        self._closing.clear()
        device = resolve(self.settings.wanted, self._ports)
        port = None
        here = "://" not in device
        try:
            port = serial.serial_for_url(
                device,
                do_not_open=True,
                timeout=_SLICE_S,
                # RFC 2217 knows no such time-out, and refuses it.
                write_timeout=_WRITE_S if here else None,
                **self.settings.for_pyserial(),
            )
            # Two readers of one line would each get half of it; Windows refuses the second by itself.
            if os.name == "posix" and here:
                port.exclusive = True
            port.open()
        except TROUBLE as error:
            shut(port)
            raise lost_by(device, error) from error
        self.name = device
        self._port = port

    def read(self, wait: float) -> bytes:
        """What has come, waiting up to about `wait` seconds for the first byte. Raises `PortLost`."""
        end = time.monotonic() + wait
        while True:
            port = self._taken()
            try:
                waiting = port.in_waiting
                left = end - time.monotonic()
                if waiting or left >= 0.5 * _SLICE_S:
                    data = bytes(port.read(waiting or 1))
                    if data:
                        return data
                elif left <= 0.0:
                    return b""
                else:
                    self._closing.wait(min(left, _NAP_S))
            except TROUBLE as error:
                raise lost_by(self.name, error) from error

    def more(self, limit: int) -> bytes:
        """What has come by now, without waiting, up to about `limit` bytes. Raises `PortLost`."""
        port, data = self._taken(), bytearray()
        try:
            while len(data) < limit and (waiting := port.in_waiting):
                data += port.read(min(waiting, limit))
        except TROUBLE as error:
            raise lost_by(self.name, error) from error
        return bytes(data)

    def write(self, data: bytes) -> None:
        """Send. Raises `PortLost`, also where the other end takes nothing for a second."""
        try:
            self._taken().write(data)
        except TROUBLE as error:
            raise lost_by(self.name, error) from error

    def pause(self, seconds: float) -> None:
        """Wait; `close` from elsewhere ends it."""
        self._closing.wait(seconds)

    def close(self) -> None:
        """Let the port go. Never raises."""
        self._closing.set()
        port, self._port = self._port, None
        shut(port)

    def _taken(self) -> serial.Serial:
        if self._port is None:
            raise PortLost(f"{self.name}: not open")
        return self._port


def shut(port: serial.SerialBase | None) -> None:
    """Close a port; never raises."""
    if port is None:
        return
    # pyserial leaves its socket open where the other end has hung up already.
    behind = getattr(port, "_socket", None)
    for each in (port, behind):
        if each is not None:
            with contextlib.suppress(*TROUBLE):
                each.close()

"""The text-line driver: instruments that send lines of text, over any port or URL that pyserial knows."""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Mapping, Sequence
from typing import Any

import serial

from drivers.base import Clock, DriverError, PortLost, Sample
from drivers.line_reader import LineReader, read_line_format
from drivers.options import Options

if sys.platform == "win32":
    _TERMIOS: tuple[type[BaseException], ...] = ()
else:
    import termios

    _TERMIOS = (termios.error,)

__all__ = ["TextLineDriver"]

# What an unplugged or closing port raises: SerialException and bare OSError, termios.error (no OSError), and
# TypeError, ValueError or AttributeError where a handle vanished under a read.
_TROUBLE: tuple[type[BaseException], ...] = (OSError, TypeError, ValueError, AttributeError, *_TERMIOS)
_PARITY = {"none": "N", "even": "E", "odd": "O", "mark": "M", "space": "S"}
_REST_OF_LINE_S = 0.01
_MOST_BYTES = 65_536


class TextLineDriver:
    r"""Reads lines such as ``T1=301.2 T2=299.0 P=32.1`` or ``301.2,299.0,32.1``.

    Options: `port` (``COM3``, ``/dev/ttyUSB0``, ``socket://host:port``), `baud` (9600), `bytesize` (8), `parity`
    (``none``), `stopbits` (1); then one of

    * `labels` = ``{T1 = "inner_mat[degF]", P = "bag[psi]"}``: labelled values, ``=`` or ``:`` between;
    * `fields` = ``["inner_mat[degF]", "", "bag[psi]"]`` with `delimiter` (``,``; a space: any white space): values
      in a fixed order, an empty text for a field nobody wants;
    * `pattern`, a regular expression for a whole line, its named groups being the keys of `labels`;

    and `open_marks` (``["OPEN", "----", ""]``: cells that say an open sensor), `ignore` (``#``: lines beginning so
    are skipped), `encoding` (``ascii``), `newline` (``\n``), `max_line` (256 bytes).

    Raises `DriverError` naming the option. A port that is not there is a `PortLost` from `open`.
    """

    def __init__(self, settings: Mapping[str, object], clock: Clock) -> None:
        options = Options(settings)
        self._name = options.text("port")
        self._line: dict[str, Any] = {
            "baudrate": options.whole("baud", 9600, low=50, high=4_000_000),
            "bytesize": options.whole("bytesize", 8, low=5, high=8),
            "parity": _PARITY[options.text("parity", "none", among=tuple(_PARITY))],
            "stopbits": options.number("stopbits", 1.0, low=1.0, high=2.0),
        }
        if self._line["stopbits"] not in (1.0, 1.5, 2.0):
            raise DriverError("stopbits", f"must be 1, 1.5 or 2, not {self._line['stopbits']:g}")
        self._reader = LineReader(read_line_format(options))
        options.finish()
        try:
            serial.serial_for_url(self._name, do_not_open=True, **self._line)
        except _TROUBLE as error:
            raise DriverError("port", f"cannot be used: {error}") from None
        self._clock = clock
        self._port: serial.Serial | None = None
        self._stop = threading.Event()

    def open(self) -> None:
        """Take the port. Raises `PortLost` where it cannot be had now."""
        self.close()
        self._stop.clear()
        self._reader.reset()
        try:
            port = serial.serial_for_url(self._name, do_not_open=True, timeout=0.0, **self._line)
            # Two readers of one line would each get half of it; Windows refuses the second by itself.
            if os.name == "posix" and "://" not in self._name:
                port.exclusive = True
            port.open()
        except _TROUBLE as error:
            raise PortLost(f"{self._name}: {error}") from error
        self._port = port

    def read(self, wait: float) -> Sequence[Sample]:
        """The samples of the lines that ended, blocking `wait` seconds at most. Raises `PortLost`."""
        port = self._port
        if port is None:
            raise PortLost(f"{self._name}: not open")
        try:
            data, at = self._bytes(port, wait)
        except _TROUBLE as error:
            raise PortLost(f"{self._name}: {error}") from error
        return self._reader.feed(data, at) if data else ()

    def _bytes(self, port: serial.Serial, wait: float) -> tuple[bytes, float]:
        if port.timeout != wait:
            port.timeout = wait
        data = port.read(port.in_waiting or 1)
        at = self._clock()
        if data and not data.endswith((b"\n", b"\r")):
            # Let the rest of the line arrive, so that a slow line does not cost a wake-up a byte.
            self._stop.wait(_REST_OF_LINE_S)
            while len(data) < _MOST_BYTES and (waiting := port.in_waiting):
                data += port.read(waiting)
        return data, at

    def close(self) -> None:
        """Let the port go. Never raises."""
        self._stop.set()
        port, self._port = self._port, None
        if port is not None:
            try:
                port.close()
            except _TROUBLE:
                return

"""Listening to an instrument before anything is set up, or to see whether what is set up works.

Only for ports that no running recorder holds: opening a port twice would take readings from a cure.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

from drivers.base import Fault, PortLost
from drivers.serial_port import LineSettings, SerialPort
from press_monitor.fitting import FittedPress
from press_monitor.setup.findings import Finding, fine, problem
from press_monitor.setup.guess import readable_share

__all__ = ["BAUDS", "Heard", "Opener", "find_baud", "listen", "listen_to_press"]

BAUDS = (9600, 19_200, 115_200, 38_400, 57_600, 4800, 2400)
"""Tried in this order: most instruments leave the works at one of the first two."""

_READABLE = 0.95
_ENOUGH_LINES = 3
_ASK_EVERY_S = 0.5
_HOPELESS_BYTES, _HOPELESS = 64, 0.7
"""So many bytes of which so few are text will not become text any more."""

_SLICE_S = 0.1
_MOST_BYTES = 16_384


class Line(Protocol):
    """The part of `drivers.serial_port.SerialPort` that listening needs."""

    def open(self) -> None:
        """Take it. Raises `PortLost`."""

    def read(self, wait: float) -> bytes:
        """What came. Raises `PortLost`."""

    def write(self, data: bytes) -> None:
        """Send. Raises `PortLost`."""

    def close(self) -> None:
        """Let it go."""


Opener = Callable[[LineSettings], Line]


@dataclass(frozen=True, slots=True)
class Heard:
    """What came at one baud."""

    baud: int
    data: bytes

    @property
    def newline(self) -> str:
        """What ends its lines."""
        return "\n" if b"\n" in self.data or b"\r" not in self.data else "\r"

    @property
    def lines(self) -> tuple[str, ...]:
        """Whole lines: what came before the first end may be half of one, and so may the rest."""
        parts = self.data.decode("ascii", errors="replace").split(self.newline)
        return tuple(part.strip() for part in parts[1:-1] if part.strip())

    @property
    def readable(self) -> bool:
        """Whether it is text, with a whole line in it."""
        return readable_share(self.data) >= _READABLE and bool(self.lines)

    @property
    def words(self) -> str:
        """What it was, in words."""
        if not self.data:
            return f"{self.baud} baud: nothing came"
        if self.readable:
            return f"{self.baud} baud: {self.lines[-1]}"
        return f"{self.baud} baud: {len(self.data)} bytes that are no text"


def listen(
    settings: LineSettings,
    seconds: float,
    *,
    ask: bytes = b"",
    make: Opener = SerialPort,
    clock: Callable[[], float] = time.monotonic,
    stop: Callable[[], bool] = lambda: False,
) -> Heard:
    """Listen for so long, or until a few whole lines came; with `ask`, asking twice a second. Raises `PortLost`.

    `stop` is asked at least ten times a second; once it says so, the port is let go at once.
    """
    line = make(settings)
    line.open()
    data, began, asked = bytearray(), clock(), float("-inf")
    if ask:
        data += b"\n"  # an answer begins with a whole line
    try:
        while clock() - began < seconds and len(data) < _MOST_BYTES and not stop():
            if ask and clock() - asked >= _ASK_EVERY_S:
                asked = clock()
                line.write(ask)
            data += line.read(_SLICE_S)
            if len(Heard(settings.baud, bytes(data)).lines) >= _ENOUGH_LINES:
                break
            if len(data) >= _HOPELESS_BYTES and readable_share(bytes(data)) < _HOPELESS:
                break
    finally:
        line.close()
    return Heard(settings.baud, bytes(data))


def find_baud(
    settings: LineSettings,
    bauds: Sequence[int],
    seconds: float,
    *,
    ask: bytes = b"",
    make: Opener = SerialPort,
    clock: Callable[[], float] = time.monotonic,
    told: Callable[[Heard], None] = lambda _: None,
    stop: Callable[[], bool] = lambda: False,
) -> Heard | None:
    """The first baud at which text comes; None where there is none. `told` hears of each. Raises `PortLost`."""
    for baud in bauds:
        if stop():
            break
        at = LineSettings(settings.wanted, baud, settings.bytesize, settings.parity, settings.stopbits)
        heard = listen(at, seconds, ask=ask, make=make, clock=clock, stop=stop)
        told(heard)
        if heard.readable:
            return heard
    return None


def listen_to_press(fitted: FittedPress, seconds: float, clock: Callable[[], float] = time.monotonic) -> Finding:
    """Open a press's driver for so long and say what it gives."""
    name, values, faults = fitted.press.name, 0, dict.fromkeys(Fault, 0)
    began = clock()
    try:
        fitted.driver.open()
        while clock() - began < seconds and not values:
            for sample in fitted.driver.read(_SLICE_S):
                if sample.fault is None:
                    values += 1
                else:
                    faults[sample.fault] += 1
    except PortLost as error:
        words, _, do = str(error).partition(". ")
        return problem("readings", f"{name}: {words}", do or "see to the cable and the port's name", name)
    finally:
        with contextlib.suppress(Exception):
            fitted.driver.close()
    if values or faults[Fault.OPEN]:
        return fine("readings", f"{name}: the instrument is understood", name)
    if faults[Fault.GARBLED]:
        do = "try other settings: press-monitor setup finds the baud by itself"
        return problem("readings", f"{name}: what comes cannot be understood: wrong baud, parity or form?", do, name)
    if faults[Fault.NO_ANSWER]:
        return problem("readings", f"{name}: the instrument does not answer", "see to power, wiring and number", name)
    do = "is the instrument switched on, and does it send by itself?"
    return problem("readings", f"{name}: nothing came in {seconds:g} s", do, name)

"""Which serial ports there are, and finding again the one that is meant.

A port is wanted by its device name, by a URL, or by what its USB adapter says of itself, so that an instrument plugged
in elsewhere is found again. Adapters that cannot be told apart are never chosen between: two presses must not swap
their readings because a cable moved.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from drivers.base import DriverError, Loss, PortLost

__all__ = [
    "FoundPort",
    "PortAbsent",
    "PortAmbiguous",
    "PortIdentity",
    "PortsUnknown",
    "Wanted",
    "list_ports",
    "port_key",
    "read_wanted",
    "resolve",
    "wanted_words",
]

_FTDI = 0x0403
_HEX = re.compile(r"(?:0x)?([0-9a-f]{1,4})", re.IGNORECASE)
_KEYS = ("vid", "pid", "serial_number", "location")


class PortAbsent(PortLost):
    """No port is the wanted one now."""

    def __init__(self, message: str) -> None:
        super().__init__(message, Loss.UNPLUGGED)


class PortAmbiguous(PortLost):
    """Several ports could be the wanted one; `candidates` are their device names. None of them is taken."""

    def __init__(self, message: str, candidates: Sequence[str]) -> None:
        super().__init__(message, Loss.AMBIGUOUS)
        self.candidates = tuple(candidates)


class PortsUnknown(PortLost):
    """The system could not say which ports there are."""


@dataclass(frozen=True, slots=True)
class PortIdentity:
    """What a USB adapter says of itself; None where it says nothing, or where it does not matter.

    Attributes:
        vid, pid: vendor and product, 16 bit each.
        serial_number: as the adapter gives it.
        location: bus and socket, such as ``1-2.3`` or ``1-2.3:1.0``: it names a socket, not an adapter.
    """

    vid: int | None = None
    pid: int | None = None
    serial_number: str | None = None
    location: str | None = None

    @property
    def words(self) -> str:
        """``0403:6001 serial A10K 1-2.3``."""
        parts = [f"{self.vid:04x}:{self.pid:04x}"] if self.vid is not None and self.pid is not None else []
        parts += [f"serial {self.serial_number}"] if self.serial_number else []
        parts += [f"at {self.location}"] if self.location else []
        return " ".join(parts) or "no identity"

    def table(self) -> dict[str, str]:
        """As a shop file's port option holds it."""
        numbers = {key: f"{value:04x}" for key, value in (("vid", self.vid), ("pid", self.pid)) if value is not None}
        texts = {key: getattr(self, key) for key in ("serial_number", "location")}
        return numbers | {key: text for key, text in texts.items() if text}


Wanted = str | PortIdentity
"""A device name or a URL, or an identity."""


@dataclass(frozen=True, slots=True)
class FoundPort:
    """A port that is there now."""

    device: str
    identity: PortIdentity
    description: str = ""
    manufacturer: str = ""
    product: str = ""


def read_wanted(value: object, key: str = "port") -> Wanted:
    """Read a port option. Raises `DriverError` naming the key."""
    if isinstance(value, str):
        if not value.strip():
            raise DriverError(key, "is empty: give a device name, a URL, or a table with vid, pid, serial_number")
        return value
    if not isinstance(value, Mapping):
        raise DriverError(key, f"wants a device name, a URL, or a table with {', '.join(_KEYS)}, not {value!r}")
    for name in value:
        if name not in _KEYS:
            raise DriverError(f"{key}.{name}", f"unknown key; known: {', '.join(_KEYS)}")
    identity = PortIdentity(
        _number(value.get("vid"), f"{key}.vid"),
        _number(value.get("pid"), f"{key}.pid"),
        _text(value.get("serial_number"), f"{key}.serial_number"),
        _text(value.get("location"), f"{key}.location"),
    )
    if (identity.vid is None) != (identity.pid is None):
        raise DriverError(f"{key}.{'vid' if identity.vid is None else 'pid'}", "is missing: vid and pid go together")
    if identity == PortIdentity():
        raise DriverError(key, "says nothing to know the port by: give vid and pid, serial_number, or location")
    return identity


def _number(value: object, key: str) -> int | None:
    if value is None:
        return None
    if isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= 0xFFFF:
        return value
    found = _HEX.fullmatch(value) if isinstance(value, str) else None
    if not found:
        raise DriverError(key, f'wants four hexadecimal digits such as "0403", not {value!r}')
    return int(found.group(1), 16)


def _text(value: object, key: str) -> str | None:
    if value is None:
        return None
    if not isinstance(value, str) or not value.strip():
        raise DriverError(key, f"wants text, not {value!r}")
    return value


def wanted_words(wanted: Wanted) -> str:
    """The port in words."""
    return wanted if isinstance(wanted, str) else f"adapter {wanted.words}"


def port_key(wanted: Wanted) -> str:
    """The same for two names of one port, so that two who want it are seen."""
    if isinstance(wanted, PortIdentity):
        return wanted.words.lower()
    if "://" in wanted:
        return wanted.lower()
    return os.path.realpath(wanted) if os.name == "posix" else wanted.upper()


def _system_ports() -> Iterable[object]:
    from serial.tools.list_ports import comports

    return comports()


def list_ports(source: Callable[[], Iterable[object]] = _system_ports) -> tuple[FoundPort, ...]:
    """The ports there are, by device name. Raises `PortsUnknown` where the system cannot say.

    Pseudo-terminals and URLs are no one's to list; they are opened by name.
    """
    try:
        found = [_found(info) for info in source()]
    except Exception as error:  # what asking raises depends on the system: registry, sysfs or a plain OSError
        raise PortsUnknown(f"the ports cannot be listed: {type(error).__name__}: {error}") from error
    return tuple(sorted(found, key=lambda port: _natural(port.device)))


def _found(info: object) -> FoundPort:
    def text(name: str) -> str:
        return str(getattr(info, name, None) or "")

    def number(name: str) -> int | None:
        value = getattr(info, name, None)
        return value if isinstance(value, int) else None

    identity = PortIdentity(number("vid"), number("pid"), text("serial_number") or None, text("location") or None)
    description = text("description")
    return FoundPort(
        text("device"), identity, "" if description == "n/a" else description, text("manufacturer"), text("product")
    )


def _natural(name: str) -> list[tuple[int, str]]:
    return [(int(part), "") if part.isdecimal() else (0, part) for part in re.split(r"(\d+)", name)]


def resolve(wanted: Wanted, ports: Callable[[], Sequence[FoundPort]] = list_ports) -> str:
    """The device name or URL to open now.

    What is wanted by name is taken by name. An identity must fit exactly one port: serial number first, since it goes
    with the adapter; the location decides only where no serial number does.

    Raises `PortAbsent`, `PortAmbiguous` naming the candidates, or `PortsUnknown`.
    """
    if isinstance(wanted, str):
        return wanted
    there = ports()
    fitting = [port for port in there if _fits(wanted, port.identity)]
    if len(fitting) > 1:
        fitting = _narrowed(wanted, fitting)
    if not fitting:
        seen = ", ".join(f"{port.device} ({port.identity.words})" for port in there) or "none"
        raise PortAbsent(f"{wanted_words(wanted)} is not plugged in; ports there are: {seen}")
    if len(fitting) > 1:
        names = [port.device for port in fitting]
        raise PortAmbiguous(
            f"{' and '.join(names)} both could be {wanted_words(wanted)}: unplug one, or say which by its location "
            f"({', '.join(port.identity.location or 'none' for port in fitting)})",
            names,
        )
    return fitting[0].device


def _fits(wanted: PortIdentity, seen: PortIdentity) -> bool:
    if wanted.vid is not None and (wanted.vid, wanted.pid) != (seen.vid, seen.pid):
        return False
    if wanted.serial_number is not None:
        return _same_serial(wanted.serial_number, seen)
    return wanted.location is None or _same_place(wanted.location, seen.location)


def _same_serial(wanted: str, seen: PortIdentity) -> bool:
    """Equal serial numbers. Windows appends a channel letter to FTDI's, which other systems do not show."""
    there = seen.serial_number
    if there is None or wanted == there:
        return wanted == there
    longer, shorter = (wanted, there) if len(wanted) > len(there) else (there, wanted)
    return seen.vid == _FTDI and longer[:-1] == shorter and longer[-1] in "ABCD"


def _same_place(wanted: str, seen: str | None) -> bool:
    """Equal sockets. Windows writes the interface as ``1-2:x.0`` where others write ``1-2:1.0`` or, alone, ``1-2``."""
    if seen is None:
        return False
    (socket, _, interface), (there, _, other) = wanted.partition(":"), seen.partition(":")
    if socket != there:
        return False
    return not interface or not other or interface.rpartition(".")[2] == other.rpartition(".")[2]


def _narrowed(wanted: PortIdentity, fitting: Sequence[FoundPort]) -> list[FoundPort]:
    """Of several that fit: those whose serial number is the very one, whose channel or whose socket is named."""
    serial = wanted.serial_number
    chosen = list(fitting)
    if serial is not None:
        exact = [port for port in chosen if port.identity.serial_number == serial]
        if exact:
            chosen = exact
        else:
            # A two-channel adapter whose letter only Windows writes: elsewhere it is the interface's number.
            number = "ABCD".find(serial[-1])
            lettered = [port for port in chosen if (port.identity.location or "").endswith(f".{number}")]
            chosen = lettered or chosen
    if len(chosen) > 1 and wanted.location is not None:
        chosen = [port for port in chosen if _same_place(wanted.location, port.identity.location)] or chosen
    return chosen

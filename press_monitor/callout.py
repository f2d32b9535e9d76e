"""How a shop is called where nobody looks at a screen: its horn or lamp, and its phones, as the shop file says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from drivers.base import DriverError
from drivers.ports import Wanted, read_wanted
from press_monitor.quantities import Dimension
from press_monitor.tables import Table

__all__ = ["ESCALATES_AFTER_S", "Horn", "Phone", "read_horn", "read_phone", "read_port"]

ESCALATES_AFTER_S = 180.0
"""Seconds after which an unacknowledged alarm of high priority is called out louder and further."""

_REPEAT_S = 600.0


@dataclass(frozen=True, slots=True)
class Horn:
    """A horn or lamp on a control line of a serial port.

    Attributes:
        port: its port, which no press uses.
        line: ``dtr`` or ``rts``.
        heartbeat: seconds of one full beat of the line while all is well, for a timer relay that sounds the horn when
            the beat stops, so that a dead computer is heard too; None for a horn that sounds while the line is on.
    """

    port: Wanted
    line: str
    heartbeat: float | None = None


@dataclass(frozen=True, slots=True)
class Phone:
    """Where messages go. The addresses hold passwords: they are for nobody's eyes.

    Attributes:
        urls: addresses as Apprise writes them.
        after: seconds an alarm of high priority waits for an acknowledgement before a message goes out; one of an
            unattended cure waits for nothing.
        repeat: seconds between messages about the same alarm.
    """

    urls: tuple[str, ...]
    after: float = ESCALATES_AFTER_S
    repeat: float = _REPEAT_S

    def __repr__(self) -> str:
        return f"Phone({len(self.urls)} addresses, after={self.after:g}, repeat={self.repeat:g})"


def read_port(table: Table, key: str = "port") -> Wanted:
    """A port option: text, or a table of what an adapter says of itself. Raises `ShopError` naming the key."""
    if not table.has(key):
        raise table.error(key, "is missing")
    try:
        return read_wanted(table.data[key], key)
    except DriverError as error:
        raise table.error(error.key, error.message) from None


def read_horn(table: Table) -> Horn:
    """``[horn]``. Raises `ShopError`."""
    horn = Horn(
        read_port(table),
        table.choice("line", ("dtr", "rts"), "dtr"),
        table.maybe("heartbeat", lambda key: _between(table, key, 1.0, 120.0)),
    )
    table.done()
    return horn


def read_phone(table: Table) -> Phone:
    """``[phone]``. Raises `ShopError`; no message repeats an address, which may hold a password."""
    given = table.data.get("urls")
    if not table.has("urls") or not isinstance(given, Sequence) or isinstance(given, str) or not given:
        raise table.error("urls", 'wants a list of addresses, as ["ntfys://topic"]')
    for number, url in enumerate(given):
        if not isinstance(url, str) or "://" not in url:
            raise table.error("urls", f'address {number + 1} is none: it wants a scheme, as "ntfys://topic"')
    phone = Phone(
        tuple(given),
        _between(table, "after", 0.0, 3600.0) if table.has("after") else ESCALATES_AFTER_S,
        _between(table, "repeat", 60.0, 86_400.0) if table.has("repeat") else _REPEAT_S,
    )
    table.done()
    return phone


def _between(table: Table, key: str, low: float, high: float) -> float:
    seconds = table.quantity(key, Dimension.TIME)
    if not low <= seconds <= high:
        raise table.error(key, f"wants a time from {low:g} s to {high:g} s")
    return seconds

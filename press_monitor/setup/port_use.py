"""Which serial ports there are and who of the shop file uses which."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from drivers.base import DriverError, PortLost
from drivers.ports import FoundPort, PortAmbiguous, PortIdentity, Wanted, port_key, read_wanted, resolve, wanted_words
from press_monitor.shop import Shop

__all__ = ["PortRow", "port_rows", "wanted_ports"]

_UNKNOWN = PortIdentity()


@dataclass(frozen=True, slots=True)
class PortRow:
    """A port that is there, or one that the shop file wants.

    Attributes:
        device: its name now; None where what is wanted is not there.
        wanted: as the shop file has it; empty for a port nobody uses.
        identity: what its adapter says of itself.
        description: in words.
        used_by: presses by name, and ``horn``.
        there: whether it is; None where only opening tells (a URL).
        note: what is wrong with it.
    """

    device: str | None
    wanted: str = ""
    identity: PortIdentity = _UNKNOWN
    description: str = ""
    used_by: tuple[str, ...] = ()
    there: bool | None = True
    note: str = ""


def wanted_ports(shop: Shop) -> dict[str, Wanted]:
    """The port of each press that has one, and the horn's, by who wants it."""
    wanted: dict[str, Wanted] = {}
    for press in shop.presses.values():
        if "port" in press.options:
            try:
                wanted[press.name] = read_wanted(press.options["port"])
            except DriverError:
                continue  # said by whoever makes the driver
    if shop.horn is not None:
        wanted["horn"] = shop.horn.port
    return wanted


def port_rows(found: Sequence[FoundPort], wanted: Mapping[str, Wanted]) -> tuple[PortRow, ...]:
    """Every port that is there, then those that are wanted and are not listed. Opens nothing."""
    users: dict[str, list[str]] = {}
    missing: dict[str, PortRow] = {}
    for who, want in wanted.items():
        row = _missing(found, want)
        if row is None:
            users.setdefault(port_key(resolve(want, lambda: found)), []).append(who)
        else:
            before = missing.get(port_key(want), row)
            missing[port_key(want)] = PortRow(
                row.device, row.wanted, row.identity, row.description, (*before.used_by, who), row.there, row.note
            )
    there = [
        PortRow(
            port.device,
            identity=port.identity,
            description=port.description or port.product,
            used_by=tuple(users.get(port_key(port.device), ())),
        )
        for port in found
    ]
    return (*there, *missing.values())


def _missing(found: Sequence[FoundPort], want: Wanted) -> PortRow | None:
    """The row of a wanted port that is not among those found; None where it is."""
    if isinstance(want, str):
        if any(port_key(port.device) == port_key(want) for port in found):
            return None
        if "://" in want:
            return PortRow(want, want, there=None, description="opened over its address")
        if os.name == "posix" and os.path.exists(want):
            return PortRow(want, want, description="not listed by the system, but there")
        return PortRow(None, want, there=False, note=f"{want} is not there")
    try:
        resolve(want, lambda: found)
    except PortAmbiguous as error:
        return PortRow(None, wanted_words(want), want, there=False, note=str(error))
    except PortLost as error:
        return PortRow(None, wanted_words(want), want, there=False, note=str(error))
    return None

"""Which register is which channel: read from a press's options and from the maps of generic instruments beside."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from enum import Enum
from importlib.resources import files
from itertools import pairwise

from drivers.base import DriverError
from drivers.modbus_words import ORDERS, TYPES, Coding, raw_pattern
from drivers.options import Options

__all__ = ["LARGEST_UNIT_ID", "UNITS", "Function", "Register", "load_map", "map_names", "read_registers"]

LARGEST_UNIT_ID = 247
"""Unit ids are 1 to 247 (Modbus over Serial Line V1.02, 2.2); 0 is everybody, and nobody answers it."""

_TCP_ALONE = 255
"""The id of an instrument that is its own TCP server (Modbus Messaging on TCP/IP V1.0b, 4.4.2.1)."""

_POINT_KEYS = ("map", "point")
_HEXADECIMAL = re.compile(r"0[xX][0-9a-fA-F]{1,4}")

UNITS = ("degF", "degC", "psi", "kPa", "bar", "A", "mA", "mV", "ohm", "counts")
"""What a register may hold; ``counts`` are those of a converter, which the channel itself scales."""

_HOW_TO = (
    "is missing: say where each channel is read, e.g. "
    'channels.bag = { function = "input", address = 0, type = "int16", scale = 0.1, unit = "psi" }'
)


class Function(Enum):
    """Which of an instrument's two tables of registers; the value is the Modbus function code that reads it."""

    HOLDING = 3
    INPUT = 4

    @property
    def word(self) -> str:
        """As the options write it."""
        return self.name.lower()


@dataclass(frozen=True, slots=True)
class Register:
    """Where a channel's value lies and how it is written there.

    Attributes:
        channel, unit: as a `Sample` has them.
        unit_id: of the instrument on its line.
        function: the table.
        address: 0-based, as it goes over the wire.
        coding: the type and what it means.
    """

    channel: str
    unit: str
    unit_id: int
    function: Function
    address: int
    coding: Coding

    @property
    def end(self) -> int:
        """The first address past it."""
        return self.address + self.coding.words


class _Keys(Options):
    """A channel's keys, with those that are of more than one type."""

    def raw(self, key: str) -> object:
        """Whatever stands there, None where nothing does."""
        return self.value(key) if self.has(key) else None

    def numbers(self, key: str) -> tuple[float, ...]:
        """A list of finite numbers; empty where the key is missing."""
        given = self.raw(key)
        listed = () if given is None else given
        if isinstance(listed, str) or not isinstance(listed, Sequence):
            raise self.refuse(key, f"wants a list of numbers, not {given!r}")
        for number in listed:
            if isinstance(number, bool) or not isinstance(number, int | float) or not math.isfinite(number):
                raise self.refuse(key, f"wants finite numbers, not {number!r}")
        return tuple(listed)


def map_names() -> tuple[str, ...]:
    """The maps that come with the program, sorted."""
    folder = files("drivers") / "maps"
    return tuple(sorted(entry.name[:-5] for entry in folder.iterdir() if entry.name.endswith(".toml")))


def load_map(name: str) -> dict[str, dict[str, object]]:
    """A shipped map: point name to the channel keys it stands for. Raises `KeyError` for an unknown one."""
    if name not in map_names():
        raise KeyError(name)
    read = tomllib.loads((files("drivers") / "maps" / f"{name}.toml").read_text("utf-8"))
    return {point: {**read.get("defaults", {}), **keys} for point, keys in read["points"].items()}


def read_registers(options: Options, *, tcp: bool = False) -> tuple[Register, ...]:
    """The registers of a press, in the order of its channels.

    Reads `channels`, `map` and `unit_id`; the caller calls `finish`. Raises `DriverError` naming the key for
    whatever cannot be, overlapping registers among it.

    Args:
        options: the press's.
        tcp: whether unit id 255 can be asked, which a serial line does not have.
    """
    whole_map = options.text("map", "")
    unit_id = _unit_id(options, 1, tcp)
    channels = options.table("channels")
    if not channels:
        raise options.refuse("channels", _HOW_TO)
    registers = [_register(options, str(name), given, whole_map, unit_id, tcp) for name, given in channels.items()]
    _refuse_overlaps(registers)
    return tuple(registers)


def _register(options: Options, name: str, given: object, whole_map: str, unit_id: int, tcp: bool) -> Register:
    key = f"channels.{name}"
    if not name or any(c in "[]" or c.isspace() for c in name):
        raise options.refuse(key, "is no name for a channel: without spaces and brackets, please")
    if not isinstance(given, Mapping):
        raise options.refuse(key, f"wants a table, not {given!r}")
    point = _of_point(_Keys(given, f"{key}."), whole_map)
    keys = _Keys({**point, **{k: v for k, v in given.items() if k not in _POINT_KEYS}}, f"{key}.")
    coding = _coding(keys, ordered="order" in given)
    register = Register(
        name,
        keys.text("unit", among=UNITS),
        _unit_id(keys, unit_id, tcp),
        Function[keys.text("function", among=[function.word for function in Function]).upper()],
        _address(keys, coding.words),
        coding,
    )
    keys.finish()
    return register


def _of_point(own: _Keys, whole_map: str) -> dict[str, object]:
    """The keys that the channel's point in its map stands for; none where it names no point."""
    name = own.text("map", whole_map)
    if not own.has("point"):
        if own.has("map"):
            raise own.refuse("point", f"is missing: {name} has {', '.join(_points(own, name))}")
        return {}
    if not name:
        raise own.refuse("map", f"is missing: of which map is the point? known: {', '.join(map_names())}")
    points, point = _points(own, name), own.text("point")
    if point not in points:
        raise own.refuse("point", f'{name} has no point "{point}"; it has {", ".join(points)}')
    return points[point]


def _points(own: _Keys, name: str) -> dict[str, dict[str, object]]:
    try:
        return load_map(name)
    except KeyError:
        raise own.refuse("map", f'there is no map "{name}"; known: {", ".join(map_names())}') from None


def _unit_id(options: Options, default: int, tcp: bool) -> int:
    if not options.has("unit_id"):
        return default
    if tcp:
        with suppress(DriverError):
            return options.whole("unit_id", _TCP_ALONE, low=_TCP_ALONE, high=_TCP_ALONE)
    return options.whole("unit_id", default, low=1, high=LARGEST_UNIT_ID)


def _address(keys: _Keys, words: int) -> int:
    """The address on the wire. Documents that count from 40001 or 30001 are not guessed at."""
    given = keys.raw("address")
    if given is None:
        raise keys.refuse("address", "is missing: the register's number on the wire, counted from 0")
    if isinstance(given, str):
        if not _HEXADECIMAL.fullmatch(given):
            raise keys.refuse("address", f'wants a whole number, or hexadecimal as "0x1F", not {given!r}')
        address = int(given, 16)
    elif isinstance(given, bool) or not isinstance(given, int) or given < 0:
        raise keys.refuse("address", f"wants a whole number from 0, not {given!r}")
    else:
        address = given
        _refuse_numbering(keys, address)
    if address + words > 65_536:
        raise keys.refuse("address", f"must be at most {65_536 - words}, not {address}")
    return address


def _refuse_numbering(keys: _Keys, address: int) -> None:
    for first, function, many in (
        (30_001, "input", 9_999),
        (40_001, "holding", 9_999),
        (300_001, "input", 65_536),
        (400_001, "holding", 65_536),
    ):
        if first <= address < first + many:
            otherwise = f'; if {address} is the number on the wire, write "0x{address:X}"' if address < 65_536 else ""
            raise keys.refuse(
                "address",
                f"{address} reads like a document that counts from {first}: "
                f'write {address - first}, with function = "{function}"{otherwise}',
            )


def _coding(keys: _Keys, ordered: bool) -> Coding:
    kind = keys.text("type", among=tuple(TYPES))
    scale = keys.number("scale", 1.0)
    if scale == 0.0:
        raise keys.refuse("scale", "must not be 0")
    order = keys.text("order", ORDERS[0], among=ORDERS)
    try:
        marks = frozenset(raw_pattern(number, kind) for number in keys.numbers("open"))
    except ValueError as error:
        raise keys.refuse("open", f"wants raw numbers of the register, and {error}") from None
    coding = Coding(kind, order, scale, keys.number("offset", 0.0), marks)
    if ordered and coding.words == 1:
        raise keys.refuse("order", f"says nothing of {kind}, which is a single register: leave it out")
    return coding


def _refuse_overlaps(registers: Sequence[Register]) -> None:
    """Two channels on one register would be one reading twice, or half of another's."""
    ordered = sorted(registers, key=lambda r: (r.unit_id, r.function.value, r.address))
    for before, after in pairwise(ordered):
        if (before.unit_id, before.function) == (after.unit_id, after.function) and after.address < before.end:
            raise DriverError(
                f"channels.{after.channel}.address",
                f"{after.function.word} register {after.address} of unit {after.unit_id} is already read as "
                f"{before.channel} ({before.coding.type} at {before.address}): give each channel its own",
            )

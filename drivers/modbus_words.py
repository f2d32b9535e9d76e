"""Numbers out of 16-bit registers: types, word orders, scaling, and what an instrument says with no number.

Modbus fixes only that a register travels high byte first (Modbus Application Protocol V1.1b3, 4.2). How two of them
make a 32-bit number is each maker's own choice: with A the highest byte, the bytes arrive as ABCD, CDAB, BADC or DCBA.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Sequence
from dataclasses import dataclass

from drivers.base import Fault

__all__ = ["ORDERS", "TYPES", "Coding", "decode", "raw_pattern"]

ORDERS = ("ABCD", "CDAB", "BADC", "DCBA")

TYPES = {"int16": ">h", "uint16": ">H", "int32": ">i", "uint32": ">I", "float32": ">f"}
"""Type name to its `struct` format, highest byte first."""

# A float below the smallest normal one is never a measurement; it is what a real value in the wrong word order, or a
# whole number taken for a float, looks like.
_SMALLEST_NORMAL = 2.0**-126
_LARGEST = 1e9


@dataclass(frozen=True, slots=True)
class Coding:
    """How registers hold a quantity: value = raw * scale + offset.

    Attributes:
        type: one of `TYPES`.
        order: one of `ORDERS`; of 32-bit types.
        scale, offset: finite; scale is not 0.
        open: raw numbers that say the sensor is open or broken. A float's not-a-number always does.
    """

    type: str
    order: str = "ABCD"
    scale: float = 1.0
    offset: float = 0.0
    open: frozenset[float] = frozenset()

    @property
    def words(self) -> int:
        """Registers taken, 1 or 2."""
        return struct.calcsize(TYPES[self.type]) // 2

    def read(self, registers: Sequence[int]) -> float | Fault:
        """The value, or why there is none; never raises for `words` numbers of 16 bits, never gives NaN."""
        raw = decode(registers, self.type, self.order)
        if math.isnan(raw) or raw in self.open:
            return Fault.OPEN
        if math.isinf(raw) or (self.type == "float32" and 0.0 < abs(raw) < _SMALLEST_NORMAL):
            return Fault.GARBLED
        value = raw * self.scale + self.offset
        return value if abs(value) <= _LARGEST else Fault.GARBLED


def decode(registers: Sequence[int], type_: str, order: str = "ABCD") -> float:
    """The raw number in registers as they arrived (one for 16-bit types, two for others)."""
    sent = b"".join(register.to_bytes(2, "big") for register in registers)
    if len(sent) == 4:
        sent = bytes(sent[order.index(letter)] for letter in "ABCD")
    number: float = struct.unpack(TYPES[type_], sent)[0]
    return number


def raw_pattern(number: float, type_: str) -> float:
    """A raw number as `decode` gives it: 0x8000 is -32768 of an int16. Raises `ValueError` if it does not fit."""
    form = TYPES[type_]
    if type_ == "float32":
        try:
            kept: float = struct.unpack(form, struct.pack(form, number))[0]
        except OverflowError:
            kept = math.inf
        if not math.isfinite(kept):
            raise ValueError(f"{number!r} is no {type_}")
        return kept
    bits = 8 * struct.calcsize(form)
    signed = form[1].islower()
    if number != int(number) or not (-(1 << (bits - 1)) if signed else 0) <= number < 1 << bits:
        raise ValueError(f"{number!r} is no {type_}")
    return int.from_bytes((int(number) % (1 << bits)).to_bytes(bits // 8, "big"), "big", signed=signed)

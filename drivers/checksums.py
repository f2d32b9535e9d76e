"""Checksums that instruments put behind a line of text, as hexadecimal digits.

Names and parameters are those of Williams, "A Painless Guide to CRC Error Detection Algorithms" (1993): both CRC-16
start from all ones, ``crc-16/xmodem`` from zero, and ``crc-16/modbus`` is the reflected one.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import reduce
from operator import xor

from drivers.options import Options

__all__ = ["CHECKSUMS", "Checksum", "crc16_ccitt", "crc16_modbus", "crc16_xmodem", "read_checksum"]


def _table(polynomial: int, *, reflected: bool) -> tuple[int, ...]:
    table = []
    for byte in range(256):
        crc = byte if reflected else byte << 8
        for _ in range(8):
            if reflected:
                crc = crc >> 1 ^ (polynomial if crc & 1 else 0)
            else:
                crc = (crc << 1 ^ (polynomial if crc & 0x8000 else 0)) & 0xFFFF
        table.append(crc)
    return tuple(table)


_CCITT = _table(0x1021, reflected=False)
_MODBUS = _table(0xA001, reflected=True)


def _crc_ccitt(data: bytes, crc: int) -> int:
    for byte in data:
        crc = (crc << 8 & 0xFFFF) ^ _CCITT[crc >> 8 ^ byte]
    return crc


def crc16_ccitt(data: bytes) -> int:
    """CRC-16, polynomial 0x1021, from 0xFFFF."""
    return _crc_ccitt(data, 0xFFFF)


def crc16_xmodem(data: bytes) -> int:
    """CRC-16, polynomial 0x1021, from 0."""
    return _crc_ccitt(data, 0)


def crc16_modbus(data: bytes) -> int:
    """CRC-16, polynomial 0x8005 reflected, from 0xFFFF."""
    crc = 0xFFFF
    for byte in data:
        crc = crc >> 8 ^ _MODBUS[(crc ^ byte) & 0xFF]
    return crc


CHECKSUMS: dict[str, tuple[int, Callable[[bytes], int]]] = {
    "xor": (2, lambda data: reduce(xor, data, 0)),
    "sum-8": (2, lambda data: sum(data) & 0xFF),
    "sum-16": (4, lambda data: sum(data) & 0xFFFF),
    "crc-16/ccitt": (4, crc16_ccitt),
    "crc-16/xmodem": (4, crc16_xmodem),
    "crc-16/modbus": (4, crc16_modbus),
}
"""Name to the number of hexadecimal digits and the sum itself."""

_HEX = re.compile(rb"[0-9A-Fa-f]+")


@dataclass(frozen=True, slots=True)
class Checksum:
    """Where a line carries its checksum and which one.

    Attributes:
        name: a key of `CHECKSUMS`.
        start: what a line begins with and the sum does not cover; empty for none.
        mark: what stands between the text and the digits; empty for none.
        low_first: whether the low byte of a 16-bit sum is written first.
    """

    name: str
    start: bytes = b""
    mark: bytes = b"*"
    low_first: bool = False

    def strip(self, line: bytes) -> bytes | None:
        """The text that a good checksum covers; None where it is missing, malformed or wrong."""
        digits, compute = CHECKSUMS[self.name]
        if not line.startswith(self.start):
            return None
        body = line[len(self.start) :].rstrip(b" \r\n\t")
        text, written = body[:-digits], body[-digits:]
        if len(written) < digits or not _HEX.fullmatch(written) or not text.endswith(self.mark):
            return None
        text = text[: len(text) - len(self.mark)]
        wanted = compute(text)
        if self.low_first:
            wanted = int.from_bytes(wanted.to_bytes(digits // 2, "little"), "big")
        return text if int(written, 16) == wanted else None


def read_checksum(options: Options) -> Checksum | None:
    """Read ``checksum`` and what goes with it; None where lines carry none. Raises `DriverError` naming the key."""
    if not options.has("checksum"):
        for key in ("checksum_from", "checksum_after", "checksum_order"):
            if options.has(key):
                raise options.refuse(key, f"stands without checksum; that is one of {', '.join(CHECKSUMS)}")
        return None
    return Checksum(
        options.text("checksum", among=tuple(CHECKSUMS)),
        options.text("checksum_from", "").encode(),
        options.text("checksum_after", "*").encode(),
        options.text("checksum_order", "high-first", among=("high-first", "low-first")) == "low-first",
    )

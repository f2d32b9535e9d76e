"""Reading rows out of an SQLite file that SQLite itself no longer reads.

Walks every page, and takes the cells of table leaves and of index pages as they lie: the tree above them, the schema
and the file's first page may all be gone. The pages of a write-ahead log beside the file go before the file's own.
Nothing found here is believed for being found: what it is worth, the chain of the ledger decides.

Source: the SQLite database file format, sections 1.3 to 2.1 and 4.1 (sqlite.org/fileformat2.html).
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO, Final

__all__ = ["Cell", "Pages", "Row", "cells"]

Value = int | float | str | bytes | None
Row = tuple[Value, ...]

_TABLE_LEAF, _INDEX_LEAF, _INDEX_INNER = 0x0D, 0x0A, 0x02
_WAL_MAGIC = (0x377F0682, 0x377F0683)
_LONGEST = 1 << 30
_INTEGERS: Final = {1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8}


class Damaged(Exception):
    """A cell that cannot be read; never leaves this module."""


class Pages:
    """The pages of a file, numbered from 1, with what a write-ahead log says of them."""

    def __init__(self, path: Path) -> None:
        self._file: BinaryIO = path.open("rb")
        head = self._file.read(100)
        size = int.from_bytes(head[16:18], "big") if len(head) >= 18 else 0
        size = 65536 if size == 1 else size
        sound = 512 <= size <= 65536 and size & (size - 1) == 0
        self.size = size if sound else 4096
        reserved = head[20] if sound and len(head) > 20 else 0
        self.usable = self.size - reserved
        self._file.seek(0, 2)
        self.count = -(-self._file.tell() // self.size)
        self._wal = self._logged(Path(f"{path}-wal"))
        if self._wal:
            self.count = max(self.count, *self._wal)

    def close(self) -> None:
        """Let the file go."""
        self._file.close()

    def page(self, number: int) -> bytes:
        """A page; short or empty where the file ends in it or before it."""
        if (logged := self._wal.get(number)) is not None:
            return logged
        if not 1 <= number <= self.count:
            return b""
        self._file.seek((number - 1) * self.size)
        return self._file.read(self.size)

    def _logged(self, path: Path) -> dict[int, bytes]:
        """Pages of committed transactions in the log."""
        try:
            data = path.read_bytes()
        except OSError:
            return {}
        if len(data) < 32 or int.from_bytes(data[:4], "big") not in _WAL_MAGIC:
            return {}
        size, salts = int.from_bytes(data[8:12], "big"), data[16:24]
        if size != self.size:
            return {}
        found: dict[int, bytes] = {}
        pending: dict[int, bytes] = {}
        at = 32
        while at + 24 + size <= len(data):
            number, commit = struct.unpack_from(">II", data, at)
            if data[at + 8 : at + 16] != salts or not number:
                break
            pending[number] = data[at + 24 : at + 24 + size]
            if commit:
                found |= pending
                pending = {}
            at += 24 + size
        return found


class Cell:
    """Where a row lies: it is read when it is asked for, since all rows together may not fit into memory."""

    __slots__ = ("offset", "page", "rowid")

    def __init__(self, page: int, offset: int, rowid: int | None) -> None:
        self.page, self.offset, self.rowid = page, offset, rowid

    def row(self, pages: Pages) -> Row | None:
        """The row's columns as they are stored; None where they cannot be read (any more)."""
        try:
            return _row(pages, self.page, self.offset)
        except (Damaged, struct.error, IndexError, UnicodeDecodeError):
            return None


def cells(pages: Pages) -> Iterator[tuple[Cell, Row]]:
    """Every row of every table, in the order of the pages: where it lies, and its columns.

    The column that is the row's own number (INTEGER PRIMARY KEY) is None, as SQLite stores it; `Cell.rowid` has it.
    """
    for number in range(1, pages.count + 1):
        page = pages.page(number)
        start = 100 if number == 1 else 0
        if len(page) < start + 12 or page[start] not in (_TABLE_LEAF, _INDEX_LEAF, _INDEX_INNER):
            continue
        kind, count = page[start], int.from_bytes(page[start + 3 : start + 5], "big")
        first = start + (12 if kind == _INDEX_INNER else 8)
        for k in range(min(count, (len(page) - first) // 2)):
            offset = int.from_bytes(page[first + 2 * k : first + 2 * k + 2], "big")
            try:
                rowid = _rowid(page, offset) if kind == _TABLE_LEAF else None
                row = _row(pages, number, offset)
            except (Damaged, struct.error, IndexError, UnicodeDecodeError):
                continue
            yield Cell(number, offset, rowid), row


def _varint(data: bytes, at: int) -> tuple[int, int]:
    value = 0
    for k in range(8):
        byte = data[at + k]
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value, at + k + 1
    return value << 8 | data[at + 8], at + 9


def _rowid(page: bytes, offset: int) -> int:
    _, at = _varint(page, offset)
    value, _ = _varint(page, at)
    return value - (1 << 64) if value >= 1 << 63 else value


def _row(pages: Pages, number: int, offset: int) -> Row:
    page = pages.page(number)
    kind = page[100 if number == 1 else 0]
    at = offset + 4 if kind == _INDEX_INNER else offset
    length, at = _varint(page, at)
    if kind == _TABLE_LEAF:
        _, at = _varint(page, at)
    return _decoded(_payload(pages, page, at, length, table=kind == _TABLE_LEAF))


def _payload(pages: Pages, page: bytes, at: int, length: int, *, table: bool) -> bytes:
    """A cell's bytes with those that ran over into pages of their own."""
    if not 0 < length <= _LONGEST:
        raise Damaged
    usable = pages.usable
    most = usable - 35 if table else (usable - 12) * 64 // 255 - 23
    least = (usable - 12) * 32 // 255 - 23
    local = length
    if length > most:
        local = least + (length - least) % (usable - 4)
        local = local if local <= most else least
    parts = [page[at : at + local]]
    if len(parts[0]) != local:
        raise Damaged
    left = length - local
    following = int.from_bytes(page[at + local : at + local + 4], "big") if left else 0
    while left:
        over = pages.page(following)
        if len(over) < usable:
            raise Damaged
        part = over[4 : 4 + min(left, usable - 4)]
        parts.append(part)
        left -= len(part)
        following = int.from_bytes(over[:4], "big")
    return b"".join(parts)


def _decoded(payload: bytes) -> Row:
    end, at = _varint(payload, 0)
    if end > len(payload):
        raise Damaged
    types = []
    while at < end:
        kind, at = _varint(payload, at)
        types.append(kind)
    values: list[Value] = []
    at = end
    for kind in types:
        value, at = _value(payload, at, kind)
        values.append(value)
    return tuple(values)


def _value(payload: bytes, at: int, kind: int) -> tuple[Value, int]:
    if kind in _INTEGERS:
        size = _INTEGERS[kind]
        if at + size > len(payload):
            raise Damaged
        return int.from_bytes(payload[at : at + size], "big", signed=True), at + size
    if kind == 0:
        return None, at
    if kind == 7:
        return struct.unpack_from(">d", payload, at)[0], at + 8
    if kind in (8, 9):
        return kind - 8, at
    if kind < 12:
        raise Damaged
    size = (kind - 12) // 2
    data = payload[at : at + size]
    if len(data) != size:
        raise Damaged
    return (data.decode() if kind % 2 else data), at + size

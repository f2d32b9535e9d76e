"""A cycle's readings as arrays of scaled integers, and their packed form.

Packed form, version 1 (little endian): magic ``PMTR``, version u8, literal-context byte u8, header length u16,
payload length u32, CRC-32 of all the rest u32, header (deflated JSON: rows, time
decimals, channels, first values, plane counts),
payload (raw LZMA1). The payload holds, column by column (times first), the low byte of ``delta + 128``, then the
higher bytes (zigzag) of the columns that need them, then a bit mask for each column with empty cells.

Why this shape: noise decides the size, so the aim is to pay the entropy of the deltas and nothing more. With the
deltas centred on 128 the top bit of the byte before is the sign of the delta before, and LZMA's literal coder, told
to use that one bit as context (lc=1, and no position bits), learns that noise swings back.
"""

from __future__ import annotations

import json
import lzma
import struct
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from press_monitor.archive.types import ArchiveError, ChannelMeta, LiveRow

__all__ = ["Trace", "TraceError", "pack", "unpack"]

_MAGIC = b"PMTR"
_VERSION = 1
_HEAD = struct.Struct("<4sBBHI")
_START = _HEAD.size + 4
_EXACT = float(1 << 53)
_CENTRE = 128
_CONTEXTS = (1, 4)
_MOST_ROWS = 50_000_000
_LONGEST_HEADER = 1 << 20
Ints = NDArray[np.int64]


class TraceError(ArchiveError):
    """Packed bytes that are not a trace, or a damaged one."""


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """Rows of one cycle, as scaled integers.

    Attributes:
        channels: c of them.
        time_decimals: `t` counts units of ``10**-time_decimals`` s on the cycle's axis.
        seq: int64 (n,), row numbers; 0 … n-1 in an unpacked trace.
        t: int64 (n,).
        counts: int64 (n, c); where `present` is False the number means nothing.
        present: bool (n, c).
    """

    channels: tuple[ChannelMeta, ...]
    time_decimals: int
    seq: Ints
    t: Ints
    counts: Ints
    present: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.t)

    @property
    def last_seq(self) -> int:
        """The newest row number, -1 without rows: what to ask for next."""
        return int(self.seq[-1]) if len(self.seq) else -1

    @property
    def times(self) -> NDArray[np.float64]:
        """Seconds on the cycle's axis, (n,)."""
        return self.t / 10.0**self.time_decimals

    def column(self, name: str) -> NDArray[np.float64]:
        """One channel in its own unit, (n,), nan where it has no value. Raises KeyError for a name not here."""
        for k, channel in enumerate(self.channels):
            if channel.name == name:
                return np.where(self.present[:, k], self.counts[:, k] / 10.0**channel.decimals, np.nan)
        raise KeyError(name)

    def rows(self) -> list[LiveRow]:
        """The rows as the recorder wrote them."""
        out: list[LiveRow] = []
        for n, t, counts, there in zip(
            self.seq.tolist(), self.t.tolist(), self.counts.tolist(), self.present.tolist(), strict=True
        ):
            out.append((n, t, tuple(v if p else None for v, p in zip(counts, there, strict=True))))
        return out

    @classmethod
    def from_rows(cls, channels: tuple[ChannelMeta, ...], time_decimals: int, rows: Sequence[LiveRow]) -> Trace:
        """Gather rows. Raises `ArchiveError` for a row of another width."""
        wide = len(channels)
        if any(len(values) != wide for _, _, values in rows):
            raise ArchiveError(f"a row has not the {wide} values of its cycle's channels")
        n = len(rows)
        seq = np.fromiter((row[0] for row in rows), np.int64, n)
        t = np.fromiter((row[1] for row in rows), np.int64, n)
        floats = np.array([row[2] for row in rows], dtype=np.float64).reshape(n, wide)
        present = ~np.isnan(floats)
        counts = np.where(present, floats, 0.0)
        if counts.size and np.abs(counts).max() >= _EXACT:
            exact = [0 if v is None else v for _, _, values in rows for v in values]
            return cls(channels, time_decimals, seq, t, np.array(exact, np.int64).reshape(n, wide), present)
        return cls(channels, time_decimals, seq, t, counts.astype(np.int64), present)


_READ_WINDOW = 1 << 22
_WINDOW = 1 << 16
"""Bytes back that a match is sought in: six channels of a cure. Further back is other noise, and finding that out would
make the time grow faster than the cure. What was packed with another window, up to the larger one, is read as well."""


def _filters(context: int, window: int) -> list[dict[str, int]]:
    return [
        {
            "id": lzma.FILTER_LZMA1,
            "dict_size": window,
            "lc": context,
            "lp": 0,
            "pb": 0,
            "mode": lzma.MODE_NORMAL,
            "mf": lzma.MF_BT4,
            "nice_len": 273,
        }
    ]


def _filled(counts: Ints, present: NDArray[np.bool_]) -> Ints:
    """Empty cells take the value before them, so that their delta is 0."""
    if present.all():
        return counts
    last = np.maximum.accumulate(np.where(present, np.arange(len(counts)), -1))
    return np.where(last >= 0, counts[np.maximum(last, 0)], 0)


def _planes(column: Ints) -> list[bytes]:
    """A column's deltas as byte planes, lowest first. Arithmetic is modulo 2**64, so every int64 comes back."""
    bits = column.view(np.uint64)
    delta = np.full(len(bits), _CENTRE, np.uint64)
    delta[1:] += bits[1:] - bits[:-1]
    planes = [(delta & np.uint64(0xFF)).astype(np.uint8)]
    rest = delta.view(np.int64) >> 8
    folded = ((rest << 1) ^ (rest >> 63)).view(np.uint64)
    while folded.any():
        planes.append((folded & np.uint64(0xFF)).astype(np.uint8))
        folded = folded >> np.uint64(8)
    return [plane.tobytes() for plane in planes]


def _column(first: int, planes: Sequence[NDArray[np.uint8]]) -> Ints:
    """The inverse of `_planes`."""
    folded = np.zeros(len(planes[0]), np.uint64)
    for k, plane in enumerate(planes[1:]):
        folded |= plane.astype(np.uint64) << np.uint64(8 * k)
    rest = (folded >> np.uint64(1)).view(np.int64) ^ -(folded & np.uint64(1)).view(np.int64)
    delta = (rest << 8).view(np.uint64) + planes[0] - np.uint64(_CENTRE)
    if len(delta):
        delta[0] = np.array(first, np.int64).view(np.uint64)
    return np.cumsum(delta, dtype=np.uint64).view(np.int64)


def pack(trace: Trace) -> bytes:
    """Pack, losslessly. Row numbers are not kept: an unpacked trace counts from 0."""
    columns = [np.ascontiguousarray(trace.t, np.int64)]
    columns += [_filled(trace.counts[:, k], trace.present[:, k]) for k in range(len(trace.channels))]
    planes = [_planes(np.ascontiguousarray(column)) for column in columns]
    masked = [k for k in range(len(trace.channels)) if not trace.present[:, k].all()]
    payload = b"".join(column[0] for column in planes)
    payload += b"".join(plane for column in planes for plane in column[1:])
    payload += b"".join(np.packbits(trace.present[:, k]).tobytes() for k in masked)
    about = {
        "rows": len(trace),
        "decimals": trace.time_decimals,
        "channels": [[c.name, c.unit, c.decimals] for c in trace.channels],
        "first": [int(column[0]) if len(column) else 0 for column in columns],
        "planes": [len(column) for column in planes],
        "masked": masked,
    }
    header = zlib.compress(json.dumps(about, separators=(",", ":")).encode(), 9)
    context, packed = min(
        ((c, lzma.compress(payload, lzma.FORMAT_RAW, filters=_filters(c, _WINDOW))) for c in _CONTEXTS),
        key=lambda pair: len(pair[1]),
    )
    return _enveloped(context, header, packed)


def _enveloped(context: int, header: bytes, packed: bytes) -> bytes:
    sizes = _HEAD.pack(_MAGIC, _VERSION, context, len(header), len(packed))
    return sizes + struct.pack("<I", zlib.crc32(sizes + header + packed)) + header + packed


def _opened(data: bytes) -> tuple[int, dict[str, Any], bytes]:
    """Literal context, checked header, payload still compressed."""
    if len(data) < _START or data[:4] != _MAGIC:
        raise TraceError("not a packed trace")
    _, version, context, header_size, payload_size = _HEAD.unpack_from(data)
    if version != _VERSION:
        raise TraceError(f"packed trace of version {version}; this program reads version {_VERSION}")
    check = struct.unpack_from("<I", data, _HEAD.size)[0]
    body = data[_START:]
    if len(body) != header_size + payload_size or zlib.crc32(data[: _HEAD.size] + body) != check:
        raise TraceError("packed trace is damaged")
    try:
        about = json.loads(zlib.decompressobj().decompress(body[:header_size], _LONGEST_HEADER))
        rows, planes, masked = about["rows"], about["planes"], about["masked"]
        channels = len(about["channels"])
        sound = (
            0 <= rows <= _MOST_ROWS
            and len(planes) == len(about["first"]) == channels + 1
            and all(1 <= p <= 9 for p in planes)
            and all(0 <= k < channels for k in masked)
            and 0 <= context <= 4
        )
    except (zlib.error, ValueError, KeyError, TypeError) as e:
        raise TraceError("packed trace has no sound header") from e
    if not sound:
        raise TraceError("packed trace has no sound header")
    return context, about, body[header_size:]


def unpack(data: bytes) -> Trace:
    """Unpack. Raises `TraceError` for anything else than what `pack` wrote."""
    context, about, packed = _opened(data)
    rows, planes, masked = about["rows"], about["planes"], about["masked"]
    bits = (rows + 7) // 8
    size = rows * sum(planes) + bits * len(masked)
    reader = lzma.LZMADecompressor(lzma.FORMAT_RAW, filters=_filters(context, _READ_WINDOW))
    try:
        payload = reader.decompress(packed, size + 1) if size else b""
    except lzma.LZMAError as e:
        raise TraceError("packed trace is damaged") from e
    if len(payload) != size:
        raise TraceError("packed trace holds another number of bytes than it says")
    flat = np.frombuffer(payload, np.uint8)
    low = [flat[k * rows : (k + 1) * rows] for k in range(len(planes))]
    at = rows * len(planes)
    columns = []
    for first, base, count in zip(about["first"], low, planes, strict=True):
        high = [flat[at + k * rows : at + (k + 1) * rows] for k in range(count - 1)]
        at += rows * (count - 1)
        columns.append(_column(first, [base, *high]))
    channels = tuple(ChannelMeta(*channel) for channel in about["channels"])
    present = np.ones((rows, len(channels)), np.bool_)
    for k in masked:
        present[:, k] = np.unpackbits(flat[at : at + bits], count=rows).astype(np.bool_)
        at += bits
    counts = np.stack(columns[1:], axis=1) if channels else np.zeros((rows, 0), np.int64)
    return Trace(channels, about["decimals"], np.arange(rows, dtype=np.int64), columns[0], counts, present)

"""A packed trace's size against the order-0 entropy of its deltas, which an ideal coder of single deltas would need.

Beside it the same numbers by zlib, zstd, xz and pcodec.
"""

from __future__ import annotations

import lzma
import zlib
from collections.abc import Callable
from time import perf_counter

import numpy as np
import pcodec.standalone
import zstandard

from press_monitor.archive import pack, unpack
from tests.benchmarks._records import archive_of
from tests.properties.test_packing import order_0_entropy, reference_trace

NAME = "packed trace of 90 min x 6 channels at 1 Hz"
GOAL = 1.08


def _pco(column: np.ndarray) -> bytes:
    """One column by a codec made for such numbers, which finds differences and bins by itself."""
    return bytes(pcodec.standalone.simple_compress(np.ascontiguousarray(column, np.int64), pcodec.ChunkConfig()))


PEERS: dict[str, Callable[[list[np.ndarray]], int]] = {
    "zlib -9": lambda columns: len(zlib.compress(_deltas(columns), 9)),
    "zstd -19": lambda columns: len(zstandard.ZstdCompressor(level=19).compress(_deltas(columns))),
    "xz": lambda columns: len(lzma.compress(_deltas(columns))),
    "pcodec": lambda columns: sum(len(_pco(column)) for column in columns),
}
"""Bytes of time and channels: deltas as 16-bit integers for the general codecs, plain columns for pcodec."""


def _deltas(columns: list[np.ndarray]) -> bytes:
    return b"".join(np.diff(column, prepend=0).astype("<i2").tobytes() for column in columns)


def run(records: int = 1000) -> dict[str, float | str | bool]:
    """Ratios for quiet, typical and noisy probes (0.1, 0.3, 1.0 degF); the promise is about the typical one.

    And what a certificate takes in an archive of so many, with its record, trace and index.
    """
    figures: dict[str, float | str | bool] = {}
    ratios = {}
    for noise in (0.1, 0.3, 1.0):
        trace = reference_trace(noise)
        ideal = order_0_entropy(trace.t) + sum(order_0_entropy(trace.counts[:, k]) for k in range(6))
        start = perf_counter()
        packed = pack(trace)
        middle = perf_counter()
        unpack(packed)
        end = perf_counter()
        ratios[noise] = len(packed) / ideal
        figures[f"size over entropy, noise {noise:g} degF"] = ratios[noise]
        figures[f"bytes a value, noise {noise:g} degF"] = len(packed) / trace.counts.size
        figures[f"pack ms, noise {noise:g} degF"] = (middle - start) * 1e3
        figures[f"unpack ms, noise {noise:g} degF"] = (end - middle) * 1e3
        columns = [trace.t, *(trace.counts[:, k] for k in range(trace.counts.shape[1]))]
        for name, size in PEERS.items():
            figures[f"size over {name}, noise {noise:g} degF"] = len(packed) / size(columns)
    figures["bytes of a packed cure, noise 0.3 degF"] = float(len(pack(reference_trace(0.3))))
    figures["bytes of a certificate in the archive"] = archive_of(records).stat().st_size / records
    figures["goal"] = f"at most {GOAL:g} times the entropy"
    figures["met"] = ratios[0.3] <= GOAL
    return figures

"""Packed traces give back every row; nothing else unpacks."""

from __future__ import annotations

import zlib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from press_monitor.archive import ChannelMeta, LiveRow, Trace, TraceError, pack, unpack
from press_monitor.archive.trace import _enveloped

INT64 = st.integers(-(1 << 63), (1 << 63) - 1)
SMALL = st.integers(-300, 300)


@st.composite
def traces(draw: st.DrawFn) -> Trace:
    wide = draw(st.integers(0, 5))
    numbers = draw(st.sampled_from([SMALL, INT64]))
    cell = draw(st.sampled_from([numbers, st.none() | numbers, st.none()]))
    channels = tuple(
        ChannelMeta(draw(st.text(max_size=5)), draw(st.sampled_from(["degF", "psi", "°C", ""])), draw(SMALL))
        for _ in range(wide)
    )
    times = draw(st.lists(draw(st.sampled_from([SMALL, INT64])), max_size=40))
    rows: list[LiveRow] = [(k, t, tuple(draw(cell) for _ in range(wide))) for k, t in enumerate(times)]
    return Trace.from_rows(channels, draw(st.integers(0, 6)), rows)


@given(traces())
def test_every_cell_comes_back(trace: Trace) -> None:
    back = unpack(pack(trace))
    assert back.rows() == trace.rows()
    assert (back.channels, back.time_decimals) == (trace.channels, trace.time_decimals)


def test_no_rows_and_one_row() -> None:
    channels = (ChannelMeta("bag", "psi", 2),)
    empty = unpack(pack(Trace.from_rows(channels, 3, [])))
    assert len(empty) == 0 and empty.last_seq == -1 and empty.column("bag").size == 0
    one = unpack(pack(Trace.from_rows(channels, 3, [(0, 1500, (3245,))])))
    assert one.times.tolist() == [1.5] and one.column("bag").tolist() == [32.45]


def test_same_trace_same_bytes() -> None:
    trace = Trace.from_rows((ChannelMeta("bag", "psi", 2),), 3, [(k, k, (k * k,)) for k in range(500)])
    assert pack(trace) == pack(trace)


@settings(max_examples=60)
@given(st.integers(0, 1 << 30))
def test_a_flipped_bit_is_refused(bit: int) -> None:
    packed = bytearray(pack(Trace.from_rows((ChannelMeta("bag", "psi", 2),), 3, [(k, k, (k,)) for k in range(99)])))
    at = bit % (8 * len(packed))
    packed[at // 8] ^= 1 << at % 8
    with pytest.raises(TraceError):
        unpack(bytes(packed))


@given(st.binary(max_size=200))
def test_garbage_is_refused(data: bytes) -> None:
    with pytest.raises(TraceError):
        unpack(data)


@settings(max_examples=200)
@given(st.binary(max_size=60), st.binary(max_size=60), st.integers(0, 255))
def test_garbage_in_a_sound_envelope_is_refused(about: bytes, payload: bytes, context: int) -> None:
    with pytest.raises(TraceError):
        unpack(_enveloped(context, zlib.compress(about), payload))


def test_a_header_that_promises_a_flood_is_refused_before_it_comes() -> None:
    about = b'{"rows":40000000,"decimals":0,"channels":[],"first":[0],"planes":[9],"masked":[]}'
    with pytest.raises(TraceError):
        unpack(_enveloped(1, zlib.compress(about), b""))


def order_0_entropy(column: np.ndarray) -> float:
    """Bytes that an ideal coder needs for a column's deltas, knowing how often each occurs."""
    _, counts = np.unique(np.diff(column), return_counts=True)
    return float(-(counts * np.log2(counts / counts.sum())).sum() / 8)


def reference_trace(noise: float, seed: int = 7) -> Trace:
    """A 90-minute cure at 1 Hz: two mats and a probe cycling on their thermostats, bag, shop air, ram."""
    random = np.random.default_rng(seed)
    t = np.arange(5400)

    def mat(target: float, lag: float) -> np.ndarray:
        heated = 72 + (target - 72) * (1 - np.exp(-t / lag)) + (t > 1500) * 4 * np.sin(2 * np.pi * t / 180)
        return heated - np.maximum(t - 4800, 0) * 0.05

    columns = [
        np.rint((mat(300, 500) + random.normal(0, noise, t.size)) / 0.1),
        np.rint((mat(304, 540) + random.normal(0, noise, t.size)) / 0.1),
        np.rint((32 + t / 5400 + random.normal(0, noise / 6, t.size)) / 0.01),
        np.rint((68 + random.normal(0, noise, t.size)) / 0.1),
        np.rint((mat(280, 1500) + random.normal(0, noise, t.size)) / 0.1),
        np.rint(2000 + random.normal(0, 2, t.size)),
    ]
    names = [("inner_mat", "degF", 1), ("outer_mat", "degF", 1), ("bag", "psi", 2)]
    names += [("air", "degF", 1), ("buried", "degF", 1), ("ram", "psi", 0)]
    counts = np.stack(columns, axis=1).astype(np.int64)
    channels = tuple(ChannelMeta(*name) for name in names)
    return Trace(channels, 3, t, t * 1000, counts, np.ones(counts.shape, np.bool_))


@pytest.mark.parametrize("noise", [0.1, 0.3, 1.0])
def test_packing_comes_near_the_entropy_of_the_deltas(noise: float) -> None:
    trace = reference_trace(noise)
    ideal = order_0_entropy(trace.t) + sum(order_0_entropy(trace.counts[:, k]) for k in range(6))
    assert len(pack(trace)) <= 1.08 * ideal

"""How costs grow: presses a recorder, hours a cure, records an archive; each with the exponent of a power law fitted.

An exponent of 1 is a cost in proportion, 0 one that does not grow.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from press_monitor.archive import pack, unpack
from press_monitor.archive.trace import Trace
from tests.benchmarks import search
from tests.benchmarks._floor import AGES_S
from tests.benchmarks.recorder import measured
from tests.properties.test_packing import reference_trace

NAME = "growth: 1 to 64 presses, 1 to 24 hours, 1,000 to 100,000 records"
GOAL = 1.15
"""The largest exponent that still counts as in proportion."""


def exponent(sizes: Sequence[float], costs: Sequence[float]) -> float:
    """Of the power law through the points, by least squares on logarithms."""
    return float(np.polyfit(np.log(sizes), np.log(costs), 1)[0])


def _long(hours: int) -> Trace:
    """A cure as long as that: the reference trace again and again, with noise of its own each time."""
    whole = reference_trace(0.3)
    rows = 3600 * hours
    again = -(-rows // len(whole))
    counts = np.tile(whole.counts, (again, 1))[:rows]
    counts = counts + np.rint(np.random.default_rng(24).normal(0.0, 2.0, counts.shape)).astype(np.int64)
    seq = np.arange(rows)
    return replace(whole, seq=seq, t=1000 * seq, counts=counts, present=np.ones(counts.shape, np.bool_))


def _least(work: Callable[[], object], rounds: int) -> float:
    times = []
    for _ in range(rounds):
        began = time.process_time()
        work()
        times.append(time.process_time() - began)
    return min(times)


def run(
    presses: Sequence[int] = (1, 4, 16, 64),
    hours: Sequence[int] = (1, 3, 8, 24),
    records: Sequence[int] = (1_000, 10_000, 100_000),
    seconds: float = 15.0,
    warm_up: float = 2.0,
    ages: Sequence[int] = AGES_S,
) -> dict[str, float | str | bool]:
    """Shares of a core, ms of the processor, ms of search; and the exponents."""
    figures: dict[str, float | str | bool] = {}
    shares = [measured(count, seconds, warm_up, ages)["cpu_share"] for count in presses]
    traces = [_long(length) for length in hours]
    packed = [pack(trace) for trace in traces]
    pack_ms = [1e3 * _least(lambda trace=trace: pack(trace), 3) for trace in traces]
    unpack_ms = [1e3 * _least(lambda data=data: unpack(data), 3) for data in packed]
    found = [search.run(count, rounds=8) for count in records]
    search_ms = [float(each["p95 ms"]) for each in found]
    bare_ms = [float(each["bare p95 ms"]) for each in found]
    rows: list[tuple[str, Sequence[float], Sequence[float]]] = [
        ("recorder, share of a core at {:g} presses", presses, shares),
        ("packing a cure of {:g} h, ms", hours, pack_ms),
        ("unpacking a cure of {:g} h, ms", hours, unpack_ms),
        ("bytes of a cure of {:g} h", hours, [float(len(data)) for data in packed]),
        ("search in {:g} records, p95 ms", records, search_ms),
        ("bare SQL on {:g} records, p95 ms", records, bare_ms),
    ]
    exponents = {}
    for words, sizes, costs in rows:
        for size, cost in zip(sizes, costs, strict=True):
            figures[words.format(size)] = cost
        exponents[words] = exponent(sizes, costs)
        figures[f"exponent, {words.split(chr(123))[0].rstrip(' ,')}"] = exponents[words]
    figures["largest exponent"] = max(exponents.values())
    figures["goal"] = f"nothing grows faster than in proportion: exponents at most {GOAL:g}"
    figures["met"] = max(exponents.values()) <= GOAL
    return figures

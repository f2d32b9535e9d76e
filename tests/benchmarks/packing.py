"""A packed trace's size against the order-0 entropy of its deltas: what an ideal coder of single deltas would need."""

from __future__ import annotations

from time import perf_counter

from press_monitor.archive import pack, unpack
from tests.properties.test_packing import order_0_entropy, reference_trace

NAME = "packed trace of 90 min x 6 channels at 1 Hz"
GOAL = 1.08


def run() -> dict[str, float | str | bool]:
    """Ratios for quiet, typical and noisy probes (0.1, 0.3, 1.0 degF); the promise is about the typical one."""
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
    figures["goal"] = f"at most {GOAL:g} times the entropy"
    figures["met"] = ratios[0.3] <= GOAL
    return figures

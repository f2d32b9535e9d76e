"""A small run of the detection benchmark: each fault once, on presses that share nothing with the other tests' bench.

The whole is `python -m tests.benchmarks detection`.
"""

from __future__ import annotations

from itertools import count, islice

import pytest

from tests.benchmarks._plant import FAULTS, Plant
from tests.benchmarks.detection import HOLD_S, leaks_slowly, one, slow_leak

PLAIN = 500
"""Seeds from here on, none of them chosen by what the watch makes of it."""


def is_short(plant: Plant) -> bool:
    """Whether it is read seldom and its fault comes early: the others take a test's time several times over."""
    return plant.interval >= 2.0 and (plant.case.at or 0.0) < 2800.0


def plain_seed(fault: str | None) -> int:
    """The first such press."""
    seeds = count(PLAIN + (0 if fault is None else 1_000_000 * (1 + FAULTS.index(fault))))
    return next(seed for seed in seeds if is_short(Plant(seed, fault, HOLD_S["middle"])))


@pytest.mark.parametrize("fault", [fault for fault in FAULTS if fault != "overdue"])  # which takes hours
def test_a_fault_is_caught_and_named(fault: str) -> None:
    trial = one(fault, plain_seed(fault))
    assert trial.caught_after is not None
    assert trial.misnamed is None
    assert trial.false == ()


def test_a_normal_cure_raises_nothing() -> None:
    assert one(None, plain_seed(None)).false == ()


def test_a_slow_leak_is_found_by_both_and_first_by_the_chart_that_was_told_it() -> None:
    (seed,) = islice(filter(leaks_slowly, count(PLAIN)), 1)
    leak = slow_leak(seed)
    assert leak.watch is not None and leak.peer is not None
    assert leak.peer <= leak.watch

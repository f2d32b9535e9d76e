"""The peers' charts against published tables and worked examples (values from memory, recomputed where said)."""

from __future__ import annotations

import random

import pytest

from tests.benchmarks._sequential import ewma, ewma_limits, limit_for, run_length, siegmund, told, two_sided, upper

SHIFTS = (0.0, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 4.0)


@pytest.mark.parametrize(
    ("h", "lengths"),
    [
        (4.0, (168, 74.2, 26.6, 13.3, 8.38, 4.75, 3.34, 2.19, 1.71)),
        (5.0, (465, 139, 38.0, 17.0, 10.4, 5.75, 4.01, 2.57, 2.01)),
    ],
)
def test_run_lengths_of_the_two_sided_cusum(h, lengths):
    """Montgomery, Introduction to Statistical Quality Control, table 9.3 (k = 0.5), printed to three digits."""
    for shift, expected in zip(SHIFTS, lengths, strict=True):
        assert two_sided(0.5, h, shift) == pytest.approx(expected, rel=5e-3)


def test_siegmunds_approximation():
    """Its closed form: 938.2 one-sided at k = 0.5, h = 5 without a shift, 10.34 with one of 1; and the exact ones."""
    assert siegmund(0.5, 5.0, 0.0) == pytest.approx(938.2, abs=0.05)
    assert siegmund(0.5, 5.0, 1.0) == pytest.approx(10.34, abs=0.005)
    assert siegmund(0.5, 5.0, 0.0) == pytest.approx(run_length(0.5, 5.0, 0.0), rel=0.02)
    assert siegmund(0.2, limit_for(0.2, 1e5), 0.0) == pytest.approx(1e5, rel=1e-6)


def test_the_tabular_cusum():
    """Montgomery, example 9.1: the upper sum signals at sample 29 with 5.28, after seven samples above nothing."""
    values = [
        9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03, 11.47, 10.51, 9.40, 10.08,
        9.37, 10.62, 10.31, 8.52, 10.84, 10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38, 11.62, 11.31, 10.52,
    ]  # fmt: skip
    sums = list(upper(values, 10.0, 0.5))
    assert next(i for i, (total, _) in enumerate(sums, 1) if total > 5.0) == 29
    assert sums[28][0] == pytest.approx(5.28) and sums[28][1] == 7
    assert sums[29][0] == pytest.approx(5.30) and sums[29][1] == 8


def test_the_moving_average_and_its_limits():
    """NIST/SEMATECH e-Handbook 6.3.2.4: limits 52.5884 and 47.4115, the first averages 50.00 to 49.75."""
    assert ewma_limits(50.0, 2.0539, 0.3, 3.0) == pytest.approx((47.4116, 52.5884), abs=2e-4)
    averages = list(ewma([52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0], 50.0, 0.3))
    assert averages == pytest.approx([50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75], abs=0.006)


def test_the_chart_told_the_slope_finds_it_no_later_than_others_of_the_same_false_alarm_rate():
    slope, samples = 0.05, 1e6
    best = told(slope, samples)

    def delay(k: float, h: float) -> float:
        delays = []
        for seed in range(60):
            noise = random.Random(seed)
            ramp = (slope * i + noise.gauss(0.0, 1.0) for i in range(2000))
            delays.append(next(i for i, (total, _) in enumerate(upper(ramp, 0.0, k)) if total > h))
        return sum(delays) / len(delays)

    mine = delay(best.k, best.h)
    for k in (0.25 * best.k, 4.0 * best.k):
        assert mine < delay(k, limit_for(k, samples))

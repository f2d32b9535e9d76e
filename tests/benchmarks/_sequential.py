"""The classical charts, told what the watch has to find out: peers for the delay with which a slow leak is found.

CUSUM: E. S. Page, Biometrika 41 (1954) 100, tabular form as in Montgomery, Introduction to Statistical Quality
Control, ch. 9. EWMA: S. W. Roberts, Technometrics 1 (1959) 239, as in the NIST/SEMATECH e-Handbook 6.3.2.4. Average run
lengths: the Markov chain of Brook & Evans, Biometrika 59 (1972) 539, and Siegmund's approximation (1985). Quoted from
memory; `tests.watch.test_peer_charts` checks them against the published tables.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from scipy.stats import norm


@dataclass(frozen=True)
class Chart:
    """Reference value `k` and limit `h` of a one-sided CUSUM, in standard deviations."""

    k: float
    h: float


def upper(values: Iterable[float], target: float, k: float) -> Iterator[tuple[float, int]]:
    """The upper tabular CUSUM and for how many samples it has been above nothing, value by value."""
    total, count = 0.0, 0
    for value in values:
        total = max(0.0, total + value - target - k)
        count = count + 1 if total > 0.0 else 0
        yield total, count


def ewma(values: Iterable[float], start: float, weight: float) -> Iterator[float]:
    """The exponentially weighted moving average after each value."""
    mean = start
    for value in values:
        mean += weight * (value - mean)
        yield mean


def ewma_limits(target: float, sigma: float, weight: float, width: float) -> tuple[float, float]:
    """Lower and upper limit of the average once it has run for long."""
    half = width * sigma * math.sqrt(weight / (2.0 - weight))
    return target - half, target + half


def run_length(k: float, h: float, shift: float, states: int = 400) -> float:
    """Average run length of a one-sided CUSUM of standard normal values moved by `shift` (Brook & Evans)."""
    width = 2.0 * h / (2 * states - 1)
    at = np.arange(states) * width
    step = at[None, :] - at[:, None] + k - shift
    passing = norm.cdf(step + 0.5 * width) - norm.cdf(step - 0.5 * width)
    passing[:, 0] = norm.cdf(step[:, 0] + 0.5 * width)
    return float(np.linalg.solve(np.eye(states) - passing, np.ones(states))[0])


def two_sided(k: float, h: float, shift: float) -> float:
    """Average run length of the two one-sided ones together (Kemp 1961: the rates add)."""
    return 1.0 / (1.0 / run_length(k, h, shift) + 1.0 / run_length(k, h, -shift))


def siegmund(k: float, h: float, shift: float) -> float:
    """Siegmund's approximation to the one-sided average run length."""
    drift, b = shift - k, h + 1.166
    if abs(drift) < 1e-9:
        return b * b
    return (math.expm1(-2.0 * drift * b) + 2.0 * drift * b) / (2.0 * drift * drift)


def limit_for(k: float, samples: float) -> float:
    """The `h` at which a healthy process runs for so many samples on average, by Siegmund's approximation."""
    low, high = 0.0, 300.0 / k
    for _ in range(80):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if siegmund(k, middle, 0.0) < samples else (low, middle)
    return high


def told(slope: float, samples: float) -> Chart:
    """The chart that finds a ramp of known slope, deviations a sample, soonest at the false-alarm rate given."""
    best: tuple[float, Chart] | None = None
    for k in np.geomspace(0.05, 1.5, 40):
        chart = Chart(float(k), limit_for(float(k), samples))
        first = k / slope  # from here on the ramp is above the reference value and the sum grows
        delay = first + math.sqrt(2.0 * chart.h / slope)
        if best is None or delay < best[0]:
            best = delay, chart
    assert best is not None
    return best[1]

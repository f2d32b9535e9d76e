"""Proportions and 2 x 2 tables against published examples, scipy and statsmodels."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.special import betainc
from statsmodels.stats.proportion import proportion_confint

from press_monitor.audit.statistics import beta_cdf, clopper_pearson, fisher_exact, wilson

# Newcombe, Statistics in Medicine 17 (1998) 857, Table I: 95 % intervals to four places (the table from memory,
# confirmed by statsmodels).
NEWCOMBE = [
    (81, 263, (0.2553, 0.3662), (0.2527, 0.3676)),
    (15, 148, (0.0624, 0.1605), (0.0578, 0.1617)),
    (0, 20, (0.0000, 0.1611), (0.0000, 0.1684)),
    (1, 29, (0.0061, 0.1718), (0.0009, 0.1776)),
]


@pytest.mark.parametrize(("k", "n", "score", "exact"), NEWCOMBE)
def test_intervals_of_the_literature(k: int, n: int, score: tuple[float, float], exact: tuple[float, float]) -> None:
    found = wilson(k, n)
    assert (found.low, found.high) == pytest.approx(score, abs=5e-5)
    found = clopper_pearson(k, n)
    assert (found.low, found.high) == pytest.approx(exact, abs=5e-5)
    assert found.share == k / n


shares = st.integers(1, 4000).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


@settings(max_examples=150, deadline=None)
@given(shares, st.sampled_from([0.8, 0.95, 0.99]))
def test_intervals_against_statsmodels(share: tuple[int, int], confidence: float) -> None:
    k, n = share
    for ours, method in ((clopper_pearson, "beta"), (wilson, "wilson")):
        low, high = proportion_confint(k, n, alpha=1 - confidence, method=method)
        found = ours(k, n, confidence)
        assert found.low == pytest.approx(low, rel=1e-9, abs=1e-15)
        assert found.high == pytest.approx(high, rel=1e-9)
        assert found.low <= k / n <= found.high


@settings(max_examples=100, deadline=None)
@given(st.floats(0, 1), st.integers(1, 5000), st.integers(1, 5000))
def test_the_incomplete_beta_function_against_scipy(x: float, a: int, b: int) -> None:
    assert beta_cdf(x, a, b) == pytest.approx(float(betainc(a, b, x)), rel=1e-9, abs=1e-14)


def test_an_exact_interval_holds_what_it_promises() -> None:
    """Clopper-Pearson covers the true share at least as often as it says: over all outcomes of a few shares."""
    for n in (5, 20, 60):
        intervals = [clopper_pearson(k, n) for k in range(n + 1)]
        for share in (0.02, 0.1, 0.37):
            covered = sum(stats.binom.pmf(i.k, n, share) for i in intervals if i.low <= share <= i.high)
            assert covered >= 0.95


def test_no_cases_tell_nothing() -> None:
    for ours in (clopper_pearson, wilson):
        found = ours(0, 0)
        assert (found.share, found.low, found.high) == (None, 0.0, 1.0)
        for k, n in ((-1, 3), (4, 3), (1, 0)):
            with pytest.raises(ValueError, match="is no share"):
                ours(k, n)


# Fisher's lady tasting tea (1/70), and tables whose values scipy gives.
FISHER = [
    ((3, 1, 1, 3), "two-sided", 0.4857142857),
    ((3, 1, 1, 3), "greater", 0.2428571429),
    ((4, 0, 0, 4), "greater", 1 / 70),
    ((1, 9, 11, 3), "two-sided", 0.002759456185),
    ((8, 2, 1, 5), "two-sided", 0.03496503497),
    ((10, 2, 3, 15), "two-sided", 0.0005367241191),
]


@pytest.mark.parametrize(("table", "alternative", "p"), FISHER)
def test_fishers_test_of_the_literature(table: tuple[int, int, int, int], alternative: str, p: float) -> None:
    assert fisher_exact(*table, alternative) == pytest.approx(p, rel=1e-9)


counts = st.integers(0, 12) | st.integers(0, 300)


@settings(max_examples=200, deadline=None)
@given(counts, counts, counts, counts, st.sampled_from(["two-sided", "greater", "less"]))
def test_fishers_test_against_scipy(a: int, b: int, c: int, d: int, alternative: str) -> None:
    ours = fisher_exact(a, b, c, d, alternative)
    if not (a + b and c + d and a + c and b + d):
        assert ours == 1.0
        return
    theirs = float(stats.fisher_exact([[a, b], [c, d]], alternative=alternative)[1])
    assert ours == pytest.approx(theirs, rel=1e-8, abs=1e-300)


@pytest.mark.parametrize("table", [(86, 4180, 2331, 91_000), (30, 400, 2500, 70_000), (0, 50, 3, 40_000)])
def test_fishers_test_on_a_large_archive(table: tuple[int, int, int, int]) -> None:
    theirs = float(stats.fisher_exact([table[:2], table[2:]])[1])
    assert fisher_exact(*table) == pytest.approx(theirs, rel=1e-8)


def test_tables_that_are_none() -> None:
    with pytest.raises(ValueError, match="none below zero"):
        fisher_exact(-1, 2, 3, 4)
    with pytest.raises(ValueError, match="is no alternative"):
        fisher_exact(1, 2, 3, 4, "sideways")

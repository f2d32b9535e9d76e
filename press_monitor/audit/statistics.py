"""Small-number statistics, exact where it matters: proportions with their intervals, and 2 x 2 tables.

Clopper and Pearson, Biometrika 26 (1934) 404; Wilson, J. Am. Stat. Assoc. 22 (1927) 209; Fisher's exact test on the
hypergeometric distribution. The regularised incomplete beta function is the continued fraction of Abramowitz and
Stegun 26.5.8, evaluated by Lentz's method.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

__all__ = ["Interval", "beta_cdf", "clopper_pearson", "fisher_exact", "wilson"]

_TINY = 1e-300
_STEPS = 500
_NOTHING = 1e-18
_TIE = 1.0 + 1e-7
"""Tables as likely as the one seen count as extreme as it, within rounding."""


@dataclass(frozen=True, slots=True)
class Interval:
    """A share `k` of `n` with its bounds. Without any cases the share is not known: None, from 0 to 1."""

    k: int
    n: int
    share: float | None
    low: float
    high: float


def _log_choose(n: int, k: int) -> float:
    return math.lgamma(n + 1) - math.lgamma(k + 1) - math.lgamma(n - k + 1)


def beta_cdf(x: float, a: float, b: float) -> float:
    """The regularised incomplete beta function I_x(a, b), for a and b above zero."""
    if x <= 0.0:
        return 0.0
    if x >= 1.0:
        return 1.0
    front = math.exp(math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x))
    # The fraction converges fast on this side of the mode; the other side is its mirror image.
    if x < (a + 1.0) / (a + b + 2.0):
        return front * _fraction(x, a, b) / a
    return 1.0 - front * _fraction(1.0 - x, b, a) / b


def _fraction(x: float, a: float, b: float) -> float:
    c, d = 1.0, 1.0 - (a + b) * x / (a + 1.0)
    d = 1.0 / (d if abs(d) > _TINY else _TINY)
    value = d
    for m in range(1, _STEPS):
        for numerator in (
            m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)),
        ):
            d = 1.0 + numerator * d
            d = 1.0 / (d if abs(d) > _TINY else _TINY)
            c = 1.0 + numerator / c
            c = c if abs(c) > _TINY else _TINY
            value *= c * d
        if abs(c * d - 1.0) < 1e-15:
            break
    return value


def _beta_quantile(p: float, a: float, b: float) -> float:
    """The x with I_x(a, b) = p: Newton's steps, halving the bracket wherever one would leave it."""
    low, high, x = 0.0, 1.0, a / (a + b)
    scale = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b)
    for _ in range(200):
        value = beta_cdf(x, a, b)
        if value < p:
            low = x
        else:
            high = x
        density = math.exp(scale + (a - 1.0) * math.log(x) + (b - 1.0) * math.log1p(-x))
        step = x - (value - p) / density if density > 0.0 else low
        following = step if low < step < high else 0.5 * (low + high)
        if following in (low, high) or abs(following - x) <= 1e-15 * x:
            return following
        x = following
    return x


def _checked(k: int, n: int) -> None:
    if not 0 <= k <= n:
        raise ValueError(f"{k} of {n} is no share")


def clopper_pearson(k: int, n: int, confidence: float = 0.95) -> Interval:
    """The exact interval: it holds the true share at least as often as `confidence` says, whatever the share is."""
    _checked(k, n)
    if n == 0:
        return Interval(0, 0, None, 0.0, 1.0)
    tail = (1.0 - confidence) / 2.0
    low = 0.0 if k == 0 else _beta_quantile(tail, k, n - k + 1)
    high = 1.0 if k == n else _beta_quantile(1.0 - tail, k + 1, n - k)
    return Interval(k, n, k / n, low, high)


def _normal_quantile(p: float) -> float:
    from statistics import NormalDist

    return NormalDist().inv_cdf(p)


def wilson(k: int, n: int, confidence: float = 0.95) -> Interval:
    """Wilson's score interval without continuity correction: shorter, and right on average."""
    _checked(k, n)
    if n == 0:
        return Interval(0, 0, None, 0.0, 1.0)
    z = _normal_quantile(0.5 + confidence / 2.0)
    share, z2 = k / n, z * z
    centre = (share + z2 / (2 * n)) / (1 + z2 / n)
    half = z * math.sqrt(share * (1 - share) / n + z2 / (4 * n * n)) / (1 + z2 / n)
    return Interval(k, n, share, max(0.0, centre - half) if k else 0.0, min(1.0, centre + half) if k < n else 1.0)


def fisher_exact(a: int, b: int, c: int, d: int, alternative: str = "two-sided") -> float:
    """The probability of a table at least as extreme as ``[[a, b], [c, d]]``, its margins given.

    Two-sided: all tables that are no likelier than the one seen. ``greater``: those with at least `a` in the corner.
    An empty row or column tells nothing: 1. Raises ValueError for negative counts or another alternative.
    """
    if min(a, b, c, d) < 0:
        raise ValueError(f"a table of counts wants none below zero: {a}, {b}, {c}, {d}")
    if alternative not in ("two-sided", "greater", "less"):
        raise ValueError(f"{alternative!r} is no alternative")
    row, column, total = a + b, a + c, a + b + c + d
    if not row or not column or row == total or column == total:
        return 1.0
    table = _Hypergeometric(row, column, total)
    if alternative == "greater":
        return table.upwards(a)
    if alternative == "less":
        return table.downwards(a)
    # The chances rise to the mode and fall behind it: on the far side the first table no likelier is found by halving.
    limit = table.log_chance(a) + math.log(_TIE)
    mode = table.mode
    if a <= mode:
        return min(1.0, table.downwards(a) + table.upwards(max(a + 1, table.first_no_likelier(limit, mode))))
    return min(1.0, table.upwards(a) + table.downwards(min(a - 1, table.last_no_likelier(limit, mode))))


@dataclass(frozen=True, slots=True)
class _Hypergeometric:
    """How many of `row` cases fall into a column of `column`, of `total` in all."""

    row: int
    column: int
    total: int

    @property
    def first(self) -> int:
        return max(0, self.column - (self.total - self.row))

    @property
    def last(self) -> int:
        return min(self.row, self.column)

    @property
    def mode(self) -> int:
        return (self.row + 1) * (self.column + 1) // (self.total + 2)

    def log_chance(self, k: int) -> float:
        return (
            _log_choose(self.row, k)
            + _log_choose(self.total - self.row, self.column - k)
            - _log_choose(self.total, self.column)
        )

    def first_no_likelier(self, limit: float, mode: int) -> int:
        """The lowest k above the mode whose chance is at most the limit."""
        low, high = max(mode, self.first), self.last + 1
        while low < high:
            middle = (low + high) // 2
            if self.log_chance(middle) <= limit:
                high = middle
            else:
                low = middle + 1
        return low

    def last_no_likelier(self, limit: float, mode: int) -> int:
        """The highest k up to the mode whose chance is at most the limit."""
        low, high = self.first - 1, min(mode, self.last)
        while low < high:
            middle = (low + high + 1) // 2
            if self.log_chance(middle) <= limit:
                low = middle
            else:
                high = middle - 1
        return low

    def upwards(self, k: int) -> float:
        """The chance of `k` or more, from whichever side is the tail."""
        return 1.0 - self._mirrored().tail(self.column - k + 1) if k < self.mode else self.tail(k)

    def downwards(self, k: int) -> float:
        """The chance of `k` or fewer."""
        return 1.0 - self.tail(k + 1) if k > self.mode else self._mirrored().tail(self.column - k)

    def _mirrored(self) -> _Hypergeometric:
        """The same table with its rows exchanged: few here are many there."""
        return _Hypergeometric(self.total - self.row, self.column, self.total)

    def tail(self, k: int) -> float:
        """The chance of `k` or more where it falls from there on, term by term until nothing is left to add."""
        if k > self.last:
            return 0.0
        k = max(k, self.first)
        term, parts = math.exp(self.log_chance(k)), []
        rest = self.total - self.row - self.column
        while True:
            parts.append(term)
            if k == self.last or term < _NOTHING * parts[0]:
                return min(1.0, math.fsum(parts))
            term *= (self.row - k) * (self.column - k) / ((k + 1) * (rest + k + 1))
            k += 1

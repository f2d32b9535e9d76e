"""The gas of a shut bag: what the mats' past explains of its pressure, and since when it falls without them.

A shut bag keeps its amount of gas, so its absolute pressure follows the gas's absolute temperature (ideal gas), and
that follows the mats with lags nobody knows. The last quarter of an hour of this cure is regressed on a level, a trend
and each mat's first-order lagged temperatures, and beside them on a fall that began some seconds ago: of all such
onsets the likeliest counts (generalised likelihood ratio over the onset, Willsky & Jones 1976; Basseville & Nikiforov
1993, ch. 2.4; quoted from memory). Fall and mats are estimated together, so what has not been learned widens the fall's
own error: mats that leave their usual course explain whatever they may.

No draft, lean on the press, step of a gauge or relief valve may look like a leak: the fall is bigger than a draft takes
from the gas, bigger than anything this bag did before in this cure, and likelier than a step or a fall soon over.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from press_monitor.cure.kinetics import Array
from press_monitor.cure.packing import packed, unpacked
from press_monitor.quantities import PSI
from press_monitor.watch.channels import Channel
from press_monitor.watch.plain import Json, from_json, to_json

__all__ = ["Gas", "noise_of"]

LAGS = (100.0, 300.0, 1000.0)
"""First-order lags of the gas behind a mat, s; what lies between is a mixture of them."""
PER_KELVIN = 0.11 * PSI
"""The pressure that one of a mat's lagged temperatures may move, one standard deviation, Pa/K.

Ideal gas at 47 psi absolute and 300 K: 0.16 psi/K where the gas goes all the way with the mat.
"""
SPAN, LEAST_SPAN = 900.0, 420.0
"""The past that is regressed, and the least of it before a fall, s."""
SETTLED = 60.0
"""It begins so long after the hold has, s."""
OLDER = np.array((27.0, 31.0, 36.0, 42.0, 48.0, 56.0, 66.0, 77.0, 90.0, 110.0))
FALLS = np.array((5.0, 7.0, 10.0, 14.0, 20.0, 27.0, 36.0, 48.0, 64.0, 90.0, 130.0, 180.0))
"""How long ago a fall may have begun, s."""
FALLS_FINER = np.concatenate([np.arange(5.0, 25.0), OLDER, np.array((130.0, 155.0, 180.0))])
"""The same again, closer, where one of them seems to have."""
RIVALS = np.concatenate([np.arange(1.5, 25.0), OLDER])
"""How long ago a step, or a fall that is over in `FLANK` s, may have begun, s."""
FLANK = 4.0
CERTAINTY = 6.0
"""Standard errors. Of independent looks each second one in 10^9, that is 280,000 h, is beyond it by chance."""
RIVALRY = 4.0
"""By so much a fall has to be likelier than a step, twice the logarithm of the likelihood ratio."""
DROP, DROP_PER_S = 0.08 * PSI, 0.0016 * PSI
"""The least fall, and what is added to it for each second it took, Pa and Pa/s: a draft's, gas half a kelvin cooler."""
QUICKEST = 3.0 * PSI / 60.0
"""Faster falls are the short windows' matter, and a relief valve's, Pa/s."""
SLOWEST = 0.04 * PSI / 60.0
UNUSUAL = 1.5
"""A leak falls by so many times the most that the bag fell before in this cure, seen with the same eyes."""
REMEMBERED = 180.0
"""What is not older belongs to the fall that is being judged, s."""
OUT_OF_COURSE = 0.35
"""So far below its lowest of the past regressed a mat's lagged temperature has left its course, K."""
COARSEST = 0.11 * PSI
"""Gauges of coarser steps give stairs, not falls, Pa."""
UNHEARD = 30.0
"""Nobody knows what was done to the bag in a longer silence, s."""
LONGEST = 600.0
"""A fall found is followed so long, s: then the long windows have it."""
FINE, COARSE = 60.0, 6.0
"""The rows of the last minute are kept apart, the older ones in bins of so many seconds."""
LOOK = 10.0
"""How often the whole is computed while nothing draws attention, s."""
ALERT, DRIFT = 3.0, 0.4
"""A one-sided CUSUM of what the last computation did not foresee calls for the next at once."""


def noise_of(channel: Channel) -> float:
    """Noise of one reading of a bag's gauge, Pa: no less than the steps between neighbours and its digit say."""
    return max(channel.noise / 1.13, 0.3 * channel.quantum, 30.0)


@dataclass(slots=True)
class _State:
    lagged: list[float] = field(default_factory=list)
    lagged_t: float | None = None
    row: list[float] = field(default_factory=list)
    """The row that is being gathered: sums of time, pressure, one, and the lagged temperatures."""
    row_t: float = 0.0
    fine: int = 0
    coarse: int = 0
    due: float = 0.0
    foreseen: list[float] = field(default_factory=list)
    """The last computation: its moment, a reading's noise, the level, the trend and the weights."""
    alert: float = 0.0
    seen: list[tuple[float, float]] = field(default_factory=list)
    """Of late: a moment, and the largest fall then, in terms of the least that counts."""
    most: float = 0.0
    """The largest before."""
    since: float | None = None
    rate: float | None = None
    size: float = 0.0


class Gas:
    """What the pressure of one shut bag owes to the mats, and what it does not."""

    def __init__(self, channel: Channel) -> None:
        self._channel = channel
        self._rows: Array = np.zeros((0, 0))
        self.s = _State()

    def save(self) -> Json:
        """Plain JSON."""
        n = self.s.coarse + self.s.fine
        return {"state": to_json(self.s), "columns": self._rows.shape[1], "rows": packed(self._rows[:n])}

    def load(self, data: Json) -> None:
        """Continue from `save`."""
        self.s = from_json(_State, data["state"])
        rows = unpacked(data["rows"], (self.s.coarse + self.s.fine, int(data["columns"])))
        self._rows = np.zeros((max(512, 2 * len(rows)), rows.shape[1]))
        self._rows[: len(rows)] = rows

    def forget(self) -> None:
        """Begin anew; only the mats' lagged temperatures go on."""
        s = self.s
        if s.fine or s.row or s.foreseen or s.seen or s.most or s.since is not None:
            self.s = _State(s.lagged, s.lagged_t)

    def follow(self, t: float, mats: tuple[float | None, ...], start: float | None) -> None:
        """Take the bag's reading at `t` with the mats' temperatures, degC; `start`: the past before it is another."""
        s, value = self.s, self._channel.value
        interval, heard = self._channel.s.interval, s.lagged_t
        known = self._lag(t, mats) and heard is not None and t - heard <= max(UNHEARD, 4.0 * interval)
        if value is None or not known or start is None or t < start + SETTLED or self._channel.quantum > COARSEST:
            self.forget()
            return
        if s.row and t - s.row_t >= 0.95:
            self._keep()
        if not s.row:
            s.row, s.row_t = [0.0] * (3 + len(s.lagged)), t
        for k, x in enumerate((t, value, 1.0, *s.lagged)):
            s.row[k] += x
        if interval < 0.95 and t - s.row_t < 0.95 - 1.01 * interval:
            return
        self._keep()
        self._surprised()
        if t >= s.due or s.alert > ALERT or interval > 3.0:
            s.due = t + LOOK
            self._look(t)

    def _lag(self, t: float, mats: tuple[float | None, ...]) -> bool:
        """Let the lagged temperatures follow the mats; whether all of them can be believed."""
        s = self.s
        known = [mat for mat in mats if mat is not None]
        if len(known) < len(mats) or not known:
            s.lagged, s.lagged_t = [], None
            return False
        if s.lagged_t is None or len(s.lagged) != len(LAGS) * len(known):
            s.lagged = [mat for mat in known for _ in LAGS]
        else:
            parts = [1.0 - math.exp((s.lagged_t - t) / lag) for lag in LAGS]
            goals = [(mat, part) for mat in known for part in parts]
            s.lagged = [at + (goal - at) * part for at, (goal, part) in zip(s.lagged, goals, strict=True)]
        s.lagged_t = t
        return True

    def _keep(self) -> None:
        """Put the row gathered to the others; the oldest of the last minute go into a bin."""
        s = self.s
        width, n = len(s.row), s.coarse + s.fine
        if self._rows.shape[1] != width:
            self._rows = np.zeros((512, width))
            n = s.coarse = s.fine = 0
        if n == len(self._rows):
            self._rows = np.concatenate([self._rows, np.zeros_like(self._rows)])
        rows, count = self._rows, s.row[2]
        rows[n] = [x / count for x in s.row]
        rows[n, 2] = count
        s.fine, s.row = s.fine + 1, []
        first = rows[s.coarse, 0]
        if rows[n, 0] - first < FINE + COARSE:
            return
        last = s.coarse + int(np.searchsorted(rows[s.coarse : n, 0], first + COARSE - 0.5))
        merged = max(last - s.coarse, 1)
        part = rows[s.coarse : s.coarse + merged]
        weights = part[:, 2].copy()
        bin_ = (weights @ part) / weights.sum()
        bin_[2] = weights.sum()
        span = SPAN if s.since is None else max(SPAN, rows[n, 0] - s.since + LEAST_SPAN)
        old = int(np.searchsorted(rows[: s.coarse, 0], rows[n, 0] - span))
        kept = [rows[old : s.coarse].copy(), bin_[None], rows[s.coarse + merged : n + 1].copy()]
        s.coarse, s.fine = s.coarse - old + 1, s.fine - merged
        rows[: s.coarse + s.fine] = np.concatenate(kept)

    def _surprised(self) -> None:
        """Sum up how far the readings since lie below what the last computation foresaw."""
        s = self.s
        if not s.foreseen:
            return
        then, sigma, level, trend, *weights = s.foreseen
        row = self._rows[s.coarse + s.fine - 1].tolist()
        expected = level + trend * (row[0] - then) + sum(w * x for w, x in zip(weights, row[3:], strict=True))
        below = (expected - row[1]) / sigma * row[2] ** 0.5
        s.alert = min(max(s.alert + below - DRIFT, 0.0), 4.0 * ALERT)

    def _look(self, t: float) -> None:
        """Whether a fall that the mats do not explain is going on, and since when."""
        s = self.s
        rows = self._rows[: s.coarse + s.fine]
        longest = self._longest(t, float(rows[0, 0]))
        if longest <= 0.0:
            return
        fit = _Fit(rows, t, noise_of(self._channel))
        while s.seen and s.seen[0][0] < t - REMEMBERED:
            s.most = max(s.most, s.seen.pop(0)[1])
        if s.since is not None:
            lengths = np.array([max(t - s.since, 1.0)])
            self._go_on(lengths, fit.falls(lengths))
            return
        shortest = 3.5 * self._channel.s.interval
        lengths = FALLS[(shortest <= FALLS) & (longest >= FALLS)]
        if not len(lengths):
            return
        falls = fit.falls(lengths)
        s.foreseen = fit.foreseen()
        sure, size = self._sure(lengths, falls), max(float(self._sizes(lengths, falls).max()), 0.0)
        if sure.any() and not fit.out_of_course():
            lengths = FALLS_FINER[(lengths[0] <= FALLS_FINER) & (lengths[-1] >= FALLS_FINER)]
            falls = fit.falls(lengths)
            sure = self._sure(lengths, falls)
            best = int(np.argmax(np.where(sure, falls.gain, -np.inf)))
            if (
                sure[best]
                and falls.gain[best] > falls.gain[falls.rate >= QUICKEST].max(initial=0.0)
                and fit.steady(lengths, falls, best)
            ):
                s.since, s.rate, s.size = t - float(lengths[best]), -float(falls.rate[best]), size
                return
        s.seen.append((t, size))

    def _least(self, lengths: Array) -> Array:
        """The least falls that count, Pa."""
        return DROP + DROP_PER_S * lengths + self._channel.quantum

    def _sizes(self, lengths: Array, falls: _Falls) -> Array:
        """How large the falls are at least, in terms of the least that count."""
        return np.asarray((falls.rate - 2.0 * falls.error) * lengths / self._least(lengths))

    def _sure(self, lengths: Array, falls: _Falls) -> NDArray[np.bool_]:
        """Which of the falls are leaks by their size."""
        large = (falls.rate * lengths > self._least(lengths)) & (self._sizes(lengths, falls) > UNUSUAL * self.s.most)
        return large & (falls.rate > CERTAINTY * falls.error) & (falls.rate < QUICKEST)

    def _go_on(self, lengths: Array, falls: _Falls) -> None:
        """Whether the one fall that was found still goes on."""
        s, rate = self.s, float(falls.rate[0])
        s.size = max(s.size, float(self._sizes(lengths, falls)[0]))
        if rate > max(3.0 * float(falls.error[0]), SLOWEST) and lengths[0] <= LONGEST:
            s.rate = -rate
        else:
            s.since, s.rate, s.most = None, None, max(s.most, s.size)

    def _longest(self, t: float, first: float) -> float:
        """How long ago a fall may have begun, as far as enough was seen before it, s."""
        return t - first - LEAST_SPAN + FINE if t - first >= LEAST_SPAN else 0.0


@dataclass(frozen=True, slots=True)
class _Falls:
    """Falls of several lengths, one beside another: rate and its error, Pa/s; readings' variance, Pa2; gain."""

    rate: Array
    error: Array
    variance: Array
    gain: Array
    """Twice the logarithm of the likelihood ratio against no fall."""


class _Fit:
    """Least squares of the rows on level, trend and lagged temperatures, with a fall or a step beside them."""

    def __init__(self, rows: Array, t: float, sigma: float) -> None:
        self._rows, self._t, self._sigma = rows, t, sigma
        root = np.sqrt(rows[:, 2])
        self._root = root
        self._ago = rows[:, 0] - t
        self._mean = rows[:, 3:].mean(axis=0)
        self._pressure = float(rows[:, 1].mean())
        x = np.empty((len(rows), rows.shape[1] - 1))
        x[:, 0] = 1.0
        x[:, 1] = self._ago / 300.0
        x[:, 2:] = rows[:, 3:] - self._mean
        x *= root[:, None]
        self._x = x
        self._y = (rows[:, 1] - self._pressure) * root
        normal = x.T @ x
        index = np.arange(2, x.shape[1])
        normal[index, index] += (sigma / PER_KELVIN) ** 2
        self._inverse = np.linalg.inv(normal)
        self._xy = x.T @ self._y
        self._weights = self._inverse @ self._xy
        self._left = float(self._y @ self._y - self._weights @ self._xy)

    def foreseen(self) -> list[float]:
        """The moment, a reading's noise, the level there, the trend in Pa/s, and Pa/K for each lagged temperature."""
        sigma = max(math.sqrt(max(self._left, 0.0) / len(self._y)), self._sigma)
        weights = self._weights
        level = self._pressure + float(weights[0] - weights[2:] @ self._mean)
        return [self._t, sigma, level, float(weights[1]) / 300.0, *weights[2:].tolist()]

    def _beside(self, shapes: Array) -> tuple[Array, Array, Array]:
        """Of each shape beside the regression: its size times what it is worth, what it is worth, its trend's part."""
        shapes = shapes * self._root[:, None]
        shared = self._x.T @ shapes
        part = self._inverse @ shared
        return (
            shapes.T @ self._y - shared.T @ self._weights,
            (shapes * shapes).sum(axis=0) - (shared * part).sum(axis=0),
            part[1],
        )

    def falls(self, lengths: Array) -> _Falls:
        """Falls that began so many seconds ago. A rise that was going on may have ended with it, and is no fall."""
        size, worth, part = self._beside(np.minimum(-(self._ago[:, None] + lengths), 0.0))
        worth = np.maximum(worth, 1e-9)
        rate = size / worth
        freedom = max(len(self._y) - self._x.shape[1] - 1, 1)
        variance = np.maximum((self._left - size * rate) / freedom, self._sigma**2)
        rising = np.maximum((self._weights[1] - part * rate) / 300.0, 0.0)
        return _Falls(rate - rising, np.sqrt(variance / worth), variance, size * rate / variance)

    def steady(self, lengths: Array, falls: _Falls, best: int) -> bool:
        """Whether a fall has gone on all the time: no step, none that was over in seconds, no few strayed readings."""
        since = self._ago[:, None] + RIVALS
        shapes = np.concatenate([-(since > -1e-6).astype(np.float64), -np.clip(since / FLANK, 0.0, 1.0)], axis=1)
        size, worth, _ = self._beside(shapes)
        rivals = np.maximum(size, 0.0) ** 2 / np.maximum(worth, 1e-9) / falls.variance[best]
        return bool(falls.gain[best] > rivals.max() + RIVALRY) and self._throughout(
            float(lengths[best]), float(falls.rate[best])
        )

    def _throughout(self, length: float, rate: float) -> bool:
        """Whether the pressure itself fell, and half of its readings of late are as low as that says: no few strays."""
        shape = np.minimum(-(self._ago + length), 0.0) * self._root
        weights = self._weights - rate * (self._inverse @ (self._x.T @ shape))
        bare = self._x @ weights / self._root
        begun = int(np.searchsorted(self._ago, -length))
        later = slice(int(np.searchsorted(self._ago, -0.5 * length)), None)
        below = bare[later] - self._y[later] / self._root[later]
        least = 0.5 * rate * length
        return bool(np.median(below) > least and bare[begun] - bare[-1] > least - rate * length)

    def out_of_course(self) -> bool:
        """Whether a mat has just gone lower than it did in all the time regressed."""
        past = self._rows[: int(np.searchsorted(self._ago, -FINE)), 3 :: len(LAGS)]
        return not len(past) or bool((self._rows[-1, 3 :: len(LAGS)] < past.min(axis=0) - OUT_OF_COURSE).any())

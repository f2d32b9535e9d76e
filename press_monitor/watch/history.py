"""A short memory of one signal, with the few questions the detectors ask of it."""

from __future__ import annotations

from bisect import bisect_left
from itertools import pairwise
from operator import mul

from press_monitor.cure.packing import packed_list, unpacked
from press_monitor.watch.plain import Json

__all__ = ["History"]

_SECONDS = tuple(map(float, range(1024)))


class History:
    """The last `window` seconds of a signal, kept no closer than `spacing` seconds."""

    def __init__(self, window: float, spacing: float = 0.0) -> None:
        self._window, self._spacing = window, spacing
        self.t: list[float] = []
        self.v: list[float] = []
        self._even = 0
        """How many of the newest came whole seconds apart, on whole seconds, less one."""

    def save(self) -> Json:
        """Plain JSON, packed: a watch keeps thousands of values, and is saved each minute."""
        n = len(self.t)
        times = {"from": self.t[0]} if 0 < n <= self._even + 1 else {"t": packed_list(self.t)}
        return {"n": n, **times, "v": packed_list(self.v)}

    def load(self, data: Json) -> None:
        """Continue from `save`."""
        n = int(data["n"])
        self.v = unpacked(data["v"], (n,)).tolist()
        if "from" in data:
            self.t, self._even = [float(data["from"]) + second for second in range(n)], n - 1
        else:
            self.t, self._even = unpacked(data["t"], (n,)).tolist(), 0
            for before, after in pairwise(self.t):
                self._even = self._even + 1 if _second_after(before, after) else 0

    def __len__(self) -> int:
        return len(self.t)

    def clear(self) -> None:
        """Forget everything."""
        self.t.clear()
        self.v.clear()

    def add(self, t: float, value: float) -> None:
        """Take a value; one that comes too soon after the last kept one is not kept."""
        if self.t and t - self.t[-1] < self._spacing - 1e-9:
            return
        self._even = self._even + 1 if self.t and _second_after(self.t[-1], t) else 0
        self.t.append(t)
        self.v.append(value)
        if t - self.t[0] > 1.25 * self._window:
            cut = bisect_left(self.t, t - self._window)
            del self.t[:cut], self.v[:cut]

    def since(self, t: float) -> int:
        """Index of the first value at or after `t`."""
        return bisect_left(self.t, t - 1e-9)

    def spans(self, seconds: float, now: float) -> bool:
        """Whether the memory reaches back `seconds` before `now`."""
        return bool(self.t) and self.t[0] <= now - seconds + 1e-9

    def before(self, t: float) -> int:
        """Index of the last value kept at or before `t`; -1 where there is none."""
        return bisect_left(self.t, t + 1e-9) - 1

    def at(self, t: float) -> float | None:
        """The last value kept at or before `t`."""
        index = self.before(t)
        return self.v[index] if index >= 0 else None

    def mean(self, start: float, end: float) -> float | None:
        """The mean of the values from `start` to `end`."""
        values = self.v[self.since(start) : bisect_left(self.t, end + 1e-9)]
        return sum(values) / len(values) if values else None

    def low(self, start: float, end: float) -> float | None:
        """The lowest value from `start` to `end`."""
        values = self.v[self.since(start) : bisect_left(self.t, end + 1e-9)]
        return min(values) if values else None

    def high(self, start: float, end: float) -> float | None:
        """The highest value from `start` to `end`."""
        values = self.v[self.since(start) : bisect_left(self.t, end + 1e-9)]
        return max(values) if values else None

    def slope(self, start: float) -> float | None:
        """Least-squares slope per second of everything since `start`; None with fewer than three values."""
        first = self.since(start)
        v = self.v[first:]
        n = len(v)
        if n < 3:
            return None
        if n - 1 <= self._even and n <= len(_SECONDS):
            # small whole numbers: the same to the last bit without being added up
            sum_t, sum_tt = 0.5 * n * (n - 1), n * (n - 1) * (2 * n - 1) / 6.0
            sum_tv = sum(map(mul, _SECONDS, v))
        else:
            origin = self.t[first]
            t = [at - origin for at in self.t[first:]]
            sum_t, sum_tt, sum_tv = sum(t), sum(map(mul, t, t)), sum(map(mul, t, v))
        sum_v = sum(v)
        under = n * sum_tt - sum_t * sum_t
        return (n * sum_tv - sum_t * sum_v) / under if under > 0.0 else None

    def noise(self, start: float) -> float:
        """The size of a typical step between neighbours since `start` (median of absolute differences)."""
        first = self.since(start)
        steps = sorted(abs(b - a) for a, b in pairwise(self.v[first:]))
        return steps[len(steps) // 2] if steps else 0.0


def _second_after(before: float, after: float) -> bool:
    return after - before == 1.0 and after % 1.0 == 0.0

"""Is the bag leaking? A trend told from noise, temperature, relief valve and regulator; never a certified leak rate.

A bank of least-squares slopes over windows from twenty seconds to ten minutes, each with its own error from the
channel's noise: fast leaks show in the short ones, slow ones in the long ones (a generalised likelihood ratio over the
onset, Basseville & Nikiforov 1993, ch. 2.4, quoted from memory). What the mats' own cooling may take of the absolute
pressure (ideal gas) is not counted, and a drop that is over at once is the relief valve's. Where the bag is shut, what
the mats explain of its pressure is learned in this cure besides (`gas`), and slow leaks show much sooner.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import accumulate, pairwise
from operator import mul

from press_monitor.quantities import ATMOSPHERE, PSI
from press_monitor.watch.channels import COARSE, Channel
from press_monitor.watch.gas import Gas, noise_of
from press_monitor.watch.history import History
from press_monitor.watch.plain import Json, from_json, to_json

__all__ = ["Cooling", "Leak"]

Cooling = Callable[[float], float]
"""The share of the bag's absolute pressure that the mats' fall since a moment may have taken (ideal gas), 0 or more."""

# window in s -> the slowest fall that counts in it, Pa/s
_FINE = ((20.0, 0.75 * PSI / 60.0), (40.0, 0.55 * PSI / 60.0))
_COARSE = (
    (80.0, 0.40 * PSI / 60.0),
    (160.0, 0.25 * PSI / 60.0),
    (320.0, 0.16 * PSI / 60.0),
    (600.0, 0.11 * PSI / 60.0),
)
SETTLED = 300.0
"""The coarse windows begin so long after the hold has, s: the gas is still warming before."""
CERTAINTY = 4.0
COARSEST_FINE = 0.11 * PSI
"""Steps coarser than this tell nothing within a minute."""
POP = 0.25 * PSI
STEP_LIKE = 0.85
"""A fall counts as steady only where a line leaves less than this share of what the best single step leaves."""
TOOTH = 0.25 * PSI


@dataclass(slots=True)
class _State:
    since: float | None = None
    rate: float | None = None
    quiet_until: float = 0.0
    last_bin: float = 0.0
    coarse_rate: float | None = None
    turn_value: float | None = None
    turn_t: float = 0.0
    extreme_value: float = 0.0
    extreme_t: float = 0.0
    rising: bool = False
    fell: float = 0.0
    falling: float = 0.0
    refills: list[float] = field(default_factory=list)


class Leak:
    """The trend of one bag channel."""

    def __init__(self, channel: Channel, *, shut: bool = False) -> None:
        self._channel = channel
        self._gas = Gas(channel) if shut else None
        self.s = _State()

    def save(self) -> Json:
        """Plain JSON."""
        return {"state": to_json(self.s), "gas": None if self._gas is None else self._gas.save()}

    def load(self, data: Json) -> None:
        """Continue from `save`."""
        self.s = from_json(_State, data.get("state", data))  # an earlier version kept nothing else
        if self._gas is not None and data.get("gas") is not None:
            self._gas.load(data["gas"])

    def follow(
        self,
        t: float,
        *,
        up_since: float,
        settled_since: float | None,
        cooling: Cooling,
        sinking: bool,
        mats: tuple[float | None, ...],
    ) -> None:
        """Take the tick at `t`, the mats in degC; `sinking` says that they have been losing heat for minutes."""
        channel, s = self._channel, self.s
        smooth = channel.smooth(t, 5.0)
        if channel.value is None or smooth is None:
            return
        self._notice_pops(t)
        self._follow_teeth(t, smooth, sinking=sinking)
        start = max(s.quiet_until, up_since + 30.0)
        rate = self._fine(t, start, cooling)
        bins = channel.coarse.t
        if bins and bins[-1] != s.last_bin:
            s.last_bin = bins[-1]
            calm = max(start, (settled_since if settled_since is not None else t) + SETTLED)
            s.coarse_rate = self._coarse(t, calm, cooling)
        rate = rate if rate is not None else s.coarse_rate
        begun = None
        if self._gas is not None:
            self._gas.follow(t, mats, None if settled_since is None else max(start, settled_since))
            if rate is None:
                begun, rate = self._gas.s.since, self._gas.s.rate
        if rate is not None:
            if s.since is None:
                s.since = begun if begun is not None else self._onset(t, smooth, rate, start)
            s.rate = rate
        elif s.since is not None and self._over(t):
            s.since = s.rate = None

    def _fine(self, t: float, start: float, cooling: Cooling) -> float | None:
        history = self._channel.history
        if self._channel.quantum > COARSEST_FINE:
            return None
        for window, least in _FINE:
            span = self._channel.limit(window)
            if t - span >= start and (rate := self._falling(history, t, span, 1.0, least, cooling)) is not None:
                return rate
        return None

    def _coarse(self, t: float, start: float, cooling: Cooling) -> float | None:
        coarse = self._channel.coarse
        per_bin = max(COARSE / self._channel.s.interval, 1.0)
        for window, least in _COARSE:
            span = max(window, 8.0 * self._channel.s.interval)
            if t - span >= start and (rate := self._falling(coarse, t, span, per_bin, least, cooling)) is not None:
                return rate
        return None

    def _falling(
        self, history: History, t: float, span: float, per_point: float, least: float, cooling: Cooling
    ) -> float | None:
        """The slope over the last `span`, Pa/s, where it is surely a leak."""
        first = history.since(t - span)
        n = len(history) - first
        if n < 4:
            return None
        slope = history.slope(t - span)
        if slope is None or slope > -least:
            return None
        if not _steadily(history.v[first:]) or _popped(history.v[first:]):
            return None
        absolute = history.v[-1] + ATMOSPHERE
        explained = cooling(t - span) * absolute / span
        error = noise_of(self._channel) / per_point**0.5 * (12.0 / n) ** 0.5 / span
        quantised = self._channel.quantum / span
        return slope if slope + explained + CERTAINTY * error + quantised < -0.6 * least else None

    def _onset(self, t: float, value: float, rate: float, start: float) -> float:
        """When it began: where the fall, drawn backwards, meets the highest level of the last ten minutes."""
        top = self._channel.coarse.high(t - 600.0, t)
        level = max(top if top is not None else value, value)
        return max(t - (level - value) / max(-rate, 1e-9), t - 600.0, start)

    def _over(self, t: float) -> bool:
        slope = self._channel.history.slope(t - self._channel.limit(90.0))
        return slope is None or slope > -0.04 * PSI / 60.0

    def _notice_pops(self, t: float) -> None:
        """A relief valve's drop is over in seconds: forget what came before it."""
        recent, s = self._channel.recent, self.s
        span = max(6.0, 3.0 * self._channel.s.interval)
        before, last = recent.at(t - span), recent.at(t - 0.5 * span)
        value = self._channel.value
        if before is None or last is None or value is None:
            return
        size = max(POP, 2.0 * self._channel.quantum, 8.0 * self._channel.noise)
        if before - value > size and last - value < 0.25 * (before - value):
            s.quiet_until = t

    def _follow_teeth(self, t: float, value: float, *, sinking: bool) -> None:
        """Find the saw-tooth of a supply that keeps refilling a leak: slow fall, quick rise."""
        s = self.s
        if s.turn_value is None:
            s.turn_value, s.turn_t, s.extreme_value, s.extreme_t = value, t, value, t
            return
        if value > s.extreme_value if s.rising else value < s.extreme_value:
            s.extreme_value, s.extreme_t = value, t
            return
        tooth = max(TOOTH, 2.5 * self._channel.quantum, 4.0 * self._channel.noise)
        if abs(value - s.extreme_value) < tooth:
            return
        travelled, took = abs(s.extreme_value - s.turn_value), s.extreme_t - s.turn_t
        if not s.rising:
            s.fell, s.falling = travelled, took
        elif s.fell > tooth and travelled > tooth and not sinking and s.falling > 2.5 * max(took, 1.0):
            s.refills = [x for x in s.refills if x > t - 900.0] + [s.extreme_t]
        s.turn_value, s.turn_t = s.extreme_value, s.extreme_t
        s.rising = not s.rising
        s.extreme_value, s.extreme_t = value, t

    def refills(self, t: float) -> list[float]:
        """The refills of the last quarter of an hour."""
        return [x for x in self.s.refills if x > t - 900.0]


def _steadily(values: list[float]) -> bool:
    """Whether values fall all the way, each quarter its part: a drop that is over at once does not."""
    quarter = len(values) / 4.0
    cuts = [round(quarter * k) for k in range(5)]
    means = [sum(values[a:b]) / (b - a) for a, b in pairwise(cuts)]
    least = 0.12 * (means[0] - means[3])
    return least > 0.0 and all(a - b > least for a, b in pairwise(means))


def _popped(values: list[float]) -> bool:
    """Whether one sudden drop between two levels explains the values about as well as a steady fall does.

    Sums of squares left by the best step and by the least-squares line: which of the two it was is seen in what each
    leaves unexplained, also where a relief valve's drop is small and the readings are noisy and coarse.
    """
    n = len(values)
    mean = sum(values) / n
    v = [value - mean for value in values]
    around: float = sum(map(mul, v, v))
    middle = 0.5 * (n - 1)
    along = sum((i - middle) * value for i, value in enumerate(v))
    line = around - along * along * 12.0 / (n * (n * n - 1.0))
    steps = [(below * below / (i + 1) + below * below / (n - 1 - i)) for i, below in enumerate(accumulate(v[:-1]))]
    return line > STEP_LIKE * (around - max(steps))

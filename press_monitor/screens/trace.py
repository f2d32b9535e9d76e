"""The readings of one cycle so far, in SI, growing as rows arrive."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from press_monitor.archive.trace import Trace
from press_monitor.archive.types import CycleStart
from press_monitor.quantities import to_si
from press_monitor.readings.types import Role, role_of

__all__ = ["LiveTrace"]

Floats = NDArray[np.float64]

_LEAST_GAP_S = 5.0


class LiveTrace:
    """Times in s and one column a channel (degC, Pa gauge, A); nan where a channel had no value.

    Columns grow by doubling, so appending is cheap and what `times` and `column` return are views.
    """

    def __init__(self, start: CycleStart) -> None:
        self.start = start
        self.last_seq = -1
        self.roles: dict[Role, tuple[int, ...]] = {}
        for n, channel in enumerate(start.channels):
            role = role_of(channel.name)
            self.roles[role] = (*self.roles.get(role, ()), n)
        self._size = 0
        self._data: Floats = np.empty((1 + len(start.channels), 256))
        self.order = tuple(role_of(channel.name) for channel in start.channels)
        self._gap: tuple[int, float] = (0, _LEAST_GAP_S)
        self._lines = [_line(c.unit, c.decimals) for c in start.channels]

    def __len__(self) -> int:
        return self._size

    def extend(self, new: Trace) -> None:
        """Append rows newer than `last_seq`."""
        if not len(new):
            return
        wanted = self._size + len(new)
        if wanted > self._data.shape[1]:
            grown = np.empty((self._data.shape[0], max(wanted, 2 * self._data.shape[1])))
            grown[:, : self._size] = self._data[:, : self._size]
            self._data = grown
        part = self._data[:, self._size : wanted]
        part[0] = new.times
        for n, (slope, offset) in enumerate(self._lines):
            part[1 + n] = np.where(new.present[:, n], new.counts[:, n] * slope + offset, np.nan)
        self._size, self.last_seq = wanted, new.last_seq

    @property
    def times(self) -> Floats:
        """Seconds on the cycle's axis, shape (rows,)."""
        return self._data[0, : self._size]

    def column(self, role: Role, which: int = 0) -> Floats | None:
        """Values of the `which`-th channel of a role, shape (rows,); None where there is none."""
        found = self.roles.get(role, ())
        return self._data[1 + found[which], : self._size] if which < len(found) else None

    def since(self, t: float) -> Floats:
        """The rows from second `t` of the cycle's axis on, shape (channels, rows), the channels in `order`."""
        return self._data[1:, int(np.searchsorted(self.times, t)) : self._size]

    def row(self, n: int) -> Floats:
        """Row `n`: a value a channel, in `order`."""
        return self._data[1:, n]

    @property
    def gap(self) -> float:
        """Seconds between two rows from which on the record counts as broken: four usual intervals, at least 5 s."""
        if self._gap[0] != self._size:
            steps = np.sort(np.diff(self.times[-200:]))
            usual = float(steps[steps.size // 2]) if steps.size else 0.0  # np.median would load all of numpy.ma
            self._gap = self._size, max(_LEAST_GAP_S, 4.0 * usual)
        return self._gap[1]


def _line(unit: str, decimals: int) -> tuple[float, float]:
    """Slope and offset from a kept integer to SI; units unknown here are kept as they are."""
    scale = 10.0**-decimals
    try:
        offset = to_si(0.0, unit)
        return (to_si(1.0, unit) - offset) * scale, offset
    except ValueError:
        return scale, 0.0

"""Thermocouple emf to temperature and back, exact on the whole range of types K J T E N S R B.

`Thermocouple.emf` is the ITS-90 reference function (NIST Monograph 175 = IEC 60584-1 = ASTM E230).
`Thermocouple.temperature` inverts that function itself, within 1e-7 degC; it is not the published inverse
polynomial, off by up to 0.06 degC. Both refuse what lies outside the type's range; nothing is extrapolated.

How the inverse is made: at first use, each piece of the reference function is inverted by Newton's method, to
rounding, at 2049 points; between two of them runs the cubic that has their values and slopes. Where a curve bottoms
out (the cold end of K, T, E, N, and type B) temperature goes with the square root of the emf above the bottom, so
the points are even in that.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from press_monitor.readings.coefficients import REFERENCE_FUNCTIONS, Piece, SINGLE_VALUED_FROM_mV
from press_monitor.readings.types import SignalError

__all__ = ["TYPES", "Converted", "Thermocouple", "thermocouple", "thermocouple_report"]

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

TYPES = tuple(REFERENCE_FUNCTIONS)
"""The letters known: K J T E N S R B."""

_ROUNDING_mV = 1e-9
"""Adding and taking off a cold junction may leave the end of a range by a rounding error; that much is forgiven."""

_CELLS = 2_048

_BLOCK = 32_768
"""Values worked on at a time: the working arrays stay in the processor's cache."""


class Converted(NamedTuple):
    """An array conversion: `values` hold NaN exactly where `in_range` is False. Look at the mask first."""

    values: FloatArray
    in_range: BoolArray


@dataclass(frozen=True, slots=True)
class _Table:
    """The inverse of one piece at even steps of w, where w = sqrt(E - bottom), or E where there is no bottom.

    Cell i covers w = first + [i, i + 1] / per_w; there t = a0 + u (a1 + u (a2 + u a3)) with u from 0 to 1.
    """

    bottom: float | None
    first: float
    per_w: float
    a0: FloatArray
    a1: FloatArray
    a2: FloatArray
    a3: FloatArray


class _Branch:
    """One piece of a reference function with its inverse. Arguments must lie inside it."""

    def __init__(self, piece: Piece, lowest_emf: float | None) -> None:
        self.piece = piece
        self.low, self.high = piece.low, piece.high
        self._falling = tuple(reversed(piece.c))
        self.high_emf = self.emf(self.high)
        self.low_emf = self.emf(self.low) if lowest_emf is None else lowest_emf
        self._table: _Table | None = None

    def emf(self, t: float) -> float:
        """E(t) in mV at t degC."""
        e = 0.0
        for c in self._falling:
            e = e * t + c
        if self.piece.bump is not None:
            a0, a1, a2 = self.piece.bump
            e += a0 * math.exp(a1 * (t - a2) ** 2)
        return e

    def emfs(self, t: FloatArray) -> FloatArray:
        """`emf` of an array."""
        e = np.full_like(t, self._falling[0])
        for c in self._falling[1:]:
            e *= t
            e += c
        if self.piece.bump is not None:
            a0, a1, a2 = self.piece.bump
            square = t - a2
            square *= square
            square *= a1
            np.exp(square, out=square)
            square *= a0
            e += square
        return e

    def slopes(self, t: FloatArray) -> FloatArray:
        """dE/dt in mV per degC."""
        powers = range(len(self.piece.c) - 1, 0, -1)
        slope = np.zeros_like(t)
        for power in powers:
            slope = slope * t + power * self.piece.c[power]
        if self.piece.bump is not None:
            a0, a1, a2 = self.piece.bump
            slope += a0 * np.exp(a1 * (t - a2) ** 2) * 2.0 * a1 * (t - a2)
        return slope

    def temperature(self, e: float) -> float:
        """The t with E(t) = e."""
        table = self.table
        w = e if table.bottom is None else math.sqrt(e - table.bottom)
        u = (w - table.first) * table.per_w
        i = min(max(int(u), 0), _CELLS - 1)
        u -= i
        t = float(table.a3[i])
        for column in (table.a2, table.a1, table.a0):
            t = t * u + float(column[i])
        return min(max(t, self.low), self.high)

    def temperatures(self, e: FloatArray) -> FloatArray:
        """`temperature` of an array, to the same last bit."""
        table = self.table
        u = (e if table.bottom is None else np.sqrt(e - table.bottom)) - table.first
        u *= table.per_w
        i = u.astype(np.intp)
        np.clip(i, 0, _CELLS - 1, out=i)
        u -= i
        t = table.a3.take(i)
        for column in (table.a2, table.a1, table.a0):
            t *= u
            t += column.take(i)
        return np.clip(t, self.low, self.high, out=t)

    @property
    def table(self) -> _Table:
        """The inverse's table, made at first use (about a millisecond)."""
        if self._table is None:
            self._table = self._made_table()
        return self._table

    def _made_table(self) -> _Table:
        ends = np.array([self.low, self.low + 1.0])
        slope, next_slope = self.slopes(ends)
        bottom: float | None = None
        if next_slope > slope:
            # the parabola that the curve follows at its cold end, and where that has its lowest point
            bottom = self.emf(self.low) - float(slope**2 / (2.0 * (next_slope - slope)))
        first, last = (
            (self.low_emf, self.high_emf)
            if bottom is None
            else (math.sqrt(self.low_emf - bottom), math.sqrt(self.high_emf - bottom))
        )
        w = np.linspace(first, last, _CELLS + 1)
        e = w if bottom is None else w * w + bottom
        t = self._inverted(e)
        # dt/dw of each node, times the width of a cell
        step = (last - first) / _CELLS
        run = step / self.slopes(t) if bottom is None else step * 2.0 * w / self.slopes(t)
        rise = np.diff(t)
        return _Table(
            bottom=bottom,
            first=first,
            per_w=1.0 / step,
            a0=t[:-1].copy(),
            a1=run[:-1].copy(),
            a2=3.0 * rise - 2.0 * run[:-1] - run[1:],
            a3=run[:-1] + run[1:] - 2.0 * rise,
        )

    def _inverted(self, e: FloatArray) -> FloatArray:
        """The exact inverse by Newton's method from a straight-line start between whole degrees."""
        grid = np.linspace(self.low, self.high, 4 * int(self.high - self.low) + 1)
        forward = self.emfs(grid)
        rising = int(np.argmin(forward))
        t = np.interp(e, forward[rising:], grid[rising:])
        for _ in range(6):
            t = np.clip(t - (self.emfs(t) - e) / self.slopes(t), self.low, self.high)
        return t


class Thermocouple:
    """One thermocouple type. Get it by letter from `thermocouple`; emf in mV, temperatures in degC.

    Attributes:
        letter: K J T E N S R or B.
        temperatures_from, temperatures_to: the reference function's range, degC.
        emf_from, emf_to: what can be inverted, mV with the cold junction at 0 degC. For type B it starts at
            0.291 mV (about 250 degC): below that one emf means two temperatures.
    """

    def __init__(self, letter: str) -> None:
        single_valued_from = SINGLE_VALUED_FROM_mV.get(letter)
        self.letter = letter
        self._branches = tuple(
            _Branch(piece, single_valued_from if place == 0 else None)
            for place, piece in enumerate(REFERENCE_FUNCTIONS[letter])
        )
        self._two_valued = single_valued_from is not None
        self.temperatures_from, self.temperatures_to = self._branches[0].low, self._branches[-1].high
        self.emf_from, self.emf_to = self._branches[0].low_emf, self._branches[-1].high_emf

    def __repr__(self) -> str:
        return f"Thermocouple({self.letter!r})"

    def emf(self, temperature: float, cold_junction: float = 0.0) -> float:
        """What a voltmeter reads, mV, with its terminals at `cold_junction`: E(t) - E(cold junction).

        Raises `SignalError` for a temperature (of either junction) outside the type's range.
        """
        measured = self._emf(temperature)
        return measured - self._emf(cold_junction) if cold_junction != 0.0 else measured

    def temperature(self, emf: float, cold_junction: float = 0.0) -> float:
        """The temperature at which a voltmeter with its terminals at `cold_junction` reads `emf` mV.

        The emfs are added, E = emf + E(cold junction), and the sum is inverted. Raises `SignalError` where the sum
        lies outside the type's range, or the cold junction does.
        """
        total = emf + self._emf(cold_junction) if cold_junction != 0.0 else emf
        if not self.emf_from - _ROUNDING_mV <= total <= self.emf_to + _ROUNDING_mV:
            raise SignalError(self._refusal(emf, total, cold_junction))
        total = min(max(total, self.emf_from), self.emf_to)
        return next(branch for branch in self._branches if total <= branch.high_emf).temperature(total)

    def emfs(self, temperatures: npt.ArrayLike) -> Converted:
        """E(t), mV, of an array of degC in any shape. Nothing is raised: see `Converted`."""
        t = np.asarray(temperatures, dtype=np.float64)
        parts = [(branch.high, branch.emfs) for branch in self._branches]
        return _converted(t, self.temperatures_from, self.temperatures_to, 0.0, parts)

    def temperatures(self, emfs: npt.ArrayLike, cold_junctions: npt.ArrayLike = 0.0) -> Converted:
        """`temperature` of an array of mV in any shape; `cold_junctions` (degC) is one number or fits that shape.

        Nothing is raised: see `Converted`. Costs about as much as evaluating the published inverse polynomial.
        """
        total = np.asarray(emfs, dtype=np.float64)
        cold = np.asarray(cold_junctions, dtype=np.float64)
        if cold.ndim or cold != 0.0:
            total = total + self.emfs(cold).values
        parts = [(branch.high_emf, branch.temperatures) for branch in self._branches]
        return _converted(total, self.emf_from, self.emf_to, _ROUNDING_mV, parts)

    def _emf(self, t: float) -> float:
        for branch in self._branches:
            if branch.low <= t <= branch.high:
                return branch.emf(t)
        low, high = self.temperatures_from, self.temperatures_to
        raise SignalError(f"type {self.letter}: {t:g} degC is outside its range, {low:g} to {high:g} degC")

    def _refusal(self, emf: float, total: float, cold_junction: float) -> str:
        what = f"type {self.letter}: {emf:g} mV"
        if cold_junction != 0.0:
            what += f" with the cold junction at {cold_junction:g} degC, {total:.4f} mV in all,"
        if self._two_valued and total < self.emf_from:
            limit = self._branches[0].temperature(self.emf_from)
            return f"{what} is under {self.emf_from:g} mV (about {limit:.0f} degC): too little to tell a temperature"
        return f"{what} is outside its range, {self.emf_from:.4f} to {self.emf_to:.4f} mV"


def _converted(
    x: FloatArray,
    low: float,
    high: float,
    slack: float,
    parts: Sequence[tuple[float, Callable[[FloatArray], FloatArray]]],
) -> Converted:
    """Each value from `low` to `high` through the first part whose upper limit it does not pass, block by block."""
    flat = np.ravel(x)
    out = np.empty_like(flat)
    in_range = np.ones(flat.shape, dtype=np.bool_)
    for start in range(0, len(flat), _BLOCK):
        here = slice(start, start + _BLOCK)
        block = flat[here]
        lowest, highest = block.min(), block.max()
        if not (low <= lowest and highest <= high):  # also where there is a NaN
            in_range[here] = (block >= low - slack) & (block <= high + slack)
            block = np.clip(np.where(in_range[here], block, high), low, high)
            lowest, highest = block.min(), block.max()
        below = -math.inf
        for upper, convert in parts:
            if lowest > below and highest <= upper:
                out[here] = convert(block)
            elif lowest <= upper and highest > below:
                chosen = np.flatnonzero((block > below) & (block <= upper))
                out[here][chosen] = convert(block[chosen])
            below = upper
        if not in_range[here].all():
            out[here][~in_range[here]] = np.nan
    return Converted(out.reshape(x.shape), in_range.reshape(x.shape))


@cache
def _by_letter(letter: str) -> Thermocouple:
    return Thermocouple(letter)


def thermocouple(letter: str) -> Thermocouple:
    """The type by its letter, small or capital. Raises `SignalError` for a letter there is no type of."""
    known = letter.strip().upper()
    if known not in REFERENCE_FUNCTIONS:
        raise SignalError(f"no thermocouple type {letter!r}: known are {' '.join(TYPES)}")
    return _by_letter(known)


def thermocouple_report(
    type_: str, mv: float | None = None, temperature: float | None = None, cold_junction: float = 0.0
) -> dict[str, str | float]:
    """What a technician with a meter asks: the temperature for `mv`, or the mV to expect at `temperature` (degC).

    Args:
        type_: letter of the type.
        mv: what the meter reads, mV; or
        temperature: of the hot junction, degC. One of the two.
        cold_junction: of the meter's terminals, degC.

    Returns:
        ``type``, ``mv`` (as the meter reads it), ``temperature_degC``, ``cold_junction_degC``, unrounded.

    Raises:
        SignalError: unknown type, out of range, or not exactly one of `mv` and `temperature`.
    """
    if (mv is None) == (temperature is None):
        raise SignalError("give either the mV or the temperature")
    kind = thermocouple(type_)
    if mv is None:
        assert temperature is not None
        mv = kind.emf(temperature, cold_junction)
    else:
        temperature = kind.temperature(mv, cold_junction)
    return {"type": kind.letter, "mv": mv, "temperature_degC": temperature, "cold_junction_degC": cold_junction}

"""Reading a driver's options: plain TOML values, every bad or unknown key named in a `DriverError`."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from drivers.base import DriverError

__all__ = ["Options"]


class Options:
    """A table of options that is read key by key; `finish` refuses what nobody asked for.

    Args:
        given: the table.
        where: prefix for the key in messages, e.g. ``faults[2].``.
    """

    def __init__(self, given: Mapping[str, object], where: str = "") -> None:
        self._given = given
        self._where = where
        self._asked: set[str] = set()

    def has(self, key: str) -> bool:
        """Whether the key is there."""
        self._asked.add(key)
        return key in self._given

    def refuse(self, key: str, message: str) -> DriverError:
        """The error that names `key` as it stands in the file."""
        return DriverError(self._where + key, message)

    def value(self, key: str) -> object:
        """Whatever stands there; the key is required."""
        if not self.has(key):
            raise self.refuse(key, "is missing")
        return self._given[key]

    def number(
        self, key: str, default: float | None = None, *, low: float = -math.inf, high: float = math.inf
    ) -> float:
        """A finite number in [low, high]; without a default the key is required."""
        if not self.has(key):
            if default is None:
                raise self.refuse(key, "is missing")
            return default
        value = self._given[key]
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
            raise self.refuse(key, f"wants a number, not {value!r}")
        if not low <= value <= high:
            bounds = f"at least {low:g}" if high == math.inf else f"between {low:g} and {high:g}"
            raise self.refuse(key, f"must be {bounds}, not {value!r}")
        return float(value)

    def maybe(self, key: str, *, low: float = -math.inf, high: float = math.inf) -> float | None:
        """A number as `number` reads it, None where the key is missing."""
        return self.number(key, low=low, high=high) if self.has(key) else None

    def whole(self, key: str, default: int, *, low: int, high: int) -> int:
        """A whole number in [low, high]."""
        value = self._given[key] if self.has(key) else default
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise self.refuse(key, f"wants a whole number between {low} and {high}, not {value!r}")
        return value

    def text(self, key: str, default: str | None = None, *, among: Sequence[str] = ()) -> str:
        """A string, one of `among` where that is given; without a default the key is required."""
        if not self.has(key):
            if default is None:
                raise self.refuse(key, "is missing")
            return default
        value = self._given[key]
        if not isinstance(value, str) or (among and value not in among):
            wanted = f"one of {', '.join(among)}" if among else "text"
            raise self.refuse(key, f"wants {wanted}, not {value!r}")
        return value

    def yes(self, key: str, default: bool) -> bool:
        """True or false."""
        value = self._given[key] if self.has(key) else default
        if not isinstance(value, bool):
            raise self.refuse(key, f"wants true or false, not {value!r}")
        return value

    def texts(self, key: str, default: Sequence[str]) -> tuple[str, ...]:
        """A list of strings."""
        value = self._given[key] if self.has(key) else default
        if isinstance(value, str) or not isinstance(value, Sequence) or not all(isinstance(v, str) for v in value):
            raise self.refuse(key, f"wants a list of texts, not {value!r}")
        return tuple(value)

    def table(self, key: str) -> Mapping[str, object]:
        """A table; empty where the key is missing."""
        value = self._given[key] if self.has(key) else {}
        if not isinstance(value, Mapping):
            raise self.refuse(key, f"wants a table, not {value!r}")
        return value

    def tables(self, key: str) -> tuple[Mapping[str, object], ...]:
        """A list of tables; empty where the key is missing."""
        value = self._given[key] if self.has(key) else ()
        if isinstance(value, str) or not isinstance(value, Sequence):
            raise self.refuse(key, f"wants a list of tables, not {value!r}")
        for entry in value:
            if not isinstance(entry, Mapping):
                raise self.refuse(key, f"wants a list of tables, not {entry!r} in it")
        return tuple(value)

    def finish(self) -> None:
        """Refuse the first key that nobody asked for."""
        for key in self._given:
            if key not in self._asked:
                raise self.refuse(str(key), f"unknown key; known: {', '.join(sorted(self._asked))}")

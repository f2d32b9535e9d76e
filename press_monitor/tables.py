"""Reading TOML tables by hand and by the book: every key known, every error naming file, line and key."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TypeVar

from press_monitor.quantities import Dimension, QuantityError, parse, parse_difference

__all__ = ["ShopError", "Table", "read_toml"]

T = TypeVar("T")
_TOML_LINE = re.compile(r" \(at line (\d+), column \d+\)")


class ShopError(Exception):
    """A shop or repair file that cannot be used; `str()` is one line naming file, line and key."""

    def __init__(self, file: str, line: int | None, key: str | None, message: str) -> None:
        place = f"{file}:{line}" if line else file
        key = key if key is None or key.isprintable() else repr(key)
        message = " ".join(message.split())
        super().__init__(f"{place}: {key}: {message}" if key else f"{place}: {message}")
        self.file, self.line, self.key, self.message = file, line, key, message


def read_toml(path: Path, text: str | None = None) -> Table:
    """The root table of a TOML file (or of `text`, told apart by `path` in messages). Raises `ShopError`."""
    name = str(path)
    if text is None:
        try:
            text = path.read_text(encoding="utf-8-sig")
        except FileNotFoundError:
            raise ShopError(name, None, None, "no such file") from None
        except IsADirectoryError:
            raise ShopError(name, None, None, "is a folder, not a file") from None
        except OSError as error:
            raise ShopError(name, None, None, error.strerror or str(error)) from None
        except UnicodeDecodeError:
            raise ShopError(name, None, None, "is not a text file (UTF-8)") from None
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = _TOML_LINE.search(str(error))
        line = int(found.group(1)) if found else None
        raise ShopError(name, line, None, _TOML_LINE.sub("", str(error))) from None
    except (RecursionError, ValueError) as error:
        raise ShopError(name, None, None, f"is not TOML: {error}") from None
    return Table(name, text.splitlines(), (), data)


class Table:
    """One TOML table that remembers which keys were asked for, so that what is left is unknown."""

    def __init__(self, file: str, lines: list[str], path: tuple[str, ...], data: dict[str, object]) -> None:
        self.file, self.path, self.data = file, path, data
        self._lines = lines
        self._known: set[str] = set()

    def error(self, key: str | None, message: str) -> ShopError:
        """A `ShopError` at a key of this table."""
        path = ".".join((*self.path, key) if key else self.path)
        return ShopError(self.file, self._line_of(key), path or None, message)

    def _line_of(self, key: str | None) -> int | None:
        """The line a key stands on: under its table's header, else the header's own."""
        names: list[str] = []
        start: int | None = -1
        for at, part in enumerate(self.path):
            if part.isdigit() and at > 0:
                continue
            names.append(part)
            following = self.path[at + 1] if at + 1 < len(self.path) else ""
            wanted = int(following) if following.isdigit() else 1
            found = self._header(".".join(names), start if start is not None else -1, wanted)
            start = found if found is not None or at + 1 >= len(self.path) - following.isdigit() else start
        if start is None:
            return self._line_inline(names, key)
        if key is None:
            return start + 1 if start >= 0 else None
        return self._line_below(names, key, start)

    def _header(self, name: str, after: int, wanted: int) -> int | None:
        """Index of the `wanted`-th header of a table after a line."""
        for number in range(after + 1, len(self._lines)):
            bare = self._lines[number].split("#", 1)[0].strip().replace('"', "").replace(" ", "")
            if bare in (f"[{name}]", f"[[{name}]]"):
                wanted -= 1
                if wanted == 0:
                    return number
        return None

    def _line_below(self, names: list[str], key: str, start: int) -> int | None:
        """The line of a key in the table whose header is line `start` (-1: the root)."""
        path = ".".join([*names, key])
        for number in range(start + 1, len(self._lines)):
            bare = self._lines[number].strip()
            if bare.startswith("["):
                named = bare.split("#", 1)[0].strip("[] ").replace('"', "")
                if named == path or named.startswith(path + "."):
                    return number + 1
                if names:
                    break
            if re.match(rf'"?{re.escape(key)}"?\s*[=.]', bare):
                return number + 1
        return start + 1 if names else self._line_inline(names, key)

    def _line_inline(self, names: list[str], key: str | None) -> int | None:
        """For inline tables: the first line that names the last known part of the path."""
        for part in [key, *reversed(names)]:
            if part is None:
                continue
            for number, raw in enumerate(self._lines):
                if re.search(rf"(?<![\w-]){re.escape(part)}(?![\w-])", raw.split("#", 1)[0]):
                    return number + 1
        return None

    def has(self, key: str) -> bool:
        """Whether the key is given; marks it as known."""
        self._known.add(key)
        return key in self.data

    def _take(self, key: str) -> object:
        if not self.has(key):
            raise self.error(key, "is missing")
        return self.data[key]

    def text(self, key: str, default: str | None = None) -> str:
        """A text."""
        if default is not None and not self.has(key):
            return default
        value = self._take(key)
        if not isinstance(value, str):
            raise self.error(key, f"wants text, got {value!r}")
        return value

    def flag(self, key: str, default: bool | None = None) -> bool | None:
        """True or false."""
        if not self.has(key):
            return default
        value = self.data[key]
        if not isinstance(value, bool):
            raise self.error(key, f"wants true or false, got {value!r}")
        return value

    def number(self, key: str, low: float, high: float, default: float | None = None) -> float:
        """A plain number within limits."""
        if default is not None and not self.has(key):
            return default
        value = self._take(key)
        if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
            raise self.error(key, f"wants a number from {low:g} to {high:g}, got {value!r}")
        return float(value)

    def choice(self, key: str, options: tuple[str, ...], default: str | None = None) -> str:
        """One of a few words."""
        value = self.text(key, default)
        if value not in options:
            raise self.error(key, f"wants one of {', '.join(options)}; got {value!r}")
        return value

    def quantity(
        self, key: str, dimension: Dimension, *, above: float | None = None, difference: bool = False
    ) -> float:
        """A quantity in SI; `above` is an open lower bound in SI."""
        try:
            value = (parse_difference if difference else parse)(self._take(key), dimension)
        except QuantityError as error:
            raise self.error(key, str(error)) from None
        if above is not None and not value > above:
            raise self.error(key, f"{self.data[key]!r} is too small")
        return value

    def maybe(self, key: str, read: Callable[[str], T]) -> T | None:
        """What `read` gives for the key, or None where it is not there."""
        return read(key) if self.has(key) else None

    def table(self, key: str) -> Table:
        """A table below this one; an empty one where it is missing."""
        value = self.data.get(key, {})
        self._known.add(key)
        if not isinstance(value, dict):
            raise self.error(key, "wants a table")
        return Table(self.file, self._lines, (*self.path, key), value)

    def tables(self, key: str) -> list[Table]:
        """An array of tables below this one."""
        value = self.data.get(key, [])
        self._known.add(key)
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            raise self.error(key, "wants a list of tables")
        return [Table(self.file, self._lines, (*self.path, key, str(i + 1)), item) for i, item in enumerate(value)]

    def named(self, key: str) -> Iterator[tuple[str, Table]]:
        """The tables of a table of tables, by name."""
        group = self.table(key)
        for name in group.data:
            yield name, group.table(name)

    def raw(self, key: str) -> dict[str, object]:
        """A table handed on as it is (a driver's own options)."""
        return dict(self.table(key).data)

    def done(self) -> None:
        """Refuse whatever was not asked for."""
        for key in self.data:
            if key not in self._known:
                near = difflib.get_close_matches(key, self._known, 1)
                raise self.error(key, "is not a known key" + (f"; did you mean {near[0]}?" if near else ""))

"""The log format: the one parser and the one writer of cure logs (CSV, UTF-8, LF or CRLF).

A log is optional ``# key: value`` lines, a header ``elapsed_s,name[unit],...`` and rows of plain decimal numbers
with strictly rising `elapsed_s`. One empty cell among filled ones is an open probe; a row with no filled cell says
that nothing came. Anything else is refused with one line naming the file, the line and the column.
"""

from __future__ import annotations

import csv
import hashlib
import os
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

__all__ = [
    "LARGEST_VALUE",
    "MOST_DECIMALS",
    "Column",
    "Log",
    "LogError",
    "format_log",
    "parse_log",
    "read_log",
    "write_log",
]

MOST_DECIMALS = 6
"""Decimals kept of a number; finer ones are rounded away."""
LARGEST_VALUE = 1e9
"""Largest magnitude taken: times 10**6 it is still an exact integer in a double and in 64 bits."""
_MOST_BYTES = 256 * 1024 * 1024
_LONGEST_NAME = 64
_CLOCK = "elapsed_s"

_TEMPERATURE = frozenset({"degF", "degC"})
_PRESSURE = frozenset({"psi", "kPa", "bar"})
_CURRENT = frozenset({"A", "mA"})
_ELSE = frozenset({"in", "mm", "ft", "m", "s", "min", "h", "kJ/mol", "W/m/K", "kg/m3", "J/kg/K", "W/m2/K"})
_KNOWN = _TEMPERATURE | _PRESSURE | _CURRENT | _ELSE | {"mV", "ohm"}
# A channel may be logged in its sensor's raw signal: thermocouple mV, Pt100 ohm, transmitter mA.
_ROLES: tuple[tuple[re.Pattern[str], frozenset[str], str], ...] = (
    (
        re.compile(r"(inner_mat|outer_mat|air|buried)(\.[2-9]\d*)?"),
        _TEMPERATURE | {"mV", "ohm", "mA"},
        "a temperature",
    ),
    (re.compile(r"(bag|ram)(\.[2-9]\d*)?"), _PRESSURE | {"mA"}, "a pressure"),
    (re.compile(r"(inner|outer)_mat_current(\.[2-9]\d*)?"), _CURRENT, "a current"),
)
_HEADER_CELL = re.compile(r"([^\[\]]+)\[([^\[\]]+)\]")
_CONTROL = re.compile(r"[\x00-\x08\x0a-\x1f\x7f]")
_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.(\d*))?|\.(\d+))(?:[eE]([+-]?\d{1,3}))?", re.ASCII)


class LogError(Exception):
    """A log that cannot be used. Its text is one line naming file, line and column, as far as there are any.

    Attributes:
        file: the name it was read under.
        line: 1-based line in the file, None where the whole file is meant.
        column: the column's heading (or ``column 3`` where it has none), None where a whole line is meant.
        message: what is wrong.
    """

    def __init__(self, file: str, line: int | None, column: str | None, message: str) -> None:
        self.file, self.line, self.column, self.message = file, line, column, message
        name = file if file.isprintable() else repr(file)
        at = "" if line is None else f", line {line}"
        where = "" if column is None else f", {column if column.isprintable() else repr(column)}"
        super().__init__(f"{name}{at}{where}: {message}")


@dataclass(frozen=True, slots=True)
class Column:
    """One channel of a log: its name, its unit's text, and the decimals its values are written with (0-6)."""

    name: str
    unit: str
    decimals: int

    @property
    def heading(self) -> str:
        """``bag[psi]``."""
        return f"{self.name}[{self.unit}]"

    def scaled(self, value: float) -> int:
        """The exact integer n with ``value == n / 10**decimals``."""
        return round(value * float(10**self.decimals))


@dataclass(frozen=True, slots=True)
class Log:
    """One parsed log.

    Attributes:
        path: the name it was read under.
        comments: its ``# key: value`` lines in order; a line without a colon has the key ``""``.
        columns: the channels, in the file's order.
        time_decimals: decimals `elapsed_s` is written with (0-6).
        times: strictly rising seconds, each exactly n / 10**time_decimals.
        rows: one a time: a value or None (open probe) for each column, or ``()`` where nothing came.
            Each value is exactly n / 10**decimals of its column.
        header_line: 1-based line of the header.
        sha256: hex digest of the file's bytes.
    """

    path: str
    comments: tuple[tuple[str, str], ...]
    columns: tuple[Column, ...]
    time_decimals: int
    times: tuple[float, ...]
    rows: tuple[tuple[float | None, ...], ...]
    header_line: int
    sha256: str

    def comment(self, key: str) -> str | None:
        """The first comment under `key`, None where there is none."""
        return next((value for name, value in self.comments if name == key), None)


def read_log(path: str | os.PathLike[str]) -> Log:
    """Read and parse one file. Raises `LogError`, also where the file is missing or cannot be read."""
    name = os.fspath(path)
    try:
        with open(path, "rb") as file:
            data = file.read(_MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise LogError(name, None, None, f"cannot be read: {why}") from None
    if len(data) > _MOST_BYTES:
        raise LogError(name, None, None, f"is larger than {_MOST_BYTES // 2**20} MiB")
    return parse_log(data, name)


def parse_log(data: bytes, name: str) -> Log:
    """Parse a log's bytes; `name` stands in messages. Raises `LogError` and nothing else."""
    if not data.strip():
        raise LogError(name, None, None, "is empty")
    comments: list[tuple[str, str]] = []
    table: _Table | None = None
    for number, text in _lines(data, name, comments):
        cells = _cells(text, name, number)
        if table is None:
            table = _Table(name, number, cells)
        else:
            table.add(number, cells)
    if table is None:
        raise LogError(name, None, None, f"has no header ({_CLOCK},name[unit],...)")
    return table.finish(tuple(comments), hashlib.sha256(data).hexdigest())


def _lines(data: bytes, name: str, comments: list[tuple[str, str]]) -> Iterator[tuple[int, str]]:
    """Yield each line that is neither blank nor a comment; comments are collected and never refused."""
    if data.startswith(b"\xef\xbb\xbf"):
        data = data[3:]
    for number, raw in enumerate(data.split(b"\n"), start=1):
        line = raw.removesuffix(b"\r").strip(b" \t")
        if not line:
            continue
        if line.startswith(b"#"):
            key, colon, value = line[1:].decode("utf-8", errors="replace").partition(":")
            comments.append((key.strip(), value.strip()) if colon else ("", key.strip()))
            continue
        try:
            text = line.decode("utf-8")
        except UnicodeDecodeError as error:
            raise LogError(name, number, None, f"is not UTF-8 text (byte {error.start + 1})") from None
        if _CONTROL.search(text):
            raise LogError(name, number, None, "is not text: it holds control characters")
        yield number, text


def _cells(text: str, name: str, number: int) -> list[str]:
    if '"' not in text:
        return [cell.strip() for cell in text.split(",")]
    try:
        return [cell.strip() for cell in next(csv.reader([text], strict=True, skipinitialspace=True))]
    except (csv.Error, StopIteration):
        raise LogError(name, number, None, "has quotes that do not pair up") from None


class _Table:
    """The header and the rows gathered so far."""

    def __init__(self, name: str, line: int, cells: Sequence[str]) -> None:
        self._name = name
        self._line = line
        if cells[0] != _CLOCK:
            raise LogError(name, line, "column 1", f"the header must begin with {_CLOCK}, not {_quoted(cells[0])}")
        if len(cells) == 1:
            raise LogError(name, line, None, "the header names no channel")
        self._names: list[tuple[str, str]] = []
        for index, cell in enumerate(cells[1:], start=2):
            channel = self._channel(index, cell)
            if channel[0] in (known for known, _ in self._names):
                raise LogError(name, line, _quoted(cell), "names a channel twice")
            self._names.append(channel)
        self._headings = [_CLOCK, *(f"{channel}[{unit}]" for channel, unit in self._names)]
        self._decimals = [0] * len(self._headings)
        self._times: list[float] = []
        self._rows: list[tuple[float | None, ...]] = []

    def _channel(self, index: int, cell: str) -> tuple[str, str]:
        found = _HEADER_CELL.fullmatch(cell)
        channel, unit = (found.group(1).strip(), found.group(2).strip()) if found else ("", "")
        where = f"column {index}" if not cell else _quoted(cell)
        if not found or not channel or not unit:
            raise LogError(self._name, self._line, where, "is not written name[unit]")
        if not channel.isprintable() or '"' in channel or len(channel) > _LONGEST_NAME or channel == _CLOCK:
            raise LogError(self._name, self._line, where, "is not a name for a channel")
        if unit not in _KNOWN:
            raise LogError(self._name, self._line, where, f"unknown unit {_quoted(unit)}")
        for role, units, what in _ROLES:
            if role.fullmatch(channel) and unit not in units:
                raise LogError(self._name, self._line, where, f"{channel} is {what}, {unit} does not fit")
        return channel, unit

    def add(self, line: int, cells: Sequence[str]) -> None:
        """Take one row."""
        if len(cells) > len(self._headings):
            raise LogError(self._name, line, None, self._count(len(cells)))
        if not any(cells):
            return
        if not cells[0]:
            raise LogError(self._name, line, _CLOCK, "is empty in a row with readings")
        time = self._number(line, 0, cells[0])
        if self._times and time <= self._times[-1]:
            raise LogError(self._name, line, _CLOCK, f"does not rise: {time:g} after {self._times[-1]:g}")
        row: tuple[float | None, ...] = ()
        if any(cells[1:]):
            if len(cells) < len(self._headings):
                raise LogError(self._name, line, None, self._count(len(cells)))
            row = tuple(self._number(line, i, cell) if cell else None for i, cell in enumerate(cells) if i)
        self._times.append(time)
        self._rows.append(row)

    def _count(self, cells: int) -> str:
        return f"has {cells} cells, the header has {len(self._headings)}"

    def _number(self, line: int, index: int, cell: str) -> float:
        found = _NUMBER.fullmatch(cell)
        if not found:
            raise LogError(self._name, line, self._headings[index], f"{_quoted(cell)} is not a plain number")
        value = float(cell)
        if not abs(value) <= LARGEST_VALUE:
            raise LogError(self._name, line, self._headings[index], f"{_quoted(cell)} is beyond any instrument")
        decimals = len(found.group(1) or found.group(2) or "") - int(found.group(3) or 0)
        if decimals > MOST_DECIMALS:
            decimals = MOST_DECIMALS
            value = round(value * 10**decimals) / 10**decimals
        self._decimals[index] = max(self._decimals[index], decimals)
        return value

    def finish(self, comments: tuple[tuple[str, str], ...], digest: str) -> Log:
        """The whole log; one with no row at all is refused."""
        if not self._times:
            raise LogError(self._name, self._line, None, "no row follows the header")
        pairs = zip(self._names, self._decimals[1:], strict=True)
        columns = tuple(Column(channel, unit, decimals) for (channel, unit), decimals in pairs)
        return Log(
            self._name,
            comments,
            columns,
            self._decimals[0],
            tuple(self._times),
            tuple(self._rows),
            self._line,
            digest,
        )


def _quoted(text: str) -> str:
    """A cell fit for a message: short, quoted where it is odd."""
    short = text if len(text) <= 40 else text[:37] + "..."
    return f'"{short}"' if short.isprintable() else repr(short)


def format_log(
    columns: Sequence[Column],
    times: Iterable[float],
    rows: Iterable[Sequence[float | None]],
    *,
    time_decimals: int = 0,
    comments: Iterable[tuple[str, str]] = (),
) -> bytes:
    """Write a log as `parse_log` reads it; a row of ``()`` says that nothing came.

    Raises ValueError for what no log can say: a broken comment, name or unit, times that do not rise as written,
    a value that is not finite, a row of another length, no row, or a lone column's open probe.
    """
    lines: list[str] = []
    for key, value in comments:
        line = f"# {key}: {value}" if key else f"# {value}"
        if "\n" in line or "\r" in line:
            raise ValueError(f"a comment is one line: {line!r}")
        lines.append(line)
    lines.append(",".join([_CLOCK, *(column.heading for column in columns)]))
    for time, row in zip(times, rows, strict=True):
        if len(row) not in (0, len(columns)):
            raise ValueError(f"a row of {len(row)} values for {len(columns)} columns at {time}")
        if row and all(value is None for value in row):
            raise ValueError(f"a row of nothing but open probes cannot be told from no readings, at {time}")
        cells = [
            "" if value is None else f"{value:.{column.decimals}f}"
            for column, value in zip(columns, row or [None] * len(columns), strict=True)
        ]
        lines.append(",".join([f"{time:.{time_decimals}f}", *cells]))
    data = ("\n".join(lines) + "\n").encode("utf-8")
    try:
        parse_log(data, "log")
    except LogError as error:
        raise ValueError(str(error)) from None
    return data


def write_log(path: str | os.PathLike[str], log: Log) -> None:
    """Write a log to a file as `format_log` does. Raises ValueError and OSError."""
    data = format_log(log.columns, log.times, log.rows, time_decimals=log.time_decimals, comments=log.comments)
    Path(path).write_bytes(data)

"""Lines of text from an instrument, turned into samples. No port here: bytes in, samples out.

Nothing that comes down a wire makes it raise, and what cannot be understood never becomes a number: it is a
`Fault.GARBLED` sample for the channels it should have held.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from drivers.base import Fault, Sample
from drivers.options import Options

__all__ = ["LineFormat", "LineReader", "read_line_format"]

# How instruments write a unit behind a number; another one than the channel's own garbles the value.
_WRITTEN = {
    "degF": {"f", "degf", "°f"},
    "degC": {"c", "degc", "°c"},
    "psi": {"psi", "psig"},
    "kPa": {"kpa"},
    "bar": {"bar", "barg"},
    "A": {"a"},
    "mA": {"ma"},
    "mV": {"mv"},
    "ohm": {"ohm", "ohms", "ω"},
}
_NUMBER = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?)\s*([^\s\d].*)?", re.ASCII)
_TARGET = re.compile(r"\s*([^\[\]\s]+)\s*\[\s*([^\[\]\s]+)\s*\]\s*")
_LABEL = re.compile(r"(?<![\w.])([A-Za-z][\w.#-]*)\s*[=:]", re.ASCII)
_LARGEST = 1e9


@dataclass(frozen=True, slots=True)
class _Target:
    """A channel and its unit."""

    channel: str
    unit: str


@dataclass(frozen=True, slots=True)
class LineFormat:
    """How a line is read.

    Attributes:
        targets: every channel a line may hold, by label, by group name, or by position (``"0"``, ``"1"``, …).
        split: takes a line to its cells by the same keys; None where the line does not have the form.
        open_marks: cells that say an open sensor.
        ignore: lines beginning so are skipped; empty for none.
        encoding, newline, longest: of a line.
    """

    targets: Mapping[str, _Target]
    split: Callable[[str], Mapping[str, str] | None]
    open_marks: frozenset[str]
    ignore: str
    encoding: str
    newline: bytes
    longest: int


def read_line_format(options: Options) -> LineFormat:
    """Read the format out of a driver's options; the caller calls `finish`. Raises `DriverError` naming the key."""
    encoding = options.text("encoding", "ascii", among=("ascii", "utf-8", "latin-1", "cp1252"))
    newline = options.text("newline", "\n", among=("\n", "\r", "\r\n"))
    if options.has("fields"):
        if options.has("labels") or options.has("pattern"):
            raise options.refuse("fields", "stands alone: leave out labels and pattern")
        targets, split = _delimited(options)
    else:
        targets, split = _named(options)
    channels = [target.channel for target in targets.values()]
    if len(set(channels)) < len(channels):
        raise options.refuse("fields" if options.has("fields") else "labels", "gives one channel twice")
    return LineFormat(
        targets,
        split,
        frozenset(mark.strip() for mark in options.texts("open_marks", ("OPEN", "----", ""))),
        options.text("ignore", "#"),
        encoding,
        b"\r" if newline == "\r" else b"\n",
        options.whole("max_line", 256, low=8, high=65_536),
    )


def _target(options: Options, key: str, written: object) -> _Target:
    found = _TARGET.fullmatch(written) if isinstance(written, str) else None
    if not found:
        raise options.refuse(key, f'wants "name[unit]", not {written!r}')
    if found.group(2) not in _WRITTEN:
        raise options.refuse(key, f'unknown unit "{found.group(2)}"; known: {", ".join(_WRITTEN)}')
    return _Target(found.group(1), found.group(2))


def _delimited(options: Options) -> tuple[dict[str, _Target], Callable[[str], Mapping[str, str] | None]]:
    fields = options.texts("fields", ())
    delimiter = options.text("delimiter", ",")
    if not delimiter:
        raise options.refuse("delimiter", "is empty")
    targets = {str(n): _target(options, f"fields[{n}]", field) for n, field in enumerate(fields) if field.strip()}
    if not targets:
        raise options.refuse("fields", "names no channel")

    # A delimiter of spaces means any run of white space.
    between = delimiter if delimiter.strip(" ") else None

    def split(line: str) -> Mapping[str, str] | None:
        cells = line.split(between)
        return dict(zip(map(str, range(len(cells))), cells, strict=True)) if len(cells) == len(fields) else None

    return targets, split


def _named(options: Options) -> tuple[dict[str, _Target], Callable[[str], Mapping[str, str] | None]]:
    labels = options.table("labels")
    if not labels:
        raise options.refuse("labels", "is missing: give labels, fields, or a pattern with labels")
    targets = {label: _target(options, f"labels.{label}", written) for label, written in labels.items()}
    if not options.has("pattern"):
        for label in targets:
            if not _LABEL.fullmatch(f"{label}="):
                raise options.refuse(f"labels.{label}", "is not a label: letters, digits, _ . # - after a letter")
        return targets, lambda line: _labelled(line, targets)
    try:
        pattern = re.compile(options.text("pattern"))
    except (re.error, RecursionError, OverflowError) as error:
        raise options.refuse("pattern", f"is not a regular expression: {error}") from None
    if set(pattern.groupindex) != set(targets):
        raise options.refuse(
            "pattern", f"its groups ({', '.join(pattern.groupindex)}) are not the labels ({', '.join(targets)})"
        )

    def split(line: str) -> Mapping[str, str] | None:
        found = pattern.fullmatch(line)
        return {k: v for k, v in found.groupdict().items() if v is not None} if found else None

    return targets, split


def _labelled(line: str, targets: Mapping[str, _Target]) -> Mapping[str, str] | None:
    marks = list(_LABEL.finditer(line))
    cells: dict[str, str] = {}
    ends = [*(mark.start() for mark in marks[1:]), len(line)]
    for mark, end in zip(marks, ends, strict=False):
        label = mark.group(1)
        if label in targets:
            text = line[mark.end() : end].strip(" \t,;")
            # One label twice in a line: neither value can be believed.
            cells[label] = "?" if label in cells else text
    return cells or None


class LineReader:
    """Gathers bytes into lines and lines into samples.

    What comes before the first newline is dropped: a line that was joined half-way may read like a whole one.
    """

    def __init__(self, form: LineFormat) -> None:
        self._form = form
        self._buffer = bytearray()
        self._skipping = True

    @property
    def partial(self) -> bool:
        """Whether a line has begun and not ended."""
        return bool(self._buffer)

    def reset(self) -> None:
        """Forget what has begun, as after the port was opened again."""
        self._buffer.clear()
        self._skipping = True

    def feed(self, data: bytes, at: float) -> list[Sample]:
        """Take bytes that came at `at`; return the samples of each line they ended. Never raises."""
        samples: list[Sample] = []
        pieces = data.split(self._form.newline)
        for index, piece in enumerate(pieces):
            self._buffer += piece
            if len(self._buffer) > self._form.longest:
                if not (self._skipping and samples):
                    samples += self._garbled(at)
                self._skipping = True
                self._buffer.clear()
            if index < len(pieces) - 1:
                if not self._skipping:
                    samples += self._line(bytes(self._buffer), at)
                self._skipping = False
                self._buffer.clear()
        return samples

    def _line(self, raw: bytes, at: float) -> list[Sample]:
        form = self._form
        try:
            line = raw.decode(form.encoding).strip(" \r\n")
        except UnicodeError:
            return self._garbled(at)
        if not line or (form.ignore and line.startswith(form.ignore)):
            return []
        cells = form.split(line)
        if cells is None:
            return self._garbled(at)
        return [self._sample(form.targets[key], cell.strip(), at) for key, cell in cells.items() if key in form.targets]

    def _sample(self, target: _Target, cell: str, at: float) -> Sample:
        if cell in self._form.open_marks:
            return Sample(target.channel, None, target.unit, at, Fault.OPEN)
        found = _NUMBER.fullmatch(cell)
        if not found or abs(float(found.group(1))) > _LARGEST or not _fits(found.group(2), target.unit):
            return Sample(target.channel, None, target.unit, at, Fault.GARBLED)
        return Sample(target.channel, float(found.group(1)), target.unit, at)

    def _garbled(self, at: float) -> list[Sample]:
        return [Sample(t.channel, None, t.unit, at, Fault.GARBLED) for t in self._form.targets.values()]


def _fits(written: str | None, unit: str) -> bool:
    return written is None or written.strip().lower() in _WRITTEN[unit]

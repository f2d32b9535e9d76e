"""How a line of text holds readings: the four forms, as a driver's options describe them. No port and no bytes here.

Every form takes a line to cells by key: a text, or None where the instrument itself says that there is no value.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from drivers.checksums import Checksum, read_checksum
from drivers.options import Options

__all__ = ["FORM_KEYS", "UNREADABLE", "WRITTEN_UNITS", "Cells", "LineFormat", "Split", "Target", "read_line_format"]

Cells = Mapping[str, str | None]
Split = Callable[[str], Cells | None]

WRITTEN_UNITS = {
    "degF": {"f", "degf", "°f"},
    "degC": {"c", "degc", "°c"},
    "psi": {"psi", "psig"},
    "kPa": {"kpa"},
    "bar": {"bar", "barg"},
    "A": {"a"},
    "mA": {"ma"},
    "mV": {"mv"},
    "ohm": {"ohm", "ohms", "ω"},
    "counts": {"counts", "count", "cts"},
}
"""How instruments write a unit behind a number; another one than the channel's own garbles the value."""

UNREADABLE = "\x00?"
"""A cell that cannot be believed, whatever the options call an open sensor."""

FORM_KEYS = (
    *("labels", "fields", "delimiter", "pattern", "json", "open_marks", "ignore", "encoding", "newline", "max_line"),
    *("decimal", "checksum", "checksum_from", "checksum_after", "checksum_order"),
)
"""Every option `read_line_format` reads."""

_TARGET = re.compile(r"\s*([^\[\]\s]+)\s*\[\s*([^\[\]\s]+)\s*\]\s*")
_LABEL = re.compile(r"(?<![\w.])([A-Za-z][\w.#-]*)\s*[=:]", re.ASCII)
_POINT = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?)\s*([^\s\d].*)?", re.ASCII)
_COMMA = re.compile(r"([+-]?(?:\d+,?\d*|,\d+)(?:[eE][+-]?\d{1,3})?)\s*([^\s\d].*)?", re.ASCII)


@dataclass(frozen=True, slots=True)
class Target:
    """A channel and its unit."""

    channel: str
    unit: str


@dataclass(frozen=True, slots=True)
class LineFormat:
    """How a line is read.

    Attributes:
        targets: every channel a line may hold, by label, by group name, by path, or by position (``"0"``, …).
        split: takes a line to its cells by the same keys; None where the line does not have the form.
        number: a cell as a number and, behind it, a unit.
        open_marks: cells that say an open sensor.
        ignore: lines beginning so are skipped; empty for none.
        checksum: what the line carries to be checked by; None for nothing.
        encoding, newline, longest: of a line.
    """

    targets: Mapping[str, Target]
    split: Split
    number: re.Pattern[str]
    open_marks: frozenset[str]
    ignore: str
    checksum: Checksum | None
    encoding: str
    newline: bytes
    longest: int


def read_line_format(options: Options) -> LineFormat:
    """Read the format out of a driver's options; the caller calls `finish`. Raises `DriverError` naming the key."""
    encoding = options.text("encoding", "ascii", among=("ascii", "utf-8", "latin-1", "cp1252"))
    newline = options.text("newline", "\n", among=("\n", "\r", "\r\n"))
    comma = options.text("decimal", ".", among=(".", ",")) == ","
    form = next((key for key in ("fields", "json") if options.has(key)), "labels")
    if form != "labels":
        for other in ("labels", "pattern", "json"):
            if other != form and options.has(other):
                raise options.refuse(form, f"stands alone: leave out {other}")
    if form == "fields":
        targets, split = _delimited(options, comma)
    elif form == "json":
        if comma:
            raise options.refuse("decimal", "JSON writes decimal points")
        targets, split = _json(options)
    else:
        targets, split = _named(options)
    channels = [target.channel for target in targets.values()]
    if len(set(channels)) < len(channels):
        raise options.refuse(form, "gives one channel twice")
    return LineFormat(
        targets,
        split,
        _COMMA if comma else _POINT,
        frozenset(mark.strip() for mark in options.texts("open_marks", ("OPEN", "----", ""))),
        options.text("ignore", "#"),
        read_checksum(options),
        encoding,
        b"\r" if newline == "\r" else b"\n",
        options.whole("max_line", 256, low=8, high=65_536),
    )


def _target(options: Options, key: str, written: object) -> Target:
    found = _TARGET.fullmatch(written) if isinstance(written, str) else None
    if not found:
        raise options.refuse(key, f'wants "name[unit]", not {written!r}')
    if found.group(2) not in WRITTEN_UNITS:
        raise options.refuse(key, f'unknown unit "{found.group(2)}"; known: {", ".join(WRITTEN_UNITS)}')
    return Target(found.group(1), found.group(2))


def _delimited(options: Options, comma: bool) -> tuple[dict[str, Target], Split]:
    fields = options.texts("fields", ())
    delimiter = options.text("delimiter", ",")
    if not delimiter:
        raise options.refuse("delimiter", "is empty")
    if comma and "," in delimiter:
        raise options.refuse("delimiter", 'cannot be a comma where the decimal is one; what divides the values, ";"?')
    targets = {str(n): _target(options, f"fields[{n}]", field) for n, field in enumerate(fields) if field.strip()}
    if not targets:
        raise options.refuse("fields", "names no channel")

    def split(line: str) -> Cells | None:
        # A delimiter of spaces means any run of spaces and tabs.
        cells = line.split(delimiter) if delimiter.strip(" ") else re.split("[ \t]+", line.strip(" \t"))
        return dict(zip(map(str, range(len(cells))), cells, strict=True)) if len(cells) == len(fields) else None

    return targets, split


def _named(options: Options) -> tuple[dict[str, Target], Split]:
    labels = options.table("labels")
    if not labels:
        raise options.refuse("labels", "is missing: give labels, fields, json, or a pattern with labels")
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

    def split(line: str) -> Cells | None:
        found = pattern.fullmatch(line)
        return {k: v for k, v in found.groupdict().items() if v is not None} if found else None

    return targets, split


def _labelled(line: str, targets: Mapping[str, Target]) -> Cells | None:
    marks = list(_LABEL.finditer(line))
    cells: dict[str, str | None] = {}
    ends = [*(mark.start() for mark in marks[1:]), len(line)]
    for mark, end in zip(marks, ends, strict=False):
        label = mark.group(1)
        if label in targets:
            text = line[mark.end() : end].lstrip(" \t").rstrip(" \t,;")
            # One label twice in a line: neither value can be believed.
            cells[label] = UNREADABLE if label in cells else text
    return cells or None


class _Literal(str):
    """A JSON number as it was written, so that it is read like any other cell."""

    __slots__ = ()


def _no_twins(pairs: list[tuple[str, object]]) -> dict[str, object]:
    made = dict(pairs)
    if len(made) < len(pairs):
        raise ValueError("a name stands twice")
    return made


def _json(options: Options) -> tuple[dict[str, Target], Split]:
    paths = options.table("json")
    if not paths:
        raise options.refuse("json", 'names no channel: { "zones.0.temp" = "inner_mat[degF]" }')
    targets = {path: _target(options, f"json.{path}", written) for path, written in paths.items()}
    decoder = json.JSONDecoder(
        parse_float=_Literal, parse_int=_Literal, parse_constant=_Literal, object_pairs_hook=_no_twins
    )

    def split(line: str) -> Cells | None:
        try:
            told = decoder.decode(line)
        except (ValueError, RecursionError):
            return None
        cells: dict[str, str | None] = {}
        for path in targets:
            found = _at(told, path)
            if found is not _MISSING:
                cells[path] = found if found is None or isinstance(found, str) else UNREADABLE
        return cells or None

    return targets, split


_MISSING = object()


def _at(told: object, path: str) -> object:
    """What stands at a dotted path; a name that holds dots itself comes first."""
    if isinstance(told, dict) and path in told:
        return told[path]
    for part in path.split("."):
        if isinstance(told, dict) and part in told:
            told = told[part]
        elif isinstance(told, list) and part.isdecimal() and part.isascii() and int(part) < len(told):
            told = told[int(part)]
        else:
            return _MISSING
    return told

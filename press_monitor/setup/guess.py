"""Guessing the form of an instrument's lines from a few of them, so that people name values instead of writing forms.

A guess is only ever a proposal: what it makes of the lines is shown, and a person says which value is which.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from drivers.checksums import CHECKSUMS, Checksum
from drivers.line_format import WRITTEN_UNITS

__all__ = ["Guess", "Slot", "guess_form", "readable_share"]

_NUMBER = r"[+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?"
_CELL = re.compile(rf"\s*({_NUMBER})\s*([^\W\d]\S*|°\S*)?\s*", re.ASCII)
_LABEL = re.compile(r"(?<![\w.])([A-Za-z][\w.#-]*)\s*[=:]\s*", re.ASCII)
_OPEN = {"", "OPEN", "----"}
_DELIMITERS = (";", "\t", ",", " ")
_FEWEST = 2


@dataclass(frozen=True, slots=True)
class Slot:
    """One value of a line.

    Attributes:
        key: a label, a path, or the number of the field.
        shown: the value as the last line has it.
        unit: the unit written behind it; None where none is.
    """

    key: str
    shown: str
    unit: str | None = None


@dataclass(frozen=True, slots=True)
class Guess:
    """A form that every line has.

    Attributes:
        form: ``labels``, ``fields`` or ``json``.
        slots: the values, in their order.
        extra: options beside the form: `delimiter`, `decimal`, checksum.
    """

    form: str
    slots: tuple[Slot, ...]
    extra: Mapping[str, object] = field(default_factory=dict)

    def options(self, targets: Mapping[str, str]) -> dict[str, object]:
        """The driver's options, where `targets` gives ``name[unit]`` for the slots that are wanted."""
        if self.form == "fields":
            told: object = [targets.get(slot.key, "") for slot in self.slots]
        else:
            told = {slot.key: targets[slot.key] for slot in self.slots if slot.key in targets}
        return {self.form: told, **self.extra}


def readable_share(data: bytes) -> float:
    """The share of bytes that belong into a line of text, 0-1; 0 for none. A wrong baud gives about a third."""
    return sum(32 <= byte < 127 or byte in b"\t\r\n" for byte in data) / len(data) if data else 0.0


def guess_form(lines: Sequence[str]) -> Guess | None:
    """The form of lines that came one after the other; None where there are fewer than two or no form fits all.

    Args:
        lines: whole ones, without their ends; remarks beginning with ``#`` and empty ones are passed over.
    """
    lines = [line.strip() for line in lines if line.strip() and not line.lstrip().startswith("#")]
    if len(lines) < _FEWEST:
        return None
    checked = _checksum(lines)
    extra: dict[str, object] = {}
    if checked is not None:
        extra, lines = checked
    return _json(lines, extra) or _labelled(lines, extra) or _delimited(lines, extra)


def _checksum(lines: Sequence[str]) -> tuple[dict[str, object], list[str]] | None:
    """The checksum that every line carries, and the lines without it."""
    for start in ("", "$"):
        for name in CHECKSUMS:
            for low_first in (False, True) if CHECKSUMS[name][0] == 4 else (False,):
                check = Checksum(name, start.encode(), b"*", low_first)
                texts = [check.strip(line.encode(errors="replace")) for line in lines]
                if all(text is not None for text in texts):
                    extra: dict[str, object] = {"checksum": name}
                    extra |= {"checksum_from": start} if start else {}
                    extra |= {"checksum_order": "low-first"} if low_first else {}
                    return extra, [text.decode(errors="replace") for text in texts if text is not None]
    return None


def _json(lines: Sequence[str], extra: Mapping[str, object]) -> Guess | None:
    last: dict[str, Slot] = {}
    for line in lines:
        try:
            told = json.loads(line)
        except (ValueError, RecursionError):
            return None
        if not isinstance(told, dict):
            return None
        last |= {slot.key: slot for slot in _leaves(told, "")}
    longest = max(map(len, lines))
    more = {"max_line": 4 * longest} if longest > 200 else {}
    return Guess("json", tuple(last.values()), {**extra, **more}) if last else None


def _leaves(told: object, path: str) -> list[Slot]:
    if isinstance(told, dict):
        return [slot for key, value in told.items() for slot in _leaves(value, f"{path}.{key}" if path else key)]
    if isinstance(told, list):
        return [slot for n, value in enumerate(told) for slot in _leaves(value, f"{path}.{n}" if path else str(n))]
    if isinstance(told, bool):
        return []
    if told is None or isinstance(told, (int, float)):
        return [Slot(path, "open" if told is None else str(told))]
    found = _CELL.fullmatch(told) if isinstance(told, str) else None
    return [Slot(path, found.group(1), _unit(found.group(2)))] if found else []


def _unit(written: str | None) -> str | None:
    """The unit an instrument means by what it writes."""
    word = (written or "").strip().lower()
    return next((unit for unit, ways in WRITTEN_UNITS.items() if word in ways), None) if word else None


def _labelled(lines: Sequence[str], extra: Mapping[str, object]) -> Guess | None:
    last: dict[str, Slot] = {}
    commas = points = False
    for line in lines:
        marks = list(_LABEL.finditer(line))
        if not marks:
            return None
        for mark, end in zip(marks, [*(m.start() for m in marks[1:]), len(line)], strict=True):
            cell = line[mark.end() : end].rstrip(" \t,;")
            found = _CELL.fullmatch(cell)
            if not found and cell not in _OPEN:
                continue
            unit = _unit(found.group(2)) if found else None
            key = mark.group(1)
            last[key] = Slot(
                key, found.group(1) if found else "open", unit or (last[key].unit if key in last else None)
            )
            commas |= bool(found and "," in found.group(1))
            points |= bool(found and "." in found.group(1))
    if not last or (commas and points):
        return None
    return Guess("labels", tuple(last.values()), {**extra, **({"decimal": ","} if commas else {})})


def _delimited(lines: Sequence[str], extra: Mapping[str, object]) -> Guess | None:
    for delimiter in _DELIMITERS:
        rows = [line.split(None if delimiter == " " else delimiter) for line in lines]
        if len({len(row) for row in rows}) > 1 or (len(rows[0]) < 2 and delimiter != " "):
            continue
        if guess := _columns(rows, delimiter, extra):
            return guess
    return None


def _columns(rows: Sequence[Sequence[str]], delimiter: str, extra: Mapping[str, object]) -> Guess | None:
    slots, commas, points, numbers = [], False, False, False
    for number, cells in enumerate(zip(*rows, strict=True)):
        found = [_CELL.fullmatch(cell) for cell in cells]
        told = [f for f in found if f]
        commas |= any("," in f.group(1) for f in told)
        points |= any("." in f.group(1) for f in told)
        numbers |= bool(told) and all(f or cell.strip() in _OPEN for f, cell in zip(found, cells, strict=True))
        unit = next((_unit(f.group(2)) for f in told if f.group(2)), None)
        last = found[-1]
        slots.append(Slot(str(number), last.group(1) if last else cells[-1].strip() or "open", unit))
    if not numbers or (commas and (points or delimiter == ",")):
        return None
    more = {} if delimiter == "," else {"delimiter": delimiter}
    return Guess("fields", tuple(slots), {**extra, **more, **({"decimal": ","} if commas else {})})

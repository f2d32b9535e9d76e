"""Arbitrary bytes for line parsers, and a judge of what they make of them that shares no code with them.

A third of the strings is noise, a third is built from the pieces lines are made of, a third is good lines with a few
bytes changed, put in or left out.
"""

from __future__ import annotations

import json
import math
import random
import re
from collections.abc import Callable
from dataclasses import dataclass

from crccheck.crc import Crc16CcittFalse

from drivers.base import Fault, Sample
from drivers.line_reader import LineReader, read_line_format
from drivers.options import Options

LONGEST = 64
TARGETS = {"A": ("inner_mat", "degF"), "B": ("outer_mat", "degF"), "P": ("bag", "psi")}
LABELS = {name: f"{channel}[{unit}]" for name, (channel, unit) in TARGETS.items()}
CHANNELS = {channel: name for name, (channel, _) in TARGETS.items()}
UNITS = {"degF": ("", "F", "DEGF"), "psi": ("", "PSI", "PSIG")}

_PIECES = (
    *(b"A", b"B", b"P", b"=", b":", b",", b";", b".", b"e", b"E", b"+", b"-", b"0", b"1", b"30", b"299.5", b" ", b"\t"),
    *(b"\n", b"\r", b"\x00", b"\xff", b"\xc2\xb0", b"{", b"}", b"[", b"]", b'"', b"null", b"NaN", b"inf", b"nan", b"#"),
    *(b"*", b"$", b"F", b"psi", b"OPEN", b"----", b"_", b"1e999", b"0x10", b"\xd9\xa3", b"\\u0031", b"true"),
)
Numbers = dict[str, float]


@dataclass(frozen=True)
class Form:
    """One parser: its options, good lines for it, and the judge: channel name to the only value a line may give."""

    name: str
    options: dict[str, object]
    good: Callable[[random.Random], str]
    allowed: Callable[[bytes], Numbers]

    def reader(self) -> LineReader:
        return LineReader(read_line_format(Options({**self.options, "max_line": LONGEST})))


_NUMBER = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"


def _value(text: str, unit: str) -> float | None:
    """A whole cell as a number, with or without its unit."""
    found = re.fullmatch(rf"({_NUMBER})\s*(\S*)", text)
    if not found or found.group(2).upper() not in UNITS[unit]:
        return None
    return float(found.group(1))


def _labelled(line: bytes) -> Numbers:
    text, numbers = line.decode("ascii", "replace"), {}
    for name, (channel, unit) in TARGETS.items():
        places = re.findall(rf"(?<![A-Za-z0-9_.]){name}\s*[=:]([^=:]*)", text)
        if len(places) == 1:
            # Up to the next label, which is a word that stands right before a mark.
            cell = re.split(r"(?<![A-Za-z0-9_.])[A-Za-z][A-Za-z0-9_.#-]*\s*$", places[0])[0]
            value = _value(cell.strip().rstrip(",; \t"), unit)
            if value is not None:
                numbers[channel] = value
    return numbers


def _delimited(line: bytes) -> Numbers:
    cells = line.decode("ascii", "replace").split(",")
    return {
        channel: value
        for cell, (channel, unit) in zip(cells, TARGETS.values(), strict=False)
        if (value := _value(cell.strip(), unit)) is not None
    }


def _json(line: bytes) -> Numbers:
    try:
        told = json.loads(line.decode("ascii"))
    except (ValueError, RecursionError):
        return {}
    numbers = {}
    for name, (channel, unit) in TARGETS.items():
        value = told.get(name) if isinstance(told, dict) else None
        if isinstance(value, str):
            value = _value(value.strip(), unit)
        if isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value):
            numbers[channel] = float(value)
    return numbers


def _checked(line: bytes) -> Numbers:
    text, _, digits = line.strip(b"\r").rstrip(b" \t\r").rpartition(b"*")
    if not re.fullmatch(rb"[0-9a-fA-F]{4}", digits) or int(digits, 16) != Crc16CcittFalse.calc(text):
        return {}
    return _labelled(text)


def _three(chance: random.Random) -> tuple[float, float, float]:
    return round(chance.uniform(60, 330), 1), round(chance.uniform(60, 330), 1), round(chance.uniform(0, 40), 2)


def _good_labels(chance: random.Random) -> str:
    return "A={} B={} P={} psi".format(*_three(chance))


def _good_checked(chance: random.Random) -> str:
    text = _good_labels(chance)
    return f"{text}*{Crc16CcittFalse.calc(text.encode()):04X}"


def _good_json(chance: random.Random) -> str:
    return json.dumps(dict(zip(TARGETS, _three(chance), strict=True)))


FORMS = (
    Form("labels", {"labels": LABELS}, _good_labels, _labelled),
    Form("fields", {"fields": list(LABELS.values())}, lambda c: "{},{},{}".format(*_three(c)), _delimited),
    Form("json", {"json": LABELS}, _good_json, _json),
    Form("checksum", {"labels": LABELS, "checksum": "crc-16/ccitt"}, _good_checked, _checked),
)


def arbitrary(chance: random.Random, good: str) -> bytes:
    """One string, up to somewhat over the longest line."""
    kind = chance.randrange(3)
    if kind == 0:
        return chance.randbytes(chance.randrange(LONGEST + 16))
    if kind == 1:
        return b"".join(chance.choices(_PIECES, k=chance.randrange(24)))
    line = bytearray(good.encode())
    for _ in range(chance.randrange(4)):
        place = chance.randrange(len(line) + 1)
        line[place : place + chance.randrange(3)] = chance.choice(_PIECES) if chance.randrange(2) else b""
    return bytes(line)


@dataclass
class Tally:
    """What came of so many strings."""

    strings: int = 0
    readings: int = 0
    faults: int = 0


def judge(form: Form, count: int, seed: int) -> Tally:
    """Feed `count` strings to a parser. Raises AssertionError with the string that made it raise or invent."""
    chance, reader, tally = random.Random(seed), form.reader(), Tally()
    reader.feed(b"\n", 0.0)
    for _ in range(count):
        data = arbitrary(chance, form.good(chance))
        try:
            samples = reader.feed(data + b"\n", 1.0)
        except Exception as error:
            raise AssertionError(f"{form.name}: {data!r} raised {error!r}") from error
        assert not reader.partial, data
        tally.strings += 1
        for sample in samples:
            tally.faults += sample.fault is not None
            tally.readings += sample.fault is None
        _check(form, data, samples)
    return tally


def _check(form: Form, data: bytes, samples: list[Sample]) -> None:
    lines = [line for line in data.split(b"\n") if line.strip()]
    allowed: dict[str, list[float]] = {}
    if any(sample.value is not None for sample in samples):
        for line in lines:
            for channel, number in form.allowed(line).items():
                allowed.setdefault(channel, []).append(number)
    for sample in samples:
        assert sample.channel in CHANNELS and (sample.value is None) == (sample.fault is not None)
        if sample.value is None:
            assert sample.fault in (Fault.GARBLED, Fault.OPEN)
        else:
            assert sample.value in allowed.get(sample.channel, ()), f"{form.name}: {data!r} gave {sample}"

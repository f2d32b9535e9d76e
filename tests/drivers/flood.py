"""Arbitrary bytes into every parser of the drivers: ``python -m tests.drivers.flood [NAME ...] [--count N]``.

Each parser gets a million strings: noise, soups of the letters it knows, and good input with bytes flipped, lost,
doubled and put together wrongly. Whatever comes, it may raise nothing but its own error, and a reading it gives must be
found again in the bytes by a second reader that shares no code with it (`crcmod`, `struct`, `csv`, `re`).
"""

from __future__ import annotations

import argparse
import csv
import math
import random
import re
import struct
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import crcmod.predefined

from drivers.base import Fault, Sample
from drivers.line_reader import LineReader, read_line_format
from drivers.log import LogError, parse_log
from drivers.modbus_frames import Codec, Garble, Question, Refusal, RtuCodec, TcpCodec
from drivers.modbus_words import ORDERS, TYPES, Coding
from drivers.options import Options
from press_monitor.setup.guess import guess_form, readable_share

MODBUS_CRC = crcmod.predefined.mkPredefinedCrcFun("modbus")
CCITT_CRC = crcmod.predefined.mkPredefinedCrcFun("crc-ccitt-false")

Check = Callable[[bytes], int]
"""Feeds one string; the readings it gave. Raises AssertionError for one that is not in the string."""


@dataclass(frozen=True, slots=True)
class Parser:
    """A parser with what its input is made of."""

    name: str
    letters: bytes
    good: tuple[bytes, ...]
    make: Callable[[], Check]


# -- strings --


def strings(parser: Parser, seed: int) -> Iterator[bytes]:
    """Strings without end: a quarter noise, a quarter soup, half of them good ones spoilt."""
    rng = random.Random(seed)
    while True:
        kind = rng.random()
        if kind < 0.25:
            yield rng.randbytes(rng.randrange(0, 48))
        elif kind < 0.5:
            yield bytes(rng.choices(parser.letters, k=rng.randrange(0, 64)))
        else:
            yield spoilt(rng, parser.good)


def spoilt(rng: random.Random, good: Sequence[bytes]) -> bytes:
    """Good input, up to three of its bytes changed, and perhaps cut, doubled or run into another."""
    data = bytearray(rng.choice(good))
    for _ in range(rng.randrange(0, 4)):
        at = rng.randrange(len(data) + 1)
        what = rng.randrange(5)
        if what == 0:
            data[at:at] = rng.randbytes(1)
        elif what == 1:
            del data[at : at + rng.randrange(1, 4)]
        elif what == 2 and at < len(data):
            data[at] ^= 1 << rng.randrange(8)
        elif what == 3:
            data[at:at] = data[at : at + rng.randrange(1, 12)]
        else:
            data[at:at] = rng.choice(good)[: rng.randrange(1, 20)]
    return bytes(data)


# -- lines of text --

NUMBER = rb"([+-]?(?:[0-9]+[.,]?[0-9]*|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?)"


def numbers_in(text: bytes, before: bytes = b"") -> set[float]:
    """Every number that stands in the bytes behind `before`."""
    return {float(found.replace(b",", b".")) for found in re.findall(before + NUMBER, text)}


def text_line(options: dict[str, object], before: dict[str, bytes], sound: Callable[[bytes], bool] | None) -> Check:
    """One reader that everything runs through, one string after the other, as bytes come down a wire.

    Args:
        options: of the form.
        before: a regular expression a channel, for what stands before its value.
        sound: whether a line's checksum is right, by the reference.
    """
    given = Options(options)
    form = read_line_format(given)
    given.finish()
    reader, units, tail = LineReader(form), {t.channel: t.unit for t in form.targets.values()}, b""

    def check(data: bytes) -> int:
        nonlocal tail
        samples = reader.feed(data, 5.0)
        whole, good = tail + data, 0
        for sample in samples:
            well_formed(sample, units)
            if sample.value is not None:
                good += 1
                lines = [line for line in whole.split(form.newline) if sound is None or sound(line)]
                assert any(sample.value in numbers_in(line, before[sample.channel]) for line in lines), (sample, whole)
        tail = whole[-2 * form.longest :]
        assert len(reader._buffer) <= form.longest
        return good

    return check


def well_formed(sample: Sample, units: dict[str, str]) -> None:
    assert units[sample.channel] == sample.unit and sample.at == 5.0, sample
    assert (sample.value is None) == (sample.fault is not None), sample
    assert sample.fault in (None, Fault.OPEN, Fault.GARBLED), sample
    assert sample.value is None or (math.isfinite(sample.value) and abs(sample.value) <= 1e9), sample


def xor_of(text: bytes) -> int:
    total = 0
    for byte in text:
        total ^= byte
    return total


def xor_sound(line: bytes) -> bool:
    text, _, digits = line.strip().removeprefix(b"$").rpartition(b"*")
    return line.strip(b"\r\n").startswith(b"$") and digits.upper() == b"%02X" % xor_of(text)


def crc_sound(line: bytes) -> bool:
    text, _, digits = line.strip(b"\r\n").rstrip(b" \t\r\n").rpartition(b"*")
    return digits.upper() == b"%04X" % CCITT_CRC(text)


LABELS = {"T1": "inner_mat[degF]", "T2": "outer_mat[degF]", "P": "bag[psi]"}
AFTER_LABEL = {
    channel: rb"(?<![\w.])%s\s*[=:][ \t]*" % label
    for channel, label in (("inner_mat", b"T1"), ("outer_mat", b"T2"), ("bag", b"P"))
}
ANYWHERE = dict.fromkeys(("inner_mat", "outer_mat", "bag"), b"")
LABELLED = (b"T1=301.2 T2=299.0 P=32.1\n", b"T1: 301.2F, T2: ----, P: 3.21e1 psi\r\n", b"# T1=9\nT1=-4 T1=5\n")
XORED = tuple(b"$%s*%02X\n" % (body, xor_of(body)) for body in (b"T1=301.2,T2=299.0,P=32.1", b"T1=1,P=2", b"P=OPEN"))
CRCED = tuple(b"%s*%04X\r\n" % (body, CCITT_CRC(body)) for body in (b"301.2;299.0;32.1", b"1;;2", b"-3;4;5.5e1"))

# -- Modbus --

QUESTION = Question(17, 3, 0x6B, 3)


def rtu_frame(body: bytes) -> bytes:
    return body + MODBUS_CRC(body).to_bytes(2, "little")


def tcp_frame(transaction: int, body: bytes) -> bytes:
    return struct.pack(">HHH", transaction, 0, len(body)) + body


ANSWER, REFUSAL = b"\x11\x03\x06\x02\x2b\x00\x00\x00\x64", b"\x11\x83\x02"
BODIES = (ANSWER, REFUSAL, b"\x12" + ANSWER[1:], b"\x11\x04\x06" + ANSWER[3:], b"\x11\x03\x04\x41\x68\x00\x00")


def rtu() -> Check:
    codec = RtuCodec()

    def check(data: bytes) -> int:
        codec.ask(QUESTION)
        answer = codec.feed(data)
        if isinstance(answer, tuple):
            framed = b"\x11\x03\x06" + b"".join(word.to_bytes(2, "big") for word in answer)
            assert len(answer) == 3 and rtu_frame(framed) in data, (answer, data)
            return 1
        if isinstance(answer, Refusal):
            assert rtu_frame(bytes((0x11, 0x83, answer.code))) in data, (answer, data)
        assert answer is None or isinstance(answer, Refusal | Garble)
        return 0

    return check


def tcp() -> Check:
    codec: Codec = TcpCodec()
    asked = 0

    def check(data: bytes) -> int:
        nonlocal codec, asked
        asked = asked % 65_535 + 1
        codec.ask(QUESTION)
        # The good ones carry the number 0: the one waited for takes its place, mostly.
        data = data.replace(b"\x00\x00\x00\x00", struct.pack(">HH", asked, 0), 1)
        try:
            answer = codec.feed(data)
        except ConnectionError:
            codec, asked = TcpCodec(), 0
            return 0
        if isinstance(answer, tuple):
            body = b"\x11\x03\x06" + b"".join(word.to_bytes(2, "big") for word in answer)
            assert len(answer) == 3 and tcp_frame(asked, body) in bytes(data), (answer, data)
        assert answer is None or isinstance(answer, tuple | Refusal | Garble)
        kept = len(codec._buffer)  # type: ignore[attr-defined]
        assert kept < 6 + 254
        if kept:  # what is half there would be joined to the next string, which was made to stand alone
            codec, asked = TcpCodec(), 0
        return isinstance(answer, tuple)

    return check


PYTHON_FORMATS = {"int16": "h", "uint16": "H", "int32": "i", "uint32": "I", "float32": "f"}
BYTE_ORDERS = {"ABCD": (0, 1, 2, 3), "CDAB": (2, 3, 0, 1), "BADC": (1, 0, 3, 2), "DCBA": (3, 2, 1, 0)}


def words() -> Check:
    codings = [Coding(kind, order, 0.1, -3.0, frozenset({0x7FFF})) for kind in TYPES for order in ORDERS]

    def check(data: bytes) -> int:
        good = 0
        sent = (data + b"\x00\x00\x00\x00")[:4]
        for coding in codings:
            registers = struct.unpack(">HH", sent)[: coding.words]
            value = coding.read(registers)
            if isinstance(value, Fault):
                assert value in (Fault.OPEN, Fault.GARBLED)
                continue
            good += 1
            placed = bytes(sent[i] for i in BYTE_ORDERS[coding.order]) if coding.words == 2 else sent[:2]
            (number,) = struct.unpack(f">{PYTHON_FORMATS[coding.type]}", placed)
            assert math.isclose(value, 0.1 * number - 3.0, rel_tol=1e-12, abs_tol=1e-9), (coding, sent, value)
        return good

    return check


# -- logs --

LOGS = (
    b"# press: P1\nelapsed_s,inner_mat[degF],bag[psi]\n0,70.1,0\n1,70.2,32.5\n2,,32.4\n4,,\n5.5,71,3.2e1\n",
    b"elapsed_s,outer_mat[degC],note[V]\r\n0,20,1\r\n1,21,\r\n",
)


def log(data: bytes) -> int:
    try:
        parsed = parse_log(data, "x.csv")
    except LogError:
        return 0
    text = data.decode("utf-8-sig", "replace").replace("\r\n", "\n")
    lines = [line for line in text.split("\n") if line.strip() and not line.lstrip().startswith("#")]
    cells = [next(csv.reader([line.strip(" \t")], skipinitialspace=True), []) for line in lines[1:]]
    rows = [row for row in cells if any(cell.strip() for cell in row)]
    assert len(rows) == len(parsed.rows) == len(parsed.times), data
    good = 0
    for row, time_s, values in zip(rows, parsed.times, parsed.rows, strict=True):
        assert abs(float(row[0]) - time_s) <= 1e-6, data
        for cell, value in zip(row[1:], values or [None] * (len(row) - 1), strict=True):
            assert (value is None) == (not cell.strip()), data
            if value is not None:
                good += 1
                assert abs(float(cell) - value) <= 1e-6 * max(1.0, abs(value)), data
    return good


def guess(data: bytes) -> int:
    assert 0.0 <= readable_share(data) <= 1.0
    found = guess_form([line.strip() for line in data.decode("ascii", "replace").split("\n") if line.strip()])
    return 0 if found is None else len(found.slots)


SOUP = b'0123456789.,;:=+-eE \t\r\n#*$TP12FopenOPEN-{}[]"null' + bytes(range(128, 132))

PARSERS = (
    Parser("labelled", SOUP, LABELLED, lambda: text_line({"labels": LABELS}, AFTER_LABEL, None)),
    Parser(
        "labelled with xor",
        SOUP + b"ABCDEF",
        XORED,
        lambda: text_line({"labels": LABELS, "checksum": "xor", "checksum_from": "$"}, AFTER_LABEL, xor_sound),
    ),
    Parser(
        "delimited with crc-16",
        SOUP + b"ABCDEF",
        CRCED,
        lambda: text_line(
            {"fields": list(LABELS.values()), "delimiter": ";", "checksum": "crc-16/ccitt"}, ANYWHERE, crc_sound
        ),
    ),
    Parser(
        "delimited with decimal commas",
        SOUP,
        (b"301,2;299,0;32,1\n", b"OPEN;1;,5\n", b"1,2,3;4;5\n"),
        lambda: text_line({"fields": list(LABELS.values()), "delimiter": ";", "decimal": ","}, ANYWHERE, None),
    ),
    Parser(
        "JSON lines",
        SOUP + b"zonestemp",
        (b'{"zones":[{"temp":301.2},{"temp":null}],"P":"32.1"}\n', b'{"zones":[{"temp":1e2}],"P":NaN}\n'),
        lambda: text_line(
            {"json": {"zones.0.temp": "inner_mat[degF]", "zones.1.temp": "outer_mat[degF]", "P": "bag[psi]"}},
            ANYWHERE,
            None,
        ),
    ),
    Parser(
        "a pattern",
        SOUP,
        (b"in 301.2 out 299.0 bag 32.1\n", b"in OPEN out 1 bag -2\n"),
        lambda: text_line(
            {"labels": LABELS, "pattern": r"in (?P<T1>\S+) out (?P<T2>\S+) bag (?P<P>\S+)"},
            {"inner_mat": b"in ", "outer_mat": b"out ", "bag": b"bag "},
            None,
        ),
    ),
    Parser("Modbus RTU frames", bytes(range(32)) + b"\x83\x84", tuple(map(rtu_frame, BODIES)), rtu),
    Parser("Modbus TCP frames", bytes(range(16)) + b"\x83\x84", tuple(tcp_frame(0, body) for body in BODIES), tcp),
    Parser("registers", bytes(range(256)), (b"\x41\x68\x00\x00", b"\x7f\xff\x7f\xc0", b"\x00\x00\x3f\x80"), words),
    Parser("logs", SOUP + b"elapsed_s[],inner_matbagdegFpsi", LOGS, lambda: log),
    Parser("guessed forms", SOUP, (*(line * 3 for line in LABELLED), *(line * 2 for line in CRCED)), lambda: guess),
)


def flood(parser: Parser, count: int, seed: int) -> int:
    """Run so many strings through a parser; the readings they gave. Raises what went wrong, naming the string."""
    check, good = parser.make(), 0
    for number, data in zip(range(count), strings(parser, seed), strict=False):
        try:
            good += check(data)
        except Exception as error:
            raise AssertionError(f"{parser.name}, seed {seed}, string {number}: {data!r}") from error
    return good


def main(arguments: list[str] | None = None) -> int:
    known = {parser.name: parser for parser in PARSERS}
    asked = argparse.ArgumentParser(prog="python -m tests.drivers.flood", description="Flood every parser.")
    asked.add_argument("name", nargs="*", help=f"any of: {', '.join(known)} (default: all)")
    asked.add_argument("--count", type=int, default=1_000_000)
    asked.add_argument("--seed", type=int, default=8)
    given = asked.parse_args(arguments)
    if unknown := [name for name in given.name if name not in known]:
        asked.error(f"no parser is called {unknown[0]!r}")
    for name in given.name or known:
        began = time.perf_counter()
        good = flood(known[name], given.count, given.seed)
        took = time.perf_counter() - began
        print(f"{name}: {given.count} strings, {good} readings, each found in its string; {took:.0f} s", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())

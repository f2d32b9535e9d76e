"""Lines in, samples out: no port."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.base import DriverError, Fault, Sample
from drivers.line_reader import LineReader, read_line_format
from drivers.options import Options

LABELS = {"labels": {"T1": "inner_mat[degF]", "T2": "outer_mat[degF]", "P": "bag[psi]"}}
FIELDS = {"fields": ["inner_mat[degF]", "", "bag[psi]"]}
PATTERN = {
    "pattern": r"(?P<hour>\d+)h in (?P<a>\S+)( b=(?P<b>\S*))?",
    "labels": {"hour": "clock[mV]", "a": "inner_mat[degC]", "b": "bag[kPa]"},
}
Seen = dict[str, float | Fault | None]


def reader(options: dict[str, object], *, joined: bool = True) -> LineReader:
    given = Options(options)
    made = LineReader(read_line_format(given))
    given.finish()
    if joined:
        made.feed(b"\n" if options.get("newline") != "\r" else b"\r", 0.0)
    return made


def seen(samples: list[Sample]) -> Seen:
    return {s.channel: s.fault if s.value is None else s.value for s in samples}


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("T1=301.2 T2=299 P=32.1", {"inner_mat": 301.2, "outer_mat": 299.0, "bag": 32.1}),
        ("T1: 301.2, T2: -4.5e1; P:+.5", {"inner_mat": 301.2, "outer_mat": -45.0, "bag": 0.5}),
        ("12:00:07 T1 = 301.2 F T2=299degF P=32 PSI", {"inner_mat": 301.2, "outer_mat": 299.0, "bag": 32.0}),
        ("T1=OPEN T2=---- P=", {"inner_mat": Fault.OPEN, "outer_mat": Fault.OPEN, "bag": Fault.OPEN}),
        ("P=3", {"bag": 3.0}),
        ("T1=301.2 XX=7 P=3", {"inner_mat": 301.2, "bag": 3.0}),
        ("T1=30x T2=299", {"inner_mat": Fault.GARBLED, "outer_mat": 299.0}),
        ("T1=nan T2=inf P=1e999", dict.fromkeys(("inner_mat", "outer_mat", "bag"), Fault.GARBLED)),
        ("T1=150 C", {"inner_mat": Fault.GARBLED}),
        ("T1=301.2.5 P=3 4", {"inner_mat": Fault.GARBLED, "bag": Fault.GARBLED}),
        ("T1=30T1=301.2", {"inner_mat": Fault.GARBLED}),
        ("T1=301 T1=302", {"inner_mat": Fault.GARBLED}),
        ("T1=٣٠١", dict.fromkeys(("inner_mat", "outer_mat", "bag"), Fault.GARBLED)),
        ("hello", dict.fromkeys(("inner_mat", "outer_mat", "bag"), Fault.GARBLED)),
        ("# a remark T1=3", {}),
        ("", {}),
    ],
)
def test_labelled_lines(line: str, expected: Seen) -> None:
    assert seen(reader(LABELS).feed(line.encode() + b"\r\n", 5.0)) == expected


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("301.2,7,32.1", {"inner_mat": 301.2, "bag": 32.1}),
        (" 301.2 , junk , 32.1 ", {"inner_mat": 301.2, "bag": 32.1}),
        (",,32.1", {"inner_mat": Fault.OPEN, "bag": 32.1}),
        ("301.2,32.1", {"inner_mat": Fault.GARBLED, "bag": Fault.GARBLED}),
        ("301.2,7,32.1,1", {"inner_mat": Fault.GARBLED, "bag": Fault.GARBLED}),
        ("301.2,7,\x0032.1", {"inner_mat": 301.2, "bag": Fault.GARBLED}),
    ],
)
def test_delimited_lines(line: str, expected: Seen) -> None:
    assert seen(reader(FIELDS).feed(line.encode() + b"\n", 5.0)) == expected


def test_any_white_space_and_tabs_delimit() -> None:
    assert seen(reader({**FIELDS, "delimiter": " "}).feed(b"  1 \t 2   3\n", 0.0)) == {"inner_mat": 1.0, "bag": 3.0}
    assert seen(reader({**FIELDS, "delimiter": "\t"}).feed(b"1\t2\t\n", 0.0)) == {"inner_mat": 1.0, "bag": Fault.OPEN}


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("7h in 150.5 b=220", {"clock": 7.0, "inner_mat": 150.5, "bag": 220.0}),
        ("7h in OPEN", {"clock": 7.0, "inner_mat": Fault.OPEN}),
        ("7h in 150 b=", {"clock": 7.0, "inner_mat": 150.0, "bag": Fault.OPEN}),
        ("7 in 150", dict.fromkeys(("clock", "inner_mat", "bag"), Fault.GARBLED)),
    ],
)
def test_lines_by_a_pattern(line: str, expected: Seen) -> None:
    assert seen(reader(PATTERN).feed(line.encode() + b"\n", 5.0)) == expected


def test_samples_carry_unit_and_moment() -> None:
    assert reader(LABELS).feed(b"P=3\n", 5.5) == [Sample("bag", 3.0, "psi", 5.5)]
    assert reader(LABELS).feed(b"P=?\n", 5.5) == [Sample("bag", None, "psi", 5.5, Fault.GARBLED)]


def test_a_line_joined_half_way_is_no_reading() -> None:
    joining = reader(FIELDS, joined=False)
    assert joining.feed(b"01.2,7,32.1\n301.2,7,32.1\n", 0.0) == [
        Sample("inner_mat", 301.2, "degF", 0.0),
        Sample("bag", 32.1, "psi", 0.0),
    ]
    joining.feed(b"30", 1.0)
    assert joining.partial
    joining.reset()
    assert not joining.partial and joining.feed(b"1.2,7,32.1\n", 2.0) == []


def test_an_over_long_line_garbles_once_and_is_left_at_the_next_newline() -> None:
    over = reader({**LABELS, "max_line": 16})
    samples = over.feed(b"P=1" + b"x" * 60, 0.0)
    assert [s.fault for s in samples] == [Fault.GARBLED] * 3
    assert seen(over.feed(b" P=99\nP=2\n", 1.0)) == {"bag": 2.0}


def test_a_stream_without_newlines_goes_on_being_garbled_and_stays_small() -> None:
    over = reader({**LABELS, "max_line": 16}, joined=False)
    for turn in range(50):
        assert {s.fault for s in over.feed(b"\xf0" * 100, float(turn))} == {Fault.GARBLED}
        assert not over.partial


def test_carriage_returns_can_end_lines() -> None:
    assert seen(reader({**LABELS, "newline": "\r"}).feed(b"P=2\rP=3", 0.0)) == {"bag": 2.0}
    assert seen(reader({**LABELS, "newline": "\r\n"}).feed(b"P=2\r\nP=3", 0.0)) == {"bag": 2.0}


@given(st.lists(st.binary(max_size=80), max_size=12), st.sampled_from([LABELS, FIELDS, PATTERN]))
def test_no_bytes_make_it_raise_or_hold_more_than_a_line(chunks: list[bytes], options: dict[str, object]) -> None:
    noisy = reader({**options, "max_line": 40}, joined=False)
    channels = {"inner_mat", "outer_mat", "bag", "clock"}
    for turn, chunk in enumerate(chunks):
        for sample in noisy.feed(chunk, float(turn)):
            assert sample.channel in channels and sample.at == turn
            assert (sample.value is None) == (sample.fault is not None)
            assert sample.value is None or (math.isfinite(sample.value) and abs(sample.value) <= 1e9)


ROW = st.tuples(st.integers(-9999, 99999), st.integers(0, 9999))


@given(st.lists(ROW, max_size=8), st.data())
def test_how_the_bytes_are_cut_changes_nothing(rows: list[tuple[int, int]], data: st.DataObject) -> None:
    stream = b"half a line\n" + b"".join(f"{t / 10},x,{p / 100:.2f}\r\n".encode() for t, p in rows)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=6)))
    cutting = reader(FIELDS, joined=False)
    samples = [
        (s.channel, s.value)
        for a, b in zip([0, *cuts], [*cuts, len(stream)], strict=True)
        for s in cutting.feed(stream[a:b], 0.0)
    ]
    assert samples == [pair for t, p in rows for pair in (("inner_mat", t / 10), ("bag", p / 100))]


@pytest.mark.parametrize(
    ("options", "key", "words"),
    [
        ({}, "labels", "is missing"),
        ({"labels": {}}, "labels", "is missing"),
        ({"labels": {"T1": "inner_mat"}}, "labels.T1", "name[unit]"),
        ({"labels": {"T1": "inner_mat[F]"}}, "labels.T1", "unknown unit"),
        ({"labels": {"T 1": "inner_mat[degF]"}}, "labels.T 1", "not a label"),
        ({"labels": {"T1": 3}}, "labels.T1", "name[unit]"),
        ({"labels": {"A": "bag[psi]", "B": "bag[psi]"}}, "labels", "twice"),
        ({"fields": ["bag[psi]", "bag[psi]"]}, "fields", "twice"),
        ({"fields": ["", ""]}, "fields", "no channel"),
        ({"fields": "bag[psi]"}, "fields", "list"),
        ({"fields": ["bag"]}, "fields[0]", "name[unit]"),
        ({**FIELDS, "delimiter": ""}, "delimiter", "empty"),
        ({**FIELDS, **LABELS}, "fields", "alone"),
        ({**LABELS, "pattern": "("}, "pattern", "regular expression"),
        ({**LABELS, "pattern": "(?P<T1>x)"}, "pattern", "groups"),
        ({**LABELS, "encoding": "utf-16"}, "encoding", "one of"),
        ({**LABELS, "newline": ""}, "newline", "one of"),
        ({**LABELS, "max_line": 0}, "max_line", "whole number"),
        ({**LABELS, "max_line": True}, "max_line", "whole number"),
        ({**LABELS, "open_marks": "OPEN"}, "open_marks", "list"),
        ({**LABELS, "separator": ";"}, "separator", "unknown key"),
    ],
)
def test_bad_options_are_named(options: dict[str, object], key: str, words: str) -> None:
    with pytest.raises(DriverError) as caught:
        reader(options)
    assert caught.value.key == key and words in caught.value.message


@pytest.mark.parametrize("line", ["T1=\x1d01.2", "T1=30\x1c.2", "T1=301.2\x1f"])
def test_a_control_character_beside_a_digit_is_a_digit_spoilt(line: str) -> None:
    samples = reader({"labels": {"T1": "inner_mat[degF]"}}).feed(f"{line}\n".encode(), 1.0)
    assert [(s.value, s.fault) for s in samples] == [(None, Fault.GARBLED)]


def test_spaces_and_tabs_delimit_and_nothing_else_does() -> None:
    form = {"fields": ["inner_mat[degF]", "bag[psi]"], "delimiter": " "}
    assert [s.value for s in reader(form).feed(b" 301.2 \t 32.1 \n", 1.0)] == [301.2, 32.1]
    assert {s.fault for s in reader(form).feed(b"301.2\x1d32.1\n", 1.0)} == {Fault.GARBLED}

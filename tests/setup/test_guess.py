"""Guessing a form, and that the driver then reads from the lines what was shown."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.base import Sample
from drivers.line_reader import LineReader, read_line_format
from drivers.options import Options
from press_monitor.setup.guess import guess_form, readable_share
from tests.drivers.test_checksums import FORMS, checked_line

NAMES = ("inner_mat[degF]", "outer_mat[degF]", "bag[psi]", "ram[psi]")


def read_back(guess, lines):
    """What the driver makes of the last line, given the guess and a name for every slot."""
    targets = dict(zip((slot.key for slot in guess.slots), NAMES, strict=False))
    reader = LineReader(read_line_format(Options(guess.options(targets))))
    samples: list[Sample] = reader.feed("\n".join(["", *lines, ""]).encode(), 0.0)
    return {sample.channel: sample.value for sample in samples}


@pytest.mark.parametrize(
    ("lines", "form", "extra", "values"),
    [
        (
            ["T1=301.2 T2=299.0 P=32.1", "T1=301.4 T2=299.1 P=32.1"],
            "labels",
            {},
            {"inner_mat": 301.4, "outer_mat": 299.1, "bag": 32.1},
        ),
        (["T1: 301.2 F, P: OPEN", "T1: 301.4 F, P: 32"], "labels", {}, {"inner_mat": 301.4, "outer_mat": 32.0}),
        (["T1=150,5 P=220", "T1=150,6 P=221"], "labels", {"decimal": ","}, {"inner_mat": 150.6, "outer_mat": 221.0}),
        (["301.2,299.0,32.1", "301.4,299.1,32.2"], "fields", {}, {"inner_mat": 301.4, "outer_mat": 299.1, "bag": 32.2}),
        (["301;299", "302;298"], "fields", {"delimiter": ";"}, {"inner_mat": 302.0, "outer_mat": 298.0}),
        (
            ["150,5;220", "150,6;221"],
            "fields",
            {"delimiter": ";", "decimal": ","},
            {"inner_mat": 150.6, "outer_mat": 221.0},
        ),
        (["  301.2   32.1 ", "301.4 32.2"], "fields", {"delimiter": " "}, {"inner_mat": 301.4, "outer_mat": 32.2}),
        (["301.2", "301.4"], "fields", {"delimiter": " "}, {"inner_mat": 301.4}),
        (
            ['{"zones": [{"t": 301.2}], "p": "32 psi"}', '{"zones": [{"t": 301.4}], "p": "33 psi"}'],
            "json",
            {},
            {"inner_mat": 301.4},
        ),
        (["# logger 7", "T1=1", "", "T1=2"], "labels", {}, {"inner_mat": 2.0}),
    ],
)
def test_forms_are_found_and_read_what_was_shown(lines, form, extra, values):
    guess = guess_form(lines)
    assert (guess.form, dict(guess.extra)) == (form, extra)
    told = read_back(guess, lines)
    assert {channel: told[channel] for channel in values} == values


def test_units_that_are_written_are_known():
    guess = guess_form(["A=301.2 F B=32 psi C=5 mV", "A=301.2 F B=32 psi C=5 mV"])
    assert [slot.unit for slot in guess.slots] == ["degF", "psi", "mV"]
    guess = guess_form(["12:00,301.2 °F,32 xyz", "12:01,301.2 °F,32 xyz"])
    assert [slot.unit for slot in guess.slots] == [None, "degF", None]


USUAL = [f for f in FORMS if f.get("checksum_after", "*") == "*" and f.get("checksum_from", "$") == "$"]


@pytest.mark.parametrize("form", USUAL, ids=lambda form: form["checksum"])
def test_checksums_behind_the_usual_mark_are_found(form):
    lines = [checked_line(form, f"A={n}.5 B={n * 7}".encode()).decode() for n in (301, 302, 417)]
    guess = guess_form(lines)
    assert {key: value for key, value in guess.extra.items() if key.startswith("checksum")} == form
    assert read_back(guess, lines) == {"inner_mat": 417.5, "outer_mat": 2919.0}


@pytest.mark.parametrize(
    "lines",
    [[], ["T1=301.2"], ["hello", "world"], ["1,2", "1,2,3"], ["ERR 7 at line", "ok"], ["T1=1.5 P=2,5", "T1=1 P=2"]],
)
def test_where_no_form_fits_there_is_no_guess(lines):
    assert guess_form(lines) is None


@given(st.lists(st.text(max_size=40), max_size=6))
def test_no_lines_make_it_raise(lines):
    guess = guess_form(lines)
    if guess is not None and guess.slots:
        assert all(slot.key for slot in guess.slots)


def test_text_and_what_a_wrong_baud_makes_of_it_are_told_apart():
    assert readable_share(b"T1=301.2 P=32.1\r\n") == 1.0
    assert readable_share(random.Random(1).randbytes(500)) < 0.5
    assert readable_share(b"") == 0.0

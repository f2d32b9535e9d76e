"""Cells, and what keeps text from outside harmless."""

import unicodedata

from hypothesis import given
from hypothesis import strategies as st

from press_monitor.screens.widgets.cells import Cells, clip, plain, shorten, width_of
from press_monitor.screens.widgets.drawn import strip_of


def test_runs_merge_cells_that_look_alike_and_blanks_split_nothing():
    cells = Cells(10, 1, 0)
    cells.text(0, 0, "ab cd", 0x111111)
    cells.text(6, 0, "ef", 0x222222)
    assert [(r.text, r.ink) for r in cells.runs(0)] == [("ab cd ", 0x111111), ("ef  ", 0x222222)]


def test_text_is_cut_at_the_edge_and_says_so():
    cells = Cells(6, 1, 0)
    cells.text(1, 0, "temperature", 1)
    assert cells.line(0) == " temp…"
    assert clip("abc", 3) == "abc"
    assert clip("abcd", 3) == "ab…"


def test_wide_characters_keep_the_grid():
    cells = Cells(6, 1, 0)
    after = cells.text(0, 0, "漢a", 1)
    assert after == 3
    assert strip_of(cells, 0).cell_length == 6


def test_paste_is_cut_to_the_grid():
    small, big = Cells(4, 4, 7), Cells(3, 3, 0)
    big.paste(small, 2, 2)
    assert big.ground[2, 2] == 7
    assert big.ground[1, 1] == 0


@given(st.text())
def test_text_from_outside_holds_no_control_characters(text):
    safe = plain(text)
    assert not any(unicodedata.category(c)[0] == "C" for c in safe)
    assert "\n" not in safe
    assert plain(safe) == safe


def test_escape_sequences_and_bidirectional_marks_are_taken_out():
    assert plain("a\x1b[2Jb\u202ec\td") == "a[2Jbc d"


@given(st.text(max_size=40), st.integers(0, 20))
def test_clipped_text_fits(text, width):
    assert width_of(clip(plain(text), width)) <= width


def test_a_sentence_too_long_for_its_place_ends_with_a_whole_clause_or_word():
    assert shorten("outer mat only: element or lead", 24) == "outer mat only"
    assert shorten("release below 180 °F, cured: 94 %", 40) == "release below 180 °F, cured: 94 %"
    assert shorten("element or its lead has failed at the plug", 24) == "element or its lead has…"
    assert shorten("a: element or its lead has failed", 24) == "a: element or its lead…"
    assert shorten("its calibration was due on 2030-08-29", 30) == "its calibration was due on…"
    assert shorten("unpronounceable-identification", 12) == "unpronounce…"


@given(st.text(), st.integers(0, 40))
def test_shortened_text_fits_and_is_the_beginning(text, width):
    short = shorten(text, width)
    assert width_of(short) <= width
    assert text.startswith(short.removesuffix("…").rstrip() if short != text else text)

"""Tire identification numbers: 49 CFR 574.5 and the weeks it means."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from press_monitor.archive.tin import SYMBOLS, TinError, read_tin, week_of

TODAY = date(2026, 11, 25)


@pytest.mark.parametrize(
    ("code", "sunday", "saturday"),
    [
        ("0109", date(2009, 1, 4), date(2009, 1, 10)),  # the regulation's own example, from memory
        ("0301", date(2001, 1, 21), date(2001, 1, 27)),  # third week of 2001 (an owner's manual)
        ("5208", date(2008, 12, 28), date(2009, 1, 3)),
        ("5317", date(2017, 12, 31), date(2018, 1, 6)),  # 2017 begins on a Sunday: it has a 53rd
    ],
)
def test_the_week_of_a_date_code(code: str, sunday: date, saturday: date) -> None:
    assert week_of(code) == (sunday, saturday)


@pytest.mark.parametrize("code", ["5409", "0015", "5309", "9999", "12", "12345", "01O9", "", "٠١٠٩"])
def test_codes_that_mean_no_week(code: str) -> None:
    with pytest.raises(TinError):
        week_of(code)


def test_a_decade_that_was_not_said_is_not_guessed() -> None:
    assert week_of("031") is None
    tin = read_tin("AB CD 031", TODAY)
    assert (tin.first_day, tin.last_day) == (None, None)
    assert "week 03 of a year ending in 1, before July 2000" in tin.words()


@given(st.integers(1, 53), st.integers(0, 99))
def test_weeks_against_the_calendar(week: int, year: int) -> None:
    """Week 01 is the first full week, Sunday to Saturday: `strftime("%U")` counts just these weeks (C standard)."""
    try:
        found = week_of(f"{week:02d}{year:02d}")
    except TinError:
        assert week == 53
        assert not any((date(2000 + year, 12, 31) - timedelta(days=k)).strftime("%U%w") == "530" for k in range(7))
        return
    assert found is not None
    first, last = found
    assert (first.year, first.strftime("%U"), first.strftime("%A")) == (2000 + year, f"{week:02d}", "Sunday")
    assert (last - first).days == 6


@pytest.mark.parametrize(
    ("typed", "symbols", "plant", "code"),
    [
        ("DOT 1H4 ABCDEF 0109", "1H4ABCDEF0109", "1H4", "0109"),
        ("dot1h4-abcdef-0109", "1H4ABCDEF0109", "1H4", "0109"),
        ("1HA 3419", "1HA3419", "1HA", "3419"),  # a retread: plant and date
        ("R 1HA 3419", "1HA3419", "1HA", "3419"),
        ("AB CD XYL 3419", "ABCDXYL3419", "AB", "3419"),  # before 2015
        ("ABCD 1031", "ABCD1031", "AB", "031"),  # 2031 is still to come: three digits, before July 2000
    ],
)
def test_numbers_as_they_are_typed(typed: str, symbols: str, plant: str, code: str) -> None:
    tin = read_tin(typed, TODAY)
    assert (tin.text, tin.plant, tin.date_code) == (symbols, plant, code)


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("1G4 ABCDEF 0109", "G is never used"),
        ("1H4 ABCDEF OSQZ", "O, Q, S, Z is never used"),
        ("1H4 ABCDEF 01/9", "'/' cannot stand in one"),
        ("1H4", "has 3 symbols"),
        ("1H4 ABCDEF 01099", "has 14 symbols"),
        ("1H4 ABCDEF 5409", "there is no week 54"),
        ("1H4 ABCDEF ABCD", "is not four digits"),
        ("1H4 ABCDEF 0130", "still to come"),
        ("", "has 0 symbols"),
    ],
)
def test_what_is_no_number(typed: str, says: str) -> None:
    with pytest.raises(TinError, match=says):
        read_tin(typed, TODAY)


def test_the_symbols_are_those_of_the_rule() -> None:
    assert "".join(sorted(SYMBOLS)) == "0123456789ABCDEFHJKLMNPRTUVWXY"


@given(st.text(max_size=30))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        tin = read_tin(text, TODAY)
    except TinError as error:
        said = str(error)
    else:
        said = ""
        assert set(tin.text) <= SYMBOLS and 7 <= len(tin.text) <= 13
        assert tin.first_day is None or tin.first_day <= TODAY
    assert len(said.splitlines()) <= 1

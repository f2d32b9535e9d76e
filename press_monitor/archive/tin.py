"""The DOT tire identification number (49 CFR 574.5): what is written on the sidewall, checked and read.

Thirteen symbols on a new tire and seven on a retread since 2015; before, up to twelve. The last four give the week
and year of making, the last three before July 2000, when the decade was not said and is not guessed here. Off-road and
farm tires may carry none: their serial is free text and never comes here.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, timedelta

from press_monitor.archive.types import ArchiveError

__all__ = ["SYMBOLS", "Tin", "TinError", "read_tin", "week_of"]

SYMBOLS = frozenset("0123456789ABCDEFHJKLMNPRTUVWXY")
"""G, I, O, Q, S and Z are never used: they read like other symbols."""

_NEW, _RETREAD = 13, 7
_SHORTEST, _LONGEST_OLD = 7, 12
_PREFIX = re.compile(r"^(?:DOT|R-?DOT|DOT-?R|R(?=[\s-]))[\s:-]*")
_SUNDAY = 6


class TinError(ArchiveError):
    """A text that is no tire identification number; the message says what is wrong with it."""


@dataclass(frozen=True, slots=True)
class Tin:
    """A tire identification number.

    Attributes:
        text: its symbols, without spaces and prefix.
        plant: who made or retreaded it: the first three symbols, two in a number from before 2015.
        date_code: the last four symbols, or three.
        first_day, last_day: the week it was made in, Sunday to Saturday; None where only a week is said, no decade.
        note: what the number itself does not settle, for people; empty where it does.
    """

    text: str
    plant: str
    date_code: str
    first_day: date | None
    last_day: date | None
    note: str = ""

    def words(self) -> str:
        """``1H4ABCDEF0109, made in the week from 2009-01-04 to 2009-01-10``."""
        made = (
            f"made in week {self.date_code[:2]} of a year ending in {self.date_code[2:]}, before July 2000"
            if self.first_day is None
            else f"made in the week from {self.first_day} to {self.last_day}"
        )
        return f"{self.text}, {made}" + (f" ({self.note})" if self.note else "")


def week_of(code: str) -> tuple[date, date] | None:
    """The week that a date code means, Sunday and Saturday; None for three digits, whose decade is not known.

    Week 01 is the first full week of the year, Sunday to Saturday. Raises `TinError` for a code that means no week.
    """
    if not re.fullmatch(r"[0-9]{3,4}", code):
        raise TinError(f"date code {code!r} is not four digits, week and year, or the three used before July 2000")
    week, year = int(code[:2]), code[2:]
    if not 1 <= week <= 53:
        raise TinError(f"date code {code}: there is no week {code[:2]}")
    if len(year) == 1:
        return None
    whole = 2000 + int(year)
    first = date(whole, 1, 1)
    first += timedelta(days=(_SUNDAY - first.weekday()) % 7)
    start = first + timedelta(weeks=week - 1)
    if start.year != whole:
        raise TinError(f"date code {code}: {whole} has 52 full weeks")
    return start, start + timedelta(days=6)


def read_tin(text: str, today: date) -> Tin:
    """Read and check a number as somebody typed it: spaces, hyphens, small letters and ``DOT`` do not matter.

    Raises `TinError`, also for a tire made after `today`.
    """
    typed = _PREFIX.sub("", text.strip().upper())
    symbols = re.sub(r"[\s.-]", "", typed)
    if wrong := sorted(set(symbols) - SYMBOLS):
        never = ", ".join(c for c in wrong if c in "GIOQSZ")
        said = f"{never} is never used in one" if never else f"{', '.join(map(repr, wrong))} cannot stand in one"
        raise TinError(f"{text!r}: {said}")
    if not _SHORTEST <= len(symbols) <= _NEW:
        raise TinError(
            f"{text!r} has {len(symbols)} symbols: a new tire's number has 13, a retread's 7, an old one 7-12"
        )
    if len(symbols) == _NEW:
        return _dated(symbols, 3, 4, today)
    plant = 3 if len(symbols) == _RETREAD else 2
    try:
        found = _dated(symbols, plant, 4, today)
    except TinError as refused:
        if len(symbols) == _LONGEST_OLD or not symbols[-3:].isdigit():
            raise
        try:
            return _dated(symbols, 2, 3, today)
        except TinError:
            raise refused from None
    if len(symbols) == _RETREAD:
        return Tin(found.text, found.plant, found.date_code, found.first_day, found.last_day, "a retreader's mark")
    return found


def _dated(symbols: str, plant: int, digits: int, today: date) -> Tin:
    code = symbols[-digits:]
    if not code.isdigit():
        raise TinError(f"{symbols!r}: its date code {code!r} is not four digits, week and year")
    week = week_of(code)
    if week is None:
        return Tin(symbols, symbols[:plant], code, None, None)
    if week[0] > today:
        raise TinError(f"{symbols!r}: its date code {code} means the week from {week[0]}, which is still to come")
    return Tin(symbols, symbols[:plant], code, *week)

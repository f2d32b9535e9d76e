"""Text of someone else's made fit to show: nothing in it may move a cursor, turn a line round or break a table."""

from __future__ import annotations

import unicodedata

__all__ = ["cells", "cut", "tame"]

JOINERS = "\u200c\u200d"
"""Invisible, and part of how some scripts are written."""
ELLIPSIS = "…"


def cells(text: str) -> int:
    """The columns a text takes in a terminal: wide letters take two, combining marks none."""
    if text.isascii():
        return len(text)
    return sum(
        0
        if unicodedata.combining(c) or unicodedata.category(c) in ("Cf", "Mn", "Me")
        else 1 + (unicodedata.east_asian_width(c) in "WF")
        for c in text
    )


def tame(text: str) -> str:
    """Text of someone else's on one line, without what could move a cursor or turn the line round."""
    if text.isprintable():
        return text
    return "".join(
        c if c.isprintable() or c in JOINERS else " " if c.isspace() else "\N{REPLACEMENT CHARACTER}" for c in text
    )


def cut(text: str, room: int) -> str:
    """Tamed text of at most `room` columns, ending in an ellipsis where some of it had to go."""
    text = tame(text)
    if cells(text) <= room:
        return text
    kept = ""
    used = 0
    for letter in text:
        used += cells(letter)
        if used > room - 1:
            break
        kept += letter
    return kept + ELLIPSIS if room > 0 else ""

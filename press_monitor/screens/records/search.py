"""What a person looks for: words and filters as typed, and what the archive is asked. Pure but for the reader."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta, tzinfo
from typing import Any, cast

from press_monitor.archive.entries import CAUSES, RESULTS
from press_monitor.archive.reader import ArchiveReader
from press_monitor.archive.search import FilterArgs
from press_monitor.archive.types import CertificateRow
from press_monitor.screens.widgets.cells import plain
from press_monitor.watch.kinds import KINDS

__all__ = ["CHUNK", "TEXTS", "VERDICTS", "Pages", "Search", "SearchError", "filters_of", "first_pages", "summary"]

CHUNK = 100
_KEPT = 12
"""Chunks held at a time: memory stays the same however far somebody scrolls."""

VERDICTS = ("pass", "exceptions", "review", "fail", "incomplete")
TEXTS = (
    ("customer", "Customer"),
    ("tire", "Tire"),
    ("place", "Place"),
    ("job", "Job"),
    ("lot", "Lot"),
    ("bag", "Bag"),
    ("mat", "Mat"),
    ("probe", "Probe"),
    ("tin", "DOT / TIN"),
    ("serial", "Serial"),
)
"""Filters that are typed: key and label."""
_CHOSEN = {
    "verdict": VERDICTS,
    "inspection": ("any", "none", *RESULTS),
    "comeback": ("any", "none", *CAUSES),
    "source": ("live", "log"),
    "alarm": tuple(KINDS),
}
_SAID = {
    ("inspection", "any"): "inspected",
    ("inspection", "none"): "not inspected",
    ("comeback", "any"): "came back",
    ("comeback", "none"): "not come back",
    ("source", "live"): "watched live",
    ("source", "log"): "replayed from a log",
}


class SearchError(ValueError):
    """A filter that cannot be read; `key` names it."""

    def __init__(self, key: str, words: str) -> None:
        super().__init__(words)
        self.key = key


@dataclass(frozen=True, slots=True)
class Search:
    """Words anywhere in the record, and filters by their key; empty texts ask for nothing."""

    words: str = ""
    values: Mapping[str, str] = field(default_factory=dict)

    @property
    def empty(self) -> bool:
        """Whether everything is found."""
        return not self.words.strip() and not any(self.values.values())


def filters_of(search: Search, zone: tzinfo | None = None) -> FilterArgs:
    """As the archive's reader takes it; days are the shop's. Raises `SearchError` naming the filter."""
    found: dict[str, Any] = {}
    for key, text in search.values.items():
        text = " ".join(text.split())
        if not text:
            continue
        if key == "number":
            found |= _span(text)
        elif key in ("since", "until"):
            day = _day(key, text) + timedelta(days=key == "until")
            found[f"{key}_utc"] = datetime(day.year, day.month, day.day, tzinfo=zone).timestamp()
        elif key in _CHOSEN and text not in _CHOSEN[key]:
            raise SearchError(key, f"{text!r} is none of {', '.join(_CHOSEN[key])}")
        else:
            found[key] = text
    if {"since_utc", "until_utc"} <= found.keys() and found["until_utc"] <= found["since_utc"]:
        raise SearchError("until", "is before the first day")
    if search.words.strip():
        found["text"] = search.words
    return cast("FilterArgs", found)


def _span(text: str) -> dict[str, int]:
    span = re.fullmatch(r"(\d{1,12})(?:\s*-\s*(\d{1,12}))?", text)
    if span is None:
        raise SearchError("number", "wants a number, or a span such as 40-60")
    if span[2] is None:
        return {"number": int(span[1])}
    return {"from_number": int(span[1]), "to_number": int(span[2])}


def _day(key: str, text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise SearchError(key, "wants a day such as 2031-05-04") from None


def summary(values: Mapping[str, str]) -> str:
    """The filters in force in a few words."""
    said = []
    labels = {"press": "press", "alarm": "alarm", "number": "No.", **{key: key for key, _ in TEXTS}}
    for key, text in values.items():
        if not text:
            continue
        text = plain(text)
        said.append(_SAID.get((key, text)) or (f"{labels.get(key, key)} {text}" if key != "verdict" else text))
    return ", ".join(said)


class Pages:
    """The rows found, newest first, as far as they were read: chunks of `CHUNK`, fetched as they come into sight.

    Only the chunks near the place looked at are kept; each can be fetched again by the number it begins after.
    """

    def __init__(self, search: Search, filters: FilterArgs) -> None:
        self.search, self.filters = search, filters
        self.total: int | None = None
        self.named: CertificateRow | None = None
        """The certificate whose number was typed as the search; it stands first."""
        self._keys: list[int | None] = [None]
        self._chunks: dict[int, tuple[CertificateRow, ...]] = {}
        self._stale: set[int] = set()
        self._known = 0
        self.ended = False

    def __len__(self) -> int:
        return self._known + (self.named is not None)

    def row(self, index: int) -> CertificateRow | None:
        """The row at a place in the table; None where it has not been read, or is no longer held."""
        if self.named is not None:
            if index == 0:
                return self.named
            index -= 1
        if index < 0:
            return None
        chunk = self._chunks.get(index // CHUNK, ())
        at = index % CHUNK
        return chunk[at] if at < len(chunk) else None

    def missing(self, first: int, last: int) -> int | None:
        """The first chunk that the rows `first` to `last` want and that can be fetched; None where all are there."""
        for chunk in range(max(0, first) // CHUNK, max(0, last) // CHUNK + 1):
            if chunk < len(self._keys) and (chunk not in self._chunks or chunk in self._stale):
                return chunk
        return None

    def doubt(self) -> None:
        """Something was entered since: read again what is looked at. Newer certificates belong to a new search."""
        self._stale = set(self._chunks)

    def fetch(self, reader: ArchiveReader, chunk: int) -> tuple[CertificateRow, ...]:
        """The rows of a chunk, read. Raises `ArchiveError`."""
        return reader.records(limit=CHUNK, before=self._keys[chunk], **self.filters)

    def put(self, chunk: int, rows: tuple[CertificateRow, ...]) -> None:
        """Keep a chunk that was read; the farthest one goes where there are too many."""
        self._chunks[chunk] = rows
        self._stale.discard(chunk)
        if chunk == 0 and self._keys[0] is None and rows:
            # The place of every row stays the same when newer certificates come.
            self._keys[0] = rows[0].number + 1
        if chunk == len(self._keys) - 1:
            self._known = chunk * CHUNK + len(rows)
            if len(rows) == CHUNK:
                self._keys.append(rows[-1].number)
            else:
                self.ended = True
        while len(self._chunks) > _KEPT:
            del self._chunks[max(self._chunks, key=lambda held: abs(held - chunk))]

    def find(self, number: int) -> int | None:
        """The place of a certificate among the rows held."""
        for chunk, rows in self._chunks.items():
            for at, row in enumerate(rows):
                if row.number == number:
                    return chunk * CHUNK + at + (self.named is not None)
        return None


def first_pages(reader: ArchiveReader, search: Search, zone: tzinfo | None) -> Pages:
    """A search with its first chunk. Raises `ArchiveError`, `SearchError`."""
    pages = Pages(search, filters_of(search, zone))
    words = search.words.strip()
    if words.isdecimal() and words.isascii() and len(words) <= 12:
        named = reader.records(number=int(words))
        pages.named = named[0] if named else None
    pages.put(0, pages.fetch(reader, 0))
    return pages

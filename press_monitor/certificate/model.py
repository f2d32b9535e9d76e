"""What a certificate says, before it is text, a page or a web page: sections of typed items.

Every renderer draws the same items in the same order, so that no copy says more than another.
"""

from __future__ import annotations

from dataclasses import dataclass, field

__all__ = ["Certificate", "Chart", "Grid", "Item", "Mark", "Pair", "Section", "Series", "Words"]


@dataclass(frozen=True, slots=True)
class Pair:
    """A label and its value."""

    label: str
    value: str


@dataclass(frozen=True, slots=True)
class Words:
    """A paragraph. A `bullet` is one of a list, `strong` stands out."""

    text: str
    bullet: bool = False
    strong: bool = False


@dataclass(frozen=True, slots=True)
class Grid:
    """A table: a head and rows of as many cells; `numeric` columns are set to the right."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numeric: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Series:
    """One curve in the chart's unit; None where there was no value. `letter` draws it where there is no colour."""

    name: str
    letter: str
    values: tuple[float | None, ...]


@dataclass(frozen=True, slots=True)
class Mark:
    """A moment on a chart."""

    minutes: float
    letter: str
    text: str


@dataclass(frozen=True, slots=True)
class Chart:
    """Curves over minutes.

    Attributes:
        title: what is drawn.
        unit: of every value, as people write it.
        minutes: the time axis, rising, one a value of each series.
        series: the curves.
        limits: named level lines, lowest first.
        marks: moments to point at.
    """

    title: str
    unit: str
    minutes: tuple[float, ...]
    series: tuple[Series, ...]
    limits: tuple[tuple[str, float], ...] = ()
    marks: tuple[Mark, ...] = ()


Item = Pair | Words | Grid | Chart


@dataclass(frozen=True, slots=True)
class Section:
    """A titled group of items; `key` never changes, the title may be reworded."""

    key: str
    title: str
    items: tuple[Item, ...]


@dataclass(frozen=True, slots=True)
class Certificate:
    """The whole content. `banner`, where there is one, stands on every page."""

    number: int | None
    title: str
    subtitle: str
    banner: str | None
    sections: tuple[Section, ...] = field(default=())

    def section(self, key: str) -> Section:
        """A section by its key. Raises KeyError."""
        for section in self.sections:
            if section.key == key:
                return section
        raise KeyError(key)

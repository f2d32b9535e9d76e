"""What a certificate says, before it is text, a page or a web page: sections of typed items.

Every renderer draws the same items in the same order, so that no form says more than another. There are three copies
with contents of their own: the shop's, the customer's and the label.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

__all__ = [
    "Certificate",
    "Chart",
    "Code",
    "Grid",
    "Item",
    "Mark",
    "Pair",
    "Section",
    "Series",
    "Span",
    "Words",
    "described",
]


@dataclass(frozen=True, slots=True)
class Pair:
    """A label and its value. An `exact` value is a hash or a key: never shortened, set in groups where it helps."""

    label: str
    value: str
    exact: bool = False


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
    """A moment on a chart: an alarm, or what a person did. `letter` is the sign it bears in its list."""

    at: float
    letter: str
    text: str
    action: bool = False


@dataclass(frozen=True, slots=True)
class Span:
    """A named stretch of the horizontal axis: a phase, a layer; `shaded` to tell one sort from the other."""

    start: float
    end: float
    name: str
    shaded: bool = False


@dataclass(frozen=True, slots=True)
class Chart:
    """Curves over time or depth.

    Attributes:
        title: what is drawn.
        unit: of every value, as people write it.
        x: the horizontal axis, rising, one a value of each series.
        series: the curves.
        limits: named level lines.
        marks: moments to point at.
        x_unit: of the horizontal axis: ``min``, ``mm``.
        band: the levels between which the curves should be, None where there is no band.
        spans: named stretches of the horizontal axis.
        reach: levels that the vertical axis holds in any case.
        half: whether it may share its row with the next chart.
    """

    title: str
    unit: str
    x: tuple[float, ...]
    series: tuple[Series, ...]
    limits: tuple[tuple[str, float], ...] = ()
    marks: tuple[Mark, ...] = ()
    x_unit: str = "min"
    band: tuple[float, float] | None = None
    spans: tuple[Span, ...] = ()
    reach: tuple[float, ...] = ()
    half: bool = False


@dataclass(frozen=True, slots=True)
class Code:
    """Text as a QR code, with what to say beside it."""

    text: str
    caption: str


Item = Pair | Words | Grid | Chart | Code


@dataclass(frozen=True, slots=True)
class Section:
    """A titled group of items; `key` never changes, the title may be reworded."""

    key: str
    title: str
    items: tuple[Item, ...]


@dataclass(frozen=True, slots=True)
class Certificate:
    """The whole content of one copy.

    Attributes:
        number: the certificate's.
        title, subtitle: what stands on top.
        banners: what must stand on every page, such as that the record comes from a log.
        sections: in the order they are read.
        copy: ``shop``, ``customer`` or ``label``.
        verdict: the verdict's word, for its colour and sign.
        footer: what stands at the foot of every page: which record this is a copy of.
        dated: when the newest entry shown was written, ``2031-05-04T16:20:00.125Z``; a file's own date comes from it.
        author: the shop.
        letter: whether its readers' paper is US Letter rather than A4.
    """

    number: int | None
    title: str
    subtitle: str
    banners: tuple[str, ...] = ()
    sections: tuple[Section, ...] = ()
    copy: str = "shop"
    verdict: str = ""
    footer: str = ""
    dated: str = ""
    author: str = ""
    letter: bool = True

    def section(self, key: str) -> Section:
        """A section by its key. Raises KeyError."""
        for section in self.sections:
            if section.key == key:
                return section
        raise KeyError(key)

    def charts(self) -> Iterator[Chart]:
        """Every chart, in order."""
        return (item for section in self.sections for item in section.items if isinstance(item, Chart))


def described(chart: Chart) -> str:
    """A chart in words, for who cannot see it."""
    said = []
    for series in chart.series:
        known = [value for value in series.values if value is not None]
        span = f"{min(known):.4g} to {max(known):.4g} {chart.unit}" if known else "no values"
        said.append(f"{series.name} {span}")
    over = f" over {chart.x[-1] - chart.x[0]:.4g} {chart.x_unit}" if len(chart.x) > 1 else ""
    text = f"{chart.title}{over}: {', '.join(said) or 'nothing was read'}."
    if chart.band is not None:
        text += f" Band {chart.band[0]:.4g} to {chart.band[1]:.4g} {chart.unit}."
    if chart.limits:
        text += " " + ", ".join(f"{name} {level:.4g} {chart.unit}" for name, level in chart.limits) + "."
    if chart.spans:
        text += " " + ", ".join(f"{span.name} {span.start:.4g} to {span.end:.4g}" for span in chart.spans) + "."
    if chart.marks:
        text += " Marked: " + "; ".join(f"{mark.text} at {mark.at:.1f} {chart.x_unit}" for mark in chart.marks) + "."
    return text

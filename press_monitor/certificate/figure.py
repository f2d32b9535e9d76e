"""A chart drawn once, as shapes in points: page and web page paint the very same ones.

The origin is the upper left corner, y grows downwards, as in SVG; 72 points are an inch.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from press_monitor.certificate.letters import cut, tame
from press_monitor.certificate.model import Chart, Mark
from press_monitor.certificate.scale import axis, level_range, strokes

__all__ = ["BAND", "GRID", "INK", "QUIET", "Area", "Curve", "Figure", "Label", "Rule", "Shape", "figure"]

INK: Final = "#1a1a1a"
QUIET: Final = "#5a5a5a"
GRID: Final = "#dcdcdc"
BAND: Final = "#e4f1e6"
BAND_EDGE: Final = "#5f8f68"
RUBBER: Final = "#f6e6ee"
LIMIT: Final = "#a01818"
ALARM: Final = "#a01818"
ACTION: Final = "#1f4e8c"

# Inner and outer, bag, heat-off and release: told apart by colour on a screen and by their dashes in any print.
STYLES: Final[dict[str, tuple[str, tuple[float, ...]]]] = {
    "i": ("#b5460f", ()),
    "o": ("#6b5600", (3.2, 1.6)),
    "j": ("#b5460f", (1.0, 1.4)),
    "p": ("#6b5600", (1.0, 1.4)),
    "b": ("#14589c", ()),
    "c": ("#14589c", (3.2, 1.6)),
    "h": ("#a83a72", (3.2, 1.6)),
    "r": ("#7a1450", ()),
}
OTHER: Final = ("#444444", (1.0, 1.4))

UNITS: Final = {"mm": "mm from the inner mat"}
COLUMNS = 500
SIZE = 7.0
SMALL = 6.2
BOLD_WIDE = 0.62
WIDE = 0.54
"""A generous guess of a letter's width over its height, so that what is placed by it never runs into another."""
LEFT, RIGHT, TOP, BOTTOM = 30.0, 8.0, 14.0, 12.0
ROW = 8.5
NEAREST_MARKS = 9.0
SAMPLE = 13.0
WIDE_FIGURE = 330.0
ALIGNED_ROOM = 60.0


@dataclass(frozen=True, slots=True)
class Rule:
    """A straight line."""

    x1: float
    y1: float
    x2: float
    y2: float
    ink: str
    width: float = 0.5
    dash: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Curve:
    """An open line through points; `name` says what it is."""

    points: tuple[tuple[float, float], ...]
    ink: str
    width: float
    dash: tuple[float, ...]
    name: str


@dataclass(frozen=True, slots=True)
class Area:
    """A filled rectangle."""

    x: float
    y: float
    width: float
    height: float
    ink: str


@dataclass(frozen=True, slots=True)
class Label:
    """A line of text: its baseline at `y`, `anchor` being ``start``, ``middle`` or ``end``."""

    x: float
    y: float
    text: str
    size: float
    anchor: str = "start"
    ink: str = INK
    strong: bool = False


Shape = Rule | Curve | Area | Label


@dataclass(frozen=True, slots=True)
class Figure:
    """A drawn chart.

    Attributes:
        width, height: in points.
        shapes: to be painted in order.
        frame: x, y, width and height of the plot itself.
        reach: lowest and highest x, lowest and highest level: what the frame's edges stand for.
    """

    width: float
    height: float
    shapes: tuple[Shape, ...]
    frame: tuple[float, float, float, float]
    reach: tuple[float, float, float, float]


def figure(chart: Chart, width: float, height: float) -> Figure:
    """Draw a chart into `width` by `height` points."""
    return _Drawing(chart, width, height).finish()


class _Drawing:
    """One chart in the making."""

    def __init__(self, chart: Chart, width: float, height: float) -> None:
        self.chart, self.width, self.height = chart, width, height
        self.shapes: list[Shape] = []
        rows = [any(not mark.action for mark in chart.marks), any(mark.action for mark in chart.marks)]
        self.alarm_row, self.action_row = rows
        above = TOP + ROW * (bool(chart.spans) + self.alarm_row)
        below = BOTTOM + ROW * self.action_row
        said = max((len(text) for text, _, _ in self._limits()), default=0)
        self.limit_room = RIGHT if not said else 12.0 + SMALL * WIDE * said
        if chart.x_unit == "min" and width > WIDE_FIGURE:
            # Charts over time stand under one another: their axes must agree.
            self.limit_room = max(self.limit_room, ALIGNED_ROOM)
        self.x0, self.x1 = LEFT, width - self.limit_room
        self.y0, self.y1 = above, height - below
        low, high = level_range(chart)
        # Half a step of air, so that no curve lies on the frame.
        air = 0.04 * (high - low)
        pinned = {low, high} & set(chart.reach)
        self.low = low if low in pinned else low - air
        self.high = high if high in pinned else high + air
        self.start, self.end = (chart.x[0], chart.x[-1]) if len(chart.x) > 1 else (0.0, 1.0)
        if self.end <= self.start:
            self.end = self.start + 1.0

    def _limits(self) -> list[tuple[str, float, str]]:
        """What is written at the right edge: text, level, ink."""
        said = [(f"{name} {level:.4g}", level, LIMIT) for name, level in self.chart.limits]
        if self.chart.band is not None:
            low, high = self.chart.band
            said += [(f"{low:.4g}", low, BAND_EDGE), (f"{high:.4g}", high, BAND_EDGE)]
        return said

    def across(self, at: float) -> float:
        share = (at - self.start) / (self.end - self.start)
        return self.x0 + min(1.0, max(0.0, share)) * (self.x1 - self.x0)

    def down(self, level: float) -> float:
        return self.y1 - (level - self.low) / (self.high - self.low) * (self.y1 - self.y0)

    def finish(self) -> Figure:
        self._heading()
        self._backdrop()
        self._axes()
        self._edges()
        self._marks()
        self._curves()
        self._frame()
        frame = (self.x0, self.y0, self.x1 - self.x0, self.y1 - self.y0)
        return Figure(self.width, self.height, tuple(self.shapes), frame, (self.start, self.end, self.low, self.high))

    def _heading(self) -> None:
        chart = self.chart
        title = f"{chart.title}, {chart.unit}"
        names = [cut(series.name, 24) for series in chart.series]
        widths = [SAMPLE + 4.0 + SIZE * WIDE * len(name) for name in names]
        x = self.width - sum(widths) - 8.0 * max(0, len(widths) - 1)
        room = int((x - 8.0) / (SIZE * BOLD_WIDE))
        self.shapes.append(Label(0.0, SIZE, cut(title, max(6, room)), SIZE, strong=True))
        for series, name, wide in zip(chart.series, names, widths, strict=True):
            ink, dash = STYLES.get(series.letter, OTHER)
            self.shapes.append(Rule(x, SIZE - 2.4, x + SAMPLE, SIZE - 2.4, ink, 1.1, dash))
            self.shapes.append(Label(x + SAMPLE + 3.0, SIZE, name, SIZE, "start", ink))
            x += wide + 8.0

    def _backdrop(self) -> None:
        chart = self.chart
        high = self.y1 - self.y0
        for span in chart.spans:
            left, right = self.across(span.start), self.across(span.end)
            if span.shaded:
                self.shapes.append(Area(left, self.y0, right - left, high, RUBBER))
        if chart.band is not None:
            low, top = (self.down(level) for level in chart.band)
            self.shapes.append(Area(self.x0, top, self.x1 - self.x0, low - top, BAND))
        row = self.y0 - 3.0 - (ROW if self.alarm_row else 0.0)
        for number, span in enumerate(chart.spans):
            left, right = self.across(span.start), self.across(span.end)
            if number:
                self.shapes.append(Rule(left, row - SMALL, left, row + 1.0, QUIET, 0.4, (1.0, 1.5)))
                self.shapes.append(Rule(left, self.y0, left, self.y1, QUIET, 0.4, (1.0, 1.5)))
            room = int((right - left - 4.0) / (SMALL * WIDE))
            if room >= 3:
                name = cut(span.name, room)
                self.shapes.append(Label((left + right) / 2, row, name, SMALL, "middle", QUIET))

    def _axes(self) -> None:
        for level in axis(self.low, self.high, max(2, int((self.y1 - self.y0) / 16.0))):
            y = self.down(level)
            self.shapes.append(Rule(self.x0, y, self.x1, y, GRID, 0.4))
            self.shapes.append(Label(self.x0 - 3.0, y + SMALL * 0.36, _number(level), SMALL, "end", QUIET))
        hours = self.chart.x_unit == "min" and self.end - self.start > 300.0
        unit, scale = ("h", 60.0) if hours else (UNITS.get(self.chart.x_unit, self.chart.x_unit), 1.0)
        ticks = axis(self.start / scale, self.end / scale, max(2, int((self.x1 - self.x0) / 34.0)))
        y = self.y1 + SMALL + 2.5
        for tick in ticks:
            x = self.across(tick * scale)
            self.shapes.append(Rule(x, self.y1, x, self.y1 + 2.0, QUIET, 0.5))
            if x < self.x1 - SMALL * WIDE * (len(unit) + 2):
                self.shapes.append(Label(x, y, _number(tick), SMALL, "middle", QUIET))
        self.shapes.append(Label(self.x1, y, unit, SMALL, "end", QUIET))

    def _edges(self) -> None:
        chart = self.chart
        for level in chart.band or ():
            y = self.down(level)
            self.shapes.append(Rule(self.x0, y, self.x1, y, BAND_EDGE, 0.6))
        for _, level in chart.limits:
            y = self.down(level)
            self.shapes.append(Rule(self.x0, y, self.x1, y, LIMIT, 0.7, (4.0, 2.0)))
        # Written from below upwards, each kept clear of the one under it.
        floor = self.y1 + 4.0
        for text, level, ink in sorted(self._limits(), key=lambda item: item[1]):
            y = min(self.down(level) + SMALL * 0.36, floor - SMALL)
            self.shapes.append(Label(self.x1 + 4.0, y, text, SMALL, "start", ink))
            floor = y

    def _marks(self) -> None:
        for action, ink, y in (
            (False, ALARM, self.y0 - 3.0),
            (True, ACTION, self.y1 + BOTTOM + SMALL - 1.0),
        ):
            for x, text, marks in self._gathered(action):
                for mark in marks:
                    at = self.across(mark.at)
                    self.shapes.append(Rule(at, self.y0, at, self.y1, ink, 0.6, (0.8, 1.6)))
                self.shapes.append(Label(x, y, text, SMALL, "middle", ink, strong=True))

    def _gathered(self, action: bool) -> list[tuple[float, str, list[Mark]]]:
        """Marks that would overprint one another share one label: ``A-D``."""
        groups: list[list[Mark]] = []
        last = -NEAREST_MARKS
        for mark in self.chart.marks:
            if mark.action is not action:
                continue
            at = self.across(mark.at)
            if groups and at - last < NEAREST_MARKS + SMALL * WIDE * len(_joined(groups[-1])):
                groups[-1].append(mark)
            else:
                groups.append([mark])
            last = self.across(groups[-1][0].at)
        made = []
        for group in groups:
            text = _joined(group)
            half = SMALL * WIDE * len(text) / 2 + 1.0
            x = (self.across(group[0].at) + self.across(group[-1].at)) / 2
            made.append((min(self.x1 - half + 8.0, max(self.x0 + half - 8.0, x)), text, group))
        return made

    def _curves(self) -> None:
        for series, stretches in zip(self.chart.series, strokes(self.chart, COLUMNS), strict=True):
            ink, dash = STYLES.get(series.letter, OTHER)
            for stretch in stretches:
                points = tuple((round(self.across(x), 2), round(self.down(y), 2)) for x, y in stretch)
                if len(points) == 1:
                    # A reading between two gaps: a dot.
                    points = (points[0], (points[0][0] + 0.01, points[0][1]))
                self.shapes.append(Curve(points, ink, 1.0, dash, tame(series.name)))
        if not any(value is not None for series in self.chart.series for value in series.values):
            middle = ((self.x0 + self.x1) / 2, (self.y0 + self.y1) / 2)
            self.shapes.append(Label(*middle, "nothing was read", SIZE, "middle", QUIET))

    def _frame(self) -> None:
        self.shapes.append(Rule(self.x0, self.y0, self.x0, self.y1, QUIET, 0.6))
        self.shapes.append(Rule(self.x0, self.y1, self.x1, self.y1, QUIET, 0.6))


def _joined(marks: list[Mark]) -> str:
    if len(marks) == 1:
        return marks[0].letter
    return f"{marks[0].letter}-{marks[-1].letter}"


def _number(value: float) -> str:
    return f"{value:.6g}".replace("-", "−")

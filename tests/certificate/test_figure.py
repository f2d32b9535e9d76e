"""One curve model: text, web page and PDF plot the same values."""

from __future__ import annotations

import io
import re

import numpy as np
import pypdf
import pytest
from hypothesis import given
from hypothesis import strategies as st

from press_monitor.certificate.curves import profile_charts, time_charts
from press_monitor.certificate.facts import shop_copy
from press_monitor.certificate.figure import Area, Curve, Figure, Label, Rule, figure
from press_monitor.certificate.html import render_html
from press_monitor.certificate.model import Chart, Mark, Series, Span, described
from press_monitor.certificate.pdf import MARGIN, render_pdf
from press_monitor.certificate.plot import AXIS, draw
from press_monitor.certificate.scale import axis, columns_of, level_range, round_step, strokes
from press_monitor.quantities import UnitSystem
from tests.certificate.samples import PROFILES, RECIPE, record, ugly

US = UnitSystem.named("us")
Points = list[tuple[float, float]]

charts = st.lists(st.none() | st.floats(-1e5, 1e5), min_size=2, max_size=400).map(
    lambda values: Chart("Mats", "°F", tuple(n / 7 for n in range(len(values))), (Series("x", "i", tuple(values)),))
)


def noisy(rows: int = 20_000) -> Chart:
    """A long curve with a gap, and a spike of one reading."""
    wobble = np.random.default_rng(7).normal(0.0, 0.5, rows)
    values: list[float | None] = (250.0 + 50.0 * np.tanh(np.arange(rows) / 3000.0) + wobble).tolist()
    values[12_345] = 420.0
    values[5_000:6_000] = [None] * 1_000
    return Chart("Mats", "°F", tuple(n / 60 for n in range(rows)), (Series("inner mat", "i", tuple(values)),))


@given(charts, st.integers(1, 60))
def test_a_thinned_curve_invents_nothing_and_keeps_every_extreme(chart: Chart, columns: int) -> None:
    (made,) = strokes(chart, columns)
    told = {point for stretch in made for point in stretch}
    known = {(x, v) for x, v in zip(chart.x, chart.series[0].values, strict=True) if v is not None}
    assert told <= known
    column = columns_of(chart.x, columns).tolist()
    for n in range(columns):
        here = [v for c, v in zip(column, chart.series[0].values, strict=True) if c == n and v is not None]
        kept = [v for x, v in told if here and column[chart.x.index(x)] == n]
        assert not here or (min(here), max(here)) == (min(kept), max(kept))
    assert all(stretch == sorted(stretch) for stretch in made)


def test_a_gap_is_never_bridged_and_a_long_curve_gets_short() -> None:
    chart = noisy()
    (made,) = strokes(chart, 500)
    assert len(made) == 2
    assert made[0][-1][0] == pytest.approx(4_999 / 60)
    assert made[1][0][0] == pytest.approx(6_000 / 60)
    assert sum(map(len, made)) <= 4 * 502
    assert max(y for stretch in made for _, y in stretch) == 420.0


@pytest.mark.parametrize("columns", [1, 7, 500])
def test_no_spike_of_one_reading_is_lost_however_long_the_cure(columns: int) -> None:
    values = np.random.default_rng(3).normal(300.0, 0.5, 43_200)
    values[[777, 20_000, 43_000]] = 210.0
    values[[778, 30_000, 43_001]] = 390.0
    chart = Chart("Mats", "°F", tuple(n / 60 for n in range(43_200)), (Series("x", "i", tuple(values.tolist())),))
    told = np.array(strokes(chart, columns)[0][0])
    held, column = columns_of(tuple(told[:, 0]), columns), columns_of(chart.x, columns)
    for n in range(columns):
        assert told[held == n, 1].min() == values[column == n].min()
        assert told[held == n, 1].max() == values[column == n].max()
    assert len(told) <= 4 * columns


def back(drawn: Figure, points: Points) -> Points:
    """From points of the drawing to x and level."""
    left, top, width, height = drawn.frame
    start, end, low, high = drawn.reach
    return [(start + (x - left) / width * (end - start), high - (y - top) / height * (high - low)) for x, y in points]


def test_web_page_pdf_and_text_plot_the_same_values() -> None:
    kept, trace = record()
    body = kept.sealed.content
    mats, bag = time_charts(trace, body, body["result"], US)
    through = profile_charts(body, US)
    certificate = shop_copy(kept, trace)

    # The web page: every polyline of the drawing, in order, with the values of the trace.
    page = render_html(certificate, "letter")
    found = re.findall(r'<polyline data-name="([^"]*)" points="([^"]*)"', page)
    wanted = [(chart, each) for chart in (mats, bag, *through) for each in chart.series]
    for chart, series in wanted:
        drawn = figure(chart, *((252.0, 132.0) if chart.half else (520.0, 158.0)))
        for stretch in strokes(Chart("", "", chart.x, (series,)), 500)[0]:
            name, points = found.pop(0)
            assert name == series.name
            told = back(drawn, [tuple(map(float, pair.split(","))) for pair in points.split()])  # type: ignore[misc]
            tolerance = 0.02 / drawn.frame[3] * (drawn.reach[3] - drawn.reach[2])
            assert [x for x, _ in told] == pytest.approx([x for x, _ in stretch], abs=0.01 * (chart.x[-1] or 1))
            assert [y for _, y in told] == pytest.approx([y for _, y in stretch], abs=tolerance)
    assert not found

    # The PDF: its content stream holds the very same strokes, read with another library.
    stream = b"".join(
        each.get_contents().get_data()  # type: ignore[union-attr]
        for each in pypdf.PdfReader(io.BytesIO(render_pdf(certificate, "letter"))).pages
    ).decode("latin-1")
    paths = [
        [(float(x), float(y)) for x, y in re.findall(r"(-?[\d.]+) (-?[\d.]+) [ml]", path)]
        for path in re.findall(r"((?:-?[\d.]+ -?[\d.]+ [ml] )+)S", stream)
    ]
    width = 612.0 - 2 * MARGIN
    for chart, series in wanted:
        drawn = figure(chart, *(((width - 16.0) / 2, 132.0) if chart.half else (width, 158.0)))
        curves = [shape for shape in drawn.shapes if isinstance(shape, Curve) and shape.name == series.name]
        assert curves
        for curve in curves:
            path = next(path for path in paths if same_shape(path, list(curve.points)))
            paths.remove(path)

    # Text: each column's span holds the values that fell into it.
    lines = draw(mats, 80)
    rows = [line[AXIS + 1 :].ljust(72) for line in lines if len(line) > AXIS and line[AXIS] == "|"]
    labels = {n: float(line[:AXIS]) for n, line in enumerate(lines[1:]) if line[:AXIS].strip() and line[AXIS] == "|"}
    (first, high), (last, low) = min(labels.items()), max(labels.items())
    step = (high - low) / (last - first)
    column = columns_of(mats.x, 72).tolist()
    for place in range(72):
        values = [v for c, v in zip(column, mats.series[0].values, strict=True) if c == place and v is not None]
        drawn_rows = [n for n, row in enumerate(rows) if row[place] in "i#"]
        if values:
            assert low + (last - min(drawn_rows)) * step == pytest.approx(max(values), abs=step)
            assert low + (last - max(drawn_rows)) * step == pytest.approx(min(values), abs=step)
        else:
            assert not drawn_rows


def same_shape(path: Points, points: Points) -> bool:
    """Whether a path of the page, y upwards, is these points moved somewhere."""
    if len(path) != len(points):
        return False
    at = np.array(path) * (1, -1)
    wanted = np.array(points)
    return bool(np.abs((at - at[0]) - (wanted - wanted[0])).max() < 0.03)


def test_cure_through_the_thickness_at_both_moments() -> None:
    kept, _ = record()
    cure, heat = profile_charts(kept.sealed.content, US)
    assert (cure.unit, cure.x_unit, cure.x[0], cure.x[-1]) == ("%", "mm", 0.0, 44.0)
    assert [series.name for series in cure.series] == ["heat-off", "release"]
    assert cure.series[1].values[0] == pytest.approx(100.0)
    assert cure.series[1].values[15] is None  # casing, cured long ago
    assert min(v for v in cure.series[1].values if v is not None) == pytest.approx(100 * (0.91 + 0.09 * 64 / 484))
    assert cure.limits == (("required", pytest.approx(90.0)), ("blow point", pytest.approx(35.0)))
    assert [(span.name, span.shaded) for span in cure.spans] == [
        ("repair patch", True),
        ("casing", False),
        ("filler rubber", True),
    ]
    assert heat.series[0].values[22] == pytest.approx(138.0 * 9 / 5 + 32)
    only = {"profiles": {"heat_off": PROFILES["heat_off"], "release": None}}
    assert [s.name for s in profile_charts(only, US)[0].series] == ["heat-off"]
    for missing in ({}, {"profiles": None}, {"profiles": {"heat_off": None, "release": []}}):
        assert profile_charts(missing, US) == ()


def inside(drawn: Figure) -> None:
    for shape in drawn.shapes:
        match shape:
            case Rule(x1, y1, x2, y2):
                xs, ys = (x1, x2), (y1, y2)
            case Curve(points):
                xs, ys = tuple(x for x, _ in points), tuple(y for _, y in points)
            case Area(x, y, width, height):
                xs, ys = (x, x + width), (y, y + height)
            case Label(x, y, text, size, anchor):
                wide = 0.45 * size * len(text)
                start = x - {"start": 0.0, "middle": wide / 2, "end": wide}[anchor]
                xs, ys = (start, start + wide), (y - 0.5 * size, y)
        assert min(xs) >= -0.5 and max(xs) <= drawn.width + 0.5, shape
        assert min(ys) >= -0.5 and max(ys) <= drawn.height + 0.5, shape


@pytest.mark.parametrize("size", [(520.0, 158.0), (252.0, 132.0), (520.0, 66.0), (252.0, 66.0)])
def test_nothing_is_drawn_outside_its_figure(size: tuple[float, float]) -> None:
    for name, (kept, trace) in ugly().items():
        body = kept.sealed.content
        for chart in (*time_charts(trace, body, body["result"], US), *profile_charts(body, US)):
            drawn = figure(chart, *size)
            inside(drawn)
            assert drawn.frame[2] > 0.4 * size[0] and drawn.frame[3] > 10.0, name


@given(charts, st.lists(st.floats(-5, 90), max_size=40))
def test_any_chart_can_be_drawn(chart: Chart, moments: list[float]) -> None:
    marks = tuple(Mark(at, chr(65 + n % 26), "x", action=bool(n % 3)) for n, at in enumerate(sorted(moments)))
    spans = (Span(0.0, 1.0, "heat-up"), Span(1.0, 20.0, "hold"))
    full = Chart(
        chart.title, chart.unit, chart.x, chart.series, (("maximum", 1e3),), marks, band=(1.0, 2.0), spans=spans
    )
    inside(figure(full, 520.0, 158.0))
    assert described(full).startswith("Mats")


def test_marks_that_would_overprint_share_a_label() -> None:
    marks = tuple(Mark(10.0 + n / 50, letter, letter) for n, letter in enumerate("ABCD"))
    chart = Chart("Mats", "°F", (0.0, 60.0), (Series("x", "i", (1.0, 2.0)),), marks=(*marks, Mark(40.0, "E", "E")))
    texts = [shape.text for shape in figure(chart, 520.0, 158.0).shapes if isinstance(shape, Label)]
    assert "A-D" in texts
    assert "E" in texts


def test_charts_over_time_stand_on_one_axis() -> None:
    kept, trace = record()
    body = kept.sealed.content
    mats, bag = (figure(chart, 520.0, 158.0).frame for chart in time_charts(trace, body, body["result"], US))
    assert (mats[0], mats[2]) == (bag[0], bag[2])


@given(st.floats(-1e6, 1e6), st.floats(1e-3, 1e6), st.integers(2, 12))
def test_axes_have_round_numbers_inside_their_range(low: float, length: float, most: int) -> None:
    step = round_step(length, most)
    assert length / step <= most * (1 + 1e-6)
    assert f"{step:e}"[0] in "125"
    ticks = axis(low, low + length, most)
    assert all(low - 1e-6 * length <= tick <= low + length * (1 + 1e-6) for tick in ticks)
    assert len(ticks) <= most + 1


def test_a_flat_curve_still_has_a_height() -> None:
    flat = Chart("Mats", "°F", (0.0, 1.0), (Series("x", "i", (5.0, 5.0)),))
    assert level_range(flat) == (4.0, 6.0)


def test_a_chart_can_be_told_in_words() -> None:
    kept, trace = record()
    body = kept.sealed.content
    mats, _ = time_charts(trace, body, body["result"], US)
    told = described(mats)
    for fact in (
        "over 125 min",
        "inner mat 70 to 305 °F",
        "Band 290 to 310",
        "maximum 330",
        "A: heat-lost at 15.0 min",
    ):
        assert fact in told
    assert RECIPE.hold_tolerance == pytest.approx(10 / 1.8)

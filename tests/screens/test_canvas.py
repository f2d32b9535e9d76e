"""The drawing core: arrays in, cells out."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from press_monitor.screens.widgets.canvas import (
    Band,
    Chart,
    Curve,
    Guide,
    Mark,
    View,
    columns,
    dots_of,
    draw_chart,
    ticks,
)
from press_monitor.screens.widgets.palette import DARK, Look, Marker

UNIT = View(0.0, 10.0, 0.0, 10.0)


def curve(x, y, **options):
    options.setdefault("gap", 1.0)
    return Curve(np.asarray(x, float), np.asarray(y, float), 0xFFFFFF, **options)


def test_one_spike_among_thousands_of_samples_stays_visible():
    x = np.linspace(0, 10, 10_000)
    y = np.full_like(x, 2.0)
    y[5_000] = 9.0
    low, high = columns(curve(x, y), UNIT, 20)
    assert np.nanmax(high) == 9.0
    assert np.nanmin(low) == 2.0


def test_extremes_of_each_column_are_those_of_its_samples():
    x = np.linspace(0, 10, 997)
    y = np.sin(x * 7) * 4 + 5
    low, high = columns(curve(x, y, gap=0.0), UNIT, 13)
    for n in range(13):
        inside = y[(x >= n * 10 / 13) & ((x < (n + 1) * 10 / 13) | (n == 12))]
        assert low[n] == pytest.approx(inside.min())
        assert high[n] == pytest.approx(inside.max())


def test_a_long_silence_is_left_blank_and_a_short_one_bridged():
    x = [0, 1, 2, 7, 8, 9]
    low, _ = columns(curve(x, [5] * 6, gap=1.5), UNIT, 20)
    assert np.isnan(low[5:14]).all()
    assert np.isfinite(low[0:5]).all()
    bridged, _ = columns(curve(x, [5] * 6, gap=6.0), UNIT, 20)
    assert np.isfinite(bridged[0:18]).all()


def test_a_nan_breaks_the_curve_even_between_near_samples():
    x = np.arange(0, 10.0)
    y = np.full(10, 5.0)
    y[5] = np.nan
    low, _ = columns(curve(x, y, gap=100.0), UNIT, 20)
    assert np.isnan(low[9:12]).all()
    assert np.isfinite(low[12:18]).all()


def test_a_steep_edge_has_no_hole():
    x = np.linspace(0, 10, 400)
    y = np.where(x < 5, 1.0, 9.0)
    dots = dots_of(curve(x, y), UNIT, 20, 40)
    rows = np.flatnonzero(dots[:, 9] | dots[:, 10])
    assert rows.size == rows[-1] - rows[0] + 1
    assert dots.any(axis=0).all()


def test_values_beyond_the_view_lie_on_its_edge():
    dots = dots_of(curve([0, 5, 10], [50, 50, 50], gap=20), UNIT, 20, 8)
    assert dots[0].all()
    assert not dots[1:].any()


def test_dashes_break_level_stretches_only():
    x = np.linspace(0, 10, 400)
    level = dots_of(curve(x, np.full_like(x, 5.0), dashed=True), UNIT, 40, 40)
    assert (~level.any(axis=0)).any()
    slope = dots_of(curve(x, x * 1.0, dashed=True), View(0, 10, 0, 1), 40, 400)
    steep = dots_of(curve(x, np.where(x < 5.0, 0.0, 10.0), dashed=True), UNIT, 40, 40)
    edge = np.flatnonzero(steep.sum(axis=0) > 3)
    assert edge.size >= 1
    assert slope.any()


@pytest.mark.parametrize("marker", list(Marker))
def test_every_marker_draws_the_curve_its_ink_and_its_axes(marker):
    x = np.linspace(0, 10, 100)
    chart = Chart(UNIT, curves=(curve(x, x),), x_axis=True, y_axis=4, x_unit="min")
    cells = draw_chart(chart, 40, 10, Look(DARK, marker))
    text = cells.lines()
    assert len(text) == 10
    assert text[-1].split()[0] == "0"
    assert text[-1].endswith("min")
    inked = cells.ink[:9, 4:] == 0xFFFFFF
    drawn = cells.glyph[:9, 4:] != " "
    assert (inked & drawn).sum() >= 30
    if marker is Marker.ASCII:
        assert all(ord(c) < 128 for c in "".join(text))


def test_braille_dots_stand_where_the_curve_is():
    cells = draw_chart(Chart(View(0, 1, 0, 1), curves=(curve([0, 1], [1, 1], gap=2),)), 2, 1, Look())
    assert cells.line(0) == "⠉⠉"
    cells = draw_chart(Chart(View(0, 1, 0, 1), curves=(curve([0, 1], [0, 0], gap=2),)), 2, 1, Look())
    assert cells.line(0) == "⣀⣀"


def test_the_last_curve_gives_a_shared_cell_its_colour():
    first, last = curve([0, 1], [1, 1], gap=2), Curve(np.array([0.0, 1.0]), np.array([0.0, 0.0]), 0x123456, 2.0)
    cells = draw_chart(Chart(View(0, 1, 0, 1), curves=(first, last)), 2, 1, Look())
    assert cells.line(0) == "⣉⣉"
    assert set(cells.ink[0].tolist()) == {0x123456}


def test_a_band_tints_whole_cells_and_draws_its_edges_in_eighths():
    band = Band((0, 10), (4, 4), (6, 6), DARK.band)
    cells = draw_chart(Chart(UNIT, bands=(band,)), 10, 10, Look())
    assert (cells.ground[4:6] == DARK.band).all()
    assert (cells.ground[:4] == DARK.panel).all()
    thin = Band((0, 10), (4.25, 4.25), (4.75, 4.75), DARK.band)
    cells = draw_chart(Chart(UNIT, bands=(thin,)), 10, 10, Look())
    assert cells.line(5) == "▄" * 10
    assert (cells.ink[5] == DARK.band).all() or (cells.ground[5] == DARK.band).all()


def test_a_curve_within_a_thin_band_stands_on_its_tint():
    band = Band((0, 10), (4.8, 4.8), (5.2, 5.2), DARK.band)
    level = curve([0, 10], [5, 5], gap=20)
    cells = draw_chart(Chart(UNIT, bands=(band,), curves=(level,)), 10, 10, Look())
    row = next(y for y in range(10) if cells.line(y).strip("▄▃▂▁▅▆▇ "))
    assert (cells.ground[row] == DARK.band).all()


def test_guides_give_way_to_curves_and_carry_their_label():
    x = np.linspace(0, 10, 100)
    chart = Chart(UNIT, guides=(Guide(5.0, 0xAA0000, label="done 15:12"),), curves=(curve(x, np.full(100, 5.0)),))
    cells = draw_chart(chart, 40, 9, Look())
    assert "done 15:12" in cells.line(0)
    crossing = cells.ink[4, 20]
    assert crossing == 0xFFFFFF
    assert (cells.ink[[2, 6], 20] == 0xAA0000).all()


def test_marks_stand_on_the_bottom_row():
    cells = draw_chart(Chart(UNIT, marks=(Mark(5.0, "▲", 1),)), 20, 5, Look())
    assert cells.line(4)[10] == "▲"


def test_a_span_of_a_minute_names_no_minute_twice():
    cells = draw_chart(Chart(View(0.0, 1.4, 0.0, 10.0), x_axis=True, x_unit="min"), 60, 5, Look())
    assert cells.line(4).split() == ["0", "1", "min"]


@pytest.mark.parametrize(
    ("low", "high", "most", "expected"),
    [(0, 100, 6, [0, 20, 40, 60, 80, 100]), (70, 310, 5, [100, 150, 200, 250, 300]), (0, 1, 3, [0, 0.5, 1])],
)
def test_ticks_are_round(low, high, most, expected):
    assert ticks(low, high, most) == pytest.approx(expected)


@given(
    st.lists(
        st.tuples(st.floats(-1e6, 1e6), st.one_of(st.floats(-1e6, 1e6), st.just(float("nan")))), min_size=0, max_size=60
    ),
    st.integers(0, 30),
    st.integers(0, 8),
    st.sampled_from(list(Marker)),
)
def test_no_data_of_any_kind_breaks_a_chart(points, width, height, marker):
    points = sorted(points, key=lambda p: p[0])
    x, y = [p[0] for p in points], [p[1] for p in points]
    chart = Chart(UNIT, curves=(curve(x, y),), x_axis=True, y_axis=3, marks=(Mark(3.0, "x", 0),))
    cells = draw_chart(chart, width, height, Look(DARK, marker))
    assert (cells.width, cells.height) == (width, height)

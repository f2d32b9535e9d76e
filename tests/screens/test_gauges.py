"""Digits, gauges, and the section through the repair."""

import math

import pytest

from press_monitor.screens.widgets.digits import big_number, big_width
from press_monitor.screens.widgets.gauges import bag_gauge, cure_gauge
from press_monitor.screens.widgets.palette import DARK, Look, Marker
from press_monitor.screens.widgets.section import Layer, Pin, Through, draw_through

LOOK = Look()
ASCII = Look(DARK, Marker.ASCII)


@pytest.mark.parametrize("rows", [3, 5])
def test_digits_keep_their_width_and_differ(rows):
    drawn = {n: "\n".join(big_number(str(n), rows, 1, LOOK, 0).lines()) for n in range(10)}
    assert len(set(drawn.values())) == 10
    widths = {big_number(str(n), rows, 1, LOOK, 0).width for n in range(10)}
    assert len(widths) == 1
    assert big_number("38", rows, 1, LOOK, 0).width == big_width("38", rows)


def test_a_bag_gauge_fills_in_proportion_and_marks_both_limits():
    cells = bag_gauge(20.0, 20.0, 40.0, 46, LOOK)
    assert (cells.ground[0, :20] == DARK.bag).all()
    assert (cells.ground[0, 21:] == DARK.track).all()
    assert cells.line(0)[20] == "│"
    assert cells.line(0)[40] == "│"


def test_a_mark_under_the_bar_stays_visible():
    cells = bag_gauge(40.0, 20.0, 40.0, 46, LOOK)
    assert cells.line(0)[20] == "│"
    assert cells.ink[0, 20] == 0x000000


def test_no_pressure_reading_leaves_the_track_empty():
    assert bag_gauge(None, 20.0, 40.0, 46, LOOK).line(0).replace("│", "").strip() == ""


def test_the_cure_gauge_is_solid_to_the_low_edge_and_paler_to_the_high_one():
    cells = cure_gauge(0.5, 0.4, 0.7, 0.35, 0.9, 100, LOOK)
    assert (cells.ground[0, :40] == DARK.cure).all()
    assert (cells.ground[0, 41:70] == DARK.cure_soft).all()
    assert (cells.ground[0, 71:] == DARK.track).all()
    assert cells.line(0)[35] == "│"
    assert cells.line(0)[90] == "│"
    assert cells.ink[0, 90] == DARK.fine


def test_gauges_in_ascii_use_nothing_else():
    for cells in (bag_gauge(30, 20, 40, 20, ASCII), cure_gauge(0.5, 0.4, 0.7, 0.35, 0.9, 20, ASCII)):
        assert cells.line(0).isascii()
    assert cure_gauge(0.5, 0.4, 0.7, 0.35, 0.9, 20, ASCII).line(0) == "=======|------....|."


def _through(deepest=0.4):
    depth = [n * 44 / 60 for n in range(61)]
    return Through(
        (Layer("repair patch", 0, 8, True), Layer("casing", 8, 30, False), Layer("filler rubber", 30, 44, True)),
        depth,
        [300 - 40 * math.sin(d / 44 * math.pi) for d in depth],
        [math.nan if 8 < d < 30 else deepest if d >= 30 else 0.9 for d in depth],
        (Pin(30, "deepest 41 %", "28-55, at 30 mm", 5), Pin(0, "hottest", "reversion 42 %", 6)),
        (240, 320),
    )


def test_the_section_names_layers_mats_and_pins():
    text = "\n".join(draw_through(_through(), 60, 18, LOOK).lines())
    for words in ("patch", "casing", "filler", "inner mat", "outer mat", "44 mm", "deepest 41 %", "hottest", "cure"):
        assert words in text


def test_the_strip_rises_with_cure_and_leaves_casing_blank():
    def ink(deepest):
        cells = draw_through(_through(deepest), 65, 18, LOOK)
        first = next(y for y, line in enumerate(cells.lines()) if "inner mat" in line) + 1
        strip = [cells.line(first + n)[5:] for n in range(3)]
        return sum(c != " " for row in strip for c in row[42:]), "".join(row[14:40] for row in strip)

    little, casing = ink(0.1)
    much, _ = ink(0.95)
    assert casing.strip() == ""
    assert much > little > 0


@pytest.mark.parametrize(("width", "height"), [(30, 9), (32, 7), (80, 25), (12, 5), (5, 3)])
def test_the_section_fits_any_size(width, height):
    cells = draw_through(_through(), width, height, LOOK)
    assert (cells.width, cells.height) == (width, height)

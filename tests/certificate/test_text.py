"""The certificate's words and charts in plain text."""

from __future__ import annotations

import math
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from press_monitor.certificate.letters import cells, tame
from press_monitor.certificate.model import Certificate, Chart, Grid, Mark, Pair, Section, Series, Words
from press_monitor.certificate.outcome import outcome_sections
from press_monitor.certificate.plot import AXIS, draw
from press_monitor.certificate.text import WIDTH, render, render_sections
from press_monitor.quantities import UnitSystem
from tests.certificate.samples import result

US, SI = UnitSystem.named("us"), UnitSystem.named("si")


def chart(values: list[float | None], **more: object) -> Chart:
    at = tuple(n / 60 for n in range(len(values)))
    return Chart("Mats", "°F", at, (Series("inner mat", "i", tuple(values)),), **more)  # type: ignore[arg-type]


def plotted(lines: list[str]) -> list[str]:
    return [line[AXIS + 1 :].ljust(WIDTH) for line in lines if len(line) > AXIS and line[AXIS] == "|"]


def axis_values(lines: list[str]) -> dict[int, float]:
    rows = [line for line in lines if len(line) > AXIS and line[AXIS] == "|"]
    return {n: float(line[:AXIS]) for n, line in enumerate(rows) if line[:AXIS].strip()}


def test_a_spike_of_one_reading_in_three_hours_is_seen() -> None:
    values: list[float | None] = [300.0] * 10_800
    values[5_000] = 380.0
    lines = draw(chart(values), 80)
    top = next(n for n, row in enumerate(plotted(lines)) if "i" in row)
    bottom = next(n for n, row in reversed(list(enumerate(plotted(lines)))) if "i" in row)
    assert bottom - top >= 8
    spike = plotted(lines)[top].index("i")
    assert spike == int(5_000 / 10_799 * 72)


def test_the_curve_is_drawn_at_the_height_of_its_labels() -> None:
    lines = draw(chart([100.0 + n * 0.1 for n in range(2_001)]), 80)
    labels = axis_values(lines)
    assert len(labels) >= 3
    for row, value in labels.items():
        if 100 <= value <= 300:
            columns = [n for n, c in enumerate(plotted(lines)[row]) if c == "i"]
            expected = (value - 100) / 200 * 72
            assert min(columns) - 4 <= expected <= max(columns) + 4


def test_a_gap_stays_blank_and_a_straight_stretch_is_joined() -> None:
    gap: list[float | None] = [200.0] * 600 + [None] * 600 + [200.0] * 600
    row = next(row for row in plotted(draw(chart(gap), 80)) if "i" in row)
    assert row[28:44].strip() == ""
    assert row[:20] == "i" * 20
    two = Chart("Mats", "°F", (0.0, 60.0), (Series("inner mat", "i", (100.0, 200.0)),))
    assert all(any(row[n] == "i" for row in plotted(draw(two, 80))) for n in range(72))


def test_two_curves_limits_and_marks_are_told_apart() -> None:
    at = tuple(float(n) for n in range(100))
    both = Chart(
        "Mats",
        "°F",
        at,
        (Series("inner mat", "i", (300.0,) * 100), Series("outer mat", "o", (300.0,) * 50 + (250.0,) * 50)),
        (("maximum", 330.0),),
        (Mark(50.0, "A", "heat lost"), Mark(60.0, "1", "acknowledge", action=True)),
        band=(290.0, 310.0),
    )
    text = "\n".join(draw(both, 80))
    assert "#" in text
    assert "o" in text
    assert ". band 290 to 310" in text
    assert ". maximum 330" in text
    marks = next(line for line in text.splitlines() if line.split() == ["alarms", "A"])
    assert marks.index("A") == AXIS + 1 + int(50 / 99 * 72)
    people = next(line for line in text.splitlines() if line.split() == ["people", "1"])
    assert people.index("1") == AXIS + 1 + int(60 / 99 * 72)


def test_nothing_read_is_said_so() -> None:
    assert draw(chart([None] * 10)) == ["Mats: nothing was read"]
    assert draw(chart([1.0])) == ["Mats: nothing was read"]


@given(
    st.lists(st.none() | st.floats(-1e4, 1e4), min_size=2, max_size=300),
    st.lists(st.tuples(st.just("band"), st.floats(-1e3, 1e3)), max_size=3),
)
def test_any_curve_fits_the_page(values: list[float | None], limits: list[tuple[str, float]]) -> None:
    lines = draw(chart(values, limits=tuple(limits)), WIDTH)
    assert all(len(line) <= WIDTH for line in lines)
    if any(value is not None for value in values):
        assert "i" in "".join(plotted(lines))


def test_every_section_keeps_eighty_columns_and_says_its_figures() -> None:
    text = render_sections(outcome_sections(result(), US))
    assert all(cells(line) <= WIDTH for line in text.splitlines())
    for figure in (
        "62.2 min",
        "REVIEW",
        "8.2 %",
        "91.2 %",
        "86-95 %",
        "283.3 °F",
        "8.9 psi",
        "-17.5 psi",
        "30.5 mm",
    ):
        assert figure in text
    assert "A: HEAT-LOST (INNER_MAT), HIGH" in text
    assert "below-profile (bag), medium, consequence of A" in text
    assert "raised at 35.2 min, began about 34.9 min, cleared at 40.0 min" in text
    assert "stood to the end" in text


def test_the_shops_own_units_are_used() -> None:
    text = render_sections(outcome_sections(result(), SI))
    assert "139.6 °C" in text
    assert "62 kPa" in text
    assert "psi" not in text.replace("28.0 psi", "").replace("21.4 psi", "")


def test_a_record_with_nothing_in_it_still_reads() -> None:
    bare = result(
        hold_min=None,
        release_s=None,
        phases=[],
        alarms=[],
        cure={
            "deepest": None,
            "hottest": None,
            "worst_vapour_margin_kPa": None,
            "worst_boil_margin_kPa": None,
            "set_without_pressure": None,
        },
    )
    text = render_sections(outcome_sections(bare, US))
    assert "not released" in text
    assert "not known" in text
    assert "No rubber in this record could be judged." in text


NASTY = st.text(st.characters(codec="utf-8"), max_size=300)


@given(NASTY, NASTY, NASTY)
def test_hostile_text_neither_leaves_its_line_nor_moves_a_cursor(label: str, value: str, cell: str) -> None:
    page = Certificate(
        1,
        label,
        value,
        (cell,),
        (Section("x", "Things", (Pair(label, value), Words(value, bullet=True), Grid(("A", "B"), ((cell, value),)))),),
    )
    text = render(page)
    for line in text.splitlines():
        assert cells(line) <= WIDTH
    controls = {c for c in text if unicodedata.category(c) in ("Cc", "Cf", "Zl", "Zp")}
    assert controls <= {"\n", "\u200c", "\u200d"}


def test_wide_letters_count_twice_and_long_words_break() -> None:
    assert cells("修理") == 4
    assert cells("e\u0301") == 1
    assert tame("a\x1b[2Jb\u202ec\td") == "a\N{REPLACEMENT CHARACTER}[2Jb\N{REPLACEMENT CHARACTER}c d"
    name = "修" * 100
    text = render(Certificate(1, "T", "S", (), (Section("x", "X", (Pair("Tire", name),)),)))
    assert text.count("修") == 100


def test_the_banner_opens_and_closes_the_page() -> None:
    lines = render(Certificate(1, "T", "S", ("replayed from a log, not watched live",))).splitlines()
    said = [n for n, line in enumerate(lines) if line == "REPLAYED FROM A LOG, NOT WATCHED LIVE"]
    assert len(said) == 2
    assert said[0] < 6
    assert said[1] == len(lines) - 2


@pytest.mark.parametrize("verdict", ["pass", "exceptions", "review", "fail", "incomplete"])
def test_every_verdict_has_its_words(verdict: str) -> None:
    items = outcome_sections(result(verdict=verdict), US)[0].items
    assert isinstance(items[1], Words)
    assert len(items[1].text) > 20


def test_the_figures_used_here_are_right() -> None:
    # 139.6 degC x 9/5 + 32; 1 psi = 6.894757 kPa (NIST SP 811).
    assert math.isclose(139.6 * 9 / 5 + 32, 283.28)
    assert round(61.7 / 6.894757, 1) == 8.9
    assert round(-120.4 / 6.894757, 1) == -17.5

"""``check --science``: it passes here, it would see a wrong figure, its tables are those the tests check against."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest

from press_monitor.audit import science, science_tables
from press_monitor.audit.science import science_json, science_rows
from press_monitor.certificate.science_sheet import science_sections
from press_monitor.certificate.text import render_sections
from tests.checks import test_cure_conduction as conduction
from tests.checks import test_signals_pt100 as pt100
from tests.checks import test_signals_thermocouple as thermocouples
from tests.test_cli import run


@pytest.fixture(scope="module")
def rows() -> tuple[science.Row, ...]:
    return science_rows()


def test_everything_is_within_what_is_allowed(rows: tuple[science.Row, ...]) -> None:
    assert [row.what for row in rows if not row.ok] == []
    assert sum(row.checked for row in rows) > 300
    assert {row.topic for row in rows} == {
        *("Thermocouples", "Pt100 and loops", "Heat conduction", "State of cure", "Water and bag", "Plan")
    }
    assert all(row.source and row.checked > 0 for row in rows)
    assert len({(row.topic, row.what) for row in rows}) == len(rows)


def test_the_tables_are_those_of_the_tests() -> None:
    """Written down twice, so that a slip in either shows."""
    assert science_tables.EMF == thermocouples.FORWARD
    assert science_tables.TEMPERATURE == thermocouples.INVERSE
    assert list(science_tables.PRINTED_EMF) == thermocouples.PRINTED
    assert science_tables.OHM == pt100.TABLE
    assert science_tables.PLANE_WALL == conduction.TABLE_5_1
    assert {(x, cold, mv, t) for x, cold, mv, t in science_tables.COLD_JUNCTION} == {
        (x, cold, mv, t) for x, cold, _, mv, t, _ in thermocouples.COLD_JUNCTION
    }


def slower(f: Callable[..., Any]) -> Callable[..., Any]:
    return lambda *a, **k: f(*a, **k) * 0.97


@pytest.mark.parametrize(
    ("name", "part"),
    [
        ("rate", "_cure"),
        ("equivalent_time", "_cure"),
        ("recompute", "_walls"),
        ("saturation_pressure", "_pressure"),
        ("expected_gauge", "_pressure"),
        ("resistance", "_other_sensors"),
        ("government_rule_min", "_plans"),
    ],
)
def test_a_slip_of_three_percent_is_seen(name: str, part: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(science, "_PARTS", (getattr(science, part),))
    assert all(row.ok for row in science_rows())
    monkeypatch.setattr(science, name, slower(getattr(science, name)))
    assert not all(row.ok for row in science_rows())


def test_a_figure_that_is_no_number_is_wrong_and_no_nan_is_printed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(science, "_PARTS", (science._pressure,))
    monkeypatch.setattr(science, "saturation_temperature", lambda _: float("nan"))
    wrong = [row for row in science_rows() if not row.ok]
    assert [row.what for row in wrong] == ["where trapped water boils, 0 to 35 psi"]
    told = json.loads(json.dumps(science_json(wrong), allow_nan=False))
    assert (told["ok"], told["rows"][0]["worst_error"]) == (False, None)
    assert "WRONG" in render_sections(science_sections(wrong))


def test_sheet_and_json_say_the_same(rows: tuple[science.Row, ...]) -> None:
    told = json.loads(json.dumps(science_json(rows), allow_nan=False))
    assert told["ok"] is True
    keys = {"topic", "what", "source", "status", "checked", "worst_error", "allowed", "unit", "ok"}
    assert all(set(row) == keys for row in told["rows"])
    shown = render_sections(science_sections(rows))
    for row in told["rows"]:
        assert row["what"] in shown
        assert row["source"].split(" (")[0][:40] in " ".join(shown.split())
    assert all(len(line) <= 80 for line in shown.splitlines())
    assert "from memory" in shown


def test_the_command() -> None:
    done = run("check", "--science", "--json")
    assert done.exit_code == 0, done.stderr
    assert json.loads(done.stdout)["ok"] is True
    shown = run("check", "--science")
    assert shown.exit_code == 0
    assert "THERMOCOUPLES" in shown.stdout
    assert "all within what is allowed" in shown.stderr

"""``thermocouple`` with a Pt100 or a current loop: IEC 60751 and NAMUR NE 43 from the command line."""

from __future__ import annotations

import json
from typing import Any

import pytest

from press_monitor.commands.sensors import KEYS
from press_monitor.console import MOST_LINES
from press_monitor.quantities import QuantityError, parse_range
from tests.test_cli import run


def told(*words: str, exit_code: int = 0) -> dict[str, Any]:
    done = run("thermocouple", *words, "--json")
    assert done.exit_code == exit_code, done.stderr
    found: dict[str, Any] = json.loads(done.stdout)
    assert tuple(found) == KEYS
    return found


# IEC 60751's printed table; Pt1000 is ten times it.
@pytest.mark.parametrize(
    ("words", "ohm", "celsius", "name"),
    [
        (("--ohm", "138.5055"), 138.5055, 100.0, "Pt100"),
        (("Pt100", "--ohm", "60.2558"), 60.2558, -100.0, "Pt100"),
        (("pt1000", "--ohm", "1573.251"), 1573.251, 150.0, "Pt1000"),
        (("--ohm", "1573.251", "--r0", "1000"), 1573.251, 150.0, "Pt1000"),
        (("Pt100", "--temp", "450 degF"), 187.6451, 232.2222, "Pt100"),
        (("Pt1000", "--temp", "0 degC"), 1000.0, 0.0, "Pt1000"),
    ],
)
def test_platinum(words: tuple[str, ...], ohm: float, celsius: float, name: str) -> None:
    found = told(*words)
    assert found["type"] == name
    assert found["ohm"] == pytest.approx(ohm, abs=2e-3)
    assert found["temperature_degC"] == pytest.approx(celsius, abs=2e-3)
    assert found["tolerance_B_K"] == pytest.approx(0.3 + 0.005 * abs(celsius), abs=1e-4)
    assert (found["mv"], found["mA"], found["class"]) == (None, None, None)
    shown = run("thermocouple", *words).stdout
    assert name in shown
    assert f"{found['temperature_degC']:.3f} degC" in shown
    assert "class A" in shown


@pytest.mark.parametrize(
    ("current", "value", "kind", "exit_code", "says"),
    [
        ("0", None, "failure, low", 1, "the loop is broken"),
        ("3.6", None, "failure, low", 1, "failure, low"),
        ("3.7", -1.125, "under the measuring range", 0, "do not trust"),
        ("3.8", -0.75, "measuring", 0, "measuring"),
        ("13.3333333", 35.0, "measuring", 0, "35 psi"),
        ("20.5", 61.875, "measuring", 0, "61.88 psi"),
        ("20.7", 62.625, "over the measuring range", 0, "do not trust"),
        ("21", None, "failure, high", 1, "reports a fault"),
    ],
)
def test_a_loop_is_told_by_ne_43(current: str, value: float | None, kind: str, exit_code: int, says: str) -> None:
    words = ("--ma", current, "--range", "0 psi..60 psi")
    found = told(*words, exit_code=exit_code)
    assert found["class"] == kind
    assert found["value"] == (None if value is None else pytest.approx(value, abs=1e-6))
    assert (found["low"], found["high"], found["unit"]) == (0.0, 60.0, "psi")
    assert says in run("thermocouple", *words).stdout


def test_the_line_of_a_thermocouple_names_its_type_and_cold_junction() -> None:
    shown = run("thermocouple", "k", "--mv", "5.1381", "--cold-junction", "77 degF").stdout
    assert shown.startswith("type K, cold junction at 25.000 degC: 5.1381 mV")
    found = told("K", "--mv", "5.1381", "--cold-junction", "25 degC")
    assert (found["type"], found["cold_junction_degC"]) == ("K", 25.0)
    assert found["temperature_degC"] == pytest.approx(150.0, abs=2e-3)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ((), "give a TYPE"),
        (("--ma", "12"), "--ma and --range"),
        (("--range", "0 psi..60 psi"), "--ma and --range"),
        (("K", "--ma", "12", "--range", "0..60 psi"), "stand alone"),
        (("--ma", "12", "--range", "0..60 psi", "--ohm", "100"), "stand alone"),
        (("--ma", "12", "--range", "0 to 60 psi"), "is not a range"),
        (("--ma", "12", "--range", "0..60"), "is not a range"),
        (("--ma", "12", "--range", "0 psi..60 furlong"), "furlong"),
        (("--ma", "12", "--range", "0 bar..60 psi"), "two units"),
        (("--ma", "12", "--range", "5 psi..5 psi"), "two different numbers"),
        (("--ma", "nan", "--range", "0..60 psi"), "'nan'"),
        (("K", "--ohm", "100"), "--ohm and --r0 are for"),
        (("--ohm", "100", "--mv", "1"), "--ohm and --r0 are for"),
        (("Pt100",), "either --ohm or --temp"),
        (("--ohm", "100", "--temp", "0 degC"), "either --ohm or --temp"),
        (("--ohm", "900"), "outside its range"),
        (("Pt100", "--temp", "900 degC"), "outside its range"),
        (("--ohm", "100", "--r0", "0"), "'0'"),
        (("--ohm", "inf"), "'inf'"),
    ],
)
def test_refusals(words: tuple[str, ...], says: str) -> None:
    done = run("thermocouple", *words, "--json")
    assert done.exit_code == 2
    assert done.stdout == ""
    assert says in done.stderr
    assert len(done.stderr.strip().splitlines()) <= MOST_LINES


def test_ranges() -> None:
    assert parse_range("0 psi..60 psi") == (0.0, 60.0, "psi")
    assert parse_range("-50..150 degC") == (-50.0, 150.0, "degC")
    assert parse_range(" 60 psi .. 0 psi ") == (60.0, 0.0, "psi")
    for bad in ("", "..", "1 psi", "1..2..3 psi", "a..b", 7):
        with pytest.raises(QuantityError):
            parse_range(bad)

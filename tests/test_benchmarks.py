"""The benchmarks that have no tests elsewhere run through and give their figures; no times are judged."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest

from tests.benchmarks import __main__ as benchmarks
from tests.benchmarks import dashboard_memory, first_frame, growth, latency, packing, recorder, startup, thermocouple

AGES = (30, 60)


@pytest.fixture(autouse=True)
def _folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PRESS_MONITOR_BENCH", str(tmp_path))


def complete(figures: dict[str, float | str | bool], *wanted: str) -> None:
    """Every figure is a number above zero, and those wanted are there, with a goal and whether it was met."""
    assert not {*wanted, "goal", "met"} - set(figures)
    assert isinstance(figures["met"], bool)
    numbers = {key: value for key, value in figures.items() if isinstance(value, float)}
    assert all(value > 0.0 for value in numbers.values()), numbers


def test_the_recorder_is_measured_in_all_its_parts() -> None:
    figures = recorder.run(2, 3.0, 0.5, AGES, small=1)
    figures.pop("written_kB_per_press_second_of_1_presses", None)  # nothing, where the folder lies in memory
    rate = figures.pop("rows_per_press_second")
    assert isinstance(rate, float) and 0.3 <= rate <= 2.0, "readings are kept while it is measured"
    complete(figures, "cpu_share", "commit_p50_ms", "commit_p99_ms", "bare_commit_p99_ms", "commit_p99_over_bare")


def test_readings_and_answers_are_waited_for() -> None:
    figures = latency.run(presses=2, seconds=3.0, commands=3)
    complete(figures, "reading to screen, p99 s", "command to answer, p99 s", "of the limits")
    assert float(figures["reading to screen, p99 s"]) < 50.0, "a reading is known by its own second"


@pytest.mark.skipif(sys.platform == "win32", reason="a pseudo-terminal is wanted")
def test_the_first_frame_is_waited_for() -> None:
    complete(first_frame.run(rounds=1), "dashboard, ms", "minimal app, ms", "over the minimal app")


def test_growth_is_fitted() -> None:
    assert growth.exponent((1.0, 10.0, 100.0), (3.0, 30.0, 300.0)) == pytest.approx(1.0)
    assert growth.exponent((1.0, 10.0, 100.0), (2.0, 2.0, 2.0)) == pytest.approx(0.0, abs=1e-12)
    figures = growth.run(presses=(1, 2), hours=(1, 2), records=(40, 80), seconds=1.0, warm_up=0.5, ages=AGES)
    assert {key for key in figures if key.startswith("exponent")} >= {
        "exponent, search in",
        "exponent, packing a cure of",
    }
    assert isinstance(figures["met"], bool) and float(figures["bytes of a cure of 2 h"]) > 0.0


def test_packing_is_compared_with_four_codecs() -> None:
    figures = packing.run(records=20)
    complete(figures, *(f"size over {name}, noise 0.3 degF" for name in packing.PEERS))


def test_start_up_is_compared_with_click(tmp_path: Path) -> None:
    figures = startup.run(rounds=1)
    assert not {"--help over importing click", "records over importing click", "goal", "met"} - set(figures)


def test_a_thermocouple_is_compared_with_polynomials_and_a_package(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(thermocouple, "VALUES", 2_000)
    monkeypatch.setattr(thermocouple, "PEER_VALUES", 20)
    figures = thermocouple.run("K", repeats=1)
    assert not {"time over the published inverse, worst type", "K: times faster than thermocouple-its90"} - set(figures)
    assert float(figures["error, worst, degC"]) <= 1e-4


def test_the_dashboards_memory_is_taken_at_the_end_of_each_cure() -> None:
    figures = dashboard_memory.run(hours=0.1, cure_s=120)  # as many presses as the peer draws
    assert figures["cures"] == 3
    assert not {"growth", "times a minimal app", "goal", "met"} - set(figures)
    assert float(figures["after the last cure, MB"]) > float(figures["a minimal app, MB"]) > 0


def test_the_command_prints_json_and_knows_its_benchmarks(capsys: pytest.CaptureFixture[str]) -> None:
    code = benchmarks.main(["packing", "--json"])
    told = json.loads(capsys.readouterr().out)
    assert code in (0, 1) and list(told) == ["packing"]
    with pytest.raises(SystemExit) as ended:
        benchmarks.main(["speed"])
    assert ended.value.code == 2
    assert {"recorder", "latency", "growth", "startup", "recompute", "search", "verify"} <= set(benchmarks.benchmarks())

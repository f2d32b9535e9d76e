"""``plan`` from the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.shopfiles import write_job
from tests.test_cli_audit import POINT_KEYS, refused, run, strict

KEYS = {
    *("hold_min", "hold_min_safe", "hold_min_with_cooldown", "heat_up_assumed_min", "total_min", "deepest", "hottest"),
    *("feasible", "advice", "map", "government_rule_min", "uncured_depth_mm"),
}


@pytest.fixture
def job(tmp_path: Path) -> dict[str, Path]:
    return write_job(tmp_path)


def plan(job: dict[str, Path], *more: str, mat: str = "300 degF") -> list[object]:
    return ["plan", "--repair", job["repair"], "--shop", job["shop"], "--mat", mat, *more]


def test_every_key_is_there_and_the_figures_fit_together(job: dict[str, Path]) -> None:
    done = run(*plan(job, "--recipe", "section-300", "--json"))
    assert done.exit_code == 0, done.stderr
    told = strict(done.stdout)
    assert set(told) >= KEYS
    assert set(told["deepest"]) >= POINT_KEYS
    assert told["hold_min_with_cooldown"] < told["hold_min"] < told["hold_min_safe"]
    assert told["total_min"] == told["hold_min"]
    assert told["heat_up_assumed_min"] == 0
    assert told["deepest"]["state_of_cure"] == pytest.approx(0.90, abs=0.005)
    # 14 mm, the thicker of the two uncured layers, or 22 mm together, by how "uncured depth used" is read.
    assert told["uncured_depth_mm"] in (pytest.approx(14.0), pytest.approx(22.0))
    assert all(set(row) == {"mat_degC", "shortest_min", "longest_min"} for row in told["map"])
    assert any(row["longest_min"] is None for row in told["map"])


def test_a_heat_up_counts_and_shortens_the_hold(job: dict[str, Path]) -> None:
    told = [
        json.loads(run(*plan(job, "--recipe", "section-300", "--heat-up", minutes, "--json")).stdout)
        for minutes in ("0", "20")
    ]
    assert told[1]["heat_up_assumed_min"] == 20
    assert told[1]["hold_min"] < told[0]["hold_min"]
    assert told[1]["total_min"] > told[0]["total_min"]


def test_what_cannot_work_ends_with_one(job: dict[str, Path]) -> None:
    done = run(*plan(job, "--recipe", "section-300", "--json", mat="450 degF"))
    assert done.exit_code == 1
    assert strict(done.stdout)["feasible"] is False
    shown = run(*plan(job, "--recipe", "section-300", mat="450 degF"))
    assert shown.exit_code == 1
    assert "450 °F" in shown.stdout
    assert all(len(line) <= 80 for line in shown.stdout.splitlines())


def test_without_a_recipe_it_says_what_it_planned_for(job: dict[str, Path]) -> None:
    done = run(*plan(job, "--json"))
    assert done.exit_code == 0
    assert "planned for 90 %" in done.stderr
    named = run(*plan(job, "--recipe", "section-300", "--json"))
    assert strict(done.stdout)["hold_min"] == strict(named.stdout)["hold_min"]


@pytest.mark.parametrize(
    ("more", "mat", "says"),
    [
        ((), "warm", "warm"),
        ((), "300", "300"),
        ((), "32 degF", "cannot cure"),
        ((), "900 degC", "900"),
        (("--heat-up", "-1"), "300 degF", "-1"),
        (("--heat-up", "nan"), "300 degF", "nan"),
        (("--heat-up", "9e9"), "300 degF", "heat-up"),
        (("--recipe", "gone"), "300 degF", "gone"),
    ],
)
def test_bad_words(job: dict[str, Path], more: tuple[str, ...], mat: str, says: str) -> None:
    refused(run(*plan(job, *more, "--json", mat=mat)), says)


@pytest.mark.parametrize(
    ("which", "old", "new", "says"),
    [
        ("repair", '"8 mm"', '"-8 mm"', "thickness"),
        ("repair", '"8 mm"', '"8 parsec"', "parsec"),
        ("repair", 'compound = "section-gum"', "", "compound"),
        ("shop", "[shop]", "[shed]", "shop"),
    ],
)
def test_bad_files(job: dict[str, Path], which: str, old: str, new: str, says: str) -> None:
    job[which].write_text(job[which].read_text("utf-8").replace(old, new), "utf-8")
    refused(run(*plan(job, "--json")), says, job[which].name)


def test_a_missing_repair_file(job: dict[str, Path]) -> None:
    job["repair"].unlink()
    refused(run(*plan(job, "--json")), "repair.toml", "no such file")

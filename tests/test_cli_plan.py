"""``plan`` from the command line."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from press_monitor.certificate.plan_sheet import map_line
from press_monitor.cure.plan import MapRow
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
    assert set(told) >= {"start_degC", "press", "fits", "cautions", "comparisons", "stepped", "reach_mm"}
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


def test_the_start_is_as_said_else_the_repairs_else_the_shops_air(job: dict[str, Path]) -> None:
    asked = ("--recipe", "section-300", "--json")
    told = [
        strict(run(*plan(job, *more, *asked)).stdout) for more in ((), ("--start", "68 degF"), ("--start", "40 degF"))
    ]
    assert [each["start_degC"] for each in told] == [20.0, pytest.approx(20.0), pytest.approx(40 / 9)]
    assert told[0]["hold_min"] == pytest.approx(told[1]["hold_min"])
    assert told[2]["hold_min"] > told[1]["hold_min"] + 1.0
    assert ["shop's own air" in " ".join(each["cautions"]) for each in told] == [True, False, False]
    job["repair"].write_text('start_temperature = "40 degF"\n' + job["repair"].read_text("utf-8"), "utf-8")
    own = strict(run(*plan(job, *asked)).stdout)
    assert own["hold_min"] == pytest.approx(told[2]["hold_min"])
    assert "shop's own air" not in " ".join(own["cautions"])


@pytest.mark.parametrize(
    ("repair", "press", "says", "silent"),
    [
        ("mats_overlap = true\n", "P1", (), ("review",)),
        ("mats_overlap = false\n", "P1", ("do not overlap", "44 mm", "review at best"), ()),
        ("", "P1", ("overlap the uncured rubber by one thickness (44 mm)", "on the ticket"), ("lies in the mat",)),
        ("mats_overlap = true\n", "P2", ("lies in the mat", "10-30 min", "review at best"), ()),
        ('mats_overlap = true\ncontact_conductance = "150 W/m2/K"\n', "P2", (), ("lies in the mat", "review")),
    ],
)
def test_it_says_beforehand_what_will_hold_the_verdict_at_review(
    job: dict[str, Path], repair: str, press: str, says: tuple[str, ...], silent: tuple[str, ...]
) -> None:
    """Design 5's caps, in words: probe in the mat without a fitted contact, mats that may not overlap."""
    job["repair"].write_text(repair + job["repair"].read_text("utf-8"), "utf-8")
    in_mat = '\n[presses.P2]\ndriver = "simulated"\nrecipe = "section-300"\nprobe_at = "in-mat"\n'
    job["shop"].write_text(job["shop"].read_text("utf-8") + in_mat, "utf-8")
    words = plan(job, "--recipe", "section-300", "--press", press)
    told = strict(run(*words, "--json").stdout)
    assert told["press"] == press
    cautions = " ".join(told["cautions"])
    shown = " ".join(run(*words).stdout.split())
    for text in says:
        assert text in cautions
    for caution in told["cautions"]:
        assert caution in shown.replace(" - ", " ")
    for text in silent:
        assert text not in cautions


def test_the_map_in_the_terminal_tells_under_good_and_over_by_shape(job: dict[str, Path]) -> None:
    done = run(*plan(job, "--recipe", "section-300"))
    told = strict(run(*plan(job, "--recipe", "section-300", "--json")).stdout)
    lines = [line for line in done.stdout.splitlines() if re.match(r" *\d+ °F  [.#xO]+ ", line)]
    assert len(lines) == len(told["map"])
    for line, row in zip(lines, told["map"], strict=True):
        signs = line.split()[2]
        least, most = row["shortest_min"], row["longest_min"]
        assert re.fullmatch(r"\.*[#O]*x*", signs)
        good = least is not None and (most is None or most >= least)
        assert ("#" in signs or "O" in signs) is (good or "this plan" in line)
        assert ("never" in line) is (least is None or most is None)
    assert sum("O" in line for line in lines) == 1
    assert "this plan" in next(line for line in lines if "O" in line)
    assert "under: the deepest rubber is not cured" in done.stdout
    assert all(len(line) <= 80 for line in done.stdout.splitlines())


def test_the_maps_line() -> None:
    """240 min over 24 signs: ten minutes each, read in their middle."""
    assert map_line(MapRow(150.0, 62.0, 133.0), 240.0, 24) == "." * 6 + "#" * 7 + "x" * 11
    assert map_line(MapRow(150.0, 62.0, None), 240.0, 24, 62.0) == "." * 6 + "O" + "#" * 17
    assert map_line(MapRow(150.0, 62.0, 40.0), 240.0, 24) == "." * 4 + "x" * 20
    assert map_line(MapRow(110.0, None, None), 240.0, 24) == "." * 24
    # A good stretch shorter than a sign is shown all the same, one beyond the map is not.
    assert map_line(MapRow(150.0, 66.0, 68.0), 240.0, 24) == "." * 6 + "#" + "x" * 17
    assert map_line(MapRow(110.0, 300.0, 400.0), 240.0, 24) == "." * 24


def test_others_rules_are_labelled_as_what_they_are(job: dict[str, Path]) -> None:
    told = strict(run(*plan(job, "--recipe", "section-300", "--json")).stdout)
    government, practice = told["comparisons"]
    # TM 9-2610-200-14 para 2-41: 6 min for each 0.8 mm; 22 mm of uncured rubber.
    assert government.startswith("Published government rule (TM 9-2610-200-14")
    assert told["government_rule_min"] == pytest.approx(22.0 / 0.8 * 6.0)
    assert "165 min" in government
    assert practice.startswith("Common practice:")
    assert "450 degF setpoint" in practice
    assert "A setpoint is not the temperature of the rubber" in practice


@pytest.mark.parametrize(
    ("more", "mat", "says"),
    [
        (("--start", "cold"), "300 degF", "cold"),
        (("--start", "400 degF"), "300 degF", "cannot cure"),
        (("--press", "P7"), "300 degF", "presses.P7"),
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
        ("repair", '"8 mm"', '"0 mm"', "thickness"),
        ("repair", '"8 mm"', '"nan mm"', "thickness"),
        ("repair", '"8 mm"', '"8 parsec"', "parsec"),
        ("repair", '"section-gum"', '"gone"', "no compound 'gone'"),
        ("shop", 'tc90 = "12 min"', 'tc90 = "6 min"', "tc90"),
        ("shop", 'tc90 = "12 min"', 'tc90 = "5 min"', "longer than tc50"),
        ("shop", "blow_point = 0.35", "blow_point = 1.5", "blow_point"),
        ("shop", '"100 kJ/mol"', '"0 kJ/mol"', "activation_energy"),
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

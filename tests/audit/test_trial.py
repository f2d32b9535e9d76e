"""``fit``: a trial that scipy simulated, from its log to the shop file, and from there to watch, plan and replay."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import Result

from drivers.log import Column, format_log, read_log
from press_monitor.audit.replay import run_log, setup_for_log
from press_monitor.cure.fitted import PERFECT
from press_monitor.shop import load_repair, load_shop
from press_monitor.watch.plain import from_json, to_json
from press_monitor.watch.setup import WatchSetup
from tests.cure.test_fit import BELIEVED, simulated
from tests.shopfiles import write_job
from tests.test_cli_audit import refused, run, strict

PRESSES = """
# the long arm's thermocouples are moulded into its mats
[presses.P2]
driver = "simulated"
recipe = "section-300"
probe_at = "in-mat"
"""


def trial_log(
    at: Path, factor: float, depth: float, *, conductance: float | None = None, lost: Iterable[int] = (), head: str = ""
) -> Path:
    """The trial as a log: a row each 5 s to 0.1 degF; at the rows `lost` the inner mat gave nothing."""
    trial = simulated(factor, depth, conductance=conductance)
    columns = [Column(name, "degF", 1) for name in ("inner_mat", "outer_mat", "buried")]
    every = slice(None, None, 5)
    degF = [np.round(column[every] * 1.8 + 32.0, 1).tolist() for column in (trial.inner, trial.outer, trial.buried)]
    gone = set(lost)
    rows = [(None if k in gone else a, b, c) for k, (a, b, c) in enumerate(zip(*degF, strict=True))]
    data = format_log(columns, trial.times[every].tolist(), rows)
    at.write_bytes(head.encode() + data)
    return at


@pytest.fixture
def job(tmp_path: Path) -> dict[str, Path]:
    files = write_job(tmp_path)
    shop = files["shop"].read_text("utf-8").replace("[shop]", "# kept by hand\n[shop]   # ours", 1)
    files["shop"].write_text(shop + PRESSES, "utf-8")
    return files


def fit(job: dict[str, Path], log: Path, *more: object, depth: str = "22 mm") -> Result:
    return run("fit", log, "--shop", job["shop"], "--repair", job["repair"], "--depth", depth, *more)


def test_every_key_is_there_and_the_diffusivity_is_found(job: dict[str, Path], tmp_path: Path) -> None:
    log = trial_log(tmp_path / "trial.csv", 1.15, 0.022)
    done = fit(job, log, "--press", "P1", "--json")
    assert done.exit_code == 0, done.stderr
    told = strict(done.stdout)
    assert told["diffusivity_mm2_s"] == pytest.approx(1.15e6 * BELIEVED, rel=0.03)
    assert told["diffusivity_low_mm2_s"] < 1.15e6 * BELIEVED < told["diffusivity_high_mm2_s"]
    assert told["tells_diffusivity"] is True
    # P1's probes lie at the rubber, so the contact is not sought.
    assert (told["contact_sought"], told["tells_contact"]) == (False, False)
    assert told["contact_conductance_W_m2_K"] is None
    assert told["log_sha256"] == hashlib.sha256(log.read_bytes()).hexdigest()
    assert (told["log"], told["press"], told["stack"], told["saved_as"]) == ("trial.csv", "P1", "repair", None)
    assert (told["depth_mm"], told["probe"], told["readings"]) == (pytest.approx(22.0), "buried", 1081)
    assert told["duration_min"] == pytest.approx(90.0)
    assert told["start_degC"] == pytest.approx(22.0, abs=0.5)
    assert len(told["residuals"]) == 60
    assert told["residuals"][0]["start_s"] == 0.0
    assert told["residuals"][-1]["end_s"] == 5400.0
    means = [part["mean_K"] for part in told["residuals"]]
    assert max(map(abs, means)) < 0.15
    assert told["rms_K"] == pytest.approx(0.2 / 1.8, rel=0.15)


def test_the_sheet_draws_what_is_left_over(job: dict[str, Path], tmp_path: Path) -> None:
    log = trial_log(tmp_path / "trial.csv", 1.0, 0.022)
    done = fit(job, log, "--press", "P1")
    assert done.exit_code == 0
    assert "Residuals, read minus modelled, °F" in done.stdout
    plot = done.stdout.split("Residuals, read minus modelled")[1].split("The probe")[0]
    assert len(re.findall(r"^ .*\|.*[r#]", plot, re.MULTILINE)) >= 3
    assert "#" in plot or "m" in plot
    assert "Nothing was stored; --save does." in done.stdout
    assert all(len(line) <= 80 for line in done.stdout.splitlines())


def test_a_saved_fit_is_what_the_shop_goes_by(job: dict[str, Path], tmp_path: Path) -> None:
    """The long arm's probes lie in its mats: a trial there tells both figures, and frees its cures from review."""
    log = trial_log(tmp_path / "long arm.csv", 1.10, 0.022, conductance=150.0)
    before = job["shop"].read_text("utf-8")
    done = fit(job, log, "--press", "P2", "--save", "--json")
    assert done.exit_code == 0, done.stderr
    told = strict(done.stdout)
    assert told["saved_as"] == "long arm"
    after = job["shop"].read_text("utf-8")
    assert after.startswith(before.rstrip("\n")), "what stood there stands there still, comments too"
    assert re.search(rf'trial_sha256 = "{told["log_sha256"]}"', after)
    assert 'trial = "long arm.csv"' in after
    assert not list(tmp_path.glob(".shop-*"))

    shop = load_shop(job["shop"])
    repair = load_repair(job["repair"], shop)
    on_p2 = shop.fitted(repair.repair, "P2")
    assert on_p2.repair.stacks[0].layers[0].diffusivity == pytest.approx(1.10 * BELIEVED, rel=0.03)
    contact = on_p2.repair.contact_conductance
    assert contact is not None
    assert contact * on_p2.limits.contact[0] < 150.0 < contact * on_p2.limits.contact[1]
    assert contact == pytest.approx(150.0, rel=0.2)
    low, high = on_p2.limits.diffusivity
    assert 0.85 < low <= 0.95
    assert 1.05 <= high < 1.15
    assert on_p2.limits.contact[0] < 1.0 < on_p2.limits.contact[1]
    assert shop.fitted(repair.repair, "P1").repair.contact_conductance is None

    # Replay goes by the press that usually runs the recipe: P1. Moved to P2's place, it is P2.
    cure = read_log(job["log"])
    setup = setup_for_log(cure, shop, "section-300", repair)
    assert (setup.repair, setup.limits) == (shop.fitted(repair.repair, "P1").repair, setup.limits)
    only_p2 = tmp_path / "p2.toml"
    only_p2.write_text(after.replace("[presses.P1]", "[presses.P9]").replace("[presses.P2]", "[presses.P1]"), "utf-8")
    text = only_p2.read_text("utf-8").replace('press = "P2"', 'press = "P1"')
    text = text.replace('[presses.P9]\ndriver = "simulated"\nrecipe = "section-300"\n', "")
    only_p2.write_text(text, "utf-8")
    swapped = load_shop(only_p2)
    setup = setup_for_log(cure, swapped, "section-300", load_repair(job["repair"], swapped))
    assert setup.probe_at == "in-mat"
    assert setup.limits == on_p2.limits
    assert setup.fits == (f"long arm: fitted to long arm.csv, SHA-256 {told['log_sha256']}",)
    reasons = run_log(cure, setup).watch.result()["reasons"]
    assert not any("contact conductance" in reason for reason in reasons)
    unfitted = WatchSetup(**{**{f: getattr(setup, f) for f in setup.__slots__}, "repair": repair.repair})
    assert any("contact conductance" in r for r in run_log(cure, unfitted).watch.result()["reasons"])
    # A recorder takes the setup up again from plain JSON, limits and all.
    assert from_json(WatchSetup, json.loads(json.dumps(to_json(setup)))) == setup

    planned = strict(run("plan", *plan_words(job), "--json").stdout)
    job["shop"].write_text(before, "utf-8")
    usual = strict(run("plan", *plan_words(job), "--json").stdout)
    assert planned["hold_min"] < usual["hold_min"]
    assert planned["hold_min_safe"] - planned["hold_min"] < usual["hold_min_safe"] - usual["hold_min"]


def plan_words(job: dict[str, Path]) -> list[object]:
    return ["--repair", job["repair"], "--shop", job["shop"], "--mat", "300 degF", "--recipe", "section-300"]


def test_a_sealed_replay_names_the_fit_it_went_by(job: dict[str, Path], tmp_path: Path) -> None:
    log = trial_log(tmp_path / "trial.csv", 1.15, 0.022)
    assert fit(job, log, "--press", "P1", "--save", "--name", "north-1").exit_code == 0
    archive = tmp_path / "cures.sqlite"
    words = ["--shop", job["shop"], "--recipe", "section-300", "--repair", job["repair"], "--archive", archive]
    assert run("replay", job["log"], *words).exit_code == 1
    body = strict(run("certificate", "1", "--archive", archive, "--json").stdout)
    digest = hashlib.sha256(log.read_bytes()).hexdigest()
    assert body["model"]["fits"] == [f"north-1: fitted to trial.csv, SHA-256 {digest}"]
    assert body["model"]["band"]["diffusivity"] != [0.85, 1.15]
    assert body["repair"]["stacks"][0]["layers"][0]["conductivity"] == pytest.approx(0.25 * 1.15, rel=0.03)


def test_a_second_save_takes_the_place_of_the_first_and_windows_files_stay_so(
    job: dict[str, Path], tmp_path: Path
) -> None:
    log = trial_log(tmp_path / "trial.csv", 1.0, 0.022)
    job["shop"].write_bytes(b"\xef\xbb\xbf" + job["shop"].read_bytes().replace(b"\n", b"\r\n"))
    for factor in (1.0, 1.15):
        trial_log(log, factor, 0.022)
        assert fit(job, log, "--press", "P1", "--save").exit_code == 0
    data = job["shop"].read_bytes()
    assert data.startswith(b"\xef\xbb\xbf")
    assert data.count(b"\n") == data.count(b"\r\n")
    fits = load_shop(job["shop"]).fits
    assert [each.name for each in fits] == ["trial"]
    assert fits[0].diffusivity is not None
    assert fits[0].diffusivity.value == pytest.approx(1.15 * BELIEVED, rel=0.03)
    assert fits[0].trial_sha256 == hashlib.sha256(log.read_bytes()).hexdigest()


def test_contact_not_told_from_perfect_is_stored_without_an_upper_limit(job: dict[str, Path], tmp_path: Path) -> None:
    log = trial_log(tmp_path / "trial.csv", 1.0, 0.022)
    assert fit(job, log, "--press", "P2", "--save").exit_code == 0
    text = job["shop"].read_text("utf-8")
    assert "contact_conductance_low" in text
    assert "contact_conductance_high" not in text
    contact = load_shop(job["shop"]).fits[0].contact
    assert contact is not None
    assert contact.high == PERFECT


def test_where_the_data_cannot_tell_it_says_so_and_stores_nothing(job: dict[str, Path], tmp_path: Path) -> None:
    log = trial_log(tmp_path / "trial.csv", 0.85, 0.015)
    done = fit(job, log, "--press", "P2", "--json", depth="15 mm")
    assert done.exit_code == 1
    told = strict(done.stdout)
    assert (told["tells_diffusivity"], told["tells_contact"]) == (False, False)
    assert "The data cannot tell the diffusivity" in told["words"]
    before = job["shop"].read_bytes()
    refused(fit(job, log, "--press", "P2", "--save", depth="15 mm"), "cannot tell", "nothing to save")
    assert job["shop"].read_bytes() == before
    # Where the thermocouples are said to lie at the rubber, the same readings tell it well.
    said = strict(fit(job, log, "--press", "P2", "--no-contact", "--json", depth="15 mm").stdout)
    assert said["diffusivity_mm2_s"] == pytest.approx(0.85e6 * BELIEVED, rel=0.03)
    assert said["tells_diffusivity"] is True


def test_the_press_is_the_logs_own_or_the_only_one(job: dict[str, Path], tmp_path: Path) -> None:
    log = trial_log(tmp_path / "trial.csv", 1.0, 0.022, head="# press: P2\n")
    assert strict(fit(job, log, "--json").stdout)["press"] == "P2"
    log = trial_log(tmp_path / "trial.csv", 1.0, 0.022)
    assert strict(fit(job, log, "--json").stdout)["press"] is None
    refused(fit(job, log, "--save"), "--press", "P1, P2")
    job["shop"].write_text(job["shop"].read_text("utf-8").replace(PRESSES, ""), "utf-8")
    assert strict(fit(job, log, "--json").stdout)["press"] == "P1"


def test_one_stack_one_compound_and_a_stretch_of_the_log(job: dict[str, Path], tmp_path: Path) -> None:
    log = trial_log(tmp_path / "trial.csv", 1.0, 0.022, lost=[200, 201])
    layers = job["repair"].read_text("utf-8")
    stacks = "".join(f'[[stacks]]\nname = "{n}"\n{layers.replace("[[layers]]", "[[stacks.layers]]")}' for n in "ab")
    job["repair"].write_text(stacks, "utf-8")
    refused(fit(job, log), "--stack", "a, b")
    refused(fit(job, log, "--stack", "c"), "no stack 'c'", "a, b")
    words = ("--stack", "b", "--press", "P1", "--compound", "section-gum", "--until", "80 min", "--start", "22 degC")
    told = strict(fit(job, log, *words, "--json").stdout)
    assert (told["stack"], told["compound"], told["start_degC"]) == ("b", "section-gum", 22.0)
    assert told["duration_min"] == pytest.approx(80.0)
    assert told["readings"] == 961 - 2
    assert told["diffusivity_mm2_s"] == pytest.approx(1e6 * BELIEVED, rel=0.05)
    refused(fit(job, log, "--stack", "b", "--compound", "gone"), "no compound 'gone'", "section-gum")


@pytest.mark.parametrize(
    ("words", "depth", "says"),
    [
        ((), "45 mm", "45 mm deep lies outside"),
        ((), "-1 mm", "too small"),
        ((), "22", "22"),
        ((), "22 psi", "psi"),
        (("--press", "P7"), "22 mm", "no press 'P7'"),
        (("--probe", "buried.2"), "22 mm", "no channel buried.2"),
        (("--until", "60 s"), "22 mm", "fewer than 20"),
        (("--depth-uncertainty", "0 mm"), "22 mm", "too small"),
        (("--disagreement", "warm"), "22 mm", "warm"),
        (("--start", "nan"), "22 mm", "nan"),
    ],
)
def test_bad_words(job: dict[str, Path], tmp_path: Path, words: tuple[str, ...], depth: str, says: str) -> None:
    log = trial_log(tmp_path / "trial.csv", 1.0, 0.022)
    refused(fit(job, log, *words, "--json", depth=depth), says)


def test_bad_logs_and_repairs(job: dict[str, Path], tmp_path: Path) -> None:
    refused(fit(job, tmp_path / "gone.csv"), "gone.csv")
    refused(fit(job, job["log"]), "cure.csv", "no channel buried")
    holed = trial_log(tmp_path / "holed.csv", 1.0, 0.022, lost=range(300, 340))
    refused(fit(job, holed), "holed.csv", "from 1495 s to 1700 s")
    good = trial_log(tmp_path / "good.csv", 1.0, 0.022)
    layers = job["repair"].read_text("utf-8")
    job["repair"].write_text('[faces]\nouter = "air"\n' + layers, "utf-8")
    refused(fit(job, good), "repair.toml", "faces")
    job["repair"].write_text('contact_conductance = "100 W/m2/K"\n' + layers, "utf-8")
    refused(fit(job, good), "repair.toml", "contact_conductance")
    job["repair"].write_text(layers.replace('"8 mm"', '"8 mm"\nconductivity = "0.4 W/m/K"'), "utf-8")
    refused(fit(job, good, "--press", "P1", "--save"), "--compound")


FITS = """
[fits.t]
trial = "t.csv"
trial_sha256 = "%s"
diffusivity = "0.12 mm2/s"
diffusivity_low = "0.11 mm2/s"
diffusivity_high = "0.13 mm2/s"
contact_conductance_low = "100 W/m2/K"
compound = "section-gum"
press = "P1"
""" % ("ab" * 32)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('trial = "t.csv"\n', "", "fits.t.trial: is missing"),
        ("abab", "xyxy", "trial_sha256"),
        ('"0.11 mm2/s"', '"0.125 mm2/s"', "must lie between"),
        ('"0.11 mm2/s"', '"0.11 mm"', "diffusivity_low"),
        ('diffusivity_low = "0.11 mm2/s"\n', "", "diffusivity_low: is missing"),
        ("0.1", "50.1", "not that of a rubber"),
        ('"100 W/m2/K"', '"-1 W/m2/K"', "contact_conductance_low"),
        ('"section-gum"', '"gone"', "no compound 'gone'"),
        ('"P1"', '"P7"', "no press 'P7'"),
        ('press = "P1"', 'pres = "P1"', "did you mean press"),
        ('"t.csv"', "3", "wants text"),
    ],
)
def test_bad_fits_in_the_shop_file(job: dict[str, Path], old: str, new: str, says: str) -> None:
    shop = job["shop"].read_text("utf-8")
    job["shop"].write_text(shop + FITS, "utf-8")
    assert load_shop(job["shop"]).fits[0].contact is not None
    job["shop"].write_text(shop + FITS.replace(old, new), "utf-8")
    words: list[Any] = ["plan", *plan_words(job), "--json"]
    refused(run(*words), "shop.toml:", says)

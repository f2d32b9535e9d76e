"""Replay, records, certificate and verify from the command line, on an archive of their own making."""

from __future__ import annotations

import hashlib
import json
import sqlite3
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from press_monitor.cli import cli
from press_monitor.console import MOST_LINES
from press_monitor.paths import HOME_VARIABLE
from tests.shopfiles import SHOP, log_text, write_job


def run(*words: object) -> Result:
    return CliRunner().invoke(cli, [str(word) for word in words], prog_name="press-monitor")


def replay(job: dict[str, Path], *more: object) -> Result:
    return run("replay", job["log"], "--shop", job["shop"], "--recipe", "section-300", "--repair", job["repair"], *more)


@pytest.fixture(autouse=True)
def _home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(HOME_VARIABLE, str(tmp_path / "home"))


@pytest.fixture
def job(tmp_path: Path) -> dict[str, Path]:
    return write_job(tmp_path / "job")


@pytest.fixture
def archive(tmp_path: Path, job: dict[str, Path]) -> Path:
    """Two sealed replays of the same log."""
    at = tmp_path / "cures.sqlite"
    for number in (1, 2):
        done = replay(job, "--archive", at, "--json")
        assert json.loads(done.stdout)["certificate"] == number, done.stderr
    return at


RESULT_KEYS = {
    *("verdict", "reasons", "source", "certificate", "hold_min", "release_s", "duration_s", "phases", "alarms"),
    "cure",
}
CURE_KEYS = {"deepest", "hottest", "worst_vapour_margin_kPa", "worst_boil_margin_kPa", "set_without_pressure"}
POINT_KEYS = {
    *("stack", "depth_mm", "state_of_cure", "state_of_cure_low", "state_of_cure_high", "equivalent_min"),
    "peak_degC",
}


def strict(text: str) -> Any:
    def refuse(word: str) -> None:
        raise AssertionError(f"{word} is not JSON")

    return json.loads(text, parse_constant=refuse)


def test_replay_judges_a_broken_off_log(job: dict[str, Path]) -> None:
    done = replay(job, "--json")
    assert done.exit_code == 1
    told = strict(done.stdout)
    assert set(told) == RESULT_KEYS
    assert set(told["cure"]) == CURE_KEYS
    assert set(told["cure"]["deepest"]) == POINT_KEYS
    assert (told["verdict"], told["source"], told["certificate"]) == ("incomplete", "log", None)
    assert told["duration_s"] == 89.0
    assert told["release_s"] is None


def test_replay_in_words(job: dict[str, Path]) -> None:
    done = replay(job)
    assert done.exit_code == 1
    assert "INCOMPLETE" in done.stdout
    assert "heat-up" in done.stdout
    assert "CURE AT THE LAST ROW" in done.stdout
    assert all(len(line) <= 80 for line in done.stdout.splitlines())


def test_a_column_nobody_judges_is_noted_on_stderr_only(job: dict[str, Path]) -> None:
    rows = log_text().splitlines()
    rows[1] += ",door[A]"
    job["log"].write_text("\n".join([*rows[:2], *(row + ",1.5" for row in rows[2:])]) + "\n", "utf-8")
    done = replay(job, "--json")
    strict(done.stdout)
    assert "door" in done.stderr
    assert "not judged" in done.stderr


def test_replay_is_deterministic(job: dict[str, Path]) -> None:
    assert replay(job, "--json").stdout == replay(job, "--json").stdout


def test_records_and_their_filters(archive: Path) -> None:
    told = strict(run("records", "--archive", archive, "--json").stdout)
    assert [row["number"] for row in told["records"]] == [2, 1]
    assert all(row["source"] == "log" for row in told["records"])

    def numbers(*filters: str) -> list[int]:
        done = run("records", "--archive", archive, "--json", *filters)
        assert done.exit_code == 0, done.stderr
        return [row["number"] for row in strict(done.stdout)["records"]]

    assert numbers("--verdict", "incomplete") == [2, 1]
    assert numbers("--verdict", "pass") == []
    assert numbers("--source", "live") == []
    assert numbers("--limit", "1") == [2]
    assert numbers("--text", "juniper section-300") == [2, 1]
    assert numbers("--text", "walnut") == []
    assert numbers("--since", "2001-01-01", "--until", "2001-01-02") == []
    assert run("records", "--archive", archive, "--since", "yesterday").exit_code == 2
    shown = run("records", "--archive", archive)
    assert "incomplete (log)" in shown.stdout
    assert "2 records" in shown.stderr
    assert all(len(line) <= 80 for line in shown.stdout.splitlines())


def test_certificate_prints_the_sealed_bytes_and_nothing_else(archive: Path, job: dict[str, Path]) -> None:
    done = run("certificate", 2, "--archive", archive, "--json")
    with sqlite3.connect(archive) as db:
        rows = db.execute("SELECT body, hash FROM ledger ORDER BY seq").fetchall()
    db.close()
    assert done.stdout_bytes == rows[2][0]
    # The chain, by its definition: SHA-256 over the hash before and the body.
    assert hashlib.sha256(rows[1][1] + done.stdout_bytes).digest() == rows[2][1]
    body = strict(done.stdout)
    assert body["source_log_sha256"] == hashlib.sha256(job["log"].read_bytes()).hexdigest()


def test_certificate_as_text(archive: Path) -> None:
    text = run("certificate", 1, "--archive", archive).stdout
    assert text == run("certificate", 1, "--archive", archive).stdout
    assert text.startswith("=" * 80 + "\nCertificate 1: incomplete\n")
    assert text.count("REPLAYED FROM A LOG, NOT WATCHED LIVE") == 2
    with sqlite3.connect(archive) as db:
        digest = db.execute("SELECT hash FROM ledger WHERE certificate = 1").fetchone()[0].hex()
    db.close()
    assert digest in "".join(text.split())
    assert text == run("certificate", 1, "--archive", archive, "--as-of", 1).stdout


def test_certificates_that_are_not_there(archive: Path) -> None:
    for words in ((9,), (2, "--as-of", 1), (1, "--as-of", 77)):
        done = run("certificate", *words, "--archive", archive, "--json")
        assert done.exit_code == 2
        assert done.stdout == ""
        assert len(done.stderr.splitlines()) == 1


def test_verify_holds_and_finds_a_changed_byte(archive: Path, tmp_path: Path) -> None:
    done = run("verify", "--archive", archive, "--json")
    assert done.exit_code == 0
    assert strict(done.stdout)["ok"] is True
    pinned = run("verify", "--archive", archive, "--key", tmp_path / "home" / "keys" / "ledger.pub", "--json")
    assert strict(pinned.stdout)["key_pinned"] is True
    with sqlite3.connect(archive) as db:
        db.execute("DROP TRIGGER ledger_never_changes")
        body = bytearray(db.execute("SELECT body FROM ledger WHERE seq = 1").fetchone()[0])
        body[body.index(b"incomplete") + 1] ^= 1
        db.execute("UPDATE ledger SET body = ? WHERE seq = 1", (bytes(body),))
    db.close()
    done = run("verify", "--archive", archive, "--json")
    assert done.exit_code == 1
    found = strict(done.stdout)
    assert (found["ok"], found["first_bad"]) == (False, 1)
    assert run("verify", "--archive", archive).exit_code == 1


REPAIR_LINE = 'thickness = "22 mm"'


@pytest.mark.parametrize(
    ("which", "old", "new", "says"),
    [
        ("shop", 'units = "us"', 'units = "us"\ncolour = "red"', ["shop.toml:4", "shop.colour", "not a known key"]),
        ("shop", "tc90 =", "tc99 =", ["shop.toml:", "compounds.section-gum", "tc90"]),
        ("shop", '"300 degF"', '"300 degX"', ["shop.toml:15", "hold_temperature", "degX"]),
        ("shop", '"300 degF"', "300", ["shop.toml:15", "hold_temperature"]),
        ("shop", '"32 psi"', '"nan psi"', ["shop.toml:", "bag_pressure"]),
        ("shop", "0.35", "nan", ["shop.toml:", "blow_point", "nan"]),
        ("shop", 'name = "J', "name = J", ["shop.toml:2"]),
        ("repair", REPAIR_LINE, 'thickness = "-22 mm"', ["repair.toml:7", "thickness", "-22 mm"]),
        ("repair", REPAIR_LINE, 'thickness = "22 psi"', ["repair.toml:7", "thickness", "psi"]),
        ("repair", '"section-gum"', '"mystery"', ["repair.toml:", "compound", "mystery"]),
        ("repair", "[[layers]]", "[[lairs]]", ["repair.toml"]),
        ("log", "\n50,", "\n50,,,\n40,", ["cure.csv, line 54", "40"]),
        ("log", "\n50,", "\n49,", ["cure.csv, line 53"]),
        ("log", "\n50,95.0", "\n50,nan", ["cure.csv, line 53", "nan"]),
        ("log", "\n50,95.0", "\n50,inf", ["cure.csv, line 53", "inf"]),
        ("log", "\n50,95.0", "\n50,warm", ["cure.csv, line 53", "warm"]),
        ("log", "bag[psi]", "bag[stone]", ["cure.csv, line 2", "stone"]),
        ("log", "elapsed_s", "clock", ["cure.csv, line 2", "elapsed_s"]),
        ("log", "inner_mat[degF]", "inner_mat", ["cure.csv, line 2", "inner_mat"]),
    ],
)
def test_bad_input_is_named_and_nothing_is_written(
    job: dict[str, Path], tmp_path: Path, which: str, old: str, new: str, says: list[str]
) -> None:
    before = job[which].read_text("utf-8")
    assert old in before
    job[which].write_text(before.replace(old, new, 1), "utf-8")
    at = tmp_path / "never.sqlite"
    refused(replay(job, "--archive", at, "--json"), *says)
    assert not list(tmp_path.glob("never*"))
    assert not (tmp_path / "home").exists()


def refused(done: Result, *says: str) -> None:
    assert done.exit_code == 2, done.output
    assert done.stdout == ""
    assert 1 <= len(done.stderr.splitlines()) <= MOST_LINES
    assert "Traceback" not in done.stderr
    assert "fault in the program" not in done.stderr
    for word in says:
        assert word in done.stderr


GARBAGE = bytes(range(256)) * 8


@pytest.mark.parametrize("which", ["shop", "repair", "log"])
@pytest.mark.parametrize("kind", ["garbage", "empty", "missing", "folder", "zeros"])
def test_files_that_are_no_such_files(job: dict[str, Path], tmp_path: Path, which: str, kind: str) -> None:
    job[which].unlink()
    if kind == "folder":
        job[which].mkdir()
    elif kind != "missing":
        job[which].write_bytes({"garbage": GARBAGE, "empty": b"", "zeros": bytes(4096)}[kind])
    refused(replay(job, "--archive", tmp_path / "never.sqlite", "--json"), job[which].name)
    assert not list(tmp_path.glob("never*"))


def test_a_recipe_that_is_not_there_names_those_that_are(job: dict[str, Path]) -> None:
    done = run("replay", job["log"], "--shop", job["shop"], "--recipe", "gone", "--repair", job["repair"], "--json")
    refused(done, "gone", "section-300")


@pytest.mark.parametrize("words", [("records",), ("verify",), ("certificate", "1")])
@pytest.mark.parametrize("kind", ["garbage", "empty", "missing", "folder", "other"])
def test_an_archive_that_is_none(tmp_path: Path, words: tuple[str, ...], kind: str) -> None:
    at = tmp_path / "odd.sqlite"
    if kind == "folder":
        at.mkdir()
    elif kind == "other":
        with sqlite3.connect(at) as db:
            db.execute("CREATE TABLE songs (name TEXT)")
        db.close()
    elif kind != "missing":
        at.write_bytes(GARBAGE if kind == "garbage" else b"")
    held = at.read_bytes() if at.is_file() else None
    refused(run(*words, "--archive", at, "--json"), "odd.sqlite")
    assert (at.read_bytes() if at.is_file() else None) == held


def test_sealing_into_something_that_is_no_archive_leaves_it_alone(job: dict[str, Path], tmp_path: Path) -> None:
    at = tmp_path / "letter.txt"
    at.write_text("Dear customer,\n" * 200, "utf-8")
    refused(replay(job, "--archive", at, "--json"), "letter.txt")
    assert at.read_text("utf-8") == "Dear customer,\n" * 200


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
@given(st.binary(max_size=400), st.sampled_from(["shop", "repair", "log"]), st.integers(0, 400))
def test_any_bytes_anywhere_end_in_words(job: dict[str, Path], junk: bytes, which: str, at: int) -> None:
    write_job(job["shop"].parent)
    whole = job[which].read_bytes()
    job[which].write_bytes(whole[:at] + junk + whole[at + len(junk) :])
    done = replay(job, "--json")
    if done.exit_code == 2:
        refused(done)
    else:
        assert done.exit_code in (0, 1)
        strict(done.stdout)


def test_the_shop_file_used_here_is_the_designs_own_example() -> None:
    assert 'activation_energy = "100 kJ/mol"' in SHOP

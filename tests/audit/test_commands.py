"""The commands for what comes after the cure: answers, exit codes, JSON with every key, bad input in one line."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from press_monitor.archive import Archive, ArchiveReader
from press_monitor.cli import cli
from press_monitor.console import MOST_LINES, Later
from press_monitor.paths import HOME_VARIABLE
from tests.archive.helpers import flip, seal_one, tamper
from tests.audit.cures import DAY, Bench, warming

PAST = 1_700_000_000.0
"""A day in 2023: old enough to count on any computer's clock."""

TICKET = """\
customer = "Upper Mesa"
tin = "1H4 ABCDEF 0109"
bag = "B1"
mats_overlap = true
[[materials]]
use = "filler rubber"
lot = "SG-1"
"""


def run(*words: object) -> Result:
    return CliRunner().invoke(cli, [str(word) for word in words], prog_name="press-monitor")


def told(*words: object, code: int = 0) -> Any:
    """What a command prints with --json: one document, no NaN."""
    done = run(*words, "--json")
    assert done.exit_code == code, done.output

    def refuse(name: str) -> None:
        raise AssertionError(name)

    return json.loads(done.stdout, parse_constant=refuse)


def refused(done: Result, *says: str) -> None:
    assert done.exit_code == 2, done.output
    assert done.stdout == ""
    lines = [line for line in done.stderr.splitlines() if line.strip()]
    assert 1 <= len([line for line in lines if not line.startswith(("Usage:", "Try "))]) <= MOST_LINES
    for words in says:
        assert words in done.stderr


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    """Certificates 1 to 3 with a bag and a lot, 4 without a ticket."""
    bench = Bench(tmp_path_factory.mktemp("made"))
    with bench.open() as archive, archive.transaction():
        for k in range(3):
            ticket = {"bag": "B1", "customer": "Dry Fork Farm", "materials": [{"use": "filler", "lot": "SG-1"}]}
            bench.seal(archive, warming(60), ticket=ticket, started_utc=PAST + k * DAY, verdict="pass")
        bench.seal(archive, warming(60), setup=bench.setup(ticketed=False, repair=False), started_utc=PAST + 100 * DAY)
    return bench


@pytest.fixture
def bench(made: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Bench:
    home = tmp_path / "home"
    again = Bench(tmp_path / "again")
    again.path.write_bytes(made.path.read_bytes())
    again.key = home / "keys" / "ledger.key"
    again.key.parent.mkdir(parents=True)
    again.key.write_bytes(made.key.read_bytes())
    monkeypatch.setenv(HOME_VARIABLE, str(home))
    return again


def test_comeback(bench: Bench) -> None:
    at = ("--archive", bench.path, "--shop", bench.files["shop"])
    found = told("comeback", 2, "--cause", "moisture-blow", "--date", "2024-06-01", "--by", "Ines", *at)
    assert set(found) == {
        *("certificate", "entry", "cause", "day", "age_days", "sealed_verdict", "judged_anew", "comparison"),
        *("suspects", "warnings"),
    }
    assert (found["cause"], found["day"], found["entry"]) == ("moisture blow", "2024-06-01", 5)
    assert set(found["judged_anew"]) == {"verdict", "reasons", "changes", "model_changes", "trouble"}
    assert set(found["comparison"]) == {"certificate", "good", "figures", "curves", "note"}
    assert {"kind", "name", "rate", "rate_low", "rate_high", "p_value", "p_adjusted"} <= set(found["suspects"][0])
    shown = run("comeback", 3, "--cause", "reversion", *at)
    assert shown.exit_code == 0
    for words in (
        "CERTIFICATE 3 CAME BACK",
        "JUDGED AGAIN",
        "BESIDE COMPARABLE GOOD CURES",
        "bag B1",
        "A pattern is a",
    ):
        assert words in shown.stdout


def test_inspect_and_correct(bench: Bench) -> None:
    at = ("--archive", bench.path)
    assert told("inspect", 1, "--result", "Sound With Remarks", "--by", "Ines", "--date", "2024-05-04", *at) == {
        "certificate": 1, "entry": 5, "result": "sound with remarks", "day": "2024-05-04", "by": "Ines", "note": "",
    }  # fmt: skip
    run(
        "correct",
        1,
        "--set",
        "customer=Upper Mesa Hay",
        "--set",
        'injury.length="130 mm"',
        "--why",
        "x",
        "--by",
        "I",
        *at,
    )
    run("correct", 1, "--set", "injury.cords=none", "--set", "tin=1H4ABCDEF0109", "--why", "x", "--by", "I", *at)
    with ArchiveReader(bench.path) as reader:
        assert reader.records(tin="abcdef")[0].customer == "Upper Mesa Hay"
        later = [entry.content for entry in reader.record(1).later]
    assert later[-1]["ticket"]["injury"] == {"length": "130 mm", "cords": "none"}
    assert later[-1]["ticket"]["tin_week"] == "2009-01-04 to 2009-01-10"
    assert run("correct", 1, "--withdraw", 5, "--why", "not looked at", "--by", "Ines", *at).exit_code == 0
    with ArchiveReader(bench.path) as reader:
        assert reader.records(number=1)[0].inspection is None
        assert [row.number for row in reader.records(inspection="none")] == [4, 3, 2, 1]
    assert run("verify", *at).exit_code == 0


def test_what_was_withdrawn_is_off_the_customers_page_and_stays_on_the_shops(bench: Bench) -> None:
    at = ("--archive", bench.path)
    entry = told("inspect", 1, "--result", "sound", "--by", "Ines", *at)["entry"]
    assert "INSPECTED: SOUND" in run("certificate", 1, "--customer", *at).stdout
    told("correct", 1, "--withdraw", entry, "--why", "another tire", "--by", "Tom", *at)
    assert "NOT INSPECTED" in run("certificate", 1, "--customer", *at).stdout
    shown = run("certificate", 1, *at).stdout
    assert "sound" in shown and "another tire" in shown


def test_an_override_ends_on_the_certificate(bench: Bench) -> None:
    override = {"what": "lot SG-1 expired on 2020-05-04", "by": "Ines", "reason": "a sample cured well"}
    with bench.open() as archive:
        number = bench.seal(archive, warming(20), ticket={"overrides": [override]}, started_utc=PAST)
    shown = " ".join(run("certificate", number, "--archive", bench.path).stdout.split())
    assert "lot SG-1 expired on 2020-05-04; used all the same by Ines, a sample cured well" in shown


def test_check_speaks_of_the_copies(bench: Bench, tmp_path: Path) -> None:
    at = ("--archive", bench.path, "--shop", bench.files["shop"])
    found = {each["check"]: each for each in json.loads(run("check", *at, "--json").stdout)["findings"]}
    assert found["backup"]["state"] == "note" and "no copy yet" in found["backup"]["words"]
    told("archive", "backup", "--archive", bench.path)
    found = {each["check"]: each for each in json.loads(run("check", *at, "--json").stdout)["findings"]}
    assert "1 copies" in found["backup"]["words"] and "keep one elsewhere" in found["backup"]["do"]


def test_a_late_ticket(bench: Bench, tmp_path: Path) -> None:
    file = tmp_path / "ticket.toml"
    file.write_text(TICKET, "utf-8")
    at = ("--archive", bench.path, "--shop", bench.files["shop"])
    found = told("ticket", 4, file, "--repair", bench.files["repair"], "--by", "Ines", *at, code=1)
    assert set(found) == {"certificate", "entry", "verdict_before", "verdict", "reasons", "changes", "found"}
    assert (found["verdict_before"], found["verdict"]) == ("incomplete", "incomplete")
    listed = told("records", "--tin", "ABCDEF", "--bag", "b1", "--archive", bench.path)
    assert [row["number"] for row in listed["records"]] == [4]
    assert run("certificate", 4, "--archive", bench.path).exit_code == 0


def test_where_used(bench: Bench) -> None:
    at = ("--archive", bench.path)
    found = told("where-used", "--lot", "sg-1", *at)
    assert set(found) == {"item", "repairs", "others", "old_enough_days", "warnings"}
    assert [row["number"] for row in found["repairs"]] == [3, 2, 1]
    assert (found["item"]["counted"], found["old_enough_days"]) == (3, 90)
    assert told("where-used", "--press", "P1", "--old-enough", "3000", *at)["item"]["counted"] == 0
    shown = run("where-used", "--bag", "B1", *at)
    assert shown.exit_code == 0 and "HOW FAR THIS CARRIES" in shown.stdout


def test_persons_are_asked_for_only_where_the_shop_file_says_so(bench: Bench) -> None:
    at = ("--archive", bench.path, "--shop", bench.files["shop"])
    refused(run("where-used", "--person", "Ines", *at), "figures of single persons are off")
    with bench.files["shop"].open("a") as file:
        file.write("\n[records]\nfigures_by_person = true\n")
    refused(run("where-used", "--person", "Ines", *at), "no certificate names person 'Ines'")


def test_worth(bench: Bench) -> None:
    at = ("--archive", bench.path)
    found = told("worth", "--replacement", 4200, "--life", 55, "--repair-cost", 1200, *at)
    assert (found["comeback_k"], found["comeback_n"], found["advice"]) == (0, 4, "too close to call")
    assert set(found["costs"]) == {
        *("replacement", "life", "repair", "downtime_cost", "repair_hours", "replacement_hours", "comeback_hours"),
    }
    dear = told("worth", "--replacement", 1000, "--life", 20, "--repair-cost", 900, "--comeback-rate", 5, code=1)
    assert dear["advice"] == "replace" and dear["break_even_repair"] == pytest.approx(190.0)
    shown = run("worth", "--replacement", 4200, "--life", 55, "--repair-cost", 900, "--comeback-rate", 5)
    assert "WHERE BOTH COST THE SAME" in shown.stdout and shown.exit_code == 0


def test_stores(bench: Bench) -> None:
    at = ("--archive", bench.path)
    told("stores", "add", "lot", "SG-1", "--product", "filler rubber", "--expires", "2020-05-04", *at)
    told("stores", "add", "bag", "B1", "--life", 200, "--cures-before", 40, "--dry-time", "30 min", *at)
    told("stores", "calibrate", "K-17", "--due", "2099-05-04", "--reference", "dry block DB-2", *at)
    told("stores", "retire", "mat", "M2", "--why", "blistered", "--by", "Tom", *at)
    listed = {item["name"]: item for item in told("stores", *at)["stores"]}
    assert set(listed) == {"SG-1", "B1", "K-17", "M2"}
    assert (listed["B1"]["cures_done"], listed["B1"]["trouble"], listed["B1"]["dry_time_s"]) == (43, None, 1800.0)
    assert listed["SG-1"]["trouble"] == "lot SG-1 expired on 2020-05-04"
    wrong = told("stores", "--trouble", *at, code=1)["stores"]
    assert sorted(item["name"] for item in wrong) == ["M2", "SG-1"]
    told("stores", "retire", "mat", "M2", "--back", "--why", "mended", *at)
    shown = run("stores", "--kind", "lot", *at)
    assert "expired on 2020-05-04" in shown.stdout and "M2" not in shown.stdout
    assert [item["name"] for item in told("stores", "--trouble", *at, code=1)["stores"]] == ["SG-1"]


def test_the_archive_group(bench: Bench, tmp_path: Path) -> None:
    at = ("--archive", bench.path)
    made = told("archive", "backup", "--into", tmp_path / "b", "--keep", 2, *at)
    assert made["ok"] and made["certificates"] == 4 and made["deleted"] == []
    assert set(told("archive", "copy-key", tmp_path / "stick")) == {"files"}
    assert all(f["ok"] for f in told("archive", "drill", tmp_path, *at)["findings"])
    assert told("archive", "rebuild", *at) == {"archive": str(bench.path), "indexed": 4, "unread": []}
    with bench.open() as archive:
        seal_one(archive, 3)
    refused(run("archive", "restore", made["backup"], *at), "has 1 ledger entries that", "--give-up-newer")
    back = told("archive", "restore", made["backup"], "--give-up-newer", *at)
    assert back["entries_given_up"] == 1 and Path(back["kept"]).exists()
    bench.path.write_bytes(bench.path.read_bytes()[: -3 * 4096])
    saved = run("archive", "recover", "--to", tmp_path / "saved.sqlite", "--json", *at)
    assert saved.exit_code in (0, 1) and json.loads(saved.stdout)["certificates"] >= 1
    bench.path.unlink()
    told("archive", "restore", made["backup"], *at)
    bench.key.unlink()
    assert told("archive", "successor", *at)["first_certificate"] == 5
    assert run("archive", "drill", tmp_path / "none", *at).exit_code == 1


def test_a_copy_that_does_not_verify_pushes_out_no_other(bench: Bench, tmp_path: Path) -> None:
    at = ("--archive", bench.path)
    told("archive", "backup", "--into", tmp_path / "b", *at)
    good = list((tmp_path / "b").iterdir())
    good[0].rename(tmp_path / "b" / "archive-20200101T000000Z.sqlite")
    tamper(bench.path, lambda db: flip(db, "trace", "data", "entry", 2, 9))
    bad = told("archive", "backup", "--into", tmp_path / "b", "--keep", 1, *at, code=1)
    assert not bad["ok"] and bad["deleted"] == [] and len(list((tmp_path / "b").iterdir())) == 2


def test_verify_against_a_certificate_handed_out(bench: Bench, tmp_path: Path) -> None:
    proof = tmp_path / "proof.json"
    assert run("certificate", 3, "--archive", bench.path, "--proof", proof).exit_code == 0
    found = told("verify", "--archive", bench.path, "--handed-out", proof)
    assert found["handed_out"] == 1
    with Archive.open(tmp_path / "other.sqlite", key_path=bench.key) as archive:
        seal_one(archive, 3)
    found = told("verify", "--archive", tmp_path / "other.sqlite", "--handed-out", proof, code=1)
    assert "certificate 3 was handed out and is not here" in found["problems"][-1]["message"]
    refused(run("verify", "--archive", bench.path, "--handed-out", bench.files["log"]), "cure.csv")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("comeback", 2, "--cause", "bad luck"), ("'bad luck' is no cause", "adhesion failure")),
        (("comeback", 77, "--cause", "reversion"), ("there is no certificate 77",)),
        (("comeback", 2, "--cause", "reversion", "--date", "1999-01-01"), ("cannot have come back",)),
        (("comeback", 2, "--cause", "reversion", "--date", "soon"), ("soon",)),
        (("inspect", 1, "--result", "fine", "--by", "x"), ("result: wants one of sound",)),
        (("inspect", 1, "--result", "sound", "--by", "x", "--date", "2999-01-01"), ("is still to come",)),
        (("inspect", 1, "--result", "sound", "--by", " "), ("by: is missing",)),
        (("inspect", 77, "--result", "sound", "--by", "x"), ("there is no certificate 77",)),
        (("correct", 1, "--why", "x", "--by", "y"), ("give either --set or --withdraw",)),
        (("correct", 1, "--set", "verdict=pass", "--why", "x", "--by", "y"), ("verdict",)),
        (("correct", 1, "--set", "customer", "--why", "x", "--by", "y"), ("is not KEY=VALUE",)),
        (("correct", 1, "--set", "tin=GG", "--why", "x", "--by", "y"), ("G is never used",)),
        (("correct", 1, "--withdraw", 1, "--why", "x", "--by", "y"), ("has no entry 1 to withdraw",)),
        (("where-used",), ("give one of --lot",)),
        (("where-used", "--lot", "A", "--bag", "B"), ("give one of --lot",)),
        (("where-used", "--lot", "SG-11"), ("no certificate names lot 'SG-11'; did you mean SG-1?",)),
        (("worth", "--replacement", 1, "--life", 0, "--repair-cost", 1), ("the life that is left",)),
        (("worth", "--replacement", "nan", "--life", 5, "--repair-cost", 1), ("nan",)),
        (("stores", "add", "lot", "A", "--expires", "soon"), ("soon",)),
        (("stores", "add", "tire", "A"), ("tire",)),
        (("stores", "calibrate", "K", "--due", "2020-01-01"), ("is before the day it was done",)),
        (("stores", "calibrate", "K", "--unit", "furlong"), ("furlong",)),
        (("records", "--alarm", "bag-lo"), ("did you mean bag-low?",)),
        (("records", "--comeback", "luck"), ("luck",)),
        (("records", "--number", "many"), ("is no number and no span",)),
    ],
)
def test_bad_input_ends_in_a_line_and_changes_nothing(
    bench: Bench, words: tuple[object, ...], says: tuple[str, ...]
) -> None:
    before = bench.path.read_bytes()
    refused(run(*words, "--archive", bench.path), *says)
    with ArchiveReader(bench.path) as reader:
        head = reader.head()
        assert head is not None and head.seq == 4
    assert len(bench.path.read_bytes()) == len(before)


@pytest.mark.parametrize("kind", ["missing", "folder", "text"])
@pytest.mark.parametrize(
    "words",
    [
        ("comeback", 1, "--cause", "reversion"),
        ("inspect", 1, "--result", "sound", "--by", "x"),
        ("where-used", "--lot", "A"),
        ("stores",),
        ("stores", "add", "lot", "A"),
        ("archive", "backup"),
        ("archive", "rebuild"),
        ("archive", "recover"),
        ("archive", "successor"),
    ],
)
def test_an_archive_that_is_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[object, ...], kind: str
) -> None:
    monkeypatch.setenv(HOME_VARIABLE, str(tmp_path / "home"))
    at = tmp_path / "odd.sqlite"
    if kind == "folder":
        at.mkdir()
    elif kind == "text":
        at.write_bytes(b"Dear customer,\n" * 500)
    refused(run(*words, "--archive", at), "odd.sqlite")
    assert not at.is_file() or at.read_bytes() == b"Dear customer,\n" * 500
    assert kind != "missing" or not at.exists()


def test_commands_imported_later_are_those_they_say() -> None:
    later = [command for command in cli.commands.values() if isinstance(command, Later)]
    assert len(later) == 8
    for command in later:
        assert command.real().name == command.name and command.real().help
    shown = run("--help").stdout
    assert all(f"  {command.name} " in shown and str(command.short_help) in shown for command in later)


def test_a_ticket_file_with_a_mistake_names_its_line(bench: Bench, tmp_path: Path) -> None:
    file = tmp_path / "t.toml"
    file.write_text('customer = "A"\nbga = "B1"\n', "utf-8")
    at = ("--archive", bench.path, "--shop", bench.files["shop"])
    refused(run("ticket", 4, file, *at), "t.toml:2: bga: is not a known key; did you mean bag?")
    refused(run("ticket", 4, tmp_path / "none.toml", *at), "none.toml: no such file")
    file.write_text(TICKET, "utf-8")
    refused(run("ticket", 4, file, "--preset", "thick", *at), "no such ready-made repair")

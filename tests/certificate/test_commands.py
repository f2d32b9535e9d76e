"""Certificates from the command line: as files, by the batch, and checked without the archive."""

from __future__ import annotations

import json
import os
import shlex
import subprocess
import sys
from pathlib import Path
from typing import Any

import pypdf
import pytest
from click.testing import CliRunner, Result

from drivers.log import read_log
from press_monitor.archive import Archive
from press_monitor.archive.backup import backup
from press_monitor.certificate import export
from press_monitor.cli import cli
from press_monitor.paths import HOME_VARIABLE
from tests.archive.helpers import flip, tamper
from tests.certificate.conftest import Shop, seal
from tests.test_readme import block_after

ROOT = Path(__file__).resolve().parent.parent.parent


@pytest.fixture(autouse=True)
def _home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(HOME_VARIABLE, str(tmp_path / "home"))


def run(*words: object, **more: Any) -> Result:
    return CliRunner().invoke(cli, [str(word) for word in words], prog_name="press-monitor", **more)


def test_all_forms_at_once_and_where_they_are(shop: Shop, tmp_path: Path) -> None:
    files = {form: tmp_path / f"one.{form}" for form in ("pdf", "html", "text", "csv", "proof")}
    options = [word for form, at in files.items() for word in (f"--{form}", at)]
    done = run("certificate", 1, "--archive", shop.archive, *options)
    assert done.exit_code == 0, done.stderr
    assert done.stdout.split("\n")[:-1] == [str(files[form]) for form in ("pdf", "html", "text", "csv", "proof")]
    assert pypdf.PdfReader(files["pdf"]).metadata.title == "Certificate 1: review"  # type: ignore[union-attr]
    assert files["text"].read_text("utf-8") == run("certificate", 1, "--archive", shop.archive).stdout


@pytest.mark.parametrize(
    ("options", "title", "size"),
    [
        (("--customer",), "Cure certificate 1", (612, 792)),
        (("--copy", "customer", "--paper", "a4"), "Cure certificate 1", (595.28, 841.89)),
        (("--label",), "No. 1", (288, 144)),
        (("--label", "--paper", "a4"), "No. 1", (283.46, 141.73)),
    ],
)
def test_whose_copy_on_which_paper(
    shop: Shop, tmp_path: Path, options: tuple[str, ...], title: str, size: tuple[float, float]
) -> None:
    done = run("certificate", 1, "--archive", shop.archive, *options, "--pdf", tmp_path / "x.pdf")
    assert done.exit_code == 0, done.stderr
    reader = pypdf.PdfReader(tmp_path / "x.pdf")
    assert reader.metadata is not None
    assert reader.metadata.title == title
    assert tuple(map(float, reader.pages[0].mediabox.upper_right)) == pytest.approx(size, abs=0.01)
    assert title in run("certificate", 1, "--archive", shop.archive, *options).stdout


def test_json_stays_the_sealed_bytes_also_beside_files(shop: Shop, tmp_path: Path) -> None:
    plain = run("certificate", 1, "--archive", shop.archive, "--json").stdout_bytes
    both = run("certificate", 1, "--archive", shop.archive, "--json", "--pdf", tmp_path / "x.pdf")
    assert both.stdout_bytes == plain
    assert both.stderr.strip() == str(tmp_path / "x.pdf")
    assert (tmp_path / "x.pdf").exists()


def test_as_of_makes_an_old_copy_again(shop: Shop, tmp_path: Path) -> None:
    for name, as_of in (("then", 1), ("later", 3), ("inspected", 4), ("now", 5)):
        assert (
            run("certificate", 1, "--archive", shop.archive, "--as-of", as_of, "--pdf", tmp_path / name).exit_code == 0
        )
    then, later, inspected, now = ((tmp_path / name).read_bytes() for name in ("then", "later", "inspected", "now"))
    assert then == later
    assert len({then, inspected, now}) == 3


def test_bad_words_end_in_one_line_and_no_file(shop: Shop, tmp_path: Path) -> None:
    (tmp_path / "repair.toml").write_text("[[layers]]\n")
    for words, says in (
        (("certificate", 9, "--pdf", tmp_path / "x.pdf"), "no certificate 9"),
        (("certificate", 1, "--customer", "--label"), "either --customer or --label"),
        (("certificate", 1, "--pdf", tmp_path / "repair.toml"), "is there already"),
        (("certificate", 1, "--pdf", shop.archive), "is there already"),
        (("certificate", 1, "--pdf", tmp_path / "no" / "x.pdf"), "cannot be written"),
        (("certificate", 1, "--html", tmp_path / "y.html", "--pdf", tmp_path), "is not a file"),
        (("records", "--export", tmp_path / "repair.toml"), "cannot be made"),
    ):
        done = run(words[0], "--archive", shop.archive, *words[1:])
        assert done.exit_code == 2, words
        assert says in done.stderr
        assert done.stdout == ""
    assert {path.name for path in tmp_path.iterdir()} - {"home"} == {"repair.toml"}
    assert (tmp_path / "repair.toml").read_text() == "[[layers]]\n"


def test_nothing_is_printed_of_a_record_that_was_changed(shop: Shop, tmp_path: Path) -> None:
    mine = tmp_path / "cures.sqlite"
    backup(shop.archive, mine)
    tamper(mine, lambda db: flip(db, "ledger", "body", "seq", 2, 4321))
    done = run("certificate", 2, "--archive", mine, "--pdf", tmp_path / "x.pdf")
    assert done.exit_code == 2
    assert "run verify" in done.stderr
    assert not (tmp_path / "x.pdf").exists()
    many = run("records", "--archive", mine, "--export", tmp_path / "out", "--form", "text", "--json")
    assert many.exit_code == 1
    assert [Path(name).name for name in json.loads(many.stdout)["files"]] == [
        "certificate-000003.txt",
        "certificate-000001.txt",
    ]
    assert "certificate 2" in many.stderr


def test_a_batch_by_filter(shop: Shop, tmp_path: Path) -> None:
    done = run("records", "--archive", shop.archive, "--limit", 2, "--export", tmp_path / "out", "--copy", "label")
    assert done.exit_code == 0, done.stderr
    assert done.stdout.split("\n")[:-1] == [str(tmp_path / "out" / f"certificate-00000{n}-label.pdf") for n in (3, 2)]
    assert "2 certificates in" in done.stderr
    none = run("records", "--archive", shop.archive, "--verdict", "pass", "--export", tmp_path / "none")
    assert none.exit_code == 0
    assert list((tmp_path / "none").iterdir()) == []
    assert json.loads(run("records", "--archive", shop.archive, "--json").stdout)["files"] is None


def test_open_hands_the_file_to_the_desktop(shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shown: list[str] = []
    there = True

    def show(path: Path) -> bool:
        shown.append(str(path))
        return there

    monkeypatch.setattr(export, "show_file", show)
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr("tempfile.tempdir", None)
    done = run("certificate", 1, "--archive", shop.archive, "--open")
    assert done.exit_code == 0, done.stderr
    assert [done.stdout.strip()] == shown
    assert Path(shown[0]).name == "certificate-000001.pdf"
    assert Path(shown[0]).read_bytes().startswith(b"%PDF-")
    page = tmp_path / "x.html"
    run("certificate", 1, "--archive", shop.archive, "--html", page, "--csv", tmp_path / "x.csv", "--open")
    assert shown[1] == str(page)
    there = False
    failed = run("certificate", 1, "--archive", shop.archive, "--html", page, "--open")
    assert failed.exit_code == 1
    assert f"no viewer could be started; the file is {page}" in failed.stderr


def test_verify_needs_no_archive_for_a_file(shop: Shop, tmp_path: Path) -> None:
    proof, sealed, code = (tmp_path / name for name in ("proof.json", "sealed.json", "code.txt"))
    run("certificate", 1, "--archive", shop.archive, "--proof", proof)
    sealed.write_bytes(run("certificate", 1, "--archive", shop.archive, "--json").stdout_bytes)
    text = run("certificate", 1, "--archive", shop.archive).stdout
    found = [line.strip() for line in text[text.index("  press-monitor certificate 1") :].splitlines()]
    code.write_text("\n".join(found[: found.index(next(line for line in found if line.startswith("Ledger")))]))

    told = run("verify", "--file", proof, "--key", shop.key, "--json")
    assert told.exit_code == 0, told.stderr
    report = json.loads(told.stdout)
    assert (report["ok"], report["certificate"], report["proved"], report["verdict"]) == (True, 1, "record", "review")
    assert (report["entries"], report["key_pinned"], report["problems"]) == ([1, 4, 5], True, [])

    for files, proved in (((code,), "hash"), ((sealed, code), "record"), ((proof, code), "record")):
        words = [word for file in files for word in ("--file", file)]
        told = run("verify", *words, "--key", shop.key, "--json")
        assert told.exit_code == 0, told.stdout + told.stderr
        assert json.loads(told.stdout)["proved"] == proved
        wrong = run("verify", *words, "--key", shop.other_key)
        assert wrong.exit_code == 1
        assert wrong.stdout.startswith("DOES NOT HOLD: certificate 1")

    piped = run("verify", "--file", "-", "--key", shop.key, input=code.read_bytes())
    assert piped.exit_code == 0
    assert "signed the hash" in piped.stdout

    for words, says in (
        (("--file", sealed, "--key", shop.key), "without its signature"),
        (("--file", code), "--key FILE"),
        (("--file", tmp_path / "gone", "--key", shop.key), "gone"),
        (("--file", proof, "--key", proof), "is not an Ed25519 public key"),
        (("--file", proof, "--archive", shop.archive), "either --archive or --file"),
    ):
        refused = run("verify", *words)
        assert refused.exit_code == 2, words
        assert says in refused.stderr
        assert refused.stdout == ""


def test_the_readmes_commands_do_what_it_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    with Archive.open(Path("cures.sqlite"), key_path=Path("keys/ledger.key")) as archive:
        seal(archive, 1, verdict="fail")
    for line in block_after("command: certificates"):
        program, *words = shlex.split(line)
        assert program == ".venv/bin/press-monitor"
        done = run(*words)
        assert done.exit_code == 0, done.stderr
    assert len(pypdf.PdfReader("customer.pdf").pages) == 1
    assert [path.name for path in Path("labels").iterdir()] == ["certificate-000001-label.pdf"]
    assert "verdict fail" in done.stdout

    assert len(read_log("burst-bag-again.csv").rows) == 600


def loaded(*words: str) -> set[str]:
    """Top-level modules that a fresh interpreter holds after a command."""
    code = (
        "import sys, json\nfrom press_monitor.cli import cli\n"
        f"cli({list(words)!r}, standalone_mode=False)\n"
        "print(json.dumps(sorted({m.split('.')[0] for m in sys.modules})))"
    )
    environ = {**os.environ, "PYTHONUTF8": "1"}
    ran = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, env=environ, capture_output=True, text=True, timeout=60, check=True
    )
    return set(json.loads(ran.stdout.splitlines()[-1]))


def test_only_a_pdf_loads_what_makes_one(shop: Shop, tmp_path: Path) -> None:
    archive = ("--archive", str(shop.archive))
    others = ("--html", str(tmp_path / "x.html"), "--text", str(tmp_path / "x.txt"))
    assert not loaded("certificate", "1", *archive, *others) & {"reportlab", "PIL", "textual"}
    assert "reportlab" in loaded("certificate", "1", *archive, "--pdf", str(tmp_path / "x.pdf"))


def test_starting_the_dashboard_loads_no_page_maker() -> None:
    code = (
        "import sys, json\nimport press_monitor.cli, press_monitor.screens.app\n"
        "print(json.dumps(sorted({m.split('.')[0] for m in sys.modules})))"
    )
    ran = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, timeout=60, check=True)
    names = set(json.loads(ran.stdout))
    assert "textual" in names
    assert not names & {"reportlab", "PIL", "segno"}

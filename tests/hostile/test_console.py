"""No text of anybody's reaches a terminal as anything but letters, whichever command shows it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from press_monitor.cli import cli
from press_monitor.console import put, words_of
from press_monitor.paths import HOME_VARIABLE
from press_monitor.recorder.service import log_line
from tests.audit.cures import Bench
from tests.hostile.hostile_shop import BAD, bad, make
from tests.shopfiles import write_job

TURNS = set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
"""Marks that turn a line round (UAX #9): what is read is then not what is there."""


def dangerous(text: str) -> list[str]:
    """What a terminal would obey: C0 but tab and newline, DEL, C1 (ECMA-48), and marks that turn lines."""
    return sorted({c for c in text if (ord(c) < 32 and c not in "\n\t") or 127 <= ord(c) < 160 or c in TURNS})


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Bench, int]:
    return make(tmp_path_factory.mktemp("hostile"))


@pytest.fixture(autouse=True)
def _home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(HOME_VARIABLE, str(tmp_path / "home"))


def run(*words: object) -> Result:
    return CliRunner().invoke(cli, [str(word) for word in words], prog_name="press-monitor")


def tame(done: Result) -> None:
    """Nothing dangerous came out, on either stream, and no traceback."""
    assert not dangerous(done.stdout), (dangerous(done.stdout), done.stdout[:400])
    assert not dangerous(done.stderr), (dangerous(done.stderr), done.stderr[:400])
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    assert "a fault in the program" not in done.stderr, done.stderr


COMMANDS = (
    ("records",),
    ("records", "--json"),
    ("certificate", "1"),
    ("certificate", "1", "--customer"),
    ("comeback", "1", "--cause", "reversion", "--json"),
    ("comeback", "1", "--cause", bad("steam")),
    ("where-used", "--lot", bad("L1")),
    ("where-used", "--bag", bad("B1"), "--json"),
    ("where-used", "--press", "P1"),
    ("where-used", "--probe", bad("nobody")),
    ("inspect", "1", "--result", bad("sound"), "--by", "Ann"),
    ("inspect", "1", "--result", "sound", "--by", bad("Ann")),
    ("correct", "1", "--set", bad("tire=x"), "--why", "w", "--by", "b"),
    ("correct", "1", "--set", "tire=x", "--why", bad("w"), "--by", bad("b")),
    ("verify",),
    ("verify", "--json"),
    ("stores",),
    ("stores", "--json"),
    ("check",),
    ("alarms",),
    ("archive", "--help"),
    ("thermocouple", bad("K"), "--mv", "1"),
    (bad("nonsense"),),
    ("records", "--customer", bad("nobody")),
)


@pytest.mark.parametrize("words", COMMANDS, ids=lambda words: " ".join(words)[:24].encode("ascii", "replace").decode())
def test_no_command_hands_a_hostile_text_to_the_terminal(made: tuple[Bench, int], words: tuple[str, ...]) -> None:
    bench, _ = made
    done = run("--archive", bench.path, "--shop", bench.files["shop"], *words)
    tame(done)
    if words[-1] == "--json" and done.stdout:
        json.loads(done.stdout)


def test_the_texts_are_there_all_the_same(made: tuple[Bench, int]) -> None:
    """What is tamed is still told: an innocent empty page would pass the test above."""
    bench, number = made
    text = run("--archive", bench.path, "certificate", number).stdout
    for word in ("Upper Mesa", "loader", "[red]x[/red]", "forged"):
        assert word in text
    told = json.loads(run("--archive", bench.path, "records", "--json").stdout)
    assert told["records"][0]["customer"] == bad("Upper Mesa"), "JSON loses nothing"


def test_hostile_files_and_names_are_told_as_letters(tmp_path: Path) -> None:
    job = write_job(tmp_path / "job")
    log = tmp_path / f"log{BAD[:9].replace('/', '')}.csv"
    odd = bad("odd").split("\r")[0]
    log.write_text(f"# tire: {BAD.splitlines()[0]}\nelapsed_s,inner_mat[degF],{odd}[degF]\n0,70,1\n1,71,1\n")
    words = ("--shop", job["shop"], "--recipe", "section-300", "--repair", job["repair"])
    tame(run("replay", log, *words))
    tame(run("replay", log, *words, "--json"))
    tame(run("replay", tmp_path / bad("none").replace("/", ""), *words))
    shop = tmp_path / "shop.toml"
    shop.write_text(
        job["shop"].read_text() + '\n[presses."\\u001b[2J\\u009b"]\ndriver = "\\u001b[2Jx"\nrecipe = "section-300"\n'
    )
    tame(run("replay", job["log"], "--shop", shop, *words[2:]))
    tame(run("check", "--shop", shop))
    shop.write_text('[shop]\n"\\u001b]0;x\\u0007" = 1\n')
    tame(run("check", "--shop", shop))
    ticket = tmp_path / "ticket.toml"
    ticket.write_text('tire = "\\u001b[2J"\n"\\u202e" = "x"\n')
    tame(run("ticket", "1", ticket))


def test_the_sealed_bytes_go_to_a_file_as_they_are_and_to_a_terminal_as_letters(
    made: tuple[Bench, int], monkeypatch: pytest.MonkeyPatch, capfdbinary: pytest.CaptureFixture[bytes]
) -> None:
    put(b'{"note":"\xc2\x9b31m\x7f"}')
    assert capfdbinary.readouterr().out == b'{"note":"\xc2\x9b31m\x7f"}', "whoever hashes them needs every bit"
    monkeypatch.setattr("sys.stdout.isatty", lambda: True, raising=False)
    put(b'{"note":"\xc2\x9b31m\x7f"}')
    assert json.loads(capfdbinary.readouterr().out) == {"note": "\x9b31m\x7f"}, "still the same JSON"


def test_an_error_is_told_as_letters() -> None:
    assert not dangerous("".join(words_of(ValueError(BAD))))


def test_the_recorders_log_is_letters_whatever_an_instrument_says(capsys: pytest.CaptureFixture[str]) -> None:
    log_line(f"P1: port lost, it said {BAD}\nforged line")
    said = capsys.readouterr().err
    assert not dangerous(said) and said.count("\n") == 1 and "[red]x[/red]" in said

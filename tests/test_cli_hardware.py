"""ports, check, setup and the login recipes from the command line; a recorder and a terminal where they matter."""

from __future__ import annotations

import json
import os
import select
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from press_monitor.callout import Horn
from press_monitor.cli import cli
from press_monitor.console import MOST_LINES
from press_monitor.paths import HOME_VARIABLE
from press_monitor.recorder.horn import HornThread
from press_monitor.recorder.recorder import Recorder
from press_monitor.shop import load_shop
from tests.drivers.wires import instrument
from tests.shopfiles import SHOP

ROOT = Path(__file__).resolve().parent.parent
POSIX = pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pseudo-terminal pairs")
LINE = """
[presses.P2]
driver = "text-line"
recipe = "section-300"
port = "{}"
options = {{ labels = {{ T1 = "inner_mat[degF]", P = "bag[psi]" }} }}
"""


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    at = tmp_path / "home"
    monkeypatch.setenv(HOME_VARIABLE, str(at))
    return at


def run(*words: object) -> Result:
    return CliRunner().invoke(cli, [str(word) for word in words], prog_name="press-monitor")


def write_shop(folder: Path, more: str = "") -> Path:
    path = folder / "shop.toml"
    path.write_text(SHOP + more, "utf-8")
    return path


def test_ports_without_a_shop_file_are_listed_and_used_by_nobody() -> None:
    done = run("ports", "--json")
    assert done.exit_code == 0
    for row in json.loads(done.stdout)["ports"]:
        assert set(row) == {
            *("device", "wanted", "description", "used_by", "there", "note"),
            *("vid", "pid", "serial_number", "location"),
        }
        assert row["used_by"] == []


def test_a_wanted_port_that_is_not_there_is_a_problem(tmp_path: Path) -> None:
    shop = write_shop(tmp_path, LINE.format("/dev/no-such-port"))
    done = run("ports", "--shop", shop, "--json")
    assert done.exit_code == 1
    missing = [row for row in json.loads(done.stdout)["ports"] if row["there"] is False]
    assert [(row["device"], row["used_by"]) for row in missing] == [(None, ["P2"])]
    said = run("ports", "--shop", shop)
    assert "used by P2" in said.stdout and "/dev/no-such-port is not there" in said.stdout


def test_ports_of_a_shop_file_that_is_missing_or_bad(tmp_path: Path) -> None:
    for shop in (tmp_path / "none.toml", write_shop(tmp_path, "nonsense")):
        done = run("ports", "--shop", shop)
        assert done.exit_code == 2 and 1 <= len(done.stderr.splitlines()) <= MOST_LINES and not done.stdout


def findings(*words: object) -> dict[tuple[str, str | None], str]:
    done = run("check", *words, "--json")
    told = json.loads(done.stdout)
    assert done.exit_code == (0 if told["ok"] else 1)
    for finding in told["findings"]:
        assert set(finding) == {"check", "state", "words", "do", "press"}
        assert bool(finding["do"]) or finding["state"] != "problem"
    return {(finding["check"], finding["press"]): finding["state"] for finding in told["findings"]}


def test_a_new_installation_is_checked_before_anything_ran(tmp_path: Path) -> None:
    found = findings("--shop", write_shop(tmp_path))
    assert set(found) == {
        *(("shop file", None), ("recorder", None), ("horn", None), ("phone", None), ("calibration", None)),
        *(("clock", None), ("disk", None), ("archive", None), ("key", None), ("power", None)),
    }
    assert "problem" not in found.values()
    said = run("check", "--shop", write_shop(tmp_path))
    assert "nothing is wrong" in said.stderr and "-> [horn] in the shop file" in said.stdout


def test_a_missing_shop_file_and_a_missing_port_are_problems_said_in_words(tmp_path: Path) -> None:
    assert findings()[("shop file", None)] == "problem"
    shop = write_shop(tmp_path, LINE.format("/dev/no-such-port"))
    assert findings("--shop", shop, "--listen", 0)[("port", "P2")] == "problem"
    said = run("check", "--shop", shop)
    assert "PROBLEM  readings     P2: /dev/no-such-port: is not there" in said.stdout
    assert said.exit_code == 1 and "problems" in said.stderr


@POSIX
def test_an_instrument_is_listened_to_and_a_wrong_form_is_noticed(tmp_path: Path) -> None:
    def answer(question: bytes) -> bytes:
        return b"T1=300 P=32\n" if question == b"good" else b"\xf0\x9f\x12 P\n"

    for question, state in (("good", "fine"), ("bad", "problem")):
        with instrument(answer) as port:
            asked = LINE.format(port).replace("options = {", f'options = {{ ask = "{question}\\r",')
            shop = write_shop(tmp_path, asked)
            assert findings("--shop", shop, "--listen", 0.5)[("readings", "P2")] == state


def test_keys_are_listed() -> None:
    done = run("check", "--keys")
    assert done.exit_code == 0
    assert "recipes.NAME.hold_temperature" in done.stdout and "options of text-line" in done.stdout
    told = json.loads(run("check", "--keys", "--json").stdout)["keys"]
    assert {"file", "path", "required", "words", "example"} == set(told[0]) and len(told) > 150


def test_nobody_to_ask_is_one_line(tmp_path: Path) -> None:
    done = run("check", "--test", "horn")
    assert done.exit_code == 2 and len(done.stderr.splitlines()) == 1


class Line:
    """A control line that only remembers."""

    def __init__(self) -> None:
        self.on = threading.Event()

    def open(self) -> None:
        return

    def set(self, on: bool) -> None:
        if on:
            self.on.set()

    def close(self) -> None:
        return


def test_with_a_recorder_running_nothing_is_opened_and_the_horn_can_be_tested(tmp_path: Path, home: Path) -> None:
    shop = write_shop(tmp_path, '\n[horn]\nport = "loop://"\n')
    archive, line = home / "archive.sqlite", Line()
    recorder = Recorder(
        load_shop(shop), archive, home / "keys" / "ledger.key", horn=HornThread(Horn("loop://", "dtr"), line)
    )
    recorder.start()
    running = threading.Thread(target=recorder.run)
    running.start()
    try:
        end = time.monotonic() + 20.0
        while (found := findings("--shop", shop)).get(("port", "P1")) != "fine":
            assert time.monotonic() < end, found
        assert found[("recorder", None)] == "fine" and ("readings", "P1") not in found
        assert found[("horn", None)] == "note", "never tested"
        assert found[("key", None)] == found[("archive", None)] == "fine"
        sounded = run("check", "--test", "horn")
        assert sounded.exit_code == 0 and "--heard horn" in sounded.stderr and line.on.wait(10.0)
        heard = run("check", "--heard", "horn", "--by", "Ada")
        assert heard.exit_code == 0 and "is known to work" in heard.stderr
        assert findings("--shop", shop)[("horn", None)] == "fine"
        again = run("check", "--heard", "horn")
        assert again.exit_code == 1 and "test the horn first" in again.stderr
        phone = run("check", "--test", "phone")
        assert phone.exit_code == 1 and "no phones" in phone.stderr
    finally:
        recorder.stop()
        running.join(10.0)
        recorder.close()


def test_setup_without_a_terminal_says_what_to_do(home: Path) -> None:
    done = run("setup")
    assert done.exit_code == 2 and not done.stdout
    assert str(home / "shop.toml") in done.stderr and len(done.stderr.splitlines()) <= MOST_LINES
    assert not home.exists()


def test_without_a_shop_file_setup_is_offered() -> None:
    done = run()
    assert done.exit_code == 2 and "press-monitor setup" in done.stderr and "press-monitor demo" in done.stderr


class Terminal:
    """A command in a terminal of its own; answers are typed when it asks."""

    def __init__(self, *words: str):
        self.master, slave = os.openpty()
        self.process = subprocess.Popen(
            [sys.executable, "-m", "press_monitor", *words],
            cwd=ROOT,
            stdin=slave,
            stdout=slave,
            stderr=slave,
            start_new_session=True,
        )
        os.close(slave)
        self.seen = ""

    def until(self, text: str, deadline: float = 30.0) -> None:
        end = time.monotonic() + deadline
        while text not in self.seen:
            assert time.monotonic() < end, f"waited for {text!r}; seen: {self.seen[-2000:]}"
            if select.select([self.master], [], [], 0.2)[0]:
                try:
                    self.seen += os.read(self.master, 4096).decode(errors="replace")
                except OSError:
                    assert text in self.seen, self.seen[-2000:]

    def answer(self, question: str, given: str) -> None:
        self.until(question)
        self.seen = self.seen.partition(question)[2]
        self.until("> ")
        self.seen = self.seen.partition("> ")[2]
        os.write(self.master, given.encode() + b"\n")

    def __enter__(self) -> Terminal:
        return self

    def __exit__(self, *_: object) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait(30.0)
        os.close(self.master)


@POSIX
def test_setup_in_a_terminal_goes_from_nothing_to_a_shop_file_that_reads(home: Path) -> None:
    with instrument(lambda question: b"T1=300.1 F P=32\r\n") as port:
        began = time.monotonic()
        with Terminal("setup") as terminal:
            terminal.answer("What is your shop called?", "Juniper Flat")
            terminal.answer("Which units", "")
            terminal.answer("short name", "P1")
            terminal.answer("people call it", "<")
            terminal.answer("short name", "")
            terminal.answer("people call it", "North")
            terminal.answer("How does its instrument speak?", "2")
            terminal.answer("Which port", "other")
            terminal.answer("device name or address", port)
            terminal.answer("want to be asked", r"?\r")
            terminal.answer("T1 reads 300.1 degF", "inner_mat")
            terminal.answer("P reads 32", "bag")
            terminal.answer("In which unit", "psi")
            terminal.until("bag 32.00 psi")
            terminal.answer("Is that right?", "yes")
            terminal.until("P1 is in the shop file")
            assert terminal.process.wait(30.0) == 0
        seconds = time.monotonic() - began
        assert findings("--listen", 2)[("readings", "P1")] == "fine"
    shop = load_shop(home / "shop.toml")
    assert shop.presses["P1"].title == "North" and shop.presses["P1"].options["ask"] == "?\r"
    # Ten minutes are promised for people; what the program itself takes is next to nothing of that.
    assert seconds < 60.0


@pytest.mark.parametrize("system", ["systemd", "windows"])
def test_login_recipes_name_this_shops_files(system: str, home: Path) -> None:
    done = run("recorder", "--login-recipe", "--for", system)
    assert done.exit_code == 0 and "press_monitor.recorder" in done.stdout
    for path in (home / "shop.toml", home / "archive.sqlite", home / "keys" / "ledger.key"):
        assert str(path) in done.stdout
    assert ("not been run on Windows" in done.stderr) == (system == "windows")
    assert not home.exists()


def test_help_stays_cheap_with_all_that() -> None:
    heavy = ("serial", "tomlkit", "numpy", "apprise")
    code = f"import press_monitor.cli, sys; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_the_workflow_for_windows_is_marked_as_not_run() -> None:
    text = (ROOT / ".github" / "workflows" / "windows.yml").read_text("utf-8")
    assert "not been run" in text and "windows-latest" in text

"""What the README tells people to type, typed as it stands there."""

from __future__ import annotations

import contextlib
import json
import os
import re
import select
import shlex
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from press_monitor.cli import cli

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text("utf-8")


def block_after(mark: str) -> list[str]:
    """The command lines of the code block that follows a mark."""
    found = re.search(rf"<!-- {re.escape(mark)} -->\n```\w+\n(.*?)\n```", README, re.DOTALL)
    assert found, f"README.md has lost the block after {mark!r}"
    return [line for line in found.group(1).splitlines() if line.strip() and not line.startswith("#")]


def only(mark: str) -> str:
    lines = block_after(mark)
    assert len(lines) == 1, f"{mark} is to be one line"
    return lines[0]


def test_each_of_the_two_commands_is_one_line_with_its_windows_form_beside() -> None:
    assert only("command: demo").endswith("press-monitor demo")
    assert only("command: tests").endswith("-m pytest -n auto --dist loadfile")
    windows = [line for line in README.splitlines() if ".venv\\Scripts\\" in line]
    as_posix = [line.replace("\\", "/").replace(".venv/Scripts", ".venv/bin") for line in windows]
    assert as_posix == [only("command: demo").replace("python3 -m venv", "py -m venv"), only("command: tests")]


def test_every_command_it_names_exists() -> None:
    named = set(re.findall(r"press-monitor ([a-z][a-z-]*)", README))
    assert named
    assert named <= set(cli.commands)


def test_the_alarms_it_lists_are_those_the_watch_knows() -> None:
    from press_monitor.watch.kinds import KINDS

    rows = re.findall(r"^\| (`[a-z-]+`[^|]*) \|", README, re.MULTILINE)
    listed = [kind for row in rows for kind in re.findall(r"`([a-z-]+)`", row)]
    # People are told `above-profile`, of high priority, for what is kept apart inside as above the maximum.
    assert sorted(listed) == sorted(set(KINDS) - {"above-maximum"})


def test_links_lead_somewhere() -> None:
    for target in re.findall(r"\]\(([^)#]+)\)", README):
        if "://" not in target:
            assert (ROOT / target).exists(), target


def test_it_ends_with_the_changelog() -> None:
    assert re.findall(r"^## (.+)$", README, re.MULTILINE)[-1] == "Changelog"


def ran_as_written(mark: str, folder: Path) -> list[tuple[str, int, str]]:
    """Each command of a block, run in a folder beside a copy of the logs: its name, exit code and data."""
    shutil.copytree(ROOT / "simulated_logs", folder / "simulated_logs")
    env = {**os.environ, "PRESS_MONITOR_HOME": str(folder / "home"), "PYTHONPATH": str(ROOT)}
    told = []
    for line in block_after(mark):
        program, *words = shlex.split(line)
        assert program == ".venv/bin/press-monitor"
        ran = subprocess.run(
            [sys.executable, "-m", "press_monitor", *words],
            cwd=folder,
            env=env,
            capture_output=True,
            encoding="utf-8",
            timeout=120,
            check=False,
        )
        assert ran.returncode != 2, ran.stderr
        told.append((words[0], ran.returncode, ran.stdout))
    return told


def test_the_commands_of_the_science_do_what_is_said(tmp_path: Path) -> None:
    plan, fit, platinum, loop, science = ran_as_written("command: science", tmp_path)
    assert plan[:2] == ("plan", 0)
    for said in ("cautious edge", "fast cool-down", "Published government rule", "Common practice", "O"):
        assert said in plan[2]
    assert fit[:2] == ("fit", 0)
    assert "Diffusivity" in fit[2]
    assert "Residuals" in fit[2]
    # IEC 60751's table: 157.3251 ohm at 150 degC; 13.2 mA of 4-20 mA over 60 psi are 34.5 psi.
    assert float(re.findall(r"([\d.]+) degC", platinum[2])[0]) == pytest.approx(149.93, abs=0.02)
    assert "34.5 psi" in loop[2]
    assert "measuring" in loop[2]
    assert science[:2] == ("check", 0)
    assert "WRONG" not in science[2]


def test_the_commands_to_look_at_a_log_do_what_is_said(tmp_path: Path) -> None:
    told = {name: (code, data) for name, code, data in ran_as_written("command: look", tmp_path)}
    assert set(told) == {"replay", "records", "certificate", "verify", "plan", "thermocouple", "check"}
    assert told["replay"][0] == 1
    assert "bag-burst" in told["replay"][1].lower()
    assert "fail" in told["records"][1]
    assert "Certificate 1: fail" in told["certificate"][1]
    assert told["verify"][0] == 0
    assert told["plan"][0] == 0
    # K: 9.34 mV + E(75 degF = 23.889 degC) = 0.955 mV; E^-1(10.295 mV) is close to 253.3 degC (NIST SRD 60).
    assert told["thermocouple"][1].endswith("degC\n")
    assert float(told["thermocouple"][1].split()[-2]) == pytest.approx(253.3, abs=0.5)
    assert told["check"][0] == 0
    assert "bag-burst" in told["check"][1]
    assert "the same" in told["check"][1]


# -- the two commands, from a clean clone in an empty home --

NO_NETWORK = (
    "NewConnectionError",
    "Temporary failure in name resolution",
    "No route to host",
    "Network is unreachable",
)
ESCAPE = re.compile(r"\x1b(?:\[[0-?]*[ -/]*[@-~]|\][^\x07]*\x07|P[^\x1b]*\x1b\\\\|.)")


@pytest.fixture(scope="module")
def clone(tmp_path_factory: pytest.TempPathFactory) -> Path:
    if not (ROOT / ".git").exists() or shutil.which("git") is None:
        pytest.skip("not in a git checkout, so there is nothing to clone")
    at = tmp_path_factory.mktemp("clean") / "press-monitor"
    subprocess.run(["git", "clone", "-q", str(ROOT), str(at)], check=True, timeout=60)
    return at


@pytest.fixture
def fresh(clone: Path) -> dict[str, str]:
    """The environment of somebody new: an empty home, none of ours, the same Python first on the path."""
    home = clone.parent / "home"
    (home / "tmp").mkdir(parents=True, exist_ok=True)
    ours = ("PYTHON", "PYTEST", "VIRTUAL_ENV", "XDG_", "PRESS_MONITOR", "COVERAGE", "TEXTUAL", "TMUX")
    kept = {name: value for name, value in os.environ.items() if not name.startswith(ours)}
    path = f"{Path(sys.base_prefix) / 'bin'}{os.pathsep}{kept.get('PATH', '')}"
    # Half of an install's time goes into bytecode of all that is never imported here.
    kept["PIP_COMPILE"] = "0"
    return {**kept, "HOME": str(home), "TMPDIR": str(home / "tmp"), "PATH": path, "TERM": "xterm-256color"}


def skip_without_network(told: str) -> None:
    if any(word in told for word in NO_NETWORK) and not os.environ.get("CI"):
        pytest.skip("no network: the packages could not be fetched, so the README's commands were NOT tried")


@contextlib.contextmanager
def in_a_terminal(line: str, folder: Path, env: dict[str, str]) -> Iterator[tuple[subprocess.Popen[bytes], int]]:
    """A shell line in a pseudo-terminal of 80x24 of its own, and the end we hold."""
    import fcntl
    import pty
    import struct
    import termios

    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    child = subprocess.Popen(
        ["bash", "-c", line],
        cwd=folder,
        env=env,
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        start_new_session=True,
    )
    os.close(theirs)
    try:
        yield child, ours
    finally:
        if child.poll() is None:
            os.killpg(child.pid, signal.SIGKILL)
            child.wait()
        os.close(ours)


def read_until(
    ours: int, child: subprocess.Popen[bytes], seen: list[str], words: tuple[str, ...], within: float
) -> bool:
    """Read what is drawn until all the words stood there; False when the time is over or the program has ended."""
    ends = time.monotonic() + within
    while time.monotonic() < ends:
        ready, _, _ = select.select([ours], [], [], 0.2)
        if ready:
            try:
                seen[0] += os.read(ours, 65536).decode("utf-8", "replace")
            except OSError:
                return False
        shown = ESCAPE.sub(" ", seen[0])
        if all(word in shown for word in words):
            return True
        if not ready and child.poll() is not None:
            return False
    return False


@pytest.mark.install
@pytest.mark.timeout(500)
@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
def test_the_first_command_opens_the_demo_on_a_fresh_machine(clone: Path, fresh: dict[str, str]) -> None:
    seen = [""]
    with in_a_terminal(only("command: demo"), clone, fresh) as (child, ours):
        # The four presses, drawn with their data.
        opened = read_until(ours, child, seen, ("North", "South", "Long arm", "Small", "psi"), 400)
        skip_without_network(seen[0])
        assert opened, ESCAPE.sub(" ", seen[0])[-3000:]
        os.write(ours, b"q")
        asked = read_until(ours, child, seen, ("Close this dashboard?",), 20)
        assert asked, ESCAPE.sub(" ", seen[0])[-3000:]
        os.write(ours, b"\r")
        # the terminal closes a moment before the shell that ran it has ended
        read_until(ours, child, seen, ("\0never",), 60)
        assert child.wait(timeout=60) == 0, ESCAPE.sub(" ", seen[0])[-3000:]
    installed = subprocess.run(
        [".venv/bin/press-monitor", "paths", "--json"], cwd=clone, env=fresh, capture_output=True, check=True
    )
    assert all(Path(place).is_relative_to(clone.parent / "home") for place in json.loads(installed.stdout).values())
    where = "import drivers, press_monitor; print(drivers.__path__[0]); print(press_monitor.__path__[0])"
    found = subprocess.run(
        [str(clone / ".venv/bin/python"), "-c", where], cwd=clone.parent, env=fresh, capture_output=True, check=True
    )
    assert found.stdout.decode().split() == [str(clone / "drivers"), str(clone / "press_monitor")]


@pytest.mark.install
@pytest.mark.timeout(500)
@pytest.mark.skipif(sys.platform == "win32", reason="the README's POSIX form")
def test_the_second_command_runs_the_tests(clone: Path, fresh: dict[str, str]) -> None:
    if not (clone / ".venv").exists():
        pytest.skip("the first command has made no environment here")
    # One quick file stands for the suite, which is running this very test.
    env = {**fresh, "PYTEST_ADDOPTS": "tests/test_layers.py", "PYTEST_XDIST_AUTO_NUM_WORKERS": "1"}
    ran = subprocess.run(
        ["bash", "-c", only("command: tests")],
        cwd=clone,
        env=env,
        capture_output=True,
        text=True,
        timeout=400,
        check=False,
    )
    skip_without_network(ran.stdout + ran.stderr)
    assert ran.returncode == 0, (ran.stdout + ran.stderr)[-3000:]
    assert re.search(r"\d+ passed", ran.stdout)

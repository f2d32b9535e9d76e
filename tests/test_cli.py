"""The command line's contract: what goes where, in which form, with which exit code."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner, Result

from press_monitor.cli import cli
from press_monitor.console import MOST_LINES, words_of
from press_monitor.paths import HOME_VARIABLE

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(autouse=True)
def _home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(HOME_VARIABLE, str(tmp_path / "home"))


def run(*words: str) -> Result:
    return CliRunner().invoke(cli, list(words), prog_name="press-monitor")


def program(*words: str, **more: Any) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "press_monitor", *words],
        cwd=ROOT,
        capture_output=True,
        encoding="utf-8",
        timeout=60,
        check=False,
        **more,
    )


def report(*words: str) -> Any:
    done = run(*words, "--json")
    assert done.exit_code == 0, done.stderr
    return json.loads(done.stdout)


# Reference values: ITS-90 reference functions (NIST SRD 60 tables; IEC 60584-1).
@pytest.mark.parametrize(
    ("words", "mv", "celsius"),
    [
        (("K", "--temp", "-40 degC"), -1.5270, -40.0),
        (("k", "--temp=-40 degF"), -1.5270, -40.0),
        (("K", "--mv", "-1.527"), -1.5270, -40.001),
        (("J", "--mv", "8.010"), 8.010, 150.002),
        (("T", "--temp", "212 degF"), 4.2785, 100.0),
        # Cold junction by adding emfs: K at 100 degC against 25 degC gives 4.0962 - 1.0002 mV.
        (("K", "--temp", "100 degC", "--cold-junction", "25 degC"), 3.0960, 100.0),
        (("K", "--mv", "3.0960", "--cold-junction", "77 degF"), 3.0960, 100.0),
    ],
)
def test_thermocouple(words: tuple[str, ...], mv: float, celsius: float) -> None:
    told = report("thermocouple", *words)
    assert told["mv"] == pytest.approx(mv, abs=6e-4)
    assert told["temperature_degC"] == pytest.approx(celsius, abs=2e-3)
    assert f"{told['temperature_degC']:.3f} degC" in run("thermocouple", *words).stdout


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("K",), "either --mv or --temp"),
        (("K", "--mv", "1", "--temp", "1 degC"), "either --mv or --temp"),
        (("X", "--mv", "1"), "'X'"),
        (("K", "--mv", "nan"), "'nan'"),
        (("K", "--mv", "inf"), "'inf'"),
        (("K", "--mv", "warm"), "'warm'"),
        (("K", "--mv", "99"), "99"),
        (("K", "--temp", "9999 degC"), "9999"),
        (("K", "--temp", "40"), "'40'"),
        (("K", "--temp", "40 degX"), "degX"),
        (("K", "--temp", "40 psi"), "psi"),
        (("K", "--temp", "40 degC", "--cold-junction", "hot"), "hot"),
        (("B", "--mv", "0.001"), "B"),
    ],
)
def test_thermocouple_refuses(words: tuple[str, ...], says: str) -> None:
    done = run("thermocouple", *words, "--json")
    assert done.exit_code == 2
    assert done.stdout == ""
    assert says in done.stderr
    assert len(done.stderr.strip().splitlines()) <= MOST_LINES


def test_paths_all_lie_in_the_home_that_is_named(tmp_path: Path) -> None:
    told = report("paths")
    assert set(told) == {"shop_file", "archive", "signing_key", "public_key", "backups", "recorder_log"}
    assert all(Path(place).is_relative_to(tmp_path / "home") for place in told.values())
    assert told["archive"] in run("paths").stdout
    assert report("paths", "--archive", str(tmp_path / "a.sqlite"))["archive"] == str(tmp_path / "a.sqlite")
    assert not (tmp_path / "home").exists()


def test_an_option_before_the_command_counts_for_it(tmp_path: Path) -> None:
    told = report("--archive", str(tmp_path / "b.sqlite"), "paths")
    assert told["archive"] == str(tmp_path / "b.sqlite")


def test_no_command_and_no_shop_file_offers_the_demo_and_asks_nothing() -> None:
    done = program(input="y\n", env={**os.environ})
    assert done.returncode == 2
    assert done.stdout == ""
    assert "no shop file" in done.stderr
    assert "press-monitor demo" in done.stderr
    assert "?" not in done.stderr


def test_help_names_every_command_and_what_it_is_not() -> None:
    told = program("--help").stdout
    for command in (
        "demo",
        "recorder",
        "replay",
        "records",
        "certificate",
        "verify",
        "paths",
        "thermocouple",
        "plan",
        "fit",
    ):
        assert command in told
    assert "no safety device" in " ".join(told.split())
    assert program("--version").stdout.startswith("press-monitor, version ")


def test_unknown_words_end_with_two() -> None:
    for words in (("bake",), ("paths", "--jsno"), ("certificate", "one"), ("replay",)):
        done = program(*words)
        assert done.returncode == 2
        assert done.stdout == ""
        assert 1 <= len(done.stderr.strip().splitlines()) <= MOST_LINES


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys\nfrom press_monitor.cli import cli\n"
        "try: cli(['--help'])\nexcept SystemExit: pass\n"
        "print(sorted({m.split('.')[0] for m in sys.modules} & set(sys.argv[1:])))"
    )
    heavy = [
        "textual",
        "rich",
        "numpy",
        "sqlite3",
        "sqlite_utils",
        "reportlab",
        "cryptography",
        "serial",
        "pymodbus",
    ]
    heavy += ["tomlkit", "tomllib", "platformdirs", "filelock", "rfc8785", "asyncio"]
    ran = subprocess.run([sys.executable, "-c", code, *heavy], cwd=ROOT, capture_output=True, text=True, check=True)
    assert ran.stdout.splitlines()[-1] == "[]"


def test_a_reader_that_hangs_up_is_no_error() -> None:
    code = "import os, sys; os.close(0)\nfrom press_monitor.cli import main; main()"
    with subprocess.Popen(
        [sys.executable, "-c", code, "paths"], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as child:
        assert child.stdout is not None
        assert child.stderr is not None
        child.stdout.close()
        assert child.stderr.read() == b""
        assert child.wait(30) == 0


def test_output_is_utf_8_whatever_the_console_claims(tmp_path: Path) -> None:
    home = tmp_path / "hütte-修理"
    done = program("paths", "--json", env={**os.environ, HOME_VARIABLE: str(home), "PYTHONIOENCODING": "ascii"})
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["archive"].startswith(str(home))


def test_a_fault_of_ours_is_one_clear_line_and_no_traceback(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(_: object = None) -> None:
        raise RuntimeError("drawer is stuck")

    monkeypatch.setattr("press_monitor.paths.locations", broken)
    done = run("paths", "--json")
    assert done.exit_code == 2
    assert done.stdout == ""
    assert "a fault in the program" in done.stderr
    assert "drawer is stuck" in done.stderr
    assert "Traceback" not in done.stderr
    monkeypatch.setenv("PRESS_MONITOR_DEBUG", "1")
    assert isinstance(run("paths").exception, RuntimeError)


def test_errors_keep_to_four_printable_lines() -> None:
    from press_monitor.quantities import QuantityError

    told = words_of(QuantityError("\n".join(f"line {n} \x1b[2J" for n in range(9))))
    assert len(told) == MOST_LINES
    assert told[0] == "press-monitor: line 0 \\x1b[2J"
    assert all(line.isprintable() for line in told)
    assert words_of(FileNotFoundError(2, "No such file or directory", "cure.csv")) == [
        "press-monitor: cure.csv: No such file or directory"
    ]
    assert words_of(QuantityError(""))[0] == "press-monitor: QuantityError"


def test_interrupting_is_not_finding_a_problem(monkeypatch: pytest.MonkeyPatch) -> None:
    def stopped(_: object = None) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("press_monitor.paths.locations", stopped)
    assert run("paths").exit_code == 130
    assert not isinstance(run("paths").exception, click.Abort)


def test_screens_without_a_terminal_are_refused_and_nothing_is_made(tmp_path: Path) -> None:
    from tests.shopfiles import write_job

    shop = write_job(tmp_path / "job")["shop"]
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    env = {**os.environ, "TMPDIR": str(scratch), "TEMP": str(scratch), "TMP": str(scratch)}
    for words in (("demo",), ("--shop", str(shop))):
        done = program(*words, stdin=subprocess.DEVNULL, env=env)
        assert (done.returncode, done.stdout) == (2, "")
        assert "terminal" in done.stderr
        assert len(done.stderr.splitlines()) == 1
    assert not list(scratch.iterdir())
    assert not (tmp_path / "home").exists()


@pytest.mark.parametrize("words", [("--speed", "0"), ("--speed", "fast"), ("--speed", "1e9"), ("--presses", "0")])
def test_a_demo_that_makes_no_sense(words: tuple[str, ...]) -> None:
    done = run("demo", *words)
    assert done.exit_code == 2
    assert words[0] in done.stderr


def test_a_broken_shop_file_stops_dashboard_and_recorder(tmp_path: Path) -> None:
    broken = tmp_path / "shop.toml"
    broken.write_text('[shop]\nname = "Juniper Flat"\nunits = "stone"\n', "utf-8")
    for words in (
        ("--shop", str(broken)),
        ("recorder", "--shop", str(broken), "--archive", str(tmp_path / "a.sqlite")),
    ):
        done = program(*words)  # a process of its own: a recorder sees to signals
        assert done.returncode == 2
        assert "shop.toml:3: shop.units" in done.stderr
        assert len(done.stderr.splitlines()) == 1
    assert not list(tmp_path.glob("a.sqlite*"))


def test_stopping_where_no_recorder_runs_is_fine(tmp_path: Path) -> None:
    done = run("recorder", "--stop", "--archive", str(tmp_path / "none.sqlite"))
    assert done.exit_code == 0
    assert done.stdout == ""
    assert "no recorder" in done.stderr
    assert not list(tmp_path.glob("none*"))

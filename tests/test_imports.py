"""What each command loads: the large packages only where they are used, each command in a process of its own."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
LOGS = ROOT / "simulated_logs"
LARGE = frozenset({"textual", "rich", "reportlab", "pymodbus", "sqlite_utils", "apprise"})
ASK = """
import json, sys
from press_monitor.cli import cli
code = 0
try:
    cli(sys.argv[1:])
except SystemExit as end:
    code = end.code
sys.stdout.flush()
print()
print(json.dumps([code, sorted({name.split(".")[0] for name in sys.modules})]))
"""


def modules_after(code: str) -> set[str]:
    """The modules of a process of its own that ran some code."""
    asked = f"{code}\nimport json, sys\nprint(json.dumps(sorted(sys.modules)))"
    ran = subprocess.run(
        [sys.executable, "-c", asked], cwd=ROOT, capture_output=True, text=True, timeout=60, check=True
    )
    return set(json.loads(ran.stdout.splitlines()[-1]))


def loaded_by(*words: str) -> set[str]:
    """Top-level modules after a command that must end well."""
    ran = subprocess.run([sys.executable, "-c", ASK, *words], cwd=ROOT, capture_output=True, text=True, timeout=60)
    code, names = json.loads(ran.stdout.splitlines()[-1])
    assert not code, ran.stderr
    return set(names)


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> str:
    path = tmp_path_factory.mktemp("imports") / "cures.sqlite"
    given = ["replay", str(LOGS / "good-thin.csv"), "--recipe", "section-300", "--archive", str(path)]
    given += ["--shop", str(LOGS / "shop.toml"), "--repair", str(LOGS / "repair-thin.toml")]
    code = f"from press_monitor.cli import cli; cli({given!r})"
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, timeout=120)
    assert path.is_file()
    return str(path)


def test_help_loads_click_and_hardly_more() -> None:
    loaded = loaded_by("--help")
    assert "click" in loaded
    assert not loaded & (LARGE | {"numpy", "sqlite3", "cryptography", "serial", "tomlkit"})


@pytest.mark.parametrize(
    "words",
    [
        ("records", "--archive"),
        ("verify", "--archive"),
        ("certificate", "1", "--archive"),
        ("stores", "--archive"),
    ],
)
def test_looking_at_records_loads_nothing_large(words: tuple[str, ...], archive: str) -> None:
    loaded = loaded_by(*words, archive)
    assert "sqlite3" in loaded and not loaded & LARGE


def test_a_list_of_records_loads_no_numpy(archive: str) -> None:
    assert not loaded_by("records", "--archive", archive) & {"numpy", "cryptography", "filelock"}


@pytest.mark.parametrize(
    "words",
    [
        ("thermocouple", "K", "--mv", "9.34"),
        ("plan", "--repair", str(LOGS / "repair-44mm.toml"), "--shop", str(LOGS / "shop.toml"), "--mat", "300 degF"),
    ],
)
def test_the_science_loads_no_database_either(words: tuple[str, ...]) -> None:
    loaded = loaded_by(*words)
    assert "numpy" in loaded and not loaded & (LARGE | {"sqlite3", "cryptography"})


def test_only_a_page_loads_the_page_maker(archive: str, tmp_path: Path) -> None:
    loaded = loaded_by("certificate", "1", "--archive", archive, "--pdf", str(tmp_path / "one.pdf"))
    assert loaded & LARGE == {"reportlab"}


def test_the_recorder_loads_no_screen_no_page_and_no_protocol_it_has_no_instrument_for() -> None:
    loaded = {name.split(".")[0] for name in modules_after("import press_monitor.recorder.recorder")}
    assert "sqlite3" in loaded and not loaded & LARGE


def test_the_floor_waits_for_nothing_that_it_does_not_show(tmp_path: Path) -> None:
    loaded = modules_after(f"""
from unittest.mock import patch
import press_monitor.cli
from press_monitor.recorder import launch
from press_monitor.screens import app
with (
    patch.object(press_monitor.cli, "_has_terminal", lambda: True),
    patch.object(launch, "start_detached", lambda *_: 1),
    patch.object(app.Dashboard, "run", lambda self: None),
):
    press_monitor.cli.cli(["--shop", {str(LOGS / "shop.toml")!r}, "--archive", {str(tmp_path / "no.sqlite")!r}],
                          standalone_mode=False)
""")
    assert {"textual", "press_monitor.screens.floor.screen"} <= loaded
    late = {"serial", "press_monitor.setup.steps", "press_monitor.archive.search", "press_monitor.archive.stores"}
    late |= {"press_monitor.recorder.recorder", "press_monitor.cure.walls", "press_monitor.screens.press.screen"}
    assert not loaded & (late | (LARGE - {"textual", "rich"}))

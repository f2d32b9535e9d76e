"""The arrows between the layers, checked in a process of their own."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent

CORE = ["quantities", "readings", "cure", "watch", "shop", "archive", "audit", "certificate"]
DRAWING = {"textual", "reportlab", "rich"}


def loaded_after(code: str) -> set[str]:
    """Top-level modules that a fresh interpreter holds after `code`."""
    ask = f"{code}\nimport sys, json\nprint(json.dumps(sorted({{m.split('.')[0] for m in sys.modules}})))"
    ran = subprocess.run([sys.executable, "-c", ask], cwd=ROOT, capture_output=True, text=True, timeout=60, check=True)
    return set(json.loads(ran.stdout.splitlines()[-1]))


def modules_under(package: str) -> list[str]:
    folder = ROOT / "press_monitor" / package
    if not folder.is_dir():
        return [f"press_monitor.{package}"]
    found = [p.relative_to(ROOT).with_suffix("") for p in sorted(folder.rglob("*.py"))]
    return [".".join(p.parts).removesuffix(".__init__") for p in found]


def test_no_core_module_loads_a_screen_or_a_page_maker() -> None:
    names = [name for package in CORE for name in modules_under(package)]
    assert len(names) > len(CORE)
    loaded = loaded_after("\n".join(f"import {name}" for name in names))
    assert "press_monitor" in loaded
    assert not loaded & DRAWING


def test_the_science_and_the_watch_load_no_database_and_no_port() -> None:
    names = [name for package in ["quantities", "readings", "cure", "watch"] for name in modules_under(package)]
    loaded = loaded_after("\n".join(f"import {name}" for name in names))
    assert not loaded & {"sqlite3", "sqlite_utils", "serial", "click", "cryptography", "pymodbus"}


def test_the_check_sees_a_screen_when_one_is_loaded() -> None:
    assert "textual" in loaded_after("import textual")


def test_the_generic_name_drivers_is_ours() -> None:
    code = "import drivers, drivers.base, pathlib; print(pathlib.Path(drivers.__file__).resolve().parent)"
    ran = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, timeout=60, check=True)
    assert Path(ran.stdout.strip()) == ROOT / "drivers"


def test_every_registered_driver_loads_and_fits_the_interface() -> None:
    import tomllib

    from drivers.base import Driver

    named = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]["entry-points"]
    for name, target in named["press_monitor.drivers"].items():
        module, _, attribute = target.partition(":")
        made = getattr(__import__(module, fromlist=[attribute]), attribute)
        missing = [call for call in ("open", "read", "close") if not callable(getattr(made, call, None))]
        assert not missing, f"driver {name} lacks {missing}"
        assert issubclass(made, Driver)


@pytest.mark.parametrize("hidden", ["_pytest", "hypothesis"])
def test_the_program_does_not_need_what_only_tests_need(hidden: str) -> None:
    names = [name for package in CORE for name in modules_under(package)]
    assert hidden not in loaded_after("\n".join(f"import {name}" for name in [*names, "press_monitor.cli"]))

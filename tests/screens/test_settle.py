"""What is loaded ahead and how what was closed is swept; what it saves is measured in tests/benchmarks/dashboard.py."""

import ast
import gc
import importlib
import weakref
from pathlib import Path

import pytest

from press_monitor.screens import app as app_module
from press_monitor.screens import openings, settle

# Not opened in the middle of a day's work: finding instruments pulls in every driver.
_RARE = {"press_monitor.screens.setup.screen"}


def test_every_screen_and_dialog_the_app_opens_is_loaded_ahead():
    trees = [ast.parse(Path(module.__file__).read_text(encoding="utf-8")) for module in (app_module, openings)]
    functions = [n for tree in trees for n in ast.walk(tree) if isinstance(n, ast.FunctionDef | ast.AsyncFunctionDef)]
    opened = {
        n.module
        for f in functions
        for n in ast.walk(f)
        if isinstance(n, ast.ImportFrom) and n.module and n.module.startswith("press_monitor.screens.")
    }
    base = {"press_monitor.screens.dialogs.dialog", "press_monitor.screens.records.desk"}
    assert len(opened) > 10
    assert opened - base - _RARE <= set(settle.LOADED_AHEAD)


def test_what_is_loaded_ahead_exists():
    for name in settle.LOADED_AHEAD:
        importlib.import_module(name)


def test_what_does_not_load_is_left_for_later(monkeypatch):
    monkeypatch.setattr(settle, "LOADED_AHEAD", ("press_monitor.screens.nowhere", "press_monitor.screens.words"))
    settle.load_ahead()


class _Ring:
    pass


@pytest.fixture
def no_search():
    gc.disable()
    yield
    gc.unfreeze()
    gc.enable()


def test_a_start_searches_for_nothing_and_what_is_settled_does(no_search):
    gc.enable()
    settle.begin_quietly()
    assert not gc.isenabled()
    settle.settle()
    assert gc.isenabled() and gc.get_freeze_count() > 0


def _closed() -> "weakref.ref[_Ring]":
    ring = _Ring()
    ring.self = ring  # as a screen that is gone holds itself
    return weakref.ref(ring)


def test_a_sweep_lets_go_of_a_closed_ring_once_settled(no_search):
    gc.unfreeze()
    ring = _closed()
    settle.sweep()
    assert ring() is not None
    settle.settle()
    later = _closed()
    settle.sweep()
    assert later() is None


async def test_loading_ahead_ends_in_settling_and_without_a_terminal_neither_begins(dashboard, monkeypatch):
    done = []
    monkeypatch.setattr(app_module, "settle", lambda: done.append("settled"))
    monkeypatch.setattr(app_module, "load_ahead", lambda: done.append("loaded"))
    async with dashboard.run_test() as pilot:
        await pilot.pause()
        assert done == []
        dashboard._load_ahead()
        await dashboard.workers.wait_for_complete()
        assert done == ["loaded", "settled"]

"""What holds for the whole suite: how many workers there are, that the files that take longest begin first, and that
property tests try the same examples each time.

Each worker takes a whole file at a time, for the sake of what its tests share. Were a long one to begin last, the other
workers would have nothing to do meanwhile.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

# The everyday suite says the same twice, however busy the machine; `--hypothesis-profile=searching` tries new examples.
settings.register_profile("everyday", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("searching", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("everyday")

TESTS = Path(__file__).resolve().parent
LONGEST = (
    "test_readme.py",
    "screens/test_whole_shift.py",
    "audit/test_replay.py",
    "screens/test_load.py",
    "screens/test_records.py",
    "screens/test_press.py",
    "crash/test_recorder_process.py",
    "test_style.py",
    "test_benchmarks.py",
    "screens/test_setup.py",
    "crash/test_kills.py",
    "certificate/test_html.py",
    "recorder/test_unplug.py",
    "test_imports.py",
    "test_cli_plan.py",
    "soak/test_soak.py",
    "hostile/test_time.py",
    "test_cli_hardware.py",
)
"""In their order: seconds upon seconds each, most with few tests. `python -m pytest FOLDER --durations=25` tells."""


MOST_WORKERS = 8
"""Past so many cores a worker each is enough."""


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int | None:
    """Two workers a core for `-n auto`: half the time a test waits, for a screen to settle, a process or a disk."""
    if os.environ.get("PYTEST_XDIST_AUTO_NUM_WORKERS"):
        return None
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return max(cores, min(2 * cores, MOST_WORKERS))


def pytest_configure(config: pytest.Config) -> None:
    # By its own choice xdist begins with the files that have most tests, which says little about how long they take.
    if hasattr(config.option, "loadscopereorder"):
        config.option.loadscopereorder = False


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    places = {TESTS / name: place for place, name in enumerate(LONGEST)}
    items.sort(key=lambda item: places.get(item.path, len(places)))

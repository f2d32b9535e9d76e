"""What ``press-monitor --help`` costs, against importing click alone; an empty interpreter is taken off both."""

from __future__ import annotations

import statistics
import subprocess
import sys
import time

NAME = "start-up of --help (peer: importing click)"
GOAL = 2.0


def _seconds(code: str) -> float:
    begun = time.perf_counter()
    subprocess.run([sys.executable, "-c", code], capture_output=True, check=True)
    return time.perf_counter() - begun


def run(rounds: int = 9) -> dict[str, float | str | bool]:
    """Medians of processes started in turns."""
    codes = {
        "nothing": "pass",
        "click": "import click",
        "help": "from press_monitor.cli import cli; cli(['--help'])",
    }
    times: dict[str, list[float]] = {name: [] for name in codes}
    for _ in range(rounds):
        for name, code in codes.items():
            times[name].append(_seconds(code))
    bare, click, helped = (statistics.median(times[name]) for name in codes)
    ratio = (helped - bare) / (click - bare)
    return {
        "importing click, ms": (click - bare) * 1e3,
        "--help, ms": (helped - bare) * 1e3,
        "over importing click": ratio,
        "goal": f"at most {GOAL:g} times importing click",
        "met": ratio <= GOAL,
    }

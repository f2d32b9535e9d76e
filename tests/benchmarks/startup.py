"""What ``--help`` and ``records`` cost, against importing click alone; an empty interpreter is taken off.

All of them start from bytecode kept by the round before, as an installed program does, whatever this environment says.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time

from tests.benchmarks._records import archive_of

NAME = "start-up of --help and of records on a small archive (peer: importing click)"
GOAL = 2.0


def keeping(bytecode: str) -> dict[str, str]:
    """This environment, for a process that keeps its bytecode in a folder, whatever this environment says of that."""
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return {**kept, "PYTHONPYCACHEPREFIX": bytecode}


def _seconds(code: str, bytecode: str, *given: str) -> float:
    begun = time.perf_counter()
    subprocess.run(
        [sys.executable, "-c", code, *given],
        capture_output=True,
        check=True,
        env=keeping(bytecode),
    )
    return time.perf_counter() - begun


def run(rounds: int = 9) -> dict[str, float | str | bool]:
    """Medians of processes started in turns."""
    codes = {
        "nothing": "pass",
        "click": "import click",
        "help": "from press_monitor.cli import cli; cli(['--help'])",
        "records": "import sys; from press_monitor.cli import cli; cli(['records', '--archive', sys.argv[1]])",
    }
    archive = str(archive_of(100))
    times: dict[str, list[float]] = {name: [] for name in codes}
    with tempfile.TemporaryDirectory() as bytecode:
        for code in codes.values():
            _seconds(code, bytecode, archive)
        for _ in range(rounds):
            for name, code in codes.items():
                times[name].append(_seconds(code, bytecode, archive))
    bare, click, helped, listed = (statistics.median(times[name]) for name in codes)
    ratio = (helped - bare) / (click - bare)
    return {
        "importing click, ms": (click - bare) * 1e3,
        "--help, ms": (helped - bare) * 1e3,
        "records, ms": (listed - bare) * 1e3,
        "--help over importing click": ratio,
        "records over importing click": (listed - bare) / (click - bare),
        "goal": f"--help at most {GOAL:g} times importing click",
        "met": ratio <= GOAL,
    }

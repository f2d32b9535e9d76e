"""From the command to the first frame of the floor, four presses with data, against a minimal Textual app.

The command is the operator's own, over a shop file and an archive that a recorder writes, in a pseudo-terminal of
200x50; counted until every press's lane shows readings. The peer is an app of four labels until the last is
painted. Both are whole processes, started in turns from bytecode kept by a round before, as installed programs are.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from tests.benchmarks import _minimal
from tests.benchmarks._floor import apart
from tests.benchmarks._terminal import Terminal
from tests.benchmarks.startup import keeping

NAME = "first frame of the dashboard, four presses with data (peer: a minimal Textual app)"
GOAL = 1.8
PRESSES = 4

_READS = b"inner"
"""What stands before a reading in a lane, and only there."""


def _until(command: Sequence[str], environ: dict[str, str], painted: Callable[[bytes], bool]) -> float:
    begun = time.perf_counter()
    with Terminal(command, environ) as terminal:
        terminal.wait(painted)
        return time.perf_counter() - begun


def run(rounds: int = 15) -> dict[str, float | str | bool]:
    """Medians of processes started in turns, after one of each that nobody counts."""
    with tempfile.TemporaryDirectory() as bytecode, apart(PRESSES) as (folder, _):
        environ = {**keeping(bytecode), "PRESS_MONITOR_HOME": str(folder)}
        ours = _command(folder)
        theirs = [sys.executable, str(Path(_minimal.__file__))]
        times: dict[str, list[float]] = {"ours": [], "theirs": []}
        for turn in range(rounds + 1):
            first = _until(ours, environ, lambda painted: painted.count(_READS) >= PRESSES)
            least = _until(theirs, environ, lambda painted: f"press {PRESSES}".encode() in painted)
            if turn:
                times["ours"].append(first)
                times["theirs"].append(least)
    dashboard, minimal = statistics.median(times["ours"]), statistics.median(times["theirs"])
    return {
        "dashboard, ms": 1e3 * dashboard,
        "minimal app, ms": 1e3 * minimal,
        "over the minimal app": dashboard / minimal,
        "goal": f"at most {GOAL:g} times the minimal app",
        "met": dashboard <= GOAL * minimal,
    }


def _command(folder: Path) -> list[str]:
    return [
        *(sys.executable, "-m", "press_monitor"),
        *("--shop", str(folder / "shop.toml"), "--archive", str(folder / "floor.sqlite")),
    ]

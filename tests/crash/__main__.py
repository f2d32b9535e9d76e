"""The campaign: ``python -m tests.crash --full``. One summary line a part; exit 1 where anything did not hold."""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

from tests.crash import faults, kills, power

PARTS = ("kills", "boundaries", "cuts", "faults")
LIFE_S = 1500.0
"""Shop seconds of a recorder whose writes are recorded: a tire is sealed on each press."""


def main() -> int:
    """Run what was asked for."""
    parser = argparse.ArgumentParser(prog="python -m tests.crash", description=__doc__)
    parser.add_argument("--full", action="store_true", help="1,000 kills, every boundary three times, 500 power cuts")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kills", type=int, metavar="N")
    parser.add_argument("--cuts", type=int, metavar="N")
    parser.add_argument("--jobs", type=int, default=2, metavar="N", help="archives under test at a time")
    parser.add_argument("--only", choices=PARTS, action="append", help="this part, or these")
    given = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="press-monitor-crash-"))
    runs: dict[str, Callable[[], tuple[str, list[str]]]] = {
        "kills": lambda: random_kills(folder, given.kills or (1000 if given.full else 20), given.seed, given.jobs),
        "boundaries": lambda: boundaries(folder, given.seed, 3 if given.full else 1, given.jobs),
        "cuts": lambda: cuts(folder, given.cuts or (500 if given.full else 50), given.seed),
        "faults": lambda: injected(folder),
    }
    bad = 0
    for part in given.only or PARTS:
        began = time.monotonic()
        line, violations = runs[part]()
        bad += len(violations)
        for violation in violations[:40]:
            print(f"{part}: {violation}", file=sys.stderr)
        print(f"{part}: {line}; {len(violations)} violations; {time.monotonic() - began:.0f} s", flush=True)
    if bad:
        print(f"what was left is in {folder}", file=sys.stderr)
    else:
        shutil.rmtree(folder)
    return 1 if bad else 0


def random_kills(folder: Path, count: int, seed: int, jobs: int) -> tuple[str, list[str]]:
    """Random kills, shared out."""
    report = kills.Report()
    with ProcessPoolExecutor(jobs, get_context("spawn")) as pool:
        parts = [
            pool.submit(
                kills.random_kills, folder / f"kills-{job}", count // jobs + (job < count % jobs), seed * 100 + job
            )
            for job in range(jobs)
        ]
        for part in parts:
            report.add(part.result())
    return f"{report.kills} at random moments (seed {seed}), {told(report)}", report.violations


def boundaries(folder: Path, seed: int, times: int, jobs: int) -> tuple[str, list[str]]:
    """Every named boundary."""
    report = kills.Report()
    with ProcessPoolExecutor(jobs, get_context("spawn")) as pool:
        parts = [
            pool.submit(kills.at_running_boundaries, folder, seed, times=times),
            pool.submit(kills.at_opening_boundaries, folder / "new", seed, old=False),
            pool.submit(kills.at_opening_boundaries, folder / "old", seed, old=True),
            pool.submit(kills.at_copying_boundaries, folder, seed),
        ]
        for part in parts:
            report.add(part.result())
    return f"{report.kills} at {len(report.boundaries)} named boundaries, {told(report)}", report.violations


def told(report: kills.Report) -> str:
    """The rest of a line about kills."""
    verdicts = ", ".join(f"{count} {verdict}" for verdict, count in sorted(report.verdicts.items()))
    return (
        f"{report.rows} acknowledged rows in {report.commits} commits all there, {report.resumed} resumed watches equal"
        f" to a full replay, {report.notes} commands once each, certificates once each ({verdicts or 'none'}), record"
        f" and instruments at most {report.drift_s / kills.SPEED:.2f} s apart"
    )


def cuts(folder: Path, count: int, seed: int) -> tuple[str, list[str]]:
    """Power cuts, of a new archive and of one of an earlier format; and the proof that they bite."""
    if not power.available():
        return "not run: strace is not here, or may not trace", ["not run"]
    violations: list[str] = []
    made = lost = 0
    for name, share, shop_s in (("new", count - count // 4, LIFE_S), ("old", count // 4, 200.0)):
        life = power.record_a_life(folder / f"life-{name}", shop_s=shop_s, old=name == "old")
        report = power.cut(life, folder / f"cuts-{name}", share, seed)
        made, lost = made + report.cuts, lost + report.lost
        violations += report.violations
    bites = []
    for setting in ("OFF", "NORMAL"):
        life = power.record_a_life(folder / f"life-{setting}", shop_s=400.0, unsafe=setting)
        few = power.cut(life, folder / f"cuts-{setting}", 40, seed, most=1000)
        wrong = len({line.split(" after ")[0] for line in few.violations})
        bites.append(f"{wrong} of {few.cuts} with synchronous={setting}")
        if not wrong:
            violations.append(f"synchronous={setting} does no harm: the cuts do not bite")
    bit = ", ".join(bites)
    return f"{made} (seed {seed}), {lost} unsynced writes at stake; what was acknowledged is lost in {bit}", violations


def injected(folder: Path) -> tuple[str, list[str]]:
    """Every failure at every step."""
    report = faults.everywhere(folder / "faults")
    return f"{report.injected} injected, {report.words()}", report.violations


if __name__ == "__main__":
    sys.exit(main())

"""The soak: ``python -m tests.soak``. A day of sixteen presses through the real recorder and a dashboard, at speed.

Both run in processes of their own; an operator starts, acknowledges and releases through the archive. Once a second
this process looks at their memory, handles and threads and at the archive's log. At the end a line is fitted through
what was seen in the last third, and what was recorded is held against what the instruments showed. One summary
line; exit 1 where anything grew past its limit.
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

from press_monitor.recorder.service import stop_recorder
from tests.crash.kills import Bench
from tests.crash.processes import ROOT
from tests.crash.world import STEP_S

MEMORY_MB_A_DAY = 16.0
"""How much a process may grow by, fitted, a simulated day."""

HANDLES, THREADS = 3, 1
"""How many more in the last third than in the middle one, by the medians."""

LOG_MB = 24.0
"""The write-ahead log: SQLite's own limit is set to 16 MB, and a commit may stand on top of it."""

DRIFT_S = 2.0 * STEP_S
"""Shop seconds by which a row may part from the moment its instrument showed it."""


@dataclass(frozen=True, slots=True)
class Look:
    """What a process held at a moment: shop hours, MB resident, open handles, threads."""

    hours: float
    memory: float
    handles: int
    threads: int


@dataclass(slots=True)
class Watched:
    """One process under watch."""

    name: str
    pid: int
    looks: list[Look] = field(default_factory=list)

    def look(self, hours: float) -> None:
        """Look at it, if it is still there."""
        try:
            status = Path(f"/proc/{self.pid}/status").read_text(encoding="ascii")
            handles = len(list(Path(f"/proc/{self.pid}/fd").iterdir()))
        except OSError:
            return
        told = dict(line.split(":", 1) for line in status.splitlines() if ":" in line)
        if "VmRSS" in told:
            self.looks.append(Look(hours, int(told["VmRSS"].split()[0]) / 1024, handles, int(told["Threads"])))

    def slope(self) -> float:
        """MB a day in the last third: the median of the slopes between looks half that time apart (Theil, Sen).

        Before, bounded caches fill: the toolkit's of drawn regions and strips take a quarter of an hour of real time.
        """
        late = self.looks[-(len(self.looks) // 3 or 1) :]
        half = len(late) // 2
        if not half:
            return 0.0
        pairs = zip(late[:half], late[half:], strict=False)
        return 24.0 * statistics.median((b.memory - a.memory) / (b.hours - a.hours) for a, b in pairs)

    def grown(self, what: str) -> float:
        """How many more there were in the last third than in the middle one, by the medians."""
        third = max(1, len(self.looks) // 3)
        seen = [getattr(look, what) for look in self.looks]
        return statistics.median(seen[-third:]) - statistics.median(seen[-2 * third : -third] or seen)

    def words(self) -> str:
        """In words."""
        last = self.looks[-1]
        held = f"{last.handles} handles, {last.threads} threads"
        return f"{self.name} {last.memory:.0f} MB, {self.slope():+.1f} MB a day, {held}"

    def wrong(self) -> list[str]:
        """What grew past its limit. The first hours are the start's, and are not judged."""
        found: list[str] = []
        if self.looks[-1].hours - self.looks[0].hours < 12.0:
            return found
        if self.slope() > MEMORY_MB_A_DAY:
            found.append(f"{self.name} grows by {self.slope():.1f} MB a day")
        for what, limit in (("handles", HANDLES), ("threads", THREADS)):
            if self.grown(what) > limit:
                found.append(f"{self.name} holds {self.grown(what):g} more {what} than at first")
        return found


@dataclass(slots=True)
class Result:
    """What came of it."""

    line: str
    wrong: list[str]


def soak(folder: Path, hours: float, presses: int, speed: float) -> Result:
    """Run it."""
    bench = Bench(folder, 1, speed=speed, presses=presses, replay=False)  # the kills see to that, for hours
    recorder = bench.start(ballast_bytes=1 << 20)
    started_by = time.monotonic() + 60.0
    while not bench.place.archive.exists() or bench.inspector.promised.commits < 3:
        recorder.join(0.1)
        bench.inspector.hear()
        if recorder.exitcode is not None or time.monotonic() > started_by:
            return Result("the recorder did not start", [bench.place.log.read_text(errors="replace")[-500:]])
    end = time.monotonic() + hours * 3600.0 / speed
    command = [sys.executable, "-m", "tests.soak.dashboard", str(bench.place.shop), str(bench.place.archive)]
    with (folder / "dashboard.log").open("wb") as out:
        shown = subprocess.Popen([*command, str(end - time.monotonic())], cwd=ROOT, stdout=out, stderr=out)
    watched = [Watched("recorder", recorder.pid or 0), Watched("dashboard", shown.pid)]
    log, most, next_look = Path(f"{bench.place.archive}-wal"), 0.0, 0.0
    died = ""
    while (now := time.monotonic()) < end and not died:
        recorder.join(0.1)
        if now >= next_look:
            next_look = now + 1.0
            bench.operate()
            for each in watched:
                each.look(bench.hands.shop_s() / 3600.0)
            most = max(most, log.stat().st_size / 2**20 if log.exists() else 0.0)
            died = "the recorder ended" if recorder.exitcode is not None else ""
            if shown.poll() is not None and end - now > 5.0:
                died = f"the dashboard ended: {(folder / 'dashboard.log').read_text(errors='replace')[-600:]}"
    wrong, lasted = [died] if died else [], bench.hands.shop_s() / 3600.0
    stop_recorder(bench.place.archive, lambda _: None)
    recorder.join(20.0)
    shown.terminate()
    shown.wait(20.0)
    inspector = bench.inspector
    wrong += inspector.check()
    for each in watched:
        wrong += each.wrong()
        rows = [f"{look.hours:.3f},{look.memory:.2f},{look.handles},{look.threads}" for look in each.looks]
        (folder / f"{each.name}.csv").write_text("\n".join(["hours,MB,handles,threads", *rows]), encoding="ascii")
    if most > LOG_MB:
        wrong.append(f"the log grew to {most:.1f} MB")
    if inspector.drift_s > DRIFT_S:
        wrong.append(f"record and instruments part by {inspector.drift_s:g} s")
    verdicts = ", ".join(f"{count} {verdict}" for verdict, count in sorted(inspector.verdicts.items()))
    line = (
        f"soak: {lasted:.1f} h of {presses} presses at {speed:g}-fold speed,"
        f" {inspector.promised.seconds} rows in {inspector.promised.commits} commits,"
        f" certificates {verdicts or 'none'};"
        f" {'; '.join(each.words() for each in watched)}; log at most {most:.1f} MB;"
        f" record and instruments at most {inspector.drift_s:g} s apart; {len(wrong)} wrong"
    )
    return Result(line, wrong)


def main() -> int:
    """Run what was asked for."""
    parser = argparse.ArgumentParser(prog="python -m tests.soak", description=__doc__)
    parser.add_argument("--hours", type=float, default=24.0)
    parser.add_argument("--presses", type=int, default=16)
    parser.add_argument("--speed", type=float, default=100.0)
    given = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="press-monitor-soak-"))
    result = soak(folder / "soak", given.hours, given.presses, given.speed)
    for line in result.wrong[:20]:
        print(line, file=sys.stderr)
    print(result.line, flush=True)
    if not result.wrong:
        shutil.rmtree(folder)
    return 1 if result.wrong else 0


if __name__ == "__main__":
    sys.exit(main())

"""The recorder under load: 64 presses x 6 channels at 1 Hz in real time, against one core and a bare `executemany`.

Everything is real but the instruments: a thread a port, the loop, watches with detectors and forecasts in cures of
different ages, states published for dashboards, the writer's commits (FULL). After each of the writer's commits the
same rows are committed to a bare database with the same settings, in the same thread, so that both wait for the same
disk; what that takes of the processor is taken off. Memory, and what is written, are those of a small shop's recorder
in a process of its own, where the system tells.
"""

from __future__ import annotations

import gc
import tempfile
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import closing
from pathlib import Path

import numpy as np

from press_monitor.archive import Archive
from press_monitor.recorder.recorder import Recorder
from press_monitor.recorder.writer import Writer
from tests.benchmarks._floor import AGES_S, CHANNELS, Floor, apart, bare, floor, rows_of

NAME = "recorder: 64 presses x 6 channels at 1 Hz (peers: one core; a bare executemany and commit of the same rows)"
GOAL_SHARE, GOAL_COMMIT = 0.06, 3.0
_PATIENCE_S = 20.0

_INSERT = f"INSERT INTO live VALUES ({', '.join('?' * (len(CHANNELS) + 3))})"


class _Commits:
    """The writer's commits timed, each followed by a bare one of as many rows."""

    def __init__(self, writer: Writer, path: Path) -> None:
        self.ours: list[float] = []
        self.theirs: list[float] = []
        self.peer_cpu = 0.0
        self._writer, self._commit = writer, writer.commit
        self._db, self._count = bare(path), 0
        self._random = np.random.default_rng(64)
        writer.commit = self._timed  # type: ignore[method-assign]

    def _timed(self, store: Archive) -> bool:
        rows = self._writer.status().waiting_rows
        began = time.perf_counter()
        done = self._commit(store)
        took = time.perf_counter() - began
        if rows:
            self.ours.append(took)
            cpu = time.thread_time()
            values = self._random.integers(700, 3000, (rows, len(CHANNELS))).tolist()
            made = [(k, self._count, self._count, *values[k]) for k in range(rows)]
            self._count += 1
            began = time.perf_counter()
            self._db.execute("BEGIN IMMEDIATE")
            self._db.executemany(_INSERT, made)
            self._db.execute("COMMIT")
            self.theirs.append(time.perf_counter() - began)
            self.peer_cpu += time.thread_time() - cpu
        return done

    def forget(self) -> None:
        """Begin counting here."""
        self.ours.clear()
        self.theirs.clear()
        self.peer_cpu = 0.0

    def close(self) -> None:
        """Give back the writer and the file."""
        self._writer.commit = self._commit  # type: ignore[method-assign]
        self._db.close()


def thread_seconds(thread: threading.Thread) -> float | None:
    """Processor seconds of a thread; None where the system does not tell."""
    try:
        clock = time.pthread_getcpuclockid(thread.ident or 0)
        return time.clock_gettime(clock)
    except (AttributeError, OSError):
        return None


def measured(presses: int, seconds: float, warm_up: float = 5.0, ages: Sequence[int] = AGES_S) -> dict[str, float]:
    """Processor share by part, and milliseconds of the writer's and the bare commits, over `seconds` of real time."""
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as name:
        folder = Path(name)
        made = floor(folder, presses, ages)
        recorder = Recorder(made.shop, made.archive, made.key, make=made.make)
        with closing(_Commits(recorder._writer, folder / "bare.sqlite")) as commits:
            recorder.start()
            gc.freeze()  # as the process does
            loop = threading.Thread(target=recorder.run, name="loop")
            loop.start()
            try:
                figures = _while_it_runs(made, commits, loop, presses, seconds, warm_up)
            finally:
                recorder.stop()
                loop.join()
                recorder.close()
                gc.unfreeze()
    return figures


def _while_it_runs(
    made: Floor, commits: _Commits, loop: threading.Thread, presses: int, seconds: float, warm_up: float
) -> dict[str, float]:
    figures: dict[str, float] = {}
    time.sleep(warm_up)
    before, rows = time.process_time(), rows_of(made.archive)
    commits.forget()
    parts = _parts(loop)
    begun = {part: read() for part, read in parts.items()}
    real = time.perf_counter()
    time.sleep(seconds)
    while not commits.theirs and time.perf_counter() - real < seconds + _PATIENCE_S:
        time.sleep(0.05)  # a second may pass on a busy machine without a commit
    real = time.perf_counter() - real
    spent = time.process_time() - before - commits.peer_cpu
    figures["cpu_share"] = spent / real
    for part, read in parts.items():
        figures[f"cpu_share_{part}"] = (read() - begun[part]) / real
    if "cpu_share_writer" in figures:
        figures["cpu_share_writer"] -= commits.peer_cpu / real
    figures["rows_per_press_second"] = (rows_of(made.archive) - rows) / real / presses
    figures["commits_per_second"] = len(commits.ours) / real
    for kind, times in (("commit", commits.ours), ("bare_commit", commits.theirs)):
        figures[f"{kind}_p50_ms"] = 1e3 * float(np.percentile(times, 50))
        figures[f"{kind}_p99_ms"] = 1e3 * float(np.percentile(times, 99))
    return figures


def _parts(loop: threading.Thread) -> dict[str, Callable[[], float]]:
    """How to ask what each part has taken so far: the loop, the writer, all ports together."""
    groups = {"loop": [loop]}
    for thread in threading.enumerate():
        if thread.name == "writer" or thread.name.startswith("port "):
            groups.setdefault(thread.name.split()[0].replace("port", "ports"), []).append(thread)
    if any(thread_seconds(thread) is None for each in groups.values() for thread in each):
        return {}
    return {
        name: (lambda each=each: sum(thread_seconds(thread) or 0.0 for thread in each)) for name, each in groups.items()
    }


def by_itself(presses: int, seconds: float) -> dict[str, float]:
    """Memory, MB, and what is written, kB a second and press, of a recorder by itself; empty where nobody tells."""
    with apart(presses) as (_, pid):
        told = Path(f"/proc/{pid}")
        try:
            time.sleep(min(3.0, seconds))
            before = _told(told / "io", "write_bytes")
            time.sleep(seconds)
            written = _told(told / "io", "write_bytes") - before
            return {
                f"memory_MB_of_{presses}_presses": _told(told / "status", "VmRSS") / 1024.0,
                f"written_kB_per_press_second_of_{presses}_presses": written / 1e3 / seconds / presses,
            }
        except OSError:
            return {}


def _told(path: Path, name: str) -> int:
    """A number that /proc gives by name."""
    lines = path.read_text(encoding="ascii").splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith(f"{name}:"))


def run(
    presses: int = 64, seconds: float = 60.0, warm_up: float = 5.0, ages: Sequence[int] = AGES_S, small: int = 4
) -> dict[str, float | str | bool]:
    """The figures; shares are of one core."""
    figures = measured(presses, seconds, warm_up, ages) | by_itself(small, seconds / 3.0)
    ratio = figures["commit_p99_ms"] / figures["bare_commit_p99_ms"]
    return {
        **figures,
        "commit_p99_over_bare": ratio,
        "goal": f"at most {GOAL_SHARE:.0%} of a core, and commits at most {GOAL_COMMIT:g} times the bare one's p99",
        "met": figures["cpu_share"] <= GOAL_SHARE and ratio <= GOAL_COMMIT,
    }

"""One second of 64 presses made durable: the archive against a bare `executemany` and commit, in one run."""

from __future__ import annotations

import json
import sqlite3
import tempfile
import uuid
from contextlib import closing
from pathlib import Path
from time import perf_counter

import numpy as np

from press_monitor.archive import Archive, ChannelMeta, CycleStart

NAME = "commit of a second of 64 presses x 6 channels, synchronous=FULL"
PRESSES, CHANNELS = 64, 6
GOAL = 3.0
"""Times the bare commit's 99th percentile, at most."""

SNAPSHOT = {"profile": [round(k * 1.2345, 4) for k in range(200)], "words": "x" * 1500}
"""As large as a watch's snapshot."""


def _bare(path: Path) -> sqlite3.Connection:
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    values = ", ".join(f"c{k} INTEGER" for k in range(CHANNELS))
    db.execute(
        f"CREATE TABLE live (cycle INTEGER, seq INTEGER, t INTEGER, {values}, PRIMARY KEY (cycle, seq)) WITHOUT ROWID"
    )
    db.execute("CREATE TABLE state (press TEXT PRIMARY KEY, snapshot TEXT)")
    return db


def run(seconds: int = 400) -> dict[str, float | str | bool]:
    """Milliseconds, with and without the presses' states beside the rows; both see the same machine in turns."""
    random = np.random.default_rng(64)
    times: dict[str, list[float]] = {"rows, bare": [], "rows": [], "rows and states, bare": [], "rows and states": []}
    insert = f"INSERT INTO live VALUES ({', '.join('?' * (CHANNELS + 3))})"
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "archive.sqlite"
        with (
            closing(_bare(Path(folder) / "bare.sqlite")) as db,
            Archive.open(path, key_path=path.with_name("k")) as ours,
        ):
            ids = [uuid.uuid4().hex for _ in range(PRESSES)]
            channels = tuple(ChannelMeta(f"probe.{k}", "degF", 1) for k in range(CHANNELS))
            for press, cycle_id in enumerate(ids):
                ours.begin_cycle(CycleStart(cycle_id, f"P{press}", 0.0, "live", {}, None, None, channels, 0, {}))
            for second in range(2 * seconds):
                states = second >= seconds
                values = random.integers(700, 3000, (PRESSES, CHANNELS)).tolist()

                start = perf_counter()
                db.execute("BEGIN IMMEDIATE")
                db.executemany(insert, [(k, second, second, *values[k]) for k in range(PRESSES)])
                if states:
                    db.executemany(
                        "INSERT OR REPLACE INTO state VALUES (?, ?)",
                        [(f"P{k}", json.dumps(SNAPSHOT)) for k in range(PRESSES)],
                    )
                db.execute("COMMIT")
                between = perf_counter()
                with ours.transaction():
                    for press, cycle_id in enumerate(ids):
                        ours.add_rows(cycle_id, [(second, second, values[press])])
                        if states:
                            ours.put_state(f"P{press}", cycle_id, float(second), SNAPSHOT)
                    if states:
                        ours.beat(float(second))
                end = perf_counter()

                kind = "rows and states" if states else "rows"
                times[f"{kind}, bare"].append(between - start)
                times[kind].append(end - between)
    figures: dict[str, float | str | bool] = {}
    tail = {name: float(np.percentile(spent, 99)) for name, spent in times.items()}
    for name, spent in times.items():
        figures[f"{name}, median ms"] = float(np.median(spent)) * 1e3
        figures[f"{name}, p99 ms"] = tail[name] * 1e3
    ratios = [tail[name] / tail[f"{name}, bare"] for name in ("rows", "rows and states")]
    figures["p99 over bare, rows"], figures["p99 over bare, rows and states"] = ratios
    figures["goal"] = f"at most {GOAL:g} times the bare commit"
    figures["met"] = max(ratios) <= GOAL
    return figures

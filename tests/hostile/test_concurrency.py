"""A recorder, three dashboards, somebody's long reading and a backup at once, all of them real processes."""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from press_monitor.archive import command_answer, new_command, send_command
from press_monitor.archive.verify import verify
from tests.crash.processes import ROOT, Folder, until
from tests.properties.monitor import SHOP, START

MB = 1 << 20
COUNT = 4
"""Commands a dashboard sends, one after the other."""


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Folder]:
    made = Folder(tmp_path, shop=SHOP, speed=4.0)
    yield made
    made.end()


def wal(folder: Folder) -> int:
    """Bytes of the write-ahead log."""
    side = Path(f"{folder.archive}-wal")
    return side.stat().st_size if side.exists() else 0


def spawn(*words: object) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", *map(str, words)], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )


def test_nobody_is_in_anybodys_way(folder: Folder) -> None:
    folder.start()
    for press in ("P1", "P2"):
        command = new_command("start", time.time(), press=press, args=START)
        send_command(folder.archive, command)
        asked = command.uuid
        assert until(lambda: command_answer(folder.archive, asked), "the start's answer").answer == "done"  # noqa: B023
    stale = new_command("release", time.time() - 11.0, press="P1")
    with closing(sqlite3.connect(folder.archive, isolation_level=None)) as reading:
        reading.execute("BEGIN")
        rows = reading.execute("SELECT count(*) FROM live_row").fetchone()[0]  # the snapshot is held from here on
        began, before = time.monotonic(), wal(folder)
        dashboards = [spawn("tests.hostile.dashboard_process", folder.archive, COUNT) for _ in range(3)]
        copy = folder.archive.with_name("copy.sqlite")
        backup = spawn("press_monitor", "archive", "backup", "--archive", folder.archive, "--to", copy, "--json")
        send_command(folder.archive, stale)
        told = []
        for each in dashboards:
            out, err = each.communicate(timeout=120)
            assert each.returncode == 0, err
            told.append(json.loads(out))
        out, err = backup.communicate(timeout=120)
        assert backup.returncode == 0 and json.loads(out)["ok"] is True, (out, err)
        grown, lasted = wal(folder) - before, time.monotonic() - began
        assert reading.execute("SELECT count(*) FROM live_row").fetchone()[0] == rows, "the reader's view stood still"
        reading.execute("COMMIT")
    for each in told:
        assert each["fates"] == ["done"] * COUNT, each["fates"]
        assert each["troubles"] == [], "no trouble of the archive's was shown"
    answer = until(lambda: command_answer(folder.archive, stale.uuid), "the stale command's answer")
    assert answer.answer == "expired" and folder.open_cycle() is not None
    assert verify(copy).ok and verify(folder.archive).ok
    assert grown / lasted < MB, f"the log grew by {grown / lasted / MB:.2f} MB a second while somebody read"
    # Once the reader is gone the log is written from its beginning again.
    held = wal(folder)
    command = new_command("stop-recorder", time.time())
    send_command(folder.archive, command)
    until(lambda: wal(folder) <= min(held, 16 * MB) and folder.started[0].poll() is not None, "the log to be folded in")
    assert wal(folder) <= 16 * MB
    print(f"log: {grown / MB:.1f} MB in {lasted:.0f} s with a reader in the way, {wal(folder)} B after")

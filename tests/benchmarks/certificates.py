"""Certificates on paper: the time of one, and the memory of a thousand.

The record is a whole one: two hours at 1 Hz, three channels, a gap, alarms, the cure through the thickness. Each batch
runs in a process of its own, whose memory is read from the system where it tells (Linux).
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

NAME = "a certificate as PDF, and a thousand of them in one batch"
GOAL_S = 0.3
GOAL_GROWTH_MB = 8.0
BATCH = 1000


def archive_of(folder: Path, count: int, rows: int) -> Path:
    """An archive with `count` sealed cures of `rows` seconds."""
    from press_monitor.archive import Archive
    from tests.certificate.samples import ALL_CHANNELS, body_of, live_rows, start_of

    path = folder / "cures.sqlite"
    made = live_rows(rows, ALL_CHANNELS)
    with Archive.open(path, key_path=folder / "ledger.key") as archive:
        for number in range(count):
            start = start_of(cycle_id=f"{number:032x}", source="live")
            archive.begin_cycle(start)
            archive.add_rows(start.cycle_id, made)
            archive.seal(start.cycle_id, body_of(start))
    return path


def resident_mb() -> float | None:
    """This process's resident memory, None where the system does not tell."""
    try:
        pages = int(Path("/proc/self/statm").read_text().split()[1])
    except OSError:
        return None
    import os

    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def batch(archive: str, folder: str, form: str, which: str) -> None:
    """Export the whole archive, in a process of its own; prints seconds and memory as JSON."""
    from time import perf_counter, process_time

    from press_monitor.archive import ArchiveReader
    from press_monitor.certificate.export import export_all
    from press_monitor.certificate.pdf_fonts import fonts

    fonts()
    memory: list[float | None] = []
    times: list[float] = []
    began, spent = perf_counter(), process_time()
    with ArchiveReader(Path(archive)) as reader:
        numbers = [row.number for row in reader.records()]
        for done in export_all(reader, numbers, Path(folder), form, which):
            assert done.trouble is None, done.trouble
            times.append(perf_counter())
            memory.append(resident_mb())
    size = sum(path.stat().st_size for path in Path(folder).iterdir())
    report = {
        "wall": perf_counter() - began,
        "cpu": process_time() - spent,
        "memory": memory,
        "size": size,
        "count": len(times),
    }
    print(json.dumps(report))


def _in_a_process(code: str) -> Any:
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return json.loads(ran.stdout.splitlines()[-1])


ONE = """
import json, sys, time
from pathlib import Path
from press_monitor.archive import ArchiveReader
from press_monitor.certificate.copies import read_copy
from press_monitor.certificate.export import certificate_bytes
import reportlab.pdfgen.canvas, reportlab.pdfbase.ttfonts, reportlab.lib.colors, segno
with ArchiveReader(Path(sys.argv[1])) as reader:
    copy = read_copy(reader, 1)
took = {}
for which in ("shop", "customer", "label"):
    times = []
    for _ in range(int(sys.argv[2])):
        start = time.perf_counter()
        certificate_bytes(copy, "pdf", which)
        times.append(time.perf_counter() - start)
    took[which] = times
print(json.dumps(took))
"""


def run(count: int = BATCH, times: int = 9) -> dict[str, float | str | bool]:
    """Seconds of one, with and without reading the fonts; seconds and memory of `count`."""
    figures: dict[str, float | str | bool] = {}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "one").mkdir()
        one = archive_of(folder / "one", 1, 7501)
        code = ONE.replace("sys.argv[1]", repr(str(one))).replace("sys.argv[2]", str(times))
        for which, took in _in_a_process(code).items():
            if which == "shop":
                figures["first after import, fonts read, s"] = took[0]
            figures[f"{which} copy, median s"] = sorted(took)[len(took) // 2]
        (folder / "many").mkdir()
        many = archive_of(folder / "many", count, 3600)
        code = "from tests.benchmarks.certificates import batch\n" + (
            f"batch({str(many)!r}, {str(folder / 'out')!r}, 'pdf', 'shop')"
        )
        told = _in_a_process(code)
    figures[f"{count} in a batch, s each"] = told["wall"] / told["count"]
    figures[f"{count} in a batch, CPU s each"] = told["cpu"] / told["count"]
    figures["kB each"] = told["size"] / told["count"] / 1e3
    tenth = told["memory"][told["count"] // 10]
    grown = None if tenth is None else told["memory"][-1] - tenth
    if grown is not None:
        figures["resident MB after a tenth"] = tenth
        figures["resident MB at the end"] = told["memory"][-1]
    figures["goal"] = f"one in at most {GOAL_S:g} s after import; memory grows at most {GOAL_GROWTH_MB:g} MB"
    figures["met"] = bool(
        float(figures["first after import, fonts read, s"]) <= GOAL_S and (grown is None or grown <= GOAL_GROWTH_MB)
    )
    return figures

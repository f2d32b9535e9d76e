"""How long a reading takes to the dashboard, and a key to the recorder's answer, over a recorder with 16 presses.

The dashboard's part is its own `Source`, polled as the app polls it; what is drawn of it comes within the same pass
(`dashboard`, `frames`). A reading carries in itself the second at which it was true, on a clock both processes share.
"""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np

from press_monitor.archive import command_answer, new_command, send_command
from press_monitor.recorder.clock import monotonic_through_sleep
from press_monitor.screens.app import _POLL_S as POLL_S
from press_monitor.screens.source import Place, Source
from tests.benchmarks._floor import STAMPS, apart, part_of, stamp_of

NAME = "reading to screen and key to answer (limits: 0.75 s and 0.5 s)"
READING_S, ANSWER_S = 0.75, 0.5
_PRESSES = 16


def _readings(source: Source, presses: int, seconds: float) -> list[float]:
    """Seconds from each reading to the poll that first shows it."""
    seen: dict[str, float | None] = {}
    waits = []
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        began = time.monotonic()
        source.poll()
        now = monotonic_through_sleep()
        for n, press in enumerate(source.presses):
            air = None if press.snapshot is None else press.snapshot.extras.get("air")
            if air is None or press.snapshot is None or seen.get(press.place.name) == press.snapshot.t:
                continue
            if press.place.name in seen:
                at = stamp_of(1.8 * air + 32.0) + part_of(n, presses)
                waits.append((now - at) % STAMPS)
            seen[press.place.name] = press.snapshot.t
        time.sleep(max(0.0, POLL_S - (time.monotonic() - began)))
    return waits


def _answers(archive: Path, count: int) -> list[float]:
    """Seconds from sending a command to the first poll that finds its answer."""
    waits = []
    for n in range(count):
        command = new_command("extend", time.time(), press=f"P{1 + n % _PRESSES}", args={"seconds": 1.0})
        began = time.monotonic()
        send_command(archive, command)
        while command_answer(archive, command.uuid) is None:
            if time.monotonic() - began > 20.0:
                raise RuntimeError("the recorder never answered")
            time.sleep(0.01)
        waits.append(time.monotonic() - began)
        time.sleep(0.037)  # not in step with the recorder's own passes
    return waits


def run(presses: int = _PRESSES, seconds: float = 40.0, commands: int = 150) -> dict[str, float | str | bool]:
    """Median and 99th percentile of both, s. The answer is looked for at once; the app adds up to a poll to it."""
    with apart(presses) as (folder, _):
        archive = folder / "floor.sqlite"
        source = Source.at(archive, [Place(f"P{n}", f"P{n}") for n in range(1, presses + 1)])
        time.sleep(1.5)
        readings = _readings(source, presses, seconds)
        source.close()
        answers = _answers(archive, commands)
    figures: dict[str, float | str | bool] = {"readings": float(len(readings))}
    for name, waits in (("reading to screen", readings), ("command to answer", answers)):
        figures[f"{name}, median s"] = float(np.median(waits))
        figures[f"{name}, p99 s"] = float(np.percentile(waits, 99))
    shown, answered = float(np.percentile(readings, 99)), float(np.percentile(answers, 99))
    figures["of the limits"] = max(shown / READING_S, answered / ANSWER_S)
    figures["goal"] = f"p99 at most {READING_S:g} s to the screen, {ANSWER_S:g} s to the answer"
    figures["met"] = shown <= READING_S and answered <= ANSWER_S
    return figures

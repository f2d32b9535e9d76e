"""Cables pulled out and put back under the whole recorder: ``python -m tests.recorder.unplug [--rounds N]``.

Four presses on pseudo-terminals, each with an instrument that talks all the time; the first is never unplugged. The
waits before a port is tried again end when its cable is back. What the archive holds afterwards is looked at: every gap
is there, in the rows and in words, no press has another's reading, the first press was never lost, and no thread and no
handle is left behind.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from itertools import groupby
from pathlib import Path

from press_monitor.archive import ArchiveReader, command_answer, new_command, send_command
from press_monitor.recorder.clock import ShopClock
from press_monitor.recorder.recorder import Recorder
from press_monitor.recorder.scenarios import shop_text
from press_monitor.shop import load_shop
from tests.drivers.wires import PluggedPort

__all__ = ["run"]

PRESSES = 4
DEADLINE = 30.0
_TALK_S = 0.02


def waited(condition: Callable[[], object], what: str) -> None:
    tick, end = threading.Event(), time.monotonic() + DEADLINE
    while not condition():
        assert time.monotonic() < end, f"waited {DEADLINE:.0f} s in vain for: {what}"
        tick.wait(0.005)


class Instrument:
    """Talks all the time, whether anybody listens or not. Its values are its own: no other's are near them."""

    def __init__(self, number: int, folder: Path) -> None:
        self.number = number
        self.cable = PluggedPort(folder / f"port{number}")
        self.back = threading.Event()
        self.lock = threading.Lock()
        self.plugged = False
        self.stop = threading.Event()
        self.sent = 0
        self.thread = threading.Thread(target=self._talk, name=f"instrument {number}")

    @property
    def degF(self) -> tuple[float, float]:
        """The band its two mats stay in."""
        return 60.0 + 10.0 * self.number, 60.0 + 10.0 * self.number + 8.0

    def _talk(self) -> None:
        while not self.stop.wait(_TALK_S):
            with self.lock:
                if self.plugged:
                    self.sent += 1
                    low, wiggle = self.degF[0], (self.sent % 40) / 10.0
                    text = f"A={low + wiggle:.1f} B={low + 4.0 + wiggle:.1f} P={self.number + wiggle / 10.0:.2f}"
                    total = 0
                    for byte in text.encode():
                        total ^= byte
                    self.cable.send(f"{text}*{total:02X}\n".encode())

    def plug(self) -> None:
        with self.lock:
            self.cable.plug()
            self.plugged = True
        self.back.set()

    def unplug(self) -> None:
        with self.lock:
            self.plugged = False
            self.back.clear()
            self.cable.send(b"A=1")  # in the middle of a line, as it happens
            self.cable.unplug()

    def pause(self, _: float) -> bool:
        """In place of the wait before the next try: the stop of the recorder ends it too."""
        while not self.back.wait(0.05):
            if self.stop.is_set():
                return True
        return self.stop.is_set()


def shop_file(folder: Path, instruments: list[Instrument]) -> Path:
    text = shop_text(1)
    parts = [text[: text.index("[presses")]]
    parts += [
        f'[presses.P{each.number}]\ndriver = "text-line"\nrecipe = "section-300"\nport = "{each.cable.link}"\n'
        f"[presses.P{each.number}.options]\n"
        'labels = { A = "inner_mat[degF]", B = "outer_mat[degF]", P = "bag[psi]" }\nchecksum = "xor"\n'
        for each in instruments
    ]
    path = folder / "shop.toml"
    path.write_text("\n".join(parts), "utf-8")
    return path


def handles() -> int:
    return len(os.listdir("/proc/self/fd")) if os.path.isdir("/proc/self/fd") else 0


def run(folder: Path, rounds: int, speed: float) -> dict[str, int]:
    """Unplug and replug so many times in all, in shop time that runs so fast; figures of what was found.

    AssertionError where anything is amiss. ``missed`` are rows of the first press without readings: a computer that is
    too busy to run its instrument's thread in time makes some, the more the faster the shop's time runs.
    """
    before, threads = handles(), threading.active_count()
    instruments = [Instrument(number, folder) for number in range(1, PRESSES + 1)]
    for each in instruments:
        each.plug()
    archive = folder / "archive.sqlite"
    recorder = Recorder(
        load_shop(shop_file(folder, instruments)), archive, folder / "ledger.key", clock=ShopClock(speed)
    )
    for each in instruments:
        recorder._places[f"P{each.number}"].port._pause = each.pause
        each.thread.start()
    recorder.start()
    loop = threading.Thread(target=recorder.run, name="loop")
    loop.start()
    stations, done = recorder.stations, dict.fromkeys([each.number for each in instruments], 0)
    try:
        for each in instruments:
            name = f"P{each.number}"
            waited(lambda n=name: (p := stations[n].port) and p.state == "readings", f"readings of {name}")
            command = new_command("start", time.time(), press=name, args={"preset": "sidewall-16", "ticket": {}})
            send_command(archive, command)
            waited(lambda c=command: command_answer(archive, c.uuid), f"the start of {name}")
        for turn in range(-(-rounds // (PRESSES - 1))):
            pulled = instruments[1 : 1 + min(PRESSES - 1, rounds - turn * (PRESSES - 1))]
            for each in pulled:
                each.unplug()
                done[each.number] += 1
            for each in pulled:
                told = recorder._places[f"P{each.number}"]
                waited(lambda t=told: (c := t.station.cycle) and c.port and c.port.state == "unplugged", "the loss")
                seen = told.station.cycle.seq
                waited(lambda t=told, s=seen: t.station.cycle.seq >= s + 2, "rows without readings")
                each.plug()
            for each in pulled:
                told = recorder._places[f"P{each.number}"]
                waited(lambda t=told: t.station.cycle.port.state == "readings", "readings again")
                seen = told.station.cycle.seq
                waited(lambda t=told, s=seen: t.station.cycle.seq >= s + 2, "rows with readings")
    finally:
        recorder.stop()
        loop.join(DEADLINE)
        for each in instruments:
            each.stop.set()
            each.thread.join(DEADLINE)
        written = recorder.close()
        for each in instruments:
            each.cable.unplug()
    assert written and not loop.is_alive()
    found = examined(archive, instruments, done)
    waited(lambda: threading.active_count() <= threads, "every thread to end")
    assert handles() <= before, f"{handles() - before} handles are left open"
    return {"unplugs": rounds, **found}


def examined(archive: Path, instruments: list[Instrument], done: dict[int, int]) -> dict[str, int]:
    """What the archive holds: gaps, words and whose readings."""
    rows_seen = holes = missed = 0
    with ArchiveReader(archive) as reader:
        cycles = {cycle.start.press: cycle.start for cycle in reader.open_cycles()}
        for each in instruments:
            start = cycles[f"P{each.number}"]
            rows = reader.rows(start.cycle_id).rows()
            rows_seen += len(rows)
            assert [seq for seq, _, _ in rows] == list(range(len(rows))), "rows are missing"
            low, high = each.degF
            for _, t, (inner, outer, bag) in rows:
                for n in (inner, outer):
                    assert n is None or 10 * low <= n <= 10 * high, f"P{each.number}, {t} s: {n} is another press's"
                assert bag is None or each.number <= bag / 100.0 < each.number + 0.5, f"P{each.number}: bag {bag}"
            gaps = sum(empty for empty, _ in groupby(counts == (None, None, None) for _, _, counts in rows))
            told = [
                event.event["report"]["port"]["state"]
                for event in reader.events(start.cycle_id)
                if event.kind == "Reported" and event.event["report"]["port"]
            ]
            assert gaps >= done[each.number], f"P{each.number}: {gaps} gaps for {done[each.number]} unplugs"
            assert told.count("unplugged") == done[each.number], f"P{each.number}: {told}"
            holes += gaps
            if not done[each.number]:
                missed += sum(counts == (None, None, None) for _, _, counts in rows)
    return {"rows": rows_seen, "gaps": holes, "missed": missed}


def main(arguments: list[str] | None = None) -> int:
    asked = argparse.ArgumentParser(prog="python -m tests.recorder.unplug", description="Pull cables.")
    asked.add_argument("--rounds", type=int, default=200)
    asked.add_argument("--speed", type=float, default=2.0, help="shop seconds a second")
    given = asked.parse_args(arguments)
    began = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        found = run(Path(folder), given.rounds, given.speed)
    print(", ".join(f"{key} {value}" for key, value in found.items()), f"in {time.perf_counter() - began:.0f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main())

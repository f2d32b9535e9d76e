"""Sixteen presses in a real archive, fed as a recorder feeds it, and the two apps that are measured over it.

Run as a process (`python -m tests.benchmarks._screens WHAT ARCHIVE OUT ...`) it is one of the apps in a terminal.
"""

from __future__ import annotations

import json
import os
import random
import sys
import threading
import time
from dataclasses import dataclass, field, replace
from pathlib import Path

from textual.app import App

from press_monitor.archive.types import CycleStart
from press_monitor.archive.writer import Archive
from press_monitor.quantities import PSI, UnitSystem
from press_monitor.recorder.states import SLOW_EVERY_S, States
from press_monitor.screens.source import Place
from press_monitor.watch.types import Phase, Snapshot
from tests.benchmarks._minimal import Minimal
from tests.screens.fakes import CHANNELS, degC, rows, snapshot

PRESSES = 16
AGES_MIN = (24, 31, 43, 53, 62, 75, 84, 97)
_PARTS = 4
"""Commits a second: a recorder's ports answer at different moments, and it commits every quarter of a second."""


@dataclass(slots=True)
class _Cure:
    press: str
    shot: Snapshot
    seq: int
    rows: list[tuple[int, int, tuple[int | None, ...]]]
    states: States = field(default_factory=States)


class Floor:
    """An archive with a cure of 24 to 97 minutes on each of `PRESSES` presses."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "floor.sqlite"
        self.archive = Archive.open(self.path, key_path=folder / "key", holder="recorder")
        self._dice = random.Random(5)
        self.cures: list[_Cure] = []
        now = time.time()
        with self.archive.transaction():
            for n in range(PRESSES):
                age = AGES_MIN[n % len(AGES_MIN)]
                kept = rows(age, seed=n)
                shot = snapshot(age * 60.0, Phase.HOLD)
                cure = _Cure(f"P{n + 1}", shot, kept[-1][0], kept)
                self.archive.begin_cycle(
                    CycleStart(f"{n:032x}", cure.press, now - age * 60, "live", {}, None, {}, CHANNELS, 1, {})
                )
                self.archive.add_rows(f"{n:032x}", kept)
                self.archive.put_state(cure.press, f"{n:032x}", now, *cure.states.texts(shot, {}, {}))
                self.cures.append(cure)
            self.archive.beat(now)

    def places(self) -> tuple[Place, ...]:
        """Where the presses stand."""
        return tuple(Place(c.press, f"Bay {n + 1}", "section-300") for n, c in enumerate(self.cures))

    def feed(self, part: int) -> None:
        """One commit with a fresh reading and state of every `_PARTS`-th press; all values move."""
        now, dice = time.time(), self._dice
        with self.archive.transaction():
            for n in range(part, len(self.cures), _PARTS):
                cure = self.cures[n]
                cure.seq += 1
                values = (3000 + dice.randint(-20, 20), 2990 + dice.randint(-20, 20), 3310 + dice.randint(-5, 5))
                self.archive.add_rows(f"{n:032x}", [(cure.seq, cure.seq * 10, values)])
                shot = cure.shot = _later(cure.shot, values)
                self.archive.put_state(cure.press, f"{n:032x}", now, *cure.states.texts(shot, {}, {}))
            self.archive.beat(now)

    def run(self, until: threading.Event) -> None:
        """Feed at one reading a second and press until told to stop."""
        began, turn = time.monotonic(), 0
        while not until.is_set():
            self.feed(turn % _PARTS)
            turn += 1
            until.wait(max(0.0, began + turn / _PARTS - time.monotonic()))

    def close(self) -> None:
        """Let go of the archive."""
        self.archive.close()


def _later(shot: Snapshot, values: tuple[int, ...]) -> Snapshot:
    """The state a second on, everything in it moved as it moves in a hold; the rubber as often as a recorder looks."""
    assert shot.inner and shot.outer and shot.deepest and shot.forecast and shot.forecast.minutes_left is not None
    shot = replace(
        shot,
        t=shot.t + 1,
        hold_s=shot.hold_s + 1,
        inner=replace(shot.inner, value_degC=degC(values[0] / 10)),
        outer=replace(shot.outer, value_degC=degC(values[1] / 10)),
        bag_Pa=values[2] / 100 * PSI,
        forecast=replace(shot.forecast, minutes_left=shot.forecast.minutes_left - 1 / 60),
    )
    if shot.t % SLOW_EVERY_S:
        return shot
    (stack,) = shot.stacks
    assert shot.deepest
    return replace(
        shot,
        deepest=replace(shot.deepest, state_of_cure=min(0.99, shot.deepest.state_of_cure + 0.001)),
        stacks=(replace(stack, temperature_degC=tuple(t + 5e-4 for t in stack.temperature_degC)),),
    )


def _measure(app: App[None], out: Path, warm: float, span: float, keys: str) -> None:
    """Run `app`; tell what processor time it took from `warm` to `warm + span` seconds after its start."""

    def wait() -> None:
        time.sleep(warm / 2)
        for key in keys:
            app.call_from_thread(app.simulate_key, key)
        time.sleep(warm / 2)
        began = time.process_time(), time.monotonic()
        time.sleep(span)
        share = (time.process_time() - began[0]) / (time.monotonic() - began[1])
        part = out.with_suffix(".part")
        part.write_text(json.dumps({"share": share}), encoding="utf-8")
        os.replace(part, out)
        app.call_from_thread(app.exit)

    threading.Thread(target=wait, daemon=True).start()
    app.run()


def dashboard(archive: Path) -> App[None]:
    """The real dashboard over an archive."""
    from press_monitor.screens.app import Dashboard
    from press_monitor.screens.shopview import ShopView
    from press_monitor.screens.source import Source

    places = tuple(Place(f"P{n + 1}", f"Bay {n + 1}", "section-300") for n in range(PRESSES))
    shop = ShopView("Juniper Flat Section Repair", UnitSystem.named("us"), places)
    return Dashboard(Source.at(archive, places), shop)


if __name__ == "__main__":
    what, archive, out, warm, span, keys = sys.argv[1:]
    shown = Minimal(PRESSES) if what == "minimal" else dashboard(Path(archive))
    _measure(shown, Path(out), float(warm), float(span), keys)

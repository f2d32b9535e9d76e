"""The dashboard's memory over a simulated shift of eight hours: cure after cure on sixteen presses, screens visited.

Everything runs in this process on a clock that is set on by hand, and only what Python holds is counted, so that the
figures are the same on any computer. The peer in the same run is the least Textual app over as many presses.
"""

from __future__ import annotations

import asyncio
import gc
import tracemalloc
from dataclasses import replace

from tests.benchmarks._minimal import Minimal
from tests.benchmarks._screens import PRESSES
from tests.screens.conftest import make_dashboard
from tests.screens.fakes import FakeArchive, FakePress, many_presses, shop_of

NAME = (
    "the dashboard's memory over 8 h of 16 presses, after the first cure's end (limit: 5 % more; peer: a minimal app)"
)
GOAL = 1.05
CURE_S, STEP_S, VISIT_S = 6000, 60, 1200


class _Shift(FakeArchive):
    """A fake archive whose presses begin a new cycle, with no rows behind it, every `CURE_S` seconds."""

    turn = 0

    def _cycle(self, press: FakePress) -> str | None:
        return None if press.snapshot is None else f"cycle-{press.name}-{self.turn}"

    def begin(self) -> None:
        self.turn += 1
        for press in self.presses:
            if press.snapshot is not None:
                press.snapshot = replace(press.snapshot, t=1.0)
                press.rows = press.rows[:1]

    def step(self) -> None:
        """A minute of readings everywhere."""
        for press in self.presses:
            if press.snapshot is not None:
                seq, t, values = press.rows[-1]
                press.rows += [(seq + n, t + 10 * n, values) for n in range(1, STEP_S + 1)]
                press.snapshot = replace(press.snapshot, t=press.snapshot.t + STEP_S)
        self.clock.forward(STEP_S)
        self.beat()

    def forget(self) -> None:
        """What the fake archive itself keeps is not the dashboard's."""
        for press in self.presses:
            press.rows = press.rows[-1:]


async def _shift(hours: float, cure_s: int, count: int) -> list[float]:
    """MB that Python holds at the end of each cure, like taken with like."""
    presses = many_presses(count)
    for press in presses:
        press.events = []
    archive = _Shift(presses, shop_of().clock)
    archive.begin()
    app = make_dashboard(archive)
    marks: list[float] = []
    tracemalloc.start()
    try:
        async with app.run_test(size=(120, 36)) as pilot:
            for second in range(STEP_S, int(hours * 3600) + 1, STEP_S):
                archive.step()
                app.look()
                if second % VISIT_S == 0:
                    await pilot.press("0", "2", "left", "escape", "escape", "a", "0")
                await pilot.pause()
                if second % cure_s == cure_s - STEP_S:
                    archive.forget()
                    gc.collect()
                    marks.append(tracemalloc.get_traced_memory()[0] / 1e6)
                    archive.begin()
    finally:
        tracemalloc.stop()
    return marks


async def _least() -> float:
    """MB that the peer holds once it has been drawn."""
    tracemalloc.start()
    try:
        app = Minimal(PRESSES)
        async with app.run_test(size=(120, 36)) as pilot:
            app.tick()
            await pilot.pause()
            gc.collect()
            return tracemalloc.get_traced_memory()[0] / 1e6
    finally:
        tracemalloc.stop()


def run(hours: float = 8.0, cure_s: int = CURE_S, presses: int = PRESSES) -> dict[str, float | str | bool]:
    """Eight hours, or as many as are asked for; at least two cures."""
    # What the first app of a process loads for all that follow is neither's own, whatever ran before.
    asyncio.run(_least())
    asyncio.run(_shift(min(hours, VISIT_S / 3600), cure_s, 1))
    least = asyncio.run(_least())
    marks = asyncio.run(_shift(hours, cure_s, presses))
    return {
        "cures": len(marks),
        "after the first cure, MB": marks[0],
        "after the last cure, MB": marks[-1],
        "growth": marks[-1] / marks[0],
        "a minimal app, MB": least,
        "times a minimal app": marks[-1] / least,
        "goal": f"at most {GOAL:g} times",
        "met": marks[-1] / marks[0] <= GOAL,
    }

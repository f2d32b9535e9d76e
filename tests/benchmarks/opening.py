"""Opening the dashboard on an archive of 100,000 certificates, against opening it on one without any."""

from __future__ import annotations

import asyncio
import shutil
import tempfile
from datetime import UTC
from pathlib import Path
from time import perf_counter

from press_monitor.archive import Archive
from press_monitor.quantities import UnitSystem
from press_monitor.screens.app import Dashboard
from press_monitor.screens.shopview import ShopView
from press_monitor.screens.source import Place, Source
from tests.benchmarks._records import archive_of

NAME = "first frame of the dashboard on 100,000 certificates"
GOAL = 1.2
COUNT = 100_000
PLACES = tuple(Place(f"P{k}", f"Press {k}", "section-300") for k in range(1, 5))
SHOP = ShopView("Juniper Flat Section Repair", UnitSystem.named("us"), PLACES, (), ("section-300",), UTC)


async def _first_frame(path: Path) -> float:
    """Seconds until the floor stands, drawn from what the archive says."""
    began = perf_counter()
    app = Dashboard(Source.at(path, PLACES), SHOP, archive=path)
    async with app.run_test(size=(160, 48)) as pilot:
        await pilot.pause()
        return perf_counter() - began


def run(count: int = COUNT, rounds: int = 12) -> dict[str, float | str | bool]:
    """The median of each, in turns, after one of each that nobody counts."""
    large = archive_of(count)
    with tempfile.TemporaryDirectory() as folder:
        empty = Path(folder) / "archive.sqlite"
        with Archive.open(empty, key_path=Path(folder) / "ledger.key") as archive:
            archive.beat(0.0)
        # Opened where it can be written beside, as the dashboard finds it.
        times: dict[Path, list[float]] = {large: [], empty: []}
        for turn in range(rounds + 1):
            for path in (large, empty) if turn % 2 else (empty, large):
                spent = asyncio.run(_first_frame(path))
                if turn:
                    times[path].append(spent)
        shutil.rmtree(folder, ignore_errors=True)
    medians = {path: sorted(spent)[len(spent) // 2] for path, spent in times.items()}
    ratio = medians[large] / medians[empty]
    return {
        "100,000 certificates, ms": medians[large] * 1e3,
        "none, ms": medians[empty] * 1e3,
        "over an empty archive": ratio,
        "goal": f"at most {GOAL:g} times an empty archive",
        "met": ratio <= GOAL,
    }

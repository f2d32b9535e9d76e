"""The dashboard of the soak: the real application without a terminal, somebody walking through its screens all day."""

from __future__ import annotations

import asyncio
import itertools
import sys
import time
from pathlib import Path

from press_monitor.screens.app import Dashboard
from press_monitor.screens.shopview import ShopView
from press_monitor.screens.source import Source
from press_monitor.shop import load_shop

WALK = ("1", "escape", "a", "escape", "3", "escape", "r", "escape", "u", "c", "escape", "s", "escape", "u")
"""Press by press, alarms, records, units, certificates, stores, and back each time."""

_BETWEEN_S = 0.4


async def walk(shop_file: Path, archive: Path, seconds: float) -> None:
    """Show the archive for so many real seconds."""
    view = ShopView.of(load_shop(shop_file))
    app = Dashboard(Source.at(archive, view.places), view, archive=archive)
    end = time.monotonic() + seconds
    async with app.run_test(size=(160, 48)) as pilot:
        for key in itertools.cycle(WALK):
            if time.monotonic() > end:
                return
            await pilot.press(key)
            await asyncio.sleep(_BETWEEN_S)


if __name__ == "__main__":
    asyncio.run(walk(Path(sys.argv[1]), Path(sys.argv[2]), float(sys.argv[3])))

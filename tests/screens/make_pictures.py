"""The README's pictures: the floor as text and in colour, from the demo's presses with frozen clocks and seeds.

``python -m tests.screens.make_pictures`` makes both anew; a test compares them with what is drawn now.
"""

from __future__ import annotations

import asyncio
import re
import tempfile
from pathlib import Path

from drivers.simulated import SimulatedDriver
from press_monitor.archive.types import EventRow
from press_monitor.quantities import to_si
from press_monitor.readings.types import Reading, Tick
from press_monitor.recorder.scenarios import INTERVAL_S, driver_options, opening, shop_text
from press_monitor.recorder.watches import ShopWatches
from press_monitor.shop import Press, Shop, load_shop
from press_monitor.shop_channels import press_channels
from press_monitor.watch.plain import to_json
from tests.screens.conftest import make_dashboard, screen_lines
from tests.screens.fakes import CHANNELS, NOW, FakePress, shop_of

ROOT = Path(__file__).parents[2]
README = ROOT / "README.md"
PICTURE = Path(__file__).parent / "pictures" / "floor.svg"
AFTER_MIN = 3.4
"""Minutes of the demo that have passed: the bag of press 2 has just let go."""
FRAME = re.compile(r"(?<=```text\n).*?(?=```)", re.DOTALL)


def demo_presses() -> list[FakePress]:
    """The four presses of the demo, played through the simulator and the watch without a clock."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "shop.toml"
        path.write_text(shop_text(4), encoding="utf-8")
        shop = load_shop(path)
    return [_played(index, press, shop) for index, press in enumerate(shop.presses.values())]


def _played(index: int, press: Press, shop: Shop) -> FakePress:
    """One press, up to `AFTER_MIN` into the demo."""
    scenario = opening(index)
    options = driver_options(scenario, index)
    end = int((float(options["started_min_ago"]) + AFTER_MIN) * 60.0)
    now = [0.0]
    driver = SimulatedDriver({**options, "started_min_ago": 0}, lambda: now[0])
    driver.open()
    offered = dict.fromkeys(("inner_mat", "outer_mat"), "degF") | {"bag": "psi"}
    fitted = ShopWatches(press, shop, press_channels(press, shop, offered)).fit(scenario.start())
    rows, told = [], []
    for n in range(1, end // INTERVAL_S + 1):
        t = now[0] = float(n * INTERVAL_S)
        samples = {s.channel: s.value for s in driver.read(0.0)}
        values = tuple(None if (v := samples.get(c.name)) is None else round(v * 10**c.decimals) for c in CHANNELS)
        rows.append((n, round(t * 10), values))
        readings = {
            c.name: Reading(to_si(v / 10**c.decimals, c.unit))
            for c, v in zip(CHANNELS, values, strict=True)
            if v is not None
        }
        told += fitted.watch.step(Tick(t, readings))
    snapshot = fitted.watch.snapshot()
    cycle = f"cycle-{press.name}"
    events = [
        EventRow(100 * index + n, cycle, e.t, NOW - snapshot.t + e.t, "event", to_json(e))
        for n, e in enumerate(told, 1)
    ]
    return FakePress(press.name, press.title, snapshot, rows, events, fitted.ticket or {}, fitted.repair)


async def shown(size: tuple[int, int], keys: str) -> list[str]:
    """A screen as text."""
    app = make_dashboard(shop_of(demo_presses()), demo=True)
    async with app.run_test(size=size) as pilot:
        await pilot.press(*keys)
        await pilot.pause()
        return screen_lines(app)


FETCHED = re.compile(r"<!--.*?-->\s*|@font-face\s*\{.*?\}\s*", re.DOTALL)
FONT_NAMES = re.compile(r"font-family: ?[^;]*")


async def drawn(size: tuple[int, int]) -> str:
    """The floor as an SVG that fetches nothing: any font of even width will do."""
    app = make_dashboard(shop_of(demo_presses()), demo=True)
    async with app.run_test(size=size) as pilot:
        await pilot.pause()
        svg = app.export_screenshot(title="press-monitor")
    # The export numbers its names anew for each content; one name keeps the differences small.
    svg = re.sub(r"terminal-\d+", "floor", svg)
    svg = FONT_NAMES.sub("font-family: monospace", FETCHED.sub("", svg))
    return "\n".join(line.rstrip() for line in svg.strip().splitlines()) + "\n"


def with_frame(readme: str, lines: list[str]) -> str:
    """The README with its text frame made anew."""
    text = "".join(f"{line}\n" for line in lines)
    return FRAME.sub(lambda _: text, readme, count=1)


def main() -> None:
    """Make it anew."""
    lines = asyncio.run(shown((80, 24), ""))
    README.write_text(with_frame(README.read_text(encoding="utf-8"), lines), encoding="utf-8", newline="\n")
    PICTURE.parent.mkdir(exist_ok=True)
    PICTURE.write_text(asyncio.run(drawn((120, 36))), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()

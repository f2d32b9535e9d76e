"""Whole screens as plain text, compared with frames kept beside this file, and the facts each must show.

After a wanted change of the drawing, look at the screens, then: python -m tests.screens.test_frames
"""

import asyncio
from pathlib import Path

import pytest

from press_monitor.screens.widgets.palette import Marker
from tests.screens.conftest import make_dashboard, screen_lines
from tests.screens.fakes import FakePress, four_presses, many_presses, shop_of, snapshot

FRAMES = Path(__file__).parent / "frames"

# name -> size, keys, presses, options
CASES = {
    "floor-80x24": ((80, 24), "", four_presses, {}),
    "floor-120x36": ((120, 36), "", four_presses, {}),
    "floor-160x48": ((160, 48), "", four_presses, {}),
    "floor-200x50": ((200, 50), "", lambda: many_presses(16), {}),
    "floor-80x24-si-blocks": ((80, 24), "", four_presses, {"units": "si", "marker": Marker.BLOCKS}),
    "press-80x24": ((80, 24), "2", four_presses, {}),
    "press-120x36": ((120, 36), "1", four_presses, {}),
    "press-160x48-cooling": ((160, 48), "4", four_presses, {}),
    "press-80x24-ascii": ((80, 24), "1", four_presses, {"marker": Marker.ASCII}),
    "alarms-80x24": ((80, 24), "a", four_presses, {}),
    "release-80x24": ((80, 24), "4r", four_presses, {}),
    "load-80x24": ((80, 24), "3l", four_presses, {}),
}


async def frame(name):
    size, keys, presses, options = CASES[name]
    app = make_dashboard(shop_of(presses()), **options)
    async with app.run_test(size=size) as pilot:
        await pilot.press(*keys)
        await pilot.pause()
        return screen_lines(app)


@pytest.mark.parametrize("name", CASES)
async def test_the_screen_stands_as_it_was_looked_at(name):
    kept = (FRAMES / f"{name}.txt").read_text(encoding="utf-8").split("\n")[:-1]
    assert await frame(name) == kept


@pytest.mark.parametrize("name", [n for n in CASES if n.startswith("floor")])
def test_the_floor_shows_state_and_values_of_every_press_at_every_size(name):
    text = (FRAMES / f"{name}.txt").read_text(encoding="utf-8").split("\n")[:-1]
    joined = "\n".join(text)
    si = "si" in name
    shop = "200x50" in name  # where three presses lose air together
    assert ("PRESSES 2 6 14  AIR LOST IN THE SHOP" if shop else "PRESS 2  BAG LOW") in text[0]
    assert "[Enter] acknowledge" in text[0]
    assert ("Look at the compressor" if shop else "Open the remote air valve now.") in text[1]
    for word in ("● HOLD", "▲ BAG LOW", "▲ HEAT LOST", "◆ COOLING", "141" if si else "20.4", "28-55", "41-66"):
        assert word in joined
    assert "● recorder" in text[-1]
    assert text[-1].endswith("15:11")


async def test_values_keep_their_columns_from_one_second_to_the_next():
    archive = shop_of()
    app = make_dashboard(archive)
    async with app.run_test(size=(80, 24)) as pilot:
        before = screen_lines(app)
        archive.change("P1", bag_Pa=6894.757 * 9.4, hold_s=3000.0)
        app.look()
        await pilot.pause()
        after = screen_lines(app)
        assert before[3].index("psi") == after[3].index("psi")
        assert "9.4 psi" in after[3]
        for row in (2, 4, 5, 6):
            assert before[row][54:] == after[row][54:]


@pytest.mark.parametrize("size", [(44, 14), (60, 10), (30, 6), (20, 4), (80, 6)])
async def test_small_terminals_say_it_in_sentences_with_the_alarm_on_top(size):
    app = make_dashboard(shop_of())
    async with app.run_test(size=size) as pilot:
        text = screen_lines(app)
        assert "PRESS 2" in text[0]
        assert "BAG" in text[0]
        if size[1] >= 8 and size[0] < 50:
            for n, word in enumerate(("HOLD", "BAG LOW", "HEAT LOST", "COOLING")):
                assert word in text[2 + n]
        await pilot.press("2")
        await pilot.pause()
        text = screen_lines(app)
        assert "PRESS 2" in text[0]
        if size[1] >= 8:
            assert "bag 20.4 psi" in "\n".join(text)


async def test_a_quiet_shop_shows_its_name_and_what_is_due_next():
    presses = [FakePress("P1", "North", four_presses()[0].snapshot, four_presses()[0].rows)]
    presses += [FakePress("P2", "South", None)]
    app = make_dashboard(shop_of(presses))
    async with app.run_test(size=(80, 24)):
        text = screen_lines(app)
        assert text[0].strip() == "Juniper Flat Section Repair"
        assert "1 of 2 presses curing, next due: press 1 about 15:49 (38 min)" in text[1]
        assert "nothing heard of this press yet" in "\n".join(text)


async def test_text_from_tickets_is_never_markup_nor_control():
    presses = four_presses()
    shot = presses[0].snapshot
    evil = "[red]9\x1b[31m.00[/]\u202e"
    presses[0].snapshot = snapshot(shot.t, shot.phase, tire=evil, section="[b]x", words=evil)
    presses[0].ticket = {"number": "[link=x]7[/]\x07", "operator": "a\nb"}
    app = make_dashboard(shop_of(presses))
    async with app.run_test(size=(160, 48)) as pilot:
        assert "[red]9[31m.00[/] [b]x" in "\n".join(screen_lines(app))
        await pilot.press("1")
        await pilot.pause()
        assert "ticket [link=x]7[/] · by a b" in screen_lines(app)[2]


async def _keep() -> None:
    FRAMES.mkdir(exist_ok=True)
    for name in CASES:
        text = "".join(f"{line}\n" for line in await frame(name))
        (FRAMES / f"{name}.txt").write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    asyncio.run(_keep())

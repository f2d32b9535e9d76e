"""What every terminal and every eye can read: contrast of all that is drawn, few colours, no motion, shop time."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest
from textual.widgets import Input

from press_monitor.screens.app import first_theme
from press_monitor.screens.floor.board import Board
from press_monitor.screens.theme import NEXT_THEME
from press_monitor.screens.widgets.drawn import Drawn
from press_monitor.screens.widgets.palette import PALETTES, Marker, Signs, Tone, contrast
from tests.screens.conftest import make_dashboard, screen_lines
from tests.screens.fakes import four_presses, many_presses, shop_of

SCREENS = {
    "floor": "",
    "press": "2",
    "readout": ("1", *["left"] * 9),
    "cooling": "4",
    "alarms": "a",
    "release": "4r",
    "load": "3l",
}


def drawn_on(screen):
    """All cells on a screen."""
    for widget in screen.walk_children():
        if isinstance(widget, Drawn) and widget.size:
            yield widget.cells()
        if isinstance(widget, Board):
            yield from (cells for _, cells, _ in widget._drawn.values())


@pytest.mark.parametrize("theme", PALETTES)
@pytest.mark.parametrize("name", SCREENS)
async def test_every_letter_drawn_reads_on_the_ground_it_stands_on(name, theme):
    # WCAG 2.1, 1.4.3: text at 4.5 to 1.
    app = make_dashboard(shop_of(many_presses(16) if name == "floor" else four_presses()))
    async with app.run_test(size=(200, 50)) as pilot:
        app.theme = theme
        await pilot.press(*SCREENS[name])
        await pilot.pause()
        pairs = {
            (int(ink), int(ground), str(glyph))
            for screen in app.screen_stack
            for cells in drawn_on(screen)
            for glyph, ink, ground in zip(cells.glyph.flat, cells.ink.flat, cells.ground.flat, strict=True)
            if (str(glyph).isascii() and str(glyph).strip()) or glyph in "▲◆●○°"
        }
        assert len(pairs) > 40
        poor = {(f"{ink:06x}", f"{ground:06x}", glyph) for ink, ground, glyph in pairs if contrast(ink, ground) < 4.5}
        assert poor == set()


@pytest.mark.parametrize("palette", PALETTES.values(), ids=lambda p: p.name)
def test_every_ink_reads_on_the_row_under_a_lists_cursor(palette):
    for tone in Tone:
        assert contrast(palette.tone(tone), palette.chosen) >= 4.5, tone
    assert contrast(palette.text, palette.chosen) >= 4.5
    assert palette.chosen not in (palette.panel, palette.ground)


@pytest.mark.parametrize("palette", PALETTES.values(), ids=lambda p: p.name)
def test_what_an_empty_field_proposes_passes_for_nothing_typed_and_still_reads(palette):
    assert palette.hint != palette.text
    for ground in (palette.ground, palette.raised, palette.track):
        assert contrast(palette.hint, ground) >= 4.5


@pytest.mark.parametrize("marker", list(Marker))
def test_no_pointer_looks_like_an_alarm(marker):
    signs = Signs.of(marker)
    assert signs.here not in {signs.tone(tone) for tone in Tone}


def test_a_terminal_gets_the_theme_it_can_show():
    assert first_theme({}, "truecolor") == "press-dark"
    assert first_theme({}, "256") == "press-dark"
    assert first_theme({}, "standard") == "press-contrast"
    assert first_theme({"NO_COLOR": "1"}, "truecolor") == "press-mono"


@pytest.mark.parametrize("way", ["key", "mouse", "palette"])
async def test_the_theme_is_switched(dashboard, way):
    async with dashboard.run_test(size=(120, 36)) as pilot:
        before = dashboard.theme
        if way == "key":
            await pilot.press("t")
        elif way == "mouse":
            spots = {action: x for x, _, action in dashboard.screen.foot._spots}
            await pilot.click("Footline", offset=(spots["app.theme"] + 1, 1))
        else:
            await pilot.press("ctrl+p", *"theme")
            await pilot.pause(0.3)
            await pilot.press("enter")
        await pilot.pause()
        assert dashboard.theme == NEXT_THEME[before]


async def test_nothing_moves_by_itself(dashboard):
    async with dashboard.run_test(size=(80, 24)) as pilot:
        await pilot.press("1", "m")
        await pilot.pause()
        field = dashboard.screen.query(Input).first()
        assert field.has_focus
        assert not field.cursor_blink
        assert dashboard.animation_level == "none"
        assert not any(widget.styles.text_style.blink for widget in dashboard.screen.walk_children())


async def test_times_of_day_are_the_shops_own_everywhere():
    app = make_dashboard(shop_of())
    from dataclasses import replace

    app.shop = replace(app.shop, zone=ZoneInfo("America/Denver"))
    async with app.run_test(size=(120, 36)) as pilot:
        # 15:11 UTC in June is 09:11 mountain time.
        assert screen_lines(app)[-1].endswith("09:11")
        assert "since 09:09" in screen_lines(app)[0]
        assert "done about 09:49" in "\n".join(screen_lines(app))
        await pilot.press("1")
        await pilot.pause()
        text = "\n".join(screen_lines(app))
        assert "about 09:49" in text
        assert "15:" not in text
        await pilot.press("left")
        assert "09:11, minute 53.0" in "\n".join(screen_lines(app))


@pytest.mark.parametrize("marker", list(Marker))
@pytest.mark.parametrize("size", [(80, 24), (50, 16), (30, 8)])
async def test_every_marker_and_size_keeps_the_alarm_in_sight(marker, size):
    app = make_dashboard(shop_of(), marker=marker)
    async with app.run_test(size=size) as pilot:
        for keys in ("", "2", "a"):
            await pilot.press(*keys)
            await pilot.pause()
            text = screen_lines(app)
            assert "PRESS 2" in text[0]
            assert "BAG" in text[0]
            if marker is Marker.ASCII:
                assert all(char.isascii() or char in "°·" for line in text for char in line)
            await pilot.press("0")


async def test_zero_is_the_floor_from_anywhere(dashboard):
    async with dashboard.run_test(size=(80, 24)) as pilot:
        for keys in ("3", "a", "1a"):
            await pilot.press(*keys, "0")
            await pilot.pause()
            assert dashboard.screen.place == "Floor"

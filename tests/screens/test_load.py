"""The load screen by key, mouse and palette, over the fake recorder and a real archive."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC
from pathlib import Path

import pytest
from textual import events

from press_monitor.archive import Archive
from press_monitor.archive.entries import stores_body
from press_monitor.archive.stores import NO_STORES
from press_monitor.archive.types import CommandAnswer
from press_monitor.fitting import fit_press
from press_monitor.quantities import PSI
from press_monitor.recorder.watches import ShopWatches
from press_monitor.screens.app import Dashboard
from press_monitor.screens.floor.screen import FloorScreen
from press_monitor.screens.load.leave import LeaveTicketDialog
from press_monitor.screens.load.override import OverrideDialog, RefusedDialog
from press_monitor.screens.load.screen import LoadScreen
from press_monitor.screens.shopview import ShopView
from press_monitor.screens.widgets.palette import Marker
from press_monitor.screens.widgets.rows import Entry
from press_monitor.shop import load_shop
from press_monitor.watch.types import Phase
from tests.archive.helpers import NOON, seal_one
from tests.screens.conftest import screen_lines
from tests.screens.fakes import FakePress, four_presses, shop_of, snapshot
from tests.screens.test_press import ask
from tests.shopfiles import SHOP

SIZE = (80, 24)
PRESETS = """
[presses.P2]
driver = "simulated"
recipe = "slow-270"
[presses.P3]
driver = "simulated"
recipe = "section-300"
[presses.P4]
title = "Small"
driver = "simulated"
recipe = "section-300"
[recipes.slow-270]
hold_temperature = "270 degF"
hold_tolerance = "10 degF"
maximum_temperature = "330 degF"
heat_up_limit = "25 min"
minimum_hold = "90 min"
required_cure = 0.90
release_below = "180 degF"
bag_pressure = "32 psi"
bag_minimum = "28 psi"
bag_maximum = "40 psi"
[[repairs.thin.layers]]
name = "filler rubber"
thickness = "22 mm"
compound = "section-gum"
[[repairs.shoulder.layers]]
name = "repair patch"
thickness = "8 mm"
compound = "section-gum"
[[repairs.shoulder.layers]]
name = "casing"
thickness = "22 mm"
[[repairs.shoulder.layers]]
name = "filler rubber"
thickness = "14 mm"
compound = "section-gum"
[[repairs.lug.stacks]]
name = "injury centre"
[[repairs.lug.stacks.layers]]
name = "filler rubber"
thickness = "76 mm"
compound = "section-gum"
[[repairs.lug.stacks]]
name = "skive edge"
[[repairs.lug.stacks.layers]]
name = "casing"
thickness = "60 mm"
[[repairs.lug.stacks.layers]]
name = "cushion gum"
thickness = "4 mm"
compound = "section-gum"
"""


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    path = tmp_path_factory.mktemp("shop") / "shop.toml"
    path.write_text(SHOP + PRESETS, encoding="utf-8")
    return load_shop(path)


@pytest.fixture
def archive():
    empty = snapshot(100.0, Phase.EMPTY, ticketed=False, bag_Pa=32.4 * PSI, phases=(), stacks=(), deepest=None)
    return shop_of([*four_presses()[:3], FakePress("P4", "Small", empty)])


@pytest.fixture
def app(archive, shop) -> Dashboard:
    return over(archive, shop)


def over(archive, shop, path: Path | None = None) -> Dashboard:
    view = replace(ShopView.of(shop), zone=UTC)
    source = archive.source()
    places = {place.name: place for place in view.places}
    source.presses = tuple(replace(p, place=places[p.place.name]) for p in source.presses)
    return Dashboard(source, view, marker=Marker.BRAILLE, archive=path)


@pytest.fixture(scope="module")
def remembered(tmp_path_factory) -> Path:
    """An archive with three cures and something in Stores."""
    folder = tmp_path_factory.mktemp("remembered")
    layers = {"stacks": [{"name": "repair", "layers": [{"name": "x", "thickness": 0.044, "compound": None}]}]}
    ticket = {
        "customer": "Long Draw Orchards",
        "tire": "23.5R25",
        "section": "shoulder",
        "number": "J-7",
        "bag": "B1",
        "mats": ["M1", "M2"],
        "people": {"skived": "Ines", "note": "x"},
        "operator": "Ines",
        "materials": [{"use": "filler rubber", "lot": "SG-1"}],
    }
    with Archive.open(folder / "cures.sqlite", key_path=folder / "ledger.key") as kept:
        recipe = {"name": "section-300", "hold_temperature": 148.9}
        seal_one(kept, 3, press="P4", ticket=ticket, repair=layers, recipe=recipe)
        seal_one(kept, 3, press="P4", ticket={"tire": "12-16.5", "customer": "Dry Fork Quarry"}, started_utc=NOON + 1)
        seal_one(kept, 3, press="P1", ticket=None, started_utc=NOON + 2)
        kept.append("stores", stores_body("lot", "SG-1", {"expires": "2031-05-04"}))
        kept.append("stores", stores_body("lot", "OLD", {"expires": "2024-05-04"}))
    return folder / "cures.sqlite"


async def settle(app, pilot) -> list[str]:
    await app.workers.wait_for_complete()
    await pilot.pause()
    return screen_lines(app)


def accept(shop, press, args):
    """What the recorder makes of a start command: its own code, on the same shop file."""
    fitted = fit_press(shop.presses[press], shop, lambda: 0.0)
    return ShopWatches(shop.presses[press], shop, fitted.channels, stores=lambda: NO_STORES).fit(args)


def field(app, key: str) -> Entry:
    found = app.screen.pages[app.screen.here].rows()[key]
    assert isinstance(found, Entry)
    return found


# -- two keys --


@pytest.mark.parametrize(("digit", "preset"), [("1", "thin"), ("2", "shoulder"), ("3", "lug")])
async def test_a_ready_made_repair_starts_in_two_keys(archive, shop, app, digit, preset):
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("l", digit, "enter")
        (sent,) = archive.sent
        assert (sent.kind, sent.press, sent.cycle_id) == ("start", "P4", None)
        assert sent.args == {"recipe": "section-300", "repair": shop.repair_texts[preset], "ticket": {"operator": ""}}
        assert accept(shop, "P4", sent.args).repair is not None
        assert "sent: start press 4" in screen_lines(app)[-2]
        assert isinstance(app.screen, LoadScreen), "what was typed stands until the recorder has answered"
        archive.answers[sent.uuid] = CommandAnswer("done", "P4 is being recorded", archive.clock.utc)
        app.look()
        await pilot.pause()
        assert isinstance(app.screen, FloorScreen)
        assert "done: start press 4" in screen_lines(app)[-2]


async def test_a_second_enter_sends_nothing_twice(archive, app):
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("l", "1", "enter", "enter", "f10")
        assert len(archive.sent) == 1


async def test_a_refusal_is_shown_in_the_recorders_words_and_the_ticket_stands(archive, app):
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("l", "2", "f3", *"J-9", "f10")
        (sent,) = archive.sent
        words = "P4 has a cycle already; release it first"
        archive.answers[sent.uuid] = CommandAnswer("refused", words, archive.clock.utc)
        app.look()
        await pilot.pause()
        assert isinstance(app.screen, RefusedDialog)
        shown = " ".join(screen_lines(app))
        assert "The recorder refused" in shown
        assert f"{words}." in shown
        await pilot.press("enter")
        assert isinstance(app.screen, LoadScreen)
        assert field(app, "number").value == "J-9"
        await pilot.press("f10")
        assert len(archive.sent) == 2, "and it can be sent again"


async def test_a_recorder_that_does_not_answer_is_told(archive, app):
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("l", "2", "enter")
        archive.clock.forward(13.0)
        archive.beat()
        app.look()
        await pilot.pause()
        assert isinstance(app.screen, RefusedDialog)
        assert "No answer from the recorder" in " ".join(screen_lines(app))


async def test_mouse_and_palette_do_the_same(archive, app):
    async with app.run_test(size=(120, 36)) as pilot:
        await pilot.press("ctrl+p", *"load a press")
        await pilot.pause(0.3)
        await pilot.press("enter")
        await pilot.pause()
        assert isinstance(app.screen, LoadScreen)
        await pilot.click("Choice", offset=(4, 1))
        assert app.screen.repair_page.repair.value == "shoulder"
        spots = {name: first for first, _, name in app.screen.strip._spots}
        await pilot.click("PageStrip", offset=(spots["stores"] + 1, 0))
        await pilot.pause()
        assert app.screen.here == "stores"
        foot = app.screen.foot
        spots = {action: first for first, _, action in (foot.cells() and foot._spots)}
        await pilot.click("Footline", offset=(spots["start"] + 1, 1))
        await pilot.pause()
        assert [c.kind for c in archive.sent] == ["start"]


@pytest.mark.parametrize("size", [(80, 24), (110, 30), (120, 36), (160, 48), (200, 50)])
async def test_what_can_be_answered_is_in_sight_at_every_size(app, size):
    async with app.run_test(size=size) as pilot:
        await pilot.press("l", "f6")
        shown = await settle(app, pilot)
        for label in ("Skived", "Buffed", "Filler packed"):
            line = next(line for line in shown if line.split("[")[0].strip() == label)
            assert "[not said] yes  no" in line
            assert " by" in line


async def test_the_press_that_is_taken_is_said(app):
    async with app.run_test(size=(120, 36)) as pilot:
        await pilot.press("1", "l")
        await pilot.pause()
        assert app.screen.press_name == "P1"
        assert "a cure is running here" in app.screen.repair_page.press.remark.words
        await pilot.resize_terminal(80, 24)
        await pilot.pause()
        assert "▲ Press: a cure is running here" in " ".join(screen_lines(app))  # the field itself is not chosen
        await pilot.press("up", "right", "right", "right")
        assert app.screen.press_name == "P4"
        assert app.screen.repair_page.press.remark is None
        await pilot.press("right", "right")
        assert app.screen.press_name == "P2"
        assert app.screen.repair_page.recipe.value == "slow-270", "its usual recipe"


async def test_enter_acknowledges_nothing_here_and_f8_does(archive, app):
    async with app.run_test(size=SIZE) as pilot:
        archive.clock.forward(1.0)
        await pilot.press("l")
        await pilot.pause()
        assert "[F8] acknowledge" in screen_lines(app)[0]
        await pilot.press("f3", "enter")
        assert archive.sent == []
        await pilot.press("f8")
        assert [c.kind for c in archive.sent] == ["acknowledge"]


# -- the whole ticket --


async def test_the_whole_ticket_by_keyboard_is_what_the_recorder_gets(archive, shop, app):
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("l", "2", "f3", *"J-77", "enter", *"Acme", "down", "down", *"A1")
        await pilot.press("f4", *"SG-2", "tab", *"2031-05-04", "f6", "y", "down", *"Tom")
        await pilot.press("f7", "right", "enter", "y", "f2", "f10")
        (sent,) = archive.sent
        ticket = sent.args["ticket"]
        assert ticket == {
            "number": "J-77",
            "customer": "Acme",
            "tire": "A1",
            "operator": "",
            "materials": [{"use": "repair patch", "lot": "SG-2", "expires": "2031-05-04"}],
            "prep": {"skived": True},
            "people": {"skived": "Tom"},
            "checks": {"bag_and_sand_bags_seated": True, "ram_locked": True},
        }
        kept = accept(shop, "P4", sent.args).ticket
        assert kept["customer"] == "Acme"


async def test_down_walks_through_every_field_of_every_page_and_up_walks_back(app):
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("l")
        seen, pages = [], []
        for _ in range(80):
            app.screen.action_further(1)
            await pilot.pause()
            seen.append(app.focused)
            pages.append(app.screen.here)
            if seen[-1] is seen[-2 if len(seen) > 1 else -1] and len(seen) > 1:
                break
        assert list(dict.fromkeys(pages)) == ["repair", "ticket", "stores", "work", "heat"]
        wanted = [row for page in app.screen.pages.values() for row in page.rows().values() if row.display]
        hidden = {"press", "stack"}
        missing = [r.name for r in wanted if r not in seen and r.name not in hidden and r.parent.display]
        assert missing == []
        await pilot.press("f3", "up")
        await pilot.pause()
        assert app.screen.here == "repair"
        assert app.focused is app.screen.repair_page.operator, "Up goes to the last field before"


async def test_a_stray_letter_or_digit_opens_nothing(app):
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("l", "f7", *"aAcCtTuUqQ1234567890")
        assert isinstance(app.screen, LoadScreen)
        assert app.theme == "press-dark"


@pytest.mark.parametrize("way", ["escape", "palette floor", "0 from a press opened over it"])
async def test_a_half_filled_ticket_is_not_lost_without_a_question(archive, app, way):
    async def leave(pilot) -> None:
        if way == "escape":
            await pilot.press("escape")
        elif way == "palette floor":
            app.to_floor()
        else:
            app.open_press("P2")
            await pilot.pause()
            await pilot.press("0")
        await pilot.pause()

    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("l", "f3", *"J-12")
        await pilot.pause()
        await leave(pilot)
        assert isinstance(app.screen, LeaveTicketDialog)
        await pilot.press("escape")
        await pilot.pause()
        assert isinstance(app.screen, LoadScreen)
        assert app.screen.values["number"] == "J-12"
        await leave(pilot)
        await pilot.press("enter")
        await pilot.pause()
        assert isinstance(app.screen, FloorScreen)
        assert archive.sent == []


async def test_a_ticket_with_nothing_typed_is_left_at_once(app):
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("l", "2", "f3", "f7", "escape")
        await pilot.pause()
        assert isinstance(app.screen, FloorScreen)


async def test_bad_input_is_named_at_its_field_and_not_sent(archive, app):
    async with app.run_test(size=(120, 36)) as pilot:
        await pilot.press("l", "2", "f3")
        for _ in range(6):
            await pilot.press("down")
        await pilot.press(*"1H4 ABCDEG 0109")
        lines = screen_lines(app)
        row = next(line for line in lines if "DOT / TIN" in line)
        assert "▲" in row
        assert "G is never used in one" in row + lines[-2]
        assert "▲" in lines[2].split("Ticket")[1].split("Stores")[0], "and at its page"
        await pilot.press("f7", "f10")
        await pilot.pause()
        assert archive.sent == []
        assert app.focused.name == "tin", "it goes where the trouble is"


async def test_unattended_wants_its_own_cut_out(archive, app):
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("l", "2", "f7")
        rows = app.screen.pages["heat"].rows()
        rows["unattended"].focus()
        await pilot.press("y", "f10")
        await pilot.pause()
        assert archive.sent == []
        assert app.focused is rows["over_temperature_cutout"]
        assert any("an unattended cure needs one of its own" in line for line in screen_lines(app))
        await pilot.press("y", "f10")
        ticket = archive.sent[0].args["ticket"]
        assert (ticket["unattended"], ticket["over_temperature_cutout"]) == (True, True)


async def test_text_from_the_clipboard_is_one_harmless_line(archive, app):
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("l", "2", "f3")
        app.screen.focused.post_message(events.Paste("A1\x1b[2J\nB\u202e"))
        await pilot.pause()
        await pilot.press("f10")
        assert archive.sent[0].args["ticket"]["number"] == "A1[2J B"


async def test_editing_in_a_field(app):
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("l", "f3", *"abd", "left", *"c", "home", "delete", "end", *"e", "backspace", *"f")
        assert field(app, "number").value == "bcdf"
        await pilot.click(field(app, "number"), offset=(17, 0))
        await pilot.press(*"X")
        assert field(app, "number").value == "bcXdf"
        await pilot.press("ctrl+u")
        assert field(app, "number").value == ""


# -- layers and plan --


async def test_the_plan_follows_what_is_typed(app):
    async with app.run_test(size=(120, 36)) as pilot:
        await pilot.press("l", "1")
        await settle(app, pilot)
        thin = app.screen.plan.planned.plan.hold_min
        assert f"{thin:.0f} min" in "\n".join(screen_lines(app))
        await pilot.press("down", "down", "down", "backspace", "backspace", "backspace", "backspace", "backspace")
        lines = screen_lines(app)
        assert any("no layer has a thickness yet" in line for line in lines)
        await pilot.press(*"30")
        await settle(app, pilot)
        thick = app.screen.plan.planned.plan.hold_min
        assert thick > thin
        assert app.screen.plan.planned.asked.repair.count('"30 mm"') == 1
        await pilot.press(*" psi")
        await pilot.pause()
        lines = screen_lines(app)
        assert any("'psi' in '30 psi' is not a unit of length" in line for line in lines)


async def test_a_layer_that_cannot_be_read_is_not_sent(archive, app):
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("l", "4", "down", "down", "down", *"9 psi", "f10")
        await pilot.pause()
        assert archive.sent == []
        assert app.focused.name == "layer.0.thickness"
        assert "is not a unit of length" in screen_lines(app)[-2]
        await pilot.press("ctrl+u", "f10")
        assert archive.sent == []
        await pilot.press(*"9", "f10")
        assert 'thickness = "9 mm"' in archive.sent[0].args["repair"]


async def test_own_layers_grow_a_line_as_they_are_typed(archive, shop, app):
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("l", "4")
        await pilot.pause()
        page = app.screen.repair_page
        assert [line.row.name for line in page.lines if line.display] == ["repair patch", "casing", "filler rubber", ""]
        page.lines[3].thickness.focus()
        await pilot.press(*"5")
        await pilot.pause()
        assert len([line for line in page.lines if line.display]) == 5
        await pilot.press("f10")
        await pilot.pause()
        assert any("all layers are casing: nothing would" in line for line in screen_lines(app))
        assert archive.sent == []
        page.lines[3].compound.focus()
        await pilot.press("s")
        page.start.focus()
        await pilot.press(*"60", "down", "right", "f10")
        sent = archive.sent[0].args
        made = accept(shop, "P4", sent)
        assert (made.repair["inner"], made.repair["outer"]) == ("mat", "air")
        assert made.repair["start_temperature"] == pytest.approx((60 - 32) / 1.8)


async def test_several_sections_can_be_seen_and_changed(archive, shop, app):
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("l", "3")
        await pilot.pause()
        page = app.screen.repair_page
        assert page.stack.display
        page.stack.focus()
        await pilot.press("right")
        assert [line.row.name for line in page.lines if line.display] == ["casing", "cushion gum", ""]
        page.lines[1].thickness.focus()
        await pilot.press("ctrl+u", *"6", "f10")
        stacks = accept(shop, "P4", archive.sent[0].args).repair["stacks"]
        assert [layer["thickness"] for layer in stacks[1]["layers"]] == pytest.approx([0.06, 0.006])
        assert stacks[0]["layers"][0]["thickness"] == pytest.approx(0.076)


async def test_without_layers_nothing_is_planned_and_the_record_says_so(archive, app):
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("l", "5")
        await pilot.pause()
        assert any("Without layers nothing is planned" in line for line in screen_lines(app))
        await pilot.press("enter")
        assert archive.sent[0].args["repair"] is None


# -- what the archive remembers --


async def test_the_full_ticket_comes_filled_in_as_the_last_one_like_it(archive, shop, remembered):
    app = over(archive, shop, remembered)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("l", "2")
        await settle(app, pilot)
        assert "F9 as cert. 1" in screen_lines(app)[-1]
        await pilot.press("f3")
        await settle(app, pilot)
        assert field(app, "tire").value == "23.5R25"
        assert field(app, "customer").value == "", "whose it is and what was done is never taken over"
        await pilot.press("f4")
        await pilot.pause()
        assert field(app, "materials.filler.lot").value == "SG-1"
        assert any("good until 2031-05-04" in line for line in screen_lines(app)), "checked in Stores"
        await pilot.press("f10")
        ticket = archive.sent[0].args["ticket"]
        assert ticket["bag"] == "B1"
        assert "prep" not in ticket
        assert "number" not in ticket


async def test_nothing_is_taken_over_by_a_start_that_never_looked_at_it(archive, shop, remembered):
    app = over(archive, shop, remembered)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("l", "2")
        await settle(app, pilot)
        await pilot.press("enter")
        await settle(app, pilot)
        assert archive.sent[0].args["ticket"] == {"operator": ""}


async def test_f9_empties_what_was_taken_over_and_keeps_what_was_typed(archive, shop, remembered):
    app = over(archive, shop, remembered)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("l", "2")
        await settle(app, pilot)
        await pilot.press("f3", "down", "down", "down", *" L3")
        assert field(app, "tire").value == "23.5R25 L3"
        await pilot.press("f9")
        assert field(app, "tire").value == "23.5R25 L3"
        assert field(app, "section").value == ""
        await pilot.press("f9")
        assert field(app, "section").value == "shoulder"


async def test_names_used_before_are_proposed(archive, shop, remembered):
    app = over(archive, shop, remembered)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("l", "2")
        await settle(app, pilot)
        await pilot.press("f3", "down", *"dry")
        assert any("dry Fork Quarry" in line for line in screen_lines(app))
        await pilot.press("right")
        assert field(app, "customer").value == "dry Fork Quarry"


async def test_what_must_not_be_used_wants_a_name_and_a_reason(archive, shop, remembered):
    app = over(archive, shop, remembered)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("l", "1")
        await settle(app, pilot)
        await pilot.press("f4", "ctrl+u", *"OLD")
        assert any("expired on 2024-05-04" in line for line in screen_lines(app))
        await pilot.press("f10")
        await pilot.pause()
        assert isinstance(app.screen, OverrideDialog)
        assert "lot OLD expired on 2024-05-04." in " ".join(screen_lines(app))
        await pilot.press("enter")
        await pilot.pause()
        assert "A name, please." in " ".join(screen_lines(app))
        await pilot.press(*"Ines", "enter")
        await pilot.pause()
        assert "A reason, please." in " ".join(screen_lines(app))
        assert archive.sent == []
        await pilot.press(*"tested today", "enter")
        await pilot.pause()
        assert archive.sent[0].args["override"] == {"by": "Ines", "reason": "tested today"}


# -- the lock-up leak test --


def watched(archive, seconds, psi):
    """The bag so many seconds after the fixture's first reading."""
    press = archive.presses[3]
    press.snapshot = replace(press.snapshot, t=100.0 + seconds, bag_Pa=psi * PSI)
    archive.clock.forward(1.0)
    archive.beat()


async def test_the_leak_test_watches_the_live_bag_and_ticks_the_list(archive, app):
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("l", "2", "f7")
        await pilot.pause()
        assert any("bag 32.4 psi" in line for line in screen_lines(app))
        app.screen.leak.focus()
        await pilot.press("enter")
        await pilot.pause()
        assert any("in 0:00 of 3 min" in line for line in screen_lines(app))
        watched(archive, 90.0, 32.3)
        app.look()
        await pilot.pause()
        assert any("fell 0.10 psi in 1:30 of 3 min" in line for line in screen_lines(app))
        watched(archive, 181.0, 32.2)
        app.look()
        await pilot.pause()
        assert any("fell 0.20 psi in 3 min: it holds" in line for line in screen_lines(app))
        await pilot.press("f10")
        ticket = archive.sent[0].args["ticket"]
        assert ticket["checks"] == {"lock_up_leak_test": True}
        assert ticket["note"] == "Lock-up leak test: from 32.4 psi fell 0.20 psi in 3 min."


async def test_another_press_begins_the_leak_test_anew(archive, app):
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("l", "2", "f7")
        app.screen.leak.focus()
        await pilot.press("enter", "f2")
        app.screen.repair_page.press.focus()
        await pilot.press("right")
        assert app.screen.leak.test is None


# -- sizes --


@pytest.mark.parametrize("size", [(80, 24), (200, 50), (40, 12)])
async def test_every_page_opens_at_every_size_with_the_alarm_on_top(app, size):
    async with app.run_test(size=size) as pilot:
        await pilot.press("l", "2")
        await settle(app, pilot)
        for key, word in (("f2", "Press"), ("f3", "Job"), ("f4", "Patch lot"), ("f6", "Skived"), ("f7", "Bag seated")):
            await pilot.press(key)
            await pilot.pause()
            lines = screen_lines(app)
            assert "PRESS 2" in lines[0]
            assert any(word in line for line in lines), key


async def test_units_switched_elsewhere_are_followed(app):
    async with app.run_test(size=(120, 36)) as pilot:
        app.action_units()
        await pilot.press("l", "2")
        lines = await settle(app, pilot)
        assert any("149 °C" in line for line in lines)


async def test_the_palette_has_what_can_be_done_on_this_screen(app):
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("l")
        await ask(pilot, "leak test")
        assert isinstance(app.screen, LoadScreen)
        assert app.screen.here == "heat"


async def test_a_field_that_is_picked_says_how_and_a_remark_stands_but_once(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("l", "f7")
        await pilot.pause()
        shown = " ".join(screen_lines(app))
        assert shown.count("bag and sand bags bear on all of it") == 1
        assert "Left Right or a first letter picks" in shown

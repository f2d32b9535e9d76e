"""The press screen: reading out a moment, the view held still, extension, note and log, by key, mouse and palette."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from press_monitor.archive.types import CommandAnswer, CycleStart, EventRow
from press_monitor.cure.section import Face, Section
from press_monitor.quantities import PSI, UnitSystem
from press_monitor.screens.charts import span_of
from press_monitor.screens.dialogs.extend import ExtendDialog
from press_monitor.screens.dialogs.log import LogDialog
from press_monitor.screens.dialogs.note import NoteDialog
from press_monitor.screens.floor.screen import FloorScreen
from press_monitor.screens.press.clear import clear_panel
from press_monitor.screens.press.cursor import column_of, step_of, value_words
from press_monitor.screens.press.log import log_lines
from press_monitor.screens.press.panels import Scene
from press_monitor.screens.press.past import CurePast
from press_monitor.screens.press.screen import PressScreen
from press_monitor.screens.trace import LiveTrace
from press_monitor.screens.widgets.palette import Look
from press_monitor.shop import load_shop, repair_from_text
from press_monitor.watch.plain import to_json
from press_monitor.watch.types import GateView, Phase
from tests.screens.conftest import screen_lines
from tests.screens.fakes import CHANNELS, Trace, alarm, rows, snapshot

SIZE = (120, 36)


async def ask(pilot, words: str) -> None:
    """Choose the palette's first answer to some words."""
    await pilot.press("ctrl+p")
    await pilot.press(*("space" if letter == " " else letter for letter in words))
    await pilot.pause(0.3)
    await pilot.press("enter")
    await pilot.pause()


def block(app) -> str:
    return "\n".join(screen_lines(app))


async def test_left_and_right_read_out_a_moment_and_escape_leaves(archive, dashboard):
    async with dashboard.run_test(size=SIZE) as pilot:
        await pilot.press("1", "left")
        text = block(dashboard)
        assert "minute 53.0" in text
        assert "deepest rubber 41 % (28-55)" in text
        await pilot.press(*["left"] * 9)
        await pilot.pause()
        minute = float(re.search(r"minute ([\d.]+)", block(dashboard))[1])
        seq, _, values = next(r for r in reversed(archive.presses[0].rows) if r[1] <= minute * 600 + 30)
        assert f"inner {values[0] / 10:.0f} °F" in block(dashboard) or abs(seq - minute * 60) < 30
        await pilot.press("right")
        assert float(re.search(r"minute ([\d.]+)", block(dashboard))[1]) > minute
        await pilot.press("escape")
        assert "minute" not in block(dashboard)
        assert isinstance(dashboard.screen, PressScreen)
        await pilot.press("escape")
        assert isinstance(dashboard.screen, FloorScreen)


async def test_a_click_on_a_chart_reads_that_moment_out(dashboard):
    async with dashboard.run_test(size=SIZE) as pilot:
        await pilot.press("1")
        await pilot.click("PressBoard", offset=(20, 8))
        await pilot.pause()
        view = dashboard.screen.board.view
        column = column_of(view.snapshot, dashboard.screen.board.cursor_min, dashboard.screen.board.chart_width(), None)
        assert column == 20
        assert "minute" in block(dashboard)


async def test_the_values_read_out_are_those_of_the_record(archive, dashboard):
    async with dashboard.run_test(size=SIZE):
        view = dashboard.source.press("P1")
        for minute in (5.0, 20.0, 50.0):
            _, _, (inner, outer, bag) = archive.presses[0].rows[int(minute * 60)]
            words = dict(value_words(view, UnitSystem.named("us"), minute))
            assert words == {
                "inner": f"{inner / 10:.0f} °F",
                "outer": f"{outer / 10:.0f} °F",
                "bag": f"{bag / 100:.1f} psi",
            }
        assert {v for _, v in value_words(view, UnitSystem.named("us"), 500.0)} == {"--"}


def test_a_step_is_a_column_of_the_chart(archive):
    source = archive.source()
    source.poll()
    snapshot = source.presses[0].snapshot
    for recent in (None, 15.0):
        x0, x1 = span_of(snapshot, recent)
        step = step_of(snapshot, 105, recent)
        assert step * 100 == pytest.approx(x1 - x0)
        assert column_of(snapshot, x0 + 40.5 * step, 105, recent) == 45
        assert column_of(snapshot, x1 + step, 105, recent) is None


def test_the_cure_behind_is_the_models_own_over_what_the_mats_read():
    # Peer: the live model of the cure package, fed here by hand with the same rows.
    shop = load_shop(Path("simulated_logs/shop.toml"))
    repair = repair_from_text(
        '[[layers]]\nname = "patch"\nthickness = "20 mm"\ncompound = "section-gum"\n', shop
    ).repair
    kept = rows(50.0, seed=3)
    start = CycleStart("0" * 32, "P1", 0.0, "live", {}, to_json(repair), {}, CHANNELS, 1, {"ambient": 20.0})
    trace = LiveTrace(start)
    trace.extend(Trace.from_rows(CHANNELS, 1, kept))
    past = CurePast(trace)
    while past.work(50):
        pass
    first = [(v[0] / 10 - 32) / 1.8 for _, _, v in kept]
    second = [(v[1] / 10 - 32) / 1.8 for _, _, v in kept]
    section = Section(repair, min(first[0], second[0], 20.0), 20.0)
    section.advance(0.0, Face.mat(first[0]), Face.mat(second[0]), bag_absolute_Pa=None, pressed=None)
    for t in range(20, 2401, 20):
        bag = kept[t][2][2] / 100 * PSI + 101_325.0
        section.advance(20.0, Face.mat(first[t]), Face.mat(second[t]), bag_absolute_Pa=bag, pressed=None)
    deepest = section.deepest()
    assert past.at(2400.0) == pytest.approx(
        (deepest.state_of_cure, deepest.state_of_cure_low, deepest.state_of_cure_high), abs=1e-6
    )
    told = [past.at(float(t))[0] for t in range(0, 2990, 60)]
    assert np.all(np.diff(told) >= 0.0)
    assert past.at(1e6) is None


async def test_a_held_view_stands_still_and_says_that_the_recording_does_not(archive, dashboard):
    async with dashboard.run_test(size=SIZE) as pilot:
        await pilot.press("1", "p")
        text = block(dashboard)
        assert "VIEW HELD at 15:11: watch, alarms and recording go on" in text
        archive.change("P1", bag_Pa=20.0 * PSI)
        dashboard.look()
        await pilot.pause()
        assert "33.1" in block(dashboard)
        await pilot.press("enter")
        assert [c.kind for c in archive.sent] == ["acknowledge"]
        await pilot.press("p")
        await pilot.pause()
        assert "20.0" in block(dashboard)
        assert "VIEW HELD" not in block(dashboard)


@pytest.mark.parametrize("way", ["key", "mouse", "palette"])
async def test_the_hold_is_extended(archive, dashboard, way):
    async with dashboard.run_test(size=SIZE) as pilot:
        if way == "palette":
            await ask(pilot, "north: extend")
        else:
            await pilot.press("1")
            if way == "key":
                await pilot.press("e")
            else:
                spots = {action: x for x, _, action in dashboard.screen.foot._spots}
                await pilot.click("Footline", offset=(spots["app.extend"] + 1, 1))
        await pilot.pause()
        assert isinstance(dashboard.screen, ExtendDialog)
        await pilot.press("3")
        await pilot.pause()
        said = str(dashboard.screen.now.render())
        assert "With 15 min more the hold ends about 15:49." in said
        assert "The deepest rubber is cured about 15:49: done is when both are." in said
        await pilot.press("down", *"cold", "enter")
        (sent,) = archive.sent
        assert (sent.kind, sent.press, sent.args) == ("extend", "P1", {"seconds": 900.0, "note": "cold"})


async def test_a_second_extension_waits_for_the_answer_to_the_first(archive, dashboard):
    async with dashboard.run_test(size=SIZE) as pilot:
        archive.clock.forward(1.0)
        await pilot.press("1", "e", "enter", "enter")
        await pilot.pause()
        assert [c.kind for c in archive.sent] == ["extend"], "and no alarm was acknowledged by the second Enter"
        said = " ".join(block(dashboard).split())
        assert "Sent: extend the hold on press 1 by 10 min." in said
        assert "Waiting for the recorder's answer" in said
        await pilot.press("escape", "e", "2", "enter")
        await pilot.pause()
        assert len(archive.sent) == 1, "nor from a dialog opened anew"
        assert "Sent: extend the hold" in block(dashboard)
        archive.answers[archive.sent[0].uuid] = CommandAnswer("done", "70 min now", archive.clock.utc)
        dashboard.look()
        await pilot.pause()
        assert "Sent: extend" not in block(dashboard)
        await pilot.press("enter")
        assert len(archive.sent) == 2
        archive.answers[archive.sent[1].uuid] = CommandAnswer("done", "80 min now", archive.clock.utc)
        dashboard.look()
        await pilot.pause()
        assert isinstance(dashboard.screen, PressScreen), "done, so the dialog goes by itself"


async def test_the_other_press_can_be_extended_meanwhile(archive, dashboard):
    async with dashboard.run_test(size=SIZE) as pilot:
        await pilot.press("1", "e", "enter", "escape", "3", "e", "enter")
        assert [(c.kind, c.press) for c in archive.sent] == [("extend", "P1"), ("extend", "P3")]


@pytest.mark.parametrize("answer", ["refused", "none"])
async def test_an_extension_that_came_to_nothing_says_why_and_can_be_asked_again(archive, dashboard, answer):
    async with dashboard.run_test(size=SIZE) as pilot:
        await pilot.press("1", "e", "enter")
        if answer == "refused":
            archive.answers[archive.sent[0].uuid] = CommandAnswer("refused", "the cure is over", archive.clock.utc)
        else:
            archive.clock.forward(13.0)
            archive.beat()
        dashboard.look()
        await pilot.pause()
        said = " ".join(block(dashboard).split())
        assert (
            "Not extended: " + ("the cure is over." if answer == "refused" else "the recorder did not answer") in said
        )
        await pilot.press("enter")
        assert len(archive.sent) == 2


@pytest.mark.parametrize("size", [(80, 24), (100, 30), (120, 36), (200, 50)])
async def test_what_to_do_is_never_cut_within_a_sentence(archive, dashboard, size):
    shot = archive.presses[1].snapshot
    advice = "Refill at the remote valve now: it is setting unpressed. Do not reach in. If it will not hold, heat off."
    archive.presses[1].snapshot = replace(shot, alarms=(replace(shot.alarms[0], advice=advice),))
    async with dashboard.run_test(size=size) as pilot:
        await pilot.press("2")
        await pilot.pause()
        board = dashboard.screen.board
        scene = Scene(board.view, board.view.snapshot, board.units, board.zone, Look())
        for width, height in ((31, 4), (31, 3), (46, 4), (75, 6)):
            cells = clear_panel(scene, width, height)
            said = " ".join(" ".join(cells.line(row) for row in range(1, height)).split())
            assert said.removesuffix(" …").endswith("."), said


def test_the_log_says_a_kind_once():
    lost = to_json(alarm("pressure-lost-uncured", 1.0, 2.0, "Pressure lost while 22 % is setting", "a"))
    low = to_json(alarm("bag-low", 1.0, 2.0, "Bag at 26.7 psi", "a"))
    lines = log_lines([EventRow(n, "c", 2.0, 2.0, "alarm", {"t": 2.0, "alarm": a}) for n, a in enumerate((low, lost))])
    assert [line.words for line in lines] == ["Pressure lost while 22 % is setting", "bag low: Bag at 26.7 psi"]


async def test_a_press_without_a_tire_offers_loading_and_says_what_is_measured(archive, dashboard):
    empty = snapshot(100.0, Phase.EMPTY, phases=(), stacks=(), deepest=None, bag_Pa=32.4 * PSI)
    archive.presses[3].snapshot = empty
    async with dashboard.run_test(size=(80, 24)) as pilot:
        await pilot.press("4")
        await pilot.pause()
        text = block(dashboard)
        assert "Now: inner 301, outer 299 °F, bag 32.4 psi." in text
        assert "L load" in text
        assert "heat is off" not in text
        await pilot.press("0")
        await pilot.pause()
        assert "inner 301, outer 299 °F, bag 32.4 psi" in block(dashboard)


@pytest.mark.parametrize("way", ["key", "palette"])
async def test_a_note_goes_into_the_record(archive, dashboard, way):
    async with dashboard.run_test(size=SIZE) as pilot:
        if way == "palette":
            await ask(pilot, "north: note")
        else:
            await pilot.press("1", "m")
        assert isinstance(dashboard.screen, NoteDialog)
        await pilot.press("enter")
        assert "Nothing is written yet." in block(dashboard)
        assert archive.sent == []
        await pilot.press(*"shifted", "down", *"Ines", "enter")
        (sent,) = archive.sent
        assert (sent.kind, sent.operator, sent.args) == ("note", "Ines", {"note": "shifted"})


async def test_the_whole_log_opens_and_the_screen_is_explained(dashboard):
    async with dashboard.run_test(size=(80, 24)) as pilot:
        await pilot.press("2", "g")
        assert isinstance(dashboard.screen, LogDialog)
        text = block(dashboard)
        assert "hold: both mats in the band" in text
        assert "▲ bag low" in text
        await pilot.press("escape", "question_mark")
        await pilot.pause()
        assert "extend the hold" in block(dashboard)


async def test_zoom_keeps_the_cursor_in_sight(dashboard):
    async with dashboard.run_test(size=SIZE) as pilot:
        await pilot.press("1", *["left"] * 12, "z")
        await pilot.pause()
        assert float(re.search(r"minute ([\d.]+)", block(dashboard))[1]) >= 53 - 15.2


@pytest.mark.parametrize("size", [(80, 24), (120, 36), (200, 50)])
async def test_what_keeps_the_gate_shut_is_read_to_its_end(archive, dashboard, size):
    archive.change("P4", gate=GateView(True, True, False, False, "hottest rubber 204 °F, release below 180 °F"))
    async with dashboard.run_test(size=size) as pilot:
        await pilot.press("4")
        words = " ".join(block(dashboard).split())
        assert "heat off" in words
        assert "cure reached" in words
        assert "cool enough: not yet" in words
        assert "bag at 0: not yet" in words
        assert re.search(r"release\b.*?\bbelow 180 °F", words)


OUTLOOK = (
    "12 more minutes of hold bring the deepest rubber to 90 %, 16 for sure",
    "heat off now, bag left up: ends at 78 % (66-88)",
)


@pytest.mark.parametrize("size", [(160, 48), (200, 50)])
async def test_what_more_hold_would_give_stands_under_the_forecast(archive, dashboard, size):
    archive.change("P1", outlook=OUTLOOK)
    async with dashboard.run_test(size=size) as pilot:
        await pilot.press("1")
        words = " ".join(re.findall(r"[^│\n]+", block(dashboard)))
        assert "12 more minutes of hold bring the deepest rubber to" in words
        # Said once: the panel's own line has it already.
        assert words.lower().count("heat off now") == 1


async def test_what_more_hold_would_give_is_a_sentence_on_a_small_terminal(archive, dashboard):
    archive.change("P1", outlook=OUTLOOK)
    async with dashboard.run_test(size=(74, 20)) as pilot:
        await pilot.press("1")
        assert OUTLOOK[0] in block(dashboard)


async def test_what_lies_ahead_stands_over_the_log_where_the_press_has_no_room_for_it(archive, dashboard):
    archive.change("P1", outlook=OUTLOOK)
    async with dashboard.run_test(size=(80, 24)) as pilot:
        await pilot.press("1", "g")
        await pilot.pause()
        said = str(dashboard.screen.lines.render()).splitlines()
        assert said[0].startswith(f"ahead    {OUTLOOK[0][:40]}")
        assert said[1].startswith(" " * 9), "a line that goes on stands under its words"
        assert f"ahead    {OUTLOOK[1]}" in said


async def test_what_heat_that_comes_back_would_give_stands_at_the_gate(archive, dashboard):
    archive.change("P4", outlook=("if the heat comes back: 9 more minutes of hold bring it to 90 %",))
    async with dashboard.run_test(size=(160, 48)) as pilot:
        await pilot.press("4")
        assert "If the heat comes back: 9 more minutes" in block(dashboard)


async def test_the_palette_holds_the_view_zooms_reads_out_and_opens_the_log(archive, dashboard):
    async with dashboard.run_test(size=SIZE) as pilot:
        await pilot.press("2")
        await ask(pilot, "still")
        assert dashboard.screen.held is not None
        await ask(pilot, "let the")
        assert dashboard.screen.held is None
        await ask(pilot, "zoom")
        assert dashboard.screen.board.recent_min is not None
        await ask(pilot, "moment")
        assert dashboard.screen.board.cursor_min is not None
        await ask(pilot, "south log")
        assert isinstance(dashboard.screen, LogDialog)
        assert dashboard.screen.press_name == "P2"
        await pilot.press("escape")
        await ask(pilot, "floor")
        assert isinstance(dashboard.screen, FloorScreen)

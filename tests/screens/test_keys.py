"""Each key, on the real screens, over the fake archive and frozen clocks."""

from dataclasses import replace

import pytest

from press_monitor.archive.types import CommandAnswer
from press_monitor.quantities import PSI
from press_monitor.screens.dialogs.explain import ExplainDialog
from press_monitor.screens.dialogs.heat_off import HeatOffDialog
from press_monitor.screens.dialogs.leave import LeaveDialog
from press_monitor.screens.dialogs.release import ReleaseGate
from press_monitor.screens.floor.screen import FloorScreen
from press_monitor.screens.press.screen import PressScreen
from press_monitor.watch.types import AlarmState, GateView
from tests.screens.conftest import make_dashboard, screen_lines
from tests.screens.fakes import four_presses, many_presses, shop_of

SIZE = (80, 24)


async def test_a_digit_opens_that_press_and_escape_returns(dashboard):
    async with dashboard.run_test(size=SIZE) as pilot:
        await pilot.press("3")
        assert isinstance(dashboard.screen, PressScreen)
        assert dashboard.screen.press_name == "P3"
        await pilot.press("1")
        assert dashboard.screen.press_name == "P1"
        await pilot.press("down")
        assert dashboard.screen.press_name == "P2"
        await pilot.press("escape")
        assert isinstance(dashboard.screen, FloorScreen)
        await pilot.press("9")
        assert isinstance(dashboard.screen, FloorScreen)


async def test_two_digits_open_a_press_beyond_nine():
    archive = shop_of(many_presses(16))
    app = make_dashboard(archive)
    async with app.run_test(size=(200, 50)) as pilot:
        await pilot.press("1", "2")
        assert app.screen.press_name == "P12"
        await pilot.press("escape", "1")
        assert isinstance(app.screen, FloorScreen)
        archive.clock.forward(1.0)
        app.look()
        await pilot.pause()
        assert app.screen.press_name == "P1"


async def test_a_click_on_a_lane_opens_it(dashboard):
    async with dashboard.run_test(size=SIZE) as pilot:
        await pilot.click("Board", offset=(40, 12))
        await pilot.pause()
        assert dashboard.screen.press_name == "P3"


async def test_enter_acknowledges_what_stands_on_top(archive, dashboard):
    async with dashboard.run_test(size=SIZE) as pilot:
        archive.clock.forward(1.0)
        await pilot.press("enter")
        (sent,) = archive.sent
        assert (sent.kind, sent.press, sent.alarm_id, sent.operator) == ("acknowledge", "P2", "bag-low-1", "")
        assert "sent: acknowledge press 2 bag low" in screen_lines(dashboard)[-2]
        archive.answers[sent.uuid] = CommandAnswer("done", "", archive.clock.utc)
        shot = archive.presses[1].snapshot
        alarms = (replace(shot.alarms[0], state=AlarmState.ACKNOWLEDGED), *shot.alarms[1:])
        archive.change("P2", alarms=alarms)
        dashboard.look()
        await pilot.pause()
        assert "done: acknowledge" in screen_lines(dashboard)[-2]
        assert "acknowledged" in screen_lines(dashboard)[0]
        await pilot.press("enter")
        assert len(archive.sent) == 1


async def test_enter_does_not_take_an_alarm_that_jumped_in_just_now(archive, dashboard):
    async with dashboard.run_test(size=SIZE) as pilot:
        await pilot.press("enter")
        assert archive.sent == []
        archive.clock.forward(0.6)
        await pilot.press("enter")
        assert len(archive.sent) == 1


async def test_the_palette_and_a_click_on_the_bar_acknowledge_too(archive, dashboard):
    async with dashboard.run_test(size=SIZE) as pilot:
        archive.clock.forward(1.0)
        await pilot.click("AlarmBar", offset=(70, 0))
        await pilot.pause()
        assert [c.kind for c in archive.sent] == ["acknowledge"]
        await pilot.press("ctrl+p")
        await pilot.press(*"acknowledge")
        await pilot.pause(0.3)
        await pilot.press("enter")
        await pilot.pause()
        assert [c.kind for c in archive.sent] == ["acknowledge"] * 2


async def test_heat_off_asks_once_and_says_that_it_only_notes(archive, dashboard):
    async with dashboard.run_test(size=SIZE) as pilot:
        await pilot.press("h")
        assert isinstance(dashboard.screen, FloorScreen)
        await pilot.press("1", "h")
        assert isinstance(dashboard.screen, HeatOffDialog)
        text = " ".join(screen_lines(dashboard))
        assert "switches nothing" in text
        assert "not due yet" in text
        await pilot.press("escape", "h", "enter")
        assert [(c.kind, c.press) for c in archive.sent] == [("heat-off", "P1")]


async def test_the_release_gate_is_closed_while_there_is_pressure(archive, dashboard):
    async with dashboard.run_test(size=SIZE) as pilot:
        await pilot.press("4", "r")
        assert isinstance(dashboard.screen, ReleaseGate)
        lines = screen_lines(dashboard)
        text = "\n".join(lines)
        order = [
            next(n for n, line in enumerate(lines) if w in line) for w in ("1 heat off", "4 bag at 0", "then the ram")
        ]
        assert order == sorted(order)
        assert "Stand clear" in text
        await pilot.press(*"Kim", "enter")
        assert archive.sent == []
        assert isinstance(dashboard.screen, ReleaseGate)


async def test_the_release_gate_opens_by_name_when_all_steps_are_reached(archive, dashboard):
    async with dashboard.run_test(size=SIZE) as pilot:
        await pilot.press("4", "r")
        archive.change("P4", bag_Pa=0.0 * PSI, gate=GateView(True, True, True, True))
        dashboard.look()
        await pilot.pause()
        await pilot.press("enter")
        assert archive.sent == []
        assert any("Your name, please" in line for line in screen_lines(dashboard))
        await pilot.press(*"Kim", "enter")
        assert [(c.kind, c.operator) for c in archive.sent] == [("release", "Kim")]


async def test_an_early_release_takes_a_second_enter(archive, dashboard):
    async with dashboard.run_test(size=SIZE) as pilot:
        await pilot.press("4", "r", *"Kim")
        archive.change("P4", gate=GateView(True, False, False, True, "cure not reached"))
        dashboard.look()
        await pilot.press("enter")
        assert archive.sent == []
        assert any("RELEASED EARLY" in line for line in screen_lines(dashboard))
        await pilot.press("enter")
        assert [c.kind for c in archive.sent] == ["release"]


async def test_alarms_lists_standing_and_what_to_do(dashboard):
    async with dashboard.run_test(size=SIZE) as pilot:
        await pilot.press("a")
        text = "\n".join(screen_lines(dashboard)[2:])
        assert "PRESS 2  BAG LOW" in text
        assert "NOT ACKNOWLEDGED" in text
        assert "Open the remote air valve now." in text
        assert "follows: pressure lost" in text
        assert "▌ ▲ PRESS 2" in text
        await pilot.press("down", "down")
        text = "\n".join(screen_lines(dashboard)[2:])
        assert "▌ ▲ PRESS 3  HEAT LOST" in text
        await pilot.press("escape")
        assert isinstance(dashboard.screen, FloorScreen)


async def test_theme_and_units_switch_live(dashboard):
    async with dashboard.run_test(size=SIZE) as pilot:
        assert "301" in screen_lines(dashboard)[2]
        await pilot.press("t")
        assert dashboard.theme == "press-contrast"
        await pilot.press("t", "u")
        await pilot.pause()
        assert dashboard.theme == "press-dark"
        assert "149" in screen_lines(dashboard)[2]
        assert "°C" in screen_lines(dashboard)[2]
        assert "228 kPa" in screen_lines(dashboard)[3]


@pytest.mark.parametrize("key", ["question_mark", "f1"])
async def test_help_speaks_of_the_screen_shown(dashboard, key):
    async with dashboard.run_test(size=(100, 40)) as pilot:
        await pilot.press("1", key)
        assert isinstance(dashboard.screen, ExplainDialog)
        text = " ".join(screen_lines(dashboard))
        assert "inner mat on the left" in text
        assert "it is no safety device" in text
        await pilot.press("escape")


async def test_quit_says_what_keeps_recording(archive, dashboard):
    async with dashboard.run_test(size=SIZE) as pilot:
        await pilot.press("q")
        assert isinstance(dashboard.screen, LeaveDialog)
        text = "\n".join(screen_lines(dashboard))
        assert "keeps watching and recording" in text
        assert "press 2 South: hold" in text
        await pilot.press("escape")
        assert isinstance(dashboard.screen, FloorScreen)
        await pilot.press("q", "enter")
    assert archive.sent == []
    assert dashboard.return_code == 0


async def test_the_demo_says_that_its_recorder_ends(archive):
    app = make_dashboard(archive, demo=True)
    async with app.run_test(size=SIZE) as pilot:
        assert "demo" in screen_lines(app)[-1]
        await pilot.press("q")
        assert "its recorder ends with it" in " ".join(screen_lines(app))


async def test_zoom_and_next_section(archive, dashboard):
    shot = archive.presses[0].snapshot
    archive.change("P1", stacks=(shot.stacks[0], replace(shot.stacks[0], name="skive edge")))
    async with dashboard.run_test(size=(120, 36)) as pilot:
        await pilot.press("1")
        assert "whole [Z]" in "\n".join(screen_lines(dashboard))
        await pilot.press("z", "n")
        text = "\n".join(screen_lines(dashboard))
        assert "15 min [Z]" in text
        assert "skive edge [N]" in text


async def test_a_silent_recorder_is_loud_and_can_be_started(archive):
    calls = []
    app = make_dashboard(archive, restart=lambda: calls.append(1) or "the port is taken")
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("f5")
        assert calls == []
        archive.clock.forward(4.0)
        app.look()
        await pilot.pause()
        lines = screen_lines(app)
        assert "RECORDER SILENT" in lines[0]
        assert "NOT HEARD" in lines[2]
        assert "[F5]" in lines[0]
        assert "Look at the presses themselves." in lines[1]
        await pilot.press("f5")
        await app.workers.wait_for_complete()
        await pilot.pause()
        assert calls == [1]
        assert "the port is taken" in screen_lines(app)[-2]
        archive.beat()
        app.look()
        await pilot.pause()
        assert "BAG LOW" in screen_lines(app)[0]


async def test_the_bell_repeats_until_acknowledged(archive, dashboard, monkeypatch):
    rung = []
    monkeypatch.setattr(dashboard, "bell", lambda: rung.append(archive.clock.mono))
    async with dashboard.run_test(size=SIZE):
        dashboard.look()
        assert len(rung) == 1
        archive.clock.forward(2.0)
        archive.beat()
        dashboard.look()
        assert len(rung) == 1
        archive.clock.forward(3.5)
        archive.beat()
        dashboard.look()
        assert len(rung) == 2
        shot = archive.presses[1].snapshot
        archive.change("P2", alarms=(replace(shot.alarms[0], state=AlarmState.ACKNOWLEDGED),))
        archive.clock.forward(30)
        archive.beat()
        dashboard.look()
        assert len(rung) == 2


async def test_no_horn_is_said_in_words(archive, dashboard, monkeypatch):
    real = archive.press_states

    def states(known=None):
        return {n: replace(s, snapshot={**s.snapshot, "recorder": {"horn": "none"}}) for n, s in real().items()}

    monkeypatch.setattr(archive, "press_states", states)
    async with dashboard.run_test(size=SIZE):
        assert "no horn" in screen_lines(dashboard)[-1]


async def test_every_footer_key_does_something(dashboard):
    async with dashboard.run_test(size=(120, 36)) as pilot:
        foot = dashboard.screen.foot
        spots = {action: x for x, _, action in (foot.cells() and foot._spots) if action}
        await pilot.click("Footline", offset=(spots["app.alarms"] + 1, 1))
        await pilot.pause()
        assert dashboard.screen.place == "Alarms"


async def test_paging_shows_what_is_hidden_with_its_alarms():
    archive = shop_of(many_presses(6))
    app = make_dashboard(archive)
    async with app.run_test(size=SIZE) as pilot:
        assert "presses 1-4 of 6" in screen_lines(app)[-2]
        assert "alarms on press 6" in screen_lines(app)[-2]
        await pilot.press("down")
        text = "\n".join(screen_lines(app))
        assert "5 Bay 5" in text
        assert "1 Bay 1" not in text
        await pilot.press("up")
        assert "1 Bay 1" in "\n".join(screen_lines(app))


async def test_the_palette_lists_everything_possible_now(dashboard):
    async with dashboard.run_test(size=SIZE):
        titles = [c.title for c in dashboard.get_system_commands(dashboard.screen)]
        assert titles[0] == "Acknowledge"
        for name in (
            "Press 2 South",
            "Press 4 Small: release gate",
            "Press 1 North: log of this cure",
            "Shelve: press 2 bag low",
            "Shelve: press 3 heat lost",
            "Load a press",
            "Alarms",
            "Theme",
            "Units",
            "Help",
        ):
            assert name in titles


async def test_no_color_makes_what_is_wrong_the_brightest(archive, monkeypatch):
    monkeypatch.setenv("NO_COLOR", "1")
    app = make_dashboard(archive)
    async with app.run_test(size=SIZE) as pilot:
        assert app.theme == "press-mono"
        assert "▲ BAG LOW" in screen_lines(app)[7]
        await pilot.press("t")
        assert app.theme == "press-mono"


@pytest.mark.parametrize(("small", "capital"), [("a", "A"), ("l", "L"), ("t", "T"), ("q", "Q")])
async def test_capital_letters_do_what_the_footer_shows_in_capitals(small: str, capital: str) -> None:
    """Caps lock is on half the time at a shop PC, and the footer names its keys in capitals."""
    seen = []
    before = None
    for key in (small, capital):
        app = make_dashboard(shop_of(four_presses()))
        async with app.run_test(size=(120, 36)) as pilot:
            before = (type(app.screen).__name__, app.theme)
            await pilot.press(key)
            await pilot.pause()
            seen.append((type(app.screen).__name__, app.theme))
    assert seen[0] == seen[1]
    assert seen[0] != before

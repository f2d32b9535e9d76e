"""The setup screen and the first run by keys, over pseudo-terminals and a real shop file."""

from __future__ import annotations

import sys
import threading
from dataclasses import replace
from datetime import UTC
from pathlib import Path

import pytest

from drivers.ports import FoundPort, PortIdentity
from press_monitor.screens.app import Dashboard
from press_monitor.screens.setup.hands import Hands
from press_monitor.screens.setup.pattern import draw_pattern
from press_monitor.screens.setup.screen import SetupScreen
from press_monitor.screens.setup.welcome import FirstRun, WelcomeScreen
from press_monitor.screens.shopview import ShopView
from press_monitor.screens.widgets.palette import Look, Marker
from press_monitor.setup.findings import fine, note, problem
from press_monitor.setup.steps import Facts
from press_monitor.shop import load_shop
from tests.drivers.wires import instrument
from tests.screens.conftest import screen_lines
from tests.screens.fakes import shop_of
from tests.shopfiles import SHOP

SIZE = (80, 24)
posix = pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pseudo-terminal pairs")
FINDINGS = (
    fine("clock", "agrees with what the archive holds"),
    problem("port", "P1: /dev/ttyUSB0 is not there", "plug it in"),
    note("horn", "no horn: alarms are heard only where a screen is open", "[horn] in the shop file"),
)


class Desk:
    """A computer with a shop file or none, and the ports the test says."""

    def __init__(self, folder: Path, text: str | None = None) -> None:
        self.file = folder / "shop.toml"
        if text is not None:
            self.file.write_text(text, encoding="utf-8")
        self.ports: tuple[FoundPort, ...] = ()
        self.held: dict[str, str] = {}
        self.recording = False

    def facts(self) -> Facts:
        if self.file.exists():
            load_shop(self.file)
        return Facts(self.file.read_text("utf-8") if self.file.exists() else None, self.ports, self.held)

    def hands(self, **changes) -> Hands:
        return replace(Hands(self.file, self.facts, lambda: FINDINGS, lambda: self.recording), **changes)


def dashboard(desk: Desk, **changes) -> Dashboard:
    archive = shop_of()
    view = ShopView("Juniper Flat", ShopView.of(load_shop(desk.file)).units, (), zone=UTC)
    return Dashboard(archive.source(), view, marker=Marker.BRAILLE, hands=desk.hands(**changes))


async def until(app, pilot, words: str) -> str:
    """Wait until something stands on the screen; a test that never sees it ends by its deadline."""
    for _ in range(400):
        await pilot.pause(0.02)
        text = "\n".join(screen_lines(app))
        if words in text:
            return text
    raise AssertionError(f"{words!r} never came:\n{text}")


def question(app) -> str:
    step = app.screen.wizard_page.wizard.step
    return step.key if step is not None and hasattr(step, "key") else ""


@posix
async def test_from_a_bare_computer_to_a_press_that_reads(tmp_path):
    """The whole way by keys: welcome, shop, press, port, what each value is, live, written."""
    desk = Desk(tmp_path)
    count = iter(range(100_000))
    with instrument(lambda _: f"T1=300.{next(count) % 10} F P=32\r\n".encode()) as port:
        app = FirstRun(tmp_path / "archive.sqlite", desk.hands())
        async with app.run_test(size=SIZE) as pilot:
            assert isinstance(app.screen, WelcomeScreen)
            assert "no safety device" in " ".join(screen_lines(app))
            await pilot.press("1", "enter")
            await until(app, pilot, "What is your shop called?")
            await pilot.press("ctrl+u", *"Juniper Flat", "enter", "1", "enter", "enter", *"North", "enter")
            await until(app, pilot, "How does its instrument speak?")
            await pilot.press("2", "enter")
            await until(app, pilot, "Its device name or address:" if not desk.ports else "Which port")
            await pilot.press(*port, "enter")
            await until(app, pilot, "What does it want to be asked?")
            await pilot.press("ctrl+u", *r"?\r", "enter")
            text = await until(app, pilot, "T1 reads 300.")
            assert "9600 baud: T1=300." in text, "what came stays in sight"
            await pilot.press("1", "enter")
            await until(app, pilot, "P reads 32")
            await pilot.press("2", "enter", "1", "enter")
            await until(app, pilot, "Is that right?")
            first = await until(app, pilot, "inner_mat       300.")
            assert "bag             32.00 psi" in first
            line = next(n for n in first.split("\n") if "inner_mat       300." in n)
            for _ in range(400):
                await pilot.pause(0.02)
                if line not in "\n".join(screen_lines(app)):
                    break
            else:
                raise AssertionError("the values stand still")
            assert app.screen.wizard_page.jobs.busy
            await pilot.press("1", "enter")
            await until(app, pilot, "P1 is in the shop file.")
            await pilot.press("enter")
    assert app.chosen == "start"
    shop = load_shop(desk.file)
    assert shop.name == "Juniper Flat"
    assert shop.presses["P1"].title == "North"
    assert shop.presses["P1"].options["ask"] == "?\r"
    assert len(shop.repairs) == 3, "something to start in two keys on the first day"


@posix
async def test_leaving_lets_the_port_go(tmp_path):
    desk = Desk(tmp_path, SHOP)
    asked = threading.Event()

    def answer(_: bytes) -> bytes:
        asked.set()
        return b""

    with instrument(answer) as port:
        desk.ports = (FoundPort(port, PortIdentity(), "a wire"),)
        app = dashboard(desk)
        async with app.run_test(size=SIZE) as pilot:
            await pilot.press("f2")
            await until(app, pilot, "A short name for the press:")
            await pilot.press("enter", "enter", "2", "enter")
            await until(app, pilot, "Which port is it on?")
            await pilot.press("1", "enter")
            await until(app, pilot, "What does it want to be asked?")
            await pilot.press("enter")
            await until(app, pilot, "Listening to the port")
            for _ in range(400):
                if asked.is_set():
                    break
                await pilot.pause(0.02)
            assert asked.is_set()
            jobs = app.screen.wizard_page.jobs
            assert jobs.busy
            await pilot.press("escape")
            await until(app, pilot, "What does it want to be asked?")
            for _ in range(400):
                if not jobs.busy:
                    break
                await pilot.pause(0.02)
            assert not jobs.busy, "the thread has ended and with it the port"
            await pilot.press("enter")
            await until(app, pilot, "Listening to the port")
            app.screen.dismiss()
            for _ in range(400):
                if not jobs.busy:
                    break
                await pilot.pause(0.02)
            assert not jobs.busy


async def test_a_port_that_a_recorder_holds_is_named_and_not_offered(tmp_path):
    desk = Desk(tmp_path, SHOP)
    desk.ports = (FoundPort("COM3", PortIdentity()), FoundPort("COM4", PortIdentity(0x0403, 0x6001, "A10K"), "Adapter"))
    desk.held = {"COM3": "in use by P1, which records now"}
    app = dashboard(desk)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("f2")
        await until(app, pilot, "A short name for the press:")
        await pilot.press("enter", "enter", "1", "enter")
        text = await until(app, pilot, "Which port is it on?")
        assert "COM3: in use by P1, which records now" in text
        assert [o.value for o in app.screen.wizard_page.choice.options] == ["COM4", "other"]
        desk.held = {}
        await pilot.press("f9")
        await app.workers.wait_for_complete()
        await pilot.pause()
        assert [o.value for o in app.screen.wizard_page.choice.options] == ["COM3", "COM4", "other"]
        assert question(app) == "port", "what was answered still stands"


async def test_bad_answers_are_said_under_the_question_and_escape_goes_back(tmp_path):
    app = dashboard(Desk(tmp_path, SHOP))
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("f2")
        await until(app, pilot, "A short name for the press:")
        await pilot.press("ctrl+u", *"P 2", "enter")
        await until(app, pilot, "letters, digits, - and _ only")
        assert app.screen.wizard_page.entry.value == "P 2", "what was typed can be mended"
        await pilot.press("ctrl+u", *"P7", "enter")
        await until(app, pilot, "What do people call it?")
        assert "P7" in screen_lines(app)[3]
        await pilot.press("escape")
        await until(app, pilot, "A short name for the press:")
        await pilot.press("escape")
        await pilot.pause()
        assert not isinstance(app.screen, SetupScreen)


async def test_a_simulated_press_is_added_with_every_comment_kept(tmp_path):
    text = SHOP.replace("[presses.P1]", "# by the door\n[presses.P1]  # since 2019")
    desk = Desk(tmp_path, text)
    desk.recording = True
    app = dashboard(desk)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("ctrl+p", *"set up a press")
        await pilot.pause(0.3)
        await pilot.press("enter")
        await until(app, pilot, "A short name for the press:")
        await pilot.press("enter", "enter", "3", "enter")
        text_shown = await until(app, pilot, "P2 is in the shop file.")
        assert "press-monitor recorder --stop" in text_shown, "a running recorder does not know yet"
        assert desk.file.read_text("utf-8").startswith(text.rstrip("\n"))
        assert set(load_shop(desk.file).presses) == {"P1", "P2"}
        await pilot.press("enter")
        await pilot.pause()
        assert not isinstance(app.screen, SetupScreen)


async def test_a_file_that_cannot_be_written_is_told_and_left(tmp_path):
    def full(path: Path, text: str) -> None:
        raise OSError(28, "No space left on device")

    desk = Desk(tmp_path, SHOP)
    app = dashboard(desk, write=full)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("f2")
        await until(app, pilot, "A short name for the press:")
        await pilot.press("enter", "enter", "3", "enter")
        await until(app, pilot, "No space left on device")
        assert desk.file.read_text("utf-8") == SHOP


async def test_a_shop_file_that_cannot_be_read_is_told_with_its_line(tmp_path):
    desk = Desk(tmp_path, SHOP)
    app = dashboard(desk)
    desk.file.write_text(SHOP.replace('tc50 = "6 min"', 'tc50 = "6 psi"'), "utf-8")
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("f2")
        text = await until(app, pilot, "is not a unit of time.")
        assert "tc50" in text
        assert "Nothing\n was changed." in text or "Nothing was changed." in text
        await pilot.press("escape")
        await pilot.pause()
        assert not isinstance(app.screen, SetupScreen)


async def test_the_check_says_in_words_what_is_wrong_first(tmp_path):
    app = dashboard(Desk(tmp_path, SHOP))
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("f2", "f4")
        text = await until(app, pilot, "1 problem")
        places = [text.index(words) for words in ("P1: /dev/ttyUSB0 is not there", "no horn", "agrees with")]
        assert places == sorted(places)
        assert "plug it in" in text
        await pilot.press("down")
        assert "is not there" not in "\n".join(screen_lines(app))
        await pilot.press("escape", "escape")
        await pilot.pause()
        assert not isinstance(app.screen, SetupScreen)


async def test_the_test_pattern_shows_what_can_be_drawn_and_a_digit_takes_it(tmp_path):
    app = dashboard(Desk(tmp_path, SHOP))
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("f2", "f3")
        await pilot.pause()
        text = "\n".join(screen_lines(app))
        assert any("\u2801" <= c <= "\u28ff" for c in text)
        assert "▀" in text
        assert "braille" in text
        await pilot.press("3")
        await pilot.pause()
        assert app.marker is Marker.ASCII
        assert "letters only, for any terminal, in use" in "\n".join(screen_lines(app))
        spots = {name: first for first, _, name in app.screen.strip._spots}
        await pilot.click("PageStrip", offset=(spots["press"] + 1, 0))
        await pilot.pause()
        assert app.screen.here == "press"


@pytest.mark.parametrize("marker", list(Marker))
@pytest.mark.parametrize("size", [(80, 17), (200, 40), (20, 4)])
def test_the_pattern_draws_at_any_size(marker, size):
    cells = draw_pattern(*size, Look(marker=marker))
    assert (cells.width, cells.height) == size


async def test_the_first_run_offers_the_demo_and_closes_at_once(tmp_path):
    for keys, chosen in ((("2", "enter"), "demo"), (("q",), ""), (("escape",), "")):
        app = FirstRun(tmp_path / "archive.sqlite", Desk(tmp_path).hands())
        async with app.run_test(size=SIZE) as pilot:
            assert "No shop file yet" in screen_lines(app)[0]
            await pilot.press(*keys)
            await pilot.pause()
        assert app.chosen == chosen


@pytest.mark.parametrize("size", [(80, 24), (200, 50), (40, 12)])
async def test_setup_can_be_used_at_every_size(tmp_path, size):
    app = dashboard(Desk(tmp_path, SHOP))
    async with app.run_test(size=size) as pilot:
        await pilot.press("f2")
        text = await until(app, pilot, "A short name for")
        assert "PRESS 2" in text.split("\n")[0]
        await pilot.press("enter", "enter")
        await until(app, pilot, "sends lines")

"""A whole shift at the keyboard of a real terminal: load, start, alarm, acknowledge, extend, heat off, release,
certificate, inspection, comeback; a simulated press at speed, a real recorder and a real dashboard.
"""

from __future__ import annotations

import os
import shutil
import sys
from pathlib import Path

import pytest

from press_monitor.archive import ArchiveReader
from press_monitor.paths import HOME_VARIABLE, Locations
from tests.crash.processes import ROOT, SHOP, Folder, until
from tests.screens.terminal import Terminal

pytestmark = [
    pytest.mark.terminal,
    pytest.mark.skipif(shutil.which("tmux") is None, reason="tmux is not installed"),
]

SPEED = 90.0
PRESS = """
[presses.P1]
title = "North"
driver = "simulated"
recipe = "section-300"
[presses.P1.options]
seed = 11
heat_on_min = 18
heat_up_min = 8
heat_off_min = 46
mat_fall_min = 3
vent_below_degF = 170
after_min = 60
thickness_mm = 8
faults = [{ kind = "silence", at_min = 31, for_min = 2 }]
"""


@pytest.fixture
def home(tmp_path):
    places = Locations.under(tmp_path).create()
    folder = Folder(tmp_path, speed=SPEED)
    folder.shop, folder.archive, folder.key = places.shop_file, places.archive, places.key_file
    places.shop_file.write_text(SHOP.partition("[presses.P1]")[0] + PRESS, encoding="utf-8")
    yield folder, tmp_path
    folder.end()


def _acknowledged(screen: Terminal) -> bool:
    """Press Enter, and once more where it was taken for a slip: it means what has been read, not what just came up."""
    screen.keys("Enter")
    try:
        screen.see("done: acknowledge", deadline=2.0)
    except AssertionError:
        return False
    return True


def test_a_whole_shift(home):
    folder, path = home
    folder.start()
    environ = {HOME_VARIABLE: str(path), "PYTHONPATH": str(ROOT), "COLORTERM": "truecolor", "TZ": "UTC"}
    environ["PATH"] = os.environ["PATH"]
    with Terminal.running([sys.executable, "-m", "press_monitor"], environ, Path(path), 120, 36) as screen:
        screen.see("1 North", "recorder")
        # load and start
        screen.keys("l")
        screen.see("Load", "sidewall")
        screen.keys("1", "F10")
        screen.see("done: start")
        started = until(folder.open_cycle, "a cycle").start
        assert (started.press, started.repair is None) == ("P1", False)
        screen.see("HEAT-UP")
        screen.keys("1")
        screen.see("Through the repair", "Esc back")
        # extend
        screen.keys("e")
        screen.see("Extend the hold, press 1 North")
        screen.keys("1", "Enter")
        screen.see("done: extend the hold on press 1 by 5 min")
        # alarm and acknowledgement
        screen.see("NO READINGS", "[Enter] acknowledge")
        until(lambda: _acknowledged(screen), "the acknowledgement")
        # the heat goes off at the press; it is noted, and the gate opens step by step
        screen.see("CURE DONE")
        screen.keys("h")
        screen.see("Heat is off on press 1 North?")
        screen.keys("Enter")
        screen.see("COOLING", "Release gate")
        screen.keys("r")
        screen.see("Release gate, press 1 North")
        number = until(
            lambda: folder.ask(lambda r: max((row.number for row in r.records()), default=None)), "a certificate"
        )
        screen.see("Already released.")
        screen.keys("Escape")
        screen.gone("Release gate,")
        # certificate, inspection, comeback
        screen.keys("c")
        screen.see(f"Certificate {number}: ")
        screen.keys("i")
        screen.see(f"Inspection of certificate {number}")
        screen.keys("Enter")
        screen.see("who has looked at it?")
        screen.type("Ines")
        screen.see("Ines")
        screen.keys("Enter")
        screen.see("done: inspection")
        screen.keys("b")
        screen.see("What was wrong", "● 1")
        screen.keys("2")
        screen.see("● 2")
        screen.keys("Enter")
        screen.see("done: ")
        with ArchiveReader(folder.archive) as reader:
            until(lambda: reader.records()[0].comeback, "the comeback in the records")
            row = reader.records()[0]
            events = [e.event["action"]["kind"] for e in reader.events(started.cycle_id) if e.kind == "OperatorDid"]
        assert (row.inspection, row.comeback) == ("sound", "cure sponge")
        assert {"acknowledge", "extend", "heat-off"} <= set(events)

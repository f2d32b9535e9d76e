"""The whole recorder in one process over a real archive: stuck ports, a failing disk, late commands."""

from __future__ import annotations

import sqlite3
import threading
import time

import pytest

from drivers.base import PortLost, Sample
from press_monitor.archive import Archive, ArchiveReader, command_answer, new_command, send_command
from press_monitor.recorder.clock import ShopClock
from press_monitor.recorder.recorder import Recorder
from press_monitor.shop import ShopError
from tests.crash.processes import until
from tests.recorder.shops import THIN, demo_shop_file


class Steady:
    """An instrument that says the same every 50 ms until told to stick or to be lost."""

    def __init__(self, settings, clock):
        self.clock, self.pause = clock, threading.Event()
        self.stick, self.stuck, self.lost = threading.Event(), threading.Event(), False

    def open(self):
        if self.lost:
            raise PortLost("pulled out")

    def read(self, wait):
        if self.lost:
            raise PortLost("pulled out")
        if self.stick.is_set():
            self.stuck.set()
            self.pause.wait(30.0)
        self.pause.wait(0.05)
        at = self.clock()
        return [
            Sample("inner_mat", 70.0, "degF", at),
            Sample("outer_mat", 71.0, "degF", at),
            Sample("bag", 32.0, "psi", at),
        ]

    def close(self):
        return


class Running:
    def __init__(self, folder):
        self.drivers = []
        self.archive, self.key = folder / "archive.sqlite", folder / "ledger.key"
        shop = demo_shop_file(folder, presses=2)
        self.recorder = Recorder(shop, self.archive, self.key, clock=ShopClock(8.0), make=self._make)
        self.recorder.start()
        self.thread = threading.Thread(target=self.recorder.run)
        self.thread.start()
        self.reader = ArchiveReader(self.archive)

    def _make(self, name, settings, clock):
        self.drivers.append(Steady(settings, clock))
        return self.drivers[-1]

    def tell(self, kind, issued=None, **more):
        command = new_command(kind, time.time() if issued is None else issued, **more)
        send_command(self.archive, command)
        return until(lambda: command_answer(self.archive, command.uuid), f"an answer to {kind}")

    def state(self, press):
        states = self.reader.press_states()
        return states[press].snapshot if press in states else None

    def rows(self, press):
        cycle = next(c for c in self.reader.open_cycles() if c.start.press == press)
        return self.reader.rows(cycle.start.cycle_id).rows()

    def stop(self):
        self.reader.close()
        self.recorder.stop()
        self.thread.join(10.0)
        for driver in self.drivers:
            driver.stick.clear()
            driver.pause.set()
        return self.recorder.close()


@pytest.fixture
def running(tmp_path):
    made = Running(tmp_path)
    until(lambda: made.state("P1") and made.state("P1")["inner"]["value_degC"], "the first readings")
    yield made
    if made.thread.is_alive():
        made.stop()


def test_a_stuck_port_delays_no_other_press_and_a_lost_one_is_told(running):
    assert running.tell("start", press="P1", args=THIN).answer == "done"
    assert running.tell("start", press="P2", args=THIN).answer == "done"
    running.drivers[1].stick.set()
    assert running.drivers[1].stuck.wait(5.0)
    began = len(running.rows("P1"))
    until(lambda: len(running.rows("P1")) >= began + 3, "three more rows of the first press")
    until(lambda: running.rows("P2")[-1][2] == (None, None, None), "empty rows of the second")
    assert None not in running.rows("P1")[-1][2]
    running.drivers[0].lost = True
    port = until(
        lambda: (p := running.state("P1")["recorder"]["port"])["state"] == "lost" and p, "the lost port's state"
    )
    assert port["why"] == "pulled out" and (port["word"], port["trouble"]) == ("failed", True)
    shown = until(lambda: (v := running.state("P1"))["port"] and v, "the running press's port")
    assert (shown["port"]["state"], shown["port"]["words"]) == ("failed", "pulled out")
    silent = until(
        lambda: next((a for a in running.state("P1")["alarms"] if a["kind"] == "no-readings"), None), "its alarm"
    )
    assert silent["message"].endswith("port failed, trying again")
    assert running.state("P1")["recorder"]["horn"] == "none"
    running.drivers[0].lost = False
    until(lambda: running.state("P1")["recorder"]["port"]["state"] == "open", "the port to be opened again")


def test_a_failing_disk_stops_neither_the_watch_nor_the_readings_and_nothing_is_lost(running, monkeypatch):
    assert running.tell("start", press="P1", args=THIN).answer == "done"
    failing = threading.Event()
    failing.set()
    transaction = Archive.transaction

    def refuse(self):
        if failing.is_set() and threading.current_thread().name == "writer":
            raise sqlite3.OperationalError("database or disk is full")
        return transaction(self)

    kept = len(running.rows("P1"))
    monkeypatch.setattr(Archive, "transaction", refuse)
    station = running.recorder.stations["P1"]
    seq = station.cycle.seq
    until(lambda: station.cycle.seq >= seq + 3, "three more seconds through the watch")
    assert len(running.rows("P1")) <= kept + 1
    until(lambda: station.about["archive_failing_since_utc"] is not None, "the recorder to know")
    assert "disk is full" in station.about["archive_why"]
    until(lambda: "archive-failing" in [a["kind"] for a in station.about["alarms"]], "an alarm of the recorder's own")
    failing.clear()
    until(lambda: len(running.rows("P1")) > seq + 3, "all of it, once the disk is back")
    assert [row[0] for row in running.rows("P1")] == list(range(len(running.rows("P1"))))
    until(lambda: running.state("P1")["recorder"]["archive_failing_since_utc"] is None, "the all-clear")


def test_late_and_lost_commands(running):
    assert running.tell("start", issued=time.time() - 11.0, press="P1", args=THIN).answer == "expired"
    assert running.state("P1")["phase"] == "empty"
    answer = running.tell("release", press="P9")
    assert (answer.answer, answer.text) == ("refused", "no press 'P9'; there are: P1, P2")
    answer = running.tell("stop-recorder")
    assert answer.answer == "done" and "go on when it is started again" in answer.text
    running.thread.join(5.0)
    assert not running.thread.is_alive() and running.stop()


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("seed = 1", "seed = -1", "presses.P1.options.seed: "),
        ('driver = "simulated"', 'driver = "steam"', 'presses.P1.driver: there is no driver "steam"'),
    ],
)
def test_what_a_driver_cannot_use_names_file_and_key_and_touches_no_archive(tmp_path, old, new, message):
    shop = demo_shop_file(tmp_path)
    text = (tmp_path / "shop.toml").read_text()
    assert old in text
    (tmp_path / "shop.toml").write_text(text.replace(old, new))
    from press_monitor.shop import load_shop

    with pytest.raises(ShopError) as refused:
        Recorder(load_shop(tmp_path / "shop.toml"), tmp_path / "a.sqlite", tmp_path / "k")
    assert message in str(refused.value) and str(shop.file) in str(refused.value)
    assert not (tmp_path / "a.sqlite").exists()

"""Clock steps and sleep are kept for the whole shop, and ports are opened anew after a sleep."""

from __future__ import annotations

import threading

from press_monitor.archive import ArchiveReader
from press_monitor.recorder.clock import ShopClock
from press_monitor.recorder.recorder import Recorder
from tests.crash.processes import until
from tests.recorder.fakes import FakeTime
from tests.recorder.shops import demo_shop_file


class Silent:
    """An instrument that says nothing; counts how often it was opened."""

    def __init__(self, *_):
        self.opened, self.pause = 0, threading.Event()

    def open(self):
        self.opened += 1

    def read(self, wait):
        self.pause.wait(0.01)
        return ()

    def close(self):
        return


def test_a_set_clock_and_a_sleep_are_kept_though_no_cycle_runs(tmp_path):
    fake, driver = FakeTime(), Silent()
    archive = tmp_path / "archive.sqlite"
    recorder = Recorder(
        demo_shop_file(tmp_path),
        archive,
        tmp_path / "ledger.key",
        clock=ShopClock(2.0, real=fake.real, wall=fake.wall),
        make=lambda *_: driver,
    )
    recorder.start()
    try:
        until(lambda: driver.opened == 1, "the port to be opened")
        fake.pass_(1.0)
        fake.utc -= 3600.0
        recorder.once()
        assert driver.opened == 1
        fake.pass_(600.0)
        recorder.once()
        until(lambda: driver.opened == 2, "the port to be opened again")
        for _ in range(3):
            fake.pass_(4.0)
            recorder.once()

        def kept():
            with ArchiveReader(archive) as reader:
                return [(event.kind, event.event) for event in reader.events(None)]

        told = until(lambda: len(kept()) >= 4 and kept(), "the events")
        assert [(kind, event.get("seconds")) for kind, event in told if kind != "recorder-alarm"] == [
            ("clock-step", -3600.0),
            ("sleep-gap", 600.0),
        ]
        alarms = [event["alarm"] for kind, event in told if kind == "recorder-alarm"]
        assert [(a["kind"], a["priority"], a["cleared_s"] is None) for a in alarms] == [
            ("clock-step", "low", True),
            ("clock-step", "low", False),
        ]
    finally:
        recorder.close()

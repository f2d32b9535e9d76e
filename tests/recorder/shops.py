"""A shop file for the recorder's tests, and presses of it run on a fake clock."""

from __future__ import annotations

from pathlib import Path

from drivers.base import Fault, Sample
from drivers.press_options import press_settings
from drivers.simulated_press import SimulatedPress
from press_monitor.readings.conditioning import PressConditioner
from press_monitor.recorder.scenarios import shop_text
from press_monitor.recorder.station import Station
from press_monitor.recorder.watches import ShopWatches
from press_monitor.shop import load_shop
from press_monitor.shop_channels import press_channels
from tests.recorder.fakes import FakeTime, MemoryArchive

THIN = {"recipe": "sidewall-300", "preset": "sidewall-16", "ticket": {"tire": "skid-steer", "mats_overlap": True}}


def demo_shop_file(folder: Path, presses: int = 1):
    path = folder / "shop.toml"
    path.write_text(shop_text(presses), encoding="utf-8")
    return load_shop(path)


class Bench:
    """One station on a fake clock, its archive a list, its samples whatever the test gives."""

    def __init__(self, folder: Path, interval: int = 1):
        self.time = FakeTime()
        self.archive = MemoryArchive()
        self.interval = interval
        self.shop = demo_shop_file(folder)
        self.press = self.shop.presses["P1"]
        channels = press_channels(self.press, self.shop)
        self.watches = ShopWatches(self.press, self.shop, channels)
        self.station = Station(
            "P1",
            PressConditioner(channels),
            self.watches,
            self.archive.put,
            monotonic=self.time.real,
            utc=self.time.wall,
            interval=interval,
            new_id=lambda: f"{len(self.archive.starts) + 1:032x}",
        )

    def second(self, inner=None, outer=None, bag=None, pause=1.0):
        """Let a second pass and these values come at its end; None: nothing comes of that channel."""
        self.time.pass_(pause)
        given = (("inner_mat", inner, "degF"), ("outer_mat", outer, "degF"), ("bag", bag, "psi"))
        self.station.take([Sample(c, v, u, self.time.real()) for c, v, u in given if v is not None])

    def frame(self, frame):
        """Let the grid's step pass and a simulated press's frame come."""
        self.time.pass_(float(self.interval))
        at = self.time.real()
        self.station.take(
            [
                Sample(name, v, "psi" if name == "bag" else "degF", at, Fault.OPEN if v is None else None)
                for name, v in frame.readings
            ]
        )


def frames(count: int, **options):
    """So many frames of a simulated press that cures a 16 mm sidewall quickly."""
    usual = {"thickness_mm": 16, "heat_up_min": 6, "heat_off_min": 36, "mat_fall_min": 3, "vent_below_degF": 175}
    press = SimulatedPress(press_settings({**usual, **options}))
    return [press.step() for _ in range(count)]

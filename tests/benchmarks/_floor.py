"""A floor of presses in the middle of their cures, for measuring the recorder and what looks at it.

Six channels a press at 1 Hz, a heat-up of eighteen minutes and then a thermostat's cycle with the noise of real probes.
The cures stand at different ages, half of them have two stacks, and each press's readings come at its own part of the
second. Seeded; all figures are invented.
"""

from __future__ import annotations

import math
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from drivers.base import Clock, Driver, Sample
from drivers.pacing import Pace
from press_monitor.archive import Archive, CycleStart
from press_monitor.archive.types import ChannelMeta, Json, LiveRow
from press_monitor.fitting import fit_press
from press_monitor.recorder.cycle import Cycle
from press_monitor.recorder.recorder import Recorder
from press_monitor.recorder.watches import ShopWatches
from press_monitor.shop import Shop, load_shop

CHANNELS = {
    "inner_mat": "degF",
    "inner_mat.2": "degF",
    "outer_mat": "degF",
    "bag": "psi",
    "air": "degF",
    "ram": "psi",
}
RISE_MIN, HOLD_DEGF, COLD_DEGF = 18.0, 300.0, 65.0
PERIOD_S = 7200
"""Length of the series that every press's readings are taken from."""

_HEAD = """\
[shop]
name = "Juniper Flat Section Repair"
units = "us"
altitude = "300 ft"
ambient = "65 degF"
[compounds.section-gum]
reference_temperature = "150 degC"
scorch = "2.5 min"
tc50 = "6 min"
tc90 = "12 min"
activation_energy = "100 kJ/mol"
blow_point = 0.35
reversion = "400 min"
[recipes.section-300]
hold_temperature = "300 degF"
hold_tolerance = "10 degF"
maximum_temperature = "330 degF"
heat_up_limit = "25 min"
minimum_hold = "90 min"
required_cure = 0.90
release_below = "180 degF"
bag_pressure = "32 psi"
bag_minimum = "28 psi"
bag_maximum = "40 psi"
"""
_PRESS = """\
[presses.P{number}]
driver = "simulated"
recipe = "section-300"
"""
_LAYERS = """\
[[{table}]]
name = "repair patch"
thickness = "8 mm"
compound = "section-gum"
[[{table}]]
name = "{middle}"
thickness = "22 mm"
{uncured}
[[{table}]]
name = "filler rubber"
thickness = "14 mm"
compound = "section-gum"
"""


def repair_text(stacks: int) -> str:
    """A repair of 44 mm: the skive edge, and with two stacks the injury's centre, uncured all the way."""
    edge = _LAYERS.format(table="stacks.layers", middle="casing", uncured="")
    centre = _LAYERS.format(table="stacks.layers", middle="plug", uncured='compound = "section-gum"')
    text = f'[[stacks]]\nname = "skive edge"\n{edge}'
    return text if stacks == 1 else f'{text}[[stacks]]\nname = "injury centre"\n{centre}'


def shop_of(folder: Path, presses: int) -> Shop:
    """The shop file with that many presses, written and loaded."""
    path = folder / "shop.toml"
    channels = "".join(f'[presses.P{{number}}.channels."{name}"]\nunit = "{unit}"\n' for name, unit in CHANNELS.items())
    text = _HEAD + "".join((_PRESS + channels).format(number=k) for k in range(1, presses + 1))
    path.write_text(text, encoding="utf-8")
    return load_shop(path)


def series(seed: int = 1) -> np.ndarray:
    """Readings (PERIOD_S, 6), in the order of CHANNELS."""
    random = np.random.default_rng(seed)
    t = np.arange(PERIOD_S, dtype=float)
    rise = np.minimum(t / 60.0 / RISE_MIN, 1.0)
    hot = rise >= 1.0
    columns = []
    for period, depth in ((95.0, 3.0), (95.0, 2.4), (120.0, 3.5)):
        cycle = depth * np.sin(2.0 * np.pi * t / period) * hot
        columns.append(COLD_DEGF + (HOLD_DEGF - COLD_DEGF) * rise + cycle + random.normal(0.0, 0.3, PERIOD_S))
    columns.append(np.minimum(t / 20.0, 1.0) * 32.0 + random.normal(0.0, 0.04, PERIOD_S))
    columns.append(COLD_DEGF + 2.0 * np.sin(t / 900.0) + random.normal(0.0, 0.1, PERIOD_S))
    columns.append(1500.0 + random.normal(0.0, 3.0, PERIOD_S))
    return np.round(np.column_stack(columns), 2)


AGES_S = range(240, 4801, 570)
"""How far the cures are, from heat-up to the end of the hold."""

STAMPS = 100
"""Seconds after which the stamp in the air's temperature comes round again."""


def stamp_of(air_degF: float) -> int:
    """The whole second that a reading of the air names, modulo STAMPS."""
    return round(10.0 * (air_degF - 50.0))


class FloorDriver:
    """One press's readings, `age` s into its cure when it is opened, at its own part of the second.

    The air's temperature tells at which second of the shop's clock a reading was true: see `stamp_of`.
    """

    def __init__(self, rows: Sequence[Sequence[float]], age: int, part: float, clock: Clock) -> None:
        self._rows, self._age, self._part = rows, age, part
        self._clock, self._pace = clock, Pace(clock)
        self._next = self._origin = 0.0

    def open(self) -> None:
        now = self._clock()
        self._origin = self._next = math.floor(now) + 1.0 + self._part
        self._pace.start()

    def read(self, wait: float) -> Sequence[Sample]:
        if not self._pace.until(self._next, wait):
            return ()
        at, self._next = self._next, self._next + 1.0
        row = self._rows[(self._age + round(at - self._origin)) % PERIOD_S]
        stamped = {"air": 50.0 + 0.1 * (math.floor(at) % STAMPS)}
        return [
            Sample(name, stamped.get(name, value), unit, at)
            for (name, unit), value in zip(CHANNELS.items(), row, strict=True)
        ]

    def close(self) -> None:
        self._pace.stop()


@dataclass(frozen=True, slots=True)
class Begun:
    """A cure brought to some age: what its cycle starts with, its last rows, and its watch's state."""

    start: CycleStart
    rows: list[LiveRow]
    save: Json
    age: int


def _cures(shop: Shop, stacks: int, ages: Sequence[int], rows: Sequence[Sequence[float]]) -> list[Begun]:
    """One cure, kept at each of the ages."""
    press = next(iter(shop.presses.values()))
    fitted = fit_press(press, shop, time.monotonic)
    watches = ShopWatches(press, shop, fitted.channels)
    made = watches.fit({"repair": repair_text(stacks), "ticket": {"tire": "23.5R25 L3", "mats_overlap": True}})
    channels = tuple(ChannelMeta(c.name, c.unit, c.decimals) for c in fitted.channels)
    start = CycleStart(uuid.uuid4().hex, press.name, 0.0, "live", made.recipe, made.repair, made.ticket, channels, 0,
                       made.setup)  # fmt: skip
    cycle = Cycle(start, made.watch, 0.0)
    found, kept = [], []
    for second in range(max(ages) + 1):
        counts = tuple(round(v * 10**c.decimals) for v, c in zip(rows[second], channels, strict=True))
        cycle.take(float(second), counts)
        kept = [*kept[-59:], (second, second, counts)]
        if second in ages:
            found.append(Begun(start, list(kept), made.watch.save(), second))
    return found


@dataclass(frozen=True, slots=True)
class Floor:
    """A shop whose archive holds a running cure on every press, and a maker of drivers that go on with them."""

    shop: Shop
    archive: Path
    key: Path
    make: Callable[[str, Mapping[str, object], Clock], Driver]


def floor(folder: Path, presses: int, ages: Sequence[int] = AGES_S) -> Floor:
    """Make the shop, and the archive as an interruption a second ago would have left it."""
    shop = shop_of(folder, presses)
    rows = series().tolist()
    cures = [made for stacks in (1, 2) for made in _cures(shop, stacks, ages, rows)]
    begun = {name: cures[k % len(cures)] for k, name in enumerate(shop.presses)}
    archive, key = folder / "floor.sqlite", folder / "key"
    with Archive.open(archive, key_path=key, holder="benchmark") as store, store.transaction():
        now = time.time()
        for name, cure in begun.items():
            cycle_id = uuid.uuid4().hex
            store.begin_cycle(replace(cure.start, cycle_id=cycle_id, press=name, started_utc=now - cure.age))
            store.add_rows(cycle_id, cure.rows)
            store.put_save(cycle_id, cure.rows[-1][0], float(cure.age), cure.save)
    made = iter(begun.values())
    count = iter(range(presses))

    def make(_: str, options: Mapping[str, object], clock: Clock) -> Driver:
        return FloorDriver(rows, next(made).age, part_of(next(count), presses), clock)

    return Floor(shop, archive, key, make)


def bare(path: Path) -> sqlite3.Connection:
    """A database with the archive's own settings and one plain table of rows."""
    db = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    values = ", ".join(f"c{k} INTEGER" for k in range(len(CHANNELS)))
    db.execute(
        f"CREATE TABLE live (cycle INTEGER, seq INTEGER, t INTEGER, {values}, PRIMARY KEY (cycle, seq)) WITHOUT ROWID"
    )
    return db


def part_of(press: int, presses: int) -> float:
    """The part of the second at which a press's readings come; presses count from 0."""
    return press / presses


def serve(folder: Path, presses: int) -> None:
    """Record such a floor until standard input is closed, as a process of its own."""
    made = floor(folder, presses, ages=(300, 600))
    recorder = Recorder(made.shop, made.archive, made.key, make=made.make)
    recorder.start()
    loop = threading.Thread(target=recorder.run)
    loop.start()
    print("recording", flush=True)
    sys.stdin.read()
    recorder.stop()
    loop.join()
    recorder.close()


@contextmanager
def apart(presses: int) -> Iterator[tuple[Path, int]]:
    """Such a floor recorded by a process of its own: its folder, and the process's id."""
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        process = subprocess.Popen(
            [sys.executable, "-m", "tests.benchmarks._floor", folder, str(presses)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
        )  # fmt: skip
        try:
            assert process.stdout is not None
            if process.stdout.readline().strip() != "recording":
                raise RuntimeError("the recorder did not start")
            yield Path(folder), process.pid
        finally:
            process.communicate(timeout=20.0)


def rows_of(archive: Path) -> int:
    """How many rows of running cures an archive holds."""
    with closing(sqlite3.connect(archive)) as db:
        return int(db.execute("SELECT count(*) FROM live_row").fetchone()[0])


if __name__ == "__main__":
    serve(Path(sys.argv[1]), int(sys.argv[2]))

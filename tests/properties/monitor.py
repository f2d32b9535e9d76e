"""The whole recorder in one thread, for tests that say what happens and when: clocks that stand until told, presses
with simple physics of their own, an archive in a real file, and an end that comes at any write.

Nothing here reads the program's figures back to it: what the presses did is kept apart, as the truth to judge by.
"""

from __future__ import annotations

import math
import shutil
import sqlite3
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from unittest import mock

from drivers.base import Fault, Sample
from press_monitor.archive import Archive, ArchiveReader, Command, new_command, send_command
from press_monitor.archive.requests import Asked
from press_monitor.recorder import recorder as recorder_module
from press_monitor.recorder.clock import ShopClock
from press_monitor.recorder.port import PortState, PortStatus
from press_monitor.recorder.recorder import Recorder
from press_monitor.recorder.writer import Job, Writer
from press_monitor.shop import Shop, load_shop

STEP = 10
"""Seconds between readings, and the recorder's grid."""

PRESSES = ("P1", "P2")

SHOP = """
[shop]
name = "Juniper Flat Section Repair"
units = "us"
ambient = "65 degF"
[compounds.section-gum]
reference_temperature = "150 degC"
scorch = "2.5 min"
tc50 = "6 min"
tc90 = "12 min"
activation_energy = "100 kJ/mol"
blow_point = 0.35
reversion = "150 min"
[recipes.thin-300]
hold_temperature = "300 degF"
hold_tolerance = "10 degF"
maximum_temperature = "330 degF"
heat_up_limit = "20 min"
minimum_hold = "10 min"
required_cure = 0.90
release_below = "180 degF"
bag_pressure = "32 psi"
bag_minimum = "28 psi"
bag_maximum = "40 psi"
[repairs.sidewall]
mats_overlap = true
[[repairs.sidewall.layers]]
name = "repair patch"
thickness = "4 mm"
compound = "section-gum"
[[repairs.sidewall.layers]]
name = "casing"
thickness = "4 mm"
[[repairs.sidewall.layers]]
name = "filler rubber"
thickness = "4 mm"
compound = "section-gum"
""" + "".join(f'[presses.{name}]\ndriver = "simulated"\nrecipe = "thin-300"\nprobe_at = "rubber"\n' for name in PRESSES)

TICKET = {"tire": "skid-steer 12-16.5", "section": "sidewall", "mats_overlap": True}
START: dict[str, Any] = {"recipe": "thin-300", "preset": "sidewall", "ticket": TICKET}

ROOM, HOT, FULL, MINIMUM = 65.0, 300.0, 32.0, 28.0
TC90_MIN, SCORCH_MIN, PAST_BLOW_MIN = 12.0, 2.5, 6.0
"""The compound's card above, minutes at 150 degC; 6 min (tc50) lies past its blow point of 35 %."""


def equivalent_min(degF: float, seconds: float) -> float:
    """Minutes at 150 degC that so long at a temperature is worth, at 100 kJ/mol (Arrhenius; R by CODATA 2018)."""
    kelvin = (degF - 32.0) / 1.8 + 273.15
    return seconds / 60.0 * math.exp(-100_000.0 / 8.314462618 * (1.0 / kelvin - 1.0 / 423.15))


@dataclass(slots=True)
class Press:
    """One press as it really is: two mats and a bag, and what of them the instrument says."""

    heated: bool = False
    wanted: float = HOT
    dead_outer: bool = False
    bag: float = FULL
    bag_wanted: float = FULL
    leak: float = 0.0
    """psi a minute."""
    inner: float = ROOM
    outer: float = ROOM
    open_inner: bool = False
    plugged: bool = True
    beat: int = 0

    def pass_(self, seconds: float) -> None:
        """Heat by 30 degF a minute to the thermostat's point, or cool to the shop with a time constant of 20 min."""
        self.beat += 1
        for face in ("inner", "outer"):
            now = getattr(self, face)
            on = self.heated and not (face == "outer" and self.dead_outer)
            if on and now <= self.wanted:
                now = min(now + seconds / 2.0, self.wanted)
            else:
                now = ROOM + (now - ROOM) * math.exp(-seconds / 1200.0)
                now = max(now, self.wanted) if on else now
            setattr(self, face, now)
        if self.leak:
            self.bag = max(0.0, self.bag - self.leak * seconds / 60.0)
        elif self.bag < self.bag_wanted:
            self.bag = min(self.bag_wanted, self.bag + 2.0 * seconds)
        elif self.bag > self.bag_wanted:
            self.bag = max(self.bag_wanted, self.bag - 2.0 * seconds)

    def samples(self, at: float) -> list[Sample]:
        """What the instrument says, restless in its last digit as a real one is."""
        if not self.plugged:
            return []
        restless = 0.1 * (self.beat * 7 % 5 - 2)
        inner = None if self.open_inner else self.inner + restless
        return [
            Sample("inner_mat", inner, "degF", at, Fault.OPEN if inner is None else None),
            Sample("outer_mat", self.outer - restless, "degF", at),
            Sample("bag", max(0.0, self.bag + 0.1 * restless), "psi", at),
        ]


class Killed(BaseException):
    """The process is gone, here and now."""


class _Time:
    def __init__(self) -> None:
        self.seconds, self.utc = 5_000.0, 1_760_000_000.0

    def real(self) -> float:
        return self.seconds

    def wall(self) -> float:
        return self.utc


class _HandPort:
    """Stands for `Port` without its thread; samples are laid into it."""

    def __init__(self, name: str, driver: object, clock: Callable[[], float], **_: object) -> None:
        self.waiting: list[Sample] = []
        self.state, self.why = PortState.OPEN, ""
        self._clock = clock

    def start(self) -> None: ...

    def stop(self) -> None: ...

    def join(self, deadline: float) -> bool:
        return True

    def reopen(self) -> None: ...

    def take(self) -> list[Sample]:
        taken, self.waiting = self.waiting, []
        return taken

    def status(self) -> PortStatus:
        return PortStatus(self.state, self._clock(), self.why, 0)


class _HandWriter(Writer):
    """The writer without its thread: commits when told, or after each put, or not, and may die at any put."""

    store: Archive
    eager = False
    fuse: int | None = None
    refusing = False

    def start(self) -> None:
        self.store = self._open()
        self._follow_ledger(self.store)

    def put(self, *jobs: Job) -> None:
        if self.fuse is not None:
            self.fuse -= 1
            if self.fuse < 0:
                raise Killed
        super().put(*jobs)
        if self.eager:
            self.pump()

    def pump(self) -> None:
        if self.refusing:
            with mock.patch.object(self.store, "transaction", side_effect=sqlite3.OperationalError("disk I/O error")):
                self.commit(self.store)
        elif self.commit(self.store):
            self.look(self.store)
            self._follow_ledger(self.store)

    def stop(self, deadline: float) -> bool:
        self.refusing = False
        for _ in range(3):
            self.commit(self.store)
        self.store.close()
        return True


class _Instrument:
    """A driver nobody calls: samples come by hand."""

    channels: Mapping[str, str] = {"inner_mat": "degF", "outer_mat": "degF", "bag": "psi"}

    def open(self) -> None: ...

    def read(self, wait: float) -> list[Sample]:
        return []

    def close(self) -> None: ...


class _Awake:
    """Keeps nothing awake."""

    def start(self) -> None: ...

    def stop(self) -> None: ...

    def want(self, on: bool) -> None: ...

    def status(self) -> object:
        return mock.Mock(why="")


@dataclass(slots=True)
class Truth:
    """What really happened to the tire of one cycle, kept by the test alone."""

    press: str
    ticketed: bool
    hottest: float = ROOM
    most_min: float = 0.0
    """Equivalent minutes no point of the rubber can have passed: at the hottest face so far, all along."""
    face_min: dict[str, float] = field(default_factory=lambda: {"inner": 0.0, "outer": 0.0})
    set_soft: bool = False
    """Whether some face went from below scorch to past the blow point with the bag below its minimum all the while."""
    soft_from: dict[str, float | None] = field(default_factory=lambda: {"inner": None, "outer": None})
    silent: float = 0.0
    longest_silence: float = 0.0
    blind_mat: float = 0.0
    released: bool = False

    def live(self, press: Press, seconds: float, *, heard: bool) -> None:
        """Let so long pass on a press as it is now."""
        if self.released:
            return
        self.hottest = max(self.hottest, press.inner, press.outer)
        self.most_min += equivalent_min(self.hottest, seconds)
        for face, degF in (("inner", press.inner), ("outer", press.outer)):
            before = self.face_min[face]
            self.face_min[face] = before + equivalent_min(degF, seconds)
            if press.bag >= MINIMUM - 1.0:
                self.soft_from[face] = None
            elif self.soft_from[face] is None:
                self.soft_from[face] = before
            began = self.soft_from[face]
            if began is not None and began < SCORCH_MIN and self.face_min[face] > PAST_BLOW_MIN:
                self.set_soft = True
        self.silent = 0.0 if heard else self.silent + seconds
        self.longest_silence = max(self.longest_silence, self.silent)
        if heard and press.open_inner and press.outer > 200.0:
            self.blind_mat += seconds

    def no_pass(self) -> list[str]:
        """Every reason of the test's own why this cure must not read `pass`."""
        why = []
        if not self.ticketed:
            why.append("no ticket")
        if self.most_min < TC90_MIN:
            why.append(f"at most {self.most_min:.1f} equivalent minutes of {TC90_MIN}")
        if self.set_soft:
            why.append("rubber set while the bag was down")
        if self.longest_silence > 90.0:
            why.append(f"nothing was heard for {self.longest_silence:.0f} s")
        if self.blind_mat > 120.0:
            why.append(f"a hot mat without a reading for {self.blind_mat:.0f} s")
        return why


class Monitor:
    """One shop's recorder, and everything that can befall it."""

    def __init__(self, folder: Path) -> None:
        self._root, self._lives = folder, 0
        self.folder = folder / "life-0"
        self.folder.mkdir()
        (self.folder / "shop.toml").write_text(SHOP, encoding="utf-8")
        self.shop: Shop = load_shop(self.folder / "shop.toml")
        self.time = _Time()
        self.presses = {name: Press() for name in PRESSES}
        self.truths: dict[str, Truth] = {}
        self.recorder: Recorder | None = None
        self.said: list[str] = []
        self.sent: list[Command] = []

    @property
    def path(self) -> Path:
        """Where the archive lies in this life."""
        return self.folder / "archive.sqlite"

    @property
    def writer(self) -> _HandWriter:
        """The running recorder's."""
        assert self.recorder is not None
        writer = self.recorder._writer
        assert isinstance(writer, _HandWriter)
        return writer

    def reader(self) -> ArchiveReader:
        """A fresh reader."""
        return ArchiveReader(self.path)

    # -- beginnings and ends --

    def start(self) -> None:
        """Start the recorder, as a new process would."""
        with (
            mock.patch.object(recorder_module, "Port", _HandPort),
            mock.patch.object(recorder_module, "Writer", _HandWriter),
        ):
            self.recorder = Recorder(
                self.shop,
                self.path,
                self.folder / "ledger.key",
                clock=ShopClock(1.0, real=self.time.real, wall=self.time.wall),
                interval=STEP,
                make=lambda *_: _Instrument(),  # type: ignore[arg-type,return-value]
                awake=_Awake(),  # type: ignore[arg-type]
                say=self.said.append,
            )
            self.recorder.start()
        self.writer.pump()

    def stop(self) -> None:
        """Stop it in good order."""
        assert self.recorder is not None
        self.recorder.close()
        self.recorder = None

    def kill(self) -> None:
        """End it as SIGKILL does: what was not committed is gone, side files and the lock's note stay as they lie."""
        assert self.recorder is not None
        store = self.writer.store
        self._lives += 1
        fresh = self._root / f"life-{self._lives}"
        fresh.mkdir()
        for file in self.folder.iterdir():
            if not file.name.endswith((".lock", "-shm")):
                shutil.copy2(file, fresh / file.name)
        store._db.close()
        store._lock._lock.release()
        self.recorder, self.folder = None, fresh

    # -- time --

    def pass_(self, seconds: int, *, idle: int = 0) -> None:
        """Let time pass in steps; the writer gets its turn once a minute and at the end, not in the last `idle`."""
        steps = max(1, seconds // STEP)
        for k in range(steps):
            for half in range(2):  # the loop turns at least as often as it would say that it stood still
                self.time.seconds += STEP / 2
                self.time.utc += STEP / 2
                if self.recorder is not None and half == 0:
                    self._unseen()
                    self.recorder.once()
            for name, press in self.presses.items():
                press.pass_(STEP)
                truth = self.truth_of(name)
                if truth is not None:
                    truth.live(press, STEP, heard=self.recorder is not None and press.plugged)
            if self.recorder is not None:
                self._turn(pump=k < steps - idle and (k % 12 == 11 or k + idle + 1 >= steps))

    def _turn(self, *, pump: bool) -> None:
        assert self.recorder is not None
        for name, press in self.presses.items():
            port: Any = self.recorder._places[name].port
            port.state = PortState.OPEN if press.plugged else PortState.LOST
            port.why = "" if press.plugged else "pulled out"
            port.waiting += press.samples(self.time.seconds)
        if not pump:
            self._unseen()
        self.recorder.once()
        if pump:
            self.settle()

    def _unseen(self) -> None:
        """Have the next pass publish nothing: dashboards look once a minute here."""
        assert self.recorder is not None
        for place in self.recorder._places.values():
            place.published = self.time.seconds

    def settle(self, *, pump: bool = True) -> None:
        """Let loop and writer do what there is to do without time passing."""
        assert self.recorder is not None
        for _ in range(2 if pump else 1):
            if pump:
                self.writer.pump()
            self.recorder.once()
        if pump:
            self.writer.pump()

    def asleep(self, seconds: float) -> None:
        """The computer sleeps: clocks that count through it go on, nothing is read and nothing stepped."""
        self.time.seconds += seconds
        self.time.utc += seconds
        for name, press in self.presses.items():
            truth = self.truth_of(name)
            for _ in range(round(seconds / STEP)):
                press.pass_(STEP)
                if truth is not None:
                    truth.live(press, STEP, heard=False)

    # -- people --

    def send(self, kind: str, *, ago: float = 0.0, **more: Any) -> Command:
        """Put a command where the recorder finds it."""
        command = new_command(kind, self.time.utc - ago, **more)
        send_command(self.path, command)
        self.sent.append(command)
        return command

    def asked(self) -> Asked:
        """How the command line asks for an entry: the waiting gives the recorder its turn."""

        def pause(seconds: float) -> None:
            self.time.seconds += seconds
            self.time.utc += seconds
            if self.recorder is not None:
                self.settle()

        return Asked(
            self.path, self.folder / "ledger.key", "inspect", now=self.time.wall, monotonic=self.time.real, pause=pause
        )

    # -- truths --

    def cycle_on(self, name: str) -> str | None:
        """The cycle on a press, as the recorder has it in memory, or as the archive has it while none runs."""
        if self.recorder is not None:
            cycle = self.recorder.stations[name].cycle
            return None if cycle is None else cycle.id
        with self.reader() as reader:
            return next((c.start.cycle_id for c in reader.open_cycles() if c.start.press == name), None)

    def truth_of(self, name: str) -> Truth | None:
        """The truth of the cycle on a press; begun here when the cycle is new."""
        cycle = self.cycle_on(name)
        return None if cycle is None else self.truths.get(cycle)

    def follow_cycles(self) -> None:
        """Begin a truth for each cycle that has begun; what went before an unticketed one began counts for it."""
        assert self.recorder is not None
        for name, station in self.recorder.stations.items():
            cycle = station.cycle
            if cycle is None or cycle.id in self.truths:
                if cycle is not None and cycle.watch.closed:
                    self.truths[cycle.id].released = True
                continue
            press = self.presses[name]
            truth = Truth(name, cycle.start.ticket is not None, hottest=max(press.inner, press.outer))
            if not truth.ticketed:
                # It began up to ten minutes before it was noticed; nothing in it can have been hotter than now.
                truth.most_min = equivalent_min(truth.hottest, 600.0)
                truth.face_min = dict.fromkeys(truth.face_min, truth.most_min)
            self.truths[cycle.id] = truth

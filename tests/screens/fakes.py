"""An invented shop with presses in chosen states, seeded, behind a fake archive: what tests draw screens from."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field, replace
from functools import cache

from press_monitor.archive.trace import Trace
from press_monitor.archive.types import (
    ChannelMeta,
    Command,
    CommandAnswer,
    CycleStart,
    EventRow,
    OpenCycle,
    PressState,
    RecorderRow,
)
from press_monitor.quantities import PSI, to_si
from press_monitor.screens.source import Place, Source
from press_monitor.watch.plain import to_json
from press_monitor.watch.types import (
    AlarmState,
    AlarmView,
    CurePoint,
    FaceView,
    ForecastView,
    GateView,
    LayerView,
    Phase,
    PhaseSpan,
    Priority,
    Snapshot,
    StackView,
    Verdict,
)

NOW = 1_750_000_260.0  # 2025-06-15 15:11:00 UTC
CHANNELS = (
    ChannelMeta("inner_mat", "degF", 1),
    ChannelMeta("outer_mat", "degF", 1),
    ChannelMeta("bag", "psi", 2),
)


def degC(fahrenheit: float) -> float:
    return to_si(fahrenheit, "degF")


class Clock:
    """Both clocks of a source; moves only when told."""

    def __init__(self, utc: float = NOW) -> None:
        self.utc, self.mono = utc, 1000.0

    def forward(self, seconds: float) -> None:
        self.utc += seconds
        self.mono += seconds

    def now(self) -> float:
        return self.utc

    def monotonic(self) -> float:
        return self.mono


def _section(deepest: float, minutes: float, hot: float, core: float) -> StackView:
    """A 44 mm repair: patch 8, casing 22, filler 14, with a parabola of temperature and of cure."""
    layers = (
        LayerView("repair patch", 0, 8, True),
        LayerView("casing", 8, 30, False),
        LayerView("filler rubber", 30, 44, True),
    )
    depth = tuple(44 * n / 60 for n in range(61))

    def profile(x: float) -> float:
        return 1 - (1 - abs(2 * x / 44 - 1)) ** 0.8

    temperature = tuple(degC(core + (hot - core) * profile(x)) for x in depth)
    cure = tuple(
        None if 8 < x < 30 else min(0.99, deepest + (0.98 - deepest) * (profile(x) - profile(30)) / (1 - profile(30)))
        for x in depth
    )
    return StackView("injury centre", layers, depth, temperature, cure, 30.0, 0.0)


def snapshot(t: float, phase: Phase, **changes: object) -> Snapshot:
    """A press going well, with changes."""
    base = Snapshot(
        t=t,
        phase=phase,
        phase_since_s=960.0,
        phases=(PhaseSpan(Phase.LOADED, 0, 120), PhaseSpan(Phase.HEAT_UP, 120, 960), PhaseSpan(Phase.HOLD, 960, None)),
        ticketed=True,
        recipe="section-300",
        tire="23.5R25",
        section="shoulder",
        thickness_mm=44.0,
        hold_s=max(0.0, t - 960),
        hold_needed_s=3600.0,
        required_cure=0.90,
        blow_point=0.35,
        band_low_degC=degC(290),
        band_high_degC=degC(310),
        maximum_degC=degC(330),
        heat_up_limit_s=1500.0,
        bag_target_Pa=32 * PSI,
        bag_minimum_Pa=28 * PSI,
        bag_maximum_Pa=40 * PSI,
        inner=FaceView("inner_mat", degC(301), True, True, 0.1),
        outer=FaceView("outer_mat", degC(299), True, True, -0.1),
        bag_Pa=33.1 * PSI,
        bag_trend_Pa_min=0.02 * PSI,
        deepest=CurePoint("injury centre", 30.0, 0.41, 0.28, 0.55, 4.9, 131.0, degC(262)),
        hottest=CurePoint("injury centre", 0.0, 0.98, 0.97, 0.99, 38.0, 149.5, degC(301)),
        reversion_used=0.42,
        stacks=(_section(0.41, t / 60, 300, 262),),
        forecast=ForecastView(38.0, 31.0, 52.0, 0.78, 0.66, 0.88),
        worst_vapour_margin_kPa=76.0,
        set_without_pressure=0.0,
        alarms=(),
        gate=GateView(False, False, False, False, "heat is on"),
        cure_due=False,
        verdict=Verdict.PASS,
        reasons=(),
        words="on plan",
    )
    return replace(base, **changes)


def alarm(kind: str, since: float, raised: float, message: str, advice: str, **changes: object) -> AlarmView:
    base = AlarmView(
        id=f"{kind}-1",
        kind=kind,
        channel="bag" if kind.startswith("bag") else "outer_mat",
        priority=Priority.HIGH,
        state=AlarmState.UNACKNOWLEDGED,
        raised_s=raised,
        since_s=since,
        cleared_s=None,
        consequence_of=None,
        message=message,
        advice=advice,
    )
    return replace(base, **changes)


@cache
def _rows(
    minutes: float,
    *,
    seed: int = 1,
    bag_falls_at: float | None = None,
    bag_slope: float = 3.1,
    outer_dies_at: float | None = None,
    heat_off_at: float | None = None,
    deflates_at: float | None = None,
) -> tuple[tuple[int, int, tuple[int | None, ...]], ...]:
    """One reading a second of a cycle in degF and psi, as kept integers."""
    dice = random.Random(seed)
    made = []
    inner = outer = 70.0
    bag = 0.0
    for n in range(int(minutes * 60)):
        m = n / 60
        aim = 70.0 if m < 2 or (heat_off_at is not None and m > heat_off_at) else 300 + 6 * math.sin(m * 2.2)
        rate = 0.0035 if aim > inner else 0.0011
        inner += (aim - inner) * rate
        dead = outer_dies_at is not None and m > outer_dies_at
        aim_outer = 120.0 if dead else aim - 2
        outer += (aim_outer - outer) * (0.0018 if dead else rate)
        target = 32.0 + min(1.2, m / 40)
        if bag_falls_at is not None and m > bag_falls_at:
            bag = max(0.0, bag - bag_slope / 60)
        elif deflates_at is not None and m > deflates_at:
            bag = max(0.0, bag - 0.3)
        elif m > 1:
            bag += (target - bag) * 0.05
        noise = dice.gauss(0, 0.2)
        made.append((n, n * 10, (round((inner + noise) * 10), round((outer - noise) * 10), round(bag * 100))))
    return tuple(made)


def rows(minutes: float, **options: float) -> list[tuple[int, int, tuple[int | None, ...]]]:
    """Rows of one's own: `_rows` with the same options is worked out once a run."""
    return list(_rows(minutes, **options))


@dataclass
class FakePress:
    """One press as the archive would show it."""

    name: str
    title: str
    snapshot: Snapshot | None
    rows: list[tuple[int, int, tuple[int | None, ...]]] = field(default_factory=list)
    events: list[EventRow] = field(default_factory=list)
    ticket: dict[str, object] = field(default_factory=dict)
    repair: object = None


def _event(number: int, cycle: str, t: float, utc: float, kind: str, event: object) -> EventRow:
    return EventRow(number, cycle, t, utc, kind, event)


def four_presses() -> list[FakePress]:
    """Thick and going well; bag deflating; outer mat dead; cooling."""
    well = snapshot(53 * 60, Phase.HOLD)
    deflating = snapshot(
        31 * 60,
        Phase.HOLD,
        tire="18.4R38",
        section="sidewall",
        thickness_mm=31.0,
        bag_Pa=20.4 * PSI,
        bag_trend_Pa_min=-3.1 * PSI,
        inner=FaceView("inner_mat", degC(302), True, True, 0.0),
        outer=FaceView("outer_mat", degC(300), True, True, 0.0),
        deepest=CurePoint("injury centre", 16.0, 0.12, 0.06, 0.20, 1.2, 120.0, degC(240)),
        stacks=(_section(0.12, 31, 300, 240),),
        forecast=ForecastView(55.0, 47.0, 71.0, 0.41, 0.3, 0.55),
        set_without_pressure=0.08,
        verdict=Verdict.REVIEW,
        reasons=("8 % of the rubber has set without pressure",),
        words="deflating 3.1 psi/min",
        alarms=(
            alarm(
                "bag-low",
                29 * 60,
                29 * 60 + 15,
                "Bag 20.4 psi, below its minimum of 28 psi. Skins set, core not yet.",
                "Open the remote air valve now. Stay clear of the press: do not reach in.",
            ),
            alarm("pressure-lost-uncured", 29 * 60, 29 * 60 + 5, "Core unpressed", "-", consequence_of="bag-low-1"),
        ),
    )
    dead_mat = snapshot(
        43 * 60,
        Phase.HOLD,
        tire="track 450 mm",
        section="lug",
        thickness_mm=26.0,
        inner=FaceView("inner_mat", degC(299), True, True, 0.0),
        outer=FaceView("outer_mat", degC(241), True, False, -3.0),
        bag_Pa=31.8 * PSI,
        deepest=CurePoint("injury centre", 22.0, 0.55, 0.41, 0.66, 7.0, 138.0, degC(251)),
        stacks=(_section(0.55, 43, 299, 251),),
        forecast=ForecastView(None, None, None, 0.71, 0.6, 0.8, "not reached at these mats"),
        words="outer mat only: element or lead",
        verdict=Verdict.REVIEW,
        alarms=(
            alarm(
                "heat-lost",
                38 * 60,
                39 * 60,
                "Outer mat 241 °F and falling, off its cycle.",
                "Check the lead and the breaker from outside. Leave the bag up.",
                state=AlarmState.ACKNOWLEDGED,
                acknowledged_s=40 * 60.0,
            ),
        ),
    )
    cooling = snapshot(
        97 * 60,
        Phase.COOL_DOWN,
        tire="12-16.5",
        section="crown",
        thickness_mm=22.0,
        hold_s=3660.0,
        inner=FaceView("inner_mat", degC(188), True, False, -1.2),
        outer=FaceView("outer_mat", degC(184), True, False, -1.1),
        bag_Pa=29.5 * PSI,
        deepest=CurePoint("injury centre", 11.0, 0.94, 0.91, 0.97, 16.0, 145.0, degC(201)),
        hottest=CurePoint("injury centre", 0.0, 0.99, 0.99, 1.0, 44.0, 150.0, degC(204)),
        stacks=(_section(0.94, 97, 190, 204),),
        forecast=None,
        gate=GateView(True, True, False, False, "hottest rubber 204 °F, release below 180 °F"),
        words="cured: 94 % (91-97), leave the bag up",
    )
    made = [
        FakePress("P1", "North", well, rows(53, seed=1), ticket={"number": "0418", "operator": "M.K."}),
        FakePress("P2", "South", deflating, rows(31, seed=2, bag_falls_at=26.9)),
        FakePress("P3", "Long arm", dead_mat, rows(43, seed=3, outer_dies_at=38.0)),
        FakePress("P4", "Small", cooling, rows(97, seed=4, heat_off_at=78.0)),
    ]
    for n, press in enumerate(made):
        start = NOW - press.snapshot.t
        cycle = f"cycle-{press.name}"
        press.events = [
            _event(10 * n + 1, cycle, 0.0, start, "phase", {"t": 0.0, "phase": "loaded", "why": "started by M.K."}),
            _event(10 * n + 2, cycle, 120.0, start + 120, "phase", {"t": 120.0, "phase": "heat-up", "why": ""}),
            _event(
                10 * n + 3,
                cycle,
                960.0,
                start + 960,
                "phase",
                {"t": 960.0, "phase": "hold", "why": "both mats in the band"},
            ),
        ]
        for number, raised in enumerate(press.snapshot.alarms, 4):
            press.events.append(
                _event(
                    10 * n + number,
                    cycle,
                    raised.raised_s,
                    start + raised.raised_s,
                    "alarm",
                    {"t": raised.raised_s, "alarm": to_json(raised)},
                )
            )
    return made


class FakeArchive:
    """A reader and a command table in memory."""

    def __init__(self, presses: list[FakePress], clock: Clock) -> None:
        self.presses, self.clock = presses, clock
        self.version, self.beats = 1, 1
        self.beat_utc = clock.utc
        self.stopped: float | None = None
        self.sent: list[Command] = []
        self.answers: dict[str, CommandAnswer] = {}

    def beat(self) -> None:
        self.beats += 1
        self.version += 1
        self.beat_utc = self.clock.utc

    def data_version(self) -> int:
        return self.version

    def recorder(self) -> RecorderRow:
        return RecorderRow("recorder", "bench", 4711, "0.1.0", NOW - 9000, self.beat_utc, self.beats, self.stopped)

    def _cycle(self, press: FakePress) -> str | None:
        return f"cycle-{press.name}" if press.snapshot is not None and press.rows else None

    def press_states(self, known=None) -> dict[str, PressState]:
        return {
            p.name: PressState(p.name, self._cycle(p), self.clock.utc, to_json(p.snapshot))
            for p in self.presses
            if p.snapshot is not None and (known or {}).get(p.name) != (self.clock.utc, self._cycle(p))
        }

    def open_cycles(self) -> list[OpenCycle]:
        return [
            OpenCycle(
                CycleStart(
                    cycle,
                    p.name,
                    NOW - p.snapshot.t,
                    "live",
                    {"release_below": 82.2},
                    p.repair,
                    p.ticket,
                    CHANNELS,
                    1,
                    {},
                ),
                p.rows[-1][0],
            )
            for p in self.presses
            if (cycle := self._cycle(p)) is not None
        ]

    def rows(self, cycle_id: str, after_seq: int = -1) -> Trace:
        press = next(p for p in self.presses if self._cycle(p) == cycle_id)
        return Trace.from_rows(CHANNELS, 1, [r for r in press.rows if r[0] > after_seq])

    def alarms_since(self, utc: float) -> dict[str, int]:
        return {"bag-low": 3}

    def command_answer(self, command_uuid: str) -> CommandAnswer | None:
        return self.answers.get(command_uuid)

    def events(self, cycle_id: str | None, after: int = 0) -> list[EventRow]:
        return [e for p in self.presses if self._cycle(p) == cycle_id for e in p.events if e.number > after]

    def close(self) -> None:
        pass

    def change(self, name: str, **changes: object) -> None:
        """Let the recorder publish a changed snapshot a second later."""
        for press in self.presses:
            if press.name == name:
                press.snapshot = replace(press.snapshot, t=press.snapshot.t + 1, **changes)
        self.clock.forward(1.0)
        self.beat()

    def source(self) -> Source:
        return Source(
            lambda: self,
            [Place(p.name, p.title, "section-300") for p in self.presses],
            send=self.sent.append,
            now=self.clock.now,
            monotonic=self.clock.monotonic,
        )


def shop_of(presses: list[FakePress] | None = None) -> FakeArchive:
    return FakeArchive(four_presses() if presses is None else presses, Clock())


def many_presses(count: int) -> list[FakePress]:
    """The four presses over and over under new names, every fifth place empty."""
    made = []
    for n in range(count):
        like = four_presses()[n % 4]
        like.name, like.title = f"P{n + 1}", f"Bay {n + 1}"
        if n % 5 == 4:
            like = FakePress(like.name, like.title, None)
        made.append(like)
    return made

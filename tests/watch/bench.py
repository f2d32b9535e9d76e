"""A press made up for these tests alone, with physics of its own: nothing here comes from the project's simulator.

A mat is one lump that loses heat to the shop with a time constant and is heated by an element with a full-power rest
temperature; a thermostat (two points about the set value) or a proportional controller switches it. The bag is a
closed amount of gas whose temperature trails the mats'; a supply, a relief valve and leaks change the amount.
Everything is in degF and psi, as the shop reads it, and handed to the watch in SI through the gauges' resolution.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace

from press_monitor.cure.compound import Compound
from press_monitor.cure.layers import Layer, Repair, Stack
from press_monitor.quantities import PSI, si_difference, to_si
from press_monitor.readings import MISSING, Reading, Tick
from press_monitor.watch.cure_watch import CureWatch, WatchSetup
from press_monitor.watch.recipe import Recipe
from press_monitor.watch.types import AlarmChanged, AlarmView, Event

SHOP_DEGF, AIR_PSI = 68.0, 14.5
CHANNELS = ("inner_mat", "outer_mat", "bag")

GUM = Compound(
    "section-gum",
    reference_temperature=150.0,
    scorch=150.0,
    tc50=360.0,
    tc90=720.0,
    activation_energy=100_000.0,
    blow_point=0.35,
    reversion=5400.0,
)
RECIPE = Recipe(
    "section-300",
    hold_temperature=to_si(300.0, "degF"),
    hold_tolerance=si_difference(10.0, "degF"),
    maximum_temperature=to_si(330.0, "degF"),
    heat_up_limit=1500.0,
    minimum_hold=3600.0,
    required_cure=0.90,
    release_below=to_si(180.0, "degF"),
    bag_pressure=32.0 * PSI,
    bag_minimum=28.0 * PSI,
    bag_maximum=40.0 * PSI,
)


def layers(patch_mm: float, casing_mm: float, filler_mm: float) -> Repair:
    """One stack: uncured, casing, uncured."""
    return Repair(
        (
            Stack(
                "repair",
                (
                    Layer("repair patch", patch_mm / 1000.0, GUM),
                    Layer("casing", casing_mm / 1000.0),
                    Layer("filler rubber", filler_mm / 1000.0, GUM),
                ),
            ),
        )
    )


THICK, THIN = layers(8, 22, 14), layers(4, 6, 6)
SETUP = WatchSetup(RECIPE, THICK, CHANNELS, ambient=to_si(SHOP_DEGF, "degF"))

Schedule = Callable[[float], float]
Truth = dict[str, float]


def always(value: float) -> Schedule:
    return lambda t: value


@dataclass(frozen=True)
class Mat:
    """`tau` s to the shop air, `full` degF above it at full power, `swing` degF either side of `set_at`: thermostat."""

    tau: float = 1200.0
    full: float = 430.0
    swing: float | None = None
    set_at: Schedule = lambda t: 300.0
    power: Schedule = lambda t: 1.0


@dataclass(frozen=True)
class Air:
    """The bag's gas. `supply` psi is what the regulator feeds up to (None: valve shut), `relief` (pops, shuts)."""

    fill_at: float = 15.0
    fill_to: float = 32.0
    supply: bool = False
    droop: float = 0.3
    relief: tuple[float, float] | None = None
    leak: Schedule = lambda t: 0.0
    """psi/s lost at 32 psi, less as the pressure falls (laminar)."""
    warms: float = 0.2
    """How far the gas follows the mats: 1 is all the way."""
    jet: Schedule = lambda t: 0.0
    """psi/s lost whatever the pressure."""


@dataclass(frozen=True)
class Gauge:
    """What the instrument makes of the truth."""

    dt: float = 1.0
    noise_degF: float = 0.2
    noise_psi: float = 0.02
    step_degF: float = 0.1
    step_psi: float = 0.01


@dataclass(frozen=True)
class Plant:
    """One press over one cure; `sense` may change what a probe says: (t, name, truth) -> value, None, or drop()."""

    minutes: float = 30.0
    heat_at: float = 60.0
    heat_off_at: float = math.inf
    let_down_at: float = math.inf
    inner: Mat = Mat()
    outer: Mat = field(default_factory=lambda: Mat(tau=1300.0))
    air: Air = Air()
    gauge: Gauge = Gauge()
    sense: Callable[[float, str, float], float | None] | None = None
    silent: Callable[[float], bool] = lambda t: False
    seed: int = 1

    def truth(self) -> Iterator[tuple[float, Truth]]:
        """What is really so, each gauge interval."""
        h = min(self.gauge.dt, 0.5)
        mats = {"inner_mat": self.inner, "outer_mat": self.outer}
        temperature = dict.fromkeys(mats, SHOP_DEGF)
        on = dict.fromkeys(mats, True)
        gas, amount, popped, feeding = SHOP_DEGF, AIR_PSI / (SHOP_DEGF + 459.67), False, False
        per_read = round(self.gauge.dt / h)
        for k in range(round(self.minutes * 60.0 / h)):
            t = k * h
            for name, mat in mats.items():
                now = temperature[name]
                heat = self._heat(t, mat, now, on, name)
                temperature[name] = now + h * (SHOP_DEGF + heat * mat.full - now) / mat.tau
            air, mean = self.air, 0.5 * sum(temperature.values())
            gas += h * (SHOP_DEGF + air.warms * (mean - SHOP_DEGF) - gas) / 400.0
            psi = amount * (gas + 459.67) - AIR_PSI
            per_psi = 1.0 / (gas + 459.67)
            filling = air.fill_at <= t < air.fill_at + 120.0
            if t >= self.let_down_at:
                psi = max(psi - 2.0 * h, 0.0)
            elif filling and psi < air.fill_to:
                psi = min(psi + 0.8 * h, air.fill_to)
            elif air.supply and t > air.fill_at:
                feeding = psi < air.fill_to - air.droop or (feeding and psi < air.fill_to - 0.05)
                psi = min(psi + 0.4 * h, air.fill_to) if feeding else psi
            if air.relief is not None:
                popped = psi > air.relief[0] or (popped and psi > air.relief[1])
                psi -= 1.5 * h if popped else 0.0
            psi = max(psi - h * (air.leak(t) * max(psi, 0.0) / 32.0 + air.jet(t)), 0.0)
            amount = (psi + AIR_PSI) * per_psi
            if k % per_read == 0:
                yield round(t, 3), {**temperature, "bag": psi}

    def _heat(self, t: float, mat: Mat, now: float, on: dict[str, bool], name: str) -> float:
        if not self.heat_at <= t < self.heat_off_at:
            return 0.0
        set_at = mat.set_at(t)
        if mat.swing is None:
            wanted = (set_at - SHOP_DEGF) / mat.full + 0.15 * (set_at - now)
            return max(0.0, min(1.0, wanted)) * mat.power(t)
        on[name] = now < set_at + mat.swing if on[name] else now < set_at - mat.swing
        return mat.power(t) if on[name] else 0.0

    def readings(self) -> Iterator[tuple[float, dict[str, Reading], Truth]]:
        """What the watch is told, with the truth beside it; silence is an empty dict."""
        chance = random.Random(self.seed)
        gauge = self.gauge
        for t, truth in self.truth():
            said: dict[str, Reading] = {}
            for name, value in truth.items():
                seen = value if self.sense is None else self.sense(t, name, value)
                noise, step, unit = (
                    (gauge.noise_psi, gauge.step_psi, "psi")
                    if name == "bag"
                    else (gauge.noise_degF, gauge.step_degF, "degF")
                )
                error = chance.gauss(0.0, noise)
                if seen is None:
                    said[name] = MISSING
                else:
                    said[name] = Reading(to_si(round(round((seen + error) / step) * step, 6), unit))
            yield t, {} if self.silent(t) else said, truth

    def ticks(self) -> Iterator[tuple[Tick, Truth]]:
        """Ticks as a watch gets them: an empty one each whole second between seldom readings."""
        before: float | None = None
        for t, said, truth in self.readings():
            if before is not None:
                for k in range(1, math.ceil(t - before - 1e-6)):
                    yield Tick(before + k, {}), truth
            yield Tick(t, said), truth
            before = t


@dataclass
class Run:
    """A plant driven through a watch."""

    watch: CureWatch
    events: list[Event]
    truth: list[tuple[float, Truth]]

    @property
    def alarms(self) -> tuple[AlarmView, ...]:
        """All, in the order of raising."""
        return self.watch.alarms.views()

    def raised(self, kind: str, channel: str | None = None) -> list[AlarmView]:
        """The alarms of one kind (and channel)."""
        return [v for v in self.alarms if v.kind == kind and channel in (None, v.channel)]

    def roots(self) -> list[AlarmView]:
        """What was not put down to something else."""
        return [v for v in self.alarms if v.consequence_of is None]

    def first(self, name: str, when: Callable[[float, float], bool]) -> float:
        """The first moment at which the truth of a channel fulfils `when(t, value)`."""
        return next(t for t, truth in self.truth if when(t, truth[name]))


def drive(plant: Plant, setup: WatchSetup = SETUP) -> Run:
    """Through the watch, tick by tick."""
    watch = CureWatch(setup)
    run = Run(watch, [], [])
    for tick, truth in plant.ticks():
        run.events.extend(watch.step(tick))
        run.truth.append((tick.t, truth))
    return run


def feed(
    watch: CureWatch,
    end: float,
    *,
    dt: float = 1.0,
    inner: float | Schedule | None = 300.0,
    outer: float | Schedule | None = 300.0,
    bag: float | Schedule | None = 32.0,
    until: Callable[[CureWatch], bool] = lambda watch: False,
) -> list[Event]:
    """Step a watch up to `end` s with given readings, a tenth of a degree restless as real ones are; None: no value."""
    events: list[Event] = []
    start = watch.t if watch.t else -dt
    for k in range(1, round((end - start) / dt) + 1):
        t = start + k * dt
        restless = 0.1 * (k * 7 % 5 - 2)
        values = {}
        for name, given in (("inner_mat", inner), ("outer_mat", outer), ("bag", bag)):
            value = given(t) if callable(given) else given
            values[name] = None if value is None else value + restless * (0.1 if name == "bag" else 1.0)
        events.extend(watch.step(Tick(t, reading(**values))))
        if until(watch):
            break
    return events


def ramp(t0: float, v0: float, t1: float, v1: float) -> Schedule:
    """`v0` until `t0`, then straight to `v1` at `t1`, then that."""
    return lambda t: v0 + (v1 - v0) * min(max((t - t0) / (t1 - t0), 0.0), 1.0)


def raises(events: Iterable[Event]) -> list[AlarmView]:
    """The alarms as they stood when they were raised."""
    return [e.alarm for e in events if isinstance(e, AlarmChanged) and e.alarm.raised_s == e.t]


def after(start: float, value: float, otherwise: float = 0.0) -> Schedule:
    """`otherwise` until `start`, then `value`."""
    return lambda t: value if t >= start else otherwise


def reading(**values: float | None) -> Mapping[str, Reading]:
    """Readings in degF and psi by channel name; None is a sensor without a value."""
    return {
        name: MISSING if v is None else Reading(to_si(v, "psi" if name == "bag" else "degF"))
        for name, v in values.items()
    }


__all__ = [
    "CHANNELS", "GUM", "RECIPE", "SETUP", "SHOP_DEGF", "THICK", "THIN", "Air", "Gauge", "Mat", "Plant", "Run",
    "after", "always", "drive", "feed", "layers", "raises", "ramp", "reading", "replace",
]  # fmt: skip

"""Presses with widely varied physics, for measuring detection: nothing of it comes from the product or its simulator.

Each `Plant` draws its own time constants, control, bag, supply, leak laws, drafts, sensor lags, noise, resolution and
sampling. Mats are two lumps (heater and pad) against a slow sink of rubber; the bag's gas follows the mats with its
own lag. All figures are invented ranges meant to be wider than any shop.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass, field

from press_monitor.readings import MISSING, Reading, Tick

PSI = 6894.757293168
ATMOSPHERE = 14.696

FAULTS = (
    "bag-burst",
    "bag-leaking",
    "bag-topping-up",
    "bag-low",
    "bag-high",
    "heat-without-pressure",
    "heat-lost",
    "heat-lost-both",
    "below-profile",
    "above-profile",
    "above-maximum",
    "heat-up-late",
    "mat-weak",
    "mats-uneven",
    "probe-open",
    "probe-stuck",
    "probe-lifted",
    "probe-erratic",
    "probe-reversed",
    "no-readings",
    "pressure-lost-uncured",
    "overdue",
    "ram-low",
)


def f_to_c(degf: float) -> float:
    return (degf - 32.0) / 1.8


@dataclass
class Mat:
    """A heat mat: heater lump, pad lump, rubber behind it, its controller and its thermocouple. degF, s."""

    rng: random.Random
    set_point: float
    ambient: float
    heat_up: float
    proportional: bool = field(init=False)

    def __post_init__(self) -> None:
        r = self.rng
        self.proportional = r.random() < 0.5
        self.tau = r.uniform(420.0, 1500.0)
        self.coupling = r.uniform(15.0, 60.0)
        self.sink_tau = r.uniform(2400.0, 9000.0)
        self.sink_share = r.uniform(0.05, 0.3)
        self.lag = r.choice([0.0, r.uniform(1.0, 8.0)])
        rise = self.set_point - self.ambient
        # power that brings the mat to its set point in about heat_up s
        self.power = rise / self.tau / (1.0 - math.exp(-self.heat_up / self.tau)) * r.uniform(1.0, 1.05)
        self.band = r.uniform(1.5, 14.0) if not self.proportional else 0.0
        # the pad, the rubber and the drafts take their part: find the power by trying
        for _ in range(6):
            needed = self._time_to(self.set_point - 8.0, 3.0 * self.heat_up)
            if needed <= 1.05 * self.heat_up:
                break
            self.power *= 1.0 + 0.6 * min(needed / self.heat_up - 1.0, 1.0)
        self.gain = self.power / r.uniform(6.0, 20.0)
        self.integral = 0.0
        self.heater = self.pad = self.probe = self.rubber = self.ambient
        self.on = True
        self.strength = 1.0
        self.draft = 0.0
        self.drive = 0.0

    def _time_to(self, goal: float, limit: float) -> float:
        """Seconds of full power until the pad is at `goal`."""
        heater = pad = rubber = self.ambient
        t, dt = 0.0, 5.0
        while pad < goal and t < limit:
            flow = (heater - pad) / self.coupling * 0.5
            sink = self.sink_share * (pad - rubber) / 300.0
            heater += dt * (self.power - (heater - self.ambient) / self.tau - flow)
            pad += dt * (flow - sink)
            rubber += dt * (pad - rubber) / self.sink_tau
            t += dt
        return t

    def slow_down(self, goal: float, seconds: float) -> None:
        """Lose so much of the element that the way to `goal` takes so long, or for ever."""
        whole = self.power
        while self._time_to(goal, seconds) < seconds:
            self.power *= 0.97
        self.strength, self.power = self.power / whole, whole

    def hold_closely(self, band: float) -> None:
        """Take away a wide thermostat's swing; with no band left it is controlled in proportion."""
        self.band, self.proportional = band, self.proportional or band <= 0.0

    def weaken(self, level: float, share: float) -> None:
        """Lose so much of the element, or a share of that so far, that full power holds only this level.

        As the rubber warms and takes less, the element goes on failing: else the mat would come back by itself.
        """
        sink = self.sink_share * (level - self.rubber) / 300.0
        heater = level + 2.0 * self.coupling * sink
        least = min(((heater - self.ambient) / self.tau + sink) / self.power, 1.0)
        self.strength = min(self.strength, 1.0 - (1.0 - least) * min(share, 1.0))

    def step(self, dt: float, heated: bool, set_point: float) -> None:
        r = self.rng
        self.draft += -self.draft * dt / 200.0 + r.gauss(0.0, 0.12) * math.sqrt(dt)
        sensed = self.probe
        if not heated:
            drive = 0.0
        elif self.proportional:
            error = set_point - sensed
            wanted = self.gain * error + self.integral
            if abs(error) < 20.0:
                self.integral += self.gain / 300.0 * error * dt
            drive = min(max(wanted, 0.0), self.power)
        else:
            if sensed > set_point + self.band:
                self.on = False
            elif sensed < set_point - self.band:
                self.on = True
            drive = self.power if self.on else 0.0
        self.drive = drive
        loss = (self.heater - self.ambient - self.draft) / self.tau
        sink = self.sink_share * (self.pad - self.rubber) / 300.0
        self.heater += dt * (drive * self.strength - loss - (self.heater - self.pad) / self.coupling * 0.5)
        self.pad += dt * ((self.heater - self.pad) / self.coupling * 0.5 - sink)
        self.rubber += dt * (self.pad - self.rubber) / self.sink_tau
        self.probe += (
            (self.pad - self.probe) * (1.0 - math.exp(-dt / self.lag)) if self.lag > 0.2 else self.pad - self.probe
        )


@dataclass
class BagModel:
    """The bag: moles of air in psi at a reference temperature, gas that follows the mats, and what feeds it."""

    rng: random.Random
    target: float
    supply: str

    def __post_init__(self) -> None:
        r = self.rng
        self.gas_tau = r.uniform(200.0, 1500.0)
        self.gas_share = r.uniform(0.15, 0.6) if self.supply == "relief" else r.uniform(0.05, 0.2)
        self.gas = 70.0
        self.amount = 0.0  # absolute psi at 530 degR
        self.crack = self.target + r.uniform(1.5, 4.0)
        self.reseat = self.crack - r.uniform(0.3, 1.2)
        self.venting = False
        self.dead = r.uniform(0.0, 0.9)
        self.refilling = False
        self.relieving = True
        self.flow = r.uniform(0.05, 0.6)
        self.gauge = 0.0

    def pressure(self) -> float:
        return self.amount * (self.gas + 459.67) / 530.0 - ATMOSPHERE

    def step(self, dt: float, mats: float, ambient: float, fed: bool, leak: float, orifice: bool) -> None:
        """`leak` in psi/s at the target; `fed` whether a regulator may refill."""
        goal = ambient + self.gas_share * (mats - ambient)
        self.gas += (goal - self.gas) * dt / self.gas_tau
        p = self.pressure()
        unit = 530.0 / (self.gas + 459.67)
        if leak > 0.0 and p > 0.0:
            law = (p + ATMOSPHERE) / (self.target + ATMOSPHERE) if orifice else 1.0
            self.amount -= leak * law * dt * unit
        p = self.pressure()
        if p > self.crack and self.supply == "relief":
            self.venting = True
        if self.venting:
            self.amount -= min(1.2 * dt, max(p - self.reseat, 0.0)) * unit
            if p <= self.reseat + 0.02:
                self.venting = False
        if fed and self.supply == "regulated":
            if p < self.target - self.dead:
                self.refilling = True
            if self.refilling:
                self.amount += min(self.flow * dt, max(self.target - p, 0.0)) * unit
                if p >= self.target - 0.03:
                    self.refilling = False
            if p > self.target + 1.5 and self.relieving:
                self.amount -= min(0.1 * dt, p - self.target - 1.5) * unit
        self.amount = max(self.amount, ATMOSPHERE * unit)
        self.gauge = self.pressure()


@dataclass
class Case:
    """What one simulated cycle was, and when its fault began (s); None: a normal one."""

    fault: str | None
    channel: str | None
    at: float | None
    end: float
    interval: float
    settled: bool
    leak_psi_min: float = 0.0
    noise_psi: float = 0.0
    words: str = ""


class Plant:
    """One press, one cycle. `ticks()` yields the ticks a watch gets; `case` says what is in them."""

    def __init__(self, seed: int, fault: str | None, hold_s: float, long_hold: float | None = None) -> None:
        r = self.rng = random.Random(seed)
        self.fault = fault
        self.hold = long_hold if long_hold is not None else hold_s * r.uniform(1.0, 1.15)
        self.ambient = r.uniform(50.0, 95.0)
        self.interval = 1.0
        if r.random() < 0.6:
            self.interval = r.choices([0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0], [1, 2, 4, 20, 20, 15, 8])[0]
        self.jitter = r.choice([0.0, 0.0, 0.15])
        self.noise_t = r.uniform(0.05, 0.5)
        self.noise_p = r.uniform(0.01, 0.05)
        self.res_t = r.choice([0.1, 0.1, 0.1, 0.5, 1.0])
        self.res_p = r.choice([0.01, 0.01, 0.1, 0.5])
        if fault in ("bag-leaking", "bag-topping-up"):
            self.res_p = r.choice([0.01, 0.05, 0.1])
        heat_up = r.uniform(8.0, 18.0) * 60.0
        offset = r.uniform(-2.0, 2.0)
        self.mats = [
            Mat(r, 300.0 + offset + r.uniform(-1.0, 1.0), self.ambient, heat_up * r.uniform(0.9, 1.1)) for _ in range(2)
        ]
        self.bag = BagModel(r, r.uniform(31.5, 33.5), r.choice(["sealed", "relief", "regulated"]))
        self.with_extras = r.random() < 0.3 or fault == "ram-low"
        self.with_current = r.random() < 0.25
        self.full_current = r.uniform(4.0, 25.0)
        self.burst = r.uniform(2.0, 20.0)
        self.start = r.uniform(20.0, 240.0)
        self.inflate_at = r.uniform(5.0, 18.0)
        self.leak = 0.0
        self.weaker_by, self.within = 0.0, 1.0
        self.orifice = r.random() < 0.5
        self.case = self._plan()

    def _plan(self) -> Case:
        r, fault = self.rng, self.fault
        self.side = r.randrange(2)
        side = ("inner_mat", "outer_mat")[self.side]
        heating = self.start + 1500.0
        # well before the heat goes off, also where the mats were hot long before `heating`
        at = heating + r.uniform(300.0, max(self.hold - 2000.0, 400.0))
        settled = True
        channel: str | None = side
        if fault is None:
            return Case(None, None, None, 0.0, self.interval, True)
        if fault in ("probe-lifted", "probe-open", "probe-erratic", "no-readings", "bag-burst") and r.random() < 0.3:
            at = self.start + r.uniform(500.0, 1500.0)
        if fault in ("bag-burst", "bag-low", "bag-leaking", "bag-topping-up", "bag-high", "pressure-lost-uncured"):
            channel = "bag"
        if fault == "bag-leaking":
            if r.random() < 0.5:
                self.leak_rate = r.uniform(1.0, 4.0)
            else:
                self.leak_rate = r.uniform(0.15, 0.9)
                at = max(at, heating + 1200.0)
            if self.bag.supply == "regulated":
                self.bag.supply = "sealed"
        elif fault == "bag-topping-up":
            self.bag.supply = "regulated"
            self.bag.dead = r.uniform(0.4, 1.0)
            self.leak_rate = r.uniform(0.25, 1.2)
            self.bag.flow = r.uniform(0.08, 0.6)
            at = max(at, heating + 600.0)
        elif fault in ("bag-low", "pressure-lost-uncured"):
            self.leak_rate = r.uniform(3.0, 14.0)
            at = heating + r.uniform(0.0, 600.0)
        elif fault in ("heat-without-pressure",):
            channel, at = "bag", 0.0
        elif fault in ("heat-up-late",):
            at = self.start
            self.mats[self.side].slow_down(290.0, r.uniform(1800.0, 2700.0))
        elif fault == "probe-reversed":
            at = self.start
        elif fault in ("heat-lost-both", "below-profile"):
            # before the cure may be due: after that, falling mats are how every cure ends
            at = heating + r.uniform(300.0, 1500.0)
            channel = None if fault == "heat-lost-both" else side
        elif fault == "ram-low":
            channel = "ram"
        elif fault == "mat-weak":
            at = heating + r.uniform(300.0, max(self.hold - 3900.0, 500.0))
            # it stays in its band: what leaves it has another name
            mat = self.mats[self.side]
            mat.set_point = r.uniform(300.0, 303.0)
            self.weaker_by = r.uniform(8.0, mat.set_point - 291.5)
            self.within = r.choice([1.0, r.uniform(60.0, 600.0)])
        if fault == "probe-stuck":
            # what stands still within its digit anyway cannot be seen to be frozen to it
            self.res_t = max((x for x in (0.1, 0.5, 1.0) if x <= 3.0 * self.noise_t), default=0.1)
            at = min(at, heating + max(self.hold - 1500.0, 400.0))
        if fault == "mats-uneven":  # each within its band, together too far apart: only closely held mats can be so
            for mat in self.mats:
                mat.hold_closely(0.0)
                mat.set_point = 293.0
            if r.random() < 0.5:  # set apart from the first, or one of them turned up later
                at = self.start
        elif fault in ("overdue", "mats-uneven", "no-readings"):
            channel = None
        return Case(fault, channel, at, 0.0, self.interval, settled, noise_psi=self.noise_p)

    def ticks(self) -> Iterator[Tick]:
        """The cycle as a watch sees it, ended some time after the fault or after release."""
        r, case, fault = self.rng, self.case, self.fault
        t, next_sample, entered = 0.0, 0.0, None
        heat_off: float | None = None
        vent: float | None = None
        frozen: dict[str, float] = {}
        lifted = [None, None]
        ram = r.uniform(900.0, 2200.0)
        blips = [r.uniform(self.start + 900.0, self.start + self.hold) for _ in range(r.randrange(2))]
        dt = 0.5 if self.interval < 1.0 else 1.0
        dt = min(dt, self.interval)
        set_points = [m.set_point for m in self.mats]
        last_tick = -1e9
        while True:
            active = case.at is not None and t >= case.at
            heated = t >= self.start and heat_off is None
            for i, mat in enumerate(self.mats):
                here = heated and not any(b <= t < b + 20.0 for b in blips)
                target = set_points[i]
                if active and i == self.side:
                    if fault == "heat-lost":
                        here = False
                    elif fault == "below-profile":
                        target = set_points[i] - 22.0 - mat.band
                    elif fault == "above-profile":
                        target = set_points[i] + 17.0 + 0.2 * mat.band
                    elif fault == "mat-weak":
                        mat.weaken(set_points[i] - self.weaker_by, (t - (case.at or 0.0)) / self.within)
                    elif fault == "above-maximum":
                        target = 420.0
                if active and fault == "mats-uneven":
                    target = 309.2 if i == self.side else 293.0
                if active and fault == "heat-lost-both":
                    here = False
                mat.step(dt, here, target)
            hot = 0.5 * (self.mats[0].pad + self.mats[1].pad)
            leak = 0.0
            if active and fault in ("bag-leaking", "bag-topping-up", "bag-low", "pressure-lost-uncured"):
                leak = self.leak_rate / 60.0
            if active and fault == "bag-burst":
                leak = 3.0
            filled = fault == "heat-without-pressure"
            if not filled and self.inflate_at <= t < self.inflate_at + 40.0 and self.bag.gauge < self.bag.target:
                self.bag.amount += min(1.5 * dt, self.bag.target - self.bag.gauge)
            if active and fault == "bag-high":
                self.bag.amount += 0.06 * dt if self.bag.gauge < 46.0 else 0.0
                self.bag.crack, self.bag.relieving = 99.0, False
            if vent is not None and t >= vent:
                self.bag.amount -= min(1.0 * dt, max(self.bag.gauge, 0.0)) * 530.0 / (self.bag.gas + 459.67)
            fed = (
                not filled
                and t > self.inflate_at
                and not (active and fault in ("bag-leaking", "bag-low"))
                and vent is None
            )
            self.bag.step(
                dt, hot, self.ambient, fed and not (active and fault == "pressure-lost-uncured"), leak, self.orifice
            )
            if entered is None and min(m.probe for m in self.mats) > 291.0:
                entered = t
            over = 4000.0 if fault == "overdue" else 0.0
            if heat_off is None and entered is not None and t > entered + self.hold + over:
                heat_off = t
            if heat_off is not None and vent is None and max(m.pad for m in self.mats) < 165.0:
                vent = t
            t = round(t + dt, 6)
            if t + 1e-9 >= next_sample:
                yield from self._fill(last_tick, t)
                yield Tick(t, self._read(t, frozen, lifted, ram))
                last_tick = t
                next_sample = t + self.interval * (1.0 + r.uniform(-self.jitter, self.jitter))
            if vent is not None and self.bag.gauge < 1.0 and t > vent + 90.0:
                break
            if case.at is not None and t > max(case.at, self.start) + self._patience():
                break
            if t > 8.0 * 3600.0:
                break
        case.end = t

    def _patience(self) -> float:
        slow = {"heat-up-late": 1700.0, "overdue": 12000.0, "probe-reversed": 900.0, "heat-without-pressure": 1500.0}
        if self.fault in slow:
            return slow[self.fault] + (self.hold if self.fault == "overdue" else 0.0)
        return {
            "heat-lost": 1200.0,
            "bag-leaking": 1500.0,
            "bag-topping-up": 1500.0,
            "mat-weak": 3600.0,
            "mats-uneven": 3600.0,
        }.get(self.fault or "", 900.0)

    @staticmethod
    def _fill(last: float, t: float) -> Iterator[Tick]:
        step = 1
        while last > -1e8 and last + step < t - 0.25:
            yield Tick(last + step, {})
            step += 1

    def _read(self, t: float, frozen: dict[str, float], lifted: list[float | None], ram: float) -> dict[str, Reading]:
        r, case, fault = self.rng, self.case, self.fault
        active = case.at is not None and t >= case.at
        if active and fault == "no-readings":
            return {}
        out: dict[str, Reading] = {}
        for i, name in enumerate(("inner_mat", "outer_mat")):
            value = self.mats[i].probe + r.gauss(0.0, self.noise_t)
            if active and i == self.side:
                if fault == "probe-open":
                    out[name] = MISSING
                    continue
                if fault == "probe-stuck":
                    value = frozen.setdefault(name, value)
                elif fault == "probe-lifted":
                    now = lifted[i] if lifted[i] is not None else value
                    rest = self.ambient + 0.25 * (value - self.ambient)
                    lifted[i] = now + (rest - now) * (1.0 - math.exp(-self.interval / 12.0))
                    value = lifted[i] + r.gauss(0.0, self.noise_t)
                elif fault == "probe-erratic":
                    value += r.gauss(0.0, 14.0) if r.random() < 0.6 else 0.0
                elif fault == "probe-reversed":
                    value = 2.0 * self.ambient - value
            out[name] = Reading(f_to_c(round(value / self.res_t) * self.res_t))
        gauge = self.bag.gauge + r.gauss(0.0, self.noise_p)
        out["bag"] = Reading(round(gauge / self.res_p) * self.res_p * PSI)
        if self.with_current:
            for i, name in enumerate(("inner_mat_current", "outer_mat_current")):
                mat = self.mats[i]
                share = 0.0 if mat.strength <= 0.0 else mat.drive / mat.power
                if mat.proportional:  # switched full on and off within some seconds
                    share = float((t / self.burst) % 1.0 < share)
                out[name] = Reading(max(self.full_current * share + r.gauss(0.0, 0.05), 0.0))
        if self.with_extras:
            sunk = max(0.0, t - (case.at or 0.0)) * 6.0 if fault == "ram-low" and active else 0.0
            value = max(ram - sunk, 0.55 * ram) + r.gauss(0.0, 3.0)
            out["ram"] = Reading(round(value) * PSI)
        return out

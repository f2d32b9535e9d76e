"""The shop of the campaign: presses that go on curing whether or not anybody records them.

What each instrument shows is a function of shop time alone, so that the truth is known for every second a recorder
was dead. Beside mats and bag each press has a channel ``beat`` that nobody judges and that counts shop seconds: from
it alone can be told which moment a kept row is of.
"""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

from drivers.base import Clock, Sample
from drivers.pacing import Pace
from drivers.press_options import press_settings
from drivers.simulated_press import SimulatedPress
from press_monitor.recorder.clock import ShopClock, monotonic_through_sleep

STEP_S = 2
"""Between two samples, and the recorder's grid."""

PERIOD_S = 1320
"""From one tire to the next on the same press."""

LOADED_S = 40
"""From when on an operator may start the tire's cycle."""

MEMORY_S = 600
"""What an instrument with a memory hands over when it is opened."""

_HEAD = """
[shop]
name = "Juniper Flat Section Repair"
units = "us"
altitude = "300 ft"
ambient = "65 degF"
[compounds.quick-gum]
reference_temperature = "150 degC"
scorch = "1.2 min"
tc50 = "3 min"
tc90 = "6 min"
activation_energy = "100 kJ/mol"
blow_point = 0.35
reversion = "90 min"
[recipes.quick-300]
hold_temperature = "300 degF"
hold_tolerance = "10 degF"
maximum_temperature = "330 degF"
heat_up_limit = "10 min"
minimum_hold = "5 min"
required_cure = 0.90
release_below = "180 degF"
bag_pressure = "32 psi"
bag_minimum = "28 psi"
bag_maximum = "40 psi"
[repairs.thin]
mats_overlap = true
[[repairs.thin.layers]]
name = "filler rubber"
thickness = "8 mm"
compound = "quick-gum"
"""

MINIMUM_HOLD_S, BAND_degF, BAG_MINIMUM_psi = 300.0, (290.0, 310.0), 28.0


@dataclass(frozen=True, slots=True)
class Story:
    """What happens to a tire. Only a `good` one may ever be certified as a pass."""

    name: str
    good: bool
    options: Mapping[str, object]


_USUAL: Mapping[str, object] = {
    "interval_s": float(STEP_S),
    "thickness_mm": 8,
    "heat_on_min": 1,
    "heat_up_min": 4,
    "heat_off_min": 14.5,
    "mat_fall_min": 2,
    "vent_below_degF": 170,
    "after_min": 1,
}

STORIES = (
    Story("good", True, _USUAL),
    Story("too short", False, {**_USUAL, "heat_off_min": 7}),
    Story("good again", True, {**_USUAL, "seed": 5}),
    Story("too cold", False, {**_USUAL, "hold_degF": 262}),
    Story("leaking", False, {**_USUAL, "faults": [{"kind": "leak", "at_min": 6, "rate_psi_min": 6.0}]}),
    Story("silent", False, {**_USUAL, "faults": [{"kind": "silence", "at_min": 8, "for_min": 4}]}),
)


@cache
def frames(story: int) -> tuple[tuple[tuple[str, float | None], ...], ...]:
    """What the instrument of a story shows, a frame every `STEP_S` for `PERIOD_S`; empty: nothing comes."""
    press = SimulatedPress(press_settings(STORIES[story].options))
    return tuple(press.step().readings for _ in range(PERIOD_S // STEP_S))


def tire_at(press: int, shop_s: float) -> tuple[int, float]:
    """Which tire lies on a press at a shop second, and how many seconds it has lain there."""
    since = shop_s + press * PERIOD_S / 4
    return int(since // PERIOD_S), since % PERIOD_S


def story_of(press: int, tire: int) -> int:
    """What happens to a press's tire number `tire`."""
    return (tire * 5 + press * 2) % len(STORIES)


def has_memory(press: int) -> bool:
    """Whether a press's instrument remembers what nobody fetched."""
    return press % 2 == 0


def shop_text(presses: int) -> str:
    """The shop file."""
    parts = [_HEAD]
    for k in range(presses):
        parts.append(f'[presses.P{k + 1}]\ndriver = "simulated"\nrecipe = "quick-300"\noptions = {{ seed = {k} }}\n')
        parts += [f"[presses.P{k + 1}.channels.{name}]\n" for name in ("inner_mat", "outer_mat", "bag")]
        parts.append(f'[presses.P{k + 1}.channels.beat]\nunit = "degF"\ndecimals = 0\n')
    return "".join(parts)


def start_args(tire: int, story: int) -> dict[str, object]:
    """What an operator's start command says."""
    ticket = {
        "tire": "skid-steer 12-16.5",
        "note": f"tire {tire}",
        "section": STORIES[story].name,
        "mats_overlap": True,
    }
    return {"recipe": "quick-300", "preset": "thin", "ticket": ticket}


@dataclass(frozen=True, slots=True)
class Hands:
    """The clocks of one life of a recorder: both run true, `back` seconds behind this computer's.

    A harness moves `back` on while no recorder runs, so that checking costs no shop time. `zero` is the real second
    at which shop time began, `zero_utc` the UTC of it.
    """

    zero: float
    zero_utc: float
    speed: float
    back: float

    def real(self) -> float:
        return monotonic_through_sleep() - self.back

    def wall(self) -> float:
        return time.time() - self.back

    def shop_s(self) -> float:
        """Shop seconds since the beginning of the campaign."""
        return (self.real() - self.zero) * self.speed

    def clock(self) -> ShopClock:
        """Shop time that goes on from one recorder to the next, as it does at speed 1."""
        clock = ShopClock(self.speed, real=self.real, wall=self.wall)
        clock._real_origin, clock._wall_origin = self.zero, self.zero_utc
        return clock


class WorldDriver:
    """The instrument of one press."""

    def __init__(self, press: int, clock: Clock, zero: float) -> None:
        self._press = press
        self._clock = clock
        self._pace = Pace(clock)
        self._zero = zero
        self._next = 0

    def open(self) -> None:
        back = MEMORY_S if has_memory(self._press) else 0
        self._next = max(0, int((self._clock() - self._zero - back) // STEP_S) + 1)
        self._pace.start()

    def read(self, wait: float) -> Sequence[Sample]:
        if not self._pace.until(self._zero + self._next * STEP_S, wait):
            return ()
        samples: list[Sample] = []
        last = min(self._next + 500, int((self._clock() - self._zero) // STEP_S) + 1)
        for n in range(self._next, last):
            samples += self._samples(n * STEP_S)
        self._next = last
        return samples

    def _samples(self, shop_s: int) -> list[Sample]:
        tire, t = tire_at(self._press, shop_s)
        shown = frames(story_of(self._press, tire))[int(t // STEP_S)]
        at = self._zero + shop_s
        if not shown:
            return []
        found = [Sample(name, value, "psi" if name == "bag" else "degF", at) for name, value in shown]
        return [*found, Sample("beat", float(shop_s), "degF", at)]

    def close(self) -> None:
        self._pace.stop()

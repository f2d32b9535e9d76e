"""A second channel that settles the cause: a mat's current tells a lost lead in seconds, the ram a lost lock-up."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from press_monitor.quantities import PSI, to_si
from press_monitor.readings import Reading, Tick
from press_monitor.watch.cure_watch import CureWatch
from press_monitor.watch.types import AlarmView
from tests.watch.bench import SETUP, after, ramp, replace

CURRENTS = ("inner_mat_current", "outer_mat_current")
FED = replace(SETUP, channels=(*SETUP.channels, *CURRENTS), repair=None)
RAM = replace(SETUP, channels=(*SETUP.channels, "ram"), repair=None)
FULL_A = 11.0
ON = 2000.0


def thermostat(t: float, now: float, was_on: bool) -> float:
    return float(now < 306.0 if was_on else now < 294.0)


def switched_in_seconds(t: float, now: float, was_on: bool) -> float:
    share = min(max((300.0 - now) / 12.0 + 0.45, 0.0), 1.0)
    return float(t % 8.0 < 8.0 * share)


def run(
    control: Callable[[float, float, bool], float],
    power: dict[str, Callable[[float], float]],
    current: Callable[[str, float, float], float],
    end: float,
) -> CureWatch:
    """Two mats of 600 and 650 s; `power(t)` 0-1 reaches the element, `current(name, t, drawn)` is what is read."""
    watch = CureWatch(FED)
    temperature, on = {"inner_mat": 70.0, "outer_mat": 70.0}, {"inner_mat": True, "outer_mat": True}
    for k in range(round(end)):
        t = float(k)
        said = {"bag": Reading(32.0 * PSI)}
        for name, tau in (("inner_mat", 600.0), ("outer_mat", 650.0)):
            calling = control(t, temperature[name], on[name]) if t >= 60.0 else 0.0
            on[name] = calling > 0.5
            heat = calling * power[name](t)
            temperature[name] += (70.0 + 480.0 * heat - temperature[name]) / tau
            said[name] = Reading(to_si(round(temperature[name] + 0.1 * math.sin(t), 1), "degF"))
            said[f"{name}_current"] = Reading(current(name, t, FULL_A * heat))
        watch.step(Tick(t, said))
    return watch


def lost(watch: CureWatch) -> list[AlarmView]:
    return [v for v in watch.alarms.views() if v.kind == "heat-lost"]


ALWAYS = dict.fromkeys(("inner_mat", "outer_mat"), lambda t: 1.0)


def plain(name: str, t: float, drawn: float) -> float:
    return drawn


@pytest.mark.parametrize("control", [thermostat, switched_in_seconds])
def test_current_that_comes_and_goes_is_no_fault(control: Callable[[float, float, bool], float]) -> None:
    assert run(control, ALWAYS, plain, 4000.0).alarms.views() == ()


@pytest.mark.parametrize("control", [thermostat, switched_in_seconds])
def test_a_lost_lead_is_told_sooner_than_by_temperature(control: Callable[[float, float, bool], float]) -> None:
    dead = {**ALWAYS, "outer_mat": after(ON, 0.0, 1.0)}
    (alarm,) = lost(run(control, dead, plain, ON + 500.0))
    blind = lost(run(control, dead, lambda name, t, drawn: 0.0, ON + 500.0))
    assert alarm.channel == "outer_mat" and "draws no current" in alarm.message and "lead" in alarm.advice
    # while the other mat rests too, it may be a power cut of twenty seconds, which has to be waited out
    assert alarm.raised_s <= blind[0].raised_s - (15.0 if control is switched_in_seconds else 5.0)
    if control is switched_in_seconds:
        assert alarm.raised_s - ON <= 45.0


@pytest.mark.parametrize("begins", range(2000, 2120, 10))
def test_a_power_cut_of_twenty_seconds_is_no_lost_heat_at_any_moment_of_the_cycles(begins: int) -> None:
    cut = dict.fromkeys(ALWAYS, lambda t: 0.0 if begins <= t < begins + 20 else 1.0)
    assert not lost(run(thermostat, cut, plain, begins + 400.0))


@pytest.mark.parametrize("control", [thermostat, switched_in_seconds])
def test_a_lost_lead_is_told_in_heat_up(control: Callable[[float, float, bool], float]) -> None:
    (alarm,) = lost(run(control, {**ALWAYS, "inner_mat": after(300.0, 0.0, 1.0)}, plain, 400.0))
    assert alarm.channel == "inner_mat" and alarm.raised_s <= 325.0


@pytest.mark.parametrize("at", [400.0, ON])
def test_a_short_blip_of_the_power_is_still_quiet(at: float) -> None:
    blip = dict.fromkeys(("inner_mat", "outer_mat"), lambda t: 0.0 if at <= t < at + 20.0 else 1.0)
    assert lost(run(switched_in_seconds, blip, plain, at + 400.0)) == []


def test_both_unfed_point_to_the_power() -> None:
    dark = dict.fromkeys(("inner_mat", "outer_mat"), after(ON, 0.0, 1.0))
    first, second = lost(run(switched_in_seconds, dark, plain, ON + 90.0))
    assert second.consequence_of == first.id and "breaker" in first.advice and "no current" in first.message


def test_a_mat_that_cools_while_it_is_fed_is_not_blamed_on_its_lead() -> None:
    def shown(name: str, t: float, drawn: float) -> float:
        return FULL_A if name == "outer_mat" and t >= ON else drawn

    (alarm,) = lost(run(switched_in_seconds, {**ALWAYS, "outer_mat": after(ON, 0.0, 1.0)}, shown, ON + 300.0))
    assert "11.0 A" in alarm.message and "is fed" in alarm.advice and "element." not in alarm.advice


def press(end: float, *, ram: Callable[[float], float], bag: Callable[[float], float]) -> CureWatch:
    watch = CureWatch(RAM)
    up = ramp(60.0, 70.0, 700.0, 300.0)
    for k in range(round(end)):
        t = float(k)
        wobble = 0.1 * (k * 7 % 5 - 2)
        said = {name: Reading(to_si(up(t) + wobble, "degF")) for name in ("inner_mat", "outer_mat")}
        said["bag"] = Reading((bag(t) + 0.1 * wobble) * PSI)
        said["ram"] = Reading((ram(t) + wobble) * PSI)
        watch.step(Tick(t, said))
    return watch


def test_bag_and_ram_together_are_the_hydraulics() -> None:
    watch = press(ON + 200.0, ram=ramp(ON, 1800.0, ON + 120.0, 1300.0), bag=ramp(ON + 20.0, 32.0, ON + 200.0, 26.0))
    roots = [v for v in watch.alarms.views() if v.consequence_of is None]
    assert [v.kind for v in roots] == ["ram-low"] and "hydraulics" in roots[0].message
    assert "remote valve" in roots[0].advice and "clear" in roots[0].advice
    assert {v.kind for v in watch.alarms.views()} >= {"ram-low", "bag-leaking"}


def test_a_leaking_bag_under_a_steady_ram_is_the_bag() -> None:
    watch = press(ON + 200.0, ram=lambda t: 1800.0 - 0.05 * max(t - 700.0, 0.0), bag=ramp(ON, 32.0, ON + 200.0, 25.0))
    roots = [v.kind for v in watch.alarms.views() if v.consequence_of is None]
    assert roots == ["bag-leaking"]

"""What belongs to a normal cure raises nothing: thermostats, regulators, relief, blips, noise, warming, heat-off."""

from __future__ import annotations

import pytest

from press_monitor.watch.types import Phase, Verdict
from tests.watch.bench import RECIPE, SETUP, THIN, Air, Gauge, Mat, Plant, Run, drive, ramp, replace

BARE = replace(SETUP, repair=None)
LIGHT, OTHER = Mat(tau=300.0, full=500.0), Mat(tau=320.0, full=500.0)
PRESS = Plant(heat_at=30.0, inner=LIGHT, outer=OTHER)


def cycling(tau: float, swing: float, **more: object) -> dict[str, Mat]:
    """Two mats on a thermostat, one a little slower: a period of about 0.35 tau at 15 degF either way."""
    return {
        "inner": Mat(tau=tau, full=480.0, swing=swing, **more),  # type: ignore[arg-type]
        "outer": Mat(tau=1.07 * tau, full=480.0, swing=swing, **more),  # type: ignore[arg-type]
    }


def kinds(run: Run) -> list[tuple[str, str | None, float]]:
    return [(v.kind, v.channel, v.raised_s) for v in run.alarms]


def blip(t: float) -> float:
    return 0.0 if 1200.0 <= t < 1220.0 else 1.0


def late_blip(t: float) -> float:
    return 0.0 if 1790.0 <= t < 1810.0 else 1.0


NORMAL = {
    "close control": replace(PRESS, minutes=20.0),
    "noise of half a degree and 0.05 psi": replace(PRESS, minutes=20.0, gauge=Gauge(noise_degF=0.5, noise_psi=0.05)),
    "whole degrees and tenths": replace(PRESS, minutes=15.0, gauge=Gauge(noise_degF=0.3, step_degF=1.0, step_psi=0.1)),
    "quiet instrument, whole degrees and half psi": replace(
        PRESS, minutes=15.0, gauge=Gauge(noise_degF=0.05, noise_psi=0.01, step_degF=1.0, step_psi=0.5)
    ),
    "every five seconds": replace(PRESS, gauge=Gauge(dt=5.0)),
    "regulator": replace(PRESS, minutes=20.0, air=Air(supply=True)),
    "bag rising with the heat": replace(PRESS, minutes=20.0, air=Air(warms=0.33)),
    "shut bag, wide thermostat": replace(PRESS, minutes=25.0, **cycling(500.0, 15.0)),
    "thermostat 4 degF": replace(PRESS, minutes=20.0, **cycling(400.0, 4.0)),
    "thermostat 10 degF": replace(PRESS, minutes=30.0, gauge=Gauge(dt=2.0), **cycling(900.0, 10.0)),
    "thermostat 15 degF, 2 min": replace(PRESS, minutes=20.0, **cycling(300.0, 15.0)),
    "thermostat 15 degF, 6 min": replace(PRESS, minutes=45.0, air=Air(supply=True), **cycling(1100.0, 15.0)),
    "20 s without power": replace(
        PRESS, minutes=25.0, inner=replace(LIGHT, power=blip), outer=replace(OTHER, power=blip)
    ),
    "20 s without power under a wide thermostat": replace(
        PRESS, minutes=36.0, air=Air(supply=True), **cycling(1100.0, 15.0, power=late_blip)
    ),
    "thermostat 15 degF, 9 min": replace(PRESS, minutes=42.0, air=Air(supply=True), **cycling(1800.0, 15.0)),
    "20 s without power under a thermostat": replace(PRESS, minutes=26.0, **cycling(500.0, 10.0, power=blip)),
    "relief valve that bleeds": replace(PRESS, minutes=20.0, air=Air(warms=0.5, relief=(38.0, 37.4))),
}  # fmt: skip
NOISY = {
    "relief valve that pops": (
        replace(PRESS, minutes=16.0, air=Air(warms=0.7, relief=(38.0, 36.0))),
        "a high bag-burst for a relief valve letting off 2 psi, still 8 psi above the minimum",
    ),
    "half psi steps and noise": (
        replace(PRESS, minutes=20.0, gauge=Gauge(noise_degF=0.5, noise_psi=0.05, step_degF=1.0, step_psi=0.5)),
        "probe-stuck on a bag that stays between two marks of its gauge for minutes",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", NORMAL)
def test_a_normal_cure_is_quiet(name: str) -> None:
    plant = NORMAL[name]
    run = drive(replace(plant, minutes=min(plant.minutes, 45.0)), BARE)
    assert kinds(run) == []
    assert run.watch.snapshot().phase is Phase.HOLD


@pytest.mark.parametrize("name", NOISY)
def test_more_normal_cures_should_be_quiet(name: str) -> None:
    plant, _ = NOISY[name]
    assert kinds(drive(plant, BARE)) == []


def test_a_whole_cure_with_heat_off_when_due_and_the_bag_let_down_raises_nothing_and_passes() -> None:
    setup = replace(SETUP, repair=THIN, recipe=replace(RECIPE, minimum_hold=900.0))
    plant = Plant(
        minutes=64.0,
        heat_at=40.0,
        inner=Mat(tau=420.0, full=470.0, swing=6.0),
        outer=Mat(tau=450.0, full=470.0),
        heat_off_at=2400.0,
        let_down_at=3700.0,
        air=Air(warms=0.25, supply=True),
        gauge=Gauge(dt=2.0, noise_degF=0.3, noise_psi=0.03),
    )
    run = drive(plant, setup)
    result = run.watch.result()
    assert kinds(run) == []
    assert [p["phase"] for p in result["phases"]] == ["loaded", "heat-up", "hold", "cool-down", "released"]
    assert result["verdict"] == Verdict.PASS.value, result["reasons"]
    assert 3713.0 <= result["release_s"] <= 3730.0
    assert result["cure"]["set_without_pressure"] == 0.0


def test_a_set_point_wandering_within_the_band_is_quiet() -> None:
    wander = replace(OTHER, set_at=ramp(500.0, 296.0, 900.0, 304.0))
    run = drive(replace(PRESS, minutes=20.0, outer=wander), BARE)
    assert kinds(run) == []

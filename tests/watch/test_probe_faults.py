"""Faults of the sensors and the line: told as such, not as lost heat or a lost bag."""

from __future__ import annotations

import math
import random

import pytest

from press_monitor.quantities import to_si
from press_monitor.readings import Quality, Reading, Tick
from press_monitor.watch.channels import Channel
from press_monitor.watch.cure_watch import CureWatch
from press_monitor.watch.doubts import SURE_BOUNDS
from press_monitor.watch.types import Priority, RecordHole
from tests.watch.bench import CHANNELS, SETUP, Gauge, Mat, Plant, drive, feed, reading, replace

BARE = replace(SETUP, repair=None)
PRESS = Plant(heat_at=30.0, inner=Mat(tau=300.0, full=500.0), outer=Mat(tau=320.0, full=500.0))
ON, OFF = 450.0, 560.0


def limit(seconds: float, dt: float) -> float:
    return max(seconds, 4.0 * dt) + dt


@pytest.mark.parametrize("channel", CHANNELS)
@pytest.mark.parametrize("dt", [1.0, 5.0])
def test_an_open_probe_is_told_in_time_and_clears_when_it_reads_again(channel: str, dt: float) -> None:
    def broken(t: float, name: str, value: float) -> float | None:
        return None if name == channel and ON <= t < OFF else value

    run = drive(replace(PRESS, minutes=10.5, gauge=Gauge(dt=dt), sense=broken), BARE)
    only, *others = run.alarms
    assert not [v for v in others if v.kind != "probe-stuck"]  # that one has a test of its own below
    assert (only.kind, only.channel, only.priority) == ("probe-open", channel, Priority.MEDIUM)
    assert ON < only.raised_s <= ON + limit(3.0, dt)
    assert only.since_s == pytest.approx(ON, abs=dt)
    assert only.cleared_s is not None and OFF <= only.cleared_s <= OFF + 10.0 + dt


def test_an_open_probe_at_five_readings_a_second_is_told_within_three_seconds() -> None:
    run = drive(
        replace(
            PRESS,
            minutes=5.2,
            gauge=Gauge(dt=0.2),
            sense=lambda t, name, value: None if name == "outer_mat" and t >= 300.0 else value,
        ),
        BARE,
    )
    (only,) = run.alarms
    assert only.kind == "probe-open" and 300.0 <= only.raised_s <= 303.3


@pytest.mark.parametrize("dt", [1.0, 2.0, 5.0])
def test_silence_is_told_in_time_as_one_alarm_and_leaves_a_hole(dt: float) -> None:
    run = drive(replace(PRESS, minutes=10.5, gauge=Gauge(dt=dt), silent=lambda t: ON <= t < OFF), BARE)
    only, *others = run.alarms
    assert not [v for v in others if v.kind != "probe-stuck"]  # that one has a test of its own below
    assert (only.kind, only.channel, only.priority) == ("no-readings", None, Priority.HIGH)
    last = ON - dt
    assert last < only.raised_s <= last + limit(5.0, dt)
    assert only.since_s == last and only.cleared_s == OFF
    (hole,) = (e for e in run.events if isinstance(e, RecordHole))
    assert (hole.start_s, hole.end_s) == (last, OFF)


def test_silence_falls_on_whole_seconds_between_seldom_rows() -> None:
    run = drive(replace(PRESS, minutes=10.0, gauge=Gauge(dt=5.0), silent=lambda t: ON <= t < OFF), BARE)
    assert run.alarms[0].raised_s == int(run.alarms[0].raised_s)


def test_every_channel_gone_though_the_line_speaks_is_silence() -> None:
    def nothing(t: float, name: str, value: float) -> float | None:
        return None if t >= ON else value

    run = drive(replace(PRESS, minutes=8.0, sense=nothing), BARE)
    assert "no-readings" in {v.kind for v in run.roots()}
    assert not run.raised("heat-lost") and not run.raised("bag-low")


def test_an_instrument_that_speaks_every_ten_seconds_is_not_silent() -> None:
    run = drive(replace(PRESS, minutes=9.0, gauge=Gauge(dt=10.0)), BARE)
    assert not run.alarms


def test_the_same_digit_before_and_after_a_silence_is_no_stuck_probe() -> None:
    watch = CureWatch(BARE)
    feed(watch, 300.0, bag=32.0)
    before = watch.snapshot().inner
    assert before is not None and before.value_degC is not None
    for t in range(301, 440):
        watch.step(Tick(float(t), {}))
    same = before.value_degC * 1.8 + 32.0
    watch.step(Tick(440.0, reading(inner_mat=same, outer_mat=300.4, bag=32.1)))
    assert {v.kind for v in watch.snapshot().alarms} == {"no-readings"}


def lifted(mat: str, tau: float, on: float = ON):
    """The probe falls towards a warm draught with its own time constant; the mat itself stays as it is."""

    def sense(t: float, name: str, value: float) -> float | None:
        return value if name != mat or t < on else 80.0 + (value - 80.0) * math.exp(-(t - on) / tau)

    return sense


@pytest.mark.parametrize(("tau", "mat"), [(8.0, "inner_mat"), (20.0, "outer_mat"), (45.0, "inner_mat")])
def test_a_lifted_probe_is_told_within_ten_seconds_and_not_as_lost_heat(tau: float, mat: str) -> None:
    run = drive(replace(PRESS, minutes=11.0, sense=lifted(mat, tau)), BARE)
    (root,) = run.roots()
    assert (root.kind, root.channel, root.priority) == ("probe-lifted", mat, Priority.MEDIUM)
    assert ON < root.raised_s <= ON + limit(10.0, 1.0)
    assert abs(root.since_s - ON) <= 6.0
    assert not run.raised("heat-lost")


def test_a_probe_lifted_while_heating_up_is_told() -> None:
    run = drive(replace(PRESS, minutes=5.0, sense=lifted("inner_mat", 15.0, 170.0)), BARE)
    (root,) = run.roots()
    assert (root.kind, root.channel) == ("probe-lifted", "inner_mat") and 170.0 < root.raised_s <= 181.0


def test_a_lifted_probe_is_told_at_slower_sampling() -> None:
    run = drive(replace(PRESS, minutes=9.0, gauge=Gauge(dt=5.0), sense=lifted("inner_mat", 20.0)), BARE)
    (root,) = run.roots()
    assert root.kind == "probe-lifted" and root.raised_s <= ON + limit(10.0, 5.0)


def test_a_probe_lifted_is_not_what_falls_below_the_shops_air() -> None:
    """Crossed leads: as the mat warms the reading falls, and in the end out of what a mat can be."""

    def crossed(t: float, name: str, value: float) -> float | None:
        return value if name != "inner_mat" else 140.0 - value

    run = drive(replace(PRESS, minutes=8.0, sense=crossed), BARE)
    (root,) = run.roots()
    assert (root.kind, root.channel) == ("probe-reversed", "inner_mat")
    assert root.raised_s <= PRESS.heat_at + limit(120.0, 1.0)


def jumping(t: float, name: str, value: float) -> float | None:
    """A loose lead: three readings of five are off by some degrees either way, in no order."""
    part = math.sin(12.9898 * t) * 43758.5453 % 1.0
    return value if name != "inner_mat" or t < ON or part < 0.4 else value + 40.0 * math.sin(78.233 * t)


@pytest.mark.parametrize("dt", [1.0, 5.0, 10.0])
def test_a_jumping_probe_is_told_in_a_dozen_readings_and_not_as_lifted(dt: float) -> None:
    run = drive(replace(PRESS, minutes=12.0, gauge=Gauge(dt=dt), sense=jumping), BARE)
    (root,) = run.roots()
    assert (root.kind, root.channel) == ("probe-erratic", "inner_mat")
    assert ON <= root.raised_s <= ON + max(30.0, 16.0 * dt)


STUCK = 900.0


def stuck(noise: float, step: float, dt: float = 1.0) -> list[str]:
    """What is raised where the inner mat's reading freezes, its noise with it."""
    plant = replace(PRESS, minutes=24.0, gauge=Gauge(dt=dt, noise_degF=noise, step_degF=step))
    watch = CureWatch(BARE)
    for tick, _ in plant.ticks():
        readings = dict(tick.readings)
        if tick.t >= STUCK and "inner_mat" in readings:
            readings["inner_mat"] = reading(inner_mat=299.0)["inner_mat"]
        watch.step(Tick(tick.t, readings))
    return [v.kind for v in watch.snapshot().alarms if v.consequence_of is None]


@pytest.mark.parametrize(("noise", "step", "dt"), [(0.3, 0.1, 1.0), (0.3, 0.5, 1.0), (0.5, 1.0, 2.0), (0.4, 0.1, 5.0)])
def test_a_frozen_probe_is_told_where_its_noise_is_wider_than_its_digit(noise: float, step: float, dt: float) -> None:
    assert stuck(noise, step, dt) == ["probe-stuck"]


@pytest.mark.parametrize(("noise", "step"), [(0.05, 0.5), (0.1, 1.0)])
def test_a_still_digit_wider_than_the_noise_is_no_frozen_probe(noise: float, step: float) -> None:
    assert stuck(noise, step) == []


def test_a_mat_that_stands_in_its_band_while_the_other_heats_is_not_stuck() -> None:
    slow = Mat(tau=900.0, full=400.0)
    plant = replace(PRESS, minutes=16.0, outer=slow, gauge=Gauge(noise_degF=0.05, step_degF=1.0))
    assert not drive(plant, BARE).raised("probe-stuck")


@pytest.mark.parametrize(("noise", "thrown"), [(0.06, False), (0.20, True)])
def test_the_bends_of_a_mat_read_seldom_are_not_taken_for_noise(noise: float, thrown: bool) -> None:
    # Half-degree digits every ten seconds, and a thermostat that swings by 2.5 degF every 95 s.
    channel, source = Channel("inner_mat"), random.Random(1)
    for k in range(400):
        phase = (10.0 * k % 95.0) / 95.0
        shown = 300.0 + 2.5 * abs(2.0 * phase - 1.0) + source.gauss(0.0, noise)
        channel.take(10.0 * k, Reading(to_si(0.5 * round(2.0 * shown), "degF"), Quality.GOOD))
    share = channel.s.bounds / 288.0  # of the readings that are remembered
    assert share > SURE_BOUNDS if thrown else share < SURE_BOUNDS

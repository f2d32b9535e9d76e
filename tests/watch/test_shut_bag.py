"""The gas of a shut bag: slow leaks found by what the mats do not explain, and what may look like one."""

from __future__ import annotations

import json

import pytest

from press_monitor.quantities import PSI
from press_monitor.watch.channels import Channel
from press_monitor.watch.cure_watch import CureWatch
from press_monitor.watch.leak import Leak
from press_monitor.watch.recipe import BagSupply
from press_monitor.watch.types import Event
from tests.watch.bench import RECIPE, SETUP, Air, Gauge, Mat, Plant, Run, Schedule, after, drive, ramp, replace

FED = replace(SETUP, repair=None)
SHUT = replace(FED, recipe=replace(RECIPE, bag_supply=BagSupply.SEALED))
FINE = Gauge(noise_psi=0.02, step_psi=0.01)
# in its band four minutes after the heat comes on; one thermostat swings, and the gas follows both mats
PRESS = Plant(
    heat_at=30.0,
    minutes=32.0,
    inner=Mat(tau=300.0, full=500.0, swing=7.0),
    outer=Mat(tau=320.0, full=500.0),
    gauge=FINE,
)
ON = 1400.0


def found(run: Run) -> list[float]:
    """Seconds from `ON` to each time that the bag is said to leak."""
    return [v.raised_s - ON for v in run.raised("bag-leaking")]


def leaking(rate: float, *, seed: int = 1, minutes: float = PRESS.minutes, dt: float = 1.0) -> Plant:
    """A shut bag that loses `rate` psi/min from `ON` on."""
    air = replace(PRESS.air, jet=after(ON, rate / 60.0))
    return replace(PRESS, air=air, seed=seed, minutes=minutes, gauge=replace(FINE, dt=dt))


@pytest.mark.parametrize(("rate", "seconds"), [(0.2, 90.0), (0.4, 45.0), (0.8, 25.0)])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_slow_leak_of_a_shut_bag_is_told_soon(rate: float, seconds: float, seed: int) -> None:
    run = drive(leaking(rate, seed=seed), SHUT)
    assert found(run) and 0.0 <= found(run)[0] <= seconds, found(run)
    (leak,) = run.roots()
    assert leak.kind == "bag-leaking" and abs(leak.since_s - ON) < 45.0
    assert leak.cleared_s is None


def test_of_a_bag_that_may_be_fed_nothing_is_learned_and_it_takes_the_longer() -> None:
    shut, fed = (found(drive(leaking(0.4), setup)) for setup in (SHUT, FED))
    assert shut[0] < 0.5 * fed[0]


def test_the_rate_told_first_is_the_leaks() -> None:
    plant = leaking(0.4, minutes=(ON + 60.0) / 60.0)
    leak = drive(plant, SHUT).watch.bag.leak
    assert leak is not None and leak.s.rate is not None
    assert -60.0 * leak.s.rate / PSI == pytest.approx(0.4, rel=0.25)


@pytest.mark.parametrize("dt", [0.2, 2.0, 5.0])
def test_a_slow_leak_is_told_soon_however_often_the_gauge_speaks(dt: float) -> None:
    run = drive(leaking(0.5, dt=dt), SHUT)
    assert found(run) and 0.0 <= found(run)[0] <= 60.0


def sensed(how: Plant, bag: Schedule) -> Plant:
    """The plant with `bag(t)` psi added to what the gauge says."""

    def sense(t: float, name: str, value: float) -> float:
        return value + (bag(t) if name == "bag" else 0.0)

    return replace(how, sense=sense)


def cool(t: float) -> float:
    return ramp(1400.0, 302.0, 1460.0, 294.0)(t)


NORMAL = {
    "cycling": PRESS,
    "noisy": replace(PRESS, gauge=Gauge(noise_psi=0.05, noise_degF=0.5)),
    "set lower": replace(PRESS, inner=replace(PRESS.inner, set_at=cool), outer=replace(PRESS.outer, set_at=cool)),
    "a blip of the power": replace(
        PRESS,
        inner=replace(PRESS.inner, power=lambda t: 0.0 if 1400.0 <= t < 1420.0 else 1.0),
        outer=replace(PRESS.outer, power=lambda t: 0.0 if 1400.0 <= t < 1420.0 else 1.0),
    ),
    "heat off": replace(PRESS, heat_off_at=1500.0),
    "someone leans on it": sensed(PRESS, lambda t: ramp(1402.0, -0.2, 1405.0, 0.0)(t) * (t >= 1350.0)),
    "someone leans on it for long": sensed(PRESS, lambda t: ramp(1500.0, 0.3, 1503.0, 0.0)(t) * (t >= 1300.0)),
    "strayed readings": sensed(PRESS, lambda t: -0.4 * (int(t) * 7919 % 37 == 0)),
    "a relief valve": replace(PRESS, air=Air(warms=0.6, relief=(35.9, 35.3))),
    "a regulator after all": replace(PRESS, air=Air(supply=True, droop=0.6)),
    "stairs": replace(PRESS, gauge=Gauge(noise_psi=0.005, step_psi=0.1)),
    "a draft": sensed(PRESS, lambda t: ramp(1400.0, 0.0, 1500.0, -0.12)(t)),
}


@pytest.mark.parametrize("what", NORMAL)
@pytest.mark.parametrize("seed", [1, 2])
def test_what_is_no_leak_is_not_told_as_one(what: str, seed: int) -> None:
    assert not found(drive(replace(NORMAL[what], seed=seed), SHUT))


def test_a_draft_that_this_bag_has_shown_before_is_no_leak() -> None:
    def draft(t: float) -> float:
        return sum(ramp(at, 0.0, at + 60.0, -0.25)(t) - ramp(at + 200.0, 0.0, at + 300.0, -0.25)(t) for at in drafts)

    drafts = [1400.0]
    plant = sensed(replace(PRESS, minutes=40.0), draft)
    assert len(found(drive(plant, SHUT))) == 1
    drafts.append(2000.0)
    assert len(found(drive(plant, SHUT))) == 1


def test_a_burst_of_a_shut_bag_is_a_burst() -> None:
    run = drive(replace(PRESS, air=Air(jet=after(ON, 0.6))), SHUT)
    assert [v.kind for v in run.roots()] == ["bag-burst"]


def told(watch: CureWatch, plant: Plant, start: float, end: float, cuts: frozenset[float]) -> list[Event]:
    """The events from `start` to `end`, the watch saved as text and restored at each of the cuts."""
    events: list[Event] = []
    for tick, _ in plant.ticks():
        if not start < tick.t <= end:
            continue
        if tick.t in cuts:
            watch = CureWatch.restore(watch.setup, json.loads(json.dumps(watch.save(), allow_nan=False)))
        events.extend(watch.step(tick))
    assert watch.save() is not None
    return events


@pytest.mark.parametrize("dt", [1.0, 0.2])
def test_saved_and_restored_while_a_leak_is_being_found_it_says_the_same(dt: float) -> None:
    plant = leaking(0.3, dt=dt, minutes=26.0)
    begun = CureWatch(SHUT)
    told(begun, plant, -1.0, 1350.0, frozenset())
    as_text = json.dumps(begun.save())
    whole, cut = (CureWatch.restore(SHUT, json.loads(as_text)) for _ in range(2))
    cuts = frozenset(round(1350.0 + k * 1.6, 1) for k in range(1, 90)) | frozenset(
        float(t) for t in range(1351, 1500, 7)
    )
    assert told(cut, plant, 1350.0, 1560.0, cuts) == told(whole, plant, 1350.0, 1560.0, frozenset())


def test_a_state_saved_before_the_gas_was_followed_goes_on_without_it() -> None:
    old, new = Leak(Channel("bag"), shut=True), Leak(Channel("bag"), shut=True)
    old.s.quiet_until = 12.5
    new.load(old.save()["state"])
    assert new.s == old.s

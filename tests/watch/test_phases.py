"""Where a cycle stands, and the hold clock, driven tick by tick."""

from __future__ import annotations

import itertools
import json
import math
from functools import cache

import pytest

from press_monitor.quantities import to_si
from press_monitor.readings import Tick
from press_monitor.watch.cure_watch import CureWatch
from press_monitor.watch.types import Action, ActionKind, OperatorDid, Phase, PhaseChanged
from tests.watch.bench import GUM, RECIPE, SETUP, THIN, feed, ramp, reading, replace

BARE = replace(SETUP, repair=None)
GAS = 8.314462618


def phases(watch: CureWatch) -> list[tuple[str, float]]:
    return [(span.phase.value, span.start_s) for span in watch.snapshot().phases]


def started(watch: CureWatch, phase: Phase) -> float:
    return next(span.start_s for span in watch.snapshot().phases if span.phase is phase)


SHORT = replace(SETUP, repair=THIN, recipe=replace(RECIPE, minimum_hold=900.0))
SETUPS = {"bare": BARE, "thin": replace(SETUP, repair=THIN), "short": SHORT}


@cache
def _saved(which: str, held: float) -> str:
    watch = CureWatch(SETUPS[which])
    up = ramp(20.0, 70.0, 320.0, 300.0)
    feed(watch, 320.0, inner=up, outer=up)
    feed(watch, watch.t + held)
    assert watch.snapshot().phase is Phase.HOLD
    return json.dumps(watch.save())


def in_hold(which: str = "bare", *, held: float = 400.0) -> CureWatch:
    """A watch `held` s into its hold: up from 70 degF within 300 s, bag at 32 psi."""
    return CureWatch.restore(SETUPS[which], json.loads(_saved(which, held)))


def tell(watch: CureWatch, kind: ActionKind, **more: object) -> OperatorDid:
    *_, did = watch.step(Action(watch.t, kind, "Ann", **more))  # type: ignore[arg-type]
    assert isinstance(did, OperatorDid)
    return did


# --- the phases ---------------------------------------------------------------------------------------------------


def test_a_watch_is_empty_until_its_first_tick_and_loaded_from_it() -> None:
    watch = CureWatch(BARE)
    assert watch.snapshot().phase is Phase.EMPTY and phases(watch) == []
    (event,) = watch.step(Tick(3.0, reading(inner_mat=70.0, outer_mat=70.0, bag=0.0)))
    assert event == PhaseChanged(3.0, Phase.LOADED)


def test_cold_mats_and_a_filled_bag_stay_loaded() -> None:
    watch = CureWatch(BARE)
    feed(watch, 1800.0, dt=5.0, inner=lambda t: 68.0 + 3.0 * math.sin(t / 300.0), outer=70.0, bag=32.0)
    assert phases(watch) == [("loaded", 0.0)]


@pytest.mark.parametrize("late", ["inner", "outer"])
def test_the_hold_starts_when_the_last_mat_enters_its_band(late: str) -> None:
    watch = CureWatch(BARE)
    quick, slow = ramp(20.0, 70.0, 320.0, 300.0), ramp(20.0, 70.0, 620.0, 300.0)
    feed(watch, 700.0, inner=slow if late == "inner" else quick, outer=slow if late == "outer" else quick)
    assert [name for name, _ in phases(watch)] == ["loaded", "heat-up", "hold"]
    enters = 20.0 + 600.0 * (290.0 - 70.0) / 230.0
    assert started(watch, Phase.HOLD) == pytest.approx(enters, abs=2.0)
    assert started(watch, Phase.HEAT_UP) == pytest.approx(20.0 + 300.0 * 16.0 / 230.0, abs=4.0)  # past 30 degC


def test_a_mat_still_hot_from_the_last_tire_is_heating_at_once() -> None:
    watch = CureWatch(BARE)
    feed(watch, 30.0, inner=296.0, outer=293.0)
    assert [name for name, _ in phases(watch)] == ["loaded", "heat-up", "hold"]


def test_spans_join_without_a_gap_and_the_last_is_open() -> None:
    watch = in_hold()
    spans = watch.snapshot().phases
    assert all(a.end_s == b.start_s for a, b in itertools.pairwise(spans)) and spans[-1].end_s is None
    assert watch.result()["phases"][-1]["end_s"] == watch.t


# --- the hold clock ----------------------------------------------------------------------------------------------


def test_the_hold_clock_counts_every_second_in_the_band() -> None:
    watch = in_hold(held=500.0)
    assert watch.snapshot().hold_s == pytest.approx(watch.t - started(watch, Phase.HOLD), abs=2.0)


def arrhenius(degF: float) -> float:
    return math.exp(-GUM.activation_energy / GAS / (to_si(degF, "degF") + 273.15))


def test_the_hold_clock_stops_when_the_five_minute_cure_weighted_mean_leaves_the_band() -> None:
    # worked out here: a mean of Arrhenius rates, Ea of the compound, over a window of 300 s
    watch = in_hold("thin")
    start, before = watch.t, watch.snapshot().hold_s
    down = ramp(start, 300.0, start + 60.0, 284.0)
    feed(watch, start + 500.0, inner=down)
    window = [arrhenius(300.0)] * 300
    leaves = 0.0
    for second in range(1, 501):
        window = [*window[1:], arrhenius(down(start + second))]
        if sum(window) / 300.0 < arrhenius(290.0):
            leaves = float(second)
            break
    assert 180.0 < leaves < 330.0
    assert watch.snapshot().hold_s - before == pytest.approx(leaves, abs=6.0)


def test_thermostat_dips_below_the_band_do_not_stop_the_hold_clock() -> None:
    watch = in_hold(held=10.0)
    start, before = watch.t, watch.snapshot().hold_s

    def wave(t: float) -> float:
        return 300.0 + 14.0 * math.sin((t - start) / 40.0)

    feed(watch, start + 900.0, inner=wave, outer=wave)
    assert watch.snapshot().hold_s - before >= 890.0


def test_the_hold_clock_waits_for_a_bag_that_is_low_before_the_blow_point() -> None:
    watch = in_hold("thin", held=30.0)
    before = watch.snapshot().hold_s
    assert watch.snapshot().deepest.state_of_cure < 0.1  # type: ignore[union-attr]
    start = watch.t
    feed(watch, start + 100.0, bag=ramp(start, 32.0, start + 20.0, 20.0))
    assert watch.snapshot().hold_s - before == pytest.approx(20.0 * 4.0 / 12.0, abs=2.0)  # to 28 psi
    feed(watch, watch.t + 60.0, bag=ramp(watch.t, 20.0, watch.t + 20.0, 32.0))
    assert watch.snapshot().hold_s - before == pytest.approx(20.0 / 3.0 + 60.0 - 20.0 * 8.0 / 12.0, abs=3.0)


def test_the_hold_clock_counts_without_a_bag_once_everything_is_past_its_blow_point() -> None:
    watch = in_hold("thin", held=30.0)

    def past(watch: CureWatch) -> bool:
        deepest = watch.snapshot().deepest
        return deepest is not None and deepest.state_of_cure_low > GUM.blow_point + 0.05

    feed(watch, 3600.0, dt=5.0, until=past)
    assert past(watch)
    before, start = watch.snapshot().hold_s, watch.t
    feed(watch, start + 100.0, bag=ramp(start, 32.0, start + 20.0, 10.0))
    assert watch.snapshot().hold_s - before == pytest.approx(100.0, abs=1.5)


def test_nobody_knows_what_happened_in_silence_so_the_hold_clock_does_not_count_it() -> None:
    watch = in_hold()
    before = watch.snapshot().hold_s
    start = watch.t
    for k in range(1, 121):
        watch.step(Tick(start + k, {}))
    silent = watch.snapshot().hold_s - before
    assert silent <= 6.0
    feed(watch, watch.t + 10.0)
    assert watch.snapshot().hold_s - before <= 18.0


def test_a_gap_without_any_tick_is_not_counted_either() -> None:
    watch = in_hold()
    before, start = watch.snapshot().hold_s, watch.t
    watch.step(Tick(start + 600.0, reading(inner_mat=300.0, outer_mat=300.0, bag=32.0)))
    assert watch.snapshot().hold_s - before <= 10.0


# --- heat-off -----------------------------------------------------------------------------------------------------


@cache
def _cured() -> str:
    watch = CureWatch(SHORT)
    up = ramp(20.0, 70.0, 320.0, 300.0)
    feed(watch, 2700.0, dt=5.0, inner=up, outer=up)
    assert watch.snapshot().cure_due
    feed(watch, watch.t + 60.0)
    return json.dumps(watch.save())


def cured() -> CureWatch:
    """A hold whose cure is due."""
    return CureWatch.restore(SHORT, json.loads(_cured()))


def test_heat_off_is_every_mat_below_its_band_and_falling_for_a_minute_once_the_cure_is_due() -> None:
    watch = cured()
    start = watch.t
    fall = ramp(start, 300.0, start + 600.0, 200.0)  # below 290 after 60 s
    events = feed(watch, start + 300.0, inner=fall, outer=fall)
    (change,) = (e for e in events if isinstance(e, PhaseChanged))
    assert change.phase is Phase.COOL_DOWN and change.t == pytest.approx(start + 120.0, abs=8.0)
    assert not watch.snapshot().alarms


def test_one_mat_alone_going_cold_is_not_heat_off_though_the_cure_is_due() -> None:
    watch = cured()
    start = watch.t
    feed(watch, start + 300.0, inner=ramp(start, 300.0, start + 600.0, 200.0))
    assert watch.snapshot().phase is Phase.HOLD


def test_heat_going_off_when_the_cure_is_not_due_is_a_fault() -> None:
    watch = in_hold("short")
    assert not watch.snapshot().cure_due
    start = watch.t
    fall = ramp(start, 300.0, start + 400.0, 220.0)
    events = feed(watch, start + 400.0, inner=fall, outer=fall)
    assert not [e for e in events if isinstance(e, PhaseChanged)]
    assert {v.kind for v in watch.snapshot().alarms} >= {"heat-lost"}
    events = feed(watch, start + 900.0, inner=ramp(start + 400.0, 220.0, start + 900.0, 120.0), outer=fall)
    assert watch.snapshot().phase is Phase.HOLD  # one mat is still at 220 degF
    start = watch.t
    events = feed(watch, start + 400.0, inner=120.0, outer=ramp(start, 220.0, start + 200.0, 150.0))
    (change,) = (e for e in events if isinstance(e, PhaseChanged))
    assert change.phase is Phase.COOL_DOWN and "not due" in change.why


def test_the_operators_word_for_heat_off_is_taken_at_once_and_only_where_heat_is_on() -> None:
    watch = CureWatch(SHORT)
    feed(watch, 10.0, inner=70.0, outer=70.0)
    assert tell(watch, ActionKind.HEAT_OFF).refused == "the heat is not on"
    watch = in_hold("short")
    changed, did = watch.step(Action(watch.t, ActionKind.HEAT_OFF, "Ann"))
    assert isinstance(changed, PhaseChanged) and changed.phase is Phase.COOL_DOWN and "told" in changed.why
    assert isinstance(did, OperatorDid) and did.refused is None and did.action.operator == "Ann"
    assert tell(watch, ActionKind.HEAT_OFF).refused == "the heat is not on"


def test_a_cooled_press_heated_again_goes_back_to_hold() -> None:
    watch = in_hold("short")
    tell(watch, ActionKind.HEAT_OFF)
    start = watch.t
    down = ramp(start, 300.0, start + 400.0, 230.0)
    feed(watch, start + 400.0, inner=down, outer=down)
    assert watch.snapshot().phase is Phase.COOL_DOWN
    hold = watch.snapshot().hold_s
    start = watch.t
    up = ramp(start, 230.0, start + 300.0, 300.0)
    feed(watch, start + 500.0, inner=up, outer=up)
    assert [name for name, _ in phases(watch)][-3:] == ["hold", "cool-down", "hold"]
    entered = start + 300.0 * 60.0 / 70.0
    assert started(watch, Phase.COOL_DOWN) < phases(watch)[-1][1] == pytest.approx(entered, abs=3.0)
    assert watch.snapshot().hold_s - hold == pytest.approx(watch.t - entered, abs=4.0)  # it goes on, not anew


def test_a_word_of_heat_off_with_the_mats_still_hot_does_not_bounce_back_to_hold() -> None:
    watch = in_hold("short")
    tell(watch, ActionKind.HEAT_OFF)
    feed(watch, watch.t + 120.0)
    assert watch.snapshot().phase is Phase.COOL_DOWN


# --- release ------------------------------------------------------------------------------------------------------


def cooling() -> CureWatch:
    watch = in_hold("short")
    tell(watch, ActionKind.HEAT_OFF)
    feed(watch, watch.t + 20.0, inner=280.0, outer=280.0)
    return watch


@pytest.mark.parametrize("dt", [1.0, 0.5])
def test_released_is_the_bag_under_a_fifth_of_its_target_for_five_seconds_after_heat_off(dt: float) -> None:
    watch = cooling()
    start = watch.t
    drop = ramp(start, 32.0, start + 32.0, 0.0)  # a psi a second
    events = feed(watch, start + 60.0, dt=dt, inner=270.0, outer=270.0, bag=drop)
    (change,) = (e for e in events if isinstance(e, PhaseChanged))
    under = start + 32.0 - 0.2 * 32.0
    assert change.phase is Phase.RELEASED and change.t == pytest.approx(under + 5.0, abs=1.2)
    assert watch.closed and watch.result()["release_s"] == change.t


def test_a_dip_of_four_seconds_is_no_release() -> None:
    watch = cooling()
    start = watch.t

    def dip(t: float) -> float:
        return 5.0 if start + 10.0 <= t < start + 14.0 else 32.0

    feed(watch, start + 60.0, inner=270.0, outer=270.0, bag=dip)
    assert watch.snapshot().phase is Phase.COOL_DOWN and not watch.closed


def test_a_bag_at_a_quarter_of_its_target_is_not_released() -> None:
    watch = cooling()
    start = watch.t
    feed(watch, start + 120.0, inner=270.0, outer=270.0, bag=ramp(start, 32.0, start + 20.0, 8.0))
    assert not watch.closed


def test_an_empty_bag_before_heat_off_is_no_release() -> None:
    watch = in_hold("short")
    start = watch.t
    feed(watch, start + 100.0, bag=ramp(start, 32.0, start + 10.0, 0.0))
    assert watch.snapshot().phase is Phase.HOLD and not watch.closed


def test_a_silent_bag_is_no_release() -> None:
    watch = cooling()
    feed(watch, watch.t + 120.0, inner=270.0, outer=270.0, bag=None)
    assert not watch.closed


def test_the_operators_word_for_release_is_taken_once() -> None:
    watch = CureWatch(BARE)
    assert tell(watch, ActionKind.RELEASE).refused == "there is nothing to release"
    watch = in_hold("short")
    assert tell(watch, ActionKind.RELEASE).refused is None
    assert watch.closed and watch.snapshot().phase is Phase.RELEASED
    assert tell(watch, ActionKind.RELEASE).refused == "there is nothing to release"
    assert tell(watch, ActionKind.HEAT_OFF).refused == "the heat is not on"


def test_the_gate_says_what_is_missing_and_never_invites_a_hand_in() -> None:
    watch = in_hold("short")
    gate = watch.snapshot().gate
    assert (gate.heat_is_off, gate.cure_reached, gate.bag_is_down) == (False, False, False)
    assert "heat still on" in gate.words and "bag still up" in gate.words
    assert "hottest rubber 300 °F, release below 180 °F" in gate.words
    tell(watch, ActionKind.HEAT_OFF)
    assert watch.snapshot().gate.heat_is_off and "heat still on" not in watch.snapshot().gate.words


# --- extending ----------------------------------------------------------------------------------------------------


def test_extending_adds_to_the_hold_that_is_needed() -> None:
    watch = in_hold()
    needed = watch.snapshot().hold_needed_s
    assert needed == RECIPE.minimum_hold
    assert tell(watch, ActionKind.EXTEND, seconds=600.0).refused is None
    assert tell(watch, ActionKind.EXTEND, seconds=300.0).refused is None
    assert watch.snapshot().hold_needed_s == needed + 900.0


def test_extending_by_less_than_nothing_is_refused() -> None:
    watch = in_hold()
    needed = watch.snapshot().hold_needed_s
    did = tell(watch, ActionKind.EXTEND, seconds=-3000.0)
    assert did.refused and watch.snapshot().hold_needed_s == needed


@pytest.mark.parametrize("seconds", [math.nan, math.inf])
def test_extending_by_what_is_no_number_is_refused(seconds: float) -> None:
    watch = in_hold()
    tell(watch, ActionKind.EXTEND, seconds=seconds)
    assert math.isfinite(watch.snapshot().hold_needed_s)


def test_a_note_changes_nothing_but_is_told() -> None:
    watch = in_hold()
    before = watch.snapshot()
    did = tell(watch, ActionKind.NOTE, note="sand bag moved")
    assert did.refused is None and did.action.note == "sand bag moved"
    assert watch.snapshot() == before


# --- time ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("back", [0.0, 0.001, 5.0])
def test_time_that_does_not_move_on_is_refused_and_changes_nothing(back: float) -> None:
    watch = in_hold()
    before = watch.save()
    with pytest.raises(ValueError, match="time went from"):
        watch.step(Tick(watch.t - back, reading(inner_mat=300.0, outer_mat=300.0, bag=32.0)))
    assert watch.save() == before

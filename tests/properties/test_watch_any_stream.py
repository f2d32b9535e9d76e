"""Whatever instruments and people do, a watch neither raises nor talks nonsense, and no fault reads as a pass."""

from __future__ import annotations

import json
import math
from functools import cache
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from press_monitor.readings import MISSING, Quality, Reading, Tick
from press_monitor.watch.cure_watch import CureWatch
from press_monitor.watch.plain import from_json, to_json
from press_monitor.watch.types import Action, ActionKind, AlarmState, Phase, Snapshot, Verdict
from tests.watch.bench import RECIPE, SETUP, THIN, feed, ramp, reading, replace

SHORT = replace(
    SETUP,
    repair=THIN,
    recipe=replace(RECIPE, minimum_hold=900.0),
    channels=("inner_mat", "inner_mat.2", "outer_mat", "bag", "ram", "air", "outer_mat_current", "odd"),
)
ORDER = list(Phase)


@cache
def start(stage: str) -> str:
    """A watch saved fresh, heating up, in the hold, cooling, or released."""
    watch = CureWatch(SHORT)
    if stage != "fresh":
        up = ramp(20.0, 70.0, 320.0, 300.0)
        feed(watch, 200.0 if stage == "heat-up" else 900.0, inner=up, outer=up)
    if stage in ("cooling", "released"):
        watch.step(Action(watch.t, ActionKind.HEAT_OFF))
        feed(watch, watch.t + 30.0, inner=280.0, outer=281.0)
    if stage == "released":
        watch.step(Action(watch.t, ActionKind.RELEASE))
    return json.dumps(watch.save())


def resumed(stage: str) -> CureWatch:
    return CureWatch.restore(SHORT, json.loads(start(stage)))


# degC and Pa: ordinary values, and up to the edges of what a log can say
WILD = [0.0, -0.0, 20.0, 148.9, 149.3, 165.6, 1e-300, -40.0, -273.0, 850.0, 1820.0, 5.5e8, 220_632.0, -200.0]
values = st.one_of(
    st.sampled_from(WILD), st.floats(100.0, 160.0), st.floats(150_000.0, 280_000.0), st.floats(-273.0, 5.5e8)
)
readings = st.one_of(
    st.builds(Reading, values),
    st.just(MISSING),
    st.builds(Reading, values, st.sampled_from([Quality.OUT_OF_RANGE, Quality.UNTRUSTED])),
)
hot = st.floats(297.0, 303.0).map(lambda v: Reading((v - 32.0) / 1.8))
up = st.floats(31.0, 33.0).map(lambda v: Reading(v * 6894.757))
ticks = st.tuples(
    st.sampled_from([1.0, 1.0, 1.0, 0.2, 2.0, 5.0, 7.5, 60.0, 1000.0]),
    st.one_of(
        st.just({}),
        st.fixed_dictionaries({"inner_mat": hot, "outer_mat": hot, "bag": up}),
        st.dictionaries(st.sampled_from([*SHORT.channels, "stranger"]), readings, max_size=8),
    ),
)
actions = st.tuples(
    st.sampled_from(ActionKind),
    st.sampled_from([None, "A1", "A2", "A9", "", "no such alarm"]),
    st.sampled_from(["", "Ann"]),
    st.one_of(st.none(), st.floats(0.0, 1e9)),
    st.sampled_from([-1e6, -1.0, 0.0]),
)


@given(
    st.sampled_from(["fresh", "heat-up", "hold", "cooling", "released"]),
    st.lists(st.one_of(ticks, ticks, ticks, actions), max_size=40),
)
@settings(max_examples=40, derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_no_stream_makes_a_watch_raise_or_talk_nonsense(stage: str, stream: list[Any]) -> None:
    watch = resumed(stage)
    phase = watch.snapshot().phase
    for thing in stream:
        if len(thing) == 2:
            step, said = thing
            watch.step(Tick(watch.t + step, said))
        else:
            kind, alarm, operator, seconds, ago = thing
            watch.step(Action(watch.t + ago, kind, operator, alarm, "why", seconds))
        now = watch.snapshot().phase
        back = (phase, now) == (Phase.COOL_DOWN, Phase.HOLD)
        assert ORDER.index(now) >= ORDER.index(phase) or back
        phase = now
    check(watch)


def check(watch: CureWatch) -> None:
    """States are legal, figures finite and within their bounds."""
    snapshot, result = watch.snapshot(), watch.result()
    text = json.dumps([to_json(snapshot), result, watch.result(at_release=True)], allow_nan=False)
    assert "NaN" not in text
    saved = json.dumps(watch.save(), allow_nan=False)
    again = CureWatch.restore(SHORT, json.loads(saved))
    assert again.snapshot() == snapshot and json.dumps(again.save(), allow_nan=False) == saved
    assert from_json(Snapshot, json.loads(json.dumps(to_json(snapshot)))) == snapshot
    ids = [view.id for view in snapshot.alarms]
    assert ids == [f"A{k + 1}" for k in range(len(ids))]
    for view in snapshot.alarms:
        assert view.state in AlarmState and view.since_s <= view.raised_s
        assert view.cleared_s is None or view.cleared_s >= view.raised_s
        assert view.consequence_of is None or view.consequence_of in ids
        assert view.message and view.advice and "\n" not in view.message + view.advice
        assert "nan" not in view.message and "inf" not in view.message.replace("inflat", "")
    spans = snapshot.phases
    assert all(span.end_s is None or span.end_s >= span.start_s for span in spans)
    assert 0.0 <= snapshot.hold_s <= max(watch.t, 0.0) + 1e-6
    for point in (snapshot.deepest, snapshot.hottest):
        if point is not None:
            assert 0.0 <= point.state_of_cure_low <= point.state_of_cure <= point.state_of_cure_high <= 1.0
    if snapshot.deepest and snapshot.hottest:
        assert snapshot.deepest.state_of_cure <= snapshot.hottest.state_of_cure + 1e-12
    assert snapshot.set_without_pressure is None or 0.0 <= snapshot.set_without_pressure <= 1.0
    assert snapshot.verdict in Verdict and snapshot.reasons
    assert "\n" not in snapshot.words


@given(st.floats(-1e6, 1e6), st.floats(allow_nan=False, allow_infinity=False))
@settings(max_examples=60, derandomize=True, deadline=None)
def test_only_time_that_does_not_move_on_is_refused_and_only_with_a_value_error(step: float, far: float) -> None:
    watch = CureWatch(replace(SETUP, repair=None))
    first = 0.0 if abs(far) > 1e12 else far
    watch.step(Tick(first, reading(inner_mat=70.0, outer_mat=70.0, bag=0.0)))
    later = first + step
    if later > first:
        watch.step(Tick(later, {}))
        assert watch.t == later
    else:
        with pytest.raises(ValueError, match="time went"):
            watch.step(Tick(later, {}))


@pytest.mark.parametrize(
    "value",
    [
        -273.15,
        -300.0,
        -1e9,
    ],
)
def test_a_mat_at_absolute_zero_is_no_reason_to_stop_watching(value: float) -> None:
    watch = resumed("hold")
    for k in range(10):
        watch.step(Tick(watch.t + 1.0, {"inner_mat": Reading(value if k < 3 else 149.0), "outer_mat": Reading(149.0)}))
    check(watch)


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_a_reading_that_is_no_number_is_no_reason_to_stop_watching(value: float) -> None:
    watch = resumed("hold")
    watch.step(Tick(watch.t + 1.0, {"inner_mat": Reading(value), "outer_mat": Reading(149.0), "bag": Reading(2.2e5)}))
    check(watch)


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_a_tick_at_no_time_is_refused(value: float) -> None:
    watch = resumed("hold")
    with pytest.raises(ValueError, match="time"):
        watch.step(Tick(value, {}))


def test_a_word_before_the_first_tick_does_not_refuse_the_tick() -> None:
    watch = resumed("fresh")
    watch.step(Action(0.0, ActionKind.NOTE, "Ann", note="patch is dry"))
    watch.step(Tick(0.0, reading(inner_mat=70.0, outer_mat=70.0, bag=0.0)))


def test_one_wild_sample_does_not_condemn_a_repair() -> None:
    watch = resumed("hold")
    before = watch.snapshot().reversion_used
    watch.step(Tick(watch.t + 1.0, reading(inner_mat=1370.0, outer_mat=300.0, bag=32.0)))
    feed(watch, watch.t + 30.0)
    used = watch.snapshot().reversion_used
    assert before is not None and used is not None and used < before + 0.1


# --- a fault of the probe or the line never reads as a pass ---------------------------------------------------------


def whole_cure(fault: str, start_s: float, length: float) -> CureWatch:
    """A cure that would pass, in five-second rows, but for a fault of the instrument from `start_s` on."""
    watch = CureWatch(replace(SHORT, channels=("inner_mat", "outer_mat", "bag")))
    heat, off, down = ramp(20.0, 70.0, 420.0, 300.0), 2400.0, 3300.0
    cool = ramp(off, 300.0, off + 1200.0, 150.0)
    for k in range(3500 // 5):
        t = 5.0 * k
        mat = heat(t) if t < off else cool(t)
        restless = 0.1 * (k * 7 % 5 - 2)
        bag = ramp(down, 32.0, down + 20.0, 0.0)(t) + 0.1 * restless
        said: dict[str, float | None] = {"inner_mat": mat + restless, "outer_mat": mat - restless, "bag": bag}
        wrong = start_s <= t < start_s + length
        if wrong and fault.startswith("open"):
            said[fault.removeprefix("open ")] = None
        if wrong and fault == "lifted":
            said["inner_mat"] = 80.0 + (mat - 80.0) * math.exp(-(t - start_s) / 20.0)
        watch.step(Tick(t, {} if wrong and fault == "silence" else reading(**said)))
    return watch


def test_the_cure_without_a_fault_passes() -> None:
    watch = whole_cure("none", 0.0, 0.0)
    assert watch.snapshot().verdict is Verdict.PASS, watch.snapshot().reasons
    assert not watch.snapshot().alarms


@given(
    st.sampled_from(["open inner_mat", "open outer_mat", "open bag", "lifted", "silence"]),
    st.floats(500.0, 2200.0),
    st.sampled_from([60.0, 200.0, 5000.0]),
)
@settings(max_examples=6, derandomize=True, deadline=None)
def test_no_fault_of_a_probe_or_the_line_reads_as_a_pass(fault: str, start_s: float, length: float) -> None:
    watch = whole_cure(fault, start_s, length)
    assert watch.snapshot().verdict is not Verdict.PASS
    assert watch.snapshot().alarms and json.dumps(watch.result(), allow_nan=False)

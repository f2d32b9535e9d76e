"""What the recorder reports beside the readings: ports in trouble, and stretches in which nothing recorded."""

from __future__ import annotations

import json
import math

import pytest

from drivers.base import Loss
from press_monitor.quantities import PSI
from press_monitor.readings import Quality, Reading, Tick
from press_monitor.recorder.port import Talk
from press_monitor.watch.cure_watch import CureWatch
from press_monitor.watch.outside import _LOOK_AT, gap_report, port_report
from press_monitor.watch.plain import to_json
from press_monitor.watch.types import Action, ActionKind, AlarmChanged, AlarmState, PortView, RecordHole
from tests.watch.bench import CHANNELS, SETUP

GONE = PortView("unplugged", "/dev/ttyUSB0", "/dev/ttyUSB0: is not there", trouble=True, lost=True)
BACK = PortView("readings", "/dev/ttyUSB0")


def tick(t, *values):
    """A second in which these came, degC, degC and psi; none: nothing came."""
    si = [*values[:2], *(psi * PSI for psi in values[2:])]
    return Tick(t, {name: Reading(value, Quality.GOOD) for name, value in zip(CHANNELS, si, strict=bool(values))})


def run(given, watch=None):
    """A watch given these; what it said."""
    watch = watch or CureWatch(SETUP)
    return watch, [event for each in given for event in watch.step(each)]


def alarms(said, kind):
    return [e.alarm for e in said if isinstance(e, AlarmChanged) and e.alarm.kind == kind]


def good(*seconds):
    return [tick(float(t), 149.0, 149.0, 32.0) for t in range(*seconds)]


def silent(*seconds):
    return [tick(float(t)) for t in range(*seconds)]


def test_a_silence_names_the_port_and_the_hole_keeps_it():
    watch, said = run([*good(0, 60), port_report(59.0, GONE), *silent(60, 70)])
    (raised,) = alarms(said, "no-readings")
    assert raised.message == "No readings from this press for 5 s: port unplugged: ttyUSB0, trying again"
    assert "Plug its cable in again" in raised.advice and "gauges" in raised.advice
    shown = watch.snapshot()
    assert shown.port == GONE and shown.words == "port unplugged: ttyUSB0, trying again"
    in_use = PortView("in use", "/dev/ttyUSB0", "another program has it", trouble=True, lost=True)
    run([port_report(69.0, in_use), *silent(70, 72)], watch)
    assert watch.snapshot().words == "port in use: ttyUSB0, trying again", "what is wrong now"
    _, said = run([port_report(71.0, BACK), *good(72, 90)], watch)
    (hole,) = (e for e in said if isinstance(e, RecordHole))
    assert (hole.start_s, hole.end_s) == (59.0, 72.0)
    assert hole.why == "no readings: port in use: ttyUSB0, trying again"
    assert "port" not in watch.snapshot().words


def test_a_port_in_trouble_is_said_even_while_readings_come():
    watch, _ = run(
        [*good(0, 60), port_report(59.0, PortView("flooded", "COM3", "too fast", trouble=True)), *good(60, 63)]
    )
    assert watch.snapshot().words == "port flooded: COM3"


def test_a_silence_of_a_port_nothing_is_known_of_is_said_as_before():
    _, said = run([*good(0, 60), *silent(60, 70)])
    assert alarms(said, "no-readings")[0].message == "No readings from this press for 5 s"


def test_a_gap_is_an_alarm_and_the_silence_in_it_hangs_under_it():
    watch, said = run([*good(0, 60), gap_report(59.0, 59.0, 99.0, "the recorder was not running"), *silent(60, 99)])
    (gap,) = alarms(said, "recorder-gap")
    assert (gap.raised_s, gap.since_s) == (60.0, 59.0)
    assert gap.message == "Nothing was recorded for 40 s: the recorder was not running" and "gauges" in gap.advice
    (silence,) = alarms(said, "no-readings")
    assert silence.consequence_of == gap.id and silence.wants_acknowledging
    _, said = run(good(99, 130), watch)
    over = alarms(said, "recorder-gap")[-1]
    assert over.state is AlarmState.RETURNED_UNACKNOWLEDGED and over.cleared_s == 109.0
    _, said = run([Action(130.0, ActionKind.ACKNOWLEDGE, "Ada", gap.id)], watch)
    assert alarms(said, "recorder-gap")[-1].state is AlarmState.NORMAL


def test_a_gap_that_an_instruments_memory_fills_is_told_all_the_same():
    _, said = run([*good(0, 60), gap_report(59.0, 59.0, 99.0, "the recorder was not running"), *good(60, 130)])
    assert len(alarms(said, "recorder-gap")) == 2, "raised, and over once readings have come"
    assert not alarms(said, "no-readings")


def test_silence_after_an_acknowledged_gap_still_calls():
    watch, said = run([*good(0, 60), gap_report(59.0, 59.0, 62.0, "the recorder was not running"), *silent(60, 62)])
    gap = alarms(said, "recorder-gap")[0]
    _, said = run([Action(61.0, ActionKind.ACKNOWLEDGE, "", gap.id), *silent(62, 80)], watch)
    assert alarms(said, "no-readings")[0].wants_acknowledging


@pytest.mark.parametrize("cut", [59, 61, 66, 75, 100, 110])
def test_a_watch_restored_in_the_middle_goes_on_identically(cut):
    given = [*good(0, 60), gap_report(59.0, 59.0, 70.0, "w"), *silent(60, 64), port_report(63.0, GONE), *silent(64, 90)]
    given += [port_report(89.0, BACK), *good(90, 130)]
    whole, said = run(given)
    watch, before = run(given[:cut])
    again = CureWatch.restore(SETUP, json.loads(json.dumps(watch.save())))
    _, after = run(given[cut:], again)
    assert before + after == said
    assert to_json(again.snapshot()) == to_json(whole.snapshot()) and again.save() == whole.save()


def test_there_is_something_to_look_at_for_every_trouble_a_port_can_have():
    troubles = {loss.value for loss in Loss} - {"failed"} | {talk.value for talk in Talk} - {
        "waiting",
        "readings",
        "flooded",
    }
    assert set(_LOOK_AT) == troubles


def test_heat_that_nobody_could_see_counts_as_possible_reversion():
    # Compound: 5400 s at 150 degC till reversion; mats at 149 degC, so at most an hour and a half in the dark.
    watch, _ = run([*good(0, 600), *silent(600, 8400), *good(8400, 8410)])
    assert watch.curing.section.reversion_used() < 0.5, "judged as losing heat to air"
    energy = 100_000.0
    rate = math.exp(energy / 8.314462618 * (1.0 / 423.15 - 1.0 / 422.15))
    assert watch.curing.s.unseen_reversion == pytest.approx(7800.0 * rate / 5400.0, rel=0.01)
    assert any("had the heat stayed on while nobody could tell" in reason for reason in watch.snapshot().reasons)
    again = CureWatch.restore(SETUP, json.loads(json.dumps(watch.save())))
    assert again.curing.reversion_possible == watch.curing.reversion_possible > 1.0

"""What the recorder tells a cure beside its readings: kept, told again after an interruption, and judged again."""

from __future__ import annotations

import json

import pytest

from drivers.base import Loss, PortLost
from press_monitor.archive import EventRow, Save, Trace
from press_monitor.audit.rejudge import judge_again
from press_monitor.recorder.clock import ClockNote
from press_monitor.recorder.cycle import Cycle, tick_of
from press_monitor.recorder.own_alarms import OwnAlarms
from press_monitor.recorder.port import Port, PortState, PortStatus, Talk
from press_monitor.watch.plain import from_json, to_json
from press_monitor.watch.types import PortView, Reported
from tests.recorder.fakes import FakeTime, ScriptedDriver, good
from tests.recorder.shops import THIN, Bench, frames

GONE = PortView("unplugged", "/dev/ttyUSB0", "/dev/ttyUSB0: is not there", trouble=True, lost=True)
WAITING = PortView("waiting", "/dev/ttyUSB0")
BACK = PortView("readings", "/dev/ttyUSB0")


def events_of(bench, kind):
    return [told for _, _, k, told in bench.archive.events[bench.archive.starts[0].cycle_id] if k == kind]


def alarms_of(bench, kind):
    return [told["alarm"] for told in events_of(bench, "AlarmChanged") if told["alarm"]["kind"] == kind]


@pytest.fixture
def bench(tmp_path):
    made = Bench(tmp_path)
    made.station.begin(THIN)
    for _ in range(30):
        made.second(70.0, 71.0, 32.0)
    return made


def test_a_port_is_told_when_it_changes_and_not_while_it_is_tried_again(bench):
    for view in (WAITING, BACK, WAITING, GONE, GONE, WAITING, GONE, WAITING, BACK, BACK):
        bench.station.see_port(view)
        bench.second(70.0, 71.0, 32.0)
    told = [from_json(Reported, each) for each in events_of(bench, "Reported")]
    assert [each.report.port for each in told] == [GONE, BACK]
    assert told[0].words == "port unplugged: ttyUSB0, trying again"
    assert [each.t for each in told] == [33.0, 38.0]


def test_a_running_press_shows_its_port_and_an_empty_one_too(bench, tmp_path):
    bench.station.see_port(GONE)
    for _ in range(10):
        bench.second()
    bench.station.publish()
    state = bench.archive.states["P1"][2]
    assert state["port"] == to_json(GONE)
    assert state["words"] == "port unplugged: ttyUSB0, trying again"
    (raised,) = alarms_of(bench, "no-readings")
    assert (
        raised["message"].endswith("port unplugged: ttyUSB0, trying again") and "Plug its cable in" in raised["advice"]
    )
    (tmp_path / "empty").mkdir()
    empty = Bench(tmp_path / "empty")
    empty.station.see_port(GONE)
    empty.second()
    empty.station.publish()
    assert empty.archive.states["P1"][2]["port"] == to_json(GONE)


def test_a_sleep_is_a_gap_of_the_cure_and_an_alarm_and_a_set_clock_is_not(bench):
    bench.station.note(ClockNote("clock-step", bench.time.utc, 3600.0))
    bench.time.pass_(40.0)
    bench.station.note(ClockNote("sleep-gap", bench.time.utc, 40.0))
    for _ in range(3):
        bench.second(70.0, 71.0, 32.0)
    (gap,) = events_of(bench, "recorder-gap")
    assert gap == {"t": 30.0, "start_s": 30.0, "end_s": 70.0, "why": "the computer slept or stood still"}
    (raised,) = alarms_of(bench, "recorder-gap")
    assert raised["message"] == "Nothing was recorded for 40 s: the computer slept or stood still"
    (silence,) = (a for a in alarms_of(bench, "no-readings") if a["cleared_s"] is None)
    assert silence["consequence_of"] == raised["id"]


def test_the_recorders_own_alarm_is_kept_with_the_cure_on_its_own_axis(bench):
    own = OwnAlarms()
    for second in range(12):
        for change in own.look(bench.time.real() + second, failing=None, no_horn="no horn", curing=True):
            bench.station.note_own(change.alarm)
    bench.second(70.0, 71.0, 32.0)
    (kept,) = events_of(bench, "recorder-alarm")
    assert kept["alarm"]["kind"] == "no-horn" and kept["words"] == "No horn"
    assert (kept["t"], kept["alarm"]["since_s"], kept["alarm"]["raised_s"]) == (30.0, 30.0, 40.0)


def test_a_cure_that_begins_beneath_an_alarm_of_the_recorders_keeps_it_once(bench):
    own = OwnAlarms()
    own.note(ClockNote("clock-step", bench.time.utc, 3600.0))
    for second in range(12):
        own.look(bench.time.real() - 60.0 + second, failing=None, no_horn="no horn", curing=True)
    for _ in range(2):
        bench.station.note_standing(own.views())
        bench.second(70.0, 71.0, 32.0)
    (kept,) = events_of(bench, "recorder-alarm")
    assert (kept["alarm"]["kind"], kept["alarm"]["raised_s"]) == ("no-horn", -20.0), "the set clock is over"


# -- replays --


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """A cycle with a port that is pulled out and put back, a gap, and a save in between."""
    bench = Bench(tmp_path_factory.mktemp("whole"))
    bench.station.await_first(THIN)
    bench.saved = {}
    for second, frame in enumerate(frames(2700, heat_up_min=4, heat_off_min=30)):
        if 400 <= second < 440:
            bench.second()
        else:
            bench.frame(frame)
        if second in (60, 360, 420):
            bench.saved[second] = Save(
                "", second, float(second), json.loads(json.dumps(bench.station.cycle.watch.save()))
            )
        if second == 395:
            bench.station.see_port(GONE)
        if second == 500:
            bench.station.cycle.mark_gap(501.0, "the recorder was not running")
        if second == 445:
            bench.station.see_port(BACK)
        if bench.archive.sealed:
            break
    assert bench.archive.sealed, "the cycle must come to its end"
    return bench


@pytest.mark.parametrize(("saved", "died"), [(None, 300), (60, 395), (360, 396), (360, 430), (420, 500), (420, 600)])
def test_an_interrupted_cycle_is_told_its_reports_again(whole, saved, died):
    start = whole.archive.starts[0]
    rows = whole.archive.rows[start.cycle_id]
    events = [
        EventRow(n, start.cycle_id, t, utc, kind, json.loads(json.dumps(told)))
        for n, (t, utc, kind, told) in enumerate(whole.archive.events[start.cycle_id], 1)
        if t <= died
    ]
    save = whole.saved.get(saved)
    cycle = Cycle(start, whole.watches.again(start, save and save.save), 0.0)
    cycle.replay(save, rows[: died + 1], events)
    later = [(t, kind, told) for t, _, kind, told in whole.archive.events[start.cycle_id] if t > died]
    reports = [from_json(Reported, told).report for _, kind, told in later if kind == "Reported"]
    said = []
    for _, t, counts in rows[died + 1 :]:
        said += cycle.watch.step(tick_of(float(t), counts, start.channels))
        while reports and reports[0].t == t:
            said += cycle.watch.step(reports.pop(0))
    kept = ("recorder-gap", "OperatorDid")
    assert [(e.t, type(e).__name__, to_json(e)) for e in said] == [each for each in later if each[1] not in kept]
    assert cycle.port == (None if died < 395 else GONE if died < 445 else BACK)


def test_a_save_is_not_made_between_a_report_and_the_next_row(bench):
    cycle = bench.station.cycle
    bench.station.see_port(GONE)
    cycle.take_pending()
    cycle.keep_save()
    assert cycle.take_pending().save is None
    bench.second(70.0, 71.0, 32.0)
    cycle.keep_save()
    assert cycle.take_pending().save.t == 31.0


def test_a_sealed_cure_is_judged_again_with_what_was_reported(whole):
    ((_, body),) = whole.archive.sealed
    start = whole.archive.starts[0]
    rows = whole.archive.rows[start.cycle_id]
    judged = judge_again(body, Trace.from_rows(start.channels, 0, rows))
    kinds = [alarm["kind"] for alarm in judged.result["alarms"]]
    assert judged.result["alarms"] == body["result"]["alarms"] and {"recorder-gap", "no-readings"} <= set(kinds)
    assert (
        judged.result["verdict"] == body["result"]["verdict"] and judged.result["reasons"] == body["result"]["reasons"]
    )
    silent = next(alarm for alarm in body["result"]["alarms"] if alarm["kind"] == "no-readings")
    assert "port unplugged: ttyUSB0" in silent["message"]
    assert any("port unplugged" in str(gap.get("why")) for gap in body["gaps"])


# -- what a port says of itself --


def status(state, talk=Talk.WAITING, loss=None, notes=()):
    return PortStatus(state, 0.0, "/dev/x: why" if loss else "", 0, talk, 0, loss, "/dev/x", notes).view


@pytest.mark.parametrize("loss", list(Loss))
def test_every_loss_has_its_word_and_stays_while_the_port_is_tried_again(loss):
    lost, tried = status(PortState.LOST, loss=loss), status(PortState.OPENING, loss=loss)
    assert lost == tried == PortView(loss.value, "/dev/x", "/dev/x: why", trouble=True, lost=True)
    assert lost.line == f"port {loss.value}: x, trying again"


def test_what_comes_through_an_open_port_has_its_word():
    assert status(PortState.OPEN, Talk.READINGS) == PortView("readings", "/dev/x")
    assert status(PortState.OPEN, Talk.READINGS, notes=("unit 3 does not answer",)).words == "unit 3 does not answer"
    for talk in (Talk.SILENT, Talk.NO_ANSWER, Talk.GARBLED, Talk.FLOODED, Talk.STUCK):
        view = status(PortState.OPEN, talk)
        assert view == PortView(talk.value, "/dev/x", talk.words, trouble=True) and view.words
    assert status(PortState.OPENING, Talk.STUCK, Loss.UNPLUGGED).state == "stuck", (
        "a call that hangs is the newest news"
    )


def test_a_call_that_never_comes_back_is_told():
    clock = FakeTime()
    driver = ScriptedDriver(reads=[[good("bag", 1.0, 1000.0)]])
    port = Port("P1", driver, clock.real, pause=lambda _: True, quiet=5.0)
    port.start()
    assert driver.stuck.wait(10.0)
    assert port.status().talk is Talk.READINGS
    clock.pass_(6.0)
    assert port.status().talk is Talk.SILENT
    clock.pass_(10.0)
    assert port.status().view.state == "stuck" and "pull the adapter out" in port.status().view.words
    port.stop()
    driver.release.set()
    assert port.join(10.0)


def test_a_lost_ports_device_and_reason_are_kept_until_it_is_open_again():
    clock, seen = FakeTime(), []
    driver = ScriptedDriver(
        opens=[
            PortLost("/dev/x: no permission", Loss.NO_PERMISSION, "/dev/x"),
            lambda: seen.append(port.status().view),
        ],
        reads=[PortLost("gone")],
    )
    port = Port("P1", driver, clock.real, pause=lambda _: seen.append(port.status().view) or len(seen) > 2)
    port.run()
    assert [view.state for view in seen] == ["no permission", "no permission", "failed"]
    assert [view.device for view in seen] == ["/dev/x"] * 3

"""The recorder as a real process: serial input to certificate, kills, terminals closed, two at once, stopping."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys

import pytest

from press_monitor.archive.verify import verify
from press_monitor.recorder.cycle import tick_of
from press_monitor.recorder.launch import holder_of
from press_monitor.recorder.service import stop_recorder
from press_monitor.recorder.watches import setup_again
from press_monitor.watch.cure_watch import CureWatch
from press_monitor.watch.plain import from_json, to_json
from press_monitor.watch.types import OperatorDid, Reported
from tests.crash.processes import ROOT, SHOP, START, Folder, Instrument, curve, kill, until

pytestmark = pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals and signals are POSIX's")

SPEED = 40.0
HEAT = ((70, (300.0, 298.0, 32.5)), (300, (301.0, 299.0, 32.5)))
SIMULATED = SHOP.split("[presses.P1]")[0] + '[presses.P1]\ndriver = "simulated"\nrecipe = "section-300"\n'


@pytest.fixture
def instrument():
    made = Instrument(1.0 / SPEED)
    yield made
    made.close()


@pytest.fixture
def folder(tmp_path, instrument):
    made = Folder(tmp_path, port=instrument.port, speed=SPEED)
    yield made
    made.end()


@pytest.fixture
def plain(tmp_path):
    made = Folder(tmp_path, shop=SIMULATED)
    yield made
    stop_recorder(made.archive, print) if made.archive.exists() else None
    made.end()


def standing(folder, kind):
    snapshot = folder.snapshot()
    return snapshot is not None and next((a for a in snapshot["alarms"] if a["kind"] == kind), None)


def in_phase(folder, *phases):
    snapshot = folder.snapshot()
    return snapshot is not None and snapshot["phase"] in phases


def sealed(folder, number=1):
    """The sealed record, its trace and its rows, after the whole archive was verified."""
    until(
        lambda: folder.ask(lambda r: [c.number for c in r.records()]) == list(range(number, 0, -1)), "the certificate"
    )
    report = verify(folder.archive)
    assert report.ok, report.lines()
    record, trace = folder.ask(lambda r: (r.record(number), r.trace(number)))
    return json.loads(record.sealed.body), trace


def same_through_a_fresh_watch(folder, body, trace):
    """Replay the sealed rows and actions; the watch must say to the letter what it said live."""
    start = folder.ask(lambda r: r.cycle_start(body["cycle_id"]))
    watch, said = CureWatch(setup_again(start)), []
    given = [from_json(OperatorDid, told).action for told in body["actions"]]
    given += [from_json(Reported, told).report for told in body["events"] if told["kind"] == "Reported"]
    for _, t, counts in trace.rows():
        said += watch.step(tick_of(float(t), tuple(counts), trace.channels))
        for each in given:
            if each.t == t:
                said += watch.step(each)
    own = ("recorder-gap", "sleep-gap", "clock-step", "recorder-alarm")
    told = [{k: v for k, v in e.items() if k != "order"} for e in body["events"] if e["kind"] not in own]
    assert told == [{"kind": type(e).__name__, **to_json(e)} for e in said if not isinstance(e, OperatorDid)]
    assert len(told) > 4
    result = watch.result(at_release=True)
    assert json.loads(json.dumps({**result, "source": "live"})) == body["result"]


def test_serial_input_is_recorded_alarms_is_sealed_and_verifies(folder, instrument):
    folder.start()
    answer = folder.tell("start", args=START, operator="Ida")
    assert answer.answer == "done", answer
    instrument.play(curve(*HEAT))
    until(lambda: in_phase(folder, "hold"), "the hold")
    assert not standing(folder, "bag-low")
    instrument.play(curve((15, (301.0, 299.0, 15.0)), start=(301.0, 299.0, 32.5)))
    alarm = until(lambda: standing(folder, "bag-low") or standing(folder, "bag-burst"), "an alarm on the falling bag")
    assert alarm["priority"] == "high" and alarm["message"] and alarm["advice"]
    answer = folder.tell("acknowledge", alarm_id=alarm["id"])
    assert answer.answer == "done", answer
    until(lambda: standing(folder, alarm["kind"])["acknowledged_s"] is not None, "the acknowledgement on the screens")
    assert folder.tell("heat-off").answer == "done"
    assert folder.tell("release", operator="Ida").answer == "done"
    body, trace = sealed(folder)
    assert body["press"] == "P1" and body["source"] == "live" and body["shop"] == "Juniper Flat Section Repair"
    assert [a["action"]["kind"] for a in body["actions"]] == ["acknowledge", "heat-off", "release"]
    assert alarm["kind"] in {a["kind"] for a in body["result"]["alarms"]}
    written = {tuple(round(v * s) for v, s in zip(line, (10, 10, 100), strict=True)) for line in instrument.sent}
    rows = [tuple(values) for _, _, values in trace.rows()]
    whole = [row for row in rows if None not in row]
    assert len(whole) > 100 and len(whole) >= 0.95 * len(rows)
    assert set(whole) <= written, "a value nobody sent"
    same_through_a_fresh_watch(folder, body, trace)


def test_a_killed_recorder_goes_on_with_the_cycle_marks_the_gap_and_loses_nothing_committed(folder, instrument):
    process = folder.start()
    assert folder.tell("start", args=START).answer == "done"
    instrument.play(curve(*HEAT))
    cycle_id = folder.open_cycle().start.cycle_id
    until(lambda: len(folder.rows(cycle_id)) >= 90, "ninety committed seconds")
    assert folder.tell("note", args={"note": "bag hose checked"}).answer == "done"
    seen = folder.rows(cycle_id)
    kill(process)
    survived = folder.rows(cycle_id)
    assert survived[: len(seen)] == seen, "an acknowledged second was lost"
    assert folder.ask(lambda r: r.recorder()).stopped_utc is None, "it must not have ended in good order"
    last = survived[-1][1]
    folder.start()
    until(lambda: (rows := folder.rows(cycle_id))[-1][1] > last + 20 and None not in rows[-1][2], "readings again")
    assert folder.open_cycle().start.cycle_id == cycle_id
    assert folder.tell("release").answer == "done"
    body, trace = sealed(folder)
    assert body["cycle_id"] == cycle_id
    rows = [(t, tuple(values)) for _, t, values in trace.rows()]
    assert rows[: len(survived)] == [(t, values) for _, t, values in survived]
    assert [t for t, _ in rows] == list(range(len(rows)))
    (gap,) = [e for e in body["events"] if e["kind"] == "recorder-gap"]
    assert gap["start_s"] == last and gap in body["gaps"]
    first_back = next(t for t, values in rows[last + 1 :] if None not in values)
    assert gap["start_s"] < gap["end_s"] and abs(first_back - gap["end_s"]) <= 2.0 * SPEED
    assert [a["action"]["kind"] for a in body["actions"]] == ["note", "release"]
    same_through_a_fresh_watch(folder, body, trace)


STARTER = """
import sys
from pathlib import Path
from press_monitor.recorder.launch import recorder_command, start_detached
shop, archive, key, log = map(Path, sys.argv[1:])
print(start_detached(recorder_command(shop, archive, key), archive, log), flush=True)
sys.stdin.read()
"""


@pytest.mark.parametrize("end", ["terminal closed", "killed"])
def test_a_recording_outlives_who_started_it(plain, end):
    import fcntl
    import termios

    master, slave = os.openpty()
    starter = subprocess.Popen(
        [sys.executable, "-c", STARTER, *map(str, (plain.shop, plain.archive, plain.key, plain.log))],
        cwd=ROOT,
        stdin=slave,
        stdout=subprocess.PIPE,
        start_new_session=True,
        preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0),
    )
    os.close(slave)
    pid = int(starter.stdout.readline())
    if end == "killed":
        os.killpg(starter.pid, signal.SIGKILL)
    else:
        os.close(master)
    code = starter.wait(10.0)
    starter.stdout.close()
    if end == "killed":
        os.close(master)
        assert code == -signal.SIGKILL
    else:
        assert code == -signal.SIGHUP, "the starter must have been hung up on"
    (_, beats) = plain.beats()
    until(lambda: plain.beats()[1] >= beats + 2, "two more heartbeats")
    assert plain.beats()[0] == pid
    os.kill(pid, signal.SIGHUP)
    os.kill(pid, signal.SIGTERM)
    until(lambda: holder_of(plain.archive) is None, "the lock to be let go")
    assert plain.ask(lambda r: r.recorder()).stopped_utc is not None
    until(lambda: plain.log.read_text().endswith("stopped\n"), "the last line of its log")


def test_the_second_recorder_says_who_records_and_ends_well_and_stop_stops_the_first(plain):
    first = plain.start()
    second = subprocess.run(plain.command(), cwd=ROOT, capture_output=True, text=True, timeout=20)
    assert second.returncode == 0 and second.stdout == ""
    (line,) = second.stderr.splitlines()
    assert f"recorder (process {first.pid}, version" in line and "records already" in line
    said = []
    assert stop_recorder(plain.archive, said.append) == 0
    assert first.wait(5.0) == 0 and "has stopped" in said[0]
    assert stop_recorder(plain.archive, said.append) == 0 and said[1] == "no recorder is running"


DEMO = """
import sys
from pathlib import Path
from press_monitor.recorder.demo import demo_shop, start_demo_recorder
places = demo_shop(parent=Path(sys.argv[1]))
recorder = start_demo_recorder(places)
print(places.settings, recorder.process.pid, flush=True)
sys.stdin.read()
"""


def test_the_demo_shows_four_presses_soon_and_its_recorder_ends_when_the_dashboard_is_killed(tmp_path):
    dashboard = subprocess.Popen(
        [sys.executable, "-c", DEMO, str(tmp_path)], cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    path, _ = dashboard.stdout.readline().split()
    demo = Folder(tmp_path)
    demo.archive = tmp_path / path / "archive.sqlite"
    states = until(
        lambda: (found := demo.ask(lambda r: r.press_states())) and len(found) == 4 and found, "four presses"
    )
    assert all(state.snapshot["phase"] != "empty" for state in states.values())
    phases = lambda: {s.snapshot["phase"] for s in demo.ask(lambda r: r.press_states()).values()}  # noqa: E731
    until(lambda: {"hold", "cool-down"} <= phases(), "presses at different points of their cures")
    dashboard.kill()
    dashboard.wait(5.0)
    dashboard.stdin.close()
    dashboard.stdout.close()
    until(lambda: holder_of(demo.archive) is None, "the demo's recorder to end")
    assert demo.ask(lambda r: r.recorder()).stopped_utc is not None, "it ended in good order"
    assert len(demo.ask(lambda r: r.open_cycles())) >= 3, "and kept its folder"


def test_a_shop_file_that_cannot_be_used_is_one_line_and_leaves_nothing_behind(tmp_path):
    folder = Folder(tmp_path, shop=SHOP.replace("baud = 19200", 'baud = "quick"'))
    run = subprocess.run(folder.command(), cwd=ROOT, capture_output=True, text=True, timeout=20)
    assert run.returncode == 2
    (line,) = run.stderr.splitlines()
    assert f"{folder.shop}: presses.P1.options.baud: wants a whole number" in line
    assert not folder.archive.exists() and not folder.key.exists()

"""A cycle cut off at any second and taken up again says what an uninterrupted one would have said."""

from __future__ import annotations

import json
from types import SimpleNamespace

import pytest

from press_monitor.archive import ArchiveError, EventRow, Save, new_command
from press_monitor.recorder.clock import ShopClock
from press_monitor.recorder.cycle import Cycle, tick_of
from press_monitor.recorder.orders import obey
from press_monitor.recorder.resume import resume
from press_monitor.watch.plain import from_json, to_json
from press_monitor.watch.types import OperatorDid
from tests.recorder.shops import THIN, Bench, frames

FAULTS = [{"kind": "leak", "at_min": 8, "rate_psi_min": 4.0}, {"kind": "open-probe", "at_min": 10, "for_min": 1}]
SECONDS = 780
SAVED = (480, 540, 600, 720)


def act_at(bench, second):
    """What the operator of these cycles does, by the second."""
    cycle = bench.station.cycle
    if second == 300:
        obey(bench.station, new_command("note", bench.time.utc, args={"note": "bag hose checked"}))
    if second in (540, 640):
        for alarm in cycle.watch.snapshot().alarms:
            obey(bench.station, new_command("acknowledge", bench.time.utc, operator="Ida", alarm_id=alarm.id))


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """A whole cycle, with what the watch would have saved at some of its rows."""
    bench = Bench(tmp_path_factory.mktemp("whole"))
    bench.station.await_first(THIN)
    bench.saved = {}
    for second, frame in enumerate(frames(SECONDS, heat_up_min=4, faults=FAULTS)):
        bench.frame(frame)
        if second in SAVED:
            bench.saved[second] = Save(
                "", second, float(second), json.loads(json.dumps(bench.station.cycle.watch.save()))
            )
        act_at(bench, second)
    kinds = {e["alarm"]["kind"] for _, _, kind, e in events_of(bench) if kind == "AlarmChanged"}
    assert {"bag-leaking", "bag-low", "probe-open"} <= kinds, "the cycle must have something to say"
    return bench


def events_of(bench):
    return bench.archive.events[bench.archive.starts[0].cycle_id]


def kept_until(bench, seq):
    """What an archive would hold had the recorder died right after row `seq` was committed."""
    start = bench.archive.starts[0]
    rows = [row for row in bench.archive.rows[start.cycle_id] if row[0] <= seq]
    events = [
        EventRow(n, start.cycle_id, t, utc, kind, json.loads(json.dumps(event)))
        for n, (t, utc, kind, event) in enumerate(events_of(bench), 1)
        if t <= rows[-1][1]
    ]
    return start, rows, events


@pytest.mark.parametrize(("saved", "died"), [(None, 50), (480, 539), (540, 540), (600, 641), (720, 779)])
def test_an_interrupted_cycle_goes_on_as_if_nothing_had_been(whole, saved, died):
    start, rows, events = kept_until(whole, died)
    save = whole.saved.get(saved)
    cycle = Cycle(start, whole.watches.again(start, save and save.save), 0.0)
    cycle.replay(save, rows, events)
    assert (cycle.seq, cycle.t) == (died, float(died))
    assert cycle.take_pending().events == [], "nothing that was written is written again"
    for seq, t, counts in whole.archive.rows[start.cycle_id][died + 1 :]:
        cycle.take(float(t), counts)
        assert cycle.seq == seq
        act_again(cycle, whole, t)
    assert [(t, kind, event) for t, _, kind, event in cycle.take_pending().events] == [
        (t, kind, event) for t, _, kind, event in events_of(whole) if t > died
    ]
    assert cycle.watch.result() == whole.station.cycle.watch.result()
    assert to_json(cycle.watch.snapshot()) == to_json(whole.station.cycle.watch.snapshot())


def act_again(cycle, whole, t):
    for told in whole.station.cycle.did:
        if told["action"]["t"] == t:
            cycle.act(from_json(OperatorDid, told).action)


def test_the_kept_rows_through_a_fresh_watch_give_the_same_events(whole):
    start = whole.archive.starts[0]
    watch, said = whole.watches.again(start, None), []
    done = [from_json(OperatorDid, told).action for told in whole.station.cycle.did]
    for _, t, counts in whole.archive.rows[start.cycle_id]:
        said += watch.step(tick_of(float(t), counts, start.channels))
        for action in done:
            if action.t == t:
                said += watch.step(action)
    assert [(e.t, type(e).__name__, to_json(e)) for e in said] == [(t, k, e) for t, _, k, e in events_of(whole)]


def test_a_restart_fills_the_gap_with_empty_rows_and_goes_on(whole, tmp_path):
    start, rows, events = kept_until(whole, 700)
    bench = Bench(tmp_path)
    cycle = Cycle(start, bench.watches.again(start, None), 0.0)
    cycle.replay(None, rows, events)
    bench.archive.begin_cycle(start)
    cycle.origin = bench.time.real() - (cycle.t + 30.0)
    cycle.mark_gap(cycle.t + 30.0)
    bench.station.resume(cycle)
    bench.station.take([])
    assert bench.archive.rows[start.cycle_id] == [], "an instrument may still hand over what it remembers"
    for _ in range(5):
        bench.second(300.0, 300.0, 32.0)
    new = bench.archive.rows[start.cycle_id]
    assert [seq for seq, _, _ in new] == list(range(701, 701 + len(new)))
    assert [t for _, t, _ in new] == list(range(701, 701 + len(new)))
    assert [counts for _, _, counts in new[:29]] == [(None, None, None)] * 29
    assert new[-1][2] == (3000, 3000, 3200)
    kept = {kind: event for _, _, kind, event in bench.archive.events[start.cycle_id]}
    assert kept["recorder-gap"] == {"t": 700.0, "start_s": 700.0, "end_s": 730.0, "why": "the recorder was not running"}
    assert kept["RecordHole"]["start_s"] == 700.0
    assert "no-readings" in {
        e["alarm"]["kind"] for _, _, k, e in bench.archive.events[start.cycle_id] if k == "AlarmChanged"
    }


def test_an_instruments_memory_fills_the_gap_instead(whole, tmp_path):
    from drivers.base import Sample

    start, rows, events = kept_until(whole, 700)
    bench = Bench(tmp_path)
    cycle = Cycle(start, bench.watches.again(start, None), 0.0)
    cycle.replay(None, rows, events)
    bench.archive.begin_cycle(start)
    now = bench.time.real()
    cycle.origin = now - 730.0
    bench.station.resume(cycle)
    channels = (("inner_mat", "degF", 300.0), ("outer_mat", "degF", 301.0), ("bag", "psi", 32.0))
    bench.station.take([Sample(c, v, u, now - 35.0 + t) for t in range(36) for c, u, v in channels])
    new = bench.archive.rows[start.cycle_id]
    assert [t for _, t, _ in new] == list(range(701, 731))
    assert {counts for _, _, counts in new} == {(3000, 3010, 3200)}


class KeptArchive:
    """What `resume` asks a reader for."""

    def __init__(self, start, rows, events, save=None, heartbeat=None, told=None, state_of=None):
        self.start, self._rows, self._events, self._save, self._heartbeat = start, rows, events, save, heartbeat
        self._state = SimpleNamespace(cycle_id=state_of or start.cycle_id, snapshot={"recorder": told or {}})

    def press_states(self):
        return {self.start.press: self._state}

    def latest_save(self, cycle_id):
        return self._save

    def events(self, cycle_id):
        return self._events

    def rows(self, cycle_id, after_seq):
        return SimpleNamespace(rows=lambda: [row for row in self._rows if row[0] > after_seq])

    def recorder(self):
        return None if self._heartbeat is None else SimpleNamespace(heartbeat_utc=self._heartbeat)


def resumed(bench, kept, speed=1.0):
    said = []
    bench.archive.begin_cycle(kept.start)
    clock = ShopClock(speed, real=bench.time.real, wall=bench.time.wall)
    resume(bench.station, bench.watches, kept.start, kept, clock, 1, said.append)
    return said


@pytest.mark.parametrize(
    ("heartbeat_ago", "speed", "gap"),
    [(45.0, 1.0, 45.0), (3.0, 20.0, 60.0), (-3600.0, 1.0, 14_400.0), (None, 1.0, 100.0)],
)
def test_the_gap_is_counted_from_the_last_heartbeat_where_an_earlier_version_kept_no_more(
    whole, tmp_path, heartbeat_ago, speed, gap
):
    start, rows, events = kept_until(whole, 300)
    bench = Bench(tmp_path)
    bench.time.utc = start.started_utc + 400.0
    heartbeat = None if heartbeat_ago is None else bench.time.utc - heartbeat_ago
    said = resumed(bench, KeptArchive(start, rows, events, heartbeat=heartbeat), speed)
    cycle = bench.station.cycle
    assert (cycle.id, cycle.t) == (start.cycle_id, 300.0)
    assert bench.time.real() - cycle.origin - cycle.t == pytest.approx(gap)
    assert (len(said) == 2 and "set back" in said[0]) == (gap == 14_400.0)


@pytest.mark.parametrize(
    ("away", "speed", "now_at"),
    [(45.0, 1.0, 1045.0), (3.0, 20.0, 1060.0), (-3600.0, 1.0, 15_400.0)],
    ids=["after a while", "at speed", "the clock set back meanwhile"],
)
def test_the_axis_goes_on_from_where_it_was_however_far_the_rows_lagged(whole, tmp_path, away, speed, now_at):
    """It died while it still worked through an instrument's memory: rows to 300 s, the axis at 1000 s."""
    start, rows, events = kept_until(whole, 300)
    bench = Bench(tmp_path)
    bench.time.utc = start.started_utc + 90_000.0  # the clock was set within the cycle, which must not matter
    anchor = {"cycle_id": start.cycle_id, "wall_utc": bench.time.utc - away, "axis_s": 1000.0}
    said = resumed(
        bench, KeptArchive(start, rows, events, heartbeat=bench.time.utc - away, told={"anchor": anchor}), speed
    )
    cycle = bench.station.cycle
    assert cycle.t == 300.0 and cycle.axis(bench.time.real()) == pytest.approx(now_at)
    gap = next(event for _, _, kind, event in cycle.pending.events if kind == "recorder-gap")
    assert (gap["start_s"], gap["end_s"]) == (300.0, pytest.approx(now_at))
    assert ("set back" in said[0]) == (away < 0)


@pytest.mark.parametrize("stale", ["another cycle's state", "another cycle's anchor", "no anchor yet"])
def test_a_cycle_that_died_before_its_first_state_goes_on_from_its_beginning(whole, tmp_path, stale):
    start, rows, events = kept_until(whole, 0)
    bench = Bench(tmp_path)
    bench.time.utc = start.started_utc + 7.0
    anchor = {"cycle_id": "f" * 32, "wall_utc": bench.time.utc, "axis_s": 5000.0}
    told = {"anchor": anchor if stale == "another cycle's anchor" else None}
    of = "f" * 32 if stale == "another cycle's state" else None
    resumed(bench, KeptArchive(start, rows, events, heartbeat=bench.time.utc - 400.0, told=told, state_of=of))
    assert bench.station.cycle.axis(bench.time.real()) == pytest.approx(7.0)


def made(folder):
    folder.mkdir()
    return folder


@pytest.mark.parametrize("broken", ["another version's", "one that cannot be read"])
def test_a_watchs_state_that_is_of_no_use_is_made_anew_from_the_readings(whole, tmp_path, broken):
    start, rows, events = kept_until(whole, 300)
    bench, sound = Bench(tmp_path), Bench(made(tmp_path / "sound"))
    save = Save(start.cycle_id, 240, 240.0, {"of": "another version"})
    kept = KeptArchive(start, rows, events, save, bench.time.utc)
    if broken == "one that cannot be read":

        def unreadable(_):
            raise ArchiveError("is damaged")

        kept.latest_save = unreadable
    said = resumed(bench, kept)
    assert "made anew from the readings" in said[0]
    resumed(sound, KeptArchive(start, rows, events, None, sound.time.utc))
    assert bench.station.cycle.t == 300.0
    assert bench.station.cycle.watch.save() == sound.station.cycle.watch.save()


def test_where_no_state_of_the_press_can_be_read_the_gap_counts_from_the_cycles_beginning(whole, tmp_path):
    start, rows, events = kept_until(whole, 300)
    bench = Bench(tmp_path)
    bench.time.utc = start.started_utc + 400.0
    kept = KeptArchive(start, rows, events, heartbeat=bench.time.utc)

    def unreadable():
        raise ArchiveError("is damaged")

    kept.press_states = unreadable
    resumed(bench, kept)
    assert bench.station.cycle.axis(bench.time.real()) == pytest.approx(400.0)


def test_a_cycle_that_cannot_be_gone_on_with_is_sealed_as_incomplete_with_the_reason(whole, tmp_path, monkeypatch):
    start, rows, events = kept_until(whole, 300)
    bench = Bench(tmp_path)
    save = Save(start.cycle_id, 240, 240.0, {"of": "another version"})

    def no_longer(*_):
        raise KeyError("recipe")

    monkeypatch.setattr(bench.watches, "again", no_longer)
    made_anew, said = resumed(bench, KeptArchive(start, rows, events, save, bench.time.utc))
    assert "made anew" in made_anew and "cannot be gone on with: KeyError" in said
    assert bench.station.finished() == 1 and bench.station.cycle is None
    ((cycle_id, body),) = bench.archive.sealed
    assert cycle_id == start.cycle_id and body["result"]["verdict"] == "incomplete"
    assert "interrupted" in body["result"]["reasons"][0] and body["result"]["duration_s"] == 300.0

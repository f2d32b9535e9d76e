"""One press: empty, started, unticketed, told what to do, sealed, empty again."""

from __future__ import annotations

from itertools import pairwise

import pytest

from drivers.base import Sample
from press_monitor.archive import new_command
from press_monitor.quantities import to_si
from press_monitor.recorder.clock import ClockNote
from press_monitor.recorder.orders import obey
from press_monitor.watch.plain import from_json
from press_monitor.watch.types import GateView, Snapshot
from tests.recorder.shops import THIN, Bench, frames


@pytest.fixture
def bench(tmp_path):
    return Bench(tmp_path)


def tell(bench, kind, **more):
    return obey(bench.station, new_command(kind, bench.time.utc, press="P1", **more))


def started(bench):
    bench.second(70.0, 70.5, 32.0)
    answer = tell(bench, "start", args=THIN)
    assert answer.word == "done", answer
    return bench.archive.starts[-1].cycle_id


def test_an_empty_press_is_shown_with_its_values_and_nothing_is_recorded(bench):
    for _ in range(5):
        bench.second(70.0, 71.0, 0.5)
    assert bench.station.publish()
    cycle_id, _, state = bench.archive.states["P1"]
    shown = from_json(Snapshot, state)
    assert cycle_id is None and shown.phase.value == "empty" and shown.recipe == "section-300"
    assert shown.inner.value_degC == pytest.approx(to_si(70.0, "degF"))
    assert shown.outer.value_degC == pytest.approx(to_si(71.0, "degF"))
    assert shown.bag_Pa == pytest.approx(to_si(0.5, "psi"))
    assert bench.archive.starts == []
    assert not bench.station.publish(), "nothing has changed since"


def test_a_start_command_begins_a_cycle_at_once_with_the_values_of_now(bench):
    cycle_id = started(bench)
    start = bench.archive.starts[0]
    assert (start.press, start.source, start.time_decimals) == ("P1", "live", 0)
    assert start.recipe["name"] == "sidewall-300" and start.ticket["tire"] == "skid-steer"
    assert [layer["thickness"] for layer in start.repair["stacks"][0]["layers"]] == [0.004, 0.006, 0.006]
    assert bench.archive.rows[cycle_id] == [(0, 0, (700, 705, 3200))]
    assert start.started_utc == pytest.approx(bench.time.utc, abs=1.0)
    assert [kind for _, _, kind, _ in bench.archive.events[cycle_id]] == ["PhaseChanged"]
    bench.second(70.1, 70.6, 32.01)
    assert bench.archive.rows[cycle_id][1:] == [(1, 1, (701, 706, 3201))]


def test_the_watch_sees_exactly_what_the_row_keeps(bench):
    started(bench)
    seen = []
    watch = bench.station.cycle.watch
    step = watch.step
    watch.step = lambda given: seen.append(given) or step(given)
    bench.second(70.12345, None, 32.006789)
    bench.second(None, None, None, pause=4.0)
    rows = bench.archive.rows[bench.station.cycle.id][1:]
    assert rows[0][2] == (701, 705, 3201), "the outer mat's last value is younger than 2.5 s"
    assert {n: r.value for n, r in seen[0].readings.items()} == {
        "inner_mat": to_si(701 / 10, "degF"),
        "outer_mat": to_si(705 / 10, "degF"),
        "bag": to_si(3201 / 100, "psi"),
    }
    assert rows[-1][2] == (None, None, None)
    assert dict(seen[-1].readings) == {}, "nothing at all came"


def test_a_silent_channel_among_others_is_missing_and_alarms(bench):
    cycle_id = started(bench)
    for _ in range(12):
        bench.second(70.0, None, 32.0)
    assert bench.archive.rows[cycle_id][-1][2] == (700, None, 3200)
    kinds = {e["alarm"]["kind"] for _, _, kind, e in bench.archive.events[cycle_id] if kind == "AlarmChanged"}
    assert kinds == {"probe-open"}


@pytest.mark.parametrize(
    ("kind", "more", "words"),
    [
        ("release", {}, "no running cycle"),
        ("tea", {}, "no command 'tea'"),
        ("start", {"args": {"recipe": "steel"}}, "no such recipe; there are: section-300, sidewall-300"),
        ("start", {"args": {"preset": "nose"}}, "no ready-made repair 'nose'; there are: shoulder-44"),
        ("start", {"args": {"repair": "[[layers]]\nname = 'x'\nthickness = '-4 mm'"}}, "repair:3: layers.1.thickness"),
        ("start", {"args": {"ticket": 7}}, "keys and values"),
    ],
)
def test_what_cannot_be_done_is_refused_in_words(bench, kind, more, words):
    bench.second(70.0, 70.0, 0.0)
    answer = tell(bench, kind, **more)
    assert answer.word == "refused" and words in answer.text
    assert bench.archive.starts == []


def test_commands_for_another_cycle_or_no_alarm_or_a_second_start_are_refused(bench):
    cycle_id = started(bench)
    assert "another one" in tell(bench, "release", cycle_id="f" * 32).text
    assert "names no alarm" in tell(bench, "acknowledge", cycle_id=cycle_id).text
    assert "already" in tell(bench, "start", args=THIN).text
    assert "no number" in tell(bench, "extend", args={"seconds": "soon"}).text
    assert tell(bench, "heat-off").text == "the heat is not on", "what the watch itself refuses"
    assert tell(bench, "extend", args={"seconds": 600}).word == "done"


def test_what_an_operator_did_is_kept_at_the_row_it_followed(bench):
    cycle_id = started(bench)
    for _ in range(12):
        bench.second(70.0, None, 32.0)
    (alarm,) = [a.id for a in bench.station.cycle.watch.snapshot().alarms]
    answer = tell(bench, "acknowledge", operator="Ida", alarm_id=alarm, cycle_id=cycle_id)
    assert answer.word == "done"
    t, _, kind, event = bench.archive.events[cycle_id][-1]
    assert (t, kind) == (12.0, "OperatorDid")
    assert event["action"]["operator"] == "Ida" and event["action"]["alarm"] == alarm and event["refused"] is None


def test_an_acknowledgement_changes_the_states_time_so_that_dashboards_look_again(bench):
    started(bench)
    bench.station.publish()
    before = bench.archive.states["P1"][1]
    bench.time.pass_(0.25)
    tell(bench, "note", args={"note": "cords replaced"})
    assert bench.station.publish()
    assert before < bench.archive.states["P1"][1] <= before + 1.0


def test_a_watch_is_saved_each_minute_and_when_the_recorder_stops(bench):
    cycle_id = started(bench)
    kept = []
    for _ in range(190):
        bench.second(70.0, 70.0, 32.0)
        if (save := bench.archive.saves.get(cycle_id)) is not None and save.t not in kept:
            kept.append(save.t)
    assert len(kept) >= 3 and kept[0] <= 60.0
    assert all(b - a == 60.0 for a, b in pairwise(kept)), "each cycle at its own second of the minute"
    bench.second(70.0, 70.0, 32.0)
    bench.station.stop()
    assert bench.archive.saves[cycle_id].seq == 191


def test_heating_without_a_ticket_is_recorded_from_where_the_heating_began(bench):
    for _ in range(120):
        bench.second(70.0, 70.0, 32.0)
    for n in range(400):
        bench.second(70.0 + 0.3 * n, 70.0 + 0.3 * n, 32.0)
    (start,) = bench.archive.starts
    assert start.ticket is None and start.repair is None and start.setup["ticketed"] is False
    rows = bench.archive.rows[start.cycle_id]
    assert [seq for seq, _, _ in rows] == [t for _, t, _ in rows] == list(range(len(rows)))
    assert rows[0][2][0] <= 700 + 3 * 7, "the heat-up from its beginning, within a degree K"
    assert rows[-1][2][0] == 700 + 3 * 399
    assert bench.station.cycle.watch.snapshot().phase.value == "heat-up"
    assert "without a ticket" in tell(bench, "start", args=THIN).text


def test_a_heat_up_remembered_by_an_instrument_that_is_heard_late_is_recorded_whole(bench):
    for _ in range(300):
        bench.second()
    now = bench.time.real()
    bench.station.take(
        [
            Sample(name, value, unit, now - 250.0 + t)
            for t in range(250)
            for name, value, unit in (
                ("inner_mat", 70.0 + t, "degF"),
                ("outer_mat", 70.0 + t, "degF"),
                ("bag", 32.0, "psi"),
            )
        ]
    )
    (start,) = bench.archive.starts
    rows = bench.archive.rows[start.cycle_id]
    assert [t for _, t, _ in rows] == list(range(len(rows)))
    assert rows[0][2] in [(700 + 10 * n, 700 + 10 * n, 3200) for n in range(3)]
    assert rows[-1][2] == (3190, 3190, 3200)


def test_a_cycle_is_sealed_when_released_and_cooling_mats_begin_no_other(tmp_path):
    bench = Bench(tmp_path, interval=4)
    cycle_id = started(bench)
    for frame in frames(900, interval_s=4):
        bench.frame(frame)
        number = bench.station.finished()
        if number is not None:
            break
    assert number == 1 and bench.station.cycle is None
    bench.station.publish()
    assert bench.archive.states["P1"][0] is None
    shown = from_json(Snapshot, bench.archive.states["P1"][2])
    assert shown.phase.value == "released" and shown.words == "released, sealed as certificate 1"
    assert shown.tire == "skid-steer" and shown.verdict.value == "pass" and shown.alarms == ()
    ((sealed_id, body),) = bench.archive.sealed
    assert sealed_id == cycle_id == body["cycle_id"]
    assert body["result"]["release_s"] is not None
    assert body["result"]["verdict"] == "pass", body["result"]["reasons"]
    assert body["result"]["source"] == "live" and body["compounds"]["section-gum"]["tc90"] == 720.0
    last = bench.archive.rows[cycle_id][-1]
    assert last[1] == pytest.approx(body["result"]["release_s"] + 10.0, abs=4.0), "ten seconds after the release"
    assert abs(shown.t - last[1]) <= 8.0 < abs(shown.t - bench.time.real()), "on the cycle's axis, as its curves are"
    assert shown.phases[-1].phase.value == "released"
    assert shown.gate == GateView(True, True, True, True, shown.gate.words), "the cure that is sealed was reached"
    assert shown.stacks and shown.hold_s > 0.0 and shown.forecast is None
    for n in range(450):
        before, warm = shown.t, 70.0 + 100.0 * 0.992**n
        bench.second(warm, warm + 1.0, 0.0, pause=4.0)
        bench.station.publish()
        shown = from_json(Snapshot, bench.archive.states["P1"][2])
        assert shown.t - before == pytest.approx(4.0, abs=4.0), "and goes on with it, when it is empty as well"
    assert shown.phase.value == "empty"
    assert len(bench.archive.starts) == 1 and bench.station.cycle is None
    bench.station.publish()
    assert bench.archive.states["P1"][2]["phase"] == "empty", "after ten minutes nobody asks any more"


def test_a_release_by_word_is_sealed_too(bench):
    started(bench)
    for _ in range(20):
        bench.second(70.0, 70.0, 32.0)
    assert tell(bench, "release").word == "done"
    for _ in range(10):
        assert bench.archive.sealed == []
        bench.second(70.0, 70.0, 0.0)
    assert bench.station.finished() == 1
    body = bench.archive.sealed[0][1]
    assert body["result"]["verdict"] != "pass"
    assert [done["action"]["kind"] for done in body["actions"]] == ["release"]


def test_a_record_the_archive_refuses_is_sealed_as_incomplete_with_the_reason(bench):
    started(bench)
    bench.archive.refuse_seal = ["result.hold_min: is not finite"]
    tell(bench, "release")
    for _ in range(12):
        bench.second(70.0, 70.0, 0.0)
        number = bench.station.finished()
        if number is not None:
            break
    assert number == 1
    result = bench.archive.sealed[0][1]["result"]
    assert result["verdict"] == "incomplete" and "hold_min: is not finite" in result["reasons"][0]


def test_a_set_clock_is_noted_with_the_cycle(bench):
    cycle_id = started(bench)
    bench.second(70.0, 70.0, 32.0)
    bench.station.note(ClockNote("clock-step", bench.time.utc, 3600.0))
    bench.second(70.0, 70.0, 32.0)
    kept = [event for _, _, kind, event in bench.archive.events[cycle_id] if kind == "clock-step"]
    assert kept == [{"t": 1.0, "seconds": 3600.0, "words": kept[0]["words"]}] and "3600 s" in kept[0]["words"]


def test_a_long_history_is_taken_in_pieces_and_begins_the_awaited_cycle_at_its_first_row(bench):
    bench.station.await_first(THIN)
    now = bench.time.real()
    past = [
        Sample(name, value, unit, now - 1000.0 + t)
        for t in range(1000)
        for name, value, unit in (("inner_mat", 70.0, "degF"), ("outer_mat", 70.0, "degF"), ("bag", 32.0, "psi"))
    ]
    rounds = 1
    more = bench.station.take(past, 100)
    while more:
        rounds += 1
        more = bench.station.take([], 100)
    (start,) = bench.archive.starts
    rows = bench.archive.rows[start.cycle_id]
    assert rounds == 11 and [t for _, t, _ in rows] == list(range(1000))
    assert start.started_utc == pytest.approx(bench.time.utc - 1000.0, abs=1.0)
    assert all(counts == (700, 700, 3200) for _, _, counts in rows)


def test_a_cycle_begun_while_a_memory_is_worked_through_takes_nothing_from_before(tmp_path):
    """Else the last tire's heat would be this one's; the soak found a record that began with another's cool-down."""
    bench = Bench(tmp_path)
    now = bench.time.real()
    channels = (("inner_mat", "degF", 300.0), ("outer_mat", "degF", 300.0), ("bag", "psi", 32.0))
    past = [Sample(c, v, u, now - 300.0 + t) for t in range(301) for c, u, v in channels]
    assert bench.station.take(past, budget=10), "the memory must not be through at once"
    bench.station.begin(THIN)
    cycle = bench.station.cycle
    while bench.station.take([], budget=10):
        pass
    for _ in range(5):
        bench.second(70.0, 71.0, 30.0)
    (rows,) = bench.archive.rows.values()
    assert cycle.axis(now) == pytest.approx(0.0, abs=1.0)
    assert not any(counts == (3000, 3000, 3200) and t > 1 for _, t, counts in rows)
    assert [t for _, t, _ in rows] == list(range(len(rows))) and len(rows) <= 7
    assert rows[-1][2] == (700, 710, 3000)

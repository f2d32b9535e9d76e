"""The source: incremental rows, the heartbeat, commands and their fate, a missing archive."""

from dataclasses import replace

import numpy as np
import pytest

from press_monitor.archive.types import ArchiveError, ChannelMeta, CommandAnswer
from press_monitor.quantities import PSI
from press_monitor.readings.types import Role
from press_monitor.screens.source import SILENCE_S, Place, Source
from press_monitor.screens.trace import LiveTrace
from press_monitor.watch.plain import to_json
from tests.screens.fakes import CHANNELS, Clock, FakeArchive, degC, four_presses, shop_of


def test_the_first_poll_reads_every_press(archive):
    source = archive.source()
    assert source.poll()
    first = source.presses[0]
    assert first.snapshot == archive.presses[0].snapshot
    assert len(first.trace) == len(archive.presses[0].rows)
    assert first.ticket["number"] == "0418"
    assert not source.poll()


def test_rows_become_si(archive):
    source = archive.source()
    source.poll()
    trace, row = source.presses[0].trace, archive.presses[0].rows[-1]
    assert trace.column(Role.INNER_MAT)[-1] == pytest.approx(degC(row[2][0] / 10))
    assert trace.column(Role.BAG)[-1] == pytest.approx(row[2][2] / 100 * PSI)
    assert trace.times[-1] == row[1] / 10
    assert trace.column(Role.RAM) is None


def test_only_new_rows_are_asked_for(archive, monkeypatch):
    source = archive.source()
    source.poll()
    asked = []
    real = archive.rows
    monkeypatch.setattr(archive, "rows", lambda cycle, after=-1: (asked.append(after), real(cycle, after))[1])
    press = archive.presses[0]
    last = press.rows[-1]
    press.rows.append((last[0] + 1, last[1] + 10, (None, 2990, 3310)))
    archive.change("P1")
    assert source.poll()
    assert last[0] in asked
    assert -1 not in asked
    trace = source.presses[0].trace
    assert len(trace) == len(press.rows)
    assert np.isnan(trace.column(Role.INNER_MAT)[-1])


def test_a_press_that_did_not_change_keeps_its_version(archive):
    source = archive.source()
    source.poll()
    before = [p.version for p in source.presses]
    archive.beat()
    archive.clock.forward(0)
    source.poll()
    assert [p.version for p in source.presses] == before


def test_another_cycle_starts_with_an_empty_trace(archive, monkeypatch):
    source = archive.source()
    source.poll()
    monkeypatch.setattr(archive, "_cycle", lambda p: f"next-{p.name}")
    archive.presses[0].rows = archive.presses[0].rows[:10]
    archive.change("P1")
    source.poll()
    assert len(source.presses[0].trace) == 10


def test_a_sealed_cycle_keeps_its_curve(archive, monkeypatch):
    source = archive.source()
    source.poll()
    monkeypatch.setattr(archive, "open_cycles", list)
    archive.change("P4")
    source.poll()
    assert len(source.presses[3].trace) == len(archive.presses[3].rows)


def test_silence_is_counted_on_the_monotonic_clock_and_ends_with_a_beat(archive):
    source, clock = archive.source(), archive.clock
    source.poll()
    clock.mono += SILENCE_S - 0.1
    source.poll()
    assert not source.heartbeat.silent
    clock.mono += 0.2
    assert source.poll()
    assert source.heartbeat.silent
    clock.utc -= 7200  # somebody sets the wall clock: no matter
    archive.beat()
    assert source.poll()
    assert not source.heartbeat.silent


def test_an_old_heartbeat_found_at_the_start_is_silence_at_once(archive):
    archive.beat_utc = archive.clock.utc - 600
    source = archive.source()
    source.poll()
    assert source.heartbeat.silent
    assert source.heartbeat.silent_s >= 600


def test_a_recorder_that_stopped_in_good_order_is_silent_too(archive):
    archive.stopped = archive.clock.utc
    source = archive.source()
    source.poll()
    assert source.heartbeat.silent
    assert source.heartbeat.stopped


def test_a_command_carries_what_it_means_and_dies_in_ten_seconds(archive):
    source = archive.source()
    source.poll()
    view = source.presses[1]
    source.send("acknowledge", view, "acknowledge", alarm=view.snapshot.alarms[0])
    (sent,) = archive.sent
    assert (sent.kind, sent.press, sent.cycle_id, sent.alarm_id) == ("acknowledge", "P2", "cycle-P2", "bag-low-1")
    assert sent.expires_utc == sent.issued_utc + 10.0
    assert source.notices[-1].state == "sent"


@pytest.mark.parametrize("answer", ["done", "refused", "expired"])
def test_the_answer_is_shown_then_let_go(archive, answer):
    source = archive.source()
    source.poll()
    source.send("heat-off", source.presses[0], "heat off")
    archive.answers[archive.sent[0].uuid] = CommandAnswer(answer, "because", archive.clock.utc)
    assert source.poll()
    assert (source.notices[-1].state, source.notices[-1].text) == (answer, "because")
    archive.clock.forward(30)
    source.poll()
    assert source.notices == ()


def test_a_command_nobody_answers_expires_in_words(archive):
    source = archive.source()
    source.poll()
    source.send("heat-off", source.presses[0], "heat off")
    archive.clock.forward(13)
    source.poll()
    assert source.notices[-1].state == "expired"
    assert "nothing was done" in source.notices[-1].text


def test_a_command_that_cannot_be_written_is_refused_with_the_reason(archive):
    def broken(command):
        raise ArchiveError("shop.sqlite: the disk is full")

    source = Source(lambda: archive, [Place("P1", "North")], send=broken, now=archive.clock.now)
    source.poll()
    source.send("heat-off", source.presses[0], "heat off")
    assert (source.notices[-1].state, source.notices[-1].text) == ("refused", "shop.sqlite: the disk is full")


def test_a_missing_archive_is_said_and_tried_again():
    archive = shop_of()
    there = []

    def opener():
        if not there:
            raise ArchiveError("shop.sqlite: no such archive")
        return archive

    source = Source(opener, [Place("P1", "North")], send=archive.sent.append)
    assert source.poll()
    assert source.trouble == "shop.sqlite: no such archive"
    assert not source.poll()
    there.append(True)
    assert source.poll()
    assert source.trouble == ""
    assert source.presses[0].snapshot is not None


def test_an_archive_that_fails_while_read_keeps_what_was_seen(archive, monkeypatch):
    source = archive.source()
    source.poll()

    def fails():
        raise ArchiveError("busy")

    with monkeypatch.context() as patched:
        patched.setattr(archive, "data_version", fails)
        assert source.poll()
        assert source.presses[0].snapshot is not None
    assert source.poll()
    assert source.trouble == ""


def test_times_are_the_shops_own_even_where_they_run_ahead():
    archive = FakeArchive(four_presses(), Clock())
    press = archive.presses[0]
    press.snapshot = replace(press.snapshot, t=press.snapshot.t + 7200.0)
    archive.source()
    source = archive.source()
    source.poll()
    view = source.presses[0]
    assert view.clock(0.0) == view.trace.start.started_utc
    assert view.clock(60.0) - view.clock(0.0) == 60.0


def test_events_are_read_once_and_added_to(archive):
    source = archive.source()
    source.poll()
    view = source.presses[0]
    assert [e.number for e in source.events(view)] == [1, 2, 3]
    archive.presses[0].events.append(replace(archive.presses[0].events[-1], number=9))
    assert [e.number for e in source.events(view)] == [1, 2, 3, 9]
    assert source.events(source.presses[1])[0].number == 11


def test_a_trace_grows_past_its_first_columns(archive):
    source = archive.source()
    source.poll()
    trace = source.presses[3].trace
    assert len(trace) == 97 * 60
    assert np.all(np.diff(trace.times) == 1.0)
    assert trace.gap == 5.0


def test_a_channel_in_an_unknown_unit_is_kept_as_it_is(archive):
    cycle = archive.open_cycles()[0].start
    odd = replace(cycle, channels=(ChannelMeta("inner_mat", "furlong", 1), *CHANNELS[1:]))
    trace = LiveTrace(odd)
    trace.extend(archive.rows("cycle-P1"))
    assert trace.column(Role.INNER_MAT)[0] == pytest.approx(archive.presses[0].rows[0][2][0] / 10)


def test_the_snapshot_survives_its_journey(archive):
    press = archive.presses[1]
    source = archive.source()
    source.poll()
    assert to_json(source.presses[1].snapshot) == to_json(press.snapshot)

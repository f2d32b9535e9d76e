"""Commands, answers, the heartbeat, states and events: what passes between dashboards and recorder."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import pytest

from press_monitor.archive import (
    COMMAND_LIFETIME_S,
    Archive,
    ArchiveError,
    ArchiveReader,
    CommandAnswer,
    command_answer,
    new_command,
    send_command,
)
from press_monitor.archive.types import JsonText, deflated
from tests.archive.conftest import Clock
from tests.archive.helpers import NOON, new_start, rows


def test_a_command_goes_there_and_back(archive: Archive, reader: ArchiveReader, clock: Clock) -> None:
    archive.waiting_commands()
    before = archive.data_version()
    command = new_command(
        "acknowledge", NOON, operator="Ada", press="P1", cycle_id="c" * 32, alarm_id="a1", args={"note": "seen"}
    )
    send_command(archive.path, command)
    assert archive.data_version() != before
    assert archive.waiting_commands() == (command,)
    assert reader.command_answer(command.uuid) is None
    clock.now += 0.2
    assert archive.answer(command.uuid, "done", "acknowledged")
    assert archive.waiting_commands() == ()
    answer = CommandAnswer("done", "acknowledged", NOON + 0.2)
    assert reader.command_answer(command.uuid) == command_answer(archive.path, command.uuid) == answer
    assert not archive.answer(command.uuid, "refused", "too late to change one's mind")
    assert reader.command_answer(command.uuid) == answer


def test_commands_come_in_the_order_they_were_issued(archive: Archive) -> None:
    sent = [new_command("note", NOON + k / 10) for k in (2, 0, 1)]
    for command in sent:
        send_command(archive.path, command)
    assert [c.issued_utc for c in archive.waiting_commands()] == [NOON, NOON + 0.1, NOON + 0.2]


def test_a_command_outlives_its_sender_by_ten_seconds_only(archive: Archive, clock: Clock) -> None:
    assert COMMAND_LIFETIME_S == 10.0
    command = new_command("release", NOON, press="P1")
    send_command(archive.path, command)
    clock.now = NOON + 9.9
    assert archive.waiting_commands() == (command,)
    clock.now = NOON + 10.0
    assert archive.waiting_commands() == ()
    answer = command_answer(archive.path, command.uuid)
    assert answer == CommandAnswer("expired", "was not taken up in time", NOON + 10.0)
    clock.now = NOON
    assert archive.waiting_commands() == ()  # what has expired stays so


def test_a_command_issued_before_the_recorder_was_killed_is_never_carried_out(
    archive: Archive, path: Path, key_path: Path, clock: Clock
) -> None:
    command = new_command("release", NOON, press="P1")
    send_command(path, command)
    archive.close()
    clock.now = NOON + 3 * 3600
    with Archive.open(path, key_path=key_path, clock=clock) as later:
        assert later.waiting_commands() == ()
    answer = command_answer(path, command.uuid)
    assert answer is not None and answer.answer == "expired"


def test_a_long_expiry_is_not_believed(archive: Archive, clock: Clock) -> None:
    send_command(archive.path, replace(new_command("release", NOON), expires_utc=NOON + 1e6))
    clock.now = NOON + 10.0
    assert archive.waiting_commands() == ()


def test_a_command_from_the_future_is_not_carried_out(archive: Archive, clock: Clock) -> None:
    send_command(archive.path, new_command("release", NOON + 3600))
    clock.now = NOON
    assert archive.waiting_commands() == ()
    clock.now = NOON + 3600
    assert archive.waiting_commands() == ()


def test_answers_are_checked(archive: Archive, reader: ArchiveReader) -> None:
    with pytest.raises(ArchiveError, match="never sent"):
        archive.answer("f" * 32, "done")
    with pytest.raises(ArchiveError, match="never sent"):
        reader.command_answer("f" * 32)
    command = new_command("note", NOON)
    send_command(archive.path, command)
    with pytest.raises(ArchiveError, match="no answer"):
        archive.answer(command.uuid, "maybe")
    assert archive.waiting_commands() == (command,)


def test_a_command_needs_an_archive(path: Path) -> None:
    with pytest.raises(ArchiveError, match="there is no archive"):
        send_command(path, new_command("note", NOON))
    assert not path.exists()


def test_a_busy_archive_says_so(archive: Archive) -> None:
    with archive.transaction(), pytest.raises(ArchiveError, match="could not be written: database is locked"):
        send_command(archive.path, new_command("note", NOON), busy_ms=1)


def test_the_heartbeat(archive: Archive, reader: ArchiveReader, path: Path, key_path: Path, clock: Clock) -> None:
    assert reader.recorder() is None
    archive.beat(NOON)
    archive.beat(NOON + 1)
    first = reader.recorder()
    assert first is not None
    assert (first.started_utc, first.heartbeat_utc, first.beats, first.stopped_utc) == (NOON, NOON + 1, 2, None)
    clock.now = NOON + 5
    archive.close()
    stopped = reader.recorder()
    assert stopped is not None and stopped.stopped_utc == NOON + 5
    with Archive.open(path, key_path=key_path, holder="replay", clock=clock) as other:
        other.data_version()
    assert reader.recorder() == stopped  # who only appends is no recorder
    with Archive.open(path, key_path=key_path, clock=clock) as again:
        again.beat(NOON + 60)
        second = reader.recorder()
        assert second is not None
        assert (second.started_utc, second.beats, second.stopped_utc) == (NOON + 60, 1, None)


def test_states_saves_and_events(archive: Archive, reader: ArchiveReader) -> None:
    start = new_start()
    archive.begin_cycle(start)
    archive.add_rows(start.cycle_id, rows(61))
    archive.put_state("P1", start.cycle_id, NOON, {"phase": "loaded"})
    archive.put_state("P2", None, NOON, {"phase": "empty"})
    archive.put_state("P1", start.cycle_id, NOON + 1, {"phase": "heat-up"})
    states = reader.press_states()
    assert list(states) == ["P1", "P2"]
    assert (states["P1"].cycle_id, states["P1"].utc, states["P1"].snapshot) == (
        start.cycle_id,
        NOON + 1,
        {"phase": "heat-up"},
    )
    assert states["P2"].cycle_id is None
    archive.put_state("P2", None, NOON + 2, JsonText('{"phase": "loaded"}'))
    assert reader.press_states()["P2"].snapshot == {"phase": "loaded"}

    assert reader.latest_save(start.cycle_id) is None
    for t in (59, 60):
        archive.put_save(start.cycle_id, t, float(t), {"t": t})
    save = reader.latest_save(start.cycle_id)
    assert save is not None and (save.seq, save.t, save.save) == (60, 60.0, {"t": 60})

    archive.add_events(start.cycle_id, [(1.0, NOON + 1, "phase", {"phase": "heat-up"}), (2.0, NOON + 2, "alarm", {})])
    archive.add_events(None, [(0.0, NOON, "clock-step", {"by_s": 3600})])
    first, second = reader.events(start.cycle_id)
    assert (first.t, first.utc, first.kind, first.event) == (1.0, NOON + 1, "phase", {"phase": "heat-up"})
    assert reader.events(start.cycle_id, after=first.number) == (second,)
    assert [event.kind for event in reader.events(None)] == ["clock-step"]
    with pytest.raises(ArchiveError, match="there is no cycle"):
        reader.events("d" * 32)
    with pytest.raises(ArchiveError, match="there is no cycle"):
        archive.put_state("P1", "d" * 32, NOON, {})


def steady(n: int) -> JsonText:
    return JsonText(f'{{"phase": "hold", "n": {n}, "recorder": {{"horn": "none"}}}}')


def test_a_state_in_two_parts_reads_as_one(archive: Archive, reader: ArchiveReader) -> None:
    moving = JsonText('{"t": 1.0, "recorder": {"anchor": 5}}')
    archive.put_state("P1", None, NOON, moving, steady(1))
    first = reader.press_states()["P1"].snapshot
    assert first == {"t": 1.0, "phase": "hold", "n": 1, "recorder": {"anchor": 5, "horn": "none"}}
    archive.put_state("P1", None, NOON + 1, JsonText('{"t": 2.0, "recorder": {}}'), steady(1))
    second = reader.press_states()["P1"].snapshot
    assert second == {"t": 2.0, "phase": "hold", "n": 1, "recorder": {"horn": "none"}}
    archive.put_state("P1", None, NOON + 2, moving, steady(2))
    assert reader.press_states()["P1"].snapshot["n"] == 2
    archive.put_state("P1", None, NOON + 3, {"phase": "empty"})
    assert reader.press_states()["P1"].snapshot == {"phase": "empty"}, "a whole one leaves nothing of it"


def test_what_is_steady_is_written_once(archive: Archive, reader: ArchiveReader) -> None:
    def written() -> int:
        return archive._db.total_changes

    moving = JsonText('{"t": 1.0}')
    archive.put_state("P1", None, NOON, moving, steady(1))
    before = written()
    archive.put_state("P1", None, NOON, moving, steady(1))
    assert written() - before == 1
    with suppress(RuntimeError), archive.transaction():
        archive.put_state("P1", None, NOON, moving, steady(2))
        raise RuntimeError
    assert reader.press_states()["P1"].snapshot["n"] == 1
    archive.put_state("P1", None, NOON, moving, steady(2))
    assert reader.press_states()["P1"].snapshot["n"] == 2, "what was taken back is written again"


def test_the_next_recorder_does_not_take_for_granted_what_stands_there(
    archive: Archive, path: Path, key_path: Path
) -> None:
    archive.put_state("P1", None, NOON, JsonText("{}"), steady(1))
    archive.close()
    with Archive.open(path, key_path=key_path) as again:
        again.put_state("P1", None, NOON, {"phase": "empty"})
    with ArchiveReader(path) as reader:
        assert reader.press_states()["P1"].snapshot == {"phase": "empty"}


def test_a_save_that_cannot_be_inflated_is_damage(archive: Archive, reader: ArchiveReader) -> None:
    start = new_start()
    archive.begin_cycle(start)
    archive.put_save(start.cycle_id, 1, 1.0, deflated({"a": 1}))
    kept = reader.latest_save(start.cycle_id)
    assert kept is not None and kept.save == {"a": 1}
    archive._db.execute("UPDATE watch_save SET save = x'7801ff'")
    with pytest.raises(ArchiveError, match="damaged"):
        reader.latest_save(start.cycle_id)

"""Additions to the ledger from another process: under the lock, or through whoever holds it."""

from __future__ import annotations

import threading
import uuid
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from press_monitor.archive import Archive, ArchiveError, ArchiveLocked, ArchiveReader, Trace, new_command, send_command
from press_monitor.archive.entries import inspection_body
from press_monitor.archive.lock import WriterLock
from press_monitor.archive.requests import LEDGER_COMMANDS, Asked, append_entry, carry_out, seal_cycle
from press_monitor.archive.verify import verify
from tests.archive.helpers import CHANNELS, NOON, body, new_start, rows, seal_one

SOUND = inspection_body("sound", by="Ines", day=__import__("datetime").date(2031, 5, 4))


class Hands:
    """Time that moves only when somebody pauses, and what the holder of the lock does then."""

    def __init__(self, does: Callable[[], object] = lambda: None) -> None:
        self.now, self.does, self.pauses = 100.0, does, 0

    def pause(self, seconds: float) -> None:
        self.pauses += 1
        self.now += seconds
        self.does()


def asked(path: Path, key_path: Path, hands: Hands, holder: str = "inspect") -> Asked:
    return Asked(path, key_path, holder, now=lambda: NOON + hands.now, monotonic=lambda: hands.now, pause=hands.pause)


@pytest.fixture
def sealed(path: Path, key_path: Path) -> Path:
    with Archive.open(path, key_path=key_path) as archive:
        seal_one(archive, 5)
    return path


def answers(archive: Archive, hands: Hands) -> list[str | None]:
    """What the writer of a recorder does with each look."""
    return [
        carry_out(archive, command)
        for command in archive.waiting_commands(NOON + hands.now)
        if command.kind in LEDGER_COMMANDS
    ]


def test_a_free_lock_is_taken_for_a_moment(sealed: Path, key_path: Path) -> None:
    hands = Hands()
    assert append_entry(asked(sealed, key_path, hands), "inspection", SOUND, 1) == 2
    assert hands.pauses == 0
    WriterLock(sealed, "next", "0").release()
    with ArchiveReader(sealed) as reader:
        assert reader.records()[0].inspection == "sound"
        assert reader.query("SELECT count(*) FROM command") == [(0,)]


def test_a_recorder_is_asked_and_answers(sealed: Path, key_path: Path) -> None:
    hands = Hands()
    with Archive.open(sealed, key_path=key_path, holder="recorder") as recorder:
        said: list[str | None] = []
        hands.does = lambda: said.extend(answers(recorder, hands))
        assert append_entry(asked(sealed, key_path, hands), "inspection", SOUND, 1) == 2
        assert said == ["ledger-append by inspect: ledger entry 2"]
        assert hands.pauses == 1
    with ArchiveReader(sealed) as reader:
        assert reader.query("SELECT answer, args FROM command") == [("done", "{}")]
    assert verify(sealed).ok


def test_a_whole_cycle_is_sealed_through_the_recorder(sealed: Path, key_path: Path) -> None:
    start = new_start(source="log", press="replay", time_decimals=1)
    trace = Trace.from_rows(CHANNELS, 1, rows(300))
    record = body(start, "review", source_log_sha256="0" * 64)
    hands = Hands()
    with Archive.open(sealed, key_path=key_path, holder="recorder") as recorder:
        hands.does = lambda: answers(recorder, hands)
        assert seal_cycle(asked(sealed, key_path, hands), start, trace, record) == 2
        with pytest.raises(ArchiveError, match=r"refused: cycle .* cannot begin"):
            seal_cycle(asked(sealed, key_path, hands), start, trace, record)
    with ArchiveReader(sealed) as reader:
        assert reader.trace(2).rows() == rows(300) and reader.record(2).sealed.content["trace"]["time_decimals"] == 1
    assert verify(sealed, unpack_traces=True).ok


def test_a_live_cure_cannot_be_handed_in(sealed: Path, key_path: Path) -> None:
    start = new_start()
    with pytest.raises(ArchiveError, match="only a replayed log is sealed whole"):
        seal_cycle(asked(sealed, key_path, Hands()), start, Trace.from_rows(CHANNELS, 3, rows(3)), body(start))
    with ArchiveReader(sealed) as reader:
        assert reader.open_cycles() == ()


def test_a_silent_recorder_is_waited_for_five_seconds_and_then_nothing_is_added(sealed: Path, key_path: Path) -> None:
    hands = Hands()
    with Archive.open(sealed, key_path=key_path, holder="recorder") as recorder:
        with pytest.raises(ArchiveError, match="did not answer within 5 s; nothing was added"):
            append_entry(asked(sealed, key_path, hands), "inspection", SOUND, 1)
        assert 104.9 < hands.now < 105.2
        # It wakes up a second later: the command has been withdrawn.
        assert answers(recorder, hands) == []
        assert recorder.head() == 1


def test_an_answer_that_crosses_the_withdrawal_counts(sealed: Path, key_path: Path) -> None:
    """The recorder carries it out in the very moment in which the caller gives up: it is told so."""
    hands = Hands()
    with Archive.open(sealed, key_path=key_path, holder="recorder") as recorder:

        def late() -> None:
            if hands.now > 105.0:
                answers(recorder, hands)

        hands.does = late
        assert append_entry(asked(sealed, key_path, hands), "inspection", SOUND, 1) == 2
        assert recorder.head() == 2


def test_one_that_was_withdrawn_while_it_was_carried_out_leaves_nothing(
    sealed: Path, key_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Archive.open(sealed, key_path=key_path, holder="recorder") as recorder:
        args = {"entry": "inspection", "body": SOUND, "certificate": 1}
        command = new_command("ledger-append", NOON, operator="inspect", args=args)
        send_command(sealed, command)
        recorder.answer(command.uuid, "expired", "withdrawn")
        assert carry_out(recorder, command) is None
        assert recorder.head() == 1


@pytest.mark.parametrize(
    ("args", "says"),
    [
        ({"entry": "inspection", "body": SOUND, "certificate": 9}, "there is no certificate 9"),
        ({"entry": "inspection", "body": {"result": "fine"}, "certificate": 1}, "result: wants one of"),
        ({"entry": "cure-record", "body": {}, "certificate": 1}, "no entry of this kind is added by hand"),
        ({"entry": "genesis", "body": {}, "certificate": None}, "no entry of this kind is added by hand"),
        ({"body": {}}, "the request cannot be read"),
        (None, "the request cannot be read"),
        ([], "the request cannot be read"),
        ({"entry": "inspection", "body": 3, "certificate": 1}, "body: wants keys and values"),
    ],
)
def test_what_the_recorder_refuses(sealed: Path, key_path: Path, args: Any, says: str) -> None:
    with Archive.open(sealed, key_path=key_path, holder="recorder") as recorder:
        command = replace(new_command("ledger-append", NOON, operator="x"), args=args)
        send_command(sealed, command)
        line = carry_out(recorder, command)
        assert line is not None and "refused" in line
        with ArchiveReader(sealed) as reader:
            answer = reader.command_answer(command.uuid)
            assert answer is not None and answer.answer == "refused"
            assert __import__("re").search(says, answer.text), answer.text
        assert recorder.head() == 1


@pytest.mark.parametrize("trace", ["", "not base64 at all!", "AAAA"])
def test_readings_that_are_none_are_refused(sealed: Path, key_path: Path, trace: str) -> None:
    with Archive.open(sealed, key_path=key_path, holder="recorder") as recorder:
        command = new_command("ledger-seal", NOON, args={"start": {}, "trace": trace, "body": {}})
        send_command(sealed, command)
        line = carry_out(recorder, command)
        assert line is not None and "refused" in line


def test_another_short_holder_is_waited_for(sealed: Path, key_path: Path) -> None:
    other = WriterLock(sealed, "replay", "0")
    hands = Hands()
    hands.does = lambda: other.release() if hands.pauses == 3 else None
    assert append_entry(asked(sealed, key_path, hands), "inspection", SOUND, 1) == 2
    assert hands.pauses == 3
    stays = WriterLock(sealed, "rebuild", "0")
    with pytest.raises(ArchiveLocked, match="held by rebuild"):
        append_entry(asked(sealed, key_path, Hands()), "inspection", SOUND, 1)
    stays.release()


def test_nothing_is_made_where_no_archive_is(path: Path, key_path: Path) -> None:
    with pytest.raises(ArchiveError, match="there is no archive"):
        append_entry(asked(path, key_path, Hands()), "inspection", SOUND, 1)
    assert not path.parent.exists()


def test_many_callers_at_once_lose_nothing(sealed: Path, key_path: Path) -> None:
    """Threads with locks of their own stand for processes; each entry is added once."""
    errors: list[Exception] = []

    def add() -> None:
        try:
            append_entry(Asked(sealed, key_path, f"caller {uuid.uuid4().hex[:4]}"), "inspection", SOUND, 1)
        except Exception as error:  # handed to the main thread
            errors.append(error)

    threads = [threading.Thread(target=add) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert errors == []
    report = verify(sealed)
    assert report.ok and report.entries == 10

"""The writer thread: groups, order, a disk that refuses, a job at fault, commands."""

from __future__ import annotations

import contextlib
import sqlite3
import threading
import time

import pytest

from press_monitor.archive.types import ArchiveError, Command
from press_monitor.recorder.writer import Job, Writer

DISK_FULL = sqlite3.OperationalError("database or disk is full")


class FakeStore:
    """Remembers what each committed transaction wrote; raises what it is told to, at begin or at commit."""

    def __init__(self):
        self.committed = []
        self.trouble = []
        self.at_commit = []
        self.waiting = []
        self.closed = False
        self.folds = []
        self._open = None

    @contextlib.contextmanager
    def transaction(self):
        if self.trouble:
            raise self.trouble.pop(0)
        self._open = []
        yield
        if self.at_commit:
            raise self.at_commit.pop(0)
        self.committed.append(self._open)

    def write(self, what):
        self._open.append(what)
        return what

    def waiting_commands(self):
        return list(self.waiting)

    def fold_beside(self):
        self.folds.append("beside")

    def fold(self):
        self.folds.append(len(self.committed))
        raise ArchiveError("the disk fails at tidying up")

    def close(self):
        self.closed = True


def note(what, **more):
    return Job(lambda store: store.write(what), **more)


def command(uuid):
    return Command(uuid, 0.0, 10.0, "", None, None, None, "note", {})


@pytest.fixture
def store():
    return FakeStore()


def test_everything_waiting_goes_into_one_transaction_in_order(store):
    writer, done = Writer(lambda: store), []
    writer.put(note(1), note(2, done=done.append))
    writer.put(note(3, done=done.append))
    assert writer.commit(store)
    assert store.committed == [[1, 2, 3]]
    assert done == [2, 3]
    assert writer.commit(store) and store.committed == [[1, 2, 3]], "nothing waits, nothing is written"


def test_a_newer_state_replaces_a_waiting_one_and_stands_behind_what_it_speaks_of(store):
    writer = Writer(lambda: store)
    writer.put(note("state 1", key="P1"))
    writer.put(note("cycle begins"))
    writer.put(note("state 2", key="P1"), note("other", key="P2"))
    writer.commit(store)
    assert store.committed == [["cycle begins", "state 2", "other"]]


@pytest.mark.parametrize("moment", ["trouble", "at_commit"])
def test_a_refusing_disk_loses_nothing_and_is_told_since_when(store, moment):
    wall = [100.0]
    writer, done = Writer(lambda: store, wall=lambda: wall[0]), []
    getattr(store, moment).extend([DISK_FULL, OSError(28, "No space left on device")])
    writer.put(note(1, rows=5, done=done.append))
    assert not writer.commit(store)
    wall[0] = 101.0
    writer.put(note(2, rows=6, done=done.append))
    assert not writer.commit(store)
    status = writer.status()
    assert (status.failing_since, status.waiting_jobs, status.waiting_rows) == (100.0, 2, 11)
    assert "No space left" in status.why
    assert done == [] and store.committed == []
    assert writer.commit(store)
    assert store.committed == [[1, 2]] and done == [1, 2]
    assert writer.status().failing_since is None and writer.status().waiting_jobs == 0


def test_rows_beyond_the_limit_are_dropped_and_counted_but_not_events(store):
    writer = Writer(lambda: store, row_limit=10)
    for n in range(5):
        writer.put(note(n, rows=3), note(f"event {n}"))
    assert (writer.status().waiting_rows, writer.status().dropped_rows) == (9, 6)
    writer.commit(store)
    assert store.committed == [[0, "event 0", 1, "event 1", 2, "event 2", "event 3", "event 4"]]


def test_one_job_at_fault_is_dropped_and_told_and_the_others_are_written(store):
    def refuse(_):
        raise sqlite3.IntegrityError("UNIQUE constraint failed")

    writer, told, done = Writer(lambda: store), [], []
    writer.put(note(1, done=done.append), Job(refuse, failed=told.append), note(2, done=done.append))
    assert writer.commit(store)
    assert store.committed == [[1], [2]] and done == [1, 2]
    assert told == ["IntegrityError: UNIQUE constraint failed"]
    assert writer.status().refused_jobs == 1 and writer.status().failing_since is None


def test_the_disk_failing_while_a_fault_is_sought_keeps_the_rest(store):
    def refuse(_):
        raise ValueError("no")

    writer = Writer(lambda: store)
    writer.put(note(1), Job(refuse), note(2))
    store.at_commit = [DISK_FULL]
    assert not writer.commit(store), "the group fails by its job, then the first alone by the disk"
    assert writer.status().waiting_jobs == 3
    assert writer.commit(store)
    assert store.committed == [[1], [2]]


def test_each_command_is_handed_on_once_until_it_is_answered(store):
    news = []
    writer = Writer(lambda: store, news=lambda: news.append(1))
    store.waiting = [command("a"), command("b")]
    writer.look(store)
    writer.look(store)
    assert [c.uuid for c in writer.commands()] == ["a", "b"] and writer.commands() == [] and news == [1]
    store.waiting = [command("b"), command("c")]
    writer.look(store)
    assert [c.uuid for c in writer.commands()] == ["c"]


def test_a_file_that_cannot_be_opened_is_told_to_who_starts_it():
    def fail():
        raise PermissionError("no")

    with pytest.raises(PermissionError):
        Writer(fail).start()


def test_the_thread_commits_within_a_quarter_second_of_arrival_and_closes_when_stopped(store):
    writer = Writer(lambda: store)
    writer.start()
    took, committed = [], threading.Event()
    for n in range(5):
        committed.clear()
        began = time.monotonic()
        writer.put(note(n, done=lambda _: committed.set()))
        assert committed.wait(5.0)
        took.append(time.monotonic() - began)
    assert sorted(took)[2] < 0.25
    committed.clear()
    began = time.monotonic()
    writer.put(note("answer", done=lambda _: committed.set()))
    writer.write_now()
    assert committed.wait(5.0) and time.monotonic() - began < sorted(took)[2]
    writer.put(note("last"))
    assert writer.stop(5.0)
    assert store.committed[-1][-1] == "last" and store.closed


def test_the_end_of_a_pass_has_all_of_it_written_at_once_and_together(store):
    writer = Writer(lambda: store, linger=60.0)
    writer.start()
    for n in range(3):
        committed = threading.Event()
        for each in range(4):
            writer.put(note((n, each), done=lambda _, e=committed: e.set()))
        writer.write_now()
        assert committed.wait(5.0)
        assert store.committed[-1] == [(n, each) for each in range(4)]
    writer.write_now()
    assert writer.stop(5.0)
    assert len(store.committed) == 3, "where nothing waits, nothing is written"


def test_a_disk_that_never_recovers_does_not_hold_up_stopping(store):
    store.trouble = [DISK_FULL] * 1000
    writer = Writer(lambda: store)
    writer.start()
    writer.put(note(1))
    began = time.monotonic()
    assert not writer.stop(0.3)
    assert time.monotonic() - began < 2.0
    store.trouble.clear()
    assert writer.stop(10.0), "the thread ends once the disk is back"
    assert store.committed == [[1]]


def test_the_log_is_folded_between_commits_and_its_failing_ends_nothing(store):
    writer = Writer(lambda: store, linger=0.0)
    writer.start()
    for _ in range(2):
        finished = threading.Event()
        writer.put(*(note(k) for k in range(499)))
        writer.put(note("last", done=lambda _, finished=finished: finished.set()))
        assert finished.wait(10.0)
    assert writer.stop(10.0) and store.closed
    assert store.folds[0] == "beside" and len(store.folds) == 3
    assert sum(map(len, store.committed)) == 1000

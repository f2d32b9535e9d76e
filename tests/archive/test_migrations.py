"""Archives of every earlier format open, say what they said, and verify."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from press_monitor.archive import Archive, ArchiveError, ArchiveReader
from press_monitor.archive.schema import VERSION, file_version
from press_monitor.archive.verify import verify
from tests.archive.fixtures.make import FOLDER, write_key
from tests.archive.helpers import NOON, body, rows, seal_one

KEPT = sorted(FOLDER.glob("version-*.db"), key=lambda path: int(path.stem.split("-")[1]))


def test_there_is_one_of_every_earlier_format() -> None:
    """Raising `VERSION` without keeping an archive of the format before fails here."""
    assert [int(path.stem.split("-")[1]) for path in KEPT][: VERSION - 1] == list(range(1, VERSION))


@pytest.fixture(params=KEPT, ids=lambda path: path.stem)
def old(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    path = tmp_path / "archive.sqlite"
    shutil.copyfile(request.param, path)
    return path


@pytest.fixture
def key(tmp_path: Path) -> Path:
    return write_key(tmp_path / "keys" / "ledger.key")


def ledger_of(path: Path) -> list[tuple[object, ...]]:
    with closing(sqlite3.connect(path)) as db:
        return db.execute("SELECT * FROM ledger ORDER BY seq").fetchall()


def test_it_is_brought_up_to_date_and_says_what_it_said(old: Path, key: Path) -> None:
    before = ledger_of(old)
    with Archive.open(old, key_path=key) as archive:
        seal_one(archive, 5, press="P7")
    assert ledger_of(old)[: len(before)] == before
    report = verify(old, key, unpack_traces=True)
    assert report.ok, report.problems
    with ArchiveReader(old) as reader:
        assert [row.number for row in reader.records()] == [4, 3, 2, 1]
        assert [row.verdict for row in reader.records()] == ["pass", "review", "pass", "fail"]
        assert reader.records(customer="upper mesa")[0].number == 3
        assert reader.records(comeback="moisture blow")[0].comeback_day == "2030-03-17"
        assert len(reader.trace(1)) == 5108 and reader.trace(2).rows() == rows(60)
        (still,) = reader.open_cycles()
        assert reader.rows(still.start.cycle_id).rows() == rows(30)
        assert [event.kind for event in reader.events(still.start.cycle_id)] == ["PhaseChanged"]
        save = reader.latest_save(still.start.cycle_id)
        assert save is not None and (save.seq, save.save) == (29, {"phase": "loaded"})
        assert reader.press_states()["P1"].snapshot == {"phase": "loaded"} and reader.recorder() is not None


def test_a_reader_of_before_says_that_it_cannot_read_a_state(old: Path, key: Path) -> None:
    """A dashboard left open over an upgrade: half a state would look like a press with nothing in it."""
    with closing(sqlite3.connect(old)) as before:
        columns = [row[1] for row in before.execute("PRAGMA table_info(press_state)")]
        asked = f"SELECT {', '.join(columns)} FROM press_state"
        assert before.execute(asked).fetchall()
        with Archive.open(old, key_path=key):
            pass
        if columns != [row[1] for row in before.execute("PRAGMA table_info(press_state)")]:
            with pytest.raises(sqlite3.OperationalError, match="no such column"):
                before.execute(asked)


def test_an_open_cure_goes_on(old: Path, key: Path) -> None:
    with Archive.open(old, key_path=key, clock=lambda: NOON + 100) as archive:
        with ArchiveReader(old) as reader:
            (still,) = reader.open_cycles()
        archive.add_rows(still.start.cycle_id, rows(5, first=30))
        assert archive.seal(still.start.cycle_id, body(still.start)) == 4
    with ArchiveReader(old) as reader:
        assert reader.trace(4).rows() == rows(35)


def test_readers_wait_for_the_recorder_to_do_it(old: Path) -> None:
    before = old.read_bytes()
    for ask in (lambda: ArchiveReader(old), lambda: verify(old)):
        with closing(sqlite3.connect(old)) as db:
            if file_version(db) == VERSION:
                pytest.skip("of the present format")
        with pytest.raises(ArchiveError, match=r"earlier format \(\d+\); start the recorder once"):
            ask()
    assert old.read_bytes() == before


@pytest.mark.parametrize("killed_at", range(1, VERSION + 1))
def test_one_that_was_killed_between_two_steps_goes_on(
    old: Path, key: Path, killed_at: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A step is whole or not there; the derived tables are filled once all steps are."""
    from press_monitor.archive import schema

    def dies(db: sqlite3.Connection) -> None:
        raise KeyboardInterrupt

    step = list(schema._STEPS)
    if killed_at < len(step):
        step[killed_at] = dies  # type: ignore[assignment]
        monkeypatch.setattr(schema, "_STEPS", tuple(step))
    else:
        monkeypatch.setattr(schema, "_rebuild", dies)
    with closing(sqlite3.connect(old)) as db:
        up_to_date = file_version(db) == VERSION
    if not up_to_date:
        with pytest.raises(KeyboardInterrupt):
            Archive.open(old, key_path=key)
    monkeypatch.undo()
    with Archive.open(old, key_path=key):
        pass
    assert verify(old, key).ok
    with ArchiveReader(old) as reader:
        assert len(reader.records()) == 3


def test_an_unreadable_record_keeps_nothing_from_opening(old: Path, key: Path) -> None:
    """What verify must tell is not to stop the recorder from recording the next cure."""
    with closing(sqlite3.connect(old)) as db:
        for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            db.execute(f"DROP TRIGGER {name}")
        db.execute("UPDATE ledger SET body = x'7b' WHERE seq = 2")
        db.execute("UPDATE meta SET value = value WHERE name = 'rebuild'")
        db.execute("INSERT OR REPLACE INTO meta VALUES ('rebuild', '1')")
        db.commit()
    with Archive.open(old, key_path=key) as archive:
        assert archive.rebuild_index() == (2, [2])
    with ArchiveReader(old) as reader:
        assert [row.number for row in reader.records()] == [3, 1]
    report = verify(old)
    assert (report.ok, report.first_bad, report.certificates_bad) == (False, 2, (2,))


def test_the_next_one_can_be_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What must be run before `VERSION` is raised still runs; its replay of a log, which takes seconds, left out."""
    from tests.archive.fixtures import make

    def one_record(*job: Path) -> None:
        with Archive.open(job[-1], key_path=job[-1].parent / "keys" / "ledger.key") as archive:
            seal_one(archive, 5)

    monkeypatch.setattr(make, "replay_log", one_record)
    monkeypatch.setattr(make, "FOLDER", tmp_path)
    make.main()
    report = verify(tmp_path / f"version-{VERSION}.db")
    assert report.ok and report.certificates == 3

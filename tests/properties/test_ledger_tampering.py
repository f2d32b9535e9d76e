"""Whatever is changed in a sealed archive, verify finds it and names the first bad entry.

Triggers are dropped first.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from press_monitor.archive import Archive, ArchiveReader
from press_monitor.archive.backup import backup
from press_monitor.archive.derived import COLUMN_NAMES
from press_monitor.archive.entries import stores_body
from press_monitor.archive.indexing import rebuild
from press_monitor.archive.keys import create_key, fingerprint, load_key, public_file
from press_monitor.archive.ledger import GENESIS_PREV, canonical, chained
from press_monitor.archive.verify import VerifyReport, verify
from tests.archive.helpers import flip, seal_one, tamper

# The archive that is tampered with: entries 0 genesis, 1-3 records, 4 inspection of 2, 5 record, 6 a lot in Stores.
RECORDS = {1: 1, 2: 2, 3: 3, 5: 4}
ENTRIES = 7


@pytest.fixture(scope="module")
def sealed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("sealed") / "archive.sqlite"
    with Archive.open(path, key_path=path.with_name("ledger.key")) as archive:
        for count in (40, 0, 3):
            seal_one(archive, count)
        archive.append("inspection", {"result": "sound"}, 2)
        seal_one(archive, 20, "fail", ticket={"bag": "B3"})
        archive.append("stores", stores_body("lot", "SG-2203", {"expires": "2031-05-04"}))
    return path


def spoilt(sealed: Path, change: Callable[[sqlite3.Connection], object], key: Path | None = None) -> VerifyReport:
    copy = sealed.with_name("spoilt.sqlite")
    copy.write_bytes(sealed.read_bytes())
    tamper(copy, change)
    before = copy.read_bytes()
    report = verify(copy, key)
    assert copy.read_bytes() == before
    return report


def sound(report: VerifyReport) -> bool:
    return report.ok and (report.entries, report.certificates) == (ENTRIES, 4)


def test_untouched_it_holds(sealed: Path) -> None:
    """Without this the tests below could not fail."""
    assert sound(spoilt(sealed, lambda db: None))
    report = spoilt(sealed, lambda db: None, public_file(sealed.with_name("ledger.key")))
    assert sound(report) and report.key_pinned
    assert report.key_fingerprint == fingerprint(load_key(sealed.with_name("ledger.key")).public)
    assert (report.head_entry, report.first_bad, report.problems) == (6, None, ())
    assert sound(verify(sealed, unpack_traces=True))


@settings(max_examples=100, deadline=None)
@given(st.sampled_from(["body", "hash", "signature"]), st.integers(0, ENTRIES - 1), st.integers(0, 1 << 20))
def test_any_flipped_bit_in_the_ledger(sealed: Path, column: str, seq: int, bit: int) -> None:
    report = spoilt(sealed, lambda db: flip(db, "ledger", column, "seq", seq, bit))
    assert not report.ok
    assert report.first_bad == seq
    if seq:
        # Only what was touched is named: everything else still holds.
        assert {problem.entry for problem in report.problems} == {seq}
        named = {RECORDS[seq]} if seq in RECORDS else {2} if seq == 4 else set()
        assert set(report.certificates_bad) == named


@settings(max_examples=50, deadline=None)
@given(st.sampled_from(["data", "sha256"]), st.sampled_from(sorted(RECORDS)), st.integers(0, 1 << 20))
def test_any_flipped_bit_in_a_trace(sealed: Path, column: str, seq: int, bit: int) -> None:
    report = spoilt(sealed, lambda db: flip(db, "trace", column, "entry", seq, bit))
    assert not report.ok
    assert (report.first_bad, report.certificates_bad) == (seq, (RECORDS[seq],))


@pytest.mark.parametrize("seq", range(ENTRIES - 1))
def test_a_deleted_entry(sealed: Path, seq: int) -> None:
    report = spoilt(sealed, lambda db: db.execute("DELETE FROM ledger WHERE seq = ?", (seq,)))
    assert not report.ok and report.first_bad == seq
    assert any(problem.what == "missing" for problem in report.problems)


@pytest.mark.parametrize("left", [6, 5, 3, 1, 0])
def test_entries_cut_off_the_end(sealed: Path, left: int) -> None:
    """A shorter chain holds in itself; what lies beside the ledger tells."""

    def cut(db: sqlite3.Connection) -> None:
        db.execute("DELETE FROM ledger WHERE seq >= ?", (left,))

    report = spoilt(sealed, cut)
    assert not report.ok and report.first_bad == left


def test_a_careful_cut_holds_in_itself_with_another_head(sealed: Path) -> None:
    """What no chain on one computer can prove, stated: only a head handed out before it tells."""

    def cut(db: sqlite3.Connection) -> None:
        db.execute("DELETE FROM ledger WHERE seq = 6")
        db.execute("UPDATE meta SET value = '6' WHERE name = 'ledger_entries'")
        db.execute("DELETE FROM store_item")

    report = spoilt(sealed, cut)
    assert report.ok and report.head_hash != verify(sealed).head_hash


# -- against a certificate that left the shop --


def handed_out_of(sealed: Path, number: int) -> tuple[int, bytes]:
    with ArchiveReader(sealed) as reader:
        return number, reader.record(number).sealed.hash


def compared(path: Path, out: tuple[int, bytes]) -> VerifyReport:
    return verify(path, handed_out=[out])


@pytest.mark.parametrize("number", [1, 2, 3, 4])
def test_a_certificate_handed_out_is_found_again(sealed: Path, number: int) -> None:
    """Without this the tests below could not fail."""
    report = compared(sealed, handed_out_of(sealed, number))
    assert report.ok and report.handed_out == 1


def carefully(db: sqlite3.Connection, keep: int) -> None:
    """Cut the ledger so that what is left holds in itself: everything beside it fits again."""
    db.execute("DELETE FROM trace WHERE entry >= ?", (keep,))
    db.execute("DELETE FROM ledger WHERE seq >= ?", (keep,))
    db.execute("UPDATE meta SET value = ? WHERE name = 'ledger_entries'", (str(keep),))
    db.execute("DELETE FROM live_row")
    db.execute("DELETE FROM channel WHERE cycle IN (SELECT number FROM cycle WHERE certificate >= 4)")
    db.execute("DELETE FROM cycle WHERE certificate >= 4")
    rebuild(db)


def test_a_careful_cut_is_found_by_a_certificate_handed_out(sealed: Path) -> None:
    copy = sealed.with_name("cut.sqlite")
    copy.write_bytes(sealed.read_bytes())
    tamper(copy, lambda db: carefully(db, 5))
    assert verify(copy).ok  # in itself it holds: that is what a chain on one computer cannot prove
    assert compared(copy, handed_out_of(sealed, 3)).ok
    report = compared(copy, handed_out_of(sealed, 4))
    assert (report.ok, report.first_bad, report.problems[-1].what) == (False, 5, "handed-out")
    assert "certificate 4 was handed out and is not here" in report.problems[-1].message


def test_an_old_file_put_back_is_found_by_a_certificate_handed_out_since(tmp_path: Path) -> None:
    path, old = tmp_path / "archive.sqlite", tmp_path / "old.sqlite"
    with Archive.open(path, key_path=tmp_path / "ledger.key") as archive:
        seal_one(archive, 20)
        backup(path, old)
        seal_one(archive, 20)
    out = handed_out_of(path, 2)
    with Archive.open(old, key_path=tmp_path / "ledger.key") as archive:
        assert verify(old).ok and not compared(old, out).ok
        # Sealing on in the old file gives the number again, to another cure.
        seal_one(archive, 30)
    report = compared(old, out)
    assert not report.ok and "handed out with hash" in report.problems[-1].message


def test_an_entry_taken_out_and_the_chain_made_anew_by_the_owner(sealed: Path) -> None:
    """Whoever has the key can do this, and the archive then holds in itself: paper handed out before tells."""
    copy = sealed.with_name("owner.sqlite")
    copy.write_bytes(sealed.read_bytes())
    key = sealed.with_name("ledger.key")

    def without_the_second(db: sqlite3.Connection) -> None:
        db.execute("DELETE FROM trace WHERE entry = 2")
        db.execute("DELETE FROM ledger WHERE seq IN (2, 4)")
        for old, new in ((3, 2), (5, 3), (6, 4)):
            db.execute("UPDATE ledger SET seq = ? WHERE seq = ?", (new, old))
            db.execute("UPDATE trace SET entry = ? WHERE entry = ?", (new, old))
        db.execute("UPDATE ledger SET certificate = certificate - 1 WHERE certificate > 2")
        db.execute("UPDATE meta SET value = '5' WHERE name = 'ledger_entries'")
        db.execute("DELETE FROM live_row")
        db.execute("DELETE FROM channel WHERE cycle IN (SELECT number FROM cycle WHERE certificate = 2)")
        db.execute("DELETE FROM cycle WHERE certificate = 2")
        db.execute("UPDATE cycle SET certificate = certificate - 1 WHERE certificate > 2")

        def renumber(seq: int, content: dict[str, object]) -> None:
            (certificate,) = db.execute("SELECT certificate FROM ledger WHERE seq = ?", (seq,)).fetchone()
            content["entry"], content["certificate"] = seq, certificate

        rechained(db, renumber, key)
        rebuild(db)

    tamper(copy, without_the_second)
    assert verify(copy, key).ok
    for number in (2, 3, 4):
        assert not compared(copy, handed_out_of(sealed, number)).ok
    assert compared(copy, handed_out_of(sealed, 1)).ok


@settings(max_examples=20, deadline=None)
@given(st.lists(st.integers(0, ENTRIES - 1), min_size=2, max_size=2, unique=True))
def test_two_entries_in_each_others_place(sealed: Path, pair: list[int]) -> None:
    def swap(db: sqlite3.Connection) -> None:
        one, two = pair
        for old, new in ((one, -1), (two, one), (-1, two)):
            db.execute("UPDATE ledger SET seq = ? WHERE seq = ?", (new, old))

    report = spoilt(sealed, swap)
    assert not report.ok and report.first_bad == min(pair)


def rechained(db: sqlite3.Connection, change: Callable[[int, dict[str, object]], None], key: Path | None) -> None:
    """Change bodies and make the whole chain fit again, signed by `key` or with the old signatures."""
    signer = None if key is None else load_key(key)
    prev = GENESIS_PREV
    for seq, body in db.execute("SELECT seq, body FROM ledger ORDER BY seq").fetchall():
        content = json.loads(body)
        change(seq, content)
        stored = canonical(content)
        prev = chained(prev, stored)
        db.execute("UPDATE ledger SET body = ?, hash = ? WHERE seq = ?", (stored, prev, seq))
        if signer is not None:
            db.execute("UPDATE ledger SET signature = ? WHERE seq = ?", (signer.sign(prev), seq))


def test_a_verdict_changed_and_the_chain_made_to_fit(sealed: Path) -> None:
    def better(seq: int, content: dict[str, object]) -> None:
        if seq == 5:
            content["result"]["verdict"] = "pass"  # type: ignore[index]

    report = spoilt(sealed, lambda db: rechained(db, better, None))
    assert not report.ok and report.first_bad == 5
    assert {problem.entry for problem in report.problems if problem.what == "signature"} == {5, 6}


def test_the_whole_chain_written_anew_with_another_key(sealed: Path, tmp_path: Path) -> None:
    other = create_key(tmp_path / "other.key")

    def own(seq: int, content: dict[str, object]) -> None:
        if seq == 0:
            content["public_key"] = other.public.hex()

    def forge(db: sqlite3.Connection) -> None:
        rechained(db, own, tmp_path / "other.key")

    # Alone the chain proves nothing against its owner: that is what pinning is for.
    assert sound(spoilt(sealed, forge))
    report = spoilt(sealed, forge, public_file(sealed.with_name("ledger.key")))
    assert not report.ok and report.first_bad == 0
    assert report.problems[0].what == "key"
    assert fingerprint(other.public)[:16] in report.problems[0].message


def test_a_pinned_key_reads_on_where_the_archives_own_is_spoilt(sealed: Path) -> None:
    def spoil(db: sqlite3.Connection) -> None:
        body = bytearray(db.execute("SELECT body FROM ledger WHERE seq = 0").fetchone()[0])
        at = body.index(b'"public_key":"') + 14
        body[at] = ord("0") if body[at] != ord("0") else ord("1")
        db.execute("UPDATE ledger SET body = ? WHERE seq = 0", (bytes(body),))

    report = spoilt(sealed, spoil, sealed.with_name("ledger.key"))
    assert not report.ok and {problem.entry for problem in report.problems} == {0}


REST = ", ".join(COLUMN_NAMES[3:])
CHANGES = {
    "number": ("UPDATE ledger SET certificate = 9 WHERE seq = 5", 5),
    "kind": ("UPDATE ledger SET kind = 'correction' WHERE seq = 6", 6),
    "whose inspection": ("UPDATE ledger SET certificate = 3 WHERE seq = 4", 4),
    "trace gone": ("DELETE FROM trace WHERE entry = 3", 3),
    "trace of no record": ("INSERT INTO trace VALUES (4, 'x', x'00', x'00')", 4),
    "traces swapped": ("UPDATE trace SET entry = CASE entry WHEN 1 THEN -3 WHEN 3 THEN -1 ELSE entry END", None),
    "another cycle's trace": ("UPDATE trace SET cycle_id = 'x' WHERE entry = 2", 2),
    "index verdict": ("UPDATE certificate SET verdict = 'pass' WHERE number = 4", None),
    "index inspection": ("UPDATE certificate SET inspection = NULL WHERE number = 2", None),
    "index row gone": ("DELETE FROM certificate WHERE number = 1", None),
    "index row added": (f"INSERT INTO certificate SELECT 5, 6, 'x', {REST} FROM certificate WHERE number = 1", None),
    "a lot never used": ("INSERT INTO used VALUES ('lot', 'X-1', 1, '')", None),
    "a bag's use hidden": ("DELETE FROM used WHERE kind = 'bag'", None),
    "an alarm hidden": ("DELETE FROM alarm_raised WHERE certificate = 4", None),
    "words to be found by": ("UPDATE certificate_text SET words = 'nothing' WHERE rowid = 1", None),
    "letters to be found by": ("UPDATE certificate_part SET customer = 'nobody' WHERE rowid = 1", None),
    "an expiry put off": ("UPDATE store_item SET expires = '2099-01-01'", None),
    "a store item gone": ("DELETE FROM store_item", None),
    "ledger emptied": ("DELETE FROM ledger", 0),
    "count gone": ("DELETE FROM meta", 7),
}


@pytest.mark.parametrize("name", CHANGES)
def test_other_changes(sealed: Path, name: str) -> None:
    statement, entry = CHANGES[name]

    def change(db: sqlite3.Connection) -> None:
        db.execute(statement)
        if name == "traces swapped":
            db.execute("UPDATE trace SET entry = -entry WHERE entry < 0")

    report = spoilt(sealed, change)
    assert not report.ok
    assert report.first_bad == entry or name == "traces swapped"


@pytest.mark.parametrize("column", ["body", "hash", "signature"])
@pytest.mark.parametrize("value", ["'words'", "7", "NULL", "1.5"])
def test_values_of_another_type(sealed: Path, column: str, value: str) -> None:
    """A table made anew without its types takes anything; verify says so and goes on."""

    def change(db: sqlite3.Connection) -> None:
        db.execute("CREATE TABLE other AS SELECT * FROM ledger")
        db.execute("DROP TABLE ledger")
        db.execute("ALTER TABLE other RENAME TO ledger")
        db.execute(f"UPDATE ledger SET {column} = {value} WHERE seq = 3")

    report = spoilt(sealed, change)
    assert (report.ok, report.first_bad) == (False, 3)
    assert 3 in report.certificates_bad and 1 not in report.certificates_bad


def test_the_triggers_refuse_it_all_to_begin_with(sealed: Path) -> None:
    copy = sealed.with_name("guarded.sqlite")
    copy.write_bytes(sealed.read_bytes())
    db = sqlite3.connect(copy, isolation_level=None)
    for statement in (
        "UPDATE ledger SET body = x'00' WHERE seq = 1",
        "UPDATE ledger SET seq = 99 WHERE seq = 6",
        "DELETE FROM ledger WHERE seq = 6",
        "DELETE FROM ledger",
        "INSERT OR REPLACE INTO ledger SELECT seq, kind, certificate, x'00', hash, signature FROM ledger WHERE seq = 6",
        "INSERT INTO ledger VALUES (9, 'correction', NULL, x'00', x'00', x'00')",
        "INSERT INTO ledger VALUES (-1, 'correction', NULL, x'00', x'00', x'00')",
        "UPDATE trace SET data = x'00'",
        "DELETE FROM trace WHERE entry = 1",
        "INSERT OR REPLACE INTO trace VALUES (1, 'x', x'00', x'00')",
        "INSERT OR REPLACE INTO trace SELECT 6, cycle_id, sha256, x'00' FROM trace WHERE entry = 1",
    ):
        with pytest.raises(sqlite3.IntegrityError):
            db.execute(statement)
    db.close()
    assert copy.read_bytes() == sealed.read_bytes()


def test_damaged_pages_are_a_finding_not_a_crash(sealed: Path) -> None:
    copy = sealed.with_name("torn.sqlite")
    whole = bytearray(sealed.read_bytes())
    with sqlite3.connect(copy.with_name("archive.sqlite")) as db:
        (root,) = db.execute("SELECT rootpage FROM sqlite_master WHERE name = 'ledger'").fetchone()
    db.close()
    whole[(root - 1) * 4096 : root * 4096] = bytes(4096)
    copy.write_bytes(whole)
    report = verify(copy)
    assert not report.ok
    assert any(problem.what in ("file", "missing") for problem in report.problems)


def test_the_report_says_it_all(sealed: Path) -> None:
    def change(db: sqlite3.Connection) -> None:
        flip(db, "ledger", "body", "seq", 3, 77)

    report = spoilt(sealed, change)
    said = report.to_json()
    assert json.loads(json.dumps(said, allow_nan=False)) == said
    assert set(said) == {
        *("ok", "archive", "entries", "certificates", "first_bad", "certificates_bad", "problems"),
        *("head_entry", "head_hash", "key_fingerprint", "key_pinned", "traces_unpacked", "handed_out"),
    }
    assert said["problems"] == [
        {
            "entry": 3,
            "certificate": 3,
            "what": "chain",
            "message": "entry 3: was changed; its hash does not follow from its body",
        }
    ]
    words = list(report.lines())
    assert "first bad entry: 3; entries 0 to 2 hold" in words
    assert "3 of 4 certificates hold; not: 3" in words
    assert set(verify(sealed).to_json()) == set(said)

"""What can be wrong with an installation, each said in one line with what to do."""

from __future__ import annotations

import os
import sqlite3
from datetime import date
from types import SimpleNamespace

import pytest

from drivers.ports import FoundPort, PortIdentity
from press_monitor.archive import Archive
from press_monitor.archive.keys import create_key
from press_monitor.archive.types import RecorderRow
from press_monitor.callout import Horn, Phone
from press_monitor.setup import checks
from press_monitor.setup.findings import State
from press_monitor.setup.port_use import port_rows
from tests.shopfiles import SHOP

NOW = 1_800_000_000.0
USB = FoundPort("/dev/ttyUSB0", PortIdentity(0x0403, 0x6001, "A10K", "1-2"), "Adapter")
TWIN = FoundPort("/dev/ttyUSB1", PortIdentity(0x0403, 0x6001, "A10K", "1-3"))


def told(findings):
    return [(f.state.value, f.words) for f in findings]


def shop(tmp_path, more=""):
    path = tmp_path / "shop.toml"
    path.write_text(SHOP + more, "utf-8")
    return path


LINE = (
    '\n[presses.{n}]\ndriver = "text-line"\nrecipe = "section-300"\nport = {p}\noptions = {{ fields = ["bag[psi]"] }}\n'
)


def line(name, port):
    return LINE.format(n=name, p=port)


def test_a_shop_file_that_is_well_and_one_that_is_missing(tmp_path):
    found = checks.check_shop(shop(tmp_path))
    assert [f.state for f in found.findings] == [State.FINE] and "1 presses" in found.findings[0].words
    (missing,) = checks.check_shop(tmp_path / "none.toml").findings
    assert missing.state is State.PROBLEM and missing.do == "press-monitor setup makes one"


def test_every_press_that_cannot_be_used_is_said_by_itself(tmp_path):
    bad = line("P2", '"/dev/null"').replace("bag[psi]", "bag") + line("P3", '"/dev/null"') + line("P4", '"/dev/null"')
    found = checks.check_shop(shop(tmp_path, bad))
    assert [(f.press, f.state) for f in found.findings] == [("P2", State.PROBLEM), (None, State.PROBLEM)]
    assert "presses.P2.options.fields[0]" in found.findings[0].words
    assert "presses.P4.port: /dev/null is taken by press P3" in found.findings[1].words
    (empty,) = checks.check_shop(shop(tmp_path, "").rename(tmp_path / "x.toml")).findings
    assert empty.state is State.FINE


def test_ports_that_are_there_missing_refused_and_ambiguous(tmp_path):
    adapter = '{ serial_number = "A10K" }'
    more = line("P2", adapter) + line("P3", '"/dev/no-such-port"') + line("P4", '"socket://10.0.0.7:1"')
    read = checks.check_shop(shop(tmp_path, more + '[horn]\nport = "/dev/null"\n')).shop
    found = told(checks.check_ports(read, (USB,), {"/dev/null": "/dev/null: no permission. Add this user"}))
    assert ("fine", "P2: /dev/ttyUSB0") in found
    assert ("problem", "P3: /dev/no-such-port is not there") in found
    assert ("fine", "P4: socket://10.0.0.7:1") in found
    assert ("problem", "the horn: /dev/null: no permission") in found
    found = told(checks.check_ports(read, (USB, TWIN), {}))
    assert any(state == "problem" and "/dev/ttyUSB0 and /dev/ttyUSB1 both could be" in words for state, words in found)
    found = checks.check_ports(read, "the ports cannot be listed: OSError: x", {})
    assert told(found) == [("problem", "the ports cannot be listed: OSError: x")]


def test_a_port_is_listed_once_with_all_who_use_it():
    wanted = {"P1": PortIdentity(serial_number="A10K"), "P2": "/dev/ttyUSB0", "P3": "COM99", "P4": "COM99"}
    rows = port_rows((USB, FoundPort("/dev/ttyS0", PortIdentity())), wanted)
    assert [(row.device, row.used_by, row.there) for row in rows] == [
        ("/dev/ttyUSB0", ("P1", "P2"), True),
        ("/dev/ttyS0", (), True),
        (None, ("P3", "P4"), False),
    ]


@pytest.mark.parametrize(
    ("now", "newest", "state"),
    [
        (NOW, None, State.FINE),
        (NOW, NOW + 30.0, State.FINE),
        (NOW, NOW + 7200.0, State.PROBLEM),
        (86_400.0 * 365 * 30, None, State.PROBLEM),
    ],
)
def test_clocks(now, newest, state):
    assert checks.check_clock(now, newest).state is state


@pytest.mark.parametrize(("free", "state"), [(5e9, State.FINE), (1e9, State.NOTE), (1e8, State.PROBLEM)])
def test_disks(tmp_path, free, state):
    assert checks.check_disk(tmp_path, int(free)).state is state


@pytest.fixture
def archive(tmp_path):
    at, key = tmp_path / "archive.sqlite", tmp_path / "keys" / "ledger.key"
    Archive.open(at, key_path=key).close()
    return at, key


def test_a_key_that_is_there_missing_another_or_none(tmp_path, archive):
    at, key = archive
    assert checks.check_key(key, at).state is State.FINE
    assert checks.check_key(tmp_path / "no.key", tmp_path / "no.sqlite").state is State.NOTE
    missing = checks.check_key(tmp_path / "no.key", at)
    assert missing.state is State.PROBLEM and "is missing" in missing.words
    create_key(tmp_path / "other.key")
    other = checks.check_key(tmp_path / "other.key", at)
    assert other.state is State.PROBLEM and "another key" in other.words
    (tmp_path / "broken.key").write_text("x")
    assert "is not an Ed25519 private key" in checks.check_key(tmp_path / "broken.key", at).words


def test_an_archive_whose_newest_entry_was_touched_is_told(tmp_path, archive):
    at, _ = archive
    assert checks.check_archive(at).state is State.FINE
    assert checks.check_archive(tmp_path / "no.sqlite").state is State.NOTE
    db = sqlite3.connect(at)
    db.execute("DROP TRIGGER ledger_never_changes")
    db.execute("UPDATE ledger SET signature = zeroblob(64)")
    db.commit()
    db.close()
    broken = checks.check_archive(at)
    assert broken.state is State.PROBLEM and "not what was signed" in broken.words
    (tmp_path / "text.sqlite").write_text("nothing of the kind")
    assert checks.check_archive(tmp_path / "text.sqlite").state is State.PROBLEM


def row(age=1.0, stopped=None):
    return RecorderRow("recorder", "host", 77, "0.1.0", NOW - 100.0, NOW - age, 5, stopped)


PORT = {"state": "open", "talk": "readings", "why": "", "word": "readings", "trouble": False, "notes": []}
GARBLED = {**PORT, "word": "garbled", "trouble": True, "why": "right baud?"}
GONE = {**PORT, "state": "lost", "word": "unplugged", "trouble": True, "device": "COM4"}
ALARM = {"kind": "clock-step", "message": "The clock was set", "advice": "By the network.", "acknowledged_s": None}
RUNS = ("fine", "process 77 records, version 0.1.0")
DUMB = {"horn": "none", "horn_words": "gone", "phone": "unusable", "phone_words": "gone"}


@pytest.mark.parametrize(
    ("recorder", "held", "presses", "expected"),
    [
        (None, False, {}, [("note", "none has run yet")]),
        (row(7200.0), False, {}, [("note", "none is running; the last one ended without saying so 2 h ago")]),
        (row(300.0, NOW), False, {}, [("note", "none is running; the last one was stopped 5 min ago")]),
        (row(60.0), True, {}, [("problem", "process 77 holds the archive and has not been heard of for 60 s")]),
        (
            row(),
            True,
            {"P1": {"port": PORT}},
            [("fine", "process 77 records, version 0.1.0"), ("fine", "P1: open, readings")],
        ),
        (
            row(),
            True,
            {
                "P1": {
                    "port": GARBLED,
                    "archive_why": "full",
                    "awake": "no bus",
                    "alarms": [ALARM, {**ALARM, "acknowledged_s": 7.0}, {**ALARM, "kind": "archive-failing"}],
                },
                "P2": {"port": GONE},
                "P3": {"port": {**PORT, "notes": ["unit 3 does not answer"]}},
            },
            [
                RUNS,
                ("problem", "P1: port garbled: right baud?"),
                ("problem", "P2: port unplugged: COM4"),
                ("note", "P3: unit 3 does not answer"),
                ("fine", "P3: open, readings"),
                ("problem", "what is read cannot be kept: full"),
                ("note", "no bus"),
                ("note", "The clock was set"),
            ],
        ),
    ],
)
def test_recorders(recorder, held, presses, expected):
    assert told(checks.check_recorder(recorder, held, NOW, presses)) == expected


def test_a_running_port_in_trouble_says_what_to_see_to():
    (_, garbled, gone) = checks.check_recorder(row(), True, NOW, {"P1": {"port": GARBLED}, "P2": {"port": GONE}})
    assert "baud, parity" in garbled.do and "Plug its cable in again" in gone.do


def test_what_a_recorder_says_beside_an_archive_that_takes_nothing_is_told():
    assert checks.check_distress(None) == []
    (found,) = checks.check_distress({"why": "database or disk is full", "advice": "Make room on the disk."})
    assert found.state is State.PROBLEM and found.do == "Make room on the disk."
    assert found.words == "the recorder cannot keep what is read: database or disk is full"


HORN, PHONE = Horn("COM5", "dtr"), Phone(("a://b",))


@pytest.mark.parametrize(
    ("about", "tested", "state", "words"),
    [
        (None, None, State.NOTE, "never tested"),
        (None, NOW - 3600.0 * 3, State.FINE, "tested 3 h ago"),
        (None, NOW - 8 * 86_400.0, State.NOTE, "tested 8 days ago; unattended cures want seven days"),
        (
            {"horn": "none", "horn_words": "gone", "phone": "unusable", "phone_words": "gone"},
            NOW,
            State.PROBLEM,
            "gone",
        ),
    ],
)
def test_horns_and_phones(about, tested, state, words):
    with_both = SimpleNamespace(horn=HORN, phone=PHONE)
    for check in (checks.check_horn, checks.check_phone):
        found = check(with_both, about, tested, NOW)
        assert found.state is state and words in found.words
        assert check(SimpleNamespace(horn=None, phone=None), None, None, NOW).state is State.NOTE


def test_calibrations_overdue_soon_and_not_stated(tmp_path):
    def found(day):
        calibration = f"\n[presses.P1.channels.bag]\ncalibration = {{ due = {day} }}\n"
        return told(checks.check_calibration(checks.check_shop(shop(tmp_path, calibration)).presses, date(2031, 5, 4)))

    assert found("2031-05-03") == [("problem", "P1 bag: calibration was due on 2031-05-03")]
    assert found("2031-05-10") == [("note", "P1 bag: due on 2031-05-10")]
    assert found("2032-01-01") == [("fine", "none of 1 is overdue")]
    fitted = checks.check_shop(shop(tmp_path)).presses
    assert told(checks.check_calibration(fitted, date(2031, 5, 4)))[0][0] == "note"


@pytest.mark.skipif(os.name != "posix", reason="groups are POSIX's")
def test_a_missing_permission_names_the_group(tmp_path):
    from drivers.serial_port import words_of_trouble

    assert "sudo usermod -a -G" in words_of_trouble("/dev/null", PermissionError(13, "Permission denied"))

"""An archive that takes nothing: the words go beside it, and whoever looks there finds them."""

from __future__ import annotations

import json
import os
import sqlite3
import threading

import pytest

from press_monitor.archive import Archive
from press_monitor.archive.distress import FRESH_S, Distress
from press_monitor.recorder.clock import ShopClock
from press_monitor.recorder.recorder import Recorder
from tests.crash.processes import until
from tests.recorder.shops import demo_shop_file

NOW = 1_700_000_000.0


def test_what_is_said_is_heard_while_it_is_fresh_and_by_those_of_the_same_archive(tmp_path):
    here = Distress(tmp_path / "archive.sqlite", (tmp_path / "run",))
    assert here.heard(NOW) is None
    assert here.say({"why": "database or disk is full"}, NOW)
    other_name = tmp_path / "folder" / ".." / "archive.sqlite"
    assert Distress(other_name, (tmp_path / "run",)).heard(NOW + 2.0) == {"why": "database or disk is full", "utc": NOW}
    assert Distress(tmp_path / "another.sqlite", (tmp_path / "run",)).heard(NOW) is None
    assert here.heard(NOW + FRESH_S + 1.0) is None
    here.over()
    assert here.heard(NOW) is None and os.listdir(tmp_path / "run") == []


def test_the_first_place_that_takes_it_is_used_and_none_is_no_end(tmp_path):
    (tmp_path / "file").write_text("")
    here = Distress(tmp_path / "a", (tmp_path / "file" / "x", tmp_path / "run"))
    assert here.say({}, NOW) and here.heard(NOW) == {"utc": NOW}
    nowhere = Distress(tmp_path / "a", (tmp_path / "file" / "x",))
    assert not nowhere.say({}, NOW) and nowhere.heard(NOW) is None
    nowhere.over()


@pytest.mark.parametrize("data", [b"", b"[]", b"{}", b'{"utc": "x"}', b"\xff\xfe", b'{"utc": 1.7e9, '])
def test_what_cannot_be_read_says_nothing(tmp_path, data):
    here = Distress(tmp_path / "a", (tmp_path,))
    here.say({}, NOW)
    (file,) = tmp_path.glob("*.json")
    file.write_bytes(data)
    assert here.heard(NOW) is None


def test_what_another_user_says_is_not_heard(tmp_path, monkeypatch):
    if not hasattr(os, "getuid"):
        pytest.skip("this system has no user numbers")
    here = Distress(tmp_path / "a", (tmp_path,))
    here.say({}, NOW)
    monkeypatch.setattr(os, "getuid", lambda: 12345)
    assert here.heard(NOW) is None


def test_a_recorder_whose_disk_refuses_says_so_beside_the_archive_until_it_takes_again(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "run"))
    archive = tmp_path / "archive.sqlite"
    failing, transaction = threading.Event(), Archive.transaction

    def refuse(self):
        if failing.is_set() and threading.current_thread().name == "writer":
            raise sqlite3.OperationalError("database or disk is full")
        return transaction(self)

    monkeypatch.setattr(Archive, "transaction", refuse)
    recorder = Recorder(demo_shop_file(tmp_path), archive, tmp_path / "ledger.key", clock=ShopClock(8.0))
    recorder.start()
    running = threading.Thread(target=recorder.run)
    running.start()
    wall = recorder.clock.wall
    try:
        failing.set()
        told = until(lambda: Distress(archive).heard(wall()), "words beside the archive")
        assert told["why"] == "database or disk is full" and "Make room on the disk" in told["advice"]
        (alarm,) = (a for a in told["alarms"] if a["kind"] == "archive-failing")
        assert alarm["priority"] == "high" and alarm["cleared_s"] is None
        failing.clear()
        until(lambda: Distress(archive).heard(wall()) is None, "silence again")

        def kept():
            recorder_says = recorder.stations["P1"].about["alarms"]
            return json.dumps([a["kind"] for a in recorder_says if a["cleared_s"] is not None])

        until(lambda: "archive-failing" in kept(), "the alarm to be over on the screens")
    finally:
        recorder.stop()
        running.join(10.0)
        assert recorder.close()
    assert list((tmp_path / "run").rglob("*.json")) == []

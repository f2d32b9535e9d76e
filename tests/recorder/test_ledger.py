"""What the recorder does for the ledger: Stores at the start, others' entries, the shop file, copies, a full disk."""

from __future__ import annotations

import contextlib
import json
import sqlite3
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from press_monitor.archive import ArchiveReader
from press_monitor.archive.entries import inspection_body, stores_body
from press_monitor.archive.requests import Asked, append_entry
from press_monitor.archive.stores import NO_STORES, StoreItem, Stores
from press_monitor.archive.verify import verify
from press_monitor.readings.calibration import Calibration
from press_monitor.readings.setup import ChannelSetup
from press_monitor.recorder.backups import Backups, backup_command
from press_monitor.recorder.station import Refused
from press_monitor.recorder.watches import ShopWatches
from press_monitor.recorder.writer import Writer
from press_monitor.upkeep import Upkeep
from tests.crash.processes import until
from tests.recorder.shops import THIN, demo_shop_file
from tests.recorder.test_recorder import Running
from tests.recorder.test_writer import note

TODAY = datetime.now().astimezone().date()
YESTERDAY = (TODAY - timedelta(days=1)).isoformat()


@pytest.fixture
def running(tmp_path):
    made = Running(tmp_path)
    until(lambda: made.state("P1") and made.state("P1")["inner"]["value_degC"], "the first readings")
    yield made
    if made.thread.is_alive():
        made.stop()


def asked(running):
    return Asked(running.archive, running.key, "stores")


def started(running, **more):
    args = {**THIN, **more, "ticket": {**THIN["ticket"], **more.get("ticket", {})}}
    return running.tell("start", press="P1", args=args)


def test_what_has_expired_is_refused_until_somebody_takes_it_upon_himself(running):
    append_entry(asked(running), "stores", stores_body("lot", "SG-2203", {"expires": YESTERDAY}))
    ticket = {"materials": [{"use": "filler rubber", "lot": "sg-2203"}]}
    answer = until(
        lambda: (a := started(running, ticket=ticket)).answer == "refused" and a, "the refusal, once Stores is read"
    )
    assert answer.text == f"lot SG-2203 expired on {YESTERDAY}: give a name and a reason to use it all the same"
    assert started(running, ticket=ticket, override={"by": "Ines"}).answer == "refused"
    done = started(running, ticket=ticket, override={"by": "Ines", "reason": "a sample cured well"})
    assert done.answer == "done"
    cycle = until(lambda: running.reader.open_cycles(), "the cycle")[0]
    assert cycle.start.ticket["overrides"] == [
        {"what": f"lot SG-2203 expired on {YESTERDAY}", "by": "Ines", "reason": "a sample cured well"}
    ]
    assert running.stop()
    assert verify(running.archive).ok


@pytest.mark.parametrize(
    ("ticket", "says"),
    [
        ({"custmer": "x"}, "ticket: custmer: is not a known key; did you mean customer?"),
        ({"tin": "GGG"}, "G is never used in one"),
        ({"injury": {"length": "12 psi"}}, "injury.length"),
        ({"materials": [{"use": "gum", "expires": YESTERDAY}]}, f"gum expired on {YESTERDAY}, as the ticket says"),
    ],
)
def test_a_ticket_with_a_mistake_starts_nothing(tmp_path, ticket, says):
    shop = demo_shop_file(tmp_path)
    watches = ShopWatches(shop.presses["P1"], shop, [ChannelSetup("inner_mat", "degF", 1)])
    with pytest.raises(Refused, match=says.replace("?", r"\?")):
        watches.fit({**THIN, "ticket": ticket})


def test_a_calibration_that_is_overdue_is_refused_even_without_a_ticket(tmp_path):
    shop = demo_shop_file(tmp_path)
    due = Calibration(0.4, 1.0, None, "", TODAY - timedelta(days=3))
    channels = [ChannelSetup("inner_mat", "degF", 1, calibration=due, sensor="K-17"), ChannelSetup("bag", "psi", 2)]
    stores = Stores({("probe", "k-17"): StoreItem("probe", "K-17", calibration_due=TODAY)})
    watches = ShopWatches(shop.presses["P1"], shop, channels, stores=lambda: stores)
    with pytest.raises(Refused, match="inner_mat: its calibration was due on"):
        watches.fit(THIN)
    taken = watches.fit({**THIN, "override": {"by": "Tom", "reason": "checked against a second probe"}})
    assert [each["by"] for each in taken.ticket["overrides"]] == ["Tom"]
    # Heat that is simply there starts a record all the same: what is missing is said, not held back.
    assert watches.fit(None).ticket is None


def test_others_entries_and_the_shop_file_enter_the_ledger(running):
    assert append_entry(asked(running), "stores", stores_body("bag", "B3", {"life_cures": 9})) == 2
    with ArchiveReader(running.archive) as reader:
        shop_file = reader.entry(1)
        assert (shop_file.kind, shop_file.content["file"]) == ("shop-file", "shop.toml")
        assert "phone" not in shop_file.content["content"]
    with pytest.raises(Exception, match="the recorder refused: there is no certificate 7"):
        append_entry(asked(running), "inspection", inspection_body("sound", by="I", day=TODAY), 7)
    assert running.stop()
    again = Running(running.archive.parent)
    try:
        until(lambda: again.state("P1"), "the recorder again")
        with ArchiveReader(again.archive) as reader:
            assert reader.head().seq == 2  # the shop file says what it said
    finally:
        again.stop()
    assert verify(running.archive).ok


# -- a full disk --


class Ledger:
    """A store with a ledger, and a disk that has been full."""

    def __init__(self):
        self.short, self.written = None, []

    @contextlib.contextmanager
    def transaction(self):
        yield

    def write(self, what):
        self.written.append(what)

    def waiting_commands(self):
        return []

    def head(self):
        return 0

    def trouble(self):
        return self.short

    def stores(self):
        return NO_STORES

    def fold_beside(self):
        pass

    def close(self):
        return


def test_a_disk_that_was_full_goes_on_failing_until_there_is_room_again():
    store = Ledger()
    writer = Writer(lambda: store, linger=0.0, poll=0.01)
    writer.start()
    store.short = (77.0, "the disk is full; the 32 MB kept back for the cures in progress are being used up")
    writer.put(note("row"))
    until(lambda: writer.status().failing_since == 77.0, "the trouble to be told though everything is written")
    assert writer.status().why.startswith("the disk is full") and store.written == ["row"]
    store.short = None
    until(lambda: writer.status().failing_since is None, "the all-clear")
    assert writer.stop(5.0)


# -- copies --


class FakeChild:
    def __init__(self, out=b"", err=b""):
        self.code, self.out, self.err = None, out, err

    def poll(self):
        return self.code

    def communicate(self):
        return self.out, self.err


class Copies:
    """A schedule of copies on a clock of its own."""

    def __init__(self, folder: Path, **upkeep):
        self.folder, self.spawned, self.events, self.said, self.real = folder, [], [], [], 1000.0
        self.child = FakeChild()
        self.backups = Backups(
            folder / "archive.sqlite",
            folder / "b",
            Upkeep(**upkeep),
            lambda kind, told: self.events.append((kind, told)),
            self.said.append,
            self.spawn,
        )

    def spawn(self, command):
        if isinstance(self.child, OSError):
            raise self.child
        self.spawned.append(command)
        return self.child

    def pass_(self, seconds):
        self.real += seconds
        self.backups.look(self.real, 1_900_000_000.0 + self.real)


def test_a_copy_is_made_when_one_is_due_and_not_before(tmp_path):
    copies = Copies(tmp_path)
    copies.pass_(0)
    copies.pass_(599)
    assert copies.spawned == []  # a recorder that has just begun has other things to do
    copies.pass_(2)
    assert copies.spawned == [backup_command(tmp_path / "archive.sqlite", tmp_path / "b", 14)]
    copies.pass_(3600)
    assert len(copies.spawned) == 1  # one at a time
    copies.child.code = 0
    copies.child.out = json.dumps({"ok": True, "backup": "b/x.sqlite", "problems": []}).encode()
    made = datetime.fromtimestamp(1_900_000_000.0 + copies.real, UTC).strftime("%Y%m%dT%H%M%SZ")
    (tmp_path / "b").mkdir()
    (tmp_path / "b" / f"archive-{made}.sqlite").write_bytes(b"x")
    copies.pass_(60)
    assert copies.events == [("backup", {"ok": True, "backup": "b/x.sqlite", "words": ""})]
    copies.pass_(12 * 3600)
    assert len(copies.spawned) == 1 and copies.backups.why == ""
    copies.pass_(12 * 3600)
    assert len(copies.spawned) == 2


@pytest.mark.parametrize(
    ("out", "err", "says"),
    [
        (json.dumps({"ok": False, "backup": "x", "problems": ["entry 3: was changed"]}).encode(), b"", "entry 3"),
        (b"", b"press-monitor: E:/b: cannot be made", "cannot be made"),
        (b"", b"", "it said nothing"),
        (b"[]", b"", "it said nothing"),
    ],
)
def test_a_copy_that_failed_is_told_and_tried_again_after_an_hour(tmp_path, out, err, says):
    copies = Copies(tmp_path)
    copies.child = FakeChild(out, err)
    for seconds in (0, 601):
        copies.pass_(seconds)
    copies.child.code = 1
    copies.pass_(60)
    assert says in copies.backups.why and copies.events[0][1]["ok"] is False and says in copies.said[0]
    copies.child = OSError("no such program")
    copies.pass_(3500)
    assert len(copies.spawned) == 1
    copies.pass_(101)
    assert copies.backups.why == "no copy of the archive can be made: no such program"


def test_a_shop_that_wants_no_copies_gets_none(tmp_path):
    copies = Copies(tmp_path, backup_every=None)
    for _ in range(5):
        copies.pass_(86_400)
    assert copies.spawned == []


def test_the_shop_file_says_where_and_how_often(tmp_path):
    copies = Copies(tmp_path, backup_folder=tmp_path / "usb", backup_every=3600.0, backup_keep=3)
    for seconds in (0, 601):
        copies.pass_(seconds)
    assert copies.spawned == [backup_command(tmp_path / "archive.sqlite", tmp_path / "usb", 3)]


def test_the_command_makes_and_verifies_a_copy(running, tmp_path):
    """The very command, run as the recorder would run it, while the recorder writes."""
    import subprocess

    command = backup_command(running.archive, tmp_path / "copies", 2)
    ran = subprocess.run(command, capture_output=True, timeout=60, check=False)
    assert ran.returncode == 0, ran.stderr
    report = json.loads(ran.stdout)
    assert report["ok"] and verify(Path(report["backup"])).ok
    with sqlite3.connect(report["backup"]) as db:
        assert db.execute("SELECT count(*) FROM press_state").fetchone()[0] >= 1
    db.close()

"""From an alarm to the horn and the phones and back, and what an unattended cure needs."""

from __future__ import annotations

import threading
import time

import pytest

from drivers.base import PortLost, Sample
from press_monitor.archive import ArchiveReader, command_answer, new_command, send_command
from press_monitor.archive.types import EventRow
from press_monitor.callout import Horn, Phone
from press_monitor.recorder.alarm_path import HORN_TESTED, PHONE_TESTED, TESTED_WITHIN_S, AlarmPath, last_tests
from press_monitor.recorder.awake import KeepAwake
from press_monitor.recorder.calling import Call
from press_monitor.recorder.clock import ShopClock
from press_monitor.recorder.horn import HornThread
from press_monitor.recorder.own_alarms import OwnAlarms
from press_monitor.recorder.phone import PhoneState, PhoneStatus, PhoneThread
from press_monitor.recorder.recorder import Recorder
from press_monitor.recorder.station import Refused
from press_monitor.shop import ShopError
from tests.crash.processes import until
from tests.recorder.fakes import FakeTime
from tests.recorder.shops import THIN, demo_shop_file

NOW = 1_700_000_000.0
BURST = Call("c1/A1", "North", "bag-burst", "The bag is gone.", "Heat off.")
CUT_OUT = {"unattended": True, "over_temperature_cutout": True}


class Quiet:
    """A control line that only remembers."""

    def __init__(self):
        self.log, self.lost = [], None

    def open(self):
        if self.lost:
            raise PortLost(self.lost)

    def set(self, on):
        if self.lost:
            raise PortLost(self.lost)
        self.log.append(on)

    def close(self):
        return


class Path:
    """An alarm path whose horn's thread is run by nobody; the phones' sender keeps what it is given."""

    def __init__(self, folder, *, horn=True, phone=True):
        self.time, self.kept, self.sent = FakeTime(), [], []
        self.line = Quiet()
        self.horn = HornThread(Horn("loop://", "dtr"), self.line, clock=self.time.real) if horn else None
        if self.horn:
            self.horn._note(None)
        self.phone = PhoneThread(Phone(("json://a",)), clock=self.time.real, wall=self.time.wall) if phone else None
        self.path = AlarmPath(
            demo_shop_file(folder), lambda *told: self.kept.append(told), horn=self.horn, phone=self.phone
        )

    def tell(self, kind, **more):
        answer = self.path.obey(new_command(kind, self.time.utc, **more), self.time.real(), self.time.wall())
        return (answer.word, answer.text) if answer else None

    def deliver(self):
        while self.phone.status().waiting:
            self.phone.attempt(self.phone._next(), [lambda message: self.sent.append(message.title) or True])


@pytest.fixture
def path(tmp_path):
    return Path(tmp_path)


def refused(path, ticket):
    with pytest.raises(Refused) as caught:
        path.path.refuse_unattended(ticket, path.time.wall())
    return str(caught.value)


def test_a_test_counts_when_somebody_says_that_it_was_heard(path):
    assert path.path.about()["horn"] == "ready"
    assert path.path.about()["horn_words"] == "the horn was never tested: press-monitor check --test horn"
    assert path.tell("confirm-horn") == ("refused", "test the horn first: press-monitor check --test horn")
    assert path.tell("test-horn") == ("done", "the horn sounds for 3 s")
    assert path.path.about()["horn"] == "sounding"
    path.time.pass_(20.0)
    assert path.tell("confirm-horn", operator="Ada") == ("done", "the horn is known to work")
    assert path.kept == [(HORN_TESTED, path.time.utc, {"by": "Ada"})]
    assert path.path.about() == {
        "horn": "ready",
        "horn_words": "",
        "horn_tested_utc": path.time.utc,
        "phone": "ready",
        "phone_words": "the phone was never tested: press-monitor check --test phone",
        "phone_tested_utc": None,
    }
    assert path.tell("confirm-horn")[0] == "refused", "one test is confirmed once"


def test_a_phone_test_counts_only_when_the_message_went_out(path):
    assert path.tell("test-phone")[0] == "done"
    assert path.tell("confirm-phone") == ("refused", "the test message has not gone out: wait a little")
    path.deliver()
    assert path.sent == ["Juniper Flat Section Repair: test"]
    assert path.tell("confirm-phone", operator="Ada")[0] == "done"
    assert [kind for kind, _, _ in path.kept] == [PHONE_TESTED]
    path.time.pass_(301.0)
    path.tell("test-phone")
    path.time.pass_(301.0)
    path.deliver()
    assert path.tell("confirm-phone")[0] == "refused", "too long ago to be the same test"


def test_tests_of_before_are_known_after_a_restart(path):
    rows = [
        EventRow(n, None, 0.0, NOW + n, kind, {}) for n, kind in enumerate([HORN_TESTED, "clock-step", HORN_TESTED])
    ]
    assert last_tests(rows) == {HORN_TESTED: NOW + 2}
    path.path._tested.update(last_tests(rows))
    assert path.path.about()["horn_tested_utc"] == NOW + 2


def test_an_unattended_cure_needs_a_cut_out_and_a_tested_horn_or_phone(path):
    path.path.refuse_unattended(None, NOW)
    path.path.refuse_unattended({"unattended": False}, NOW)
    assert "cut-out that works without this computer" in refused(path, {"unattended": True})
    assert refused(path, CUT_OUT) == (
        "an unattended cure needs a horn or phone tested within seven days: press-monitor check --test horn"
    )
    path.path._tested[PHONE_TESTED] = path.time.wall()
    path.path.refuse_unattended(CUT_OUT, path.time.wall())
    path.time.pass_(TESTED_WITHIN_S + 1.0)
    assert "tested within seven days" in refused(path, CUT_OUT)
    path.path._tested[HORN_TESTED] = path.time.wall()
    path.path.refuse_unattended(CUT_OUT, path.time.wall())
    path.horn._note("unplugged")
    assert "phone tested within seven days: press-monitor check --test phone" in refused(path, CUT_OUT)


def test_where_there_is_neither_horn_nor_phone_both_are_said(tmp_path):
    path = Path(tmp_path, horn=False, phone=False)
    assert path.path.about()["horn"] == "none" and path.path.about()["phone"] == "none"
    assert refused(path, CUT_OUT) == (
        "an unattended cure needs a horn or a phone: no horn: alarms are heard only where a screen is open; no phones"
    )
    assert path.tell("test-horn") == ("refused", "no horn: alarms are heard only where a screen is open")
    assert path.tell("test-phone") == ("refused", "no phones")
    path.path.look([BURST], 0.0)


def test_a_lost_horn_is_no_horn_and_the_phones_say_so_when_nobody_is_there(path):
    path.horn._note("/dev/ttyUSB3: is not there")
    assert path.path.about()["horn"] == "none"
    assert path.path.about()["horn_words"] == "the horn cannot sound: /dev/ttyUSB3: is not there"
    assert path.path.no_horn() == "the horn cannot sound: /dev/ttyUSB3: is not there"
    own = OwnAlarms()
    unattended = Call("c1/A9", "North", "heat-lost", "m", "a", unattended=True)
    for _ in range(30):
        path.time.pass_(1.0)
        now = path.time.real()
        own.look(now, failing=None, no_horn=path.path.no_horn(), curing=True)
        path.path.look([unattended, *path.path.for_phones(own.unheeded("no-horn"), [unattended])], now)
    path.deliver()
    assert [title.split(": ")[1] for title in path.sent] == ["North HEAT LOST", "Recorder NO HORN"]
    own.obey(new_command("acknowledge", NOW, alarm_id="no-horn"), now)
    assert path.path.for_phones(own.unheeded("no-horn"), [unattended]) == []


def test_a_phone_alone_is_heard_and_neither_is_said(tmp_path):
    assert Path(tmp_path, horn=False).path.no_horn() is None
    neither = Path(tmp_path, horn=False, phone=False)
    assert neither.path.no_horn() == "no horn and no phone: alarms are heard only where a screen is open"
    assert neither.path.for_phones(None, []) == []
    lame = Path(tmp_path, horn=False)
    lame.phone._status = PhoneStatus(PhoneState.UNUSABLE, "one more package")
    assert lame.path.no_horn() == "no horn, and no phone: one more package"


def test_the_horn_can_be_silenced_without_acknowledging(path):
    assert path.tell("silence-horn") == ("refused", "nothing calls")
    path.path.look([BURST], 0.0)
    assert path.tell("silence-horn")[0] == "done"
    path.path.look([BURST], 1.0)
    assert path.path.about()["horn"] == "ready"


# -- through the whole recorder --


class Instrument:
    """Says the same every 50 ms until it is lost."""

    claims = ()

    def __init__(self):
        self.lost, self.pause = False, threading.Event()

    def __call__(self, name, settings, clock):
        self.clock = clock
        return self

    def open(self):
        if self.lost:
            raise PortLost("pulled out")

    def read(self, wait):
        if self.lost:
            raise PortLost("pulled out")
        self.pause.wait(0.05)
        at = self.clock()
        return [Sample(c, v, u, at) for c, v, u in (("inner_mat", 70.0, "degF"), ("bag", 32.0, "psi"))]

    def close(self):
        return


def test_a_lost_instrument_sounds_the_horn_until_somebody_acknowledges(tmp_path, monkeypatch):
    monkeypatch.setattr("press_monitor.recorder.alarm_path._TEST_S", 0.3)
    instrument, line, sent = Instrument(), Quiet(), []
    shop = demo_shop_file(tmp_path)
    archive = tmp_path / "archive.sqlite"
    phone = Phone(("json://a",), after=0.0)
    recorder = Recorder(
        shop,
        archive,
        tmp_path / "ledger.key",
        clock=ShopClock(8.0),
        make=instrument,
        horn=HornThread(Horn("loop://", "dtr"), line),
        phone=PhoneThread(phone, senders=lambda _: [lambda m: sent.append(m) or True]),
        awake=KeepAwake(lambda: Awake(tmp_path)),
    )
    recorder.start()
    running = threading.Thread(target=recorder.run)
    running.start()
    reader = ArchiveReader(archive)

    def tell(kind, **more):
        command = new_command(kind, time.time(), **more)
        send_command(archive, command)
        return until(lambda: command_answer(archive, command.uuid), f"an answer to {kind}")

    def about():
        return reader.press_states()["P1"].snapshot["recorder"]

    try:
        start = {**THIN, "ticket": {**THIN["ticket"], **CUT_OUT}}
        assert "tested within seven days" in tell("start", press="P1", args=start).text
        assert tell("test-horn").answer == "done"
        until(lambda: True in line.log, "the horn to be tested")
        assert tell("confirm-horn", operator="Ada").answer == "done"
        assert tell("start", press="P1", args=start).answer == "done"
        until(lambda: (tmp_path / "awake").exists(), "the computer to be kept awake")
        until(lambda: about()["horn"] == "ready", "a quiet horn")
        # How often it speaks has to be known before its silence can be judged.
        until(lambda: recorder.stations["P1"].cycle.seq >= 8, "the instrument's rhythm")
        line.log.clear()
        instrument.lost = True
        until(lambda: about()["horn"] == "sounding" and True in line.log, "the horn")
        until(lambda: [m.title for m in sent][:1] == [f"{shop.name}: North NO READINGS"], "the message")
        cycle = next(iter(reader.open_cycles())).start.cycle_id
        alarms = reader.press_states()["P1"].snapshot["alarms"]
        for alarm in alarms:
            tell("acknowledge", press="P1", cycle_id=cycle, alarm_id=alarm["id"])
        until(lambda: about()["horn"] == "ready", "a quiet horn again")
        assert last_tests(reader.events(None)).keys() == {HORN_TESTED}
    finally:
        reader.close()
        recorder.stop()
        running.join(10.0)
        recorder.close()
    assert not (tmp_path / "awake").exists()
    assert line.log[-1] is False


class Awake:
    """Holds the computer awake by a file."""

    def __init__(self, folder):
        self.file = folder / "awake"

    def hold(self):
        self.file.touch()

    def held(self):
        return self.file.exists()

    def release(self):
        self.file.unlink(missing_ok=True)


# -- two on one port --


def test_two_presses_or_the_horn_on_one_port_are_refused_in_one_line(tmp_path):
    demo_shop_file(tmp_path)
    path = tmp_path / "shop.toml"
    text = path.read_text("utf-8")
    head = text[: text.index("[presses")]
    options = 'options = { labels = { P = "bag[psi]" } }'
    press = '[presses.P{n}]\ndriver = "text-line"\nrecipe = "section-300"\nport = "{port}"\n' + options + "\n"

    def record(*parts):
        from press_monitor.shop import load_shop

        path.write_text(head + "\n".join(parts), "utf-8")
        return Recorder(load_shop(path), tmp_path / "a.sqlite", tmp_path / "k.key")

    first, second = press.replace("{n}", "1"), press.replace("{n}", "2")
    record(first.replace("{port}", "loop://a"), second.replace("{port}", "loop://b"))
    with pytest.raises(ShopError, match=r"presses.P2.port: /dev/null is taken by press P1 already: give each its own"):
        record(first.replace("{port}", "/dev/null"), second.replace("{port}", "/dev/../dev/null"))
    with pytest.raises(ShopError, match=r"presses.P1.port: /dev/null is taken by the horn"):
        record('[horn]\nport = "/dev/null"\n', first.replace("{port}", "/dev/null"))
    with pytest.raises(ShopError, match=r"presses.P1.port: cannot be used: invalid URL"):
        record(first.replace("{port}", "steam://a"))
    assert not (tmp_path / "a.sqlite").exists()

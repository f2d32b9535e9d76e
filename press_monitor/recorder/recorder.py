"""The recorder: ports in, watches stepped, the archive written, commands obeyed. One loop, which waits for nobody."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from drivers.registry import make_driver
from press_monitor.archive import Archive, ArchiveReader, Command, CycleStart
from press_monitor.archive.distress import Distress
from press_monitor.archive.shop_entries import record_calibrations, record_shop_file
from press_monitor.archive.types import Json
from press_monitor.fitting import DriverMaker, FittedPress, fit_press, refuse_shared
from press_monitor.recorder.alarm_path import AlarmPath, last_tests
from press_monitor.recorder.awake import KeepAwake
from press_monitor.recorder.backups import Backups
from press_monitor.recorder.calling import Call, calls_of
from press_monitor.recorder.clock import GAP_S, ClockGuard, ClockNote, ShopClock
from press_monitor.recorder.gathering import Shown, gathered
from press_monitor.recorder.horn import HornThread
from press_monitor.recorder.orders import Answer, obey
from press_monitor.recorder.own_alarms import OwnAlarms
from press_monitor.recorder.phone import PhoneThread
from press_monitor.recorder.port import Port, PortState, PortStatus
from press_monitor.recorder.resume import resume
from press_monitor.recorder.station import Refused, Station
from press_monitor.recorder.watches import ShopWatches
from press_monitor.recorder.writer import Job, Writer
from press_monitor.shop import Shop
from press_monitor.watch.kinds import kinds_with
from press_monitor.watch.plain import to_json
from press_monitor.watch.types import AlarmView

__all__ = ["DriverMaker", "Recorder"]

_PACE_S = 0.2
"""Real seconds between two passes at least: what came meanwhile shares one, and one commit. Commands do not wait."""

_LINGER_S = 0.25
"""Real seconds the writer waits for more to share a commit; the end of a pass ends it.

A commit beside a pass takes four times as long: each of its statements waits for the interpreter.
"""

_LONGEST_WAIT_S = 0.1
_PUBLISH_S = 0.2
_BEAT_S = 1.0
_PORTS_END_S = 1.0
"""Real seconds all ports together are given to end; one whose driver hangs is left behind."""

_BUDGET = 240
"""Slots stepped through in one pass, all presses together: long histories must not hold up the heartbeat."""


@dataclass(slots=True)
class _Place:
    """One press with its port, and what was said of both."""

    station: Station
    port: Port
    watches: ShopWatches
    title: str
    published: float = float("-inf")
    said: tuple[PortState, str] = (PortState.CLOSED, "")
    shown: Shown | None = None
    calling: list[Call] = field(default_factory=list)

    def calls(self) -> list[Call]:
        """The alarms that call somebody; worked out again only when the state was published again."""
        station = self.station
        if self.shown is not station.shown:
            cycle, self.shown = station.cycle, station.shown
            unattended = cycle is not None and (cycle.start.ticket or {}).get("unattended") is True
            alarms = () if self.shown is None else self.shown.snapshot.alarms
            self.calling = [] if cycle is None else calls_of(self.title, cycle.id, alarms, unattended=unattended)
        return self.calling

    def port_news(self, status: PortStatus) -> str | None:
        """One line when the port is had or lost; None for each of the tries between."""
        now = (status.state, status.why)
        if status.state not in (PortState.OPEN, PortState.LOST) or now == self.said:
            return None
        self.said = now
        return f"port {status.state.value}{f', {status.why}' if status.why else ''}"


def _about_port(port: PortStatus) -> dict[str, object]:
    """What a press's state says of its port."""
    view = port.view
    return {
        "port": {
            "state": port.state.value,
            "why": port.why or port.talk.words,
            "talk": port.talk.value,
            "samples_dropped": port.dropped,
            "word": view.state,
            "device": view.device,
            "trouble": view.trouble,
            "line": view.line,
            "notes": list(port.notes),
        }
    }


class Recorder:
    """The recorder of one shop.

    Args:
        shop: the shop file.
        archive, key: where the archive and its private key lie; made if missing.
        clock: shop time.
        interval: grid step, whole shop seconds.
        make: makes drivers.
        horn, phone, awake: threads of their own; by default what the shop file asks for, and this system's way to keep
            the computer awake while shop time is real time.
        backups: the usual folder for copies of the archive; None: none are made.
        ballast_bytes: room kept back on the archive's disk for when it is full.
        each_pass: called at every pass of the loop, in its thread (the demo puts new cycles on its presses so).
        say: takes one line for the log.

    Raises `ShopError` for channels or driver options that cannot be used.
    """

    def __init__(
        self,
        shop: Shop,
        archive: Path,
        key: Path,
        *,
        clock: ShopClock | None = None,
        interval: int = 1,
        make: DriverMaker = make_driver,
        horn: HornThread | None = None,
        phone: PhoneThread | None = None,
        awake: KeepAwake | None = None,
        backups: Path | None = None,
        ballast_bytes: int = 0,
        each_pass: Callable[[Recorder], None] = lambda _: None,
        say: Callable[[str], None] = lambda _: None,
    ) -> None:
        self.shop = shop
        self.clock = clock if clock is not None else ShopClock()
        self._archive = archive
        self._say = say
        self._each_pass = each_pass
        self._interval = interval
        self._wake = threading.Event()
        self._asked = threading.Event()
        self._stop = threading.Event()
        self._guard = ClockGuard(self.clock.real, self.clock.wall)
        self._writer: Writer = Writer(
            lambda: Archive.open(
                archive, key_path=key, holder="recorder", clock=self.clock.wall, ballast_bytes=ballast_bytes
            ),
            wall=self.clock.wall,
            news=self._wake_now,
            linger=_LINGER_S,
        )
        self._beaten = float("-inf")
        self._passed = self.clock.real()
        fitted = [fit_press(press, shop, self.clock.monotonic, make) for press in shop.presses.values()]
        refuse_shared(fitted, shop)
        self._places = {each.press.name: self._place(each) for each in fitted}
        if horn is None and shop.horn is not None:
            horn = HornThread(shop.horn)
        if phone is None and shop.phone is not None:
            phone = PhoneThread(shop.phone)
        self._path = AlarmPath(shop, self._record, horn=horn, phone=phone)
        self._own = OwnAlarms(kinds_with(shop.alarms))
        self._distress = Distress(archive)
        self._calibrated = [
            (each.press.name, c.name, c.sensor, c.calibration.facts())
            for each in fitted
            for c in each.channels
            if c.calibration is not None
        ]
        self._backups = (
            Backups(archive, backups, shop.upkeep, self._record_now, say)
            if backups is not None and self.clock.speed == 1.0
            else None
        )
        self._awake = awake if awake is not None or self.clock.speed != 1.0 else KeepAwake()

    def _place(self, fitted: FittedPress) -> _Place:
        press = fitted.press
        watches = ShopWatches(press, self.shop, fitted.channels, stores=self._writer.stores, now=self.clock.wall)
        # What a real second of delay costs in shop time grows with the clock's speed.
        slack = max(1.0, self.clock.speed)
        station = Station(
            press.name,
            fitted.conditioner,
            watches,
            self._writer.put,
            monotonic=self.clock.monotonic,
            utc=self.clock.utc,
            interval=self._interval,
            grace=0.3 * slack,
            quiet=1.0 * slack,
        )
        wait = 0.5 if self.clock.speed == 1.0 else 0.05
        port = Port(
            press.name, fitted.driver, self.clock.monotonic, wake=self._wake.set, read_wait=wait, quiet=5.0 * slack
        )
        return _Place(station, port, watches, press.title)

    @property
    def stations(self) -> dict[str, Station]:
        """Every press by its name."""
        return {name: place.station for name, place in self._places.items()}

    # -- beginning and ending --

    def start(self) -> None:
        """Take the archive, open the ports, go on with cycles an interruption left open.

        Raises `ArchiveLocked` where somebody else records, `ArchiveError` where the archive cannot be used.
        """
        self._writer.start()
        self._writer.put(
            Job(lambda archive: record_shop_file(archive, Path(self.shop.file))),
            Job(lambda archive: record_calibrations(archive, self._calibrated)),
        )
        for place in self._places.values():
            place.port.start()
        try:
            with ArchiveReader(self._archive) as reader:
                for left in reader.open_cycles():
                    self._resume(left.start, reader)
                self._path.start(last_tests(reader.events(None)))
            if self._awake is not None:
                self._awake.start()
        except BaseException:
            self.close()
            raise
        self._beat()

    def _resume(self, start: CycleStart, reader: ArchiveReader) -> None:
        place = self._places.get(start.press)
        if place is None:
            self._say(f"{start.press}: has an open cycle, but the shop file has no such press; left as it is")
        else:
            resume(place.station, place.watches, start, reader, self.clock, self._interval, self._say)

    def stop(self) -> None:
        """Have `run` end after its present pass. Any thread, and signal handlers, may call it."""
        self._stop.set()
        self._wake_now()

    def _wake_now(self) -> None:
        self._wake.set()
        self._asked.set()

    def close(self, deadline: float = 5.0) -> bool:
        """Close ports and archive, with what a later start needs; False where the disk took longer than `deadline`."""
        for place in self._places.values():
            place.port.stop()
            place.station.stop()
        written = self._writer.stop(deadline)
        self._path.stop()
        self._distress.over()
        if self._awake is not None:
            self._awake.stop()
        until = self.clock.real() + _PORTS_END_S
        for place in self._places.values():
            place.port.join(max(0.0, until - self.clock.real()))
        return written

    # -- the loop --

    def run(self) -> None:
        """Record until `stop`."""
        while not self._stop.is_set():
            began = self.clock.real()
            if not self.once():
                self._wake.wait(_LONGEST_WAIT_S)
                self._asked.wait(max(0.0, _PACE_S - (self.clock.real() - began)))
                self._wake.clear()
                self._asked.clear()

    def once(self) -> bool:
        """One pass over every press; True where more is to be done at once."""
        real, busy = self.clock.real(), False
        if real - self._passed > GAP_S:
            self._look_at_clocks()  # before the rows of the gap are stepped through, so that they hang under it
        self._passed = real
        budget = max(5, _BUDGET // max(1, len(self._places)))
        shared: dict[str, object] | None = None
        for name, place in self._places.items():
            busy |= place.station.take(place.port.take(), budget)
            number = place.station.finished()
            if number is not None:
                self._say(f"{name}: sealed as certificate {number}" if number else f"{name}: could not be sealed")
            if place.station.changed and real - place.published >= _PUBLISH_S:
                status = place.port.status()
                place.station.see_port(status.view)
                shared = self._about_all() if shared is None else shared
                place.station.about = {**_about_port(status), **shared}
                place.station.moment = self._moment(place.station)
                place.station.publish()
                place.published = real
                if (news := place.port_news(status)) is not None:
                    self._say(f"{name}: {news}")
        for command in self._writer.commands():
            self._obey(command)
        for line in self._writer.said():
            self._say(line)
        self._call(real)
        self._each_pass(self)
        if real - self._beaten >= _BEAT_S:
            self._beat()
        self._writer.write_now()
        return busy

    def _beat(self) -> None:
        self._beaten = self.clock.real()
        utc = self.clock.wall()
        self._writer.put(Job(lambda archive: archive.beat(utc), key="beat"))
        self._look_at_clocks()
        self._cry(utc)
        if self._backups is not None:
            self._backups.look(self._beaten, utc)
        if self._awake is not None:
            self._awake.want(any(place.station.cycle is not None for place in self._places.values()))

    def _look_at_clocks(self) -> None:
        for note in self._guard.look():
            self._heed(note)

    def _heed(self, note: ClockNote) -> None:
        """Keep what the clocks did, with the running cycles and for the whole shop."""
        self._say(note.words)
        self._record(note.kind, note.utc, {"seconds": note.seconds, "words": note.words})
        self._own.note(note)
        for place in self._places.values():
            place.station.note(note)
            if note.kind == "sleep-gap":
                place.port.reopen()

    def _record(self, kind: str, utc: float, told: Json) -> None:
        """Keep an event of the whole shop, which belongs to no cycle."""
        self._writer.put(Job(lambda archive: archive.add_events(None, [(0.0, utc, kind, told)])))

    def _record_now(self, kind: str, told: Json) -> None:
        self._record(kind, self.clock.wall(), told)

    # -- calling --

    def _call(self, real: float) -> None:
        calls = gathered(
            [call for place in self._places.values() for call in place.calls()],
            {name: place.shown for name, place in self._places.items() if place.shown is not None},
        )
        own_views = self._own.views()
        for place in self._places.values():
            place.station.note_standing(own_views)
        writing = self._writer.status()
        moved = self._own.look(
            self.clock.monotonic(),
            failing=None if writing.failing_since is None else writing.why,
            no_horn=self._path.no_horn(),
            curing=any(place.station.cycle is not None for place in self._places.values()),
        )
        for change in moved:
            self._tell_own(change.alarm)
        own = [*self._own.calls(), *self._path.for_phones(self._own.unheeded("no-horn"), calls)]
        self._path.look([*calls, *own], real)

    def _tell_own(self, view: AlarmView) -> None:
        """Keep what moved with the shop's events and with every running cycle, and log it."""
        words = f"{view.kind} {view.state.name.lower().replace('_', ' ')}: {view.message}"
        self._say(words)
        self._record_now("recorder-alarm", {"alarm": to_json(view), "words": words})
        for place in self._places.values():
            place.station.note_own(view)

    def _cry(self, utc: float) -> None:
        """What the archive cannot carry while it takes nothing goes beside it."""
        failing = self._own.standing("archive-failing")
        if failing is None:
            self._distress.over()
            return
        writing = self._writer.status()
        told = {"since_utc": writing.failing_since, "why": writing.why, "alarms": self._own.to_json()}
        self._distress.say({**told, "advice": failing.advice}, utc)

    def _about_all(self) -> dict[str, object]:
        """What every press's state says of the recorder."""
        writing = self._writer.status()
        return {
            "archive_failing_since_utc": writing.failing_since,
            "archive_why": writing.why if writing.failing_since is not None else "",
            "rows_dropped": writing.dropped_rows,
            "backup_why": "" if self._backups is None else self._backups.why,
            **self._path.about(),
            "alarms": self._own.to_json(),
            "awake": "" if self._awake is None else self._awake.status().why,
            "speed": self.clock.speed,
        }

    def _moment(self, station: Station) -> dict[str, object]:
        """What the time is: UTC at shop-monotonic zero, and one moment by the wall clock and on the cycle's axis.

        From the latter a later start goes on.
        """
        monotonic, cycle = self.clock.monotonic(), station.cycle
        return {
            "alarms_zero_utc": self.clock.utc() - monotonic,
            "anchor": None
            if cycle is None
            else {"cycle_id": cycle.id, "wall_utc": self.clock.wall(), "axis_s": cycle.axis(monotonic)},
        }

    # -- commands --

    def _obey(self, command: Command) -> None:
        # One commit: what was done without its answer would be done again by a recorder that starts after a kill.
        with self._writer.together():
            answer = self._answer(command)
            place = self._places.get(command.press or "")
            if place is not None:
                place.station.publish()
            utc = self.clock.wall()
            job = Job(lambda archive: archive.answer(command.uuid, answer.word, answer.text, utc))
            self._writer.put(job)
        self._say(
            f"{command.kind} {command.press or ''} by {command.operator or 'no name'}: {answer.word} {answer.text}"
        )

    def _answer(self, command: Command) -> Answer:
        if not command.live(self.clock.wall()):
            return Answer("expired", "was not taken up in time")
        if command.kind == "stop-recorder":
            self.stop()
            return Answer("done", "the recorder stops; open cycles go on when it is started again")
        answer = self._path.obey(command, self.clock.real(), self.clock.wall())
        if answer is None:
            answer = self._own.obey(command, self.clock.monotonic())
        if answer is not None:
            return answer
        place = self._places.get(command.press or "")
        if place is None:
            known = ", ".join(self._places)
            return Answer("refused", f"no press {command.press!r}; there are: {known}")
        if command.kind == "start":
            try:
                self._path.refuse_unattended((command.args or {}).get("ticket"), self.clock.wall())
            except Refused as refusal:
                return Answer("refused", str(refusal))
        return obey(place.station, command)

"""What the screens look at: the archive, read a few times a second, and the commands sent through it.

Nothing here blocks for long and nothing raises for a missing or busy archive: a `Source` keeps what it saw last, says
how old that is, and tries again at the next poll.
"""

from __future__ import annotations

import sqlite3
import time
import uuid
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Protocol

from press_monitor.archive.trace import Trace
from press_monitor.archive.types import (
    COMMAND_LIFETIME_S,
    ArchiveError,
    Command,
    CommandAnswer,
    CycleStart,
    EventRow,
    Json,
    OpenCycle,
    PressState,
    RecorderRow,
)
from press_monitor.screens.trace import LiveTrace
from press_monitor.watch.plain import from_json, from_json_again
from press_monitor.watch.types import AlarmView, Phase, Snapshot

__all__ = ["SILENCE_S", "Heartbeat", "Notice", "Place", "PressView", "Reader", "Source"]

SILENCE_S = 3.0
"""Seconds without a beat after which every dashboard says so."""

_TROUBLES = (ArchiveError, OSError, sqlite3.Error)
"""What an archive that is missing, busy, damaged or on a failing disk raises."""

_KEEP_DONE_S, _KEEP_REFUSAL_S = 4.0, 12.0
_WEEK_S = 7 * 86_400.0
_GRACE_S = 2.0
"""How long after a command's death an answer is still waited for."""


class Reader(Protocol):
    """The part of `press_monitor.archive.reader.ArchiveReader` that screens use."""

    def data_version(self) -> int:
        """Moves whenever somebody has committed."""
        ...

    def recorder(self) -> RecorderRow | None:
        """Who records."""
        ...

    def press_states(self, known: Mapping[str, tuple[float, str | None]]) -> Mapping[str, PressState]:
        """The last state of every press whose time and cycle are not `known`."""
        ...

    def open_cycles(self) -> Sequence[OpenCycle]:
        """Cycles not sealed yet."""
        ...

    def rows(self, cycle_id: str, after_seq: int = -1) -> Trace:
        """Rows after one seen already."""
        ...

    def events(self, cycle_id: str | None, after: int = 0) -> Sequence[EventRow]:
        """Events numbered above `after`."""
        ...

    def alarms_since(self, utc: float) -> Mapping[str, int]:
        """How often each kind of alarm was raised in the cures sealed since."""
        ...

    def command_answer(self, command_uuid: str) -> CommandAnswer | None:
        """What became of a command."""
        ...

    def close(self) -> None:
        """Let go."""
        ...


@dataclass(frozen=True, slots=True)
class Place:
    """A press in its fixed place on the floor."""

    name: str
    title: str
    recipe: str = ""


@dataclass(frozen=True, slots=True)
class Heartbeat:
    """How the recorder is. `silent_s` counts on this computer's own clock since the last beat seen."""

    seen: bool = False
    silent_s: float = 0.0
    last_utc: float | None = None
    stopped: bool = False

    @property
    def silent(self) -> bool:
        """Whether the recorder must be taken for dead."""
        return self.stopped or self.silent_s >= SILENCE_S


@dataclass(frozen=True, slots=True)
class PressView:
    """One press as last read. `version` changes whenever anything drawn from it changes."""

    number: int
    place: Place
    cycle_id: str | None = None
    stamp: float = 0.0
    """When the recorder wrote the state, UTC."""
    snapshot: Snapshot | None = None
    trace: LiveTrace | None = None
    ticket: Mapping[str, Json] = field(default_factory=dict)
    about: Mapping[str, Json] = field(default_factory=dict)
    """What the recorder says of itself and of the press's port: ``horn``, ``port``, ``archive_why``, ``speed``."""
    version: int = 0
    zero_utc: float | None = None
    """Second 0 of its axis, where it is the recorder itself and no press."""

    @property
    def utc(self) -> float:
        """The shop's time at the newest snapshot, UTC; a demo's shop time runs ahead of real time."""
        if self.snapshot is None or self.trace is None:
            return self.stamp
        return self.trace.start.started_utc + self.snapshot.t

    def clock(self, t: float) -> float:
        """The shop's UTC second at `t` on the cycle's axis."""
        if self.zero_utc is not None:
            return self.zero_utc + t
        return self.utc - ((self.snapshot.t if self.snapshot else 0.0) - t)


@dataclass(frozen=True, slots=True)
class Notice:
    """One command and what became of it: ``sent``, then ``done``, ``refused`` or ``expired``."""

    uuid: str
    words: str
    state: str
    text: str
    at: float
    """When it took this state, on the monotonic clock."""
    kind: str = ""
    press: str = ""
    """The command and the press it is about; empty for what is no command to a press."""


class Source:
    """Polls one archive for all screens of a dashboard.

    Args:
        open_reader: opens the archive for reading; may raise `ArchiveError` while there is none yet.
        places: the shop's presses in order.
        send: writes one command to the archive.
        now: UTC seconds. monotonic: seconds that never step.
        distress: what a recorder whose archive takes nothing says beside it, at a UTC second.
    """

    def __init__(
        self,
        open_reader: Callable[[], Reader],
        places: Sequence[Place],
        *,
        send: Callable[[Command], object],
        now: Callable[[], float] = time.time,
        monotonic: Callable[[], float] = time.monotonic,
        distress: Callable[[float], Mapping[str, Json] | None] = lambda now: None,
    ) -> None:
        self.now, self.monotonic = now, monotonic
        self.presses: tuple[PressView, ...] = tuple(PressView(n, p) for n, p in enumerate(places, 1))
        self.heartbeat = Heartbeat()
        self.trouble = ""
        self.notices: tuple[Notice, ...] = ()
        self._open, self._send = open_reader, send
        self._reader: Reader | None = None
        self._version: int | None = None
        self._beats: tuple[int, float] | None = None
        self._beat_at = monotonic()
        self._distress = distress
        self.distress: Mapping[str, Json] = {}
        """What the recorder says beside an archive that takes nothing: ``since_utc``, ``why``, ``advice``."""
        self._own: set[str] = set()
        """Notices of what the dashboard does by itself, which no recorder answers."""
        self._over: set[str] = set()
        """Cycles that were asked for and are no longer open: they have no live rows."""
        self._told: dict[str, tuple[Json, Snapshot]] = {}
        """The state of each press as it was read last, and what was made of it."""
        self._events_of = ""
        self._events: list[EventRow] = []

    @classmethod
    def at(cls, path: Path, places: Sequence[Place]) -> Source:
        """The source of the archive at `path`."""
        from press_monitor.archive.commands import send_command
        from press_monitor.archive.distress import Distress
        from press_monitor.archive.reader import ArchiveReader

        return cls(
            lambda: ArchiveReader(path),
            places,
            send=lambda command: send_command(path, command),
            distress=Distress(path).heard,
        )

    def poll(self) -> bool:
        """Read what is new; whether anything a screen shows has changed."""
        changed = self._settle_notices()
        try:
            if self._reader is None:
                self._reader = self._open()
            version = self._reader.data_version()
            if version != self._version:
                self._read(self._reader)
                self._version, self.trouble, changed = version, "", True
        except _TROUBLES as error:
            if self.trouble != str(error):
                self.trouble, changed = str(error), True
            self.close()
        return self._hear() or self._hear_distress() or changed

    def _hear_distress(self) -> bool:
        told = self._distress(self.now()) or {}
        changed = told.get("since_utc") != self.distress.get("since_utc")
        self.distress = told
        return changed

    def close(self) -> None:
        """Let go of the archive; the next poll opens it again."""
        if self._reader is not None:
            self._reader.close()
        self._reader, self._version = None, None

    def shop_now(self) -> float:
        """The time on the shop's wall, UTC: real time, or a demo's own where that runs faster."""
        now = self.now()
        newest = max((p.utc for p in self.presses if p.trace is not None), default=now)
        return newest if newest > now + 60.0 else now

    def press(self, name: str) -> PressView | None:
        """The press of that name."""
        return next((p for p in self.presses if p.place.name == name), None)

    def events(self, view: PressView) -> Sequence[EventRow]:
        """The events of a press's cycle, oldest first; those of the cycle asked for last are kept and added to."""
        if view.cycle_id is None:
            return ()
        if self._events_of != view.cycle_id:
            self._events_of, self._events = view.cycle_id, []
        if self._reader is not None:
            after = self._events[-1].number if self._events else 0
            try:
                self._events += self._reader.events(view.cycle_id, after)
            except _TROUBLES as error:
                self.trouble = str(error)
        return tuple(self._events)

    def alarms_of_week(self) -> Mapping[str, int]:
        """How often each kind of alarm was raised in the cures sealed in the last seven days."""
        if self._reader is None:
            return {}
        try:
            return self._reader.alarms_since(self.shop_now() - _WEEK_S)
        except _TROUBLES as error:
            self.trouble = str(error)
            return {}

    def send(
        self,
        kind: str,
        press: PressView | None,
        words: str,
        *,
        alarm: AlarmView | None = None,
        operator: str = "",
        args: Mapping[str, Json] | None = None,
    ) -> Notice:
        """Ask the recorder for something. It dies in ten seconds; its fate appears in `notices`."""
        from press_monitor.archive.commands import new_command

        command = new_command(
            kind,
            self.now(),
            operator=operator,
            press=press.place.name if press else None,
            cycle_id=press.cycle_id if press else None,
            alarm_id=alarm.id if alarm else None,
            args=dict(args or {}),
        )
        notice = Notice(command.uuid, words, "sent", "", self.monotonic(), kind, press.place.name if press else "")
        try:
            self._send(command)
        except _TROUBLES as error:
            notice = replace(notice, state="refused", text=str(error))
        self.notices = (*self.notices[-7:], notice)
        return notice

    def waiting(self, kind: str, press_name: str) -> Notice | None:
        """A command of that kind to a press that was sent and is not answered yet."""
        sent = (n for n in self.notices if n.state == "sent" and n.kind == kind and n.press == press_name)
        return next(sent, None)

    def note(self, words: str) -> Notice:
        """Say that something is on its way that is no command to a press; `settle` says what came of it."""
        notice = Notice(uuid.uuid4().hex, words, "sent", "", self.monotonic())
        self._own.add(notice.uuid)
        self.notices = (*self.notices[-7:], notice)
        return notice

    def settle(self, notice: Notice, state: str, text: str) -> None:
        """What became of something noted: ``done`` or ``refused``, and why."""
        fresh = replace(notice, state=state, text=text, at=self.monotonic())
        self._own.discard(notice.uuid)
        self.notices = (*(n for n in self.notices if n.uuid != notice.uuid), fresh)

    def _read(self, reader: Reader) -> None:
        states = reader.press_states({v.place.name: (v.stamp, v.cycle_id) for v in self.presses if v.snapshot})
        drawn = {v.trace.start.cycle_id for v in self.presses if v.trace is not None}
        wanted = {s.cycle_id for s in states.values() if s.cycle_id is not None} - drawn - self._over
        starts = {c.start.cycle_id: c.start for c in reader.open_cycles()} if wanted else {}
        self.presses = tuple(self._update(reader, view, states.get(view.place.name), starts) for view in self.presses)
        self._over |= wanted - starts.keys()
        recorder = reader.recorder()
        if recorder is None:
            self.heartbeat = Heartbeat()
            return
        beats = (recorder.beats, recorder.started_utc)
        if beats != self._beats:
            # The first beat seen may be old: its age is taken from the wall clock, once.
            age = max(0.0, self.now() - recorder.heartbeat_utc) if self._beats is None else 0.0
            self._beats, self._beat_at = beats, self.monotonic() - age
        self.heartbeat = Heartbeat(
            True, self.heartbeat.silent_s, recorder.heartbeat_utc, recorder.stopped_utc is not None
        )

    def _update(
        self, reader: Reader, view: PressView, state: PressState | None, starts: Mapping[str, CycleStart]
    ) -> PressView:
        if state is None or (state.utc == view.stamp and state.cycle_id == view.cycle_id):
            return view
        trace, ticket = view.trace, view.ticket
        # a released press shows its last cycle, sealed by now, until the next one begins
        shows_last = state.cycle_id is None and (state.snapshot or {}).get("phase") == Phase.RELEASED.value
        over = state.cycle_id is None and not shows_last
        if over or (state.cycle_id != view.cycle_id and not shows_last):
            trace, ticket = None, {}
        start = starts.get(state.cycle_id or "")
        if trace is None and start is not None:
            trace, ticket = LiveTrace(start), dict(start.ticket or {})
        if trace is not None and not shows_last:
            trace.extend(reader.rows(trace.start.cycle_id, trace.last_seq))
        told = state.snapshot or {}
        try:
            snapshot = self._snapshot(view.place.name, told) if "phase" in told else None
        except (KeyError, ValueError, TypeError) as error:
            raise ArchiveError(f"{view.place.name}: its state is of another version ({error})") from error
        about = told.get("recorder") or {}
        return replace(
            view,
            cycle_id=state.cycle_id,
            stamp=state.utc,
            snapshot=snapshot,
            trace=trace,
            ticket=ticket,
            about=about,
            version=view.version + 1,
        )

    def _snapshot(self, press: str, told: Json) -> Snapshot:
        """Of most members a reader gives the very objects that it gave a second before."""
        before = self._told.get(press)
        snapshot = from_json(Snapshot, told) if before is None else from_json_again(Snapshot, told, *before)
        self._told[press] = told, snapshot
        return snapshot

    def _hear(self) -> bool:
        """Age the heartbeat; True when silence begins or ends, and once a second while it lasts."""
        if not self.heartbeat.seen:
            return False
        silent_s = max(0.0, self.monotonic() - self._beat_at)
        old = self.heartbeat
        self.heartbeat = replace(old, silent_s=silent_s)
        if self.heartbeat.silent or old.silent:
            return self.heartbeat.silent != old.silent or int(silent_s) != int(old.silent_s)
        return False

    def _settle_notices(self) -> bool:
        """Look up answers, let old notices go."""
        now, kept = self.monotonic(), []
        for notice in self.notices:
            fresh = self._ask(notice, now) if self._waits(notice) else notice
            keep = _KEEP_DONE_S if fresh.state == "done" else _KEEP_REFUSAL_S
            if fresh.state == "sent" or now - fresh.at < keep:
                kept.append(fresh)
        changed = tuple(kept) != self.notices
        self.notices = tuple(kept)
        return changed

    def _waits(self, notice: Notice) -> bool:
        return notice.state == "sent" and notice.uuid not in self._own

    def _ask(self, notice: Notice, now: float) -> Notice:
        try:
            answer = self._reader.command_answer(notice.uuid) if self._reader is not None else None
        except _TROUBLES:
            answer = None
        if answer is not None:
            return replace(notice, state=answer.answer, text=answer.text, at=now)
        if now - notice.at > COMMAND_LIFETIME_S + _GRACE_S:
            return replace(notice, state="expired", text="the recorder did not answer; nothing was done", at=now)
        return notice

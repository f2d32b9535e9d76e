"""One running cycle: the watch, its time axis, and what of it still has to be written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol
from zlib import crc32

from press_monitor.archive.types import ChannelMeta, CycleStart, EventRow, Json, LiveRow, Save
from press_monitor.readings.conditioning import reading_of
from press_monitor.readings.types import Role, Tick, role_of
from press_monitor.watch.outside import gap_report, port_report
from press_monitor.watch.plain import from_json, to_json
from press_monitor.watch.types import Action, AlarmView, Event, OperatorDid, PortView, Report, Reported, Snapshot

__all__ = ["SAVE_EVERY_S", "Counts", "Cycle", "Watch", "tick_of"]

SAVE_EVERY_S = 60.0

Counts = tuple[int | None, ...]
"""One row's integers in the order of the press's channels."""

_Judged = tuple[tuple[int, str, str, int], ...]
"""Place in a row, name, unit and decimals of each channel that a watch can use."""

_AFTER_RELEASE_S = 10.0
"""How long a released press is still followed, so that what the release itself did wrong is said before sealing."""

_DONE, _TOLD = OperatorDid.__name__, Reported.__name__

_PASSING = ("opening", "waiting", "closed")
"""States of a port in which it shows nothing yet: what was wrong with it is not over."""


class Watch(Protocol):
    """What the recorder needs of `press_monitor.watch.CureWatch`."""

    @property
    def closed(self) -> bool:
        """Whether the cycle is over."""

    def step(self, given: Tick | Action | Report) -> tuple[Event, ...]:
        """Take a tick, an action or a report."""

    def snapshot(self, before: Snapshot | None = None) -> Snapshot:
        """All a screen needs; of one a few seconds old, what moves slowly is shown again."""

    def result(self, *, at_release: bool = False) -> Json:
        """What is sealed: the cure as it stood at the release."""

    def profiles(self) -> Json:
        """The cure through the thickness at heat-off and at release."""

    def save(self) -> Json:
        """All that is needed to go on later."""


def _told(event: EventRow) -> Action | Report:
    """What the watch was told beside its rows, out of the event that keeps it."""
    if event.kind == _DONE:
        return from_json(OperatorDid, event.event).action
    return from_json(Reported, event.event).report


def tick_of(t: float, counts: Counts, channels: tuple[ChannelMeta, ...]) -> Tick:
    """What the watch sees of a kept row: nothing where every cell is empty, else each judged channel's reading."""
    return _tick(t, counts, _judged(channels))


def _judged(channels: tuple[ChannelMeta, ...]) -> _Judged:
    """The channels a watch can use, each with its place in a row."""
    return tuple((k, c.name, c.unit, c.decimals) for k, c in enumerate(channels) if role_of(c.name) is not Role.OTHER)


def _tick(t: float, counts: Counts, judged: _Judged) -> Tick:
    if counts.count(None) == len(counts):
        return Tick(t, {})
    return Tick(t, {name: reading_of(counts[k], unit, decimals) for k, name, unit, decimals in judged})


@dataclass(slots=True)
class Pending:
    """What has not been handed to the writer yet."""

    rows: list[LiveRow] = field(default_factory=list)
    events: list[tuple[float, float, str, Json]] = field(default_factory=list)
    save: Save | None = None


class Cycle:
    """One cycle from its first row to its closing.

    Args:
        start: as kept in the archive; rows' times are whole seconds (`time_decimals` 0).
        watch: fresh, or restored.
        origin: shop-monotonic seconds at the cycle's zero.
    """

    def __init__(self, start: CycleStart, watch: Watch, origin: float) -> None:
        self.start = start
        self.watch = watch
        self.origin = origin
        self._judged = _judged(start.channels)
        self.seq = -1
        self.t = -1.0
        self.said: list[Json] = []
        """Everything the watch said, each with its `kind`."""
        self.did: list[Json] = []
        """What operators did."""
        self.port: PortView | None = None
        """How the port is, as the watch was last told."""
        self.told_standing = False
        """Whether it keeps which of the recorder's own alarms stood when it began."""
        self._told_since_row = False
        self._tellings = 0
        self._saved_t = 0.0
        # Each cycle at its own second of the minute: after a restart all of them would be saved in one commit.
        self._save_part = crc32(start.cycle_id.encode()) % SAVE_EVERY_S
        self._closed_t: float | None = None
        self.pending = Pending()

    @property
    def id(self) -> str:
        """The cycle's UUID, 32 hex digits."""
        return self.start.cycle_id

    @property
    def over(self) -> bool:
        """Whether the press was released and what the release did has been said: the cycle can be sealed."""
        return self._closed_t is not None and self.t >= self._closed_t + _AFTER_RELEASE_S

    def utc(self, t: float) -> float:
        """UTC seconds at `t`, by the monotonic clock: setting the wall clock does not move them."""
        return self.start.started_utc + t

    def axis(self, monotonic: float) -> float:
        """A shop-monotonic moment on the cycle's axis, s."""
        return monotonic - self.origin

    def take(self, at: float, counts: Counts) -> tuple[Event, ...]:
        """Step the watch by the slot ending at shop-monotonic `at`. One at or before the last row tells nothing."""
        t = round(self.axis(at))
        if t <= self.t:
            return ()
        self.seq, self.t = self.seq + 1, float(t)
        self.pending.rows.append((self.seq, t, counts))
        self._told_since_row = False
        events = self._step(_tick(self.t, counts, self._judged))
        if self._minute(self.t) != self._minute(self._saved_t):
            self.keep_save()
        return events

    def _minute(self, t: float) -> float:
        return (t + self._save_part) // SAVE_EVERY_S

    def act(self, action: Action) -> tuple[Event, ...]:
        """Tell the watch what somebody did. Its `t` must be the last row's, so that a replay finds its place."""
        return self._tell(action)

    def see_port(self, port: PortView) -> bool:
        """Tell the watch how the port is where that has changed since it was told last; whether it was told."""
        if port.state in _PASSING or self.watch.closed:
            return False
        fine = not port.trouble and not port.words
        if port == self.port or (fine and (self.port is None or not (self.port.trouble or self.port.words))):
            return False
        self.port = port
        self._tell(port_report(max(self.t, 0.0), port))
        return True

    def _tell(self, given: Action | Report) -> tuple[Event, ...]:
        self._told_since_row = True
        return self._step(given)

    def keep_save(self) -> None:
        """Have the watch's state written as of the last row.

        Not where the watch was told something since: a replay from there would tell it again.
        """
        if self._told_since_row:
            return
        self.pending.save = Save(self.id, self.seq, self.t, self.watch.save())
        self._saved_t = self.t

    def take_pending(self) -> Pending:
        """What has to be written since the last call."""
        taken, self.pending = self.pending, Pending()
        return taken

    def replay(self, save: Save | None, rows: Sequence[LiveRow], events: Sequence[EventRow]) -> None:
        """Bring a watch just restored from `save` up to the last row that was kept.

        Rows after the save are stepped again, each action after the row it followed. What the watch says to them was
        written before the interruption already and is not written again.

        Args:
            save: that the watch was restored from; None where it is fresh.
            rows: kept rows, oldest first, from any point at or before the save.
            events: everything kept of the cycle, oldest first.
        """
        if save is not None:
            self.seq, self.t, self._saved_t = save.seq, save.t, save.t
        told = [_told(event) for event in events if event.kind in (_DONE, _TOLD)]
        self.port = next((each.port for each in reversed(told) if isinstance(each, Report) and each.port), None)
        # A save is made right after its row, so what was done at the save's own second came after it.
        waiting = [each for each in told if save is None or each.t >= save.t]
        for seq, t, counts in rows:
            if seq <= self.seq:
                continue
            waiting = self._act_again(waiting, before=float(t))
            self.seq, self.t = seq, float(t)
            self.watch.step(_tick(self.t, tuple(counts), self._judged))
        self._act_again(waiting, before=float("inf"))
        for event in events:
            self._remember(event.kind, event.event)
        self._saved_t = self.t
        self._note_closing()

    def _act_again(self, told: list[Action | Report], before: float) -> list[Action | Report]:
        while told and told[0].t < before:
            self.watch.step(told[0])
            told = told[1:]
        return told

    def _step(self, given: Tick | Action | Report) -> tuple[Event, ...]:
        events = self.watch.step(given)
        self._note_closing()
        for event in events:
            kind, told = type(event).__name__, to_json(event)
            self._remember(kind, told)
            self.pending.events.append((event.t, self.utc(event.t), kind, told))
        return events

    def mark_gap(self, until: float, why: str = "the recorder was not running") -> None:
        """Have it kept, and told by an alarm, that nothing recorded from the last row to `until` on its axis."""
        start = max(self.t, 0.0)
        self.note("recorder-gap", start, {"start_s": start, "end_s": until, "why": why})
        if not self.watch.closed:
            self._tell(gap_report(start, start, until, why))

    def note(self, kind: str, t: float, told: Json) -> None:
        """Keep something the recorder itself has to say of the cycle."""
        told = {"t": t, **told}
        self.said.append({"kind": kind, **told})
        self.pending.events.append((t, self.utc(t), kind, told))

    def note_alarm(self, view: AlarmView) -> None:
        """Keep an alarm that is not the watch's, its times being shop-monotonic."""

        def here(t: float | None) -> float | None:
            return None if t is None else self.axis(t)

        told = replace(
            view,
            raised_s=self.axis(view.raised_s),
            since_s=self.axis(view.since_s),
            cleared_s=here(view.cleared_s),
            acknowledged_s=here(view.acknowledged_s),
        )
        self.note("recorder-alarm", max(self.t, 0.0), {"alarm": to_json(told), "words": view.message})

    def _note_closing(self) -> None:
        if self._closed_t is None and self.watch.closed:
            self._closed_t = self.t

    def _remember(self, kind: str, told: Json) -> None:
        kept = {"kind": kind, **told}
        if kind in (_DONE, _TOLD):
            # People and reports may speak within one second, and a record keeps them in lists of their own.
            kept["order"], self._tellings = self._tellings, self._tellings + 1
        (self.did if kind == _DONE else self.said).append(kept)

"""One running cycle: the watch, its time axis, and what of it still has to be written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Protocol

from press_monitor.archive.types import ChannelMeta, CycleStart, EventRow, Json, LiveRow, Save
from press_monitor.readings.conditioning import reading_of
from press_monitor.readings.types import Role, Tick, role_of
from press_monitor.watch.types import Action, Event, OperatorDid, Snapshot, from_json, to_json

__all__ = ["SAVE_EVERY_S", "Counts", "Cycle", "Watch", "tick_of"]

SAVE_EVERY_S = 60.0

Counts = tuple[int | None, ...]
"""One row's integers in the order of the press's channels."""

_AFTER_RELEASE_S = 10.0
"""How long a released press is still followed, so that what the release itself did wrong is said before sealing."""

_DONE = OperatorDid.__name__


class Watch(Protocol):
    """What the recorder needs of `press_monitor.watch.CureWatch`."""

    @property
    def closed(self) -> bool:
        """Whether the cycle is over."""

    def step(self, given: Tick | Action) -> tuple[Event, ...]:
        """Take a tick or an action."""

    def snapshot(self) -> Snapshot:
        """All a screen needs."""

    def result(self, *, at_release: bool = False) -> Json:
        """What is sealed: the cure as it stood at the release."""

    def profiles(self) -> Json:
        """The cure through the thickness at heat-off and at release."""

    def save(self) -> Json:
        """All that is needed to go on later."""


def tick_of(t: float, counts: Counts, channels: tuple[ChannelMeta, ...]) -> Tick:
    """What the watch sees of a kept row: nothing where every cell is empty, else each judged channel's reading."""
    if all(n is None for n in counts):
        return Tick(t, {})
    return Tick(t, {c.name: reading_of(counts[k], c.unit, c.decimals) for k, c in _judged(channels)})


@cache
def _judged(channels: tuple[ChannelMeta, ...]) -> tuple[tuple[int, ChannelMeta], ...]:
    """The channels a watch can use, each with its place in a row."""
    return tuple((k, c) for k, c in enumerate(channels) if role_of(c.name) is not Role.OTHER)


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
        self.seq = -1
        self.t = -1.0
        self.said: list[Json] = []
        """Everything the watch said, each with its `kind`."""
        self.did: list[Json] = []
        """What operators did."""
        self._saved_t = 0.0
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
        events = self._step(tick_of(self.t, counts, self.start.channels))
        if self.t - self._saved_t >= SAVE_EVERY_S:
            self.keep_save()
        return events

    def act(self, action: Action) -> tuple[Event, ...]:
        """Tell the watch what somebody did. Its `t` must be the last row's, so that a replay finds its place."""
        return self._step(action)

    def keep_save(self) -> None:
        """Have the watch's state written as of the last row."""
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
        acted = [from_json(OperatorDid, e.event).action for e in events if e.kind == _DONE]
        # A save is made right after its row, so what was done at the save's own second came after it.
        waiting = [action for action in acted if save is None or action.t >= save.t]
        for seq, t, counts in rows:
            if seq <= self.seq:
                continue
            waiting = self._act_again(waiting, before=float(t))
            self.seq, self.t = seq, float(t)
            self.watch.step(tick_of(self.t, tuple(counts), self.start.channels))
        self._act_again(waiting, before=float("inf"))
        for event in events:
            self._remember(event.kind, event.event)
        self._saved_t = self.t
        self._note_closing()

    def _act_again(self, actions: list[Action], before: float) -> list[Action]:
        while actions and actions[0].t < before:
            self.watch.step(actions[0])
            actions = actions[1:]
        return actions

    def _step(self, given: Tick | Action) -> tuple[Event, ...]:
        events = self.watch.step(given)
        self._note_closing()
        for event in events:
            kind, told = type(event).__name__, to_json(event)
            self._remember(kind, told)
            self.pending.events.append((event.t, self.utc(event.t), kind, told))
        return events

    def mark_gap(self, until: float) -> None:
        """Have it kept that nothing recorded from the last row to `until` on the cycle's axis."""
        start = max(self.t, 0.0)
        why = "the recorder was not running"
        self.note("recorder-gap", start, {"start_s": start, "end_s": until, "why": why})

    def note(self, kind: str, t: float, told: Json) -> None:
        """Keep something the recorder itself has to say of the cycle."""
        told = {"t": t, **told}
        self.said.append({"kind": kind, **told})
        self.pending.events.append((t, self.utc(t), kind, told))

    def _note_closing(self) -> None:
        if self._closed_t is None and self.watch.closed:
            self._closed_t = self.t

    def _remember(self, kind: str, told: Json) -> None:
        (self.did if kind == _DONE else self.said).append({"kind": kind, **told})

"""One press as the recorder keeps it: empty, or with a running cycle, or waiting for its certificate."""

from __future__ import annotations

import math
import uuid
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from typing import Protocol

from drivers.base import Sample
from press_monitor.archive.types import ChannelMeta, CycleStart, Json, deflated
from press_monitor.quantities import to_si
from press_monitor.readings.conditioning import PressConditioner
from press_monitor.readings.types import Role, role_of
from press_monitor.recorder.clock import ClockNote
from press_monitor.recorder.cycle import Counts, Cycle, Watch
from press_monitor.recorder.gathering import Shown
from press_monitor.recorder.states import States
from press_monitor.recorder.ticks import Slot, TickAssembler
from press_monitor.recorder.trigger import HeatTrigger
from press_monitor.recorder.writer import Job
from press_monitor.watch.types import Action, AlarmView, Event, PortView, Snapshot

__all__ = ["Fitted", "Refused", "Station", "Watches"]

_HISTORY_S = 600.0
_SHOW_RELEASED_S = 600.0
"""How long an empty press still says what came of its last cycle, shop seconds."""

_MEMORY_S = 2.0
"""Seconds after an interruption in which an instrument may begin to hand over what it remembers."""


class Refused(Exception):
    """A command that is not carried out; the message says why, in words for the operator."""


@dataclass(frozen=True, slots=True)
class Fitted:
    """A watch made for a new cycle, and all that is needed to make it again."""

    watch: Watch
    recipe: Json
    repair: Json | None
    ticket: Json | None
    setup: Json


class Watches(Protocol):
    """Makes watches for one press."""

    def fit(self, args: Mapping[str, Json] | None) -> Fitted:
        """A watch for a start command's arguments, or for an unticketed cycle. Raises `Refused`."""

    def again(self, start: CycleStart, save: Json | None) -> Watch:
        """The watch of a kept cycle, fresh or restored."""

    def empty(self, t: float, values: Mapping[str, float]) -> Snapshot:
        """What a screen needs of the press while nothing is on it; `values` in SI by channel."""

    def body(self, cycle: Cycle, trouble: str | None = None) -> dict[str, Json]:
        """The record to be sealed; with `trouble`, an incomplete one that says why it is."""


class Station:
    """One press. Every call comes from the recorder's loop, and none of them waits for anything.

    Args:
        name: the press's name in the shop file.
        conditioner: of the press's channels, in row order.
        watches: makes its watches.
        put: queues jobs for the writer.
        monotonic, utc: shop time.
        interval: grid step, whole shop seconds.
        grace, quiet: see `TickAssembler`.
        new_id: makes cycle ids.
    """

    def __init__(
        self,
        name: str,
        conditioner: PressConditioner,
        watches: Watches,
        put: Callable[..., None],
        *,
        monotonic: Callable[[], float],
        utc: Callable[[], float],
        interval: int = 1,
        grace: float = 0.3,
        quiet: float = 1.0,
        new_id: Callable[[], str] = lambda: uuid.uuid4().hex,
    ) -> None:
        self.name = name
        self.channels = tuple(ChannelMeta(s.name, s.unit, s.decimals) for s in conditioner.setups)
        self.cycle: Cycle | None = None
        self.sealing = False
        self.about: dict[str, Json] = {}
        """What the recorder adds to the press's state: port, horn, disk."""
        self.moment: dict[str, Json] = {}
        """The same of what is another each time: what the time was."""
        self.shown: Shown | None = None
        """The running cycle as last published."""
        self.port: PortView | None = None
        """How the press's port was seen last."""
        self._conditioner = conditioner
        self._watches = watches
        self._put = put
        self._monotonic = monotonic
        self._utc = utc
        self._interval = interval
        self._quiet = quiet
        self._new_id = new_id
        self._ticks = TickAssembler([c.name for c in self.channels], interval=interval, grace=grace, quiet=quiet)
        self._trigger = HeatTrigger()
        self._mats = [k for k, c in enumerate(self.channels) if role_of(c.name) in (Role.INNER_MAT, Role.OUTER_MAT)]
        self._past: deque[tuple[float, Counts]] = deque(maxlen=int(_HISTORY_S / interval))
        self._awaiting: Mapping[str, Json] | None = None
        self._changed = True
        self._centred = False
        self._published = float("-inf")
        self._states = States()
        self._released: tuple[Snapshot, int, float] | None = None
        self._sealed: list[int | str] = []

    # -- readings --

    def take(self, samples: Sequence[Sample], budget: int = 1_000_000) -> bool:
        """Take what the port gave and step through at most `budget` slots; True where more are due at once."""
        now = self._monotonic()
        if not samples and self._ticks.idle(now) and (self.cycle is None or not self.cycle.pending.events):
            return False
        self._ticks.add(samples, now)
        if not self._centred and self.cycle is None and self._ticks.seen:
            self._ticks.centre()
            self._centred = True
        given = 0
        for slot in islice(self._ticks.due(now), budget):
            self._slot(slot)
            given += 1
        if self.cycle is not None and self.cycle.over and not self.sealing:
            self._seal(self.cycle)
        self._flush()
        return given == budget

    def _slot(self, slot: Slot) -> None:
        self._changed = True
        counts = self._counts(slot)
        if self.cycle is not None and not self.sealing:
            if not self.cycle.over:
                self.cycle.take(slot.at, counts)
            return
        while self._past and self._past[-1][0] >= slot.at:
            self._past.pop()  # an instrument's memory goes back behind what was empty until it was heard
        self._past.append((slot.at, counts))
        if self.sealing:
            return
        if self._awaiting is not None:
            args, self._awaiting = self._awaiting, None
            self._begin(self._watches.fit(args), slot.at)
            return
        began = self._trigger.take(slot.at, [self._si(k, counts) for k in self._mats])
        if began is not None:
            self._begin(self._watches.fit(None), began)

    def _counts(self, slot: Slot) -> Counts:
        return self._conditioner.counts(slot.samples)

    def _si(self, k: int, counts: Counts) -> float | None:
        n, channel = counts[k], self.channels[k]
        return None if n is None else to_si(n / 10**channel.decimals, channel.unit)

    # -- cycles --

    @property
    def awaiting(self) -> bool:
        """Whether a cycle begins with the next readings."""
        return self._awaiting is not None

    def await_first(self, args: Mapping[str, Json]) -> None:
        """Begin a cycle with a start command's arguments at the next slot, as far back as an instrument remembers.

        Raises `Refused` for arguments no watch can be made of, or with a cycle on the press.
        """
        if self.cycle is not None:
            raise Refused(f"{self.name} has a cycle already")
        self._watches.fit(args)
        self._awaiting = args

    def _begin(self, fitted: Fitted, origin: float) -> None:
        """Begin a cycle whose zero is `origin`; rows since then that are kept in memory become its first."""
        latest = self._ticks.latest(self._monotonic())
        kept = [(at, counts) for at, counts in self._past if at >= min(origin, latest)]
        if origin - latest > _MEMORY_S * self._quiet:
            # It is still working through an instrument's memory: that was another tire's time, and is not this one's.
            origin, kept = latest + math.ceil((origin - latest) / self._interval) * self._interval, []
        elif len(kept) < 2:
            self._ticks.centre()
            origin = self._ticks.latest(self._monotonic())
            kept = [(origin, counts) for _, counts in kept]
        else:
            origin = kept[0][0]
        started = self._utc() - (self._monotonic() - origin)
        start = CycleStart(
            cycle_id=self._new_id(),
            press=self.name,
            started_utc=started,
            source="live",
            recipe=fitted.recipe,
            repair=fitted.repair,
            ticket=fitted.ticket,
            channels=self.channels,
            time_decimals=0,
            setup=fitted.setup,
        )
        self._put(Job(lambda archive: archive.begin_cycle(start)))
        self.cycle = cycle = Cycle(start, fitted.watch, origin)
        for at, counts in kept or [(origin, (None,) * len(self.channels))]:
            cycle.take(at, counts)
        self._forget()
        self._released = None
        self._changed = True

    def resume(self, cycle: Cycle) -> None:
        """Go on with a cycle that an interruption left open; slots since its last row are given out as they were."""
        self.cycle = cycle
        wait_until = self._monotonic() + _MEMORY_S * self._quiet
        self._ticks.start_at(cycle.origin + cycle.t + self._interval, wait_until)
        self._changed = True

    def _seal(self, cycle: Cycle, trouble: str | None = None) -> None:
        self._flush()
        self.sealing = True
        try:
            body = self._watches.body(cycle, trouble)
        except Exception as error:  # a record that cannot be told whole must still be sealed, or the press is lost
            body = self._watches.body(cycle, trouble := f"{type(error).__name__}: {error}")
        self._put(
            Job(
                lambda archive: archive.seal(cycle.id, body),
                done=lambda number: self._sealed.append(int(str(number))),
                failed=lambda why: self._sealed.append(why if trouble is None else 0),
            )
        )
        self._changed = True

    def give_up(self, cycle: Cycle, trouble: str) -> None:
        """Seal a kept cycle that cannot be gone on with as incomplete, for this reason."""
        self.cycle = cycle
        self._seal(cycle, trouble)

    def finished(self) -> int | None:
        """The number of the certificate just sealed, the press being empty again; None otherwise.

        0 where the archive refused even an incomplete record: the cycle then stays open in it.
        """
        if not self._sealed:
            return None
        outcome, cycle = self._sealed.pop(), self.cycle
        if isinstance(outcome, str) and cycle is not None:
            self._seal(cycle, outcome)
            return None
        if cycle is not None and cycle.watch.closed and outcome:
            self._released = (cycle.watch.snapshot(), int(outcome), self._monotonic())
        self.cycle, self.sealing = None, False
        self._forget()
        self._changed = True
        return int(outcome)

    def _forget(self) -> None:
        self._past.clear()
        self._trigger.forget()

    # -- what people say --

    def begin(self, args: Mapping[str, Json]) -> None:
        """Begin a cycle now, with a start command's arguments. Raises `Refused`."""
        if self.cycle is not None and self.cycle.watch.closed:
            raise Refused(f"the last cycle on {self.name} is being sealed; try again in a few seconds")
        if self.cycle is not None:
            ticketed = "" if self.cycle.start.ticket is not None else " without a ticket"
            raise Refused(f"{self.name} has a cycle{ticketed} already; release it first")
        self._begin(self._watches.fit(args), self._monotonic())
        self._flush()

    def act(self, cycle: Cycle, action: Action) -> tuple[Event, ...]:
        """Tell the running cycle's watch what somebody did; what it said."""
        said = cycle.act(action)
        self._changed = True
        self._flush()
        return said

    def see_port(self, port: PortView) -> None:
        """Tell the running cycle, where it is news, and the screens how the press's port is."""
        self.port = port
        if self.cycle is not None and not self.sealing and self.cycle.see_port(port):
            self._changed = True
            self._flush()

    def note(self, note: ClockNote) -> None:
        """Have a clock note kept with the running cycle; a sleep is a gap in its record, and an alarm."""
        cycle = self.cycle
        if cycle is None:
            return
        cycle.note(note.kind, max(cycle.t, 0.0), {"seconds": note.seconds, "words": note.words})
        until = cycle.axis(self._monotonic())
        if note.kind == "sleep-gap" and until > cycle.t and not self.sealing:
            cycle.mark_gap(until, "the computer slept or stood still")
            self._changed = True

    def note_own(self, view: AlarmView) -> None:
        """Have an alarm of the recorder's own kept with the running cycle, its times being shop-monotonic."""
        if self.cycle is not None and not self.sealing:
            self.cycle.note_alarm(view)

    def note_standing(self, views: Sequence[AlarmView]) -> None:
        """Have those of the recorder's own alarms that stand kept with a cycle that is new, once a cycle."""
        if self.cycle is not None and not self.cycle.told_standing:
            self.cycle.told_standing = True
            for view in views:
                if view.standing:
                    self.note_own(view)

    # -- what goes to the writer --

    def _flush(self) -> None:
        cycle = self.cycle
        if cycle is None:
            return
        pending = cycle.take_pending()
        jobs: list[Job] = []
        if rows := pending.rows:
            jobs.append(Job(lambda archive: archive.add_rows(cycle.id, rows), rows=len(rows)))
        if events := pending.events:
            jobs.append(Job(lambda archive: archive.add_events(cycle.id, events)))
        if save := pending.save:
            data = deflated(save.save)  # here, so that the commit need not wait for it
            jobs.append(
                Job(lambda archive: archive.put_save(cycle.id, save.seq, save.t, data), key=f"save {self.name}")
            )
        if jobs:
            self._put(*jobs)

    @property
    def changed(self) -> bool:
        """Whether `publish` has something to say."""
        return self._changed

    def publish(self) -> bool:
        """Queue the press's state for the dashboards, if it has changed since the last time."""
        if not self._changed:
            return False
        self._changed = False
        cycle = self.cycle
        if cycle is None:
            snapshot, cycle_id, utc = self._empty(), None, self._utc()
        else:
            snapshot, cycle_id = self._states.snapshot(cycle), cycle.id
            # A dashboard takes a state as new by its time: what was done within one second is new as well.
            utc = max(cycle.utc(max(cycle.t, 0.0)), min(self._published + 0.001, cycle.utc(cycle.t + 1.0)))
            self._published = utc
        self.shown = None if cycle is None else Shown(cycle.id, cycle.utc(0.0), snapshot)
        moving, steady = self._states.texts(snapshot, self.about, self.moment)
        self._put(
            Job(lambda archive: archive.put_state(self.name, cycle_id, utc, moving, steady), key=f"state {self.name}")
        )
        return True

    def _empty(self) -> Snapshot:
        at, counts = self._past[-1] if self._past else (self._monotonic(), (None,) * len(self.channels))
        values = {c.name: si for k, c in enumerate(self.channels) if (si := self._si(k, counts)) is not None}
        # The last cycle's axis goes on: a screen that still shows its curves must not take another clock for it.
        origin = 0.0 if self._released is None else self._released[2] - self._released[0].t
        empty = replace(self._watches.empty(at - origin, values), port=self.port)
        if self._released is None or self._monotonic() - self._released[2] > _SHOW_RELEASED_S:
            return empty
        last, number, _ = self._released
        return replace(
            last,
            t=empty.t,
            inner=empty.inner,
            outer=empty.outer,
            bag_Pa=empty.bag_Pa,
            bag_trend_Pa_min=None,
            extras=empty.extras,
            forecast=None,
            outlook=(),
            alarms=(),
            gate=replace(last.gate, bag_is_down=empty.gate.bag_is_down),
            port=self.port,
            words=f"released, sealed as certificate {number}",
        )

    def stop(self) -> None:
        """Queue what a later start needs to go on from here."""
        if self.cycle is not None and not self.sealing:
            self.cycle.keep_save()
            self._flush()

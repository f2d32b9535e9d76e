"""The alarm book of one cure: conditions go in, alarms with delays, causes and states come out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

from press_monitor.watch.alarm_table import AlarmEvent, next_state
from press_monitor.watch.kinds import ADOPTED_WITHIN, ADOPTING, ADOPTING_PAST, ANY, CAUSES, KINDS, AlarmKind
from press_monitor.watch.plain import Json, from_json, to_json
from press_monitor.watch.types import AlarmChanged, AlarmState, AlarmView, Priority

__all__ = ["AlarmBook", "Condition"]

_QUIET = (AlarmState.SHELVED, AlarmState.SUPPRESSED, AlarmState.OUT_OF_SERVICE)
_STANDS_ALONE = ("pressure-lost-uncured", "released-early", "no-readings")


@dataclass(frozen=True, slots=True)
class Condition:
    """What a detector finds true now.

    Attributes:
        kind: a name of `KINDS`.
        channel: the channel it concerns, None for the press.
        since: estimated onset on the cycle's axis.
        message, advice: in words, used when the alarm is raised.
        under: further kinds it hangs under, where the detector itself knows of a common cause.
        certain: whether a second witness makes waiting out the on-delay needless.
    """

    kind: str
    channel: str | None
    since: float
    message: str
    advice: str
    under: tuple[str, ...] = ()
    certain: bool = False


@dataclass(slots=True)
class _Entry:
    """The life of one (kind, channel)."""

    view: AlarmView | None = None
    pending_since: float | None = None
    clear_since: float | None = None
    present: bool = False
    shelved_until: float | None = None


@dataclass(slots=True)
class _State:
    entries: dict[str, _Entry] = field(default_factory=dict)
    past: list[AlarmView] = field(default_factory=list)
    count: int = 0


class AlarmBook:
    """All alarms of one cycle. Deterministic: ids count up in the order of raising."""

    def __init__(self, kinds: Mapping[str, AlarmKind] = KINDS) -> None:
        self._kinds = kinds
        self._s = _State()

    def save(self) -> Json:
        """Plain JSON."""
        return to_json(self._s)

    def load(self, data: Json) -> None:
        """Continue from `save`."""
        self._s = _State(
            entries={key: from_json(_Entry, value) for key, value in data["entries"].items()},
            past=[from_json(AlarmView, value) for value in data["past"]],
            count=data["count"],
        )

    def views(self) -> tuple[AlarmView, ...]:
        """Every alarm raised so far, in the order of raising."""
        standing = [entry.view for entry in self._s.entries.values() if entry.view is not None]
        return tuple(sorted([*self._s.past, *standing], key=lambda view: int(view.id[1:])))

    def forget(self, keep: int) -> None:
        """Keep no more than so many alarms of the past: a book that is never closed would grow for ever."""
        del self._s.past[: max(0, len(self._s.past) - keep)]

    def standing(self, kind: str, channel: str | None = None) -> AlarmView | None:
        """The alarm of a kind (and channel, if given) whose condition still holds."""
        for view in self._standing():
            if view.kind == kind and (channel is None or view.channel == channel):
                return view
        return None

    def _standing(self) -> Iterator[AlarmView]:
        for entry in self._s.entries.values():
            if entry.view is not None and entry.view.cleared_s is None:
                yield entry.view

    def update(self, t: float, conditions: list[Condition]) -> list[AlarmChanged]:
        """Take everything that is true at `t`; what is not listed is not true."""
        changed: list[AlarmChanged] = []
        true_now = {f"{c.kind}/{c.channel or ''}": c for c in conditions}
        for key, condition in true_now.items():
            entry = self._s.entries.setdefault(key, _Entry())
            entry.present, entry.clear_since = True, None
            if entry.pending_since is None:
                entry.pending_since = t
            standing = entry.view is not None and entry.view.cleared_s is None
            kind = self._kinds[condition.kind]
            wait = 0.0 if kind.own_clock or condition.certain else kind.on_delay
            if not standing and t - entry.pending_since >= wait - 1e-6:
                changed.append(self._raise(t, entry, condition))
                changed.extend(self._adopt(t, entry))
        for key, entry in self._s.entries.items():
            if key not in true_now:
                entry.present, entry.pending_since = False, None
                changed.extend(self._maybe_clear(t, entry))
            changed.extend(self._maybe_unshelve(t, entry))
        return changed

    def _raise(self, t: float, entry: _Entry, condition: Condition) -> AlarmChanged:
        kind = self._kinds[condition.kind]
        cause = self._cause_of(condition)
        before = entry.view
        state = AlarmState.NORMAL
        if before is not None:
            # each occurrence keeps a row of its own; what the one before still asks for, the new one asks for
            state = before.state
            self._s.past.append(replace(before, state=AlarmState.NORMAL))
        self._s.count += 1
        view = AlarmView(
            id=f"A{self._s.count}",
            kind="above-profile" if condition.kind == "above-maximum" else condition.kind,
            channel=condition.channel,
            priority=kind.priority,
            state=next_state(state, AlarmEvent.OCCURS, latching=kind.latching, present=True),
            raised_s=t,
            since_s=min(condition.since, t),
            cleared_s=None,
            consequence_of=cause,
            message=condition.message,
            advice=condition.advice,
        )
        asked = before is not None and before.wants_acknowledging
        entry.view = view if asked else self._acknowledged_with_cause(t, view)
        return AlarmChanged(t, entry.view)

    def _acknowledged_with_cause(self, t: float, view: AlarmView) -> AlarmView:
        """A consequence of something the operator has already acknowledged does not call a second time."""
        if view.consequence_of is None or view.kind in _STANDS_ALONE:
            return view
        cause = next((v for v in self.views() if v.id == view.consequence_of), None)
        if cause is None or cause.acknowledged_s is None:
            return view
        state = next_state(view.state, AlarmEvent.ACKNOWLEDGE, latching=False, present=True)
        return replace(view, state=state, acknowledged_s=t, acknowledged_by=cause.acknowledged_by)

    def _cause_of(self, condition: Condition) -> str | None:
        standing = list(self._standing())
        for cause, agree in (*CAUSES.get(condition.kind, ()), *((kind, ANY) for kind in condition.under)):
            for view in standing:
                if view.kind == cause and _agrees(view, agree, condition.channel):
                    return view.consequence_of or view.id
        return None

    def _adopt(self, t: float, cause: _Entry) -> list[AlarmChanged]:
        """Hang what was told just before its cause under it: one cause, one alarm."""
        root = cause.view
        if root is None or root.kind not in ADOPTING or root.consequence_of is not None:
            return []
        changed, taken = [], []
        for key, entry in self._s.entries.items():
            view = entry.view
            if view is None or t - view.raised_s > ADOPTED_WITHIN:
                continue
            if view.cleared_s is not None and (root.kind not in ADOPTING_PAST or view.acknowledged_s is not None):
                continue
            if view.kind == root.kind:
                continue
            fits = any(
                kind == root.kind and _agrees(root, agree, view.channel)
                for kind, agree in CAUSES.get(key.split("/")[0], ())
            )
            if fits and (view.consequence_of is None or view.consequence_of in taken):
                taken.append(view.id)
                entry.view = replace(view, consequence_of=root.id)
                changed.append(AlarmChanged(t, entry.view))
        return changed

    def _maybe_clear(self, t: float, entry: _Entry) -> list[AlarmChanged]:
        view = entry.view
        if view is None or view.cleared_s is not None:
            return []
        if entry.clear_since is None:
            entry.clear_since = t
        kind = self._kinds[view.kind]
        if t - entry.clear_since < kind.off_delay - 1e-6:
            return []
        state = view.state
        if state not in _QUIET:
            state = next_state(state, AlarmEvent.RETURNS, latching=kind.latching, present=False)
        entry.view = replace(view, state=state, cleared_s=t)
        return [AlarmChanged(t, entry.view)]

    def _maybe_unshelve(self, t: float, entry: _Entry) -> list[AlarmChanged]:
        view = entry.view
        if view is None or entry.shelved_until is None or t < entry.shelved_until:
            return []
        return self._move(t, entry, AlarmEvent.UNSHELVE)

    def _move(self, t: float, entry: _Entry, event: AlarmEvent, by: str = "") -> list[AlarmChanged]:
        view = entry.view
        if view is None:
            return []
        state = next_state(view.state, event, latching=self._kinds[view.kind].latching, present=view.cleared_s is None)
        if state is view.state:
            return []
        view = replace(view, state=state)
        if event is AlarmEvent.ACKNOWLEDGE:
            view = replace(view, acknowledged_s=t, acknowledged_by=by or None)
        if event is not AlarmEvent.SHELVE:
            entry.shelved_until = None
        entry.view = view
        return [AlarmChanged(t, view)]

    def _entry(self, alarm: str) -> _Entry | None:
        entries = self._s.entries.values()
        return next((e for e in entries if e.view is not None and e.view.id == alarm), None)

    def acknowledge(self, t: float, alarm: str | None, by: str) -> tuple[list[AlarmChanged], str | None]:
        """Acknowledge one alarm with what hangs under it, or (None) all that ask. Returns what moved, refusal."""
        if alarm is not None and self._entry(alarm) is None:
            return [], f"alarm {alarm} is not standing"
        changed: list[AlarmChanged] = []
        for entry in self._s.entries.values():
            view = entry.view
            if view is None or not (alarm is None or alarm in (view.id, view.consequence_of)):
                continue
            changed.extend(self._move(t, entry, AlarmEvent.ACKNOWLEDGE, by))
        return changed, None if changed else "nothing there to acknowledge"

    def shelve(self, t: float, alarm: str | None, seconds: float) -> tuple[list[AlarmChanged], str | None]:
        """Put an alarm aside for a stated time."""
        entry = self._entry(alarm or "")
        if entry is None:
            return [], f"alarm {alarm} is not standing"
        changed = self._move(t, entry, AlarmEvent.SHELVE)
        entry.shelved_until = t + seconds if changed else entry.shelved_until
        return changed, None if changed else "cannot be shelved now"

    def other(self, t: float, alarm: str | None, event: AlarmEvent) -> tuple[list[AlarmChanged], str | None]:
        """Reset or unshelve an alarm."""
        entry = self._entry(alarm or "")
        if entry is None:
            return [], f"alarm {alarm} is not standing"
        changed = self._move(t, entry, event)
        return changed, None if changed else f"cannot {event.value} alarm {alarm} now"

    def worst(self) -> AlarmView | None:
        """The alarm people should see first: asking before acknowledged, high before low, roots before consequences."""
        rank = {Priority.HIGH: 0, Priority.MEDIUM: 1, Priority.LOW: 2}
        calling = [v for v in self.views() if v.cleared_s is None or v.wants_acknowledging]
        calling = [v for v in calling if v.state not in _QUIET]
        if not calling:
            return None
        return min(
            calling,
            key=lambda v: (not v.wants_acknowledging, rank[v.priority], v.consequence_of is not None, v.raised_s),
        )


def _agrees(cause: AlarmView, how: str, channel: str | None) -> bool:
    """Whether a cause concerns the channel it is said to explain."""
    return how == ANY or cause.channel in (channel, None)

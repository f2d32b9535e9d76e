"""Which alarms call somebody, how loudly, and what the phones are told. Pure: no clock, no port, no network.

An alarm of high priority calls until it is acknowledged. After three minutes without an acknowledgement the horn goes
from beats to one long tone, and the phones are told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import Enum

from press_monitor.callout import ESCALATES_AFTER_S, Phone
from press_monitor.watch.types import AlarmView, Priority

__all__ = ["Call", "Caller", "Loudness", "Message", "calls_of"]


class Loudness(Enum):
    """What the horn is to do."""

    QUIET = "quiet"
    CALLING = "calling"
    ESCALATED = "escalated"


@dataclass(frozen=True, slots=True)
class Call:
    """One alarm that wants somebody.

    Attributes:
        key: the same for as long as it is the same occurrence.
        place: the press in the shop's words; the recorder for its own troubles.
        kind, message, advice: of the alarm.
        unattended: whether nobody is meant to be near, so that a message goes out at once.
        under: the key of the call it is a consequence of, where that calls too.
        over: the keys of the calls it speaks for, which come before it; it has stood since the first of them has.
    """

    key: str
    place: str
    kind: str
    message: str
    advice: str
    unattended: bool = False
    under: str | None = None
    over: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Message:
    """What a phone is sent."""

    title: str
    body: str


def calls_of(place: str, cycle_id: str, alarms: Sequence[AlarmView], *, unattended: bool) -> list[Call]:
    """The calls among a cycle's alarms: high ones that want acknowledging, consequences included."""
    loud = {a.id: a for a in alarms if a.priority is Priority.HIGH and a.wants_acknowledging}
    return [
        Call(
            f"{cycle_id}/{alarm.id}",
            place,
            alarm.kind,
            alarm.message,
            alarm.advice,
            unattended,
            f"{cycle_id}/{alarm.consequence_of}" if alarm.consequence_of in loud else None,
        )
        for alarm in loud.values()
    ]


@dataclass(slots=True)
class _Known:
    call: Call
    since: float
    told_at: float | None = None
    quiet_until: float = float("-inf")


@dataclass(slots=True)
class Caller:
    """Keeps since when each call has stood. Times are real monotonic seconds.

    Attributes:
        shop: its name, for messages.
        phone: when messages go out; None where there are none to send.
    """

    shop: str
    phone: Phone | None = None
    _known: dict[str, _Known] = field(default_factory=dict)

    def look(self, calls: Sequence[Call], now: float) -> tuple[Loudness, tuple[Message, ...]]:
        """Take the calls that stand at `now`; how loud the horn is to be, and the messages that are due."""
        messages = self._forget({call.key for call in calls})
        for call in calls:
            known = self._known.setdefault(call.key, _Known(call, now))
            known.call = call
            known.since = min([known.since, *(self._known[key].since for key in call.over if key in self._known)])
            if self._is_due(known, now):
                known.told_at = now
                messages.append(self._message(known.call, now - known.since))
        return self._loudness(now), tuple(messages)

    def silence(self, now: float) -> int:
        """Quiet the horn for the present calls, without acknowledging them, for three minutes; how many there are."""
        for known in self._known.values():
            known.quiet_until = now + ESCALATES_AFTER_S
        return len(self._known)

    def _forget(self, standing: set[str]) -> list[Message]:
        gone = [self._known.pop(key) for key in list(self._known) if key not in standing]
        messages = []
        for known in gone:
            heirs = [self._known[key] for key in known.call.over if key in self._known]
            for heir in heirs:  # what was said of all of them was said of each
                heir.told_at = known.told_at if heir.told_at is None else heir.told_at
            if known.told_at is not None and not heirs:
                verb = "call" if known.call.over else "calls"
                title = f"{self.shop}: {known.call.place} {verb} no longer"
                messages.append(Message(title, f"{_kind_words(known.call)}: acknowledged."))
        return messages

    def _is_due(self, known: _Known, now: float) -> bool:
        if self.phone is None or known.call.under is not None:
            return False
        if known.told_at is not None:
            return now - known.told_at >= self.phone.repeat
        return now - known.since >= (0.0 if known.call.unattended else self.phone.after)

    def _loudness(self, now: float) -> Loudness:
        # The horn goes by the presses' own alarms: one that only gathers them brings nothing new.
        loud = [known for known in self._known.values() if now >= known.quiet_until and not known.call.over]
        if not loud:
            return Loudness.QUIET
        escalated = any(now - known.since >= ESCALATES_AFTER_S for known in loud)
        return Loudness.ESCALATED if escalated else Loudness.CALLING

    def _message(self, call: Call, standing: float) -> Message:
        since = f" for {standing / 60.0:.0f} min" if standing >= 60.0 else ""
        return Message(
            f"{self.shop}: {call.place} {_kind_words(call)}",
            f"Unacknowledged{since}. {call.message} What to do: {call.advice}",
        )


def _kind_words(call: Call) -> str:
    return call.kind.replace("-", " ").upper()

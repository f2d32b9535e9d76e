"""The way an alarm takes out of the computer: horn and phones, their tests, and what depends on them.

Every call comes from the recorder's loop, and none of them waits for a port or a network.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from press_monitor.archive.types import Command, EventRow, Json
from press_monitor.recorder.calling import Call, Caller, Loudness, Message
from press_monitor.recorder.horn import HornState, HornThread
from press_monitor.recorder.orders import Answer
from press_monitor.recorder.own_alarms import PLACE
from press_monitor.recorder.phone import PhoneState, PhoneThread
from press_monitor.recorder.station import Refused
from press_monitor.shop import Shop
from press_monitor.watch.types import AlarmView

__all__ = ["HORN_TESTED", "PHONE_TESTED", "TESTED_WITHIN_S", "AlarmPath", "last_tests"]

HORN_TESTED, PHONE_TESTED = "horn-tested", "phone-tested"
"""Kinds of the events that somebody heard the horn, or got the message."""

TESTED_WITHIN_S = 7 * 86_400.0
_TEST_S = 3.0
_CONFIRM_WITHIN_S = 300.0
_COMMANDS = ("test-horn", "confirm-horn", "test-phone", "confirm-phone", "silence-horn")
_NO_HORN = "no horn: alarms are heard only where a screen is open"


def last_tests(events: Iterable[EventRow]) -> dict[str, float]:
    """When somebody last heard the horn and got a message, UTC seconds by the event's kind."""
    return {event.kind: event.utc for event in events if event.kind in (HORN_TESTED, PHONE_TESTED)}


@dataclass(slots=True)
class _Test:
    began: float = float("-inf")
    began_utc: float = 0.0


class AlarmPath:
    """Horn and phones of one shop.

    Args:
        shop: the shop file.
        record: keeps an event of the whole shop: kind, UTC, what it says.
        horn, phone: made from the shop file; None for none.
    """

    def __init__(
        self,
        shop: Shop,
        record: Callable[[str, float, Json], None],
        *,
        horn: HornThread | None = None,
        phone: PhoneThread | None = None,
    ) -> None:
        self._horn = horn
        self._phone = phone
        self._record = record
        self._caller = Caller(shop.name, None if phone is None else phone.phone)
        self._shop = shop.name
        self._tested: dict[str, float] = {}
        self._tests = {"horn": _Test(), "phone": _Test()}
        self._loudness = Loudness.QUIET

    def start(self, tested: Mapping[str, float]) -> None:
        """Start the threads; `tested` as `last_tests` gives it."""
        self._tested.update(tested)
        for thread in (self._horn, self._phone):
            if thread is not None:
                thread.start()

    def stop(self) -> None:
        """End the threads."""
        for thread in (self._horn, self._phone):
            if thread is not None:
                thread.stop()

    # -- calling --

    def look(self, calls: Sequence[Call], now: float) -> None:
        """Call for what stands at `now`, real monotonic seconds: alarms of the presses and the recorder's own."""
        loud, messages = self._caller.look(calls, now)
        self._loudness = loud
        if self._horn is not None:
            self._horn.feed(loud)
        if self._phone is not None:
            for message in messages:
                self._phone.send(message)

    def no_horn(self) -> str | None:
        """Why no alarm would be heard away from a screen; None where one would."""
        if self._horn is not None:
            status = self._horn.status()
            return f"the horn cannot sound: {status.why}" if status.state is HornState.LOST else None
        if self._phone is None:
            return "no horn and no phone: alarms are heard only where a screen is open"
        state = self._phone.status()
        return f"no horn, and no phone: {state.why}" if state.state is PhoneState.UNUSABLE else None

    def for_phones(self, view: AlarmView | None, calls: Sequence[Call]) -> list[Call]:
        """A horn that went, for the phones to say: at once where a cure is unattended.

        `view` is the ``no-horn`` alarm while it wants acknowledging. Where there never was a horn, phones know.
        """
        if view is None or self._horn is None:
            return []
        unattended = any(call.unattended for call in calls)
        return [Call(f"recorder/{view.id}", PLACE, view.kind, f"{view.message}.", view.advice, unattended)]

    # -- what is told of it --

    def about(self) -> dict[str, Json]:
        """What the press's state says: ``horn`` is ``none`` wherever nothing would be heard."""
        horn, words = "none", _NO_HORN
        if self._horn is not None:
            status = self._horn.status()
            lost = status.state is HornState.LOST
            horn = "none" if lost else status.state.value
            words = f"the horn cannot sound: {status.why}" if lost else self._tested_words("horn", HORN_TESTED)
        phone, told = "none", "no phones"
        if self._phone is not None:
            state = self._phone.status()
            phone, told = state.state.value, state.why or self._tested_words("phone", PHONE_TESTED)
        return {
            "horn": horn,
            "horn_words": words,
            "horn_tested_utc": self._tested.get(HORN_TESTED),
            "phone": phone,
            "phone_words": told,
            "phone_tested_utc": self._tested.get(PHONE_TESTED),
        }

    def _tested_words(self, what: str, kind: str) -> str:
        return "" if kind in self._tested else f"the {what} was never tested: press-monitor check --test {what}"

    def refuse_unattended(self, ticket: object, utc: float) -> None:
        """Raise `Refused` for a ticket of an unattended cure that nobody could be called for."""
        if not isinstance(ticket, Mapping) or ticket.get("unattended") is not True:
            return
        if ticket.get("over_temperature_cutout") is not True:
            raise Refused(
                "an unattended cure needs an over-temperature cut-out that works without this computer: "
                "tick it on the ticket, or stay with the press"
            )
        about = self.about()
        usable = {HORN_TESTED: about["horn"] != "none", PHONE_TESTED: about["phone"] == PhoneState.READY.value}
        if any(usable[kind] and 0.0 <= utc - when <= TESTED_WITHIN_S for kind, when in self._tested.items()):
            return
        have = [name for name, kind in (("horn", HORN_TESTED), ("phone", PHONE_TESTED)) if usable[kind]]
        if not have:
            raise Refused(f"an unattended cure needs a horn or a phone: {about['horn_words']}; {about['phone_words']}")
        raise Refused(
            f"an unattended cure needs a {' or '.join(have)} tested within seven days: "
            f"press-monitor check --test {have[0]}"
        )

    # -- commands --

    def obey(self, command: Command, now: float, utc: float) -> Answer | None:
        """Carry out a command that is about horn or phones, or say why not; None where it is about neither."""
        if command.kind not in _COMMANDS:
            return None
        try:
            return Answer("done", self._do(command, now, utc))
        except Refused as refusal:
            return Answer("refused", str(refusal))

    def _do(self, command: Command, now: float, utc: float) -> str:
        if command.kind == "silence-horn":
            count = self._caller.silence(now)
            if not count:
                raise Refused("nothing calls")
            return "the horn is quiet for three minutes; the alarms still want acknowledging"
        action, _, what = command.kind.partition("-")
        if action == "test":
            return self._test(what, now, utc)
        return self._confirm(what, command, now, utc)

    def _test(self, what: str, now: float, utc: float) -> str:
        if what == "horn":
            if self._horn is None or self._horn.status().state is HornState.LOST:
                raise Refused(str(self.about()["horn_words"]))
            self._horn.test(_TEST_S)
            told = f"the horn sounds for {_TEST_S:.0f} s"
        else:
            if self._phone is None or self._phone.status().state is PhoneState.UNUSABLE:
                raise Refused(str(self.about()["phone_words"]))
            self._phone.send(Message(f"{self._shop}: test", "A test message. Nothing is wrong."))
            told = "a test message is on its way"
        self._tests[what] = _Test(now, utc)
        return told

    def _confirm(self, what: str, command: Command, now: float, utc: float) -> str:
        test = self._tests[what]
        if now - test.began > _CONFIRM_WITHIN_S:
            raise Refused(f"test the {what} first: press-monitor check --test {what}")
        if what == "phone" and self._phone is not None and (self._phone.status().sent_utc or 0.0) < test.began_utc:
            raise Refused(f"the test message has not gone out: {self._phone.status().why or 'wait a little'}")
        self._tests[what] = _Test()
        kind = HORN_TESTED if what == "horn" else PHONE_TESTED
        self._tested[kind] = utc
        self._record(kind, utc, {"by": command.operator})
        return f"the {what} is known to work"

"""Messages to phones through Apprise, in a thread of its own: a network that hangs holds up nobody.

Apprise is an extra (``pip install "press-monitor[phone]"``), imported in the thread. Addresses hold passwords: words
here name them by their number and scheme only.
"""

from __future__ import annotations

import logging
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import Enum

from press_monitor.callout import Phone
from press_monitor.recorder.calling import Message

__all__ = ["PhoneState", "PhoneStatus", "PhoneThread", "PhoneUnusable", "Sender", "address_words", "apprise_senders"]

Sender = Callable[[Message], bool]
"""Sends a message to one address; False where it did not get through."""

_FIRST_RETRY_S, _LONGEST_RETRY_S = 5.0, 300.0
_TOO_OLD_S = 3600.0
_MOST_WAITING = 100


class PhoneState(Enum):
    """How the phones stand, in a word."""

    READY = "ready"
    RETRYING = "retrying"
    UNUSABLE = "unusable"


@dataclass(frozen=True, slots=True)
class PhoneStatus:
    """The phones' state, why it is so, and counts. `sent_utc` is when one last got through."""

    state: PhoneState
    why: str = ""
    waiting: int = 0
    sent: int = 0
    given_up: int = 0
    sent_utc: float | None = None


class PhoneUnusable(Exception):
    """No message can be sent; the message says what to do."""


def address_words(number: int, url: str) -> str:
    """An address without its secrets."""
    return f"address {number + 1} ({url.partition('://')[0]})"


def apprise_senders(phone: Phone) -> list[Sender]:
    """A sender for each address. Raises `PhoneUnusable` without Apprise or for an address it does not know."""
    try:
        import apprise
    except ImportError:
        raise PhoneUnusable('messages want one more package: pip install "press-monitor[phone]"') from None
    # Its own log could repeat an address.
    logging.getLogger("apprise").setLevel(logging.CRITICAL + 1)

    def sender(number: int, url: str) -> Sender:
        service = apprise.Apprise()
        if not service.add(url):
            raise PhoneUnusable(f"phone.urls: {address_words(number, url)} is none that Apprise knows")
        return lambda message: bool(service.notify(title=message.title, body=message.body))

    return [sender(number, url) for number, url in enumerate(phone.urls)]


@dataclass(frozen=True, slots=True)
class _Item:
    message: Message
    number: int
    queued: float
    due: float
    wait: float = _FIRST_RETRY_S


class PhoneThread:
    """Sends what is queued, each address by itself, and tries again what did not get through.

    Args:
        phone: of the shop file.
        senders: makes one sender an address; called in the thread.
        clock: real monotonic seconds. wall: UTC seconds.
    """

    def __init__(
        self,
        phone: Phone,
        senders: Callable[[Phone], Sequence[Sender]] = apprise_senders,
        *,
        clock: Callable[[], float] = time.monotonic,
        wall: Callable[[], float] = time.time,
    ) -> None:
        self.phone = phone
        self._make = senders
        self._clock = clock
        self._wall = wall
        self._changed = threading.Condition()
        self._queue: deque[_Item] = deque()
        self._status = PhoneStatus(PhoneState.READY)
        self._stopping = False
        self._thread = threading.Thread(target=self._run, name="phone", daemon=True)

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()

    def stop(self, deadline: float = 2.0) -> bool:
        """End the thread; what waits is not sent. False where the network keeps it."""
        with self._changed:
            self._stopping = True
            self._changed.notify()
        if self._thread.is_alive():
            self._thread.join(deadline)
        return not self._thread.is_alive()

    def send(self, message: Message) -> None:
        """Queue a message to every address. Never waits; with the queue full the oldest goes."""
        now = self._clock()
        with self._changed:
            for number in range(len(self.phone.urls)):
                if len(self._queue) >= _MOST_WAITING:
                    self._queue.popleft()
                    self._status = replace(self._status, given_up=self._status.given_up + 1)
                self._queue.append(_Item(message, number, now, now))
            self._changed.notify()

    def status(self) -> PhoneStatus:
        """How the phones stand."""
        with self._changed:
            return replace(self._status, waiting=len(self._queue))

    def _run(self) -> None:
        try:
            senders = self._make(self.phone)
        except Exception as error:
            why = str(error) if isinstance(error, PhoneUnusable) else f"{type(error).__name__}: {error}"
            with self._changed:
                self._status = replace(self._status, state=PhoneState.UNUSABLE, why=why)
                self._changed.wait_for(lambda: self._stopping)
            return
        while (item := self._next()) is not None:
            self.attempt(item, senders)

    def _next(self) -> _Item | None:
        """Wait for an item whose time has come, and take it; None to stop."""
        with self._changed:
            while not self._stopping:
                now = self._clock()
                due = min(self._queue, key=lambda item: item.due, default=None)
                if due is not None and due.due <= now:
                    self._queue.remove(due)
                    return due
                self._changed.wait(None if due is None else due.due - now)
            return None

    def attempt(self, item: _Item, senders: Sequence[Sender]) -> None:
        """Try once; queue it again where that fails, unless it has grown too old to matter."""
        words = address_words(item.number, self.phone.urls[item.number])
        try:
            through = senders[item.number](item.message)
            why = "" if through else f"{words} was not reached"
        except Exception as error:  # whatever a service's own code may raise
            through, why = False, f"{words} was not reached: {type(error).__name__}"
        now = self._clock()
        with self._changed:
            status = self._status
            if through:
                self._status = replace(
                    status, state=PhoneState.READY, why="", sent=status.sent + 1, sent_utc=self._wall()
                )
            elif now - item.queued >= _TOO_OLD_S:
                self._status = replace(status, state=PhoneState.RETRYING, why=why, given_up=status.given_up + 1)
            else:
                self._status = replace(status, state=PhoneState.RETRYING, why=why)
                again = replace(item, due=now + item.wait, wait=min(2.0 * item.wait, _LONGEST_RETRY_S))
                self._queue.append(again)

"""The line: a serial port or a TCP connection, one question at a time, shared by every press whose channels are on it.

Several presses may have their channels behind one port, each with a driver and a thread of its own. They take turns,
so that a question and its answer are never mixed with another's.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from dataclasses import dataclass

from drivers.base import Loss, PortLost
from drivers.modbus_frames import Answer, Codec, Garble, Question, RtuCodec, TcpCodec
from drivers.modbus_wire import LineSettings, Wire, make_wire

__all__ = ["Line", "Silence", "join", "leave"]

_SILENT_CONNECTION_S = 10.0
_SILENT_QUESTIONS = 3


@dataclass(frozen=True, slots=True)
class Silence:
    """Nothing came in time."""


class _Turns:
    """First come, first served."""

    def __init__(self) -> None:
        self._waiting: deque[object] = deque()
        self._change = threading.Condition()

    def take(self, who: object, wait: float) -> bool:
        """Wait `wait` seconds for one's turn; who has not got it keeps the place in the queue."""
        with self._change:
            if who not in self._waiting:
                self._waiting.append(who)
            return self._change.wait_for(lambda: not self._waiting or self._waiting[0] is who, max(0.0, wait))

    def give(self, who: object) -> None:
        """Let the next one have it; harmless for who is not in the queue."""
        with self._change:
            if who in self._waiting:
                self._waiting.remove(who)
                self._change.notify_all()


class Line:
    """One open line. Every call comes from the thread of a driver that joined it, and has its turn."""

    def __init__(self, settings: LineSettings) -> None:
        self.settings = settings
        self.members: set[object] = set()
        self.turns = _Turns()
        self._opening = threading.Lock()
        self._wire: Wire | None = None
        self._codec: Codec
        self._lost: PortLost | None = None
        self._question = Question(0, 3, 0, 1)
        self._quiet_at = self._deadline = 0.0
        self._heard_at = 0.0
        self._unheard = 0
        self._garbled = False
        self._nap = threading.Event()

    def open(self) -> None:
        """Open it where no other driver has. Raises `PortLost`."""
        with self._opening:
            if self._wire is not None:
                return
            if self._lost is not None:
                raise self._again(self._lost)
            self._codec = TcpCodec() if self.settings.tcp else RtuCodec()
            wire = make_wire(self.settings)
            try:
                wire.open()
            except PortLost as lost:
                self._lose(lost)
                raise
            self._wire = wire
            self._heard_at = time.monotonic()

    def ask(self, question: Question, timeout: float, until: float) -> bool:
        """Send a question once the line has been quiet for long enough; False where that is past `until`.

        The instrument is given `timeout` seconds to think, beside the time both frames take. Raises `PortLost`.
        """
        self._question, self._garbled = question, False
        if not self._send(until):
            return False
        both = self.settings.seconds(8 + 5 + 2 * question.count)
        self._deadline = time.monotonic() + timeout + both
        return True

    def repeat(self, until: float) -> bool:
        """Send the question again, its time running on; False where the line is quiet for that only past `until`."""
        return self._send(until)

    def _send(self, until: float) -> bool:
        now = time.monotonic()
        if now < self._quiet_at:
            if self._quiet_at > until:
                return False
            self._nap.wait(self._quiet_at - now)
        wire = self._taken()
        try:
            wire.send(self._codec.ask(self._question))
        except PortLost as lost:
            self._lose(lost)
            raise
        return True

    def answer(self, until: float) -> Answer | Silence | None:
        """Wait for the answer; None at `until`, `Silence` or `Garble` when its time is up. Raises `PortLost`."""
        while True:
            answer = self._received(min(until, self._deadline) - time.monotonic())
            now = time.monotonic()
            if answer is None and now >= self._deadline:
                answer = Garble() if self._garbled else Silence()
            if answer is not None or now >= until:
                self._quiet_at = now + self.settings.pause
                return answer

    def _received(self, wait: float) -> Answer | Silence | None:
        try:
            data = self._taken().receive(wait)
            if not data:
                return None
            self._garbled = True
            self._heard_at, self._unheard = time.monotonic(), 0
            return self._codec.feed(data)
        except PortLost as lost:
            self._lose(lost)
            raise
        except ConnectionError as error:
            raise self._lose(self._gone(str(error))) from error

    @property
    def time_left(self) -> float:
        """Seconds until the present question's time is up."""
        return self._deadline - time.monotonic()

    def unheard(self) -> None:
        """Count a silence. A TCP connection that gave nothing for long may be dead unnoticed: `PortLost`."""
        self._unheard += 1
        silent = time.monotonic() - self._heard_at
        if self.settings.tcp and self._unheard >= _SILENT_QUESTIONS and silent >= _SILENT_CONNECTION_S:
            raise self._lose(self._gone(f"nothing came for {silent:.0f} s"))

    def _gone(self, why: str) -> PortLost:
        return PortLost(f"{self.settings.name}: {why}", Loss.NOT_REACHED, self.settings.name)

    @staticmethod
    def _again(lost: PortLost) -> PortLost:
        """The same loss for another thread: one exception raised in two would carry both their tracebacks."""
        return PortLost(str(lost), lost.loss, lost.device)

    def _lose(self, lost: PortLost) -> PortLost:
        """Close it for all who share it; returns what to raise."""
        self._lost = self._lost or lost
        with _TABLE_LOCK:
            if _LINES.get(self.settings.key) is self:
                del _LINES[self.settings.key]
        self.close()
        return lost

    def close(self) -> None:
        """Close the port; never raises."""
        wire, self._wire = self._wire, None
        if wire is not None:
            wire.close()

    def _taken(self) -> Wire:
        wire = self._wire
        if wire is None:
            raise PortLost(f"{self.settings.name}: not open") if self._lost is None else self._again(self._lost)
        return wire


_LINES: dict[str, Line] = {}
_TABLE_LOCK = threading.Lock()


def join(settings: LineSettings, who: object) -> Line:
    """The open line of those settings, for `who` and whoever else is on it. Raises `PortLost`."""
    with _TABLE_LOCK:
        line = _LINES.setdefault(settings.key, Line(settings))
        if line.settings.form != settings.form:
            raise PortLost(
                f"{settings.name}: another press has it open with {line.settings.form}, this one wants "
                f"{settings.form}; one line has one setting",
                Loss.IN_USE,
                settings.name,
            )
        line.members.add(who)
    try:
        line.open()
    except BaseException:
        leave(line, who)
        raise
    return line


def leave(line: Line, who: object) -> None:
    """Let go; the last one closes it. Never raises."""
    line.turns.give(who)
    with _TABLE_LOCK:
        line.members.discard(who)
        last = not line.members
        if last and _LINES.get(line.settings.key) is line:
            del _LINES[line.settings.key]
    if last:
        line.close()

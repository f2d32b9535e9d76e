"""The simulated driver: a press of crude physics that reads like a logger with a memory."""

from __future__ import annotations

import threading
from collections.abc import Mapping, Sequence

from drivers.base import Clock, Fault, Loss, PortLost, Sample
from drivers.options import Options
from drivers.pacing import Pace
from drivers.press_options import PressSettings, read_press
from drivers.simulated_press import Frame, SimulatedPress

__all__ = ["SimulatedDriver"]

_BATCH_FRAMES = 500


class SimulatedDriver:
    """Samples of a `SimulatedPress` as the clock comes to them.

    Options: those of `PressSettings`, and `started_min_ago`: the cycle began so long before `open`, and the first
    reads deliver its whole history with past stamps, a bounded batch each.

    The same options give the same readings however often or seldom `read` is called. `inject`, `end` and `reload`
    may be called from any thread; what was delivered already stays as it was.
    """

    def __init__(self, settings: Mapping[str, object], clock: Clock) -> None:
        self._options = dict(settings)
        self._clock = clock
        self._pace = Pace(clock)
        self._lock = threading.Lock()
        self._press, self._ago = self._made(self._options)
        self._origin: float | None = None
        self._waiting: Frame | None = None
        self._is_open = False

    @staticmethod
    def _made(given: Mapping[str, object]) -> tuple[SimulatedPress, float]:
        options = Options(given)
        ago = options.number("started_min_ago", 0.0, low=0.0, high=10_000.0) * 60.0
        settings = read_press(options)
        options.finish()
        return SimulatedPress(settings), ago

    @property
    def settings(self) -> PressSettings:
        """The settings of the cycle that runs."""
        return self._press.settings

    @property
    def finished(self) -> bool:
        """Whether the cycle that runs has nothing more to tell."""
        return self._press.finished

    def open(self) -> None:
        """Take the port; the cycle begins at the first `open`. Raises `PortLost` while it is unplugged."""
        with self._lock:
            if self._origin is None:
                self._origin = self._clock() - self._ago
            if self._waiting is not None and self._waiting.unplugged:
                self._skip_unplugged()
            self._is_open = True
        self._pace.start()

    def read(self, wait: float) -> Sequence[Sample]:
        """The samples that are due, at most 500 moments at once. Raises `PortLost` while it is unplugged."""
        due = self._due()
        if not self._pace.until(due, wait):
            return ()
        now = self._clock()
        samples: list[Sample] = []
        with self._lock:
            for _ in range(_BATCH_FRAMES):
                frame = self._peek()
                if self._stamp(frame) > now:
                    break
                if frame.unplugged:
                    if not samples:
                        self._is_open = False
                        raise PortLost("simulated port: unplugged", Loss.UNPLUGGED, "simulated port")
                    break
                self._waiting = None
                samples.extend(self._samples(frame))
        return samples

    def close(self) -> None:
        """Let the port go. The press goes on, and its logger remembers what was not fetched."""
        self._is_open = False
        self._pace.stop()

    def inject(self, kind: str, **parameters: object) -> None:
        """Let something go wrong, now or `at_min` of the cycle. Raises `DriverError` for a bad parameter."""
        with self._lock:
            self._press.inject(kind, **parameters)

    def end(self, kind: str) -> None:
        """Let every standing trouble of a kind end now."""
        with self._lock:
            self._press.end(kind)

    def reload(self, **changes: object) -> None:
        """Begin the next cycle now: a fresh press with these options changed. Raises `DriverError` for bad ones."""
        options = {**self._options, "started_min_ago": 0.0, **changes}
        press, ago = self._made(options)
        with self._lock:
            self._options, self._press, self._waiting = options, press, None
            self._origin = None if self._origin is None else self._clock() - ago
            self._ago = ago

    def _due(self) -> float:
        with self._lock:
            if not self._is_open or self._origin is None:
                raise PortLost("simulated port: not open")
            return self._origin + (self._waiting.t if self._waiting else self._press.t)

    def _peek(self) -> Frame:
        if self._waiting is None:
            self._waiting = self._press.step()
        return self._waiting

    def _stamp(self, frame: Frame) -> float:
        return (self._origin or 0.0) + frame.t

    def _skip_unplugged(self) -> None:
        """Drop what an unplugged logger could not keep; raise `PortLost` where it is unplugged still."""
        now = self._clock()
        while self._stamp(frame := self._peek()) <= now:
            if not frame.unplugged:
                return
            self._waiting = None
        if self._peek().unplugged:
            raise PortLost("simulated port: unplugged", Loss.UNPLUGGED, "simulated port")

    def _samples(self, frame: Frame) -> list[Sample]:
        unit, at = self._press.settings.unit, self._stamp(frame)
        return [
            Sample(name, value, unit(name), at, Fault.OPEN if value is None else None) for name, value in frame.readings
        ]

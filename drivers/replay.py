"""The replay driver: a log's rows come again as samples, at the pace of the clock it is given."""

from __future__ import annotations

import bisect
from collections.abc import Mapping, Sequence

from drivers.base import Clock, DriverError, Fault, PortLost, Sample
from drivers.log import Log, LogError, read_log
from drivers.options import Options
from drivers.pacing import Pace

__all__ = ["ReplayDriver"]

_BATCH_ROWS = 500


class ReplayDriver:
    """Feeds a log as if its instruments stood there now.

    Options: `file` (the log), `start_s` (skip everything before that `elapsed_s`), `started_min_ago` (deliver so
    much of it at once, with past stamps). The first row that is fed is true at the moment of `open`. After the last
    row nothing comes any more.

    Raises `DriverError` for a bad option; a log that cannot be read is a `PortLost` from `open`.
    """

    def __init__(self, settings: Mapping[str, object], clock: Clock) -> None:
        options = Options(settings)
        self._file = options.text("file")
        if not self._file:
            raise DriverError("file", "is empty")
        self._start = options.maybe("start_s")
        self._ago = options.number("started_min_ago", 0.0, low=0.0) * 60.0
        options.finish()
        self._clock = clock
        self._pace = Pace(clock)
        self._log: Log | None = None
        self._next = 0
        self._origin = 0.0

    def open(self) -> None:
        """Read the log and start its clock. Raises `PortLost` where the log cannot be used."""
        if self._log is None:
            try:
                log = read_log(self._file)
            except LogError as error:
                raise PortLost(str(error)) from None
            first = 0 if self._start is None else bisect.bisect_left(log.times, self._start)
            zero = log.times[0] if self._start is None else self._start
            self._log, self._next, self._origin = log, first, self._clock() - self._ago - zero
        self._pace.start()

    def read(self, wait: float) -> Sequence[Sample]:
        """The rows that are due; an empty sequence where none is, and for ever after the last one."""
        log = self._log
        if log is None:
            raise PortLost(f"{self._file}: not open")
        if self._next >= len(log.times):
            self._pace.until(float("inf"), wait)
            return ()
        if not self._pace.until(self._origin + log.times[self._next], wait):
            return ()
        now = self._clock()
        samples: list[Sample] = []
        for _ in range(_BATCH_ROWS):
            if self._next >= len(log.times) or self._origin + log.times[self._next] > now:
                break
            at = self._origin + log.times[self._next]
            for column, value in zip(log.columns, log.rows[self._next], strict=False):
                samples.append(Sample(column.name, value, column.unit, at, Fault.OPEN if value is None else None))
            self._next += 1
        return samples

    def close(self) -> None:
        """Stop waiting. Opening again goes on where the clock has come to meanwhile."""
        self._pace.stop()

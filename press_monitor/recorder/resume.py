"""Going on with a cycle that an interruption left open."""

from __future__ import annotations

from collections.abc import Callable

from press_monitor.archive import ArchiveReader, CycleStart
from press_monitor.recorder.clock import ShopClock
from press_monitor.recorder.cycle import Cycle
from press_monitor.recorder.station import Station, Watches

__all__ = ["resume"]


def resume(
    station: Station,
    watches: Watches,
    start: CycleStart,
    reader: ArchiveReader,
    clock: ShopClock,
    interval: int,
    say: Callable[[str], None],
) -> None:
    """Bring a kept cycle's watch to its last row and hand the cycle to its press, the gap marked.

    A cycle that cannot be gone on with is sealed as incomplete, with the reason.
    """
    save, events = reader.latest_save(start.cycle_id), reader.events(start.cycle_id)
    rows = reader.rows(start.cycle_id, -1 if save is None else save.seq).rows()
    now = clock.monotonic()
    try:
        cycle = Cycle(start, watches.again(start, None if save is None else save.save), now)
        cycle.replay(save, rows, events)
    except Exception as error:  # whatever an earlier version may have kept
        say(f"{start.press}: the open cycle cannot be gone on with: {type(error).__name__}: {error}")
        broken = Cycle(start, watches.fit(None).watch, now)
        broken.t = float(rows[-1][1]) if rows else 0.0
        station.give_up(broken, f"the recorder was interrupted, and its state cannot be read again ({error})")
        return
    gap = _gap(start, cycle, reader, clock)
    if gap < 0.0:
        say(f"{start.press}: the computer's clock was set back while nothing recorded; the gap is not known")
    gap = max(gap, float(interval))
    cycle.origin = now - (cycle.t + gap)
    cycle.mark_gap(cycle.t + gap)
    station.resume(cycle)
    say(f"{start.press}: going on with the cycle at {cycle.t:.0f} s, after {gap:.0f} s without a recorder")


def _gap(start: CycleStart, cycle: Cycle, reader: ArchiveReader, clock: ShopClock) -> float:
    """Shop seconds since the last row, by the wall clock, the only one that outlives a process.

    Counted from the last heartbeat, so that a clock set during the cycle, before the interruption, does no harm.
    """
    row = reader.recorder()
    if row is not None:
        return (clock.wall() - row.heartbeat_utc) * clock.speed
    return clock.utc() - start.started_utc - cycle.t

"""Going on with a cycle that an interruption left open."""

from __future__ import annotations

from collections.abc import Callable

from press_monitor.archive import ArchiveError, ArchiveReader, CycleStart, Save
from press_monitor.recorder.clock import ShopClock
from press_monitor.recorder.cycle import Cycle
from press_monitor.recorder.station import Station, Watches

__all__ = ["resume"]

_STOPPED = "the recorder was not running"

_SLEWED_S = 5.0
"""Real seconds that a time server may take back in passing."""

_LONGEST_S = 4 * 3600.0
"""Shop seconds that count for a gap of which nothing is known: three time constants of 76 mm of rubber between cold
faces (L^2 / (pi^2 alpha), alpha 1.14e-7 m2/s). Shorter, and a core might be believed hot that has long been cold.
"""


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

    A state of the watch that cannot be read is made anew from all rows. A cycle that cannot be gone on with in that way
    either is sealed as incomplete, with the reason.
    """
    events, now = reader.events(start.cycle_id), clock.monotonic()

    def brought(save: Save | None) -> Cycle:
        cycle = Cycle(start, watches.again(start, None if save is None else save.save), now)
        cycle.replay(save, reader.rows(start.cycle_id, -1 if save is None else save.seq).rows(), events)
        return cycle

    def gone_on_with() -> Cycle:
        try:
            save = reader.latest_save(start.cycle_id)
            if save is not None:
                return brought(save)
        except Exception as error:  # whatever an earlier version may have kept, or a torn page may hold
            say(f"{start.press}: the watch's state is made anew from the readings: {type(error).__name__}: {error}")
        return brought(None)

    try:
        cycle = gone_on_with()
    except Exception as error:  # as above
        say(f"{start.press}: the open cycle cannot be gone on with: {type(error).__name__}: {error}")
        broken, rows = Cycle(start, watches.fit(None).watch, now), reader.rows(start.cycle_id, -1).rows()
        broken.t = float(rows[-1][1]) if rows else 0.0
        station.give_up(broken, f"the recorder was interrupted, and its state cannot be read again ({error})")
        return
    reached, away = _axis(start, cycle, reader, clock)
    why = _STOPPED
    if away < -_SLEWED_S * clock.speed:
        away, why = (
            _LONGEST_S,
            f"{_STOPPED}, and the computer's clock was set back: {_LONGEST_S / 3600:.0f} h are taken",
        )
        say(f"{start.press}: the computer's clock was set back while nothing recorded; the gap is not known")
    gap = max(reached + max(away, 0.0) - cycle.t, float(interval))
    cycle.origin = clock.monotonic() - (cycle.t + gap)
    cycle.mark_gap(cycle.t + gap, why)
    station.resume(cycle)
    say(f"{start.press}: going on with the cycle at {cycle.t:.0f} s, after {gap:.0f} s without a recorder")


def _axis(start: CycleStart, cycle: Cycle, reader: ArchiveReader, clock: ShopClock) -> tuple[float, float]:
    """Where the cycle's axis was when that was last kept, and the shop seconds since then.

    Since then only the wall clock has counted, which alone outlives a process; from that moment on, so that a clock set
    earlier in the cycle does no harm. The last row cannot tell: after an interruption rows may lag far behind, and a
    second one would shorten the gap by what they lagged.
    """
    try:
        state = reader.press_states().get(start.press)
    except ArchiveError:  # a damaged page of one press must not keep all of them from being recorded
        state = None
    if state is not None and state.cycle_id == start.cycle_id:
        told = state.snapshot.get("recorder") or {}
        anchor, row = told.get("anchor"), reader.recorder()
        if anchor is not None and anchor["cycle_id"] == start.cycle_id:
            return float(anchor["axis_s"]), (clock.wall() - float(anchor["wall_utc"])) * clock.speed
        if "anchor" not in told and row is not None:  # an earlier version's
            return cycle.t, (clock.wall() - row.heartbeat_utc) * clock.speed
    return 0.0, clock.utc() - start.started_utc  # it had only just begun, or nobody can say

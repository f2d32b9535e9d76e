"""A log through the watch: the same judgement as live, at the same moments, and sealed where an archive is given."""

from __future__ import annotations

import time
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from drivers.log import Column, Log, LogError, read_log
from press_monitor import __version__
from press_monitor.archive import Trace
from press_monitor.archive.record import record_body
from press_monitor.archive.requests import Asked, seal_cycle
from press_monitor.archive.types import ChannelMeta, CycleStart, Json, LiveRow
from press_monitor.cure.compound import CureError
from press_monitor.paths import locations
from press_monitor.quantities import Dimension, dimension_of
from press_monitor.readings import Reading, Role, Tick, role_of
from press_monitor.readings.conditioning import reading_of
from press_monitor.shop import RepairFile, Shop, ShopError, load_repair, load_shop
from press_monitor.watch.cure_watch import CureWatch, WatchSetup
from press_monitor.watch.plain import to_json
from press_monitor.watch.record import model_json
from press_monitor.watch.types import Event, RecordHole

__all__ = ["Replay", "replay_log", "run_log", "setup_for_log", "ticks_of_log"]

PRESS = "replay"
MOST_EMPTY = 20_000.0
"""Empty ticks in one hole, at most."""
_JUDGED = {
    Role.INNER_MAT: Dimension.TEMPERATURE,
    Role.OUTER_MAT: Dimension.TEMPERATURE,
    Role.BAG: Dimension.PRESSURE,
    Role.AIR: Dimension.TEMPERATURE,
    Role.BURIED: Dimension.TEMPERATURE,
    Role.RAM: Dimension.PRESSURE,
    Role.MAT_CURRENT: Dimension.CURRENT,
}


@dataclass(frozen=True, slots=True)
class Replay:
    """A log judged: the watch as it stood at the last row, and everything it said."""

    log: Log
    watch: CureWatch
    events: tuple[Event, ...]


def judged_columns(log: Log) -> tuple[Column, ...]:
    """The columns a watch can use. Raises `LogError` where a judged channel is in a raw unit nobody can convert."""
    judged = []
    for column in log.columns:
        wanted = _JUDGED.get(role_of(column.name))
        if wanted is None:
            continue
        if dimension_of(column.unit) is not wanted:
            message = f"a log carries a {wanted.value} here, not a raw signal in {column.unit}"
            raise LogError(log.path, log.header_line, column.heading, message)
        judged.append(column)
    return tuple(judged)


def setup_for_log(log: Log, shop: Shop, recipe: str, repair: RepairFile) -> WatchSetup:
    """The watch for a log: a ticketed cycle on the press that usually runs the recipe."""
    press = shop.press_for(recipe)
    fitted = shop.fitted(repair.repair, None if press is None else press.name)
    return WatchSetup(
        recipe=shop.recipe(recipe),
        repair=fitted.repair,
        channels=tuple(column.name for column in judged_columns(log)),
        ambient=shop.ambient,
        altitude=shop.altitude,
        units=shop.units,
        probe_at=press.probe_at if press is not None else "rubber",
        tire=log.comment("tire") or "",
        section=log.comment("section") or "",
        mats_overlap=repair.mats_overlap,
        kinds=shop.alarms,
        limits=fitted.limits,
        fits=tuple(fit.words for fit in fitted.fits),
    )


def ticks_of_log(log: Log) -> Iterator[Tick]:
    """The log's rows as ticks, with an empty one each second between rows: nothing came, as a live watch sees it."""
    before: float | None = None
    for t, row in zip(log.times, log.rows, strict=True):
        if before is not None:
            # a second each, as live; a hole of days says nothing more when it is told second by second
            beat = max(1.0, (t - before) / MOST_EMPTY)
            step = 1
            while before + beat * step < t - 0.25 * beat:
                yield Tick(before + beat * step, {})
                step += 1
        yield Tick(t, _readings(log, row))
        before = t


def _readings(log: Log, row: tuple[float | None, ...]) -> dict[str, Reading]:
    return (
        {
            column.name: reading_of(None if value is None else column.scaled(value), column.unit, column.decimals)
            for column, value in zip(log.columns, row, strict=True)
            if role_of(column.name) is not Role.OTHER
        }
        if row
        else {}
    )


def run_log(log: Log, setup: WatchSetup) -> Replay:
    """Step a watch through a whole log."""
    watch = CureWatch(setup)
    events: list[Event] = []
    for tick in ticks_of_log(log):
        events.extend(watch.step(tick))
    return Replay(log, watch, tuple(events))


def replay_log(
    log_path: Path, shop_path: Path, recipe: str, repair_path: Path, archive: Path | None = None
) -> tuple[dict[str, Json], list[str]]:
    """Judge a log and, with `archive`, seal it there (made if missing).

    Returns the outcome with the keys of ``replay --json``, and notes for the operator.
    Raises `LogError`, `ShopError`, `ArchiveError`.
    """
    shop = load_shop(shop_path)
    repair = load_repair(repair_path, shop)
    log = read_log(log_path)
    setup = setup_for_log(log, shop, recipe, repair)
    if not log.rows:
        raise LogError(log.path, None, None, "has no rows")
    notes = [
        f"{log.path}: {column.heading} is kept, not judged"
        for column in log.columns
        if role_of(column.name) is Role.OTHER
    ]
    try:
        replay = run_log(log, setup)
    except CureError as error:
        raise ShopError(str(repair_path), None, None, str(error)) from None
    number = None if archive is None else seal_replay(replay, shop, archive)
    outcome = replay.watch.result(at_release=archive is not None)
    return {**outcome, "source": "log", "certificate": number}, notes


def seal_replay(replay: Replay, shop: Shop, archive: Path) -> int:
    """Seal a judged log in one transaction, by whoever writes the archive; returns the certificate's number.

    Raises `ArchiveError`.
    """
    log, setup = replay.log, replay.watch.setup
    duration = log.times[-1] - log.times[0]
    now = time.time()
    start = CycleStart(
        cycle_id=uuid.uuid4().hex,
        press=PRESS,
        started_utc=now - duration,
        source="log",
        recipe=to_json(setup.recipe),
        repair=to_json(setup.repair),
        ticket={"tire": setup.tire, "section": setup.section, "log": Path(log.path).name},
        channels=tuple(ChannelMeta(c.name, c.unit, c.decimals) for c in log.columns),
        time_decimals=log.time_decimals,
        setup={**to_json(setup), "driver": None},
    )
    body = record_body(
        start,
        replay.watch.result(at_release=True),
        shop=shop.name,
        software=__version__,
        ended_utc=now,
        compounds={name: to_json(compound) for name, compound in shop.compounds.items()},
        model=model_json(start.setup),
        profiles=replay.watch.profiles(),
        events=[{"kind": type(event).__name__, **to_json(event)} for event in replay.events],
        gaps=[to_json(event) for event in replay.events if isinstance(event, RecordHole)],
        source_log_sha256=log.sha256,
    )
    scale = 10**log.time_decimals
    rows: list[LiveRow] = [
        (
            seq,
            round(t * scale),
            [None if v is None else c.scaled(v) for c, v in zip(log.columns, row, strict=True)]
            if row
            else [None] * len(log.columns),
        )
        for seq, (t, row) in enumerate(zip(log.times, log.rows, strict=True))
    ]
    trace = Trace.from_rows(start.channels, start.time_decimals, rows)
    return seal_cycle(Asked(archive, locations().key_file, "replay"), start, trace, body)

"""What must hold of an archive whatever happened to the recorder that wrote it.

`Inspector.check` reads the files a dead process left, over fresh connections, and gives one line for each violation.
What it holds the archive against comes from elsewhere: the acknowledgements the dead process noted, the instruments'
truth (`world`), and the replay of all rows through a watch that never was interrupted.
"""

from __future__ import annotations

import json
import sqlite3
from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, field
from typing import Any, get_args

from press_monitor.archive import ArchiveError, ArchiveReader, CycleStart, EventRow, Json, LiveRow
from press_monitor.archive.verify import verify
from press_monitor.recorder.cycle import Cycle, tick_of
from press_monitor.recorder.watches import setup_again
from press_monitor.watch import types as watch_types
from press_monitor.watch.cure_watch import CureWatch
from press_monitor.watch.plain import from_json, to_json
from press_monitor.watch.types import OperatorDid
from tests.crash import world
from tests.crash.launcher import Place

TOLD = ("OperatorDid", "Reported")
SAID = {kind.__name__ for kind in get_args(watch_types.Event)}
"""Events of the watch; the recorder keeps others beside them."""

_STALE_S = 3 * world.STEP_S
_HOT_degF = 150
_HOLE_S = 5.0 + world.STEP_S
"""What may be missing of a pass: five seconds (`verdict.HOLE_SECONDS`), and the grid's step."""


@dataclass(slots=True)
class Promised:
    """What was acknowledged."""

    begun: dict[str, str] = field(default_factory=dict)
    rows: dict[str, dict[int, tuple[int, tuple[int | None, ...]]]] = field(default_factory=dict)
    events: Counter[str] = field(default_factory=Counter)
    answered: dict[str, str] = field(default_factory=dict)
    sealed: dict[str, int] = field(default_factory=dict)
    entries: dict[int, str] = field(default_factory=dict)
    commits: int = 0

    def hear(self, line: bytes) -> None:
        """Take one commit's line; half a line was never acknowledged."""
        if not line.endswith(b"\n"):
            return
        self.commits += 1
        for what, *told in json.loads(line):
            if what == "begun":
                self.begun[told[0]] = told[1]
            elif what == "rows":
                kept = self.rows.setdefault(told[0], {})
                kept.update({seq: (t, tuple(values)) for seq, t, values in told[1]})
            elif what == "events":
                self.events[told[0] or ""] += told[1]
            elif what == "answered":
                self.answered[told[0]] = told[1]
            elif what == "sealed":
                self.sealed[told[0]] = told[1]
            else:
                self.entries[told[0]] = told[1]

    @property
    def anything(self) -> bool:
        return self.commits > 0

    @property
    def seconds(self) -> int:
        """Rows acknowledged."""
        return sum(map(len, self.rows.values()))


class Uninterrupted:
    """A watch that is given each kept row and each kept action once, in order: the oracle."""

    def __init__(self, start: CycleStart) -> None:
        self.start = start
        self.watch = CureWatch(setup_again(start))
        self.said: list[Json] = []
        self.seq, self.event = -1, 0

    def feed(self, rows: list[LiveRow], events: tuple[EventRow, ...]) -> None:
        """Take the rows and events that are new."""
        told = [told_of(event) for event in events if event.number > self.event and event.kind in TOLD]
        self.event = max((event.number for event in events), default=self.event)
        for seq, t, counts in rows:
            if seq <= self.seq:
                continue
            while told and told[0].t < t:
                self._step(told.pop(0))
            self.seq = seq
            self._step(tick_of(float(t), tuple(counts), self.start.channels))
        for each in told:
            self._step(each)

    def _step(self, given: Any) -> None:
        self.said += [{"kind": type(event).__name__, **to_json(event)} for event in self.watch.step(given)]

    def state(self) -> Json:
        return json.loads(json.dumps(self.watch.save()))


def told_of(event: EventRow) -> Any:
    """What the watch was told, out of the event that keeps it."""
    if event.kind == "OperatorDid":
        return from_json(OperatorDid, event.event).action
    return from_json(getattr(watch_types, event.kind), event.event).report


class Inspector:
    """Checks one archive after each death, and remembers what it needs for the next check."""

    def __init__(self, place: Place, *, replay: bool = True) -> None:
        self.place = place
        self._replay = replay
        self.promised = Promised()
        self.verdicts: Counter[str] = Counter()
        self.resumed = 0
        self.drift_s = 0.0
        self.notes: dict[str, str] = {}
        """Notes that were sent as commands: text by the command's UUID."""
        self._oracles: dict[str, Uninterrupted] = {}
        self._read = 0
        self._seen: set[str] = set()

    def hear(self) -> None:
        """Read what was acknowledged since the last time."""
        try:
            data = self.place.acks.read_bytes()[self._read :]
        except FileNotFoundError:
            return
        for line in data.splitlines(keepends=True):
            self.promised.hear(line)
        self._read += len(data)

    def check(self) -> list[str]:
        """One line a violation; empty where all is well."""
        self.hear()
        try:
            return list(self._check())
        except (ArchiveError, sqlite3.Error, AssertionError) as error:
            return [f"cannot be read: {type(error).__name__}: {error}"]

    def _check(self) -> Iterator[str]:
        path = self.place.archive
        if not self.promised.anything:
            return  # whether it can be gone on with, the next recorder will show
        with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as db:
            for pragma in ("integrity_check", "foreign_key_check"):
                found = [row for row in db.execute(f"PRAGMA {pragma}") if row[0] != "ok"]
                if found:
                    yield f"{pragma}: {found[:3]}"
            yield from self._once_each(db)
        report = verify(path, self.place.key, unpack_traces=True)
        if not report.ok:
            yield f"does not verify: {report.problems[0]}"
        with ArchiveReader(path) as reader:
            yield from self._kept(reader)
            for cycle in reader.open_cycles():
                if cycle.start.cycle_id in self.promised.begun:
                    yield from self._open(reader, cycle.start)
            for row in reader.records():
                if row.cycle_id in self.promised.begun and row.cycle_id not in self._seen:
                    self._seen.add(row.cycle_id)
                    yield from self._sealed(reader, row.cycle_id, row.number)

    def _once_each(self, db: sqlite3.Connection) -> Iterator[str]:
        """One certificate a cycle, and nothing of a cycle twice or half."""
        records = [json.loads(b) for (b,) in db.execute("SELECT body FROM ledger WHERE kind = 'cure-record'")]
        sealed = Counter(record["cycle_id"] for record in records)
        for cycle_id, count in sealed.items():
            if count > 1:
                yield f"cycle {cycle_id} was certified {count} times"
        state = dict(db.execute("SELECT cycle_id, state FROM cycle").fetchall())
        live = {c for (c,) in db.execute("SELECT DISTINCT cycle_id FROM live_row r JOIN cycle c ON c.number = r.cycle")}
        traces = {c for (c,) in db.execute("SELECT cycle_id FROM trace")}
        for cycle_id, what in state.items():
            if (what == "sealed") != (cycle_id in sealed) or (cycle_id in sealed) != (cycle_id in traces):
                yield f"cycle {cycle_id} is {what}, its certificate or trace says otherwise"
            if what == "sealed" and cycle_id in live:
                yield f"cycle {cycle_id} is sealed and has live rows still"
        notes: Counter[str] = Counter()
        for (text,) in db.execute("SELECT event FROM event WHERE kind = 'OperatorDid'"):
            notes[json.loads(text)["action"]["note"]] += 1
        for uuid, note in self.notes.items():
            if notes[note] > 1:
                yield f"a command was carried out {notes[note]} times: {note}"
            if self.promised.answered.get(uuid) == "done" and notes[note] != 1:
                yield f"a command answered as done left no trace: {note}"

    def _kept(self, reader: ArchiveReader) -> Iterator[str]:
        """Everything acknowledged that is not of an open cycle's rows."""
        for cycle_id in self.promised.begun:
            try:
                reader.cycle_start(cycle_id)
            except ArchiveError:
                yield f"cycle {cycle_id} was begun and is gone"
        for cycle_id, count in self.promised.events.items():
            if len(reader.events(cycle_id or None)) < count:
                yield f"events of cycle {cycle_id or 'none'} are gone: {count} were acknowledged"
        for uuid, answer in self.promised.answered.items():
            found = reader.command_answer(uuid)
            if found is None or found.answer != answer:
                yield f"the answer {answer!r} to command {uuid} is gone"
        for cycle_id, number in self.promised.sealed.items():
            if reader.certificate_of(cycle_id) != number:
                yield f"certificate {number} is gone"
        for seq, kind in self.promised.entries.items():
            if reader.entry(seq).kind != kind:
                yield f"ledger entry {seq} ({kind}) is gone"

    def _open(self, reader: ArchiveReader, start: CycleStart) -> Iterator[str]:
        rows = [(seq, t, tuple(values)) for seq, t, values in reader.rows(start.cycle_id).rows()]
        yield from self._rows(start, rows)
        if not self._replay:
            return
        events = reader.events(start.cycle_id)
        oracle = self._oracles.setdefault(start.cycle_id, Uninterrupted(start))
        oracle.feed(rows, events)
        save = reader.latest_save(start.cycle_id)
        watch = CureWatch(setup_again(start))
        if save is not None:
            if save.seq > (rows[-1][0] if rows else -1):
                yield f"{start.press}: the save is of row {save.seq}, past the last"
            watch = CureWatch.restore(setup_again(start), save.save)
        cycle = Cycle(start, watch, 0.0)
        cycle.replay(save, rows, events)
        self.resumed += 1
        if json.loads(json.dumps(cycle.watch.save())) != oracle.state():
            yield f"{start.press}: gone on with from its save, the watch differs from a full replay"
        kept = [{"kind": event.kind, **event.event} for event in events if event.kind in SAID]
        if kept != json.loads(json.dumps(oracle.said)):
            yield f"{start.press}: the events kept are not those a full replay gives ({_differ(kept, oracle.said)})"

    def _rows(self, start: CycleStart, rows: list[LiveRow]) -> Iterator[str]:
        """Every acknowledged row is there, none is made up, and they stand in order."""
        kept = {seq: (t, values) for seq, t, values in rows}
        for seq, told in self.promised.rows.get(start.cycle_id, {}).items():
            if kept.get(seq) != told:
                yield f"{start.press}: acknowledged row {seq} is {'another' if seq in kept else 'gone'}"
                break
        if [seq for seq, _, _ in rows] != list(range(len(rows))):
            yield f"{start.press}: rows are missing between others"
        press = int(start.press[1:]) - 1
        last: tuple[int, int] | None = None
        first: int | None = None
        since = 0
        for before, (seq, t, values) in zip([None, *rows], rows, strict=False):
            if before is not None and t - before[1] != world.STEP_S:
                yield f"{start.press}: row {seq} is at {t} s, the one before at {before[1]} s"
            beat = values[3]
            if beat is None:
                if any(value is not None for value in values):
                    yield f"{start.press}: row {seq} holds readings of no moment"
                continue
            if values != shown(press, beat):
                yield f"{start.press}: row {seq} holds what no instrument showed: {values}"
            first = t - beat if first is None else first
            self.drift_s = max(self.drift_s, abs(t - beat - first))
            if last is not None and beat < last[1]:
                yield f"{start.press}: row {seq} is of {beat} s, the one before of {last[1]} s: time went back"
            since = since if last is not None and beat == last[1] else t
            if t - since > _STALE_S:
                yield f"{start.press}: row {seq} repeats a reading {t - since} s old"
            last = (t, beat)

    def _sealed(self, reader: ArchiveReader, cycle_id: str, number: int) -> Iterator[str]:
        start = reader.cycle_start(cycle_id)
        rows = [(seq, t, tuple(values)) for seq, t, values in reader.trace(number).rows()]
        yield from self._rows(start, rows)
        body = json.loads(reader.record(number).sealed.body)
        result = body["result"]
        self.verdicts[result["verdict"]] += 1
        if result["verdict"] == "pass":
            yield from _honest_pass(start, rows, number)
        if not self._replay:
            return
        oracle = self._oracles.pop(cycle_id, None) or Uninterrupted(start)
        oracle.feed(rows, reader.events(cycle_id))
        wanted = json.loads(json.dumps({**oracle.watch.result(at_release=True), "source": "live"}))
        if wanted != result:
            differ = [key for key in wanted if wanted[key] != result.get(key)]
            yield f"certificate {number} ({result['verdict']}) differs from a full replay in {differ}"
        # The record adds to what the watch was told its place among the rest.
        said = [{k: v for k, v in event.items() if k != "order"} for event in body["events"] if event["kind"] in SAID]
        if said != [event for event in json.loads(json.dumps(oracle.said)) if event["kind"] != "OperatorDid"]:
            yield f"certificate {number}: its events are not those a full replay gives"


def _honest_pass(start: CycleStart, rows: list[LiveRow], number: int) -> Iterator[str]:
    """A pass needs a tire that was cured well, a whole record, and the hold the recipe asks for, by the raw rows."""
    press = int(start.press[1:]) - 1
    # Of a tire laid on as the last one's record ends there may be a few cold rows.
    hot = [values for _, _, values in rows if None not in values and min(values[:2]) > 10 * _HOT_degF]  # type: ignore[type-var]
    tires = {world.tire_at(press, values[3])[0] for values in hot}  # type: ignore[arg-type]
    bad = [world.STORIES[world.story_of(press, tire)].name for tire in tires]
    if not all(world.STORIES[world.story_of(press, tire)].good for tire in tires):
        yield f"certificate {number} is a pass, and the tire was {bad}"
    missing = world.STEP_S * sum(values[3] is None for _, _, values in rows)
    if missing > _HOLE_S:
        yield f"certificate {number} is a pass with {missing} s missing"
    low = world.BAND_degF[0] - 4.0
    whole = [values for _, _, values in rows if None not in values]
    held = [min(inner, outer) / 10 >= low and bag / 100 >= world.BAG_MINIMUM_psi for inner, outer, bag, _ in whole]  # type: ignore[operator]
    if world.STEP_S * sum(held) < world.MINIMUM_HOLD_S:
        yield f"certificate {number} is a pass with {world.STEP_S * sum(held)} s of hold"


def shown(press: int, beat: int) -> tuple[int | None, ...]:
    """What a press's instrument shows at a shop second, as a row keeps it."""
    tire, since = world.tire_at(press, beat)
    values = dict(world.frames(world.story_of(press, tire))[int(since // world.STEP_S)])
    inner, outer, bag = (values.get(name) for name in ("inner_mat", "outer_mat", "bag"))
    return (_scaled(inner, 10), _scaled(outer, 10), _scaled(bag, 100), beat)


def _scaled(value: float | None, by: int) -> int | None:
    return None if value is None else round(value * by)


def _differ(kept: list[Json], said: list[Json]) -> str:
    for number, (one, other) in enumerate(zip(kept, said, strict=False)):
        if one != json.loads(json.dumps(other)):
            return f"the first at {number}: {one} or {other}"[:300]
    return f"{len(kept)} kept, {len(said)} said"

"""Killing the recorder: at random points, and at every named boundary. The shop goes on, and so must the record."""

from __future__ import annotations

import random
import shutil
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from multiprocessing.context import ForkServerProcess
from pathlib import Path

from press_monitor.archive import ArchiveError, ArchiveReader, new_command, send_command
from press_monitor.archive.connect import connect_reader
from press_monitor.recorder.clock import monotonic_through_sleep
from tests.crash import boundaries, launcher, world
from tests.crash.invariants import Inspector
from tests.crash.launcher import Boundary, Place

PRESSES = 4
SPEED = 100.0
_BEAT = 0.03


@dataclass(slots=True)
class Report:
    """What a campaign found."""

    kills: int = 0
    resumed: int = 0
    rows: int = 0
    commits: int = 0
    notes: int = 0
    drift_s: float = 0.0
    verdicts: Counter[str] = field(default_factory=Counter)
    violations: list[str] = field(default_factory=list)
    boundaries: Counter[str] = field(default_factory=Counter)

    def add(self, other: Report) -> None:
        """Count another campaign's in."""
        for name in ("kills", "resumed", "rows", "commits", "notes"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.drift_s = max(self.drift_s, other.drift_s)
        self.verdicts += other.verdicts
        self.boundaries += other.boundaries
        self.violations += other.violations

    def take(self, inspector: Inspector) -> None:
        """Count in what an archive held when it was done with."""
        self.resumed += inspector.resumed
        self.rows += inspector.promised.seconds
        self.commits += inspector.promised.commits
        self.notes += sum(inspector.promised.answered.get(uuid) == "done" for uuid in inspector.notes)
        self.verdicts += inspector.verdicts
        self.drift_s = max(self.drift_s, inspector.drift_s)


class Bench:
    """One archive, the recorders that live and die on it, and the operator who does what a dashboard would."""

    def __init__(
        self, folder: Path, seed: int, *, speed: float = SPEED, presses: int = PRESSES, replay: bool = True
    ) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.place = Place(folder)
        self.place.shop.write_text(world.shop_text(presses), encoding="utf-8")
        self.inspector = Inspector(self.place, replay=replay)
        self.random = random.Random(seed)
        self.speed = speed
        self.presses = presses
        self.zero, self.zero_utc = monotonic_through_sleep(), time.time()
        self._back = 0.0
        self._stood = self.zero  # the campaign's own real second at which shop time stands while nobody records
        self.sent: set[tuple[int, int, str]] = set()
        self._acted = 0
        self.hands = self._hands()

    def _hands(self) -> world.Hands:
        return world.Hands(self.zero, self.zero_utc, self.speed, self._back)

    def start(self, boundary: Boundary | None = None, *, gap_s: float = 0.0, **more: object) -> ForkServerProcess:
        """Start a recorder, `gap_s` shop seconds after the last one died."""
        self._back = monotonic_through_sleep() - (self._stood + gap_s / self.speed)
        self.hands = self._hands()
        return launcher.start(launcher.record, self.place, self.hands, boundary, **more)

    def live(self, process: ForkServerProcess, seconds: float) -> bool:
        """Let it record for so many real seconds, the operator at work; False where it died before."""
        end = launcher.uptime() + seconds
        while (rest := end - launcher.uptime()) > 0.0:
            process.join(min(_BEAT, rest))
            if process.exitcode is not None:
                return False
            if rest > _BEAT:
                self.operate()
        return True

    def kill(self, process: ForkServerProcess) -> None:
        """SIGKILL, and shop time stands from that moment."""
        process.kill()
        self._stood = self.hands.real()
        process.join(10.0)

    def died(self) -> None:
        """It killed itself: shop time stands from now."""
        self._stood = self.hands.real()

    # -- the operator --

    def operate(self) -> None:
        """Start what was loaded, release what is done, acknowledge, and write a note now and then."""
        try:
            with ArchiveReader(self.place.archive) as reader:
                row = reader.recorder()
                if row is None or self.hands.wall() - row.heartbeat_utc > 1.0:
                    return
                running = {cycle.start.press: cycle.start.cycle_id for cycle in reader.open_cycles()}
                states = reader.press_states()
        except ArchiveError:
            return
        for k in range(self.presses):
            name = f"P{k + 1}"
            tire, since = world.tire_at(k, self.hands.shop_s())
            cycle, state = running.get(name), states.get(name)
            if world.LOADED_S <= since < world.LOADED_S + 200 and cycle is None:
                self._tell_once((k, tire, "start"), "start", name, args=world.start_args(tire, world.story_of(k, tire)))
            elif cycle is not None and since > world.PERIOD_S - 110:
                self._tell_once((k, tire, "release"), "release", name, cycle_id=cycle)
            elif cycle is not None and state is not None and state.cycle_id == cycle:
                for alarm in state.snapshot.get("alarms", ()):
                    self._tell_once((k, tire, alarm["id"]), "acknowledge", name, cycle_id=cycle, alarm_id=alarm["id"])
                if self.random.random() < 0.05:
                    self._acted += 1
                    note = f"note {self._acted}"
                    uuid = self._tell("note", name, cycle_id=cycle, args={"note": note})
                    if uuid is not None:
                        self.inspector.notes[uuid] = note

    def _tell_once(self, what: tuple[int, int, str], kind: str, press: str, **more: object) -> None:
        if what not in self.sent and self._tell(kind, press, **more) is not None:
            self.sent.add(what)

    def _tell(self, kind: str, press: str, **more: object) -> str | None:
        command = new_command(kind, self.hands.wall(), operator="Ida", press=press, **more)  # type: ignore[arg-type]
        try:
            send_command(self.place.archive, command, busy_ms=500)
        except ArchiveError:
            return None
        return command.uuid


def a_life(chance: random.Random) -> float:
    """Real seconds until the next kill: mostly within a cure's first minutes, now and then a whole cure."""
    what = chance.random()
    if what < 0.2:
        return chance.uniform(0.0, 0.3)
    if what < 0.94:
        return chance.uniform(0.2, 1.5)
    return chance.uniform(4.0, 14.0)


def by_the_clock(bench: Bench, process: ForkServerProcess, chance: random.Random) -> bool:
    """Let it live for a random time, mostly short; False where it died before."""
    return bench.live(process, a_life(chance))


def by_commits(bench: Bench, process: ForkServerProcess, chance: random.Random) -> bool:
    """Let it live until a random number of commits, and a moment more: on a slow computer as well as on a quick one."""
    return wait_for_commits(bench, process, chance.randint(1, 9)) and bench.live(process, chance.uniform(0.0, 0.2))


Life = Callable[["Bench", ForkServerProcess, random.Random], bool]


def random_kills(folder: Path, kills: int, seed: int, *, each: int = 40, life: Life = by_the_clock) -> Report:
    """So many kills at random moments, on a fresh archive after `each` of them."""
    report, chance = Report(), random.Random(seed)
    while report.kills < kills and len(report.violations) < 20:
        bench = Bench(folder / f"archive-{report.kills}", chance.randrange(1 << 30))
        gap = 0.0
        for _ in range(min(each, kills - report.kills)):
            process = bench.start(gap_s=gap, ballast_bytes=chance.choice((0, 0, 1 << 20)))
            began = launcher.uptime()
            if not life(bench, process, chance):
                report.violations.append(f"seed {seed}, kill {report.kills}: it ended by itself: {tail(bench)}")
                bench.died()
            else:
                bench.kill(process)
            seconds = launcher.uptime() - began
            report.kills += 1
            for line in bench.inspector.check():
                report.violations.append(f"seed {seed}, kill {report.kills} after {seconds:.3f} s: {line}")
            gap = chance.choice((0.0, chance.uniform(0, 30), chance.uniform(0, 30), chance.uniform(0, 400)))
        report.take(bench.inspector)
        _clear(bench, report)
    return report


def tail(bench: Bench) -> str:
    """The last line of the recorder's log."""
    lines = bench.place.log.read_text(errors="replace").splitlines() if bench.place.log.exists() else []
    return " | ".join(lines[-3:])


def _clear(bench: Bench, report: Report) -> None:
    """An archive with a violation is kept to be looked at."""
    if not report.violations:
        shutil.rmtree(bench.place.folder, ignore_errors=True)


def at_running_boundaries(
    folder: Path, seed: int, *, times: int = 3, names: tuple[str, ...] = boundaries.RUNNING
) -> Report:
    """Kills at each boundary a recorder reaches as it records, `times` each, early and late."""
    report, chance = Report(), random.Random(seed)
    bench = Bench(folder / "running", chance.randrange(1 << 30))
    for name in names:
        for k in range(times):
            at = k + 1 if k < 2 else chance.randrange(3, 12)
            process = bench.start(Boundary(name, at), gap_s=chance.uniform(0, 20))
            alive = bench.live(process, 45.0)
            if alive:
                bench.kill(process)
                report.violations.append(f"boundary {name}, time {at}: never reached")
            else:
                bench.died()
                report.boundaries[name] += 1
                if process.exitcode != -9:
                    report.violations.append(
                        f"boundary {name}, time {at}: ended with {process.exitcode}: {tail(bench)}"
                    )
            report.kills += 1
            report.violations += [f"boundary {name}, time {at}: {line}" for line in bench.inspector.check()]
    report.take(bench.inspector)
    _clear(bench, report)
    return report


def at_opening_boundaries(folder: Path, seed: int, *, old: bool, names: tuple[str, ...] = boundaries.OPENING) -> Report:
    """Kills at each boundary of taking an archive until it is reached no more; `old`: one of an earlier format.

    After each kill a recorder is started again on what was left, and must come to its first commits.
    """
    from tests.archive.fixtures.make import FOLDER, write_key

    report = Report()
    for name in names:
        for at in times_of(name):
            bench = Bench(folder / f"{name} {at}", seed)
            if old:
                write_key(bench.place.key)
                bench.place.archive.parent.mkdir()
                shutil.copyfile(FOLDER / "version-1.db", bench.place.archive)
            done = folder / f"{name} {at}" / "reached"
            process = bench.start(Boundary(name, at), ballast_bytes=1 << 20, reached=done)
            began = wait_for_commits(bench, process, 4)
            if process.exitcode is None:
                bench.kill(process)
            if began:
                shutil.rmtree(bench.place.folder, ignore_errors=True)
                break  # it is not reached as often
            bench.died()
            report.kills += 1
            report.boundaries[name] += 1
            where = f"opening {'an old' if old else 'a new'} archive, {name}, time {at}"
            if process.exitcode != -9:
                report.violations.append(f"{where}: ended with {process.exitcode}: {tail(bench)}")
            report.violations += [f"{where}: {line}" for line in bench.inspector.check()]
            again = bench.start(ballast_bytes=1 << 20)
            if not wait_for_commits(bench, again, 4):
                report.violations.append(f"{where}: cannot be gone on with: {tail(bench)}")
            bench.kill(again)
            report.violations += [f"{where}, gone on: {line}" for line in bench.inspector.check()]
            report.take(bench.inspector)
            _clear(bench, report)
    return report


def times_of(name: str) -> Iterator[int]:
    """When a boundary strikes: each time of a function; ever farther apart of a file, of which there are hundreds."""
    at = 1
    while at < 400:
        yield at
        at += max(1, at // 2) if name in boundaries.FILES else 1


def wait_for_commits(bench: Bench, process: ForkServerProcess, commits: int, deadline: float = 30.0) -> bool:
    """Wait until a recorder has acknowledged so many commits more; False where it dies before."""
    bench.inspector.hear()
    before, end = bench.inspector.promised.commits, launcher.uptime() + deadline
    while launcher.uptime() < end:
        process.join(_BEAT)
        bench.operate()
        bench.inspector.hear()
        if bench.inspector.promised.commits - before >= commits:
            return True
        if process.exitcode is not None:
            return False
    return False


def at_copying_boundaries(folder: Path, seed: int, names: tuple[str, ...] = boundaries.COPYING) -> Report:
    """Kills of the process that copies the archive, a recorder at work meanwhile: no copy, or a whole one."""
    from press_monitor.archive.verify import verify

    report = Report()
    bench = Bench(folder / "copying", seed)
    process = bench.start()
    wait_for_commits(bench, process, 10)
    for name in names:
        for at in (1, 2, 3, 5, 8):
            bench.operate()
            to = bench.place.copies / f"{name} {at}.sqlite"
            copier = launcher.start(launcher.copy, bench.place, to, Boundary(name, at))
            copier.join(30.0)
            if copier.exitcode == 0:
                break
            report.kills += 1
            report.boundaries[name] += 1
            where = f"{name}, time {at}"
            if copier.exitcode != -9:
                report.violations.append(f"{where}: ended with {copier.exitcode}")
            if to.exists() and not (verify(to, unpack_traces=True).ok and _sound(to)):
                report.violations.append(f"{where}: left a copy that does not verify")
            again = bench.place.copies / f"{name} {at}.sqlite" if not to.exists() else to.with_suffix(".again")
            copier = launcher.start(launcher.copy, bench.place, again)
            copier.join(30.0)
            if copier.exitcode != 0 or not verify(again).ok:
                report.violations.append(f"{where}: the next copy did not come through: {copier.exitcode}")
            if list(bench.place.copies.glob("*.part*")):
                report.violations.append(f"{where}: the next copy left {list(bench.place.copies.glob('*.part*'))}")
    bench.kill(process)
    report.violations += [f"copying: {line}" for line in bench.inspector.check()]
    report.take(bench.inspector)
    _clear(bench, report)
    return report


def _sound(path: Path) -> bool:
    db = connect_reader(path)
    try:
        return bool(db.execute("PRAGMA integrity_check").fetchone() == ("ok",))
    finally:
        db.close()

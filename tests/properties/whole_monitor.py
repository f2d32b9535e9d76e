"""The rules and the invariants of the stateful test: anything in any order, and what must hold after each step."""

from __future__ import annotations

import itertools
import json
import tempfile
from collections import Counter
from collections.abc import Mapping
from contextlib import suppress
from datetime import date
from pathlib import Path
from typing import Any

from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from press_monitor.archive import Command
from press_monitor.archive.entries import comeback_body, correction_body, inspection_body
from press_monitor.archive.requests import append_entry
from press_monitor.archive.ticket import read_ticket
from press_monitor.archive.verify import verify
from press_monitor.audit.comebacks import attach_ticket
from press_monitor.audit.rejudge import judge_again
from press_monitor.recorder.cycle import Cycle
from press_monitor.recorder.watches import setup_again
from press_monitor.watch.cure_watch import CureWatch
from press_monitor.watch.plain import to_json
from press_monitor.watch.types import AlarmState, AlarmView
from tests.properties.monitor import FULL, HOT, PRESSES, START, TICKET, Killed, Monitor, Truth

S = AlarmState
ASKING = {S.UNACKNOWLEDGED, S.RETURNED_UNACKNOWLEDGED, S.LATCHED_UNACKNOWLEDGED}
LEGAL = {
    # From the figure of IEC 62682 (the names agree with OPC UA Part 9), written down from memory a second time.
    S.NORMAL: "BG",
    S.UNACKNOWLEDGED: "CDEG",
    S.ACKNOWLEDGED: "AFBG",
    S.RETURNED_UNACKNOWLEDGED: "ABG",
    S.LATCHED_UNACKNOWLEDGED: "FDBG",
    S.LATCHED_ACKNOWLEDGED: "ABG",
    S.SHELVED: "BA",
}
BORN = "BCG"
"""A new alarm asks, or was acknowledged with its cause, or stays on the shelf its kind was put on."""

SAYS = {"PhaseChanged", "AlarmChanged", "RecordHole", "Reported"}
"""What a watch says that is no echo of what somebody did."""

_MEMORY = Path("/dev/shm")
"""Where there is one, a disk in memory: what is asked here does not hang on syncs, which tests/crash asks about."""

COUNTS: Counter[str] = Counter()
"""What a campaign went through: examples, kills, certificates by verdict, later entries."""

presses = st.sampled_from(PRESSES)
spells = st.sampled_from([10, 10, 30, 60, 60, 300, 900])


class WholeMonitor(RuleBasedStateMachine):
    """Start, sample, unplug, acknowledge, shelve, clock jump, kill, restart, release, correct: in any order."""

    def __init__(self) -> None:
        super().__init__()
        self._folder = tempfile.TemporaryDirectory(
            ignore_cleanup_errors=True, dir=_MEMORY if _MEMORY.is_dir() else None
        )
        self.m = Monitor(Path(self._folder.name))
        self.hashes: list[bytes] = []
        self.rows: dict[str, list[tuple[Any, ...]]] = {}
        self.views: dict[str, dict[str, AlarmView]] = {}
        self.asked: dict[str, set[str]] = {}
        self.answers: dict[str, str] = {}
        self.sealed: dict[str, int] = {}
        self.told = False

    @initialize()
    def begin(self) -> None:
        self.m.start()
        self.m.pass_(30)

    def teardown(self) -> None:
        COUNTS["examples"] += 1
        with suppress(Exception):
            if self.m.recorder is not None:
                self.m.kill()
        self._folder.cleanup()

    @property
    def up(self) -> bool:
        return self.m.recorder is not None

    def tell(self, kind: str, **more: Any) -> Command:
        """Send a command and give everyone their turn."""
        self.told = True
        command = self.m.send(kind, **more)
        self.m.settle()
        self.m.follow_cycles()
        return command

    def pass_(self, seconds: int, idle: int = 0) -> None:
        self.m.pass_(seconds, idle=idle)
        if self.up:
            self.m.follow_cycles()

    # -- what presses do --

    @precondition(lambda self: self.up)
    @rule(seconds=spells, idle=st.sampled_from([0, 0, 0, 2]))
    def time_passes(self, seconds: int, idle: int) -> None:
        self.pass_(seconds, idle)

    @rule(name=presses, on=st.booleans(), wanted=st.sampled_from([HOT, HOT, HOT, 270.0, 345.0]))
    def heat(self, name: str, on: bool, wanted: float) -> None:
        self.m.presses[name].heated, self.m.presses[name].wanted = on, wanted

    @rule(
        name=presses, wanted=st.sampled_from([FULL, FULL, 0.0, 20.0, 45.0]), leak=st.sampled_from([0.0, 0.0, 1.5, 8.0])
    )
    def bag(self, name: str, wanted: float, leak: float) -> None:
        self.m.presses[name].bag_wanted, self.m.presses[name].leak = wanted, leak

    @rule(name=presses)
    def burst(self, name: str) -> None:
        self.m.presses[name].bag = self.m.presses[name].bag_wanted = 0.0

    @rule(name=presses, plugged=st.booleans())
    def plug(self, name: str, plugged: bool) -> None:
        self.m.presses[name].plugged = plugged

    @rule(name=presses, broken=st.booleans(), dead=st.booleans())
    def probe_and_mat(self, name: str, broken: bool, dead: bool) -> None:
        self.m.presses[name].open_inner, self.m.presses[name].dead_outer = broken, dead

    @precondition(lambda self: self.up)
    @rule(name=presses, trouble=st.sampled_from(["none", "none", "bag", "silence", "probe", "short"]))
    def a_whole_heating(self, name: str, trouble: str) -> None:
        """A ticketed cure up to where the heat goes off, so that enough of them get there."""
        press = self.m.presses[name]
        if self.m.cycle_on(name) is None:
            press.bag_wanted, press.leak, press.open_inner, press.dead_outer = FULL, 0.0, False, False
            press.plugged, press.heated = True, False
            self.pass_(30)
            self.tell("start", press=name, args=START)
        press.heated, press.wanted = True, HOT
        self.pass_(720)
        if trouble == "bag":
            press.bag = press.bag_wanted = 0.0
        elif trouble == "silence":
            press.plugged = False
        elif trouble == "probe":
            press.open_inner = True
        elif trouble == "short":
            return
        self.pass_(300)
        if trouble == "bag":
            press.bag_wanted = FULL
        press.plugged, press.open_inner = True, False
        self.pass_(1080)

    @precondition(lambda self: self.up)
    @rule(
        name=presses,
        trouble=st.sampled_from(["none", "none", "none", "bag", "silence", "probe", "short"]),
        said=st.booleans(),
        befalls=st.sampled_from(["nothing", "nothing", "kill", "clock", "sleep", "acknowledge"]),
    )
    def a_whole_cure(self, name: str, trouble: str, said: bool, befalls: str) -> None:
        """From the ticket to the certificate, with something in the middle of it."""
        self.a_whole_heating(name, trouble)
        if befalls == "kill":
            self._kill()
            self.restart(10)
        elif befalls == "clock":
            self.m.time.utc -= 7200.0
        elif befalls == "sleep":
            self.sleep(600)
        elif befalls == "acknowledge":
            for view in self._live_views(name):
                self.tell("acknowledge", press=name, alarm_id=view.id)
        self.nothing_is_lost()
        self.cool_and_release(name, said)

    @precondition(lambda self: self.up)
    @rule(name=presses, said=st.booleans())
    def cool_and_release(self, name: str, said: bool) -> None:
        press = self.m.presses[name]
        press.heated = False
        if said:
            self.tell("heat-off", press=name)
        self.pass_(900)
        press.bag_wanted = 0.0
        self.pass_(30)
        if said and self.m.cycle_on(name) is not None:
            self.tell("release", press=name)
        self.pass_(60)

    # -- what people do --

    @precondition(lambda self: self.up)
    @rule(
        name=presses,
        args=st.sampled_from([START, START, {"ticket": TICKET}, {"preset": "sidewall"}, {"preset": "nose"}, {}]),
    )
    def start(self, name: str, args: Mapping[str, Any]) -> None:
        self.tell("start", press=name, args=dict(args))

    @precondition(lambda self: self.up)
    @rule(
        name=presses,
        kind=st.sampled_from(["acknowledge", "acknowledge", "shelve", "unshelve", "reset"]),
        pick=st.integers(0, 5),
        who=st.sampled_from(["", "Ann"]),
        seconds=st.sampled_from([None, 30, 600.0, 10**9]),
    )
    def alarm_action(self, name: str, kind: str, pick: int, who: str, seconds: float | None) -> None:
        views = self._live_views(name)
        alarm = views[pick % len(views)].id if views else "A1"
        args = {"seconds": seconds, "note": "seen" if who else ""}
        self.tell(kind, press=name, alarm_id=alarm, operator=who, cycle_id=self.m.cycle_on(name), args=args)

    @precondition(lambda self: self.up)
    @rule(
        name=presses,
        kind=st.sampled_from(["heat-off", "release", "extend", "note", "lock-up", "tea"]),
        seconds=st.sampled_from([None, 600, -5, 1e9, "soon", True]),
    )
    def word(self, name: str, kind: str, seconds: Any) -> None:
        self.tell(kind, press=name, operator="Ann", args={"seconds": seconds, "note": "said"})

    @precondition(lambda self: self.up)
    @rule(name=presses, ago=st.sampled_from([10.0, 30.0, 7200.0, -11.0, -7200.0]))
    def late_release(self, name: str, ago: float) -> None:
        command = self.tell("release", press=name, ago=ago)
        assert self._answer(command) == "expired"

    @precondition(lambda self: self.up and self.sealed)
    @rule(pick=st.integers(0, 9), what=st.sampled_from(["inspection", "correction", "comeback", "ticket"]))
    def later_entry(self, pick: int, what: str) -> None:
        self._append(pick, what)

    @precondition(lambda self: not self.up and self.sealed)
    @rule(pick=st.integers(0, 9), what=st.sampled_from(["inspection", "correction", "comeback", "ticket"]))
    def later_entry_without_a_recorder(self, pick: int, what: str) -> None:
        self._append(pick, what)

    def _append(self, pick: int, what: str) -> None:
        numbers = sorted(self.sealed.values())
        number, day = numbers[pick % len(numbers)], date(2025, 10, 1)
        asked, before = self.m.asked(), len(self.hashes)
        if what == "inspection":
            append_entry(asked, what, inspection_body("sound", by="Ann", day=day), number)
        elif what == "correction":
            body = correction_body(why="misspelt", by="Ann", ticket={"tire": "loader 23.5R25"})
            append_entry(asked, what, body, number)
        elif what == "comeback":
            append_entry(asked, what, comeback_body("moisture blow", by="Ann", day=day), number)
        else:
            preset = self.m.shop.repairs["sidewall"]
            report = attach_ticket(asked, number, read_ticket(TICKET, day), shop=self.m.shop, repair=preset, by="Ann")
            cycle = next(c for c, n in self.sealed.items() if n == number)
            why = [w for w in self.m.truths[cycle].no_pass() if w != "no ticket"]
            assert not (why and report.verdict == "pass"), why
        self._read_ledger()
        COUNTS["later entries"] += 1
        assert len(self.hashes) > before

    # -- what befalls the computer --

    @rule(seconds=st.sampled_from([3600.0, -3600.0, 7.0, -1.7e9, 86400.0]))
    def clock_set(self, seconds: float) -> None:
        self.m.time.utc = max(100.0, self.m.time.utc + seconds)

    @precondition(lambda self: self.up)
    @rule(seconds=st.sampled_from([60, 600, 10_800]))
    def sleep(self, seconds: int) -> None:
        self.m.asleep(seconds)
        self.pass_(10)

    @precondition(lambda self: self.up)
    @rule(count=st.integers(2, 8))
    def disk_refuses_for_a_while(self, count: int) -> None:
        self.m.writer.refusing = True
        self.pass_(10 * count)
        self.m.writer.refusing = False
        self.m.settle()

    @precondition(lambda self: self.up)
    @rule(idle=st.booleans())
    def kill(self, idle: bool) -> None:
        if idle:
            self.pass_(20, idle=2)
        self._kill()

    @precondition(lambda self: self.up)
    @rule(
        puts=st.integers(0, 12),
        eager=st.booleans(),
        name=presses,
        kind=st.sampled_from(["none", "start", "release", "extend", "acknowledge"]),
    )
    def kill_at_a_write(self, puts: int, eager: bool, name: str, kind: str) -> None:
        """Die at any write of the coming seconds, whether each was committed by itself or all lay waiting."""
        writer, views = self.m.writer, self._live_views(name)
        writer.fuse, writer.eager, self.told = puts, eager, True
        try:
            if kind != "none":
                args = START if kind == "start" else {"seconds": 600}
                alarm = views[-1].id if views and kind == "acknowledge" else None
                self.m.send(kind, press=name, alarm_id=alarm, operator="Ann", args=args)
                self.m.settle()
            self.m.pass_(40)
        except Killed:
            self._follow_archive_cycles()
        else:
            writer.fuse, writer.eager = None, False
            self.m.follow_cycles()
        self._kill()

    def _kill(self) -> None:
        COUNTS["kills"] += 1
        self.m.kill()

    @precondition(lambda self: self.up)
    @rule()
    def stop_in_good_order(self) -> None:
        self.m.stop()

    @precondition(lambda self: not self.up)
    @rule(seconds=st.sampled_from([10, 10, 60, 1800]))
    def restart(self, seconds: int) -> None:
        self.m.pass_(seconds)
        self.told = True
        self.m.start()
        self.m.settle()
        self.m.follow_cycles()
        self._resumed_as_the_record_says()

    # -- what must hold --

    @invariant()
    def nothing_is_lost(self) -> None:
        if self.up:
            self.m.settle()
            self.m.follow_cycles()
        if not self.m.path.exists():
            return
        grown = self._read_ledger()
        self._rows_only_grow()
        self._alarms_are_legal()
        self._answers_stand()
        if grown:
            self._judge_new_certificates()
        if self.up:
            self._nobody_stops_asking()
        self.told = False

    def _read_ledger(self) -> bool:
        with self.m.reader() as reader:
            found = [bytes(row[0]) for row in reader.query("SELECT hash FROM ledger ORDER BY seq")]
        assert found[: len(self.hashes)] == self.hashes, "the ledger changed behind its end"
        grown, self.hashes = len(found) > len(self.hashes), found
        return grown

    def _rows_only_grow(self) -> None:
        with self.m.reader() as reader:
            for left in reader.open_cycles():
                cycle = left.start.cycle_id
                known = self.rows.setdefault(cycle, [])
                fresh = [(seq, t, tuple(counts)) for seq, t, counts in reader.rows(cycle, len(known) - 1).rows()]
                assert left.last_seq >= len(known) - 1, "acknowledged rows are gone"
                assert [row[0] for row in fresh] == list(range(len(known), len(known) + len(fresh)))
                times = [row[1] for row in (*known[-1:], *fresh)]
                assert all(a < b for a, b in itertools.pairwise(times)), "time does not rise"
                known += fresh

    def _alarms_are_legal(self) -> None:
        with self.m.reader() as reader:
            open_now = [left.start.cycle_id for left in reader.open_cycles()]
            for cycle in open_now:
                moves: dict[str, AlarmView] = {}
                for event in reader.events(cycle):
                    if event.kind == "AlarmChanged":
                        view = _view(event.event["alarm"])
                        before = moves.get(view.id)
                        if before is None:
                            assert view.state.value in BORN, view
                        elif before.state is not view.state:
                            assert view.state.value in LEGAL[before.state], (before, view)
                        moves[view.id] = view
                self.views[cycle] = moves

    def _answers_stand(self) -> None:
        with self.m.reader() as reader:
            for uuid, answer in reader.query("SELECT uuid, answer FROM command WHERE answer IS NOT NULL"):
                assert self.answers.setdefault(uuid, answer) == answer, "an answer was taken back"
            done = {c.uuid: c for c in self.m.sent if self.answers.get(c.uuid) == "done"}
            for command in done.values():
                assert command.issued_utc - 10.0 <= command.expires_utc
        dead = [c for c in self.m.sent if c.expires_utc - c.issued_utc > 10.01]
        assert not dead

    def _nobody_stops_asking(self) -> None:
        """Whatever asked to be acknowledged still does, or its kind does, unless somebody said something."""
        for name in PRESSES:
            cycle = self.m.cycle_on(name)
            views = self._live_views(name)
            if cycle is None:
                continue
            asking = {(v.kind, v.channel) for v in views if v.state in ASKING or v.state is S.SHELVED}
            now = {v.id for v in views if v.state in ASKING}
            if not self.told:
                by_id = {v.id: v for v in views}
                for alarm in self.asked.get(cycle, set()):
                    view = by_id[alarm]
                    assert view.state in ASKING or (view.kind, view.channel) in asking, view
            self.asked[cycle] = now

    def _judge_new_certificates(self) -> None:
        with self.m.reader() as reader:
            found = reader.query("SELECT cycle_id, certificate FROM cycle WHERE state = 'sealed'")
            records = reader.query("SELECT count(*) FROM ledger WHERE kind = 'cure-record'")[0][0]
            assert len({cycle for cycle, _ in found}) == len(found) == records, "a cycle with two certificates"
            for cycle, number in found:
                assert self.sealed.get(cycle, number) == number
                if cycle in self.sealed:
                    continue
                self.sealed[cycle] = number
                self._judge(reader, cycle, number)
        report = verify(self.m.path)
        assert report.ok, report.problems

    def _judge(self, reader: Any, cycle: str, number: int) -> None:
        body, trace = reader.record(number).sealed.content, reader.trace(number)
        rows = [(seq, t, tuple(counts)) for seq, t, counts in trace.rows()]
        known = self.rows.get(cycle, [])
        assert rows[: len(known)] == known, "rows once acknowledged are not in the sealed trace"
        judged = judge_again(body, trace)
        kept = {k: v for k, v in body["result"].items() if k != "source"}
        again = {k: v for k, v in json.loads(json.dumps(judged.result)).items() if k != "source"}
        assert again == kept, "the rows replayed do not give the sealed judgement"
        said = [{k: v for k, v in e.items() if k not in ("kind", "order")} for e in body["events"] if e["kind"] in SAYS]
        oracle = [json.loads(json.dumps(to_json(e))) for e in judged.events if type(e).__name__ in SAYS]
        assert said == oracle, "the rows replayed do not give the events that were told"
        COUNTS[f"sealed {body['result']['verdict']}"] += 1
        truth = self.m.truths[cycle]
        why = truth.no_pass()
        assert not (why and body["result"]["verdict"] == "pass"), (why, body["result"]["reasons"])

    def _resumed_as_the_record_says(self) -> None:
        """A cycle taken up again is where a watch stepped through everything kept of it would be."""
        assert self.m.recorder is not None
        with self.m.reader() as reader:
            for left in reader.open_cycles():
                cycle = self.m.recorder.stations[left.start.press].cycle
                assert cycle is not None and cycle.id == left.start.cycle_id
                fresh = Cycle(left.start, CureWatch(setup_again(left.start)), 0.0)
                rows = reader.rows(left.start.cycle_id).rows()
                fresh.replay(None, list(rows), reader.events(left.start.cycle_id))
                assert _plain(fresh.watch.save()) == _plain(cycle.watch.save())

    def _follow_archive_cycles(self) -> None:
        """Begin the truth of a cycle that was begun in the very moment of the end."""
        with self.m.reader() as reader:
            for left in reader.open_cycles():
                if left.start.cycle_id not in self.m.truths:
                    ticketed = left.start.ticket is not None
                    self.m.truths[left.start.cycle_id] = Truth(left.start.press, ticketed)

    def _live_views(self, name: str) -> tuple[AlarmView, ...]:
        assert self.m.recorder is not None
        cycle = self.m.recorder.stations[name].cycle
        return () if cycle is None else tuple(cycle.watch.snapshot().alarms)

    def _answer(self, command: Command) -> str | None:
        with self.m.reader() as reader:
            answer = reader.command_answer(command.uuid)
        return None if answer is None else answer.answer


def _view(told: Any) -> AlarmView:
    from press_monitor.watch.plain import from_json

    return from_json(AlarmView, told)


def _plain(save: Any) -> Any:
    return json.loads(json.dumps(save))

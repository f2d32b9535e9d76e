"""The alarm book: delays, ids, causes, acknowledging, shelving."""

from __future__ import annotations

import pytest

from press_monitor.watch.alarm_table import AlarmEvent
from press_monitor.watch.alarms import AlarmBook, Condition
from press_monitor.watch.cure_watch import CureWatch
from press_monitor.watch.kinds import CAUSES, KINDS
from press_monitor.watch.types import Action, ActionKind, AlarmChanged, AlarmState, AlarmView, OperatorDid, Priority
from tests.watch.bench import SETUP, feed, reading, replace

from press_monitor.readings import Tick  # isort: skip

HIGH = {
    "bag-burst", "bag-low", "heat-without-pressure", "heat-lost", "no-readings", "pressure-lost-uncured",
    "released-early", "above-maximum", "archive-failing",
}  # fmt: skip


def cond(kind: str, channel: str | None = None, since: float = 0.0, under: tuple[str, ...] = ()) -> Condition:
    return Condition(kind, channel, since, f"{kind} message", f"{kind} advice", under)


def hold(book: AlarmBook, *conditions: Condition, start: float, end: float, step: float = 1.0) -> list[AlarmChanged]:
    """The same conditions at each step from `start` up to `end`."""
    changed, t = [], start
    while t < end - 1e-9:
        changed += book.update(t, list(conditions))
        t += step
    return changed


def one(book: AlarmBook, kind: str) -> AlarmView:
    (view,) = (v for v in book.views() if v.kind == kind and v.cleared_s is None)
    return view


def test_priorities_are_those_of_the_design() -> None:
    assert {name for name, kind in KINDS.items() if kind.priority is Priority.HIGH} == HIGH
    assert {name for name, kind in KINDS.items() if kind.priority is Priority.LOW} == {"clock-step", "no-horn"}


@pytest.mark.parametrize("step", [0.2, 1.0, 5.0])
@pytest.mark.parametrize("kind", ["bag-low", "below-profile", "probe-open", "heat-without-pressure", "bag-burst"])
def test_an_alarm_is_raised_once_its_condition_has_held_for_the_on_delay(kind: str, step: float) -> None:
    book, delay = AlarmBook(), KINDS[kind].on_delay
    changed = hold(book, cond(kind, "bag", since=7.0), start=10.0, end=10.0 + delay + 3 * step, step=step)
    (only,) = changed
    assert 10.0 + delay - 1e-6 <= only.t < 10.0 + delay + step
    view = only.alarm
    assert view.raised_s == only.t and view.since_s == 7.0 and view.cleared_s is None
    assert view.state is AlarmState.UNACKNOWLEDGED and view.consequence_of is None
    assert view.priority is KINDS[kind].priority and view.acknowledged_s is None
    assert (view.message, view.advice) == (f"{kind} message", f"{kind} advice")


def test_the_on_delay_starts_again_after_a_break() -> None:
    book = AlarmBook()
    assert not hold(book, cond("bag-low", "bag"), start=0.0, end=15.0)
    assert not book.update(15.0, [])
    assert not hold(book, cond("bag-low", "bag"), start=16.0, end=31.0)
    assert [c.t for c in hold(book, cond("bag-low", "bag"), start=31.0, end=40.0)] == [31.0]


def test_an_onset_in_the_future_is_no_onset() -> None:
    book = AlarmBook()
    (raised,) = book.update(5.0, [cond("bag-burst", "bag", since=99.0)])
    assert raised.alarm.since_s == 5.0


def test_it_clears_once_the_condition_has_been_gone_for_the_off_delay_and_not_before() -> None:
    book, off = AlarmBook(), KINDS["bag-low"].off_delay
    hold(book, cond("bag-low", "bag"), start=0.0, end=20.0)
    hold(book, start=20.0, end=20.0 + off - 1.0)
    assert one(book, "bag-low").cleared_s is None
    hold(book, cond("bag-low", "bag"), start=29.0, end=30.0)  # back within the off-delay: the same alarm stands on
    (gone,) = hold(book, start=30.0, end=60.0)
    assert gone.t == gone.alarm.cleared_s == 30.0 + off
    assert gone.alarm.id == "A1" and gone.alarm.state is AlarmState.RETURNED_UNACKNOWLEDGED
    assert book.views()[0].wants_acknowledging


def test_each_occurrence_has_an_id_and_a_row_of_its_own_in_the_order_of_raising() -> None:
    book = AlarmBook()
    hold(book, cond("no-readings"), start=0.0, end=3.0)
    hold(book, start=3.0, end=5.0)
    hold(book, cond("bag-burst", "bag"), start=5.0, end=7.0)
    hold(book, cond("no-readings"), start=7.0, end=9.0)
    views = book.views()
    assert [(v.id, v.kind, v.raised_s) for v in views] == [
        ("A1", "no-readings", 0.0),
        ("A2", "bag-burst", 5.0),
        ("A3", "no-readings", 7.0),
    ]
    # what the first occurrence still asked for, the third asks for: one call, not two
    assert [v.wants_acknowledging for v in views] == [False, True, True]
    assert views[0].cleared_s == 3.0


def test_channels_are_apart() -> None:
    book = AlarmBook()
    hold(book, cond("probe-open", "inner_mat"), cond("probe-open", "outer_mat"), start=0.0, end=5.0)
    book.acknowledge(5.0, "A1", "Ann")
    states = {v.channel: v.state for v in book.views()}
    assert states == {"inner_mat": AlarmState.ACKNOWLEDGED, "outer_mat": AlarmState.UNACKNOWLEDGED}


@pytest.mark.parametrize(
    ("effect", "cause", "agree"), [(e, c, how) for e, causes in CAUSES.items() for c, how in causes]
)
def test_a_consequence_hangs_under_its_standing_cause(effect: str, cause: str, agree: str) -> None:
    long = max(KINDS[cause].on_delay, KINDS[effect].on_delay) + 5.0
    for same in (True, False):
        book = AlarmBook()
        there = cond(cause, "inner_mat")
        hold(book, there, start=0.0, end=long)
        if cause == effect == "above-profile":
            continue  # one name, two kinds: covered below
        hold(book, there, cond(effect, "inner_mat" if same else "outer_mat"), start=long, end=2 * long + 5.0)
        expected = "A1" if same or agree == "any" else None
        assert one(book, effect).consequence_of == expected


def test_above_the_maximum_is_the_cause_of_above_the_profile() -> None:
    book = AlarmBook()
    changed = hold(book, cond("above-maximum", "inner_mat"), cond("above-profile", "inner_mat"), start=0.0, end=70.0)
    first, second = (c.alarm for c in changed)
    assert (first.kind, first.priority, first.id) == ("above-profile", Priority.HIGH, "A1")
    assert (second.kind, second.priority, second.consequence_of) == ("above-profile", Priority.MEDIUM, "A1")


def test_a_consequence_of_a_consequence_names_the_root() -> None:
    book = AlarmBook()
    burst, low = cond("bag-burst", "bag"), cond("bag-low", "bag")
    hold(book, burst, low, start=0.0, end=20.0)
    hold(book, low, start=20.0, end=40.0)  # the root has cleared, what hung under it stands
    hold(book, low, cond("heat-without-pressure", "bag"), start=40.0, end=120.0)
    assert one(book, "heat-without-pressure").consequence_of == "A1"


def test_a_cause_that_has_cleared_is_no_cause() -> None:
    book = AlarmBook()
    hold(book, cond("bag-burst", "bag"), start=0.0, end=2.0)
    hold(book, start=2.0, end=60.0)
    hold(book, cond("bag-low", "bag"), start=60.0, end=80.0)
    assert one(book, "bag-low").consequence_of is None


def test_a_detector_may_name_a_common_cause_itself() -> None:
    book = AlarmBook()
    inner, outer = cond("heat-lost", "inner_mat"), cond("heat-lost", "outer_mat", under=("heat-lost",))
    hold(book, inner, start=0.0, end=30.0)
    hold(book, inner, outer, start=30.0, end=70.0)
    assert [v.consequence_of for v in book.views()] == [None, "A1"]


def test_acknowledging_a_root_acknowledges_what_hangs_under_it_and_nothing_else() -> None:
    book = AlarmBook()
    standing = (cond("bag-burst", "bag"), cond("bag-low", "bag"), cond("probe-open", "inner_mat"))
    hold(book, *standing, start=0.0, end=20.0)
    changed, refused = book.acknowledge(20.0, "A1", "Ann")
    assert refused is None and {c.alarm.kind for c in changed} == {"bag-burst", "bag-low"}
    for view in book.views():
        asked = view.kind == "probe-open"
        assert view.wants_acknowledging is asked
        assert view.acknowledged_s == (None if asked else 20.0)
        assert view.acknowledged_by == (None if asked else "Ann")


def test_acknowledging_a_consequence_leaves_the_root_asking() -> None:
    book = AlarmBook()
    hold(book, cond("bag-burst", "bag"), cond("bag-low", "bag"), start=0.0, end=20.0)
    book.acknowledge(20.0, one(book, "bag-low").id, "")
    assert one(book, "bag-burst").wants_acknowledging and not one(book, "bag-low").wants_acknowledging
    assert one(book, "bag-low").acknowledged_by is None  # it needs no name


def test_a_consequence_of_an_acknowledged_root_does_not_call_again() -> None:
    book = AlarmBook()
    burst = cond("bag-burst", "bag")
    hold(book, burst, start=0.0, end=3.0)
    book.acknowledge(3.0, "A1", "Ann")
    (low,) = hold(book, burst, cond("bag-low", "bag"), start=4.0, end=30.0)
    assert low.alarm.state is AlarmState.ACKNOWLEDGED
    assert low.alarm.acknowledged_s == low.t and low.alarm.acknowledged_by == "Ann"


@pytest.mark.parametrize("kind", ["pressure-lost-uncured", "released-early"])
def test_two_kinds_always_call(kind: str) -> None:
    book = AlarmBook()
    burst = cond("bag-burst", "bag")
    hold(book, burst, start=0.0, end=3.0)
    book.acknowledge(3.0, "A1", "Ann")
    (late,) = hold(book, burst, cond(kind, "bag"), start=4.0, end=30.0)
    assert late.alarm.wants_acknowledging


def test_an_alarm_never_acknowledged_still_asks_when_it_comes_back_as_a_consequence() -> None:
    book = AlarmBook()
    low, burst = cond("bag-low", "bag"), cond("bag-burst", "bag")
    hold(book, low, start=0.0, end=20.0)
    hold(book, start=20.0, end=60.0)
    assert book.views()[0].wants_acknowledging
    hold(book, burst, start=60.0, end=63.0)
    book.acknowledge(63.0, "A2", "Ann")
    hold(book, burst, low, start=64.0, end=90.0)
    assert any(v.wants_acknowledging and v.kind == "bag-low" for v in book.views())


def test_a_latching_alarm_stays_until_somebody_looks_and_resets_it() -> None:
    book = AlarmBook()
    hold(book, cond("bag-burst", "bag"), start=0.0, end=2.0)
    hold(book, start=2.0, end=30.0)
    assert book.views()[0].state is AlarmState.LATCHED_UNACKNOWLEDGED
    book.acknowledge(30.0, "A1", "Ann")
    assert book.views()[0].state is AlarmState.LATCHED_ACKNOWLEDGED
    hold(book, start=31.0, end=1000.0)
    assert book.views()[0].state is AlarmState.LATCHED_ACKNOWLEDGED
    changed, refused = book.other(1000.0, "A1", AlarmEvent.RESET)
    assert refused is None and [c.alarm.state for c in changed] == [AlarmState.NORMAL]


def test_what_cannot_be_done_is_refused_in_words_and_changes_nothing() -> None:
    book = AlarmBook()
    hold(book, cond("bag-low", "bag"), start=0.0, end=20.0)
    before = book.save()
    for changed, refused in (
        book.acknowledge(20.0, "A7", ""),
        book.shelve(20.0, "A7", 60.0),
        book.shelve(20.0, None, 60.0),
        book.other(20.0, "A7", AlarmEvent.RESET),
        book.other(20.0, "A1", AlarmEvent.RESET),
        book.other(20.0, "A1", AlarmEvent.UNSHELVE),
    ):
        assert not changed and refused and "\n" not in refused
    assert book.save() == before
    book.acknowledge(20.0, "A1", "")
    assert book.acknowledge(21.0, "A1", "") == ([], "nothing there to acknowledge")
    assert book.acknowledge(21.0, None, "") == ([], "nothing there to acknowledge")


def test_a_shelved_alarm_comes_back_when_its_time_is_over_and_it_still_holds() -> None:
    book = AlarmBook()
    low = cond("bag-low", "bag")
    hold(book, low, start=0.0, end=20.0)
    book.shelve(20.0, "A1", 60.0)
    assert book.worst() is None
    changed = hold(book, low, start=21.0, end=100.0)
    assert [(c.t, c.alarm.state) for c in changed] == [(80.0, AlarmState.UNACKNOWLEDGED)]


def test_a_shelved_alarm_whose_condition_went_ends_normal() -> None:
    book = AlarmBook()
    hold(book, cond("bag-low", "bag"), start=0.0, end=20.0)
    book.shelve(20.0, "A1", 60.0)
    changed = hold(book, start=21.0, end=100.0)
    assert changed[0].alarm.state is AlarmState.SHELVED and changed[0].alarm.cleared_s == 31.0
    assert changed[-1].t == 80.0 and changed[-1].alarm.state is AlarmState.NORMAL


def test_a_shelved_alarm_that_comes_again_is_logged_but_stays_shelved_until_its_time() -> None:
    book = AlarmBook()
    low = cond("bag-low", "bag")
    hold(book, low, start=0.0, end=20.0)
    book.shelve(20.0, "A1", 300.0)
    hold(book, start=21.0, end=60.0)
    (again,) = hold(book, low, start=60.0, end=100.0)
    assert again.alarm.id == "A2" and again.alarm.state is AlarmState.SHELVED
    (back,) = hold(book, low, start=100.0, end=400.0)
    assert (back.t, back.alarm.state) == (320.0, AlarmState.UNACKNOWLEDGED)


def test_shelving_twice_does_not_stretch_the_time() -> None:
    book = AlarmBook()
    low = cond("bag-low", "bag")
    hold(book, low, start=0.0, end=20.0)
    book.shelve(20.0, "A1", 60.0)
    assert book.shelve(30.0, "A1", 3600.0) == ([], "cannot be shelved now")
    assert [c.t for c in hold(book, low, start=31.0, end=200.0)] == [80.0]


def test_the_worst_is_what_people_should_see_first() -> None:
    book = AlarmBook()
    standing = (cond("probe-open", "inner_mat"), cond("bag-burst", "bag"), cond("bag-low", "bag"))
    hold(book, *standing, start=0.0, end=20.0)
    worst = book.worst()
    assert worst is not None and worst.kind == "bag-burst"  # high before medium, root before consequence
    book.acknowledge(20.0, worst.id, "")
    worst = book.worst()
    assert worst is not None and worst.kind == "probe-open"  # what asks before what was seen
    book.acknowledge(21.0, None, "")
    worst = book.worst()
    assert worst is not None and worst.kind == "bag-burst"
    hold(book, start=22.0, end=60.0)
    worst = book.worst()
    assert worst is None  # nothing stands and nothing asks


# --- the same through the watch: what an operator must say --------------------------------------------------------


def with_low_bag() -> CureWatch:
    """A watch whose bag stands low."""
    watch = CureWatch(replace(SETUP, repair=None))
    for t in range(120):
        bag = 32.0 if t < 60 else 25.0
        watch.step(Tick(float(t), reading(inner_mat=100.0 + t, outer_mat=100.0 + t, bag=bag)))
    (view,) = (v for v in watch.snapshot().alarms if v.kind == "bag-low")
    assert view.standing
    return watch


def tell(watch: CureWatch, kind: ActionKind, **more: object) -> OperatorDid:
    *_, did = watch.step(Action(watch.t, kind, **more))  # type: ignore[arg-type]
    assert isinstance(did, OperatorDid)
    return did


@pytest.mark.parametrize(("operator", "note"), [("", "gauge is known to stick"), ("Ann", ""), ("", "")])
def test_shelving_wants_a_name_and_a_reason(operator: str, note: str) -> None:
    watch = with_low_bag()
    low = next(v for v in watch.snapshot().alarms if v.kind == "bag-low")
    did = tell(watch, ActionKind.SHELVE, operator=operator, note=note, alarm=low.id)
    assert did.refused == "shelving wants a name and a reason"
    assert next(v for v in watch.snapshot().alarms if v.id == low.id).state is low.state


@pytest.mark.parametrize(("asked", "kept"), [(None, 600.0), (120.0, 120.0), (86400.0, 3600.0)])
def test_shelving_ends_by_itself_within_the_hour(asked: float | None, kept: float) -> None:
    watch = with_low_bag()
    low = next(v for v in watch.snapshot().alarms if v.kind == "bag-low")
    start = watch.t
    wander = lambda t: 25.0 + 0.01 * (t % 7.0)  # noqa: E731 - a gauge that moves is not stuck
    did = tell(watch, ActionKind.SHELVE, operator="Ann", note="known", alarm=low.id, seconds=asked)
    assert did.refused is None and did.action.note == "known"
    back = None
    while back is None and watch.t < start + 4000.0:
        for event in feed(watch, watch.t + 5.0, dt=5.0, inner=220.0, outer=220.0, bag=wander):
            if isinstance(event, AlarmChanged) and event.alarm.id == low.id:
                back = event
    assert back is not None and back.alarm.wants_acknowledging
    assert start + kept <= back.t < start + kept + 5.0


def test_acknowledging_needs_no_name_and_all_means_all() -> None:
    watch = with_low_bag()
    assert any(v.wants_acknowledging for v in watch.snapshot().alarms)
    assert tell(watch, ActionKind.ACKNOWLEDGE).refused is None
    assert not any(v.wants_acknowledging for v in watch.snapshot().alarms)
    assert tell(watch, ActionKind.ACKNOWLEDGE).refused == "nothing there to acknowledge"

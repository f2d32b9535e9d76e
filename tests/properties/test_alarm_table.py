"""No path through the alarm table, and none through the alarm book, loses an alarm nobody has acknowledged."""

from __future__ import annotations

import json

from hypothesis import given, settings
from hypothesis import strategies as st

from press_monitor.watch.alarm_table import AlarmEvent, next_state
from press_monitor.watch.alarms import AlarmBook, Condition
from press_monitor.watch.kinds import CAUSES, KINDS
from press_monitor.watch.types import AlarmState, AlarmView

ASKING = {
    AlarmState.UNACKNOWLEDGED,
    AlarmState.RETURNED_UNACKNOWLEDGED,
    AlarmState.LATCHED_UNACKNOWLEDGED,
}
PUT_ASIDE = {AlarmState.SHELVED, AlarmState.SUPPRESSED, AlarmState.OUT_OF_SERVICE}
AWAY = {AlarmEvent.SHELVE, AlarmEvent.SUPPRESS, AlarmEvent.REMOVE}


@given(st.booleans(), st.lists(st.sampled_from(AlarmEvent), max_size=40))
@settings(max_examples=400, derandomize=True, deadline=None)
def test_the_table_asks_until_somebody_acknowledges_or_puts_aside(latching: bool, path: list[AlarmEvent]) -> None:
    state, present, owed = AlarmState.NORMAL, False, False
    for event in path:
        if event is AlarmEvent.OCCURS:
            if present:
                continue  # a condition that holds already cannot come on
            present = True
        elif event is AlarmEvent.RETURNS:
            if not present:
                continue
            present = False
        before, state = state, next_state(state, event, latching=latching, present=present)
        if event is AlarmEvent.ACKNOWLEDGE or (event in AWAY and before not in PUT_ASIDE):
            owed = False
        elif event is AlarmEvent.OCCURS and before not in PUT_ASIDE:
            owed = True
        elif before in PUT_ASIDE and state not in PUT_ASIDE:
            owed = present
        if owed:
            assert state in ASKING, (before, event)
        if state is AlarmState.NORMAL:
            assert not owed
        if state is AlarmState.ACKNOWLEDGED:
            assert present


# Kinds that hang under nothing, so that only what people do can quieten them; one latches, two have delays.
ROOTS = sorted((kind for kind in KINDS if kind not in CAUSES), key=lambda kind: not KINDS[kind].latching)
KEYS = [(kind, channel) for kind in ROOTS for channel in ("inner_mat", "bag")][:12]
assert KINDS[KEYS[0][0]].latching
assert not KINDS[KEYS[-1][0]].latching

Op = tuple[str, int]
ops = st.tuples(
    st.sampled_from(["tick"] * 6 + ["acknowledge", "all", "shelve", "unshelve", "reset"]), st.integers(0, 4095)
)


def _conditions(bits: int, t: float) -> list[Condition]:
    return [Condition(kind, channel, t, "m", "a") for n, (kind, channel) in enumerate(KEYS) if bits >> n & 1]


@given(st.lists(ops, min_size=5, max_size=60), st.sampled_from([1.0, 7.0, 40.0]))
@settings(max_examples=150, derandomize=True, deadline=None)
def test_the_book_loses_no_alarm_nobody_acknowledged(path: list[Op], step: float) -> None:
    book, t = AlarmBook(), 0.0
    owed: set[tuple[str, str | None]] = set()
    seen: list[str] = []
    for op, number in path:
        if op == "tick":
            t += step
            for change in book.update(t, _conditions(number, t)):
                view = change.alarm
                if view.raised_s == t and view.id not in seen:
                    seen.append(view.id)
                    if view.state in ASKING:
                        owed.add(_key(view))
                elif view.state in ASKING and view.cleared_s is None:
                    owed.add(_key(view))  # a shelf time is over and the condition still holds
        else:
            _operate(book, t, op, number, owed)
        views = book.views()
        assert [v.id for v in views] == [f"A{n + 1}" for n in range(len(views))]
        asking = {_key(v) for v in views if v.wants_acknowledging}
        assert owed <= asking
        assert (book.worst() is not None) or not owed
        text = json.dumps(book.save(), allow_nan=False)
        again = AlarmBook()
        again.load(json.loads(text))
        assert again.views() == views and json.dumps(again.save()) == text


def _operate(book: AlarmBook, t: float, op: str, number: int, owed: set[tuple[str, str | None]]) -> None:
    views = book.views()
    if op == "all":
        book.acknowledge(t, None, "")
        owed.clear()
        return
    if not views:
        assert book.acknowledge(t, "A1", "")[1]
        return
    view = views[number % len(views)]
    if op == "acknowledge":
        changed, refused = book.acknowledge(t, view.id, "Ann")
        assert bool(changed) is (refused is None)
        if changed:
            owed.discard(_key(view))
    elif op == "shelve":
        changed, _ = book.shelve(t, view.id, 60.0)
        if changed:
            owed.discard(_key(view))
    else:
        event = AlarmEvent.UNSHELVE if op == "unshelve" else AlarmEvent.RESET
        changed, _ = book.other(t, view.id, event)
        for change in changed:
            if change.alarm.wants_acknowledging:
                owed.add(_key(change.alarm))


def _key(view: AlarmView) -> tuple[str, str | None]:
    # two kinds may be shown under one name (past the maximum, above the profile): channels tell them apart here
    return view.kind + view.priority.value, view.channel

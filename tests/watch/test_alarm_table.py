"""The alarm state table against the published one.

Source: ISA-18.2 / IEC 62682, the state diagram's transitions, quoted from memory; the state names agree with OPC UA
Part 9 (Alarms and Conditions), annex B. What is not in that list must change nothing.
"""

import itertools

import pytest

from press_monitor.watch.alarm_table import AlarmEvent, next_state
from press_monitor.watch.types import AlarmState

A, B, C, D, E, F, G, H, I = (AlarmState(letter) for letter in "ABCDEFGHI")  # noqa: E741 - the figure's letters
V = AlarmEvent

# (from, event) -> (to, to where it latches), as published
PUBLISHED = {
    (A, V.OCCURS): (B, B),
    (B, V.ACKNOWLEDGE): (C, C),
    (B, V.RETURNS): (D, E),
    (C, V.RETURNS): (A, F),
    (C, V.REALARM): (B, B),
    (D, V.ACKNOWLEDGE): (A, A),
    (D, V.OCCURS): (B, B),
    (E, V.ACKNOWLEDGE): (F, F),
    (E, V.RESET): (D, D),
    (F, V.RESET): (A, A),
    **{(state, V.SHELVE): (G, G) for state in (A, B, C, D, E, F)},
    **{(state, V.SUPPRESS): (H, H) for state in (A, B, C, D, E, F)},
    **{(state, V.REMOVE): (I, I) for state in (A, B, C, D, E, F)},
}
BACK = {(G, V.UNSHELVE), (H, V.UNSUPPRESS), (I, V.RESTORE)}
# Not in the published list: a latched alarm whose condition comes back calls again, which is the safe direction.
BEYOND = {(E, V.OCCURS): (B, B), (F, V.OCCURS): (B, B)}

EVERY = sorted(itertools.product(AlarmState, AlarmEvent), key=lambda pair: (pair[0].value, pair[1].value))


def test_there_are_nine_states_with_the_figures_letters_and_eleven_events() -> None:
    assert "".join(state.value for state in AlarmState) == "ABCDEFGHI"
    assert len(AlarmEvent) == 11 and len(EVERY) == 99


@pytest.mark.parametrize("present", [True, False])
@pytest.mark.parametrize("latching", [False, True])
@pytest.mark.parametrize(("state", "event"), EVERY, ids=lambda thing: thing.value)
def test_each_state_and_event_goes_where_the_figure_says_or_stays(
    state: AlarmState, event: AlarmEvent, latching: bool, present: bool
) -> None:
    if (state, event) in BACK:
        expected = B if present else A
    else:
        both = PUBLISHED.get((state, event)) or BEYOND.get((state, event)) or (state, state)
        expected = both[latching]
    assert next_state(state, event, latching=latching, present=present) is expected


def test_no_event_of_a_person_or_a_clock_silences_what_was_never_acknowledged() -> None:
    quietening = {V.ACKNOWLEDGE, V.SHELVE, V.SUPPRESS, V.REMOVE}
    for state, event, latching, present in itertools.product((B, D, E), AlarmEvent, (True, False), (True, False)):
        if event not in quietening:
            assert next_state(state, event, latching=latching, present=present) in (B, D, E)

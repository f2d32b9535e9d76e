"""The alarm state table of IEC 62682 / ISA-18.2, as data.

Nine states, eleven events. What is not in the table does nothing: `next_state` then returns the state it was given.
Transitions follow the published state diagram (quoted from memory; the state names agree with OPC UA Part 9).
"""

from __future__ import annotations

from enum import Enum

from press_monitor.watch.types import AlarmState

__all__ = ["TABLE", "AlarmEvent", "next_state"]


class AlarmEvent(Enum):
    """What can happen to an alarm."""

    OCCURS = "occurs"
    RETURNS = "returns to normal"
    ACKNOWLEDGE = "acknowledge"
    RESET = "reset"
    REALARM = "re-alarm"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"
    SUPPRESS = "suppress by design"
    UNSUPPRESS = "unsuppress"
    REMOVE = "remove from service"
    RESTORE = "return to service"


_S, _E = AlarmState, AlarmEvent

_COMMON = (
    _S.NORMAL,
    _S.UNACKNOWLEDGED,
    _S.ACKNOWLEDGED,
    _S.RETURNED_UNACKNOWLEDGED,
    _S.LATCHED_UNACKNOWLEDGED,
    _S.LATCHED_ACKNOWLEDGED,
)

# (state, event) -> (state, state when the alarm latches); a pair that differs only where latching matters.
TABLE: dict[tuple[AlarmState, AlarmEvent], tuple[AlarmState, AlarmState]] = {
    (_S.NORMAL, _E.OCCURS): (_S.UNACKNOWLEDGED, _S.UNACKNOWLEDGED),
    (_S.UNACKNOWLEDGED, _E.ACKNOWLEDGE): (_S.ACKNOWLEDGED, _S.ACKNOWLEDGED),
    (_S.UNACKNOWLEDGED, _E.RETURNS): (_S.RETURNED_UNACKNOWLEDGED, _S.LATCHED_UNACKNOWLEDGED),
    (_S.ACKNOWLEDGED, _E.RETURNS): (_S.NORMAL, _S.LATCHED_ACKNOWLEDGED),
    (_S.ACKNOWLEDGED, _E.REALARM): (_S.UNACKNOWLEDGED, _S.UNACKNOWLEDGED),
    (_S.RETURNED_UNACKNOWLEDGED, _E.ACKNOWLEDGE): (_S.NORMAL, _S.NORMAL),
    (_S.RETURNED_UNACKNOWLEDGED, _E.OCCURS): (_S.UNACKNOWLEDGED, _S.UNACKNOWLEDGED),
    (_S.LATCHED_UNACKNOWLEDGED, _E.ACKNOWLEDGE): (_S.LATCHED_ACKNOWLEDGED, _S.LATCHED_ACKNOWLEDGED),
    (_S.LATCHED_UNACKNOWLEDGED, _E.RESET): (_S.RETURNED_UNACKNOWLEDGED, _S.RETURNED_UNACKNOWLEDGED),
    (_S.LATCHED_UNACKNOWLEDGED, _E.OCCURS): (_S.UNACKNOWLEDGED, _S.UNACKNOWLEDGED),
    (_S.LATCHED_ACKNOWLEDGED, _E.RESET): (_S.NORMAL, _S.NORMAL),
    (_S.LATCHED_ACKNOWLEDGED, _E.OCCURS): (_S.UNACKNOWLEDGED, _S.UNACKNOWLEDGED),
}
for _state in _COMMON:
    TABLE[_state, _E.SHELVE] = (_S.SHELVED, _S.SHELVED)
    TABLE[_state, _E.SUPPRESS] = (_S.SUPPRESSED, _S.SUPPRESSED)
    TABLE[_state, _E.REMOVE] = (_S.OUT_OF_SERVICE, _S.OUT_OF_SERVICE)

_BACK = {
    (_S.SHELVED, _E.UNSHELVE),
    (_S.SUPPRESSED, _E.UNSUPPRESS),
    (_S.OUT_OF_SERVICE, _E.RESTORE),
}


def next_state(state: AlarmState, event: AlarmEvent, *, latching: bool, present: bool) -> AlarmState:
    """The state after an event.

    Args:
        state: where the alarm stands.
        event: what happens.
        latching: whether the alarm stays until reset though its condition is gone.
        present: whether its condition holds now (decides where it comes back to from shelving and the like).
    """
    if (state, event) in _BACK:
        return _S.UNACKNOWLEDGED if present else _S.NORMAL
    found = TABLE.get((state, event))
    return state if found is None else found[1 if latching else 0]

"""A press's state as dashboards get it: a snapshot's JSON, of which only what has moved is worked out and written."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import fields
from operator import attrgetter
from typing import TYPE_CHECKING

from press_monitor.archive.types import Json, JsonText
from press_monitor.watch.plain import shallow_json
from press_monitor.watch.types import Snapshot

if TYPE_CHECKING:
    from press_monitor.recorder.cycle import Cycle

__all__ = ["SLOW_EVERY_S", "States"]

SLOW_EVERY_S = 5.0
"""How long what moves slowly is shown, s: the cure through the repair's thickness, the verdict so far."""

_MOVING = ("t", "hold_s", "inner", "outer", "bag_Pa", "forecast", "words", "extras")
"""What is another at every reading; the rest of a state is mostly the one before's."""

_STEADY = tuple(field.name for field in fields(Snapshot) if field.name not in _MOVING)
_moving, _steady = attrgetter(*_MOVING), attrgetter(*_STEADY)

_encode = json.JSONEncoder(separators=(",", ":"), default=shallow_json).encode


class _Part:
    """Some members of a JSON object as text, written anew where they are not what they were."""

    def __init__(self) -> None:
        self._values: Mapping[str, Json] = {}
        self._text = ""

    def of(self, values: Mapping[str, Json]) -> str:
        if values != self._values:
            self._values, self._text = values, _members(values)
        return self._text


def _members(values: Mapping[str, Json]) -> str:
    return _encode(values)[1:-1]


class States:
    """The states of one press, one after the other."""

    def __init__(self) -> None:
        self._of = ""
        self._whole: Snapshot | None = None
        self._rest, self._about = _Part(), _Part()
        self._steady = JsonText()

    def snapshot(self, cycle: Cycle) -> Snapshot:
        """The running cycle's; what moves slowly is that of one before while it is fresh."""
        whole = self._whole
        if whole is None or cycle.id != self._of or not 0.0 <= cycle.t - whole.t < SLOW_EVERY_S:
            whole = None
        shown = cycle.watch.snapshot(whole)
        if whole is None or shown.phases is not whole.phases:
            self._of, self._whole = cycle.id, shown
        return shown

    def texts(
        self, snapshot: Snapshot, about: Mapping[str, Json], now: Mapping[str, Json]
    ) -> tuple[JsonText, JsonText]:
        """The snapshot with what the recorder adds, `now` being what of that moves: what moves, and what is steady.

        See `Archive.put_state`.
        """
        moving = _members(dict(zip(_MOVING, _moving(snapshot), strict=True)))
        rest = self._rest.of(dict(zip(_STEADY, _steady(snapshot), strict=True)))
        steady = f'{{{rest},"recorder":{{{self._about.of(about)}}}}}'
        if steady != self._steady:
            self._steady = JsonText(steady)
        return JsonText(f'{{{moving},"recorder":{{{_members(now)}}}}}'), self._steady

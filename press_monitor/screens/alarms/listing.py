"""The alarms of all presses as rows: what they share first, consequences under their root, what is over last."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import tzinfo

from press_monitor.screens.reading import (
    WEIGHT,
    Raised,
    alarms_of,
    of_the_shop,
    speaks_for_itself,
    tone_of,
    unanswered_s,
)
from press_monitor.screens.source import PressView
from press_monitor.screens.topline import place_words
from press_monitor.screens.widgets.cells import Cells, plain, width_of
from press_monitor.screens.widgets.palette import Look
from press_monitor.screens.words import kind_words, say_clock, say_minutes
from press_monitor.watch.types import AlarmState

__all__ = ["Row", "count_words", "draw_rows", "rows_of"]

_STATES = {
    AlarmState.UNACKNOWLEDGED: "NOT ACKNOWLEDGED",
    AlarmState.ACKNOWLEDGED: "acknowledged",
    AlarmState.RETURNED_UNACKNOWLEDGED: "over, NOT ACKNOWLEDGED",
    AlarmState.LATCHED_UNACKNOWLEDGED: "kept, NOT ACKNOWLEDGED",
    AlarmState.LATCHED_ACKNOWLEDGED: "kept until reset",
    AlarmState.SHELVED: "shelved",
    AlarmState.SUPPRESSED: "suppressed",
    AlarmState.OUT_OF_SERVICE: "out of service",
    AlarmState.NORMAL: "over",
}


@dataclass(frozen=True, slots=True)
class Row:
    """An alarm in the list; `depth` 0 for one that speaks for itself, more for what hangs under another."""

    raised: Raised
    depth: int = 0

    @property
    def name(self) -> tuple[str, str, str]:
        """What tells this row from the others, however the list moves."""
        view, alarm = self.raised.view, self.raised.alarm
        return ("" if self.raised.members else view.place.name, view.cycle_id or "", alarm.id)


def rows_of(views: Iterable[PressView]) -> list[Row]:
    """Loud, then standing, then shelved, the gravest first in each; then what is over, the newest first."""
    views = tuple(views)
    ranked = sorted(alarms_of(views), key=_rank)
    shop = of_the_shop(views)
    under = {(m.view.place.name, m.alarm.id) for raised in shop for m in raised.members}
    made: list[Row] = []

    def add(raised: Raised, depth: int) -> None:
        made.append(Row(raised, depth))
        made.extend(
            Row(r, depth + 1)
            for r in ranked
            if r.view.place.name == raised.view.place.name
            and r.alarm.consequence_of == raised.alarm.id
            and r.view.snapshot is not None
            and not speaks_for_itself(r.alarm, r.view.snapshot)
        )

    for whole in sorted(shop, key=_rank):
        made.append(Row(whole))
        for member in sorted(whole.members, key=lambda m: m.view.number):
            add(member, 1)
    for raised in ranked:
        snapshot = raised.view.snapshot
        if (raised.view.place.name, raised.alarm.id) in under:
            continue
        if snapshot is None or speaks_for_itself(raised.alarm, snapshot):
            add(raised, 0)
    return made


def _rank(raised: Raised) -> tuple[bool, bool, bool, int]:
    alarm = raised.alarm
    weight = WEIGHT[alarm.priority] if raised.loud or alarm.standing else 0
    return (not raised.loud, not alarm.standing, alarm.state is AlarmState.SHELVED, weight)


def _span(raised: Raised, zone: tzinfo | None) -> str:
    alarm, view = raised.alarm, raised.view
    since = view.clock(alarm.since_s)
    if alarm.standing:
        return f"since {say_clock(since, zone)} ({say_minutes(view.utc - since)})"
    return f"{say_clock(since, zone)} to {say_clock(view.clock(alarm.cleared_s or 0.0), zone)}"


def _text(row: Row, width: int) -> list[str]:
    """What it does to this repair and what to do; nothing for what hangs under another."""
    if row.depth:
        return []
    alarm = row.raised.alarm
    return [line for part in (alarm.message, alarm.advice) for line in textwrap.wrap(plain(part), max(8, width - 4))]


def _first(rows: Sequence[Row], chosen: int, first: int, width: int, height: int, gap: int) -> int:
    """The first row shown, so that the chosen one is seen whole."""
    first = min(first, chosen)
    sizes = [1 + len(_text(row, width)) + (gap if not row.depth else 0) for row in rows]
    while first < chosen and sum(sizes[first : chosen + 1]) > height:
        first += 1
    return first


def draw_rows(
    rows: Sequence[Row], chosen: int, first: int, width: int, height: int, look: Look, zone: tzinfo | None
) -> tuple[Cells, list[tuple[int, int]]]:
    """The list with the chosen row marked, from about row `first` on; and what lies where (line, row)."""
    palette, signs = look.palette, look.signs
    cells = Cells(width, height, palette.ground, palette.text)
    places: list[tuple[int, int]] = []
    if not rows:
        cells.text(1, 1, "No alarm stands, and none was raised in the cures now open.", palette.text)
        return cells, places
    gap = 1 if height >= 28 else 0
    line = 0
    for index in range(_first(rows, chosen, first, width, height, gap), len(rows)):
        row = rows[index]
        if gap and not row.depth and places:
            line += 1
        if line >= height:
            break
        raised, alarm = row.raised, row.raised.alarm
        alive = alarm.standing or raised.loud
        ink = palette.tone(tone_of(alarm)) if alive else palette.dim
        words = palette.text if alive else palette.dim
        text = _text(row, width)
        ground = palette.raised if index == chosen else palette.ground if row.depth else palette.panel
        cells.fill(0, line, width, 1 + len(text), ground)
        if index == chosen:
            for y in range(line, min(height, line + 1 + len(text))):
                cells.text(0, y, signs.edge, palette.text)
        state = _STATES[alarm.state]
        late = unanswered_s(raised)
        if late is not None:
            state = f"NOT ANSWERED {say_minutes(late)}"
        end = cells.right(
            width - 1, line, state if row.depth else f"{alarm.priority.value}, {state}", ink, bold=raised.loud
        )
        sign = signs.alarm if alarm.standing else signs.idle
        at = 2 + 2 * row.depth
        name = f"{sign} {place_words(raised)}  {kind_words(alarm.kind)}"
        if alarm.consequence_of is not None and row.depth:
            name = f"{sign} follows: {kind_words(alarm.kind).lower()}"
        at = cells.text(at, line, name, ink, bold=not row.depth, most=end - at - 1)
        span = _span(raised, zone)
        # Half a figure would be another one: where the minutes do not fit, they are left out.
        span = span if width_of(span) <= end - at - 3 else span.partition(" (")[0]
        cells.text(at + 2, line, span, words, most=end - at - 3)
        places += [(line + n, index) for n in range(1 + len(text))]
        for part in text:
            line += 1
            cells.text(4, line, part, words)
        line += 1
    return cells, places


def count_words(rows: Sequence[Row], week: Mapping[str, int], chosen: Row | None) -> str:
    """How many stand; and of the chosen one how many there were in this cure and in the sealed cures of the week."""
    alarms = [row.raised for row in rows if not row.raised.members]
    standing = sum(1 for r in alarms if r.alarm.standing and r.alarm.state is not AlarmState.SHELVED)
    loud = sum(1 for r in alarms if r.loud)
    shelved = sum(1 for r in alarms if r.alarm.state is AlarmState.SHELVED)
    words = f"{standing} standing, {loud} not acknowledged" + (f", {shelved} shelved" if shelved else "")
    if chosen is None or chosen.raised.members:
        return words
    kind, view = chosen.raised.alarm.kind, chosen.raised.view
    here = sum(1 for r in alarms if r.alarm.kind == kind and r.view.place.name == view.place.name)
    return f"{words}   {kind_words(kind).lower()}: {here} in this cure, {week.get(kind, 0)} this week"

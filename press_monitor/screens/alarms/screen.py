"""All alarms of all presses, standing and past, each with what to do."""

from __future__ import annotations

import textwrap
from collections.abc import Hashable, Iterable, Sequence
from datetime import tzinfo
from typing import ClassVar

from textual import events
from textual.binding import Binding, BindingType
from textual.widget import Widget

from press_monitor.screens.base import WatchScreen
from press_monitor.screens.reading import Raised, alarms_of, speaks_for_itself, tone_of
from press_monitor.screens.widgets.bars import Key
from press_monitor.screens.widgets.cells import Cells, plain
from press_monitor.screens.widgets.drawn import Drawn
from press_monitor.screens.widgets.palette import Look
from press_monitor.screens.words import kind_words, say_clock, say_minutes
from press_monitor.watch.types import AlarmState

__all__ = ["AlarmList", "AlarmsScreen", "draw_alarms"]

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


def _order(found: Iterable[Raised]) -> list[Raised]:
    """Loud, then standing, then past; the newest first in each; consequences after their root."""
    ranked = sorted(found, key=lambda r: (not r.loud, not r.alarm.standing))
    roots = [r for r in ranked if r.view.snapshot and speaks_for_itself(r.alarm, r.view.snapshot)]
    made: list[Raised] = []
    for root in roots:
        made.append(root)
        made += [
            r
            for r in ranked
            if r not in roots and r.alarm.consequence_of == root.alarm.id and r.view.place.name == root.view.place.name
        ]
    return made + [r for r in ranked if r not in made]


def draw_alarms(found: Sequence[Raised], first: int, width: int, height: int, look: Look, zone: tzinfo | None) -> Cells:
    """The list from alarm number `first` on: one line for a consequence."""
    palette, signs = look.palette, look.signs
    cells = Cells(width, height, palette.ground, palette.text)
    if not found:
        cells.text(1, 1, "No alarm stands, and none was raised in the cures now open.", palette.text)
        return cells
    row = 0
    for raised in found[first:]:
        alarm, view = raised.alarm, raised.view
        ink = palette.tone(tone_of(alarm)) if alarm.standing or raised.loud else palette.dim
        child = view.snapshot is not None and not speaks_for_itself(alarm, view.snapshot)
        since = view.clock(alarm.since_s)
        span = f"since {say_clock(since, zone)}"
        if alarm.standing:
            span += f" ({say_minutes(view.utc - since)})"
        else:
            span = f"{say_clock(since, zone)} to {say_clock(view.clock(alarm.cleared_s or 0.0), zone)}"
        at = 5 if child else 1
        sign = f"{signs.alarm} " if alarm.standing else f"{signs.idle} "
        name = f"{sign}PRESS {view.number}  {kind_words(alarm.kind)}"
        if child:
            cells.text(at, row, f"follows: {kind_words(alarm.kind).lower()}  {span}", palette.dim, most=width - at - 1)
            row += 1
            continue
        words = palette.text if alarm.standing or raised.loud else palette.dim
        lines = [line for part in (alarm.message, alarm.advice) for line in textwrap.wrap(plain(part), width - 4)]
        cells.fill(0, row, width, 1 + len(lines), palette.panel)
        end = cells.right(width - 1, row, f"{alarm.priority.value}, {_STATES[alarm.state]}", ink, bold=raised.loud)
        at = cells.text(at, row, name, ink, bold=True, most=end - 2)
        cells.text(at + 2, row, span, words, most=end - at - 3)
        for line in lines:
            row += 1
            cells.text(3, row, line, words)
        row += 1
        if row >= height:
            break
        row += 1 if height >= 30 else 0
    return cells


class AlarmList(Drawn):
    """The scrolling body."""

    def __init__(self) -> None:
        super().__init__()
        self.found: Sequence[Raised] = ()
        self.first = 0
        self.zone: tzinfo | None = None

    def key(self) -> Hashable:
        """The presses' versions, and where the list begins."""
        return (tuple((r.alarm, r.view.version) for r in self.found), self.first)

    def draw(self, width: int, height: int, look: Look) -> Cells:
        """Draw the list."""
        return draw_alarms(self.found, self.first, width, height, look, self.zone)

    def move(self, step: int) -> None:
        """Scroll by alarms."""
        self.first = min(max(0, self.first + step), max(0, len(self.found) - 1))
        self.touch()

    def on_mouse_scroll_down(self, event: events.MouseScrollDown) -> None:
        """The wheel."""
        self.move(1)

    def on_mouse_scroll_up(self, event: events.MouseScrollUp) -> None:
        """The wheel."""
        self.move(-1)


class AlarmsScreen(WatchScreen):
    """Standing and past."""

    CSS_PATH = "alarms.tcss"
    place = "Alarms"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,backspace", "back", "Back"),
        Binding("down", "move(1)", "Next"),
        Binding("up", "move(-1)", "Before"),
        Binding("pagedown", "move(5)", "Further"),
        Binding("pageup", "move(-5)", "Back up"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.list = AlarmList()

    def keys(self) -> tuple[Key, ...]:
        """Few."""
        return (
            Key("Esc", "back", "back"),
            Key("Up Down", "move"),
            Key("1-9", "press"),
            Key("?", "help", "app.explain"),
            Key("Ctrl+P", "all", "app.command_palette"),
        )

    def body(self) -> Iterable[Widget]:
        """The list."""
        yield self.list

    def renew_body(self) -> None:
        """The alarms as last read."""
        app = self.dashboard
        self.list.zone = app.shop.zone
        self.list.found = _order(alarms_of(app.source.presses))
        self.list.touch()

    def action_back(self) -> None:
        """To the screen before."""
        self.app.pop_screen()

    def action_move(self, step: int) -> None:
        """Scroll."""
        self.list.move(step)

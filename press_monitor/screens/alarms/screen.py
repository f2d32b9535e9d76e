"""All alarms of all presses, standing and past, each with what to do; acknowledged, shelved and reset from here."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from datetime import tzinfo
from typing import ClassVar

from textual import events
from textual.binding import Binding, BindingType
from textual.widget import Widget

from press_monitor.screens.alarms.deeds import is_kept, reset, shelve
from press_monitor.screens.alarms.listing import Row, count_words, draw_rows, rows_of
from press_monitor.screens.base import WatchScreen
from press_monitor.screens.widgets.bars import Key
from press_monitor.screens.widgets.cells import Cells
from press_monitor.screens.widgets.drawn import Drawn
from press_monitor.screens.widgets.palette import Look
from press_monitor.watch.types import AlarmState

__all__ = ["AlarmList", "AlarmsScreen"]


class AlarmList(Drawn):
    """The list. What is chosen stays chosen however the list moves."""

    def __init__(self) -> None:
        super().__init__()
        self.rows: Sequence[Row] = ()
        self.zone: tzinfo | None = None
        self._marked: Hashable = None
        self._first = 0
        self._places: list[tuple[int, int]] = []

    def show(self, rows: Sequence[Row], zone: tzinfo | None) -> None:
        """Show other rows."""
        self.rows, self.zone = rows, zone
        self.touch()

    @property
    def index(self) -> int:
        """Where the chosen row stands; the first where it is gone."""
        return next((n for n, row in enumerate(self.rows) if row.name == self._marked), 0)

    @property
    def chosen(self) -> Row | None:
        """The chosen row."""
        return self.rows[self.index] if self.rows else None

    def key(self) -> Hashable:
        """The rows as they stand, to the minute, and which is chosen."""
        rows = tuple((r.name, r.raised.alarm, r.depth, round(r.raised.view.utc / 10.0)) for r in self.rows)
        return (rows, self.index, self._first, self.zone)

    def draw(self, width: int, height: int, look: Look) -> Cells:
        """Draw the list and remember where its rows are."""
        cells, self._places = draw_rows(self.rows, self.index, self._first, width, height, look, self.zone)
        if self._places:
            self._first = self._places[0][1]
        return cells

    def move(self, step: int) -> None:
        """Choose another row."""
        if self.rows:
            self._marked = self.rows[min(max(0, self.index + step), len(self.rows) - 1)].name
            self.touch()

    def on_click(self, event: events.Click) -> None:
        """Choose the row under the pointer."""
        row = next((index for line, index in self._places if line == event.y), None)
        if row is not None:
            self.move(row - self.index)
            self.screen.renew_foot() if isinstance(self.screen, WatchScreen) else None

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
    EXPLAINED = (
        """\
Up Down   choose an alarm      Esc  back
Enter     acknowledge the chosen one, with what hangs under it
S R       shelve it, or take it off the shelf; reset one that is kept
""",
        """\
Those nobody has acknowledged first, then those that stand, then the shelved,
the gravest on top; last those that are over. Each says what is wrong, since when, and what to do.
What follows from an alarm hangs under it, and so do the presses under an
alarm of the whole shop. A high one that calls in vain for three minutes says
so. A shelved one calls nobody until its time is up: by name and reason only.
Kept means over, but to be looked at before it goes.""",
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,backspace", "back", "Back"),
        Binding("down", "move(1)", "Next"),
        Binding("up", "move(-1)", "Before"),
        Binding("pagedown", "move(5)", "Further"),
        Binding("pageup", "move(-5)", "Back up"),
        Binding("enter", "acknowledge_chosen", "Acknowledge this one"),
        Binding("s,S", "shelve", "Shelve, or take off the shelf"),
        Binding("r,R", "reset", "Reset one that is kept"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.list = AlarmList()
        self._week: Mapping[str, int] = {}

    def keys(self) -> tuple[Key, ...]:
        """What can be done with the chosen alarm, then the usual."""
        row = self.list.chosen
        state = row.raised.alarm.state if row else None
        kept = row is not None and is_kept(row.raised)
        return (
            Key("Esc", "back", "back"),
            *((Key("Enter", "acknowledge", "acknowledge_chosen"),) if row and row.raised.loud else ()),
            *((Key("S", "off the shelf" if state is AlarmState.SHELVED else "shelve", "shelve"),) if row else ()),
            *((Key("R", "reset", "reset"),) if kept else ()),
            Key("?", "help", "app.explain"),
            Key("K", "silence horn", "app.silence_horn"),
            Key("1-9", "press"),
            Key("Ctrl+P", "all", "app.command_palette"),
        )

    def body(self) -> Iterable[Widget]:
        """The list."""
        yield self.list

    def idle_words(self) -> str:
        """How many."""
        return count_words(self.list.rows, self._week, self.list.chosen)

    def on_mount(self) -> None:
        """What the week's sealed cures had is read once."""
        self._week = self.dashboard.source.alarms_of_week()

    def renew_body(self) -> None:
        """The alarms as last read."""
        self.list.show(rows_of(self.dashboard.source.presses), self.dashboard.shop.zone)
        self.renew_foot()

    def action_move(self, step: int) -> None:
        """Choose another alarm."""
        self.list.move(step)
        self.renew_foot()

    def action_acknowledge_chosen(self) -> None:
        """Acknowledge the chosen alarm; needs no name."""
        row = self.list.chosen
        if row is not None and row.raised.loud:
            self.dashboard.acknowledge(row.raised)

    def action_shelve(self) -> None:
        """Ask how long and why; one that is shelved comes back at once."""
        row = self.list.chosen
        if row is not None:
            shelve(self.dashboard, row.raised)

    def action_reset(self) -> None:
        """Reset an alarm that is kept after its cause went."""
        row = self.list.chosen
        if row is not None:
            reset(self.dashboard, row.raised)

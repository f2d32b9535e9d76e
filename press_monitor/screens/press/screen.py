"""One press, large."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import suppress
from functools import partial
from typing import ClassVar

from textual.app import SystemCommand
from textual.binding import Binding, BindingType
from textual.widget import Widget

from press_monitor.screens.base import WatchScreen
from press_monitor.screens.charts import span_of
from press_monitor.screens.press.board import RECENT_MIN, PressBoard
from press_monitor.screens.press.cursor import step_of
from press_monitor.screens.press.log import log_lines
from press_monitor.screens.press.past import CurePast
from press_monitor.screens.source import PressView
from press_monitor.screens.widgets.bars import Key
from press_monitor.screens.words import say_clock
from press_monitor.watch.types import Phase

__all__ = ["PressScreen"]


class PressScreen(WatchScreen):
    """Charts, the section through the repair, the forecast and the log of one press."""

    CSS_PATH = "press.tcss"
    place = "Press"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,backspace", "floor", "Floor"),
        Binding("h,H", "app.heat_off", "Heat is off, note it"),
        Binding("r,R", "app.release", "Release gate"),
        Binding("e,E", "app.extend", "Extend the hold"),
        Binding("m,M", "app.note", "Note on this cure"),
        Binding("g,G", "log", "Log of this cure"),
        Binding("l,L", "load", "Load this press"),
        Binding("z,Z", "zoom", "Whole cure or last minutes"),
        Binding("n,N", "next_stack", "Next section through the repair"),
        Binding("p,P", "hold_view", "Hold the view still, or let it go on"),
        Binding("left", "cursor(-1)", "Read out an earlier moment"),
        Binding("right", "cursor(1)", "Read out a later moment"),
        Binding("down,pagedown", "neighbour(1)", "Next press"),
        Binding("up,pageup", "neighbour(-1)", "Press before"),
    ]
    EXPLAINED = (
        """\
H         note that you turned the heat off; it switches nothing
R         release gate: heat off, bag at 0, then ram
E M       extend the hold; a note on this cure
Z N       whole cure or last 15 min; next section through the repair
Arrows    left, right: read out a moment; up, down: the other presses
P G       hold the view still; the whole log, and what lies ahead
L Esc     load this press; out of the readout, then back to the floor
""",
        """\
Through   inner mat on the left, outer mat on the right. The curve is the
          temperature at that depth now; below it uncured layers fill up as
          they cure. Deepest lags most, hottest is nearest reversion
Forecast  minutes until the deepest rubber is cured at these mats, and where
          it ends if the heat went off now with the bag left up: rubber goes
          on curing while it cools under pressure
Holding the view holds nothing else: watch, alarms and recording go on.""",
    )

    def __init__(self, press_name: str) -> None:
        super().__init__()
        self.press_name = press_name
        self.board = PressBoard()
        self.held: PressView | None = None

    def keys(self) -> tuple[Key, ...]:
        """What can be noted here; of a press without a cure, whose last one may still be shown, what can be begun."""
        view = self.board.view
        if view is None or view.snapshot is None or view.snapshot.phase is Phase.EMPTY or view.cycle_id is None:
            return (
                Key("Esc", "back", "floor"),
                Key("L", "load", "load"),
                Key("?", "help", "app.explain"),
                Key("A", "alarms", "app.alarms"),
                Key("Ctrl+P", "all", "app.command_palette"),
            )
        return (
            Key("Esc", "back", "floor"),
            Key("H", "heat is off", "app.heat_off"),
            Key("R", "release", "app.release"),
            Key("E", "extend", "app.extend"),
            Key("?", "help", "app.explain"),
            Key("A", "alarms", "app.alarms"),
            Key("M", "note", "app.note"),
            Key("L", "load", "load"),
            Key("Z", "zoom", "zoom"),
            Key("P", "go on" if self.held else "hold view", "hold_view"),
            Key("G", "log", "log"),
            Key("Ctrl+P", "all", "app.command_palette"),
        )

    def body(self) -> Iterable[Widget]:
        """One widget draws all panels."""
        yield self.board

    def idle_words(self) -> str:
        """That a held view holds nothing else."""
        if self.held is None:
            return ""
        when = say_clock(self.held.utc, self.dashboard.shop.zone)
        return f"VIEW HELD at {when}: watch, alarms and recording go on. P lets it go on"

    def offers(self) -> Iterator[SystemCommand]:
        """What the keys do here to the view, for the palette."""
        held = self.held is not None
        words = "Let the view go on" if held else "Hold the view still"
        yield SystemCommand(words, "watch, alarms and recording go on", self.action_hold_view)
        whole = "last minutes" if self.board.recent_min is None else "whole cure"
        yield SystemCommand(f"Zoom: {whole}", "of both charts", self.action_zoom)
        snapshot = self.board.view.snapshot if self.board.view is not None else None
        if snapshot is not None and len(snapshot.stacks) > 1:
            yield SystemCommand("Next section", "through the repair", self.action_next_stack)
        yield SystemCommand("Read out a moment", "then Left and Right", partial(self.action_cursor, -1))

    def turn_to(self, press_name: str) -> None:
        """Show another press."""
        self.press_name = press_name
        self.held = None
        board = self.board
        board.stack, board.cursor_min, board.past = 0, None, None
        self.renew()

    def renew_body(self) -> None:
        """Hand over the press and its log."""
        app, board = self.dashboard, self.board
        view = app.source.press(self.press_name)
        if self.held is not None and view is not None and self.held.cycle_id != view.cycle_id:
            self.held = None
        board.view = self.held or view
        board.units, board.zone = app.units, app.shop.zone
        board.stale = app.source.heartbeat.silent
        board.lines = log_lines(app.source.events(board.view)) if board.view else ()
        self._follow_past()
        board.touch()

    def action_floor(self) -> None:
        """Out of the readout, else back to all presses."""
        if self.board.cursor_min is not None:
            self.board.cursor_min = None
            self.board.touch()
        else:
            self.app.pop_screen()

    def action_load(self) -> None:
        """Load this press."""
        self.dashboard.action_load(self.press_name)

    def action_log(self) -> None:
        """The whole log."""
        if self.board.view is not None:
            self.dashboard.show_log(self.press_name)

    def action_zoom(self) -> None:
        """The whole cure, or its last minutes."""
        self.board.recent_min = None if self.board.recent_min is not None else RECENT_MIN
        self._keep_cursor_inside()
        self.board.touch()

    def action_next_stack(self) -> None:
        """The next section through the repair."""
        self.board.stack += 1
        self.board.touch()

    def action_hold_view(self) -> None:
        """Keep showing this moment, or go on."""
        self.held = None if self.held is not None else self.dashboard.source.press(self.press_name)
        self.renew()

    def action_neighbour(self, step: int) -> None:
        """The press beside this one."""
        places = [p.place.name for p in self.dashboard.source.presses]
        self.turn_to(places[(places.index(self.press_name) + step) % len(places)])

    # -- reading out a moment --

    def action_cursor(self, step: int) -> None:
        """Move the cursor by a column; it begins at the newest reading."""
        board = self.board
        view = board.view
        if view is None or view.snapshot is None or view.trace is None or not len(view.trace):
            return
        now = view.snapshot.t / 60.0
        if board.cursor_min is None:
            self._point_at(now)
        else:
            self._point_at(board.cursor_min + step * step_of(view.snapshot, board.chart_width(), board.recent_min))

    def on_press_board_pointed(self, event: PressBoard.Pointed) -> None:
        """A click on a chart."""
        self._point_at(event.minute)

    def _point_at(self, minute: float) -> None:
        board = self.board
        view = board.view
        if view is None or view.snapshot is None or view.trace is None:
            return
        board.cursor_min = minute
        self._keep_cursor_inside()
        if board.past is None:
            with suppress(KeyError, TypeError, ValueError):
                board.past = CurePast(view.trace)
        self._follow_past()
        board.touch()

    def _keep_cursor_inside(self) -> None:
        board = self.board
        if board.cursor_min is not None and board.view is not None and board.view.snapshot is not None:
            x0, _ = span_of(board.view.snapshot, board.recent_min)
            board.cursor_min = min(max(board.cursor_min, x0, 0.0), board.view.snapshot.t / 60.0)

    def _follow_past(self) -> None:
        """Work out a part of what lies behind; the rest in a moment, so that keys come in between."""
        if self.board.follow_past():
            self.set_timer(0.02, self._further_past)

    def _further_past(self) -> None:
        self._follow_past()
        self.board.touch()

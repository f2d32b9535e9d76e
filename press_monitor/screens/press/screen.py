"""One press, large."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget

from press_monitor.screens.base import WatchScreen
from press_monitor.screens.press.board import RECENT_MIN, PressBoard
from press_monitor.screens.press.log import log_lines
from press_monitor.screens.widgets.bars import Key

__all__ = ["PressScreen"]


class PressScreen(WatchScreen):
    """Charts, the section through the repair, the forecast and the log of one press."""

    CSS_PATH = "press.tcss"
    place = "Press"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,backspace", "floor", "Floor"),
        Binding("h,H", "app.heat_off", "Heat is off, note it"),
        Binding("r,R", "app.release", "Release gate"),
        Binding("l,L", "load", "Load this press"),
        Binding("z,Z", "zoom", "Whole cure or last minutes"),
        Binding("n,N", "next_stack", "Next section through the repair"),
        Binding("right,down", "neighbour(1)", "Next press"),
        Binding("left,up", "neighbour(-1)", "Press before"),
    ]

    def __init__(self, press_name: str) -> None:
        super().__init__()
        self.press_name = press_name
        self.board = PressBoard()

    def keys(self) -> tuple[Key, ...]:
        """What can be noted here."""
        return (
            Key("Esc", "floor", "floor"),
            Key("H", "heat is off", "app.heat_off"),
            Key("R", "release", "app.release"),
            Key("A", "alarms", "app.alarms"),
            Key("L", "load", "load"),
            Key("Z", "zoom", "zoom"),
            Key("?", "help", "app.explain"),
            Key("Ctrl+P", "all", "app.command_palette"),
        )

    def body(self) -> Iterable[Widget]:
        """One widget draws all panels."""
        yield self.board

    def turn_to(self, press_name: str) -> None:
        """Show another press."""
        self.press_name = press_name
        self.board.stack = 0
        self.renew()

    def renew_body(self) -> None:
        """Hand over the press and its log."""
        app, board = self.dashboard, self.board
        board.view = app.source.press(self.press_name)
        board.units, board.zone = app.units, app.shop.zone
        board.stale = app.source.heartbeat.silent
        board.lines = log_lines(app.source.events(board.view)) if board.view else ()
        board.touch()

    def action_floor(self) -> None:
        """Back to all presses."""
        self.app.pop_screen()

    def action_load(self) -> None:
        """Load this press."""
        self.dashboard.action_load(self.press_name)

    def action_zoom(self) -> None:
        """The whole cure, or its last minutes."""
        self.board.recent_min = None if self.board.recent_min is not None else RECENT_MIN
        self.board.touch()

    def action_next_stack(self) -> None:
        """The next section through the repair."""
        self.board.stack += 1
        self.board.touch()

    def action_neighbour(self, step: int) -> None:
        """The press beside this one."""
        places = [p.place.name for p in self.dashboard.source.presses]
        self.turn_to(places[(places.index(self.press_name) + step) % len(places)])

"""The floor: every press at a glance."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget

from press_monitor.screens.base import WatchScreen
from press_monitor.screens.floor.board import Board
from press_monitor.screens.reading import worst_first
from press_monitor.screens.widgets.bars import Key

__all__ = ["FloorScreen"]


class FloorScreen(WatchScreen):
    """All presses as lanes."""

    CSS_PATH = "floor.tcss"
    place = "Floor"
    EXPLAINED = (
        """\
L         load a press         Up Down  more presses
""",
        """\
A lane is a press, always in the same place.
Left      its state, and the number that matters most now: minutes left, or
          the value that went wrong
Middle    both mats over time. In the tinted band they are right; while
          heating, in the tinted slope they are on time. Blue is the bag
Right     mats; bag, with marks at its minimum and maximum; deepest rubber,
          the uncured point that lags most: solid is sure, paler is the band
          it lies in, with marks at the blow point and at the cure needed
28-55     percent: that band. Before or at blow point, its lower edge is not
          past it: losing the bag now could leave the rubber porous
Presses that fall together have one cause: one alarm for the whole shop.""",
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("l,L", "app.load", "Load a press"),
        Binding("down,pagedown", "turn(1)", "Further presses"),
        Binding("up,pageup", "turn(-1)", "Presses before"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.board = Board()

    def keys(self) -> tuple[Key, ...]:
        """Few, and the number pad first."""
        count = len(self.dashboard.source.presses)
        raised = len(worst_first(self.dashboard.source.presses))
        return (
            Key(f"1-{count}" if count > 1 else "1", "press"),
            Key("L", "load", "app.load"),
            Key("A", f"alarms {raised}" if raised else "alarms", "app.alarms"),
            Key("?", "help", "app.explain"),
            Key("Q", "quit", "app.quit"),
            Key("T", "theme", "app.theme"),
            Key("Ctrl+P", "all", "app.command_palette"),
        )

    def body(self) -> Iterable[Widget]:
        """The lanes."""
        yield self.board

    def renew_body(self) -> None:
        """Hand the presses to the lanes."""
        app = self.dashboard
        self.board.show(app.source.presses, app.units, app.shop.zone, stale=app.source.heartbeat.silent)

    def idle_words(self) -> str:
        """What a page does not show."""
        layout = self.board.layout_now()
        if layout.pages < 2 or not layout.spots:
            return ""
        first, last = layout.spots[0].place + 1, layout.spots[-1].place + 1
        hidden = sorted({r.view.number for r in worst_first(self.dashboard.source.presses) if r.alarm.standing})
        beyond = [str(n) for n in hidden if not first <= n <= last]
        alarms = f", alarms on press {', '.join(beyond)}" if beyond else ""
        return f"presses {first}-{last} of {len(self.dashboard.source.presses)}, Down and Up for the others{alarms}"

    def action_turn(self, pages: int) -> None:
        """Page through more presses than fit."""
        self.board.turn(pages)
        self.renew_foot()

    def on_board_opened(self, event: Board.Opened) -> None:
        """Open the lane that was clicked."""
        self.dashboard.open_press(event.name)

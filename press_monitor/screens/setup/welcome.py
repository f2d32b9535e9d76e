"""The first run: no shop file yet. Set up a press, or see the demo first."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.screen import Screen
from textual.widget import Widget

from press_monitor.quantities import UnitSystem
from press_monitor.screens.app import Dashboard
from press_monitor.screens.base import WatchScreen
from press_monitor.screens.dialogs.dialog import Words
from press_monitor.screens.setup.hands import Hands
from press_monitor.screens.setup.screen import SetupScreen
from press_monitor.screens.shopview import ShopView
from press_monitor.screens.source import Source
from press_monitor.screens.widgets.bars import BarWords, Key
from press_monitor.screens.widgets.choice import Choice, Option
from press_monitor.screens.widgets.palette import Tone

__all__ = ["FirstRun", "WelcomeScreen"]

_WAYS = (
    Option("setup", "Set up a press", "about ten minutes, with the instrument plugged in"),
    Option("demo", "See the demo", "an invented shop with faults in it, no hardware"),
    Option("terminal", "This terminal", "what it can draw"),
    Option("check", "Check this computer", "ports, disk, clock, in words"),
)


class WelcomeScreen(WatchScreen):
    """One question, four ways."""

    CSS_PATH = "welcome.tcss"
    place = "Welcome"
    EXPLAINED = (
        """\
1-4       which of these; Enter goes there
Esc Q     close
""",
        """\
Setting up asks a few questions and writes the shop file; it can be gone
through again for every further press. The demo is an invented shop in a
folder of its own: nothing of it comes into your records.""",
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "enter", "Go"),
        Binding("down", "move(1)", "Next"),
        Binding("up", "move(-1)", "Before"),
        Binding("escape", "app.quit", "Close"),
    ]

    def __init__(self, hands: Hands) -> None:
        super().__init__()
        self.hands = hands
        self.choice = Choice(_WAYS, listed=True)

    def keys(self) -> tuple[Key, ...]:
        """Few."""
        return (
            Key("1-4", "pick"),
            Key("Enter", "go", "enter"),
            Key("T", "theme", "app.theme"),
            Key("F1", "help", "app.explain"),
            Key("Q", "close", "app.quit"),
        )

    def body(self) -> Iterable[Widget]:
        """What it is, then the ways."""
        yield VerticalScroll(
            Words(
                "press-monitor watches tire section repairs cure: heat, bag and the deepest rubber.", classes="question"
            ),
            Words("There is no shop file yet. What first?"),
            self.choice,
            Words(
                "It watches and records. It switches nothing and is no safety device: the shop's rules, local codes and"
                " licensed practice come first.",
                classes="soft",
            ),
            classes="page",
            can_focus=False,
        )

    def on_mount(self) -> None:
        """The ways are what one came for."""
        self.choice.focus()

    def renew(self) -> None:
        """No recorder is missed yet."""
        super().renew()
        self.bar.say(BarWords(Tone.IDLE, False, "No shop file yet", "", "", f"It will be {self.hands.shop_file}"))

    def renew_body(self) -> None:
        """Nothing here lives."""

    def action_move(self, step: int) -> None:
        """The way beside."""
        self.choice.action_step(step)

    def action_enter(self) -> None:
        """Go the way that is chosen."""
        way = self.choice.value
        app = self.app
        if way == "demo" and isinstance(app, FirstRun):
            app.chosen = "demo"
            app.exit()
        else:
            setup = SetupScreen(self.hands, "press" if way == "setup" else way)
            app.push_screen(setup, lambda _: self._set_up(setup))

    def _set_up(self, setup: SetupScreen) -> None:
        if setup.saved and isinstance(self.app, FirstRun):
            self.app.chosen = "start"
            self.app.exit()


class FirstRun(Dashboard):
    """The dashboard's screens without a shop. `chosen` says what is wanted next: ``start``, ``demo`` or nothing."""

    CSS_PATH: ClassVar = ["../app.tcss"]

    def __init__(self, archive: Path, hands: Hands) -> None:
        view = ShopView("No shop file yet", UnitSystem.named("us"), ())
        super().__init__(Source.at(archive, view.places), view, hands=hands)
        self.chosen = ""
        self._hands = hands

    def first_screen(self) -> Screen[None]:
        """The welcome."""
        return WelcomeScreen(self._hands)

    async def action_quit(self) -> None:
        """Nothing goes on without it."""
        self.exit()

"""Setting up: a press on a port, what this terminal can draw, what is wrong with the installation."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, ClassVar

from textual.app import SystemCommand
from textual.binding import Binding, BindingType
from textual.widget import Widget

from press_monitor.screens.base import WatchScreen
from press_monitor.screens.load.strip import PageStrip, Tab
from press_monitor.screens.setup.found import CheckPage
from press_monitor.screens.setup.pattern import MARKER_WORDS, PatternPage
from press_monitor.screens.setup.wizard_page import WizardPage
from press_monitor.screens.widgets.bars import BarWords, Key
from press_monitor.screens.widgets.drawn import Drawn
from press_monitor.screens.widgets.palette import Marker, Tone

if TYPE_CHECKING:
    from press_monitor.screens.setup.hands import Hands

__all__ = ["SetupScreen"]

_PAGES = (
    Tab("press", "F2", "A press", None),
    Tab("terminal", "F3", "This terminal", None),
    Tab("check", "F4", "Check", None),
)


class SetupScreen(WatchScreen):
    """Three pages in one place. Leaving it, or stopping a step, lets the port go."""

    CSS_PATH = "setup.tcss"
    place = "Setup"
    EXPLAINED = (
        """\
F2 F3 F4  a press; what this terminal can draw; what is wrong here
1-9 Enter the answer with that number; the answer that stands
Esc       stop listening; back a question; leave
F8 F9     acknowledge the alarm on top; look for the ports again
""",
        """\
One question after the other: which port, how the instrument speaks, what
each of its values is. A port that a running recorder holds is never opened.
Leaving, or an answer, lets the port go. Nothing is written before the last
yes, and then only a file that can be read; your comments in it stay.""",
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "back", "Back a question, or leave"),
        Binding("enter", "enter", "Answer"),
        Binding("down", "move(1)", "Next"),
        Binding("up", "move(-1)", "Before"),
        Binding("f8", "app.acknowledge", "Acknowledge the alarm on top"),
        Binding("f9", "look_again", "Look for ports again, or check again"),
        *(Binding(tab.cap.lower(), f"page('{tab.name}')", tab.words) for tab in _PAGES),
        *(Binding(str(n), f"digit({n})", show=False) for n in range(10)),
    ]

    def __init__(self, hands: Hands, page: str = "press") -> None:
        super().__init__()
        self.hands = hands
        self.here = page
        self.strip = PageStrip()
        self.wizard_page = WizardPage(hands)
        self.check_page = CheckPage(hands)

    @property
    def saved(self) -> bool:
        """Whether the shop file was written."""
        return self.wizard_page.saved

    def keys(self) -> tuple[Key, ...]:
        """What the few keys do on this page."""
        here = {
            "press": (
                Key("Enter", "go on" if self.wizard_page.over else "answer", "enter"),
                Key("Esc", "back", "back"),
                Key("F9", "ports again", "look_again"),
            ),
            "terminal": (Key("1-3", "draw with"), Key("Esc", "back", "back")),
            "check": (Key("Up Down", "scroll"), Key("F9", "check again", "look_again"), Key("Esc", "back", "back")),
        }
        return (*here[self.here], Key("F1", "help", "app.explain"), Key("Ctrl+P", "all", "app.command_palette"))

    def body(self) -> Iterable[Widget]:
        """The strip, then the three pages in one place."""
        yield self.strip
        yield self.wizard_page
        yield PatternPage()
        yield self.check_page

    def on_mount(self) -> None:
        """Look at the ports, then ask the first question."""
        self._turn()
        self.wizard_page.look()
        if self.here == "check":
            self.check_page.look()

    def renew(self) -> None:
        """The bar names no key that does something else here."""
        super().renew()
        words = replace(self.bar.words, key=self.bar.words.key.replace("[Enter]", "[F8]"))
        if not self.dashboard.source.presses:
            words = BarWords(Tone.IDLE, False, "Setting up", "", "", "Nothing is watched or recorded yet.")
        self.bar.say(words)

    def renew_body(self) -> None:
        """Nothing here comes from the archive."""

    def offers(self) -> Iterator[SystemCommand]:
        """Everything here, for the palette."""
        for tab in _PAGES:
            if tab.name != self.here:
                yield SystemCommand(f"Setup: {tab.words.lower()}", "this page", partial(self.action_page, tab.name))
        if self.here == "terminal":
            for number, marker in enumerate(Marker, 1):
                name, words = MARKER_WORDS[marker]
                yield SystemCommand(f"Draw with {name}", words, partial(self.action_digit, number))
        else:
            again = "Check again" if self.here == "check" else "Look for ports again"
            yield SystemCommand(again, "once more", self.action_look_again)
        yield SystemCommand("Setup: back", "a question, or leave", self.action_back)

    def idle_words(self) -> str:
        """What goes on with the port."""
        return self.wizard_page.doing

    # -- pages --

    def action_page(self, name: str) -> None:
        """Another page."""
        self.here = name
        self._turn()
        if name == "check" and not self.check_page.looked:
            self.check_page.look()

    def _turn(self) -> None:
        for tab in _PAGES:
            self.query_one(f"#{tab.name}").display = tab.name == self.here
        self.strip.show(_PAGES, self.here, str(self.hands.shop_file))
        if self.here == "press":
            self.wizard_page.take_focus()
        else:
            self.set_focus(None)
        self.renew_foot()

    def on_page_strip_chosen(self, event: PageStrip.Chosen) -> None:
        """A click on a page's name."""
        self.action_page(event.page_name)

    def on_wizard_page_moved(self) -> None:
        """The keys may do something else now."""
        self.renew_foot()

    def on_wizard_page_saved(self) -> None:
        """What a check found may no longer be so."""
        self.check_page.looked = False

    # -- keys --

    def action_enter(self) -> None:
        """The answer that stands; at the end, leave."""
        if self.here != "press":
            return
        if self.wizard_page.over:
            self._leave()
        else:
            self.wizard_page.enter()

    def action_back(self) -> None:
        """Stop what is being done, take back an answer, or leave."""
        self.wizard_page.let_go()
        if self.here != "press":
            self.action_page("press")
        elif self.wizard_page.at_start:
            self._leave()
        else:
            self.wizard_page.back()

    def _leave(self) -> None:
        self.wizard_page.let_go()
        self.dismiss()

    def action_move(self, step: int) -> None:
        """The option beside, or further down the list."""
        if self.here == "check":
            self.check_page.findings.move(step)
        elif self.here == "press":
            self.wizard_page.step(step)

    def action_digit(self, digit: int) -> None:
        """What charts are drawn with, on the terminal's page; elsewhere the choice takes it by itself."""
        if self.here == "terminal" and 1 <= digit <= len(Marker):
            self.dashboard.marker = list(Marker)[digit - 1]
            for screen in self.app.screen_stack:
                for widget in screen.query(Drawn):
                    widget.touch()

    def action_look_again(self) -> None:
        """The ports, or the check, once more."""
        if self.here == "check":
            self.check_page.look()
        elif self.here == "press":
            self.wizard_page.look(again=True)

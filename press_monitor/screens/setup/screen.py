"""Setting up: a press on a port, what this terminal can draw, what is wrong with the installation."""

from __future__ import annotations

import asyncio
from collections.abc import Iterable, Iterator
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, ClassVar

from textual.app import SystemCommand
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.widget import Widget

from press_monitor.screens.base import WatchScreen
from press_monitor.screens.dialogs.dialog import Words
from press_monitor.screens.load.strip import PageStrip, Tab
from press_monitor.screens.setup.found import FindingList
from press_monitor.screens.setup.jobs import PortJobs
from press_monitor.screens.setup.pattern import MARKER_WORDS, TestPattern
from press_monitor.screens.widgets.bars import BarWords, Key
from press_monitor.screens.widgets.cells import plain
from press_monitor.screens.widgets.choice import Choice, Option
from press_monitor.screens.widgets.drawn import Drawn
from press_monitor.screens.widgets.palette import Marker, Tone
from press_monitor.screens.widgets.rows import Entry
from press_monitor.setup.steps import Listen, Question, SetupStopped, Try
from press_monitor.setup.wizard import Wizard
from press_monitor.shop import ShopError

if TYPE_CHECKING:
    from press_monitor.screens.setup.hands import Hands

__all__ = ["SetupScreen"]

_PAGES = (
    Tab("press", "F2", "A press", None),
    Tab("terminal", "F3", "This terminal", None),
    Tab("check", "F4", "Check", None),
)
_BEFORE_PORT = frozenset({"shop", "units", "press", "title", "recipe", "driver", "port", "port name", "ask", "map"})
"""Questions that nothing has come from a port for; with later ones what came stays in sight."""

_MOST_LINES = 8


class SetupScreen(WatchScreen):
    """The wizard of `press_monitor.setup` as a screen. Leaving it, or stopping a step, lets the port go."""

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
        self.trail = Words(classes="trail")
        self.told = Words(classes="told")
        self.words = Words(classes="question")
        self.choice = Choice([], listed=True)
        self.entry = Entry("answer", "", label_width=1, field_width=60)
        self.error = Words(classes="warn")
        self.live = Words(classes="live")
        self.pattern = TestPattern()
        self.findings = FindingList()
        self.wizard: Wizard | None = None
        self.saved = False
        self.ended = ""
        """Why setup is over, where it is."""
        self.jobs = PortJobs(self._show_lines)
        self._checked = False
        self._live: tuple[str, ...] = ()
        self._doing = ""

    # -- what stands on it --

    def keys(self) -> tuple[Key, ...]:
        """What the few keys do on this page."""
        over = self.saved or bool(self.ended)
        here = {
            "press": (
                Key("Enter", "go on" if over else "answer", "enter"),
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
        yield VerticalScroll(
            self.trail,
            self.words,
            self.told,
            self.choice,
            self.entry,
            self.error,
            self.live,
            id="press",
            classes="page",
            can_focus=False,
        )
        yield Vertical(
            Words("Which of these is drawn cleanly? Its digit takes it.", classes="question"),
            self.pattern,
            Words(
                "It holds until you close this; PRESS_MONITOR_CHARTS=braille, blocks or ascii keeps it. T: high"
                " contrast.",
                classes="soft",
            ),
            id="terminal",
            classes="page",
        )
        yield Vertical(self.findings, id="check", classes="page")

    def on_mount(self) -> None:
        """Look at the ports, then ask the first question."""
        super().on_mount()
        self._turn()
        self._begin()
        if self.here == "check":
            self._examine()

    def on_unmount(self) -> None:
        """Whatever is open is let go."""
        self.jobs.stop()

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
        return self._doing

    def action_page(self, name: str) -> None:
        """Another page."""
        self.here = name
        self._turn()
        if name == "check" and not self._checked:
            self._examine()

    def _turn(self) -> None:
        for tab in _PAGES:
            self.query_one(f"#{tab.name}").display = tab.name == self.here
        self.strip.show(_PAGES, self.here, str(self.hands.shop_file))
        if self.here == "press":
            self._focus()
        else:
            self.set_focus(None)
        self.renew_foot()

    def on_page_strip_chosen(self, event: PageStrip.Chosen) -> None:
        """A click on a page's name."""
        self.action_page(event.page_name)

    # -- the wizard --

    def _begin(self) -> None:
        self._doing = "looking for ports"
        self.run_worker(self._gather(again=False), group="facts", exclusive=True)

    async def _gather(self, *, again: bool) -> None:
        try:
            facts = await asyncio.to_thread(self.hands.facts)
            if again and self.wizard is not None:
                self.wizard.look_again(facts)
            else:
                self.wizard = Wizard(facts)
        except (ShopError, SetupStopped) as error:
            self._end(f"{error}. Nothing was changed.")
            return
        self._doing = ""
        self._show()

    def _end(self, words: str) -> None:
        self.ended, self._doing = words, ""
        self._show()

    def _show(self) -> None:
        """The question that stands, or what is being done."""
        wizard = self.wizard
        step = wizard.step if wizard is not None and not self.ended else None
        self._say(self.trail, self._trail())
        question = step if isinstance(step, Question) else None
        choices = question.choices if question is not None else ()
        self.choice.display = bool(choices)
        self.entry.display = question is not None and not choices
        self._say(self.error, question.error if question is not None else "")
        self._say(self.told, "\n".join(map(plain, question.told)) if question is not None else "")
        if question is not None:
            self._say(self.words, plain(question.words))
            self._offer(question)
            if question.key == "right":
                self._say(self.told, "")
                self._watch()
            elif question.key in _BEFORE_PORT:
                self._say(self.live, "")
        elif isinstance(step, (Listen, Try)):
            self._carry_out(step)
        elif self.ended:
            self._say(self.words, self.ended)
        elif wizard is not None and wizard.text is not None and not self.saved:
            self.run_worker(self._write(wizard.text), group="write", exclusive=True)
        self._focus()
        self.renew_foot()

    @staticmethod
    def _say(words: Words, text: str) -> None:
        words.update(text)
        words.display = bool(text)

    def _trail(self) -> str:
        """What was answered, on a line."""
        given = [plain(answer) for answer in (self.wizard.answers if self.wizard is not None else ())]
        return " · ".join(each for each in given if each)

    def _offer(self, question: Question) -> None:
        if question.choices:
            options = tuple(Option(c.value, plain(c.value), plain(c.words)) for c in question.choices)
            values = [option.value for option in options]
            self.choice.options = options
            self.choice.chosen = values.index(question.default) if question.default in values else 0
            self.choice.refresh(layout=True)
        elif not question.error:
            self.entry.put(question.default.strip())

    def _focus(self) -> None:
        if self.here != "press":
            return
        field: Widget | None = self.choice if self.choice.display else self.entry if self.entry.display else None
        self.set_focus(field)

    def action_enter(self) -> None:
        """The answer that stands; at the end, leave."""
        step = self.wizard.step if self.wizard is not None else None
        if self.here != "press":
            return
        if self.ended or self.saved:
            self._leave()
        elif isinstance(step, Question):
            typed = self.choice.value if step.choices else self.entry.value
            # An empty answer means the question's own default, which for a title may be blank.
            self._answer(typed if typed or step.default.strip() else step.default)

    def _answer(self, given: str) -> None:
        wizard = self.wizard
        if wizard is None:
            return
        self.jobs.stop()
        self._doing = ""
        try:
            wizard.answer(given)
        except SetupStopped as stopped:
            self._end(f"{stopped}.")
            return
        self._show()

    def action_back(self) -> None:
        """Stop what is being done, take back an answer, or leave."""
        self.jobs.stop()
        wizard = self.wizard
        if self.here != "press":
            self.action_page("press")
        elif self.saved or self.ended or wizard is None or not wizard.answers:
            self._leave()
        else:
            self._doing = ""
            wizard.back()
            self._show()

    def _leave(self) -> None:
        self.jobs.stop()
        self.dismiss()

    def action_move(self, step: int) -> None:
        """The option beside, or further down the list."""
        if self.here == "check":
            self.findings.move(step)
        elif self.here == "press" and self.choice.display:
            self.choice.action_step(step)

    def action_digit(self, digit: int) -> None:
        """What charts are drawn with, on the terminal's page; elsewhere the choice takes it by itself."""
        if self.here == "terminal" and 1 <= digit <= len(Marker):
            self.dashboard.marker = list(Marker)[digit - 1]
            for widget in self.app.query(Drawn):
                widget.touch()
            self.pattern.refresh()

    def action_look_again(self) -> None:
        """The ports, or the check, once more."""
        if self.here == "check":
            self._examine()
        elif self.here == "press" and not self.saved and not self.jobs.busy:
            self.ended, self._doing = "", "looking for ports"
            self.renew_foot()
            self.run_worker(self._gather(again=True), group="facts", exclusive=True)

    # -- ports, off this thread --

    def _carry_out(self, step: Listen | Try) -> None:
        listening = isinstance(step, Listen)
        self._live = ()
        self._doing = "the port is open; Esc lets it go"
        self._say(self.words, "Listening to the port …" if listening else "Trying the press …")
        self._say(self.live, "")
        self.run_worker(self._carried(step), group="port", exclusive=True)

    async def _carried(self, step: Listen | Try) -> None:
        done = await (self.jobs.listen(step) if isinstance(step, Listen) else self.jobs.attempt(step))
        wizard = self.wizard
        if done is None or wizard is None or wizard.step is not step:
            return
        self._doing = ""
        wizard.answer(done)
        self._show()

    def _watch(self) -> None:
        """The press's values, live, while somebody looks whether they are right."""
        wizard = self.wizard
        tried = wizard.last_try if wizard is not None else None
        if tried is not None:
            self._doing = "live from the port; an answer lets it go"
            self.run_worker(self.jobs.watch(tried), group="port", exclusive=True)

    def _show_lines(self, lines: tuple[str, ...]) -> None:
        self._live = lines
        self._say(self.live, "\n".join(self._live[-_MOST_LINES:]))

    async def _write(self, text: str) -> None:
        wizard = self.wizard
        try:
            await asyncio.to_thread(self.hands.write, self.hands.shop_file, text)
            recording = await asyncio.to_thread(self.hands.recording)
        except (ShopError, OSError) as error:
            self._end(f"It could not be written: {error}. The shop file is as it was.")
            return
        self.saved = True
        name = wizard.press if wizard is not None else "The press"
        self._say(self.words, f"{name} is in the shop file.")
        after = "Look over its rubber and recipe there: they are typical figures, not yours."
        if recording:
            after += (
                "\nThe recorder that runs now reads the file when it starts again. When no press is hot:"
                " press-monitor recorder --stop, then press-monitor."
            )
        self._say(self.told, after)
        self._say(self.live, str(self.hands.shop_file))
        self._checked = False
        self._focus()
        self.renew_foot()

    # -- the check --

    def _examine(self) -> None:
        self._checked = True
        self.findings.words = "Looking …"
        self.findings.show(())
        self.run_worker(self._examined(), group="check", exclusive=True)

    async def _examined(self) -> None:
        self.findings.show(await asyncio.to_thread(self.hands.examine))

"""The wizard of `press_monitor.setup` as a page: one question after the other, and the port that is listened to."""

from __future__ import annotations

import asyncio
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from textual.message import Message

from press_monitor.screens.background import begin
from press_monitor.screens.setup.jobs import PortJobs
from press_monitor.screens.setup.question import QuestionPage, say
from press_monitor.screens.widgets.cells import plain
from press_monitor.setup.steps import Listen, Question, SetupStopped, Try
from press_monitor.setup.wizard import Wizard
from press_monitor.shop import ShopError

if TYPE_CHECKING:
    from press_monitor.screens.setup.hands import Hands

__all__ = ["WizardPage"]

_BEFORE_PORT = frozenset({"shop", "units", "press", "title", "recipe", "driver", "port", "port name", "ask", "map"})
"""Questions that nothing has come from a port for; with later ones what came stays in sight."""

_MOST_LINES = 8


class WizardPage(QuestionPage):
    """Asks, carries out, writes. An answer, a step back and `let_go` each let the port go."""

    class Moved(Message):
        """Another question, another thing being done, or the end: the keys and their line may say something else."""

    class Saved(Message):
        """The shop file was written."""

    def __init__(self, hands: Hands) -> None:
        super().__init__("press")
        self.hands = hands
        self.wizard: Wizard | None = None
        self.saved = False
        self.ended = ""
        """Why setup is over, where it is."""
        self.doing = ""
        """What goes on with the port, in words."""
        self.jobs = PortJobs(self._show_lines)

    @property
    def over(self) -> bool:
        """Whether nothing is left to ask."""
        return self.saved or bool(self.ended)

    @property
    def at_start(self) -> bool:
        """Whether there is no answer to take back."""
        return self.over or self.wizard is None or not self.wizard.answers

    def on_unmount(self) -> None:
        """Whatever is open is let go."""
        self.jobs.stop()

    def let_go(self) -> None:
        """Let the port go, if one is open."""
        self.jobs.stop()

    # -- the questions --

    def look(self, *, again: bool = False) -> None:
        """Look for the ports, then ask the first question, or once more the one that stands. Not once it is saved."""
        if self.saved or (again and self.jobs.busy):
            return
        self.ended, self.doing = "", "looking for ports"
        self.post_message(self.Moved())
        begin(self, partial(self._gather, again=again), "facts")

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
        self.doing = ""
        self._show()

    def _end(self, words: str) -> None:
        self.ended, self.doing = words, ""
        self._show()

    def _show(self) -> None:
        """The question that stands, or what is being done."""
        wizard = self.wizard
        step = wizard.step if wizard is not None and not self.ended else None
        say(self.trail, self._trail())
        self.show_question(step if isinstance(step, Question) else None)
        if isinstance(step, (Listen, Try)):
            self._carry_out(step)
        elif self.ended:
            say(self.words, self.ended)
        elif step is None and wizard is not None and wizard.text is not None and not self.saved:
            begin(self, partial(self._write, wizard.press, wizard.text), "write")
        self.take_focus()
        self.post_message(self.Moved())

    def show_question(self, question: Question | None) -> None:
        """The question; with it the press's values, live, or nothing from the port, as it asks."""
        super().show_question(question)
        if question is None:
            return
        if question.key == "right":
            say(self.told, "")
            self._watch()
        elif question.key in _BEFORE_PORT:
            say(self.live, "")

    def _trail(self) -> str:
        """What was answered, on a line."""
        given = [plain(answer) for answer in (self.wizard.answers if self.wizard is not None else ())]
        return " · ".join(each for each in given if each)

    # -- answers --

    def enter(self) -> None:
        """The answer that stands."""
        step = self.wizard.step if self.wizard is not None else None
        if isinstance(step, Question):
            typed = self.choice.value if step.choices else self.entry.value
            # An empty answer means the question's own default, which for a title may be blank.
            self._answer(typed if typed or step.default.strip() else step.default)

    def _answer(self, given: str) -> None:
        wizard = self.wizard
        if wizard is None:
            return
        self.jobs.stop()
        self.doing = ""
        try:
            wizard.answer(given)
        except SetupStopped as stopped:
            self._end(f"{stopped}.")
            return
        self._show()

    def back(self) -> None:
        """Stop what is being done and take back an answer."""
        self.jobs.stop()
        self.doing = ""
        if self.wizard is not None:
            self.wizard.back()
            self._show()

    # -- ports, off this thread --

    def _carry_out(self, step: Listen | Try) -> None:
        self.doing = "the port is open; Esc lets it go"
        say(self.words, "Listening to the port …" if isinstance(step, Listen) else "Trying the press …")
        say(self.live, "")
        begin(self, partial(self._carried, step), "port")

    async def _carried(self, step: Listen | Try) -> None:
        done = await (self.jobs.listen(step) if isinstance(step, Listen) else self.jobs.attempt(step))
        wizard = self.wizard
        if done is None or wizard is None or wizard.step is not step:
            return
        self.doing = ""
        wizard.answer(done)
        self._show()

    def _watch(self) -> None:
        """The press's values, live, while somebody looks whether they are right."""
        wizard = self.wizard
        tried = wizard.last_try if wizard is not None else None
        if tried is not None:
            self.doing = "live from the port; an answer lets it go"
            begin(self, partial(self._watched, tried), "port")

    async def _watched(self, step: Try) -> None:
        await self.jobs.watch(step)

    def _show_lines(self, lines: tuple[str, ...]) -> None:
        say(self.live, "\n".join(lines[-_MOST_LINES:]))

    # -- the end --

    async def _write(self, press: str, text: str) -> None:
        path: Path = self.hands.shop_file
        try:
            await asyncio.to_thread(self.hands.write, path, text)
            recording = await asyncio.to_thread(self.hands.recording)
        except (ShopError, OSError) as error:
            self._end(f"It could not be written: {error}. The shop file is as it was.")
            return
        self.saved = True
        say(self.words, f"{press or 'The press'} is in the shop file.")
        say(self.told, _saved_words(recording=recording))
        say(self.live, str(path))
        self.take_focus()
        self.post_message(self.Saved())
        self.post_message(self.Moved())


def _saved_words(*, recording: bool) -> str:
    words = "Look over its rubber and recipe there: they are typical figures, not yours."
    if recording:
        words += (
            "\nThe recorder that runs now reads the file when it starts again. When no press is hot:"
            " press-monitor recorder --stop, then press-monitor."
        )
    return words

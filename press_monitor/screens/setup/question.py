"""A question as a page: what was answered, the question with its answers, what comes from the port."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.widget import Widget

from press_monitor.screens.dialogs.dialog import Words
from press_monitor.screens.widgets.cells import plain
from press_monitor.screens.widgets.choice import Choice, Option
from press_monitor.screens.widgets.rows import Entry
from press_monitor.setup.steps import Question

__all__ = ["QuestionPage", "say"]


def say(words: Words, text: str) -> None:
    """Show a text, or nothing at all where there is none."""
    words.update(text)
    words.display = bool(text)


class QuestionPage(VerticalScroll):
    """Shows questions; what becomes of the answers is a subclass's."""

    def __init__(self, name: str) -> None:
        super().__init__(id=name, classes="page", can_focus=False)
        self.trail = Words(classes="trail")
        self.told = Words(classes="told")
        self.words = Words(classes="question")
        self.choice = Choice([], listed=True)
        self.entry = Entry("answer", "", label_width=1, field_width=60)
        self.error = Words(classes="warn")
        self.live = Words(classes="live")

    def compose(self) -> ComposeResult:
        """From top to bottom."""
        yield from (self.trail, self.words, self.told, self.choice, self.entry, self.error, self.live)

    def show_question(self, question: Question | None) -> None:
        """The question with its answers; None: there is none."""
        choices = question.choices if question is not None else ()
        self.choice.display = bool(choices)
        self.entry.display = question is not None and not choices
        say(self.error, question.error if question is not None else "")
        say(self.told, "\n".join(map(plain, question.told)) if question is not None else "")
        if question is not None:
            say(self.words, plain(question.words))
            self._offer(question)

    def _offer(self, question: Question) -> None:
        if question.choices:
            options = tuple(Option(c.value, plain(c.value), plain(c.words)) for c in question.choices)
            values = [option.value for option in options]
            self.choice.options = options
            self.choice.chosen = values.index(question.default) if question.default in values else 0
            self.choice.refresh(layout=True)
        elif not question.error:
            self.entry.put(question.default.strip())

    def take_focus(self) -> None:
        """The field that an answer goes into, while the page is the one shown."""
        if not self.display:
            return
        field: Widget | None = self.choice if self.choice.display else self.entry if self.entry.display else None
        self.screen.set_focus(field)

    def step(self, by: int) -> None:
        """The option beside, where there are any."""
        if self.choice.display:
            self.choice.action_step(by)

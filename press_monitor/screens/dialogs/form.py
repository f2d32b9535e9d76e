"""A dialog with fields: what is typed is checked as the command line checks it, and a mistake is named at its field."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import date

from textual.widget import Widget

from press_monitor.archive.requests import append_entry
from press_monitor.archive.types import Json
from press_monitor.screens.dialogs.dialog import Dialog, Words
from press_monitor.screens.records.desk import Desk, ask, day_typed
from press_monitor.screens.widgets.cells import plain
from press_monitor.screens.widgets.choice import Choice
from press_monitor.screens.widgets.palette import Tone
from press_monitor.screens.widgets.rows import Entry, FormRow, Remark

__all__ = ["FormDialog", "WrongField", "day_entry"]


class WrongField(ValueError):
    """What stands wrong in a field; `key` is the field's name, empty for the whole."""

    def __init__(self, key: str, words: str) -> None:
        super().__init__(words)
        self.key = key


def day_entry(name: str, label: str, hint: str) -> Entry:
    """A field for a day."""
    return Entry(name, label, hint=hint, longest=10, field_width=22)


class FormDialog(Dialog):
    """Subclasses give `title_words`, `fields` and `accept`; `accept` raises what its checks raise."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self.desk = desk
        self.problem = Words(classes="warn")
        self._asks = False

    def fields(self) -> Iterable[Widget]:
        """What stands between heading and hint."""
        raise NotImplementedError

    def accept(self) -> Callable[[], None] | None:
        """Check everything and return what is to be done once the dialog is closed; None where it is not ready."""
        raise NotImplementedError

    def enters(self, kind: str, body: Json, words: str, by: str, then: Callable[[], None]) -> Callable[[], None]:
        """What an `accept` returns that enters something of Stores into the ledger; `by` is kept as the operator."""
        app, desk = self.dashboard, self.desk
        app.operator = by or app.operator
        return lambda: ask(
            app,
            words,
            lambda: append_entry(desk.asked("stores"), kind, body),
            lambda _: then(),
            done=lambda entry: f"ledger entry {entry}",
        )

    def hint_words(self) -> str:
        """What the keys do."""
        return "Up Down field   Enter enter it   Esc back"

    def content(self) -> Iterable[Widget]:
        """The fields, and where a mistake is said in full."""
        yield from self.fields()
        yield self.problem

    def on_mount(self) -> None:
        """The first field."""
        self.problem.display = False
        if self.focus_chain:
            self.focus_chain[0].focus()

    def rows(self) -> Sequence[FormRow]:
        """The rows, in order."""
        return list(self.query(FormRow))

    def value(self, name: str) -> str:
        """What stands in a field."""
        return next((row.value for row in self.rows() if row.name == name), "")

    def day(self, name: str) -> date:
        """A day, today where nothing was typed; not one to come. Raises `WrongField`."""
        today = self.desk.today()
        try:
            day = day_typed(self.value(name), today)
        except ValueError as error:
            raise WrongField(name, str(error)) from None
        if day > today:
            raise WrongField(name, f"{day} is still to come")
        return day

    def complain(self, key: str, words: str) -> None:
        """Name a mistake: at its field, and in full below."""
        for row in self.rows():
            row.say(Remark(Tone.ALARM, "see below") if row.name == key else None)
            if row.name == key:
                row.focus()
        label = next((row.label for row in self.rows() if row.name == key), "")
        said = plain(words)
        self.problem.update(f"{label}: {said}" if label else said)
        self.problem.display = True
        self.problem.scroll_visible(animate=False)

    def on_form_row_changed(self) -> None:
        """What was said of a mistake goes as soon as something is changed."""
        if self.problem.display:
            self.problem.display = False
            for row in self.rows():
                row.say(None)
        self.changed()

    def changed(self) -> None:
        """What else follows from it; a mistake's words are gone by then."""

    def on_choice_changed(self) -> None:
        """As in a row."""
        self.on_form_row_changed()

    def action_further(self, step: int) -> None:
        """The field beside; inside a list, the option beside, as far as there are any."""
        at = self.focused
        if isinstance(at, Choice) and at.listed and 0 <= at.chosen + step < len(at.options):
            at.action_step(step)
            return
        super().action_further(step)

    def action_confirm(self) -> None:
        """Check, close, do."""
        from press_monitor.archive.types import ArchiveError
        from press_monitor.quantities import QuantityError
        from press_monitor.tables import ShopError

        try:
            what = self.accept()
        except WrongField as error:
            self.complain(error.key, str(error))
            return
        except ShopError as error:
            self.complain(str(error.key or ""), error.message)
            return
        except (ArchiveError, QuantityError) as error:
            key, colon, rest = str(error).partition(": ")
            names = {row.name for row in self.rows()}
            key = key.removeprefix("item.").removeprefix("ticket.")
            self.complain(key if colon and key in names else "", rest if colon and key in names else str(error))
            return
        if what is not None:
            self.dismiss()
            what()

"""A person has looked at the finished repair: what was found, by whom, when."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from textual.widget import Widget

from press_monitor.archive.entries import RESULTS, inspection_body
from press_monitor.archive.requests import append_entry
from press_monitor.screens.dialogs.dialog import Words
from press_monitor.screens.dialogs.form import FormDialog, WrongField, day_entry
from press_monitor.screens.records.desk import Desk, ask
from press_monitor.screens.widgets.choice import Option
from press_monitor.screens.widgets.rows import Entry, Pick

__all__ = ["InspectionDialog"]


class InspectionDialog(FormDialog):
    """Enters an inspection of one certificate."""

    def __init__(self, desk: Desk, number: int, operator: str, then: Callable[[], None]) -> None:
        super().__init__(desk)
        self.number, self._then = number, then
        self.result = Pick("result", "Result", [Option(r, r) for r in RESULTS], field_width=46)
        self.by = Entry("by", "Looked at by", operator)
        self.when = day_entry("day", "Day", f"today, {desk.today()}")
        self.note = Entry("note", "Note", hint="anything worth knowing", field_width=54, longest=400)

    def title_words(self) -> str:
        """Which repair."""
        return f"Inspection of certificate {self.number}"

    def fields(self) -> Iterable[Widget]:
        """Result first."""
        yield self.result
        yield self.by
        yield self.when
        yield self.note
        yield Words(
            "Kept apart from what was measured: the cure's verdict stays as it is. Adhesion, cords and moisture are"
            " the inspector's to judge.",
            classes="soft",
        )

    def accept(self) -> Callable[[], None]:
        """The entry, checked."""
        if not self.by.value:
            raise WrongField("by", "who has looked at it?")
        body = inspection_body(self.result.value, by=self.by.value, day=self.day("day"), note=self.note.value)
        app, desk, number, then = self.dashboard, self.desk, self.number, self._then
        app.operator = self.by.value
        words = f"inspection of certificate {number}: {self.result.value}"
        return lambda: ask(
            app,
            words,
            lambda: append_entry(desk.asked("inspect"), "inspection", body, number),
            lambda _: then(),
            done=lambda entry: f"ledger entry {entry}",
        )

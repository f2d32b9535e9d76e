"""What certificates are to be found by: every filter that the command line has."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget

from press_monitor.archive.entries import CAUSES, RESULTS
from press_monitor.screens.dialogs.dialog import Words
from press_monitor.screens.dialogs.form import FormDialog, WrongField
from press_monitor.screens.records.desk import Desk
from press_monitor.screens.records.search import TEXTS, VERDICTS, Search, SearchError, filters_of
from press_monitor.screens.widgets.cells import plain
from press_monitor.screens.widgets.choice import Option
from press_monitor.screens.widgets.rows import Entry, Pick
from press_monitor.screens.words import kind_words
from press_monitor.watch.kinds import KINDS

__all__ = ["FilterDialog"]

_ANY = Option("", "any")


class FilterDialog(FormDialog):
    """Changes the filters of the records screen."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("f9", "clear", "Clear them all")]

    def __init__(
        self, desk: Desk, values: Mapping[str, str], presses: Sequence[str], then: Callable[[dict[str, str]], None]
    ) -> None:
        super().__init__(desk)
        self._then = then
        picks = (
            ("verdict", "Verdict", [_ANY, *(Option(v, v) for v in VERDICTS)]),
            ("press", "Press", [_ANY, *(Option(p, plain(p)) for p in presses)]),
            ("alarm", "Alarm raised", [_ANY, *(Option(k, kind_words(k).lower()) for k in KINDS)]),
            (
                "inspection",
                "Inspection",
                [_ANY, Option("none", "none yet"), Option("any", "done"), *map(_same, RESULTS)],
            ),
            ("comeback", "Comeback", [_ANY, Option("any", "came back"), Option("none", "not"), *map(_same, CAUSES)]),
            ("source", "Source", [_ANY, Option("live", "watched live"), Option("log", "from a log")]),
        )
        self.filters: list[Entry | Pick] = [
            *(Pick(key, label, options, field_width=54) for key, label, options in picks[:3]),
            Entry("since", "From", hint="e.g. 2031-05-04", longest=10, field_width=18),
            Entry("until", "To", hint="e.g. 2031-05-31", longest=10, field_width=18),
            *(Entry(key, label) for key, label in TEXTS),
            *(Pick(key, label, options, field_width=54) for key, label, options in picks[3:]),
            Entry("number", "Numbers", hint="40-60"),
        ]
        for row in self.filters:
            row.put(values.get(row.name or "", ""))

    def title_words(self) -> str:
        """What it is."""
        return "Show certificates that"

    def hint_words(self) -> str:
        """What the keys do."""
        return "Left Right pick   Enter show them   F9 clear all   Esc back"

    def fields(self) -> Iterable[Widget]:
        """All filters; every one that is given must hold."""
        yield from self.filters
        yield Words("All that is given must hold. Days are the shop's, both included.", classes="soft")

    def values(self) -> dict[str, str]:
        """What is asked for."""
        return {row.name: row.value for row in self.filters if row.name and row.value}

    def action_clear(self) -> None:
        """Ask for nothing."""
        for row in self.filters:
            row.put("")
        self.on_form_row_changed()

    def accept(self) -> Callable[[], None]:
        """The filters, checked."""
        values, then = self.values(), self._then
        try:
            filters_of(Search("", values), self.desk.zone)
        except SearchError as error:
            raise WrongField(error.key, str(error)) from None
        return lambda: then(values)


def _same(word: str) -> Option:
    return Option(word, word)

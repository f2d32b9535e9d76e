"""Putting one alarm aside for a stated time, by name and for a reason."""

from __future__ import annotations

from collections.abc import Iterable

from textual.widget import Widget
from textual.widgets import Input

from press_monitor.screens.dialogs.dialog import Dialog, Words, field_row, typed
from press_monitor.screens.reading import Raised
from press_monitor.screens.topline import place_words
from press_monitor.screens.widgets.choice import Choice, Option
from press_monitor.screens.words import kind_words

__all__ = ["ShelveDialog"]

_MINUTES = (5, 10, 20, 30, 60)
"""The watch takes an alarm off the shelf after an hour at the latest."""


class ShelveDialog(Dialog):
    """How long, why, who: all three stand in the record."""

    def __init__(self, raised: Raised) -> None:
        super().__init__()
        self.raised = raised
        self.span = Choice([Option(str(n), f"{n} min") for n in _MINUTES], 1, listed=True)
        self.reason, self.operator = Input(compact=True), Input(compact=True)
        self.missing = Words(classes="warn")

    def title_words(self) -> str:
        """Which alarm."""
        return f"Shelve {place_words(self.raised).lower()} {kind_words(self.raised.alarm.kind)}?"

    def hint_words(self) -> str:
        """Plain."""
        return "1-5 how long   Up Down field   Enter shelve it   Esc back"

    def content(self) -> Iterable[Widget]:
        """What it does, and the three answers."""
        self.operator.value = self.dashboard.operator
        yield Words("While it is shelved nobody is called by it: stay with this press. It comes back by itself.")
        yield self.span
        yield field_row("Why", self.reason)
        yield field_row("Your name", self.operator)
        yield self.missing

    def on_mount(self) -> None:
        """The time first."""
        self.span.focus()

    def action_confirm(self) -> None:
        """Send it, where reason and name are given."""
        app = self.dashboard
        reason, app.operator = typed(self.reason), typed(self.operator)
        if not reason or not app.operator:
            self.missing.update("Shelving wants a reason and a name.")
            (self.operator if reason else self.reason).focus()
            return
        args = {"seconds": 60.0 * float(self.span.value), "note": reason}
        app.send_about("shelve", f"shelve for {self.span.value} min", self.raised, args)
        self.dismiss()

"""A line of the operator's own for the record of a cure."""

from __future__ import annotations

from collections.abc import Iterable

from textual.widget import Widget
from textual.widgets import Input

from press_monitor.screens.dialogs.dialog import Dialog, Words, field_row, typed

__all__ = ["NoteDialog"]


class NoteDialog(Dialog):
    """What was seen or done; it stands on the certificate."""

    def __init__(self, press_name: str) -> None:
        super().__init__()
        self.press_name = press_name
        self.note = Input(compact=True, max_length=200)
        self.operator = Input(compact=True)
        self.missing = Words(classes="warn")

    def title_words(self) -> str:
        """Which press."""
        view = self.dashboard.source.press(self.press_name)
        return f"Note on this cure, press {view.number} {view.place.title}" if view else "Note"

    def hint_words(self) -> str:
        """Plain."""
        return "Up Down field   Enter keep it   Esc back"

    def content(self) -> Iterable[Widget]:
        """Words and name."""
        self.operator.value = self.dashboard.operator
        yield field_row("Note", self.note)
        yield field_row("Your name", self.operator)
        yield self.missing
        yield Words("It goes into the record with the time, and cannot be taken back.", classes="soft")

    def on_mount(self) -> None:
        """Write at once."""
        self.note.focus()

    def action_confirm(self) -> None:
        """Send it, if there is anything to send."""
        app = self.dashboard
        view = app.source.press(self.press_name)
        words = typed(self.note)
        if not words:
            self.missing.update("Nothing is written yet.")
            return
        app.operator = typed(self.operator)
        if view is not None:
            args = {"note": words}
            app.source.send("note", view, f"note on press {view.number}", operator=app.operator, args=args)
        self.dismiss()

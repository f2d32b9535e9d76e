"""Leaving a ticket that is half filled in."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import ClassVar

from textual.widget import Widget

from press_monitor.screens.dialogs.dialog import Dialog, Words

__all__ = ["LeaveTicketDialog"]


class LeaveTicketDialog(Dialog):
    """Asks once, so that neither Esc nor 0 throws away what somebody typed with gloves on."""

    CSS_PATH: ClassVar[str] = "../dialogs/dialog.tcss"

    def __init__(self, chosen: Callable[[], None]) -> None:
        super().__init__()
        self._chosen = chosen

    def title_words(self) -> str:
        """The question."""
        return "Leave this ticket?"

    def hint_words(self) -> str:
        """Plain."""
        return "Enter leave it   Esc back to the ticket"

    def content(self) -> Iterable[Widget]:
        """What is lost and what is not."""
        yield Words("No record was started. What was typed here is not kept.", classes="warn")

    def action_confirm(self) -> None:
        """Leave."""
        self.dismiss()
        self.app.call_later(self._chosen)

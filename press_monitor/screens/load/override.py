"""What speaks against a cure with these things, and using them all the same by name and for a reason."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import ClassVar

from textual.widget import Widget
from textual.widgets import Input

from press_monitor.screens.dialogs.dialog import Dialog, Words, field_row, typed
from press_monitor.screens.widgets.cells import plain

__all__ = ["OverrideDialog", "RefusedDialog"]


class OverrideDialog(Dialog):
    """Asks for a name and a reason; both go into the record."""

    CSS_PATH: ClassVar[str] = "../dialogs/dialog.tcss"

    def __init__(self, troubles: Sequence[str], operator: str, chosen: Callable[[str, str], None]) -> None:
        super().__init__()
        self.troubles = tuple(map(plain, troubles))
        self.by, self.reason = Input(operator, compact=True), Input(compact=True)
        self.missing = Words(classes="warn")
        self._chosen = chosen

    def title_words(self) -> str:
        """What it is about."""
        return "Not to be used as it is"

    def hint_words(self) -> str:
        """What Enter does."""
        return "Enter use it all the same, on record   Esc back to the ticket"

    def content(self) -> Iterable[Widget]:
        """The troubles, name, reason."""
        for trouble in self.troubles:
            yield Words(f"{trouble}.", classes="warn")
        yield Words("Name and reason stand in the sealed record and on the shop's certificate.", classes="soft")
        yield field_row("Who", self.by)
        yield field_row("Why", self.reason)
        yield self.missing

    def on_mount(self) -> None:
        """The name is mostly known."""
        (self.reason if typed(self.by) else self.by).focus()

    def renew_content(self) -> None:
        """Nothing here lives."""
        self.missing.display = bool(self.missing.content)

    def action_confirm(self) -> None:
        """Hand both on, or say which is missing."""
        by, reason = typed(self.by), typed(self.reason)
        if not by or not reason:
            self.missing.update("A name, please." if not by else "A reason, please.")
            self.missing.display = True
            (self.by if not by else self.reason).focus()
            return
        self.dismiss()
        self._chosen(by, reason)


class RefusedDialog(Dialog):
    """The recorder's own words."""

    CSS_PATH: ClassVar[str] = "../dialogs/dialog.tcss"

    def __init__(self, title: str, words: str) -> None:
        super().__init__()
        self.title_said, self.words = title, plain(words)

    def title_words(self) -> str:
        """What came of it."""
        return self.title_said

    def hint_words(self) -> str:
        """Either key."""
        return "Enter or Esc back to the ticket"

    def content(self) -> Iterable[Widget]:
        """Why."""
        yield Words(f"{self.words[:1].upper()}{self.words[1:]}.", classes="warn")
        yield Words("Nothing was started. What you typed still stands.", classes="soft")

    def action_confirm(self) -> None:
        """Read."""
        self.dismiss()

"""A few words that must be read: why something was not done."""

from __future__ import annotations

from collections.abc import Iterable

from textual.widget import Widget

from press_monitor.screens.dialogs.dialog import Dialog, Words
from press_monitor.screens.widgets.cells import plain

__all__ = ["ToldDialog"]


class ToldDialog(Dialog):
    """A heading and a paragraph; Enter or Esc closes it."""

    def __init__(self, heading: str, words: str) -> None:
        super().__init__()
        self.heading_said, self.words = plain(heading), plain(words)

    def title_words(self) -> str:
        """What it is about."""
        return self.heading_said

    def hint_words(self) -> str:
        """Either key."""
        return "Enter or Esc back"

    def content(self) -> Iterable[Widget]:
        """The words."""
        yield Words(f"{self.words[:1].upper()}{self.words[1:]}", classes="warn")

    def action_confirm(self) -> None:
        """Read."""
        self.dismiss()

"""Help: what a screen shows and what its keys do, in the trade's words; each screen has its own `EXPLAINED`."""

from __future__ import annotations

from collections.abc import Iterable

from textual.widget import Widget

from press_monitor.screens.dialogs.dialog import Dialog, Words

__all__ = ["ExplainDialog"]

_COMMON = """\
Enter     acknowledge the alarm on top; needs no name
1-9 0     a press; back to the floor
A K       all alarms; silence the horn for three minutes
F2        set up a press; from the floor also R records, S stores, C the
          newest certificate
T U       the next theme; degF psi or degC kPa
Ctrl+P Q  everything there is; close"""

_CERTIFICATE = """\
Up Down   scroll               Left Right  the one before, the next one
C         shop's copy, customer's copy, label
S H X O   save as PDF, as a web page, its readings; save and open
I B E W V inspection; it came back; correct; where used; verify
"""

_CERTIFICATE_SEEN = """\
What was sealed, with what was added since: the same facts in the same order
as on paper. Nothing is shown of a record whose seal does not hold."""

_TEXTS = {"Certificate": (_CERTIFICATE, _CERTIFICATE_SEEN)}
_NONE = ("Esc       back\n", "")
_END = "It watches and records; it is no safety device. Local codes come first."


class ExplainDialog(Dialog):
    """The help of one screen."""

    def __init__(self, place: str, help_words: tuple[str, str] | None = None) -> None:
        super().__init__()
        self.place_explained = place
        self.help_words = help_words or _TEXTS.get(place, _NONE)

    def hint_words(self) -> str:
        """It may be longer than the terminal is tall."""
        return "Up Down scroll   Esc back"

    def title_words(self) -> str:
        """Which screen."""
        return f"{self.place_explained or 'Help'}: what you see"

    def content(self) -> Iterable[Widget]:
        """The keys, then what one sees."""
        keys, seen = self.help_words
        yield Words(keys + _COMMON)
        yield Words(seen, classes="soft")
        yield Words(_END)

    def action_confirm(self) -> None:
        """Enter is as good as Esc."""
        self.dismiss()

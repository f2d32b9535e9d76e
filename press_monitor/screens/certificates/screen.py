"""One certificate on the screen, as it will be handed out; saved as PDF, and shown with the desktop's own viewer."""

from __future__ import annotations

import asyncio
import sqlite3
from collections.abc import Iterable, Iterator
from functools import partial
from typing import ClassVar

from textual.app import SystemCommand
from textual.binding import Binding, BindingType
from textual.widget import Widget

from press_monitor.archive.types import ArchiveError
from press_monitor.screens.background import begin
from press_monitor.screens.records.deeds import CertificateDeeds
from press_monitor.screens.records.desk import Desk
from press_monitor.screens.records.text_view import Scrolled, TextView
from press_monitor.screens.widgets.bars import Key

__all__ = ["CertificateScreen"]

COPIES = ("shop", "customer", "label")
_TROUBLES = (ArchiveError, OSError, sqlite3.Error)
_NEWEST = 1


class CertificateScreen(Scrolled, CertificateDeeds):
    """A certificate by its number, the newest where none is given. Saved copies go into the desk's folder for papers,
    made when the first one is saved.
    """

    CSS_PATH = "certificates.tcss"
    place = "Certificate"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,backspace", "back", "Back"),
        Binding("down", "move(1)", "Down"),
        Binding("up", "move(-1)", "Up"),
        Binding("pagedown,space", "page(1)", "Further"),
        Binding("pageup", "page(-1)", "Back up"),
        Binding("home", "move(-100000)", "To the top"),
        Binding("end", "move(100000)", "To the end"),
        Binding("left", "turn(-1)", "The certificate before"),
        Binding("right", "turn(1)", "The next certificate"),
        Binding("c,C", "copy", "Shop's copy, customer's copy, label"),
        Binding("s,S", "save('pdf')", "Save as PDF"),
        Binding("h,H", "save('html')", "Save as a web page"),
        Binding("x,X", "save('csv')", "Save its readings"),
        Binding("o,O", "open", "Save and open"),
    ]

    def __init__(self, desk: Desk, number: int | None = None) -> None:
        super().__init__(desk)
        self.number, self.which = number, COPIES[0]
        self.view = TextView()
        self.shown: int | None = None
        self.has_read = False

    def keys(self) -> tuple[Key, ...]:
        """Few."""
        return (
            Key("Esc", "back", "back"),
            Key("C", "copy", "copy"),
            Key("S", "PDF", "save('pdf')"),
            Key("H", "web page", "save('html')"),
            Key("O", "open", "open"),
            Key("I", "inspect", "inspect"),
            Key("B", "came back", "comeback"),
            Key("Left Right", "other"),
            Key("?", "help", "app.explain"),
        )

    def number_meant(self) -> int | None:
        """The one that is shown: none while another one is being read, so that nothing is entered on what one left."""
        return self.shown

    def none_meant(self) -> str:
        """That it comes, or that there is none."""
        return "there is no certificate yet" if self.has_read else "still reading: press it once more in a moment"

    def action_where_used(self) -> None:
        """What shared something with it."""
        if self.shown is None:
            self.tell(self.none_meant())
        else:
            super().action_where_used()

    def look_again(self) -> None:
        """Something was entered that belongs on it."""
        self.show(keep=True)

    def body(self) -> Iterable[Widget]:
        """The text."""
        yield self.view

    def renew_body(self) -> None:
        """What was sealed does not change under the reader."""

    def on_mount(self) -> None:
        """Read the certificate."""
        self.show()

    def show(self, *, keep: bool = False) -> None:
        """Read and show the certificate anew; `keep`: where the reader was."""
        if self.shown != self.number:
            self.shown, self.has_read = None, False
        begin(self, partial(self._show, keep), "read")

    async def _show(self, keep: bool) -> None:
        heading, lines = await asyncio.to_thread(self._read)
        self.shown, self.has_read = self.number, True
        self.view.heading, self.view.lines = heading, lines
        if keep:
            self.view.move(0)
        else:
            self.view.first = 0
        self.view.touch()
        self.renew_foot()

    def _read(self) -> tuple[str, tuple[str, ...]]:
        from press_monitor.certificate.copies import made_of, read_copy
        from press_monitor.certificate.text import render

        try:
            with self.desk.reader() as reader:
                if self.number is None:
                    newest = reader.records(limit=_NEWEST)
                    if not newest:
                        return "No certificate yet", ("A cycle is sealed as one when its press is released.",)
                    self.number = newest[0].number
                text = render(made_of(read_copy(reader, self.number), self.which))
        except _TROUBLES as error:
            return f"Certificate {self.number}", (str(error),)
        whose = "the label" if self.which == "label" else f"the {self.which}'s copy"
        return f"Certificate {self.number}, {whose}", tuple(text.splitlines())

    def action_turn(self, step: int) -> None:
        """The certificate before or after, as far as there are any."""
        if self.number is None:
            return
        try:
            with self.desk.reader() as reader:
                newest = reader.records(limit=_NEWEST)
        except _TROUBLES as error:
            self.tell(str(error))
            return
        wanted = self.number + step
        if newest and 1 <= wanted <= newest[0].number:
            self.number = wanted
            self.tell("")
            self.show()

    def action_copy(self) -> None:
        """From the shop's copy to the customer's to the label."""
        self.which = COPIES[(COPIES.index(self.which) + 1) % len(COPIES)]
        self.tell("")
        self.show()

    def action_save(self, form: str = "pdf") -> None:
        """Save this copy and say where."""
        begin(self, partial(self._save, form, show=False), "save")

    def action_open(self) -> None:
        """Save this copy as PDF and hand it to the desktop's viewer."""
        begin(self, partial(self._save, "pdf", show=True), "save")

    async def _save(self, form: str, *, show: bool) -> None:
        if self.number is None:
            self.tell(self.none_meant())
            return
        self.tell("saving")
        self.tell(await asyncio.to_thread(self._saved, self.number, form, self.which, show))

    def _saved(self, number: int, form: str, which: str, show: bool) -> str:
        from press_monitor.certificate.export import export_all, show_file

        try:
            with self.desk.reader() as reader:
                (done,) = export_all(reader, (number,), self.desk.papers, form, which)
        except _TROUBLES as error:
            return f"not saved: {error}"
        if done.trouble is not None:
            return f"not saved: {done.trouble}"
        if show and not show_file(done.place):
            return f"no viewer could be started; saved: {done.place}"
        return f"saved: {done.place}"

    def offers(self) -> Iterator[SystemCommand]:
        """Everything here, for the palette."""
        if self.number is not None:
            whose = "the label" if self.which == "label" else f"the {self.which}'s copy"
            yield SystemCommand("Another copy", "the shop's, the customer's, the label", self.action_copy)
            yield SystemCommand("Save as PDF", whose, partial(self.action_save, "pdf"))
            yield SystemCommand("Save as a web page", whose, partial(self.action_save, "html"))
            yield SystemCommand("Save its readings", "as a log that replay reads", partial(self.action_save, "csv"))
            yield SystemCommand("Save and open", f"{whose}, with the desktop's viewer", self.action_open)
        yield from super().offers()

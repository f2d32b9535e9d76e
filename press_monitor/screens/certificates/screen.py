"""One certificate on the screen, as it will be handed out; saved as PDF, and shown with the desktop's own viewer."""

from __future__ import annotations

import asyncio
import sqlite3
from collections.abc import Callable, Hashable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual import events
from textual.binding import Binding, BindingType
from textual.widget import Widget

from press_monitor.archive.types import ArchiveError
from press_monitor.certificate.text import WIDTH
from press_monitor.screens.base import WatchScreen
from press_monitor.screens.widgets.bars import Key
from press_monitor.screens.widgets.cells import Cells, clip
from press_monitor.screens.widgets.drawn import Drawn
from press_monitor.screens.widgets.palette import Look

if TYPE_CHECKING:
    from press_monitor.archive.reader import ArchiveReader

__all__ = ["CertificateScreen", "CertificateView"]

COPIES = ("shop", "customer", "label")
_TROUBLES = (ArchiveError, OSError, sqlite3.Error)
_NEWEST = 1


class CertificateView(Drawn):
    """The text, scrolled by lines."""

    def __init__(self) -> None:
        super().__init__()
        self.heading = ""
        self.lines: tuple[str, ...] = ()
        self.first = 0

    def key(self) -> Hashable:
        """What is shown, and from which line on."""
        return (self.heading, self.lines, self.first)

    def draw(self, width: int, height: int, look: Look) -> Cells:
        """A heading that stays, and the lines below it."""
        palette = look.palette
        cells = Cells(width, height, palette.ground, palette.text)
        # The text is eighty columns wide: where the terminal is no wider, every one of them is needed.
        left = 1 if width > WIDTH + 1 else 0
        cells.text(left, 0, clip(self.heading, width - 2 * left), palette.text, bold=True)
        for row, line in enumerate(self.lines[self.first : self.first + height - 1], start=1):
            rule = bool(line) and not line.strip("=-")
            cells.text(left, row, clip(line, width - 2 * left), palette.dim if rule else palette.text)
        return cells

    def move(self, step: int) -> None:
        """Scroll, and stop where the last line is in sight."""
        self.first = max(0, min(self.first + step, len(self.lines) - self.size.height + 1))
        self.touch()

    def on_mouse_scroll_down(self, event: events.MouseScrollDown) -> None:
        """The wheel."""
        self.move(3)

    def on_mouse_scroll_up(self, event: events.MouseScrollUp) -> None:
        """The wheel."""
        self.move(-3)


class CertificateScreen(WatchScreen):
    """A certificate by its number, the newest where none is given.

    Args:
        open_reader: opens the archive for reading.
        folder: where saved certificates go; made when the first one is saved.
        number: the certificate's.
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
        Binding("s,S", "save", "Save as PDF"),
        Binding("o,O", "open", "Save and open"),
    ]

    def __init__(self, open_reader: Callable[[], ArchiveReader], folder: Path, number: int | None = None) -> None:
        super().__init__()
        self._open, self._folder, self.number, self.which = open_reader, folder, number, COPIES[0]
        self.view = CertificateView()
        self.words = ""

    def keys(self) -> tuple[Key, ...]:
        """Few."""
        return (
            Key("Esc", "back", "back"),
            Key("C", "copy", "copy"),
            Key("S", "save", "save"),
            Key("O", "open", "open"),
            Key("Left Right", "other"),
            Key("?", "help", "app.explain"),
        )

    def body(self) -> Iterable[Widget]:
        """The text."""
        yield self.view

    def renew_body(self) -> None:
        """What was sealed does not change under the reader."""

    def idle_words(self) -> str:
        """What saving came to, and where the file is."""
        return self.words

    def on_mount(self) -> None:
        """Read the certificate."""
        super().on_mount()
        self.show()

    def show(self) -> None:
        """Read and show the certificate anew."""
        self.run_worker(self._show(), exclusive=True, group="read")

    async def _show(self) -> None:
        heading, lines = await asyncio.to_thread(self._read)
        self.view.heading, self.view.lines = heading, lines
        self.view.first = 0
        self.view.touch()
        self.renew_foot()

    def _read(self) -> tuple[str, tuple[str, ...]]:
        from press_monitor.certificate.copies import made_of, read_copy
        from press_monitor.certificate.text import render

        try:
            with self._open() as reader:
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

    def action_back(self) -> None:
        """To the screen before."""
        self.app.pop_screen()

    def action_move(self, step: int) -> None:
        """Scroll by lines."""
        self.view.move(step)

    def action_page(self, step: int) -> None:
        """Scroll by screens."""
        self.view.move(step * max(1, self.view.size.height - 3))

    def action_turn(self, step: int) -> None:
        """The certificate before or after, as far as there are any."""
        if self.number is None:
            return
        try:
            with self._open() as reader:
                newest = reader.records(limit=_NEWEST)
        except _TROUBLES as error:
            self._tell(str(error))
            return
        wanted = self.number + step
        if newest and 1 <= wanted <= newest[0].number:
            self.number = wanted
            self._tell("")
            self.show()

    def action_copy(self) -> None:
        """From the shop's copy to the customer's to the label."""
        self.which = COPIES[(COPIES.index(self.which) + 1) % len(COPIES)]
        self._tell("")
        self.show()

    def action_save(self) -> None:
        """Save this copy as PDF and say where."""
        self.run_worker(self._save(show=False), exclusive=True, group="save")

    def action_open(self) -> None:
        """Save this copy as PDF and hand it to the desktop's viewer."""
        self.run_worker(self._save(show=True), exclusive=True, group="save")

    async def _save(self, *, show: bool) -> None:
        if self.number is None:
            return
        self._tell("saving")
        self._tell(await asyncio.to_thread(self._saved, self.number, self.which, show))

    def _saved(self, number: int, which: str, show: bool) -> str:
        from press_monitor.certificate.export import export_all, show_file

        try:
            with self._open() as reader:
                (done,) = export_all(reader, (number,), self._folder, "pdf", which)
        except _TROUBLES as error:
            return f"not saved: {error}"
        if done.trouble is not None:
            return f"not saved: {done.trouble}"
        if show and not show_file(done.place):
            return f"no viewer could be started; saved: {done.place}"
        return f"saved: {done.place}"

    def _tell(self, words: str) -> None:
        self.words = words
        self.renew_foot()

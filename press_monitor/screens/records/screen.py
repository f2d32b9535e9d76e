"""Sealed records: search, filter, look while moving, compare, and whatever is entered after a cure."""

from __future__ import annotations

import asyncio
from collections.abc import Iterable, Iterator
from typing import ClassVar

from textual.app import SystemCommand
from textual.binding import Binding, BindingType
from textual.containers import Container
from textual.widget import Widget

from press_monitor.archive.reader import ArchiveReader
from press_monitor.archive.types import CertificateRow
from press_monitor.screens.background import begin
from press_monitor.screens.records.deeds import CertificateDeeds
from press_monitor.screens.records.desk import TROUBLES, Desk
from press_monitor.screens.records.desk_screen import TableScreen
from press_monitor.screens.records.panel import PreviewPanel
from press_monitor.screens.records.preview import Preview, read_preview, sketched
from press_monitor.screens.records.search import CHUNK, Pages, Search, SearchError, first_pages, summary
from press_monitor.screens.records.table import RecordTable
from press_monitor.screens.topline import worst
from press_monitor.screens.widgets.bars import Key
from press_monitor.screens.widgets.palette import Tone
from press_monitor.screens.widgets.rows import Entry, Remark

__all__ = ["RecordsScreen"]

MOST_MARKED = 5
_WAIT_S = 0.12
"""How long typing must pause before the archive is asked."""
_REST_S = 0.05
"""How long the cursor must rest before a record is read: a key held down reads none in passing."""
_PREVIEWS = 60
_AHEAD = 30
"""Rows read before they come into sight."""

EMPTY = (
    "No certificate yet.",
    "A cure is sealed as one when its press is released; it then stands here.",
    "Until then: L on the floor loads a press. A log can be judged too: press-monitor replay --archive.",
)
NOTHING = ("Nothing is found.", "X shows all again; S changes the words, F the filters.")


class RecordsScreen(CertificateDeeds, TableScreen):
    """The table of certificates with a search line above and a preview beside or below it."""

    CSS_PATH = "records.tcss"
    place = "Records"
    wide_from = 110
    EXPLAINED = (
        """\
S F X     search any words or a number; filters; show all again
Up Down   move, Left Right by pages     C  open, save
I B E J   inspection; it came back; correct; attach a ticket
M O       mark for comparing; compare curves with the good ones
W V       what shared its lots, bag, mats; verify this record
""",
        """\
Every sealed cure, the newest first; below or beside it the one chosen:
verdict with its reasons, mats over their band and the bag, its ticket, and
what was entered since. Nothing sealed is ever changed: an inspection, a
comeback, a correction stand beside it, with day and name. F8 acknowledges
the alarm on top from the search line too""",
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "back", "Back"),
        Binding("enter", "enter", "Open the certificate"),
        Binding("down", "move(1)", "Next"),
        Binding("up", "move(-1)", "Before"),
        Binding("right,pagedown", "page(1)", "A page on"),
        Binding("left,pageup", "page(-1)", "A page back"),
        Binding("home", "to_top", "The newest"),
        Binding("end", "move(100)", "Much further"),
        Binding("s,S", "search", "Search"),
        Binding("f,F", "filter", "Filters"),
        Binding("x,X", "clear", "Show all again"),
        Binding("c,C", "open", "Certificate"),
        Binding("m,M,space", "mark", "Mark for comparing"),
        Binding("o,O", "overlay", "Compare curves"),
        Binding("f8", "app.acknowledge", "Acknowledge the alarm on top"),
    ]

    def __init__(self, desk: Desk, values: dict[str, str] | None = None, words: str = "") -> None:
        super().__init__(desk)
        self.line = Entry("search", "Search", words, hint="any words, or a number", label_width=9, field_width=32)
        self.pages = Pages(Search(words, dict(values or {})), {})
        self.search = self.pages.search
        self.loaded = False
        self.trouble = ""
        self.table = RecordTable(lambda index: self.pages.row(index), lambda: len(self.pages))
        self.panel = PreviewPanel()
        self.marked: dict[int, CertificateRow] = {}
        self.previews: dict[int, Preview] = {}
        self.desktop = Container(self.table, self.panel, id="desk")
        self._head: tuple[int, int] | None = None

    # -- what stands on it --

    def keys(self) -> tuple[Key, ...]:
        """What can be done with what is shown."""
        if self.focused is self.line:
            return (
                Key("Enter", "to the list", "enter"),
                Key("Esc", "back to the list", "back"),
                Key("F1", "help", "app.explain"),
            )
        if not len(self.pages):
            return (
                Key("Esc", "back", "back"),
                Key("S", "search", "search"),
                Key("F", "filter", "filter"),
                Key("?", "help", "app.explain"),
            )
        return (
            Key("S", "search", "search"),
            Key("F", "filter", "filter"),
            Key("C", "open", "open"),
            Key("I", "inspect", "inspect"),
            Key("B", "came back", "comeback"),
            Key("O", "compare", "overlay"),
            Key("W", "where used", "where_used"),
            Key("M", "mark", "mark"),
            Key("E", "correct", "correct"),
            Key("V", "verify", "verify"),
            Key("?", "help", "app.explain"),
        )

    def body(self) -> Iterable[Widget]:
        """Search line, table, preview."""
        yield self.line
        yield self.desktop

    def on_mount(self) -> None:
        """Look for what was asked."""
        self.table.focus()
        self.look_for(self.search, at_once=True)

    def renew_body(self) -> None:
        """Units, zone, and whether something was sealed or entered since."""
        app = self.dashboard
        self.table.zone = self.panel.zone = app.shop.zone
        self.panel.units = app.units
        self.table.touch()
        self.panel.touch()
        self.check()

    def _remark(self) -> None:
        """Beside the search: how many, by which filters, or what is wrong."""
        if self.trouble:
            self.line.say(Remark(Tone.ATTENTION, self.trouble))
            return
        count = "" if self.pages.total is None else f"{self.pages.total:,} found"
        if self.search.empty and self.pages.total is not None:
            count = f"{self.pages.total:,} certificates"
        parts = [count, summary(self.search.values)]
        if self.marked:
            parts.append(f"{len(self.marked)} marked")
        self.line.say(Remark(Tone.IDLE, "; ".join(part for part in parts if part)))

    # -- finding --

    def look_for(self, search: Search, *, at_once: bool = False, keep: int | None = None) -> None:
        """Search anew in a thread; `keep`: stay on that certificate where it is found again."""
        self.search = search
        zone = self.desk.zone

        def work() -> tuple[Pages, tuple[int, int]]:
            with self.desk.reader() as reader:
                return first_pages(reader, search, zone), _head_of(reader)

        async def carry() -> None:
            if not at_once:
                await asyncio.sleep(_WAIT_S)
            try:
                pages, head = await asyncio.to_thread(work)
            except (*TROUBLES, SearchError) as error:
                self.trouble = str(error)
                self.table.nothing = NOTHING if self.loaded else ("The archive cannot be read.", self.trouble)
                self._remark()
                self.table.touch()
                return
            self._found(pages, head, keep)
            await self._count(pages)

        begin(self, carry, "search")

    def _found(self, pages: Pages, head: tuple[int, int], keep: int | None) -> None:
        self.trouble = ""
        self.pages, self.loaded, self._head = pages, True, head
        nothing = () if len(pages) else EMPTY if pages.search.empty else NOTHING
        self.table.nothing = nothing
        self.table.first = 0
        at = None if keep is None else pages.find(keep)
        self.table.put(at or 0)
        self._remark()
        self.renew_foot()
        self._show_preview()

    async def _count(self, pages: Pages) -> None:
        """How many there are: asked last, since it looks at all of them."""

        def work() -> int:
            with self.desk.reader() as reader:
                return reader.count(**pages.filters)

        try:
            if pages.ended:
                pages.total = len(pages) - (pages.named is not None and pages.find(pages.named.number) is not None)
            else:
                pages.total = await asyncio.to_thread(work)
        except TROUBLES:
            return
        if self.pages is pages:
            self._remark()

    def check(self) -> None:
        """At most every other second: has the ledger grown?"""
        if not self.loaded:
            return

        def work() -> tuple[int, int]:
            with self.desk.reader() as reader:
                return _head_of(reader)

        self.look_now_and_then(work, self._compare)

    def _compare(self, head: tuple[int, int]) -> None:
        if head != self._head:
            self._head = head
            self.look_again()

    def look_again(self) -> None:
        """The ledger has grown: near the top search anew, further down read again what is in sight."""
        self.previews.clear()
        row = self.pages.row(self.table.cursor)
        if self.table.cursor < CHUNK:
            self.look_for(self.search, at_once=True, keep=row.number if row and self.table.cursor else None)
        else:
            self.pages.doubt()
            self._read_on()
            self._show_preview()

    def on_form_row_changed(self) -> None:
        """Found while it is typed."""
        self.look_for(Search(self.line.text, self.search.values))

    # -- moving --

    def number_meant(self) -> int | None:
        """The certificate under the cursor."""
        row = self.pages.row(self.table.cursor)
        return None if row is None else row.number

    def on_record_table_moved(self, event: RecordTable.Moved) -> None:
        """The mouse."""
        self.go(self.table.cursor + event.by if event.to is None else event.to)

    def on_record_table_opened(self) -> None:
        """A click on the row that is chosen already."""
        self.action_open()

    def go(self, index: int) -> None:
        """To a row; rows that are wanted soon are read."""
        self.table.put(index)
        self._read_on()
        self._show_preview()

    def _read_on(self) -> None:
        pages, table = self.pages, self.table
        chunk = pages.missing(table.first - _AHEAD, table.first + table.room + _AHEAD)
        if chunk is None:
            return

        def work() -> tuple[CertificateRow, ...]:
            with self.desk.reader() as reader:
                return pages.fetch(reader, chunk)

        def go_on(rows: tuple[CertificateRow, ...]) -> None:
            pages.put(chunk, rows)
            if pages is self.pages:
                self.table.touch()
                self._show_preview()
                self._read_on()

        self.read(work, go_on, "rows")

    def _show_preview(self) -> None:
        row = self.pages.row(self.table.cursor)
        if row is None:
            self.panel.say(None)
            return
        known = self.previews.get(row.number)
        if known is not None:
            self.panel.say(known)
            return
        if self.panel.preview is None or self.panel.preview.row != row:
            self.panel.say(sketched(row))

        def work() -> Preview:
            with self.desk.reader() as reader:
                return read_preview(reader, row)

        def show(made: Preview) -> None:
            self.previews[row.number] = made
            while len(self.previews) > _PREVIEWS:
                del self.previews[next(iter(self.previews))]
            if self.number_meant() == row.number:
                self.panel.say(made)

        self.read(work, show, "preview", _REST_S)

    def action_move(self, step: int) -> None:
        """By rows; from the search line down into the list."""
        if self.focused is self.line:
            if step > 0:
                self.table.focus()
            return
        self.go(self.table.cursor + step)

    def action_page(self, step: int) -> None:
        """By what is in sight."""
        if self.focused is not self.line:
            self.go(self.table.cursor + step * max(1, self.table.room - 1))

    def action_to_top(self) -> None:
        """The newest."""
        self.go(0)

    # -- keys --

    def on_descendant_focus(self) -> None:
        """Other keys while searching."""
        self.renew_foot()

    def action_back(self) -> None:
        """From the search to the list, from the list to the screen before."""
        if self.focused is self.line:
            self.table.focus()
        else:
            self.app.pop_screen()

    def action_enter(self) -> None:
        """An alarm on top comes first; else open the certificate."""
        if self.focused is self.line:
            self.table.focus()
            return
        raised = worst(self.dashboard.source)
        if raised is not None and raised.loud:
            self.dashboard.action_acknowledge()
        else:
            self.action_open()

    def action_search(self) -> None:
        """To the search line."""
        self.line.focus()

    def action_filter(self) -> None:
        """All filters."""
        from press_monitor.screens.dialogs.filters import FilterDialog

        presses = [p.place.name for p in self.dashboard.source.presses]

        def show(values: dict[str, str]) -> None:
            self.look_for(Search(self.line.text, values), at_once=True)

        self.app.push_screen(FilterDialog(self.desk, self.search.values, presses, show))

    def action_clear(self) -> None:
        """No words, no filters."""
        self.line.put("")
        self.look_for(Search(), at_once=True)

    def action_open(self) -> None:
        """The certificate as it is handed out."""
        from press_monitor.screens.certificates.screen import CertificateScreen

        number = self.number_meant()
        if number is not None:
            self.app.push_screen(CertificateScreen(self.desk, number))

    def action_mark(self) -> None:
        """Mark the certificate for comparing, or take its mark away."""
        row = self.pages.row(self.table.cursor)
        if row is None:
            return
        if row.number in self.marked:
            del self.marked[row.number]
        elif len(self.marked) >= MOST_MARKED:
            self.tell(f"{MOST_MARKED} are marked, which is all that can be told apart: M takes a mark away")
            return
        else:
            self.marked[row.number] = row
        self.tell("")
        self.table.marked = frozenset(self.marked)
        self.table.touch()
        self._remark()

    def action_overlay(self) -> None:
        """The chosen cure beside the marked ones and the band of comparable good ones."""
        from press_monitor.screens.records.overlay import OverlayScreen

        row = self.pages.row(self.table.cursor)
        if row is not None:
            others = [other for number, other in self.marked.items() if number != row.number]
            self.app.push_screen(OverlayScreen(self.desk, row, others))

    def offers(self) -> Iterator[SystemCommand]:
        """Everything here, for the palette."""
        yield SystemCommand("Search the records", "any words, or a number", self.action_search)
        yield SystemCommand("Filter the records", "verdict, press, alarm, lot, days and more", self.action_filter)
        if not self.search.empty:
            yield SystemCommand("Show all records", "no words, no filters", self.action_clear)
        number = self.number_meant()
        if number is not None:
            yield SystemCommand(f"Certificate {number}: open", "read it, save it", self.action_open)
            yield SystemCommand(
                f"Certificate {number}: compare curves", "with the good ones like it", self.action_overlay
            )
            word = "take the mark away" if number in self.marked else "mark"
            yield SystemCommand(f"Certificate {number}: {word}", "for comparing curves", self.action_mark)
        yield from super().offers()


def _head_of(reader: ArchiveReader) -> tuple[int, int]:
    """The newest certificate and the newest ledger entry."""
    ((certificate, entry),) = reader.query(
        "SELECT (SELECT coalesce(max(number), 0) FROM certificate), (SELECT coalesce(max(seq), 0) FROM ledger)"
    )
    return certificate, entry

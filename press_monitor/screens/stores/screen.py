"""Stores: lots, bags, mats, probes and the compounds they are of; what must not be used stands first."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import partial
from typing import ClassVar, TypeVar

from textual.app import SystemCommand
from textual.binding import Binding, BindingType
from textual.containers import Container
from textual.widget import Widget

from press_monitor.archive.reader import ArchiveReader
from press_monitor.archive.stores import NO_STORES, Stores
from press_monitor.audit.where_used import WhereUsed
from press_monitor.certificate.audit_sheets import where_used_sections
from press_monitor.screens.records.desk import Desk
from press_monitor.screens.records.desk_screen import TableScreen
from press_monitor.screens.stores.history import history_of
from press_monitor.screens.stores.shelf import COMPOUND, GROUPS, shelf_of
from press_monitor.screens.stores.strip import GroupStrip
from press_monitor.screens.stores.table import ItemPanel, StoresTable
from press_monitor.screens.widgets.bars import Key
from press_monitor.screens.widgets.cells import plain

__all__ = ["StoresScreen"]

Found = TypeVar("Found")

EMPTY = (
    "Nothing is in Stores yet.",
    "N enters a lot, a bag, a mat or a probe: with its last good day, its life or its calibration.",
    "What tickets name appears here by itself; only what is entered can be checked before a cure.",
)


class StoresScreen(TableScreen):
    """The table, with the item under the cursor beside or below it."""

    CSS_PATH = "stores.tcss"
    place = "Stores"
    wide_from = 132
    EXPLAINED = (
        """\
Left Right  kind                 Up Down  move
N E O     enter a new one; correct; out of use or back
C W       probe calibrated; what shared it
""",
        """\
What must not be used stands first and says why, then what is coming: last
good days, lives, calibrations. Cures are counted from the certificates that
name the thing. What is out of use, or was never entered, stands last""",
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "back", "Back"),
        Binding("down", "move(1)", "Next"),
        Binding("up", "move(-1)", "Before"),
        Binding("pagedown", "move(10)", "Further"),
        Binding("pageup", "move(-10)", "Back up"),
        Binding("home", "move(-100000)", "To the top"),
        Binding("end", "move(100000)", "To the end"),
        Binding("right", "group(1)", "Next kind"),
        Binding("left", "group(-1)", "Kind before"),
        Binding("n,N", "new", "Enter a new one"),
        Binding("e,E", "edit", "Correct it, or say more"),
        Binding("o,O", "retire", "Out of use, or back"),
        Binding("c,C", "calibrate", "Probe calibrated"),
        Binding("w,W", "where_used", "Where used"),
        Binding("f8", "app.acknowledge", "Acknowledge the alarm on top"),
    ]

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self.stores: Stores = NO_STORES
        self.group = "all"
        self.strip = GroupStrip()
        self.table, self.panel = StoresTable(), ItemPanel()
        self.desktop = Container(self.table, self.panel, id="desk")
        self.loaded = False
        self._entry = -1

    # -- what stands on it --

    def keys(self) -> tuple[Key, ...]:
        """What can be done with the item under the cursor."""
        row = self.table.row
        made = [Key("N", "new", "new")]
        if row is not None and row.item is not None:
            made += [Key("E", "correct", "edit"), Key("O", self._retire_words(), "retire")]
            if row.kind == "probe":
                made.append(Key("C", "calibrated", "calibrate"))
            made.append(Key("W", "where used", "where_used"))
        return (
            *made,
            Key("Left Right", "kind", "group(1)"),
            Key("?", "help", "app.explain"),
            Key("Esc", "back", "back"),
        )

    def _retire_words(self) -> str:
        row = self.table.row
        return "back into use" if row and row.item and row.item.retired else "out of use"

    def body(self) -> Iterable[Widget]:
        """Kinds, table, item."""
        yield self.strip
        yield self.desktop

    def on_mount(self) -> None:
        """Read."""
        self.table.focus()
        self.look_again()

    def renew_body(self) -> None:
        """Units, and whether something was entered since."""
        self.panel.units = self.dashboard.units
        self.panel.touch()
        self.check()

    def check(self) -> None:
        """Ask whether something was entered since."""
        if not self.loaded:
            return

        def work() -> int:
            with self.desk.reader() as reader:
                return _newest_of(reader)

        self.look_now_and_then(work, lambda newest: self.look_again() if newest != self._entry else None)

    def look_again(self) -> None:
        """Read Stores anew."""

        def work() -> tuple[Stores, int]:
            with self.desk.reader() as reader:
                newest = _newest_of(reader)
                return reader.stores(), newest

        self.read(work, self._found, "stores")

    def _found(self, found: tuple[Stores, int]) -> None:
        self.stores, self._entry = found
        self.loaded = True
        self._fill()

    def _fill(self) -> None:
        """Show the rows of the group, the cursor on the item it was on."""
        compounds = {} if self.desk.shop is None else self.desk.shop.compounds
        today = self.desk.today()
        at = self.table.row
        rows = shelf_of(self.stores, compounds, today, self.group)
        self.table.rows = rows
        label = dict(GROUPS)[self.group]
        some = bool(self.stores.items) or self.group not in ("all", "trouble")
        none = (f"Nothing under {label}." if self.group != "trouble" else "Nothing to look at: all of it may be used.",)
        self.table.nothing = none if some else EMPTY
        counts = {key: len(shelf_of(self.stores, compounds, today, key)) for key, _ in GROUPS}
        self.strip.show(self.group, counts)
        same = [n for n, row in enumerate(rows) if at and (row.kind, row.name) == (at.kind, at.name)]
        self.table.put(same[0] if same else min(self.table.cursor, max(0, len(rows) - 1)))
        self._show_item()
        self.renew_foot()

    def _show_item(self) -> None:
        row = self.table.row
        self.panel.say(row)
        if row is None or row.item is None:
            return

        def work() -> tuple[str, ...]:
            with self.desk.reader() as reader:
                return history_of(reader, row.kind, row.name)

        self.read(work, lambda lines: self.panel.say(row, lines) if self.table.row is row else None, "history")

    # -- moving --

    def go(self, index: int) -> None:
        """To a row."""
        self.table.put(index)
        self._show_item()
        self.tell("")

    def on_stores_table_moved(self, event: StoresTable.Moved) -> None:
        """The mouse."""
        self.go(self.table.cursor + event.by if event.to is None else event.to)

    def on_stores_table_opened(self) -> None:
        """A click on the row that is chosen already."""
        self.action_edit()

    def on_group_strip_chosen(self, event: GroupStrip.Chosen) -> None:
        """A kind was clicked."""
        self.show_group(event.group)

    def action_move(self, step: int) -> None:
        """By rows."""
        self.go(self.table.cursor + step)

    def action_group(self, step: int) -> None:
        """The next kind."""
        names = [key for key, _ in GROUPS]
        self.show_group(names[(names.index(self.group) + step) % len(names)])

    def show_group(self, group: str) -> None:
        """Only these."""
        self.group = group
        self.table.cursor = self.table.first = 0
        self._fill()

    # -- what is entered --

    def action_new(self) -> None:
        """Something came into Stores."""
        from press_monitor.screens.dialogs.item import ItemDialog

        row = self.table.row
        unknown = row.item if row is not None and row.item is not None and not row.item.known else None
        kind = self.group if self.group in ("lot", "bag", "mat", "probe") else "lot"
        app = self.dashboard
        if unknown is not None:
            self.app.push_screen(
                ItemDialog(self.desk, self.stores, unknown, unknown.kind, app.operator, self.look_again)
            )
        else:
            self.app.push_screen(ItemDialog(self.desk, self.stores, None, kind, app.operator, self.look_again))

    def action_edit(self) -> None:
        """Correct what is known of it, or say more."""
        from press_monitor.screens.dialogs.item import ItemDialog

        row = self.table.row
        if row is None or row.item is None:
            self.tell(
                "compounds stand in the shop file" if row is not None else "nothing is chosen: N enters something"
            )
            return
        app = self.dashboard
        self.app.push_screen(ItemDialog(self.desk, self.stores, row.item, row.kind, app.operator, self.look_again))

    def action_retire(self) -> None:
        """Take it out of use, or put it back."""
        from press_monitor.screens.dialogs.retire import RetireDialog

        row = self.table.row
        if row is None or row.item is None:
            self.tell("only lots, bags, mats and probes are taken out of use here")
            return
        self.app.push_screen(RetireDialog(self.desk, row.item, self.dashboard.operator, self.look_again))

    def action_calibrate(self) -> None:
        """A probe was compared with a reference."""
        from press_monitor.screens.dialogs.calibrate import CalibrateDialog

        row = self.table.row
        if row is None or row.kind != "probe":
            self.tell("a probe must be chosen: Left and Right show the probes alone")
            return
        app = self.dashboard
        self.app.push_screen(CalibrateDialog(self.desk, row.name, app.units, app.operator, self.look_again))

    def action_where_used(self) -> None:
        """What shared it, and how much of that came back."""
        from press_monitor.screens.dialogs.where_used import ask_where_used
        from press_monitor.screens.records.sheet import SheetScreen

        row = self.table.row
        if row is None or row.kind == COMPOUND:
            self.tell("a lot, bag, mat or probe must be chosen")
            return

        def show(found: WhereUsed) -> None:
            title = f"What shared {found.item.kind} {plain(found.item.name)}"
            self.app.push_screen(SheetScreen("Where used", title, where_used_sections(found)))

        ask_where_used(self.desk, row.kind, row.name, self.dashboard, show)

    def offers(self) -> Iterator[SystemCommand]:
        """Everything here, for the palette."""
        yield SystemCommand("Stores: enter a new one", "a lot, bag, mat or probe", self.action_new)
        row = self.table.row
        if row is not None and row.item is not None:
            yield SystemCommand(f"{row.title}: correct", "or say more of it", self.action_edit)
            yield SystemCommand(f"{row.title}: {self._retire_words()}", "with the reason", self.action_retire)
            if row.kind == "probe":
                yield SystemCommand(f"{row.title}: calibrated", "compared with a reference", self.action_calibrate)
            yield SystemCommand(f"{row.title}: where used", "what shared it", self.action_where_used)
        for key, label in GROUPS:
            yield SystemCommand(f"Stores: {label}", "only these", partial(self.show_group, key))


def _newest_of(reader: ArchiveReader) -> int:
    """The newest ledger entry."""
    ((newest,),) = reader.query("SELECT coalesce(max(seq), 0) FROM ledger")
    return int(newest)

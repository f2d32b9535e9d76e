"""What can be done with one certificate, wherever it is shown: by the same keys, and in the palette."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import TYPE_CHECKING, ClassVar, TypeVar

from textual.app import SystemCommand
from textual.binding import Binding, BindingType

from press_monitor.archive.types import CertificateRecord, CertificateRow
from press_monitor.audit.comebacks import AttachReport, ComebackReport
from press_monitor.audit.where_used import WhereUsed
from press_monitor.certificate.audit_sheets import attach_sections, comeback_sections, where_used_sections
from press_monitor.certificate.model import Section
from press_monitor.screens.records.desk import ask
from press_monitor.screens.records.desk_screen import DeskScreen
from press_monitor.screens.widgets.cells import plain

if TYPE_CHECKING:
    from press_monitor.screens.dialogs.dialog import Dialog

__all__ = ["DEED_KEYS", "CertificateDeeds"]

Found = TypeVar("Found")

DEED_KEYS: tuple[BindingType, ...] = (
    Binding("i,I", "inspect", "Inspection"),
    Binding("b,B", "comeback", "It came back"),
    Binding("w,W", "where_used", "Where used"),
    Binding("e,E", "correct", "Correct the ticket"),
    Binding("j,J", "attach", "Attach a job's ticket"),
    Binding("v,V", "verify", "Verify this record"),
)


class CertificateDeeds(DeskScreen):
    """A screen on which one certificate is meant. Subclasses give `number_meant`."""

    BINDINGS: ClassVar[list[BindingType]] = list(DEED_KEYS)

    def number_meant(self) -> int | None:
        """The certificate's number, None where there is none."""
        raise NotImplementedError

    def none_meant(self) -> str:
        """Why there is none."""
        return "no certificate is chosen"

    def look_again(self) -> None:
        """Something was entered: show it."""

    # -- what is done --

    def _with_row(self, then: Callable[[CertificateRow], object]) -> None:
        number = self.number_meant()
        if number is None:
            self.tell(self.none_meant())
            return

        def work() -> tuple[CertificateRow, ...]:
            with self.desk.reader() as reader:
                return reader.records(number=number)

        def go_on(found: tuple[CertificateRow, ...]) -> None:
            if found:
                then(found[0])
            else:
                self.tell(f"certificate {number} is not indexed; press-monitor archive rebuild makes the index anew")

        self.read(work, go_on, "deed")

    def _open(self, dialog: Dialog) -> None:
        """Ask, unless somebody has gone elsewhere while it was read what to ask about."""
        if self.app.screen is self:
            self.app.push_screen(dialog)

    def _entered(self, _: object = None) -> None:
        for screen in self.app.screen_stack:
            again = getattr(screen, "look_again", None)
            if again is not None:
                again()

    def _sheet(self, place: str, title: str, sections: Sequence[Section]) -> None:
        from press_monitor.screens.records.sheet import SheetScreen

        self._entered()
        self.app.push_screen(SheetScreen(place, title, sections))

    def action_inspect(self) -> None:
        """Enter an inspection."""
        from press_monitor.screens.dialogs.inspection import InspectionDialog

        number = self.number_meant()
        if number is None:
            self.tell(self.none_meant())
            return
        self.app.push_screen(InspectionDialog(self.desk, number, self.dashboard.operator, self._entered))

    def action_comeback(self) -> None:
        """Enter that the tire came back, then show what the archive knows of it."""
        from press_monitor.screens.dialogs.comeback import ComebackDialog

        def show(report: ComebackReport) -> None:
            sections = comeback_sections(report, self.dashboard.units)
            self._sheet("Comeback", f"Certificate {report.certificate} came back: {report.cause}", sections)

        self._with_row(lambda row: self._open(ComebackDialog(self.desk, row, self.dashboard.operator, show)))

    def action_where_used(self) -> None:
        """What shared something with it."""
        from press_monitor.screens.dialogs.where_used import WhereUsedDialog

        number = self.number_meant()

        def work() -> list[tuple[str, str, str]]:
            if number is None:
                return []
            with self.desk.reader() as reader:
                items = [item for item in reader.used(number) if item[0] != "person"]
                rows = reader.records(number=number)
            return [*items, *(("press", row.press, "") for row in rows)]

        self.read(
            work,
            lambda items: self._open(WhereUsedDialog(self.desk, number, items, self.show_where_used)),
            "deed",
        )

    def show_where_used(self, found: WhereUsed) -> None:
        """The sheet of an item."""
        title = f"What shared {found.item.kind} {plain(found.item.name)}"
        self._sheet("Where used", title, where_used_sections(found))

    def action_correct(self) -> None:
        """Correct the ticket, or withdraw what was entered."""
        from press_monitor.screens.dialogs.correction import CorrectionDialog

        number = self.number_meant()
        if number is None:
            self.tell(self.none_meant())
            return

        def work() -> CertificateRecord:
            with self.desk.reader() as reader:
                return reader.record(number)

        def show(record: CertificateRecord) -> None:
            self._open(CorrectionDialog(self.desk, record, self.dashboard.operator, self._entered))

        self.read(work, show, "deed")

    def action_attach(self) -> None:
        """Attach a ticket and judge the cure on it."""
        from press_monitor.screens.dialogs.attach import AttachDialog

        shop = self.desk.shop
        if shop is None:
            self.tell("a ticket wants the shop file's compounds and repairs, and none was read")
            return

        def show(report: AttachReport) -> None:
            title = f"Certificate {report.certificate} on its ticket"
            self._sheet("Ticket", title, attach_sections(report))

        self._with_row(lambda row: self._open(AttachDialog(self.desk, shop, row, self.dashboard.operator, show)))

    def action_verify(self) -> None:
        """Whether this record is what was sealed."""
        number = self.number_meant()
        if number is None:
            self.tell(self.none_meant())
            return

        def work() -> str:
            from press_monitor.certificate.copies import read_copy

            with self.desk.reader() as reader:
                copy = read_copy(reader, number)
            count = 1 + len(copy.record.later)
            entries = "its ledger entry" if count == 1 else f"its {count} ledger entries"
            return f"as it was signed: {entries} and its readings, by hash and signature"

        ask(self.dashboard, f"verify certificate {number}", work, lambda _: None, done=str)

    def verify_all(self) -> None:
        """Walk the whole ledger."""

        def work() -> tuple[str, ...]:
            from press_monitor.archive.verify import verify

            return tuple(verify(self.desk.archive).lines())

        def show(lines: tuple[str, ...]) -> None:
            from press_monitor.screens.records.sheet import SheetScreen

            self.app.push_screen(SheetScreen("Verify", "Does the archive still say what was sealed?", (), lines))

        ask(self.dashboard, "verify the whole archive", work, show)

    def offers(self) -> Iterator[SystemCommand]:
        """Everything that can be done here, for the palette."""
        number = self.number_meant()
        if number is not None:
            name = f"Certificate {number}"
            yield SystemCommand(f"{name}: inspection", "somebody has looked at the repair", self.action_inspect)
            yield SystemCommand(f"{name}: it came back", "why, and what the archive knows", self.action_comeback)
            yield SystemCommand(f"{name}: where used", "what shared its lots, bag, mats", self.action_where_used)
            yield SystemCommand(f"{name}: correct", "its ticket, or a later entry", self.action_correct)
            yield SystemCommand(f"{name}: attach a ticket", "and judge the cure on it", self.action_attach)
            yield SystemCommand(f"{name}: verify", "is it what was sealed?", self.action_verify)
        else:
            yield SystemCommand("Where used", "what shared a lot, bag, mat, probe, press", self.action_where_used)
        yield SystemCommand("Verify the whole archive", "walk every ledger entry", partial(self.verify_all))

"""A cure that ran without a ticket gets one: what was repaired, with what, by whom; and it is judged on that."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from textual.widget import Widget

from press_monitor.archive.stores import NO_STORES
from press_monitor.archive.ticket import read_ticket
from press_monitor.archive.types import CertificateRow
from press_monitor.audit.comebacks import AttachReport, attach_ticket
from press_monitor.screens.dialogs.dialog import Words
from press_monitor.screens.dialogs.form import FormDialog, WrongField
from press_monitor.screens.load.form import FIELDS, INJURY, MATERIALS, remarks, ticket_of
from press_monitor.screens.records.desk import Desk, ask
from press_monitor.screens.widgets.cells import plain
from press_monitor.screens.widgets.choice import Option
from press_monitor.screens.widgets.palette import Tone
from press_monitor.screens.widgets.rows import Entry, FormRow, Pick
from press_monitor.shop import Shop
from press_monitor.tables import ShopError

__all__ = ["AttachDialog"]

_LABEL = 16
_YES_NO = (Option("", "not said"), Option("yes", "yes"), Option("no", "no"))


def _entry(key: str, label: str, hint: str = "") -> Entry:
    return Entry(key, label, hint=hint, label_width=_LABEL)


class AttachDialog(FormDialog):
    """Attaches a ticket to a certificate."""

    def __init__(
        self, desk: Desk, shop: Shop, row: CertificateRow, operator: str, then: Callable[[AttachReport], None]
    ) -> None:
        super().__init__(desk)
        self.shop, self.row, self._then = shop, row, then
        presets = [
            Option(
                name,
                plain(name),
                f"{1000 * max(sum(x.thickness for x in s.layers) for s in made.repair.stacks):.0f} mm",
            )
            for name, made in shop.repairs.items()
        ]
        self.preset = Pick(
            "repair", "Layers", [*presets, Option("", "as recorded")], field_width=44, label_width=_LABEL
        )
        self.overlap = Pick("mats_overlap", "Mats overlap", _YES_NO, label_width=_LABEL)
        self.by = Entry("by", "Said by", operator, label_width=_LABEL)
        self.entries: list[FormRow] = [
            *(_entry(f.key, f.label, f.hint) for f in FIELDS),
            *(_entry(f.key, f.label, f.hint) for f in INJURY),
            self.overlap,
            *(_entry(f"materials.{short}.lot", label) for short, _, label in MATERIALS),
            _entry("bag", "Bag"),
            _entry("mats", "Mats", "M1, M2"),
            _entry("probes", "Probes", "K-17, K-18"),
            _entry("operator", "Repaired by"),
            _entry("note", "Note"),
        ]

    def title_words(self) -> str:
        """Which cure."""
        return f"A ticket for certificate {self.row.number}, press {plain(self.row.press)}"

    def hint_words(self) -> str:
        """What Enter does."""
        return "Up Down field   Enter attach it and judge the cure on it   Esc back"

    def fields(self) -> Iterable[Widget]:
        """The layers first: without them no cure can be worked out."""
        if self.row.tire or self.row.customer or self.row.job:
            yield Words("It has a ticket. E corrects one; another one adds to it.", classes="warn")
        yield self.preset
        yield from self.entries
        yield self.by

    def values(self) -> dict[str, str]:
        """The ticket's fields as typed."""
        return {row.name: row.value for row in self.entries if row.name and row.value}

    def changed(self) -> None:
        """Say at each field what there is to say of it."""
        self._remark(self.values())

    def _remark(self, values: Mapping[str, str]) -> None:
        # Stores are looked at when it is attached; here only what is wrong in itself is said.
        said = remarks(values, self.desk.today(), NO_STORES)
        for row in self.entries:
            found = said.get(row.name or "")
            row.say(found if found is not None and found.tone is Tone.ALARM else None)

    def accept(self) -> Callable[[], None]:
        """The ticket, checked as everywhere."""
        values = self.values()
        if not values:
            raise WrongField("number", "an empty ticket says nothing")
        wrong = next(
            (
                (key, remark.words)
                for key, remark in remarks(values, self.desk.today(), NO_STORES).items()
                if remark.tone is Tone.ALARM
            ),
            None,
        )
        if wrong is not None:
            raise WrongField(*wrong)
        try:
            ticket = read_ticket(ticket_of(values), self.desk.today())
        except ShopError as error:
            raise WrongField(str(error.key or ""), error.message) from None
        app, desk, shop, number, then, by = (
            self.dashboard,
            self.desk,
            self.shop,
            self.row.number,
            self._then,
            self.by.value,
        )
        repair = shop.repairs.get(self.preset.value)
        app.operator = by or app.operator
        return lambda: ask(
            app,
            f"ticket for certificate {number}",
            lambda: attach_ticket(desk.asked("ticket"), number, ticket, shop=shop, repair=repair, by=by),
            then,
            done=lambda report: f"ledger entry {report.entry}, judged {report.verdict}",
        )

"""The tire came back: why, in the trade's words. What the archive knows about it is shown once it is entered."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from textual.widget import Widget

from press_monitor.archive.entries import CAUSES
from press_monitor.archive.types import CertificateRow
from press_monitor.audit.comebacks import ComebackReport, came_back
from press_monitor.screens.dialogs.dialog import Words
from press_monitor.screens.dialogs.form import FormDialog, WrongField, day_entry
from press_monitor.screens.records.desk import Desk, ask
from press_monitor.screens.widgets.cells import plain
from press_monitor.screens.widgets.choice import Choice, Option
from press_monitor.screens.widgets.rows import Entry

__all__ = ["CAUSE_WORDS", "ComebackDialog"]

CAUSE_WORDS = {
    "adhesion failure": "patch or filler let go of the casing",
    "cure sponge": "soft, spongy rubber inside",
    "moisture blow": "bubbles or blisters from moisture",
    "reversion": "sticky or weak from too much heat",
    "cord separation": "cords let go or broke",
    "new injury": "hit again; no fault of the repair",
}


class ComebackDialog(FormDialog):
    """Enters a comeback, then shows what the audit says."""

    def __init__(self, desk: Desk, row: CertificateRow, operator: str, then: Callable[[ComebackReport], None]) -> None:
        super().__init__(desk)
        self.row, self._then = row, then
        self.cause = Choice([Option(c, c, CAUSE_WORDS.get(c, "")) for c in CAUSES], listed=True)
        # A demo's clock runs ahead: what is proposed must not lie before the cure.
        self.usual_day = max(desk.today(), desk.day(row.ended_utc))
        today = f"today, {desk.today()}"
        self.when = day_entry("day", "Came back on", today if self.usual_day == desk.today() else str(self.usual_day))
        self.by = Entry("by", "Said by", operator)
        self.note = Entry("note", "Note", hint="hours run, what it looked like", field_width=54, longest=400)

    def title_words(self) -> str:
        """Which tire."""
        tire = ", ".join(plain(part) for part in (self.row.tire, self.row.section, self.row.customer) if part)
        return f"Certificate {self.row.number} came back" + (f": {tire}" if tire else "")

    def fields(self) -> Iterable[Widget]:
        """Cause first."""
        if self.row.comeback:
            day = f" on {self.row.comeback_day}" if self.row.comeback_day else ""
            yield Words(
                f"It is entered as come back{day} already: {plain(self.row.comeback)}. Another entry takes its place;"
                " both stay readable.",
                classes="warn",
            )
        yield Words("What was wrong", classes="soft")
        yield self.cause
        yield self.when
        yield self.by
        yield self.note
        yield Words(
            "Then you see this cure beside comparable good ones, what today's model says of it, and what it shared.",
            classes="soft",
        )

    def accept(self) -> Callable[[], None]:
        """The comeback, checked."""
        day = self.day("day") if self.when.value else self.usual_day
        cured = self.desk.day(self.row.ended_utc)
        if day < cured:
            raise WrongField("day", f"it cannot have come back before its cure on {cured}")
        app, desk, number, then = self.dashboard, self.desk, self.row.number, self._then
        cause, by, note = self.cause.value, self.by.value, self.note.value
        app.operator = by or app.operator
        keeping = desk.upkeep

        def work() -> ComebackReport:
            return came_back(
                desk.asked("comeback"),
                number,
                cause,
                day=day,
                by=by,
                note=note,
                shop=desk.shop,
                old_enough_days=keeping.old_enough_days,
                people=keeping.figures_by_person,
            )

        words = f"certificate {number} came back: {cause}"
        return lambda: ask(app, words, work, then, done=lambda report: f"ledger entry {report.entry}")

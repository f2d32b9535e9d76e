"""A probe was compared with a reference: when, against what, how far off, and until when that holds."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from textual.widget import Widget

from press_monitor.archive.entries import calibration_body
from press_monitor.quantities import UnitSystem
from press_monitor.screens.dialogs.dialog import Words
from press_monitor.screens.dialogs.form import FormDialog, WrongField, day_entry
from press_monitor.screens.records.desk import Desk, day_typed
from press_monitor.screens.widgets.cells import plain
from press_monitor.screens.widgets.rows import Entry

__all__ = ["CalibrateDialog"]


class CalibrateDialog(FormDialog):
    """Enters a calibration of one probe."""

    def __init__(self, desk: Desk, probe: str, units: UnitSystem, operator: str, then: Callable[[], None]) -> None:
        super().__init__(desk)
        self.probe, self.units, self._then = probe, units, then
        self.done = day_entry("done", "Done on", f"today, {desk.today()}")
        self.due = day_entry("due", "Holds until", "the last day")
        self.reference = Entry("reference", "Against", hint="dry block, ice water")
        self.off_by = Entry("offset", f"Off by, {units.temperature_sign}", hint="as found, such as 1.2", field_width=24)
        self.by = Entry("by", "By", operator)

    def title_words(self) -> str:
        """Which probe."""
        return f"Probe {plain(self.probe)} was calibrated"

    def fields(self) -> Iterable[Widget]:
        """When, against what, how far off."""
        yield self.done
        yield self.due
        yield self.reference
        yield self.off_by
        yield self.by
        yield Words("What is applied to its readings is the shop file's to say: press-monitor setup.", classes="soft")

    def accept(self) -> Callable[[], None]:
        """The entry, checked."""
        done = self.day("done")
        due: str | None = None
        if self.due.value:
            try:
                due = day_typed(self.due.value, self.desk.today()).isoformat()
            except ValueError as error:
                raise WrongField("due", str(error)) from None
        offset: float | None = None
        if self.off_by.value:
            try:
                offset = float(self.off_by.value.replace(",", "."))
            except ValueError:
                raise WrongField("offset", f"wants a number, got {self.off_by.value!r}") from None
            if not abs(offset) < 1000.0:
                raise WrongField("offset", f"no probe is off by {self.off_by.value}")
        facts = {
            "done": done.isoformat(),
            "due": due,
            "reference": self.reference.value,
            "offset": offset,
            "unit": self.units.temperature,
        }
        body = calibration_body(probe=self.probe, facts=facts, by=self.by.value)
        return self.enters("calibration", body, f"calibration of probe {plain(self.probe)}", self.by.value, self._then)

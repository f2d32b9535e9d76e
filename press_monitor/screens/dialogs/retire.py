"""Something must not be used any more, or may be used again; with the reason."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from textual.widget import Widget

from press_monitor.archive.entries import stores_body
from press_monitor.archive.stores import StoreItem
from press_monitor.screens.dialogs.dialog import Words
from press_monitor.screens.dialogs.form import FormDialog, WrongField
from press_monitor.screens.records.desk import Desk, day_typed
from press_monitor.screens.widgets.cells import plain
from press_monitor.screens.widgets.rows import Entry

__all__ = ["RetireDialog"]


class RetireDialog(FormDialog):
    """Takes an item out of use, or puts it back."""

    def __init__(self, desk: Desk, item: StoreItem, operator: str, then: Callable[[], None]) -> None:
        super().__init__(desk)
        self.item, self._then = item, then
        self.back = item.retired is not None
        hint = "repaired, checked" if self.back else "blistered, torn, lead broken"
        self.why = Entry("why", "Why", hint=hint, field_width=54, longest=400)
        self.since = Entry("since", "From", hint=f"today, {desk.today()}", longest=10, field_width=22)
        self.by = Entry("by", "By", operator)

    @property
    def name_said(self) -> str:
        """``mat M2``."""
        return f"{self.item.kind} {plain(self.item.name)}"

    def title_words(self) -> str:
        """Which way."""
        return f"Put {self.name_said} back into use" if self.back else f"Take {self.name_said} out of use"

    def fields(self) -> Iterable[Widget]:
        """Why, from when, who."""
        if self.back:
            yield Words(f"Out of use since {self.item.retired}: {plain(self.item.retired_why) or 'no reason given'}.")
        yield self.why
        if not self.back:
            yield self.since
        yield self.by
        yield Words(
            "A cure that names it is refused from that day on, unless somebody overrides that by name and reason.",
            classes="soft",
        )

    def accept(self) -> Callable[[], None]:
        """The entry, checked."""
        why = self.why.value
        if not why:
            raise WrongField("why", "what was put right?" if self.back else "what is wrong with it?")
        try:
            day = None if self.back else day_typed(self.since.value, self.desk.today()).isoformat()
        except ValueError as error:
            raise WrongField("since", str(error)) from None
        said = {"retired": day, "retired_why": None if self.back else why}
        body = stores_body(self.item.kind, self.item.name, said, by=self.by.value, why=why)
        word = "back into use" if self.back else "out of use"
        return self.enters("stores", body, f"{self.name_said} {word}", self.by.value, self._then)

"""What shared a lot, a bag, a mat, a probe or the press, and how much of it came back."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING

from textual.widget import Widget

from press_monitor.audit.where_used import WhereUsed, where_used
from press_monitor.screens.dialogs.dialog import Words
from press_monitor.screens.dialogs.form import FormDialog, WrongField
from press_monitor.screens.records.desk import Desk, ask
from press_monitor.screens.widgets.cells import plain
from press_monitor.screens.widgets.choice import Choice, Option
from press_monitor.screens.widgets.rows import Entry, Pick

if TYPE_CHECKING:
    from press_monitor.screens.app import Dashboard

__all__ = ["WhereUsedDialog", "ask_where_used"]

KINDS = ("lot", "bag", "mat", "probe", "press")


def ask_where_used(desk: Desk, kind: str, name: str, app: Dashboard, then: Callable[[WhereUsed], None]) -> None:
    """Count off the UI's thread, then show."""
    keeping = desk.upkeep

    def work() -> WhereUsed:
        with desk.reader() as reader:
            return where_used(
                reader,
                kind,
                name,
                desk.now(),
                old_enough_days=keeping.old_enough_days,
                people=keeping.figures_by_person,
            )

    ask(app, f"what shared {kind} {plain(name)}", work, then)


class WhereUsedDialog(FormDialog):
    """Asks what to follow: something this cure used, or anything by its name."""

    def __init__(
        self, desk: Desk, number: int | None, items: Sequence[tuple[str, str, str]], then: Callable[[WhereUsed], None]
    ) -> None:
        super().__init__(desk)
        self.number, self.items, self._then = number, tuple(items), then
        options = [
            Option(str(n), f"{kind} {plain(name)}", plain(role)) for n, (kind, name, role) in enumerate(self.items)
        ]
        self.choice = Choice([*options, Option("", "another one", "named below")], listed=True)
        self.kind = Pick("kind", "Kind", [Option(k, k) for k in KINDS], field_width=40)
        self.named = Entry("name", "Name", hint="as written on it")

    def title_words(self) -> str:
        """Of what."""
        return "Where used" if self.number is None else f"What shared something with certificate {self.number}"

    def hint_words(self) -> str:
        """What Enter does."""
        return "Up Down pick   Enter show it   Esc back"

    def fields(self) -> Iterable[Widget]:
        """What it used first."""
        if self.items:
            yield self.choice
        else:
            if self.number is not None:
                yield Words("Its ticket names no lot, bag, mat or probe.", classes="warn")
            self.choice.chosen = len(self.choice.options) - 1
        yield self.kind
        yield self.named

    def changed(self) -> None:
        """Whoever types a name means it."""
        if self.named.value and self.items:
            self.choice.chosen = len(self.choice.options) - 1
            self.choice.touch()

    def accept(self) -> Callable[[], None]:
        """What to follow."""
        if self.choice.value:
            kind, name, _ = self.items[int(self.choice.value)]
        else:
            kind, name = self.kind.value, self.named.value
            if not name:
                raise WrongField("name", f"which {kind}?")
        app, desk, then = self.dashboard, self.desk, self._then
        return lambda: ask_where_used(desk, kind, name, app, then)

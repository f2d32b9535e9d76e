"""What every dialog shares: a quiet box in the middle, the alarm bar still on top, Esc to leave."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING, ClassVar, cast

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.screen import ModalScreen
from textual.widget import Widget
from textual.widgets import Input, Static

from press_monitor.screens.let_go import let_go
from press_monitor.screens.topline import bar_words
from press_monitor.screens.widgets.bars import AlarmBar
from press_monitor.screens.widgets.cells import plain

if TYPE_CHECKING:
    from press_monitor.screens.app import Dashboard

__all__ = ["Dialog", "Words", "field_row"]


class Words(Static):
    """Plain text: nothing in it is markup."""

    def __init__(self, words: str = "", *, classes: str = "", id: str | None = None) -> None:
        super().__init__(words, classes=classes, id=id, markup=False)


def field_row(label: str, field: Widget) -> Horizontal:
    """A label and its field on one line."""
    return Horizontal(Words(label, classes="label"), field, classes="row")


class Dialog(ModalScreen[None]):
    """Subclasses give `title_words`, `content` and, if something in it lives, `renew_content`."""

    CSS_PATH: ClassVar[str] = "dialog.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "cancel", "Back"),
        Binding("enter", "confirm", "Do it"),
        Binding("down", "further(1)", "Next field, or scroll"),
        Binding("up", "further(-1)", "Field before, or scroll"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.bar = AlarmBar()
        self.heading = Words(classes="heading")
        self.hint = Words(classes="hint")

    @property
    def dashboard(self) -> Dashboard:
        """The app, by its own type."""
        return cast("Dashboard", self.app)

    def title_words(self) -> str:
        """The dialog's heading."""
        raise NotImplementedError

    def hint_words(self) -> str:
        """What Enter and Esc do now."""
        return "Esc back"

    def content(self) -> Iterable[Widget]:
        """Between the heading and the hint."""
        raise NotImplementedError

    def renew_content(self) -> None:
        """Show the newest state."""

    def compose(self) -> ComposeResult:
        """Bar on top, box in the middle."""
        yield self.bar
        with Vertical(classes="box"):
            yield self.heading
            with VerticalScroll(classes="inside", can_focus=False):
                yield from self.content()
            yield self.hint

    def on_mount(self) -> None:
        """Fill in what is known."""
        self.renew()

    def on_unmount(self) -> None:
        """Keep nothing of a dialog that is gone."""
        let_go(self.dashboard)

    def renew(self) -> None:
        """Show the newest state. The bar names no key here: Enter belongs to the dialog."""
        app = self.dashboard
        words = bar_words(app.source, app.shop.name, app.units, app.shop.zone, self.size.width or app.size.width)
        self.bar.say(replace(words, key=""))
        self.heading.update(self.title_words())
        self.renew_content()
        self.hint.update(self.hint_words())

    def on_input_submitted(self) -> None:
        """Enter in a field is Enter."""
        self.action_confirm()

    def action_further(self, step: int) -> None:
        """The field beside; where there are no fields, scroll."""
        if self.focus_chain:
            self.focus_next() if step > 0 else self.focus_previous()
        else:
            self.query_one(".inside", VerticalScroll).scroll_relative(y=3 * step, animate=False)

    def action_confirm(self) -> None:
        """What Enter does; nothing by default."""

    def action_cancel(self) -> None:
        """Leave without doing anything."""
        self.dismiss()


def typed(field: Input) -> str:
    """What stands in a field, as one harmless line."""
    return plain(field.value)

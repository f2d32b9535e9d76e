"""Load a press: pick the repair by its digit, Enter. Everything else may be filled in."""

from __future__ import annotations

from collections.abc import Iterable

from textual.widget import Widget
from textual.widgets import Input

from press_monitor.screens.dialogs.dialog import Dialog, Words, field_row, typed
from press_monitor.screens.source import PressView
from press_monitor.screens.widgets.cells import plain
from press_monitor.screens.widgets.choice import Choice, Option
from press_monitor.watch.types import Phase

__all__ = ["StartDialog"]


class StartDialog(Dialog):
    """Sends a start command; the recorder answers."""

    def __init__(self, press: str | None) -> None:
        super().__init__()
        self._wanted = press
        self.press = Choice([])
        self.repair = Choice([], listed=True)
        self.recipe = Choice([])
        self.tire, self.section, self.ticket, self.operator = (Input(compact=True) for _ in range(4))
        self.busy = Words(classes="warn")

    def title_words(self) -> str:
        """What is loaded."""
        return "Load a press"

    def hint_words(self) -> str:
        """Few keys."""
        return "1-9 repair   Up Down field   Enter start the record   Esc back"

    def content(self) -> Iterable[Widget]:
        """Repair first, since it is what changes."""
        app = self.dashboard
        presses = app.source.presses
        self.press.options = tuple(Option(p.place.name, f"{p.number} {plain(p.place.title)}") for p in presses)
        free = next((n for n, p in enumerate(presses) if _free(p)), 0)
        self.press.chosen = next((n for n, p in enumerate(presses) if p.place.name == self._wanted), free)
        presets = (Option(p.name, plain(p.name), p.words) for p in app.shop.presets)
        self.repair.options = (*presets, Option("", "no layers", "the cure will not be judged"))
        self.recipe.options = tuple(Option(name, plain(name)) for name in app.shop.recipes)
        self._usual_recipe()
        self.operator.value = app.operator
        yield field_row("Press", self.press)
        yield self.busy
        yield Words("Repair", classes="soft")
        yield self.repair
        yield field_row("Recipe", self.recipe)
        yield field_row("Tire", self.tire)
        yield field_row("Section", self.section)
        yield field_row("Ticket", self.ticket)
        yield field_row("Your name", self.operator)
        yield Words("Starts the record only: heat, bag and ram are yours.", classes="soft")

    def on_mount(self) -> None:
        """The repair is what one came for."""
        super().on_mount()
        self.repair.focus()

    def on_choice_changed(self) -> None:
        """Another press has another usual recipe."""
        self._usual_recipe()
        self.renew()

    def renew_content(self) -> None:
        """Say so where the press is not free."""
        view = self.dashboard.source.press(self.press.value)
        busy = view is not None and not _free(view)
        self.busy.display = busy
        self.busy.update("A cure is running here: the recorder will refuse a second one." if busy else "")

    def _usual_recipe(self) -> None:
        view = self.dashboard.source.press(self.press.value)
        names = [option.value for option in self.recipe.options]
        if view is not None and view.place.recipe in names and not self.recipe.has_focus:
            self.recipe.chosen = names.index(view.place.recipe)
            self.recipe.touch()

    def action_confirm(self) -> None:
        """Ask the recorder to start."""
        app = self.dashboard
        view = app.source.press(self.press.value)
        if view is None:
            return
        app.operator = typed(self.operator)
        preset = next((p for p in app.shop.presets if p.name == self.repair.value), None)
        ticket = {"tire": typed(self.tire), "section": typed(self.section), "number": typed(self.ticket)}
        args = {
            "recipe": self.recipe.value,
            "repair": preset.text if preset else None,
            "ticket": {**{k: v for k, v in ticket.items() if v}, "operator": app.operator},
        }
        words = f"start press {view.number}"
        app.source.send("start", view, words, operator=app.operator, args=args)
        self.dismiss()


def _free(view: PressView) -> bool:
    snapshot = view.snapshot
    return snapshot is None or snapshot.phase in (Phase.EMPTY, Phase.RELEASED) or not snapshot.ticketed

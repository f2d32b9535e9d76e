"""More hold than the recipe asks for: the hold clock then runs longer before the cure counts as done."""

from __future__ import annotations

from collections.abc import Iterable

from textual.widget import Widget
from textual.widgets import Input

from press_monitor.screens.dialogs.dialog import Dialog, Words, field_row, typed
from press_monitor.screens.widgets.choice import Choice, Option
from press_monitor.screens.words import say_clock

__all__ = ["ExtendDialog"]

_MINUTES = (5, 10, 15, 30, 60)


class ExtendDialog(Dialog):
    """By how much, and why."""

    def __init__(self, press_name: str) -> None:
        super().__init__()
        self.press_name = press_name
        self.now = Words()
        self.more = Choice([Option(str(n), f"{n} min") for n in _MINUTES], 1, listed=True)
        self.reason = Input(compact=True)
        self.operator = Input(compact=True)

    def title_words(self) -> str:
        """Which press."""
        view = self.dashboard.source.press(self.press_name)
        return f"Extend the hold, press {view.number} {view.place.title}" if view else "Extend the hold"

    def hint_words(self) -> str:
        """Plain."""
        return "1-5 how long   Up Down field   Enter extend   Esc back"

    def content(self) -> Iterable[Widget]:
        """How long, why, who."""
        self.operator.value = self.dashboard.operator
        yield self.now
        yield self.more
        yield field_row("Why", self.reason)
        yield field_row("Your name", self.operator)
        yield Words(
            "This moves the end of the hold in the record. The mats' own thermostat stays yours.", classes="soft"
        )

    def on_mount(self) -> None:
        """The minutes are what one came for."""
        super().on_mount()
        self.more.focus()

    def renew_content(self) -> None:
        """Where the hold stands, and when it would end."""
        view = self.dashboard.source.press(self.press_name)
        snapshot = view.snapshot if view else None
        if view is None or snapshot is None:
            return
        needed = snapshot.hold_needed_s / 60.0
        words = f"Hold {snapshot.hold_s / 60.0:.0f} of {needed:.0f} min."
        left = snapshot.hold_needed_s + 60.0 * float(self.more.value) - snapshot.hold_s
        if snapshot.hold_s > 0.0:
            end = say_clock(view.utc + max(0.0, left), self.dashboard.shop.zone)
            words += f" With {self.more.value} min more the hold ends about {end}."
        forecast = snapshot.forecast
        if forecast is not None and forecast.minutes_left is not None and not snapshot.cure_due:
            cured = say_clock(view.utc + 60.0 * forecast.minutes_left, self.dashboard.shop.zone)
            words += f" The deepest rubber is cured about {cured}: done is when both are."
        self.now.update(words)

    def on_choice_changed(self) -> None:
        """Another end."""
        self.renew()

    def action_confirm(self) -> None:
        """Ask the recorder."""
        app = self.dashboard
        view = app.source.press(self.press_name)
        app.operator = typed(self.operator)
        if view is not None:
            words = f"extend the hold on press {view.number} by {self.more.value} min"
            args = {"seconds": 60.0 * float(self.more.value), "note": typed(self.reason)}
            app.source.send("extend", view, words, operator=app.operator, args=args)
        self.dismiss()

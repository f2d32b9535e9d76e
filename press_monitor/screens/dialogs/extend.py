"""More hold than the recipe asks for: the hold clock then runs longer before the cure counts as done.

Extensions add up, so a second one waits until the first is answered.
"""

from __future__ import annotations

from collections.abc import Iterable

from textual.widget import Widget
from textual.widgets import Input

from press_monitor.screens.dialogs.dialog import Dialog, Words, field_row, typed
from press_monitor.screens.source import Notice
from press_monitor.screens.widgets.cells import plain
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
        self.fate = Words(classes="warn")
        self._sent: str | None = None

    def title_words(self) -> str:
        """Which press."""
        view = self.dashboard.source.press(self.press_name)
        return f"Extend the hold, press {view.number} {view.place.title}" if view else "Extend the hold"

    def hint_words(self) -> str:
        """Plain."""
        if self._waiting() is not None:
            return "Waiting for the recorder's answer   Esc back"
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
        yield self.fate

    def on_mount(self) -> None:
        """The minutes are what one came for."""
        self.more.focus()

    def renew_content(self) -> None:
        """Where the hold stands, when it would end, and what became of what was asked."""
        if self._say_fate():
            return
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

    def _waiting(self) -> Notice | None:
        return self.dashboard.source.waiting("extend", self.press_name)

    def _say_fate(self) -> bool:
        """Say what became of what was asked; whether that was done and the dialog goes."""
        waiting = self._waiting()
        words = ""
        if waiting is not None:
            words = f"Sent: {plain(waiting.words)}. Nothing more is sent until the recorder has answered."
        elif self._sent is not None:
            notice = next((n for n in self.dashboard.source.notices if n.uuid == self._sent), None)
            if notice is None or notice.state == "done":
                if self.is_current:
                    self.dismiss()
                return True
            words = f"Not extended: {plain(notice.text)}."
        self.fate.update(words)
        self.fate.display = bool(words)
        return False

    def action_confirm(self) -> None:
        """Ask the recorder, unless it has not answered the last time yet; stay until it has."""
        app = self.dashboard
        view = app.source.press(self.press_name)
        if view is None:
            self.dismiss()
        elif self._waiting() is None:
            app.operator = typed(self.operator)
            words = f"extend the hold on press {view.number} by {self.more.value} min"
            args = {"seconds": 60.0 * float(self.more.value), "note": typed(self.reason)}
            self._sent = app.source.send("extend", view, words, operator=app.operator, args=args).uuid
            self.renew()

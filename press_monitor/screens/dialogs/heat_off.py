"""Note that the heat has been turned off at the press."""

from __future__ import annotations

from collections.abc import Iterable

from textual.widget import Widget

from press_monitor.screens.dialogs.dialog import Dialog, Words

__all__ = ["HeatOffDialog"]


class HeatOffDialog(Dialog):
    """One question, so that a slip of the finger notes nothing."""

    def __init__(self, press_name: str) -> None:
        super().__init__()
        self.press_name = press_name
        self.due = Words()

    def title_words(self) -> str:
        """Which press."""
        view = self.dashboard.source.press(self.press_name)
        return f"Heat is off on press {view.number} {view.place.title}?" if view else "Heat is off?"

    def hint_words(self) -> str:
        """Plain."""
        return "Enter yes, the heat is off   Esc back"

    def content(self) -> Iterable[Widget]:
        """What the key does and does not do."""
        yield self.due
        yield Words("This notes what you did at the press. It switches nothing. Leave the bag up.", classes="soft")

    def renew_content(self) -> None:
        """Whether the cure is due."""
        view = self.dashboard.source.press(self.press_name)
        snapshot = view.snapshot if view else None
        if snapshot is None:
            return
        words = "The cure is due." if snapshot.cure_due else "The cure is not due yet."
        forecast = snapshot.forecast
        if forecast is not None and forecast.heat_off_now_ends_at is not None:
            words += f" With the bag left up it ends at {100 * forecast.heat_off_now_ends_at:.0f} %"
            words += f", {100 * snapshot.required_cure:.0f} % is needed."
        self.due.update(words)
        self.due.set_class(not snapshot.cure_due, "warn")

    def action_confirm(self) -> None:
        """Send the note."""
        app = self.dashboard
        view = app.source.press(self.press_name)
        if view is not None:
            app.source.send("heat-off", view, f"heat off on press {view.number}", operator=app.operator)
        self.dismiss()

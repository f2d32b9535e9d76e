"""The peer of the dashboard: the least Textual app that shows as many presses. Run by itself it shows four."""

from __future__ import annotations

import time

from textual.app import App, ComposeResult
from textual.widgets import Label

__all__ = ["Minimal"]


class Minimal(App[None]):
    """One label a press, its text set once a second."""

    def __init__(self, presses: int) -> None:
        super().__init__()
        self._presses = presses

    def compose(self) -> ComposeResult:
        """One label a press."""
        for n in range(self._presses):
            yield Label(f"press {n + 1}", id=f"p{n}")

    def on_mount(self) -> None:
        """Begin."""
        self.set_interval(1.0, self.tick)

    def tick(self) -> None:
        """New words everywhere."""
        for n, label in enumerate(self.query(Label)):
            label.update(f"press {n + 1} {time.monotonic():.1f}")


if __name__ == "__main__":
    Minimal(4).run()

"""A text of eighty columns under a heading that stays, scrolled by lines."""

from __future__ import annotations

from collections.abc import Hashable

from textual import events

from press_monitor.certificate.text import WIDTH
from press_monitor.screens.widgets.cells import Cells, clip
from press_monitor.screens.widgets.drawn import Drawn
from press_monitor.screens.widgets.palette import Look

__all__ = ["Scrolled", "TextView"]


class TextView(Drawn):
    """The text. Headings stand out: a line over a rule of dashes."""

    def __init__(self) -> None:
        super().__init__()
        self.heading = ""
        self.lines: tuple[str, ...] = ()
        self.first = 0

    def key(self) -> Hashable:
        """What is shown, and from which line on."""
        return (self.heading, self.lines, self.first)

    def draw(self, width: int, height: int, look: Look) -> Cells:
        """The heading, and the lines below it; how far one is stands at its right."""
        palette = look.palette
        cells = Cells(width, height, palette.ground, palette.text)
        # The text is eighty columns wide: where the terminal is no wider, every one of them is needed.
        left = 1 if width > WIDTH + 1 else 0
        room = height - 1
        end = width - 1
        if len(self.lines) > room > 0:
            share = min(100, round(100 * (self.first + room) / len(self.lines)))
            end = cells.right(width - 1, 0, f"{share} % seen", palette.dim) - 1
        cells.text(left, 0, clip(self.heading, max(0, end - left)), palette.text, bold=True)
        shown = self.lines[self.first : self.first + room]
        for row, line in enumerate(shown, start=1):
            rule = bool(line) and not line.strip("=-")
            below = shown[row] if row < len(shown) else ""
            head = bool(line) and below.startswith("-" * WIDTH)
            cells.text(left, row, clip(line, width - 2 * left), palette.dim if rule else palette.text, bold=head)
        return cells

    def move(self, step: int) -> None:
        """Scroll, and stop where the last line is in sight."""
        self.first = max(0, min(self.first + step, len(self.lines) - self.size.height + 1))
        self.touch()

    def page(self, step: int) -> None:
        """Scroll by screens."""
        self.move(step * max(1, self.size.height - 3))

    def on_mouse_scroll_down(self, event: events.MouseScrollDown) -> None:
        """The wheel."""
        self.move(3)

    def on_mouse_scroll_up(self, event: events.MouseScrollUp) -> None:
        """The wheel."""
        self.move(-3)


class Scrolled:
    """What a screen with a text on it does on the keys that scroll."""

    view: TextView

    def action_move(self, step: int) -> None:
        """Scroll by lines."""
        self.view.move(step)

    def action_page(self, step: int) -> None:
        """Scroll by screens."""
        self.view.page(step)

"""One of a few, picked by its digit or by arrow keys."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import ClassVar

from textual import events
from textual.binding import Binding, BindingType
from textual.geometry import Size
from textual.message import Message

from press_monitor.screens.widgets.cells import Cells, width_of
from press_monitor.screens.widgets.drawn import Drawn
from press_monitor.screens.widgets.palette import Look

__all__ = ["Choice", "OneOf", "Option"]


@dataclass(frozen=True, slots=True)
class Option:
    """What is chosen, what it is called, and a word on it."""

    value: str
    label: str
    note: str = ""


class OneOf:
    """What every choice of one among a few does. Its widget gives `_choose`, which draws and tells."""

    options: tuple[Option, ...]
    chosen: int

    @property
    def value(self) -> str:
        """The chosen option's name, empty where there is none."""
        return self.options[self.chosen].value if self.options else ""

    def action_step(self, step: int) -> None:
        """The option beside."""
        if self.options:
            self._choose((self.chosen + step) % len(self.options))

    def action_pick(self, number: int) -> None:
        """The option of that number."""
        if number <= len(self.options):
            self._choose(number - 1)

    def _choose(self, number: int) -> None:
        raise NotImplementedError


class Choice(OneOf, Drawn, can_focus=True):
    """A list of options with one chosen. `listed`: each on a line of its own with its digit; else one line, Left and
    Right to change.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("left", "step(-1)", "Option before"),
        Binding("right", "step(1)", "Next option"),
        *(Binding(str(n), f"pick({n})", show=False) for n in range(1, 10)),
    ]

    class Changed(Message):
        """Another option was chosen."""

    def __init__(self, options: Sequence[Option], chosen: int = 0, *, listed: bool = False) -> None:
        super().__init__()
        self.options = tuple(options)
        self.chosen = chosen
        self.listed = listed

    def get_content_height(self, container: Size, viewport: Size, width: int) -> int:
        """A line an option where they are listed."""
        return max(1, len(self.options)) if self.listed else 1

    def key(self) -> Hashable:
        """Options, the chosen one, focus."""
        return (self.options, self.chosen, self.has_focus)

    def draw(self, width: int, height: int, look: Look) -> Cells:
        """Draw the options; the chosen one carries a sign, and a lighter ground while in focus."""
        palette, signs = look.palette, look.signs
        cells = Cells(width, height, palette.raised, palette.text)
        if not self.listed:
            if self.has_focus:
                cells.fill(0, 0, width, 1, palette.track)
            option = self.options[self.chosen] if self.options else Option("", "none in the shop file")
            at = cells.text(1, 0, option.label, palette.text, bold=True)
            cells.text(at + 1, 0, option.note, palette.dim if not self.has_focus else palette.text)
            if len(self.options) > 1:
                cells.right(width - 1, 0, f"{self.chosen + 1} of {len(self.options)}, Left Right", palette.dim)
            return cells
        size = max((width_of(option.label) for option in self.options), default=0)
        for row, option in enumerate(self.options[:height]):
            chosen = row == self.chosen
            if chosen and self.has_focus:
                cells.fill(0, row, width, 1, palette.track)
            sign = signs.fine if chosen else " "
            cells.text(1, row, f"{sign} {row + 1}", palette.text if chosen else palette.dim, bold=chosen)
            cells.text(6, row, option.label, palette.text, bold=chosen)
            cells.text(8 + size, row, option.note, palette.text if chosen else palette.dim)
        return cells

    def on_click(self, event: events.Click) -> None:
        """The option under the pointer, or the next."""
        if self.listed and event.y < len(self.options):
            self._choose(event.y)
        elif not self.listed:
            self.action_step(1)

    def on_focus(self) -> None:
        """Show where one is."""
        self.touch()

    def on_blur(self) -> None:
        """Show where one is."""
        self.touch()

    def _choose(self, index: int) -> None:
        self.chosen = index
        self.touch()
        self.post_message(self.Changed())

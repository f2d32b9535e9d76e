"""One line of a form: a label, a field that is typed into or picked from, and a remark on what stands in it.

A whole line is one widget, so that a page of twenty opens at once; remarks have a place of their own and move nothing.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import ClassVar

from textual import events
from textual.binding import Binding, BindingType
from textual.geometry import Size
from textual.message import Message

from press_monitor.screens.widgets.cells import Cells, plain, shorten, width_of
from press_monitor.screens.widgets.choice import OneOf, Option
from press_monitor.screens.widgets.drawn import Drawn
from press_monitor.screens.widgets.palette import Look, Tone

__all__ = ["Entry", "FormRow", "Pick", "Remark"]

LABEL = 14
FIELD = 30
_LEAST_REMARK = 14


@dataclass(frozen=True, slots=True)
class Remark:
    """What there is to say of a field, and how it feels; `short` is the same where the line has little room."""

    tone: Tone
    words: str
    short: str = ""

    def fitting(self, room: int) -> str:
        """The words, or the fewer ones where only those fit."""
        return self.short if self.short and width_of(self.words) > room else self.words


class FormRow(Drawn, can_focus=True):
    """A line of a form. `label_width` 0: the label is left out."""

    DEFAULT_CSS = "FormRow { width: 1fr; height: 1; }"

    class Changed(Message):
        """What stands in a field has changed."""

        def __init__(self, row: FormRow) -> None:
            super().__init__()
            self.row = row

        @property
        def control(self) -> FormRow:
            """The row."""
            return self.row

    class Placed(Message):
        """A field with a remark has got another width: the remark may fit now, or no longer."""

    def __init__(self, name: str, label: str, *, label_width: int = LABEL, field_width: int = FIELD) -> None:
        super().__init__(name=name)
        self.label = label
        self.label_width, self.field_width = label_width, field_width
        self.sign_room = 2
        """Cells kept behind the field for a remark's sign, at the least."""
        self.remark: Remark | None = None

    @property
    def value(self) -> str:
        """What stands in the field."""
        raise NotImplementedError

    def field_key(self) -> Hashable:
        """What the field's drawing depends on."""
        raise NotImplementedError

    def draw_field(self, cells: Cells, left: int, right: int, look: Look) -> None:
        """Draw the field between two columns."""
        raise NotImplementedError

    def say(self, remark: Remark | None) -> None:
        """Show another remark."""
        if remark != self.remark:
            self.remark = remark
            self.touch()

    def get_content_height(self, container: Size, viewport: Size, width: int) -> int:
        """One line."""
        return 1

    def key(self) -> Hashable:
        """Label, field, remark, focus."""
        return (self.label, self.field_key(), self.remark, self.has_focus)

    def field_span(self, width: int) -> tuple[int, int]:
        """Where the field lies: first column, and the one after the last."""
        left = self.label_width
        return left, max(left + 4, min(width - self.sign_room, left + self.field_width))

    @property
    def says(self) -> bool:
        """Whether all of the remark stands on the line."""
        if self.remark is None or not self.size:
            return True
        sign = 0 if self.remark.tone is Tone.IDLE else 2
        room = self.size.width - self.field_span(self.size.width)[1] - 1 - sign
        return room >= max(_LEAST_REMARK, width_of(self.remark.fitting(room - 1)) + 1)

    def draw(self, width: int, height: int, look: Look) -> Cells:
        """Label, field, and the remark where there is room for its words, else its sign."""
        palette, signs = look.palette, look.signs
        cells = Cells(width, height, palette.panel, palette.text)
        left, right = self.field_span(width)
        if self.label_width:
            ink = palette.text if self.has_focus else palette.dim
            cells.text(1, 0, self.label, ink, bold=self.has_focus, most=self.label_width - 2)
        # Where panels are as dark as the ground (high contrast), a field is told by the lighter one.
        still = palette.ground if palette.ground != palette.panel else palette.raised
        cells.fill(left, 0, right - left, 1, palette.track if self.has_focus else still)
        self.draw_field(cells, left, right, look)
        if self.remark is not None:
            ink = palette.tone(self.remark.tone)
            quiet = self.remark.tone is Tone.IDLE
            at = right + 1
            if not quiet:
                at = cells.text(at, 0, signs.tone(self.remark.tone), ink, bold=True) + 1
            if width - at >= _LEAST_REMARK:
                words = palette.dim if quiet or self.remark.tone is Tone.FINE else ink
                room = width - at - 1
                cells.text(at, 0, shorten(self.remark.fitting(room), room, signs.ellipsis), words)
        return cells

    def on_resize(self) -> None:
        """Tell where what is said of the field depends on the room."""
        if self.remark is not None and self.remark.tone in (Tone.ALARM, Tone.ATTENTION):
            self.post_message(self.Placed())

    def on_focus(self) -> None:
        """Show where one is."""
        self.touch()

    def on_blur(self) -> None:
        """Show where one is."""
        self.touch()

    def _changed(self) -> None:
        self.touch()
        self.post_message(self.Changed(self))


class Entry(FormRow):
    """A field that is typed into. `known` are proposals: the first that begins so is shown, Right takes it."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("left", "move(-1)", show=False),
        Binding("right", "move(1)", show=False),
        Binding("home", "end(0)", show=False),
        Binding("end", "end(1)", show=False),
        Binding("backspace", "rub(-1)", show=False),
        Binding("delete", "rub(0)", show=False),
        Binding("ctrl+u", "empty", show=False),
    ]

    def __init__(
        self,
        name: str,
        label: str,
        text: str = "",
        *,
        hint: str = "",
        longest: int = 200,
        label_width: int = LABEL,
        field_width: int = FIELD,
    ) -> None:
        super().__init__(name, label, label_width=label_width, field_width=field_width)
        self.text, self.at = text, len(text)
        self.hint, self.longest = hint, longest
        self.known: Sequence[str] = ()

    @property
    def value(self) -> str:
        """The text, as one harmless line."""
        return plain(self.text)

    def put(self, text: str) -> None:
        """Put another text in, without a message."""
        self.text = plain(text)
        self.at = len(self.text)
        self.touch()

    @property
    def proposal(self) -> str:
        """What Right would add."""
        typed = self.text.casefold()
        if not typed or self.at != len(self.text):
            return ""
        found = next((k for k in self.known if k.casefold().startswith(typed) and len(k) > len(typed)), "")
        return found[len(self.text) :]

    def field_key(self) -> Hashable:
        """Text, cursor, proposal."""
        return (self.text, self.at, self.proposal, self.hint)

    def draw_field(self, cells: Cells, left: int, right: int, look: Look) -> None:
        """The text, scrolled so that the cursor shows; a hint where there is none."""
        palette = look.palette
        room = right - left - 2
        if not self.text and not self.has_focus:
            cells.text(left + 1, 0, self.hint, palette.hint, most=room)
            return
        first = 0
        while self.has_focus and width_of(self.text[first : self.at]) > room - 1:
            first += 1
        if not self.has_focus:
            cells.text(left + 1, 0, self.text, palette.text, most=room)
            return
        end = cells.text(left + 1, 0, _cut(self.text[first:], room), palette.text)
        ghost = self.proposal if self.text else self.hint
        cells.text(end, 0, ghost, palette.hint, most=max(0, right - 1 - end))
        spot = left + 1 + width_of(self.text[first : self.at])
        if spot < cells.width:
            cells.ground[0, spot] = palette.text
            cells.ink[0, spot] = palette.ground

    async def _on_key(self, event: events.Key) -> None:
        if event.is_printable and event.character:
            event.stop()
            event.prevent_default()
            self.insert(event.character)

    def on_paste(self, event: events.Paste) -> None:
        """A text from elsewhere, as one harmless line."""
        event.stop()
        self.insert(plain(event.text))

    def insert(self, typed: str) -> None:
        """Put letters in where the cursor stands."""
        if len(self.text) + len(typed) <= self.longest:
            self.text = self.text[: self.at] + typed + self.text[self.at :]
            self.at += len(typed)
            self._changed()

    def on_click(self, event: events.Click) -> None:
        """The cursor under the pointer."""
        left, _ = self.field_span(self.size.width)
        self.at = max(0, min(len(self.text), event.x - left - 1))
        self.touch()

    def action_move(self, step: int) -> None:
        """The letter beside; at the end, take what is proposed."""
        if step > 0 and self.proposal:
            self.insert(self.proposal)
            return
        self.at = max(0, min(len(self.text), self.at + step))
        self.touch()

    def action_end(self, end: int) -> None:
        """To the beginning or the end."""
        self.at = len(self.text) * end
        self.touch()

    def action_rub(self, step: int) -> None:
        """Take a letter out, before or under the cursor."""
        at = self.at + step
        if 0 <= at < len(self.text):
            self.text = self.text[:at] + self.text[at + 1 :]
            self.at = at
            self._changed()

    def action_empty(self) -> None:
        """Take everything out."""
        if self.text:
            self.text, self.at = "", 0
            self._changed()


def _cut(text: str, room: int) -> str:
    while width_of(text) > room:
        text = text[:-1]
    return text


class Pick(OneOf, FormRow):
    """One of a few, shown side by side where they fit; Left and Right, the option's first letter, or its number."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("left", "step(-1)", show=False),
        Binding("right", "step(1)", show=False),
        *(Binding(str(n), f"pick({n})", show=False) for n in range(1, 10)),
    ]

    def __init__(
        self,
        name: str,
        label: str,
        options: Sequence[Option],
        chosen: int = 0,
        *,
        label_width: int = LABEL,
        field_width: int = FIELD,
    ) -> None:
        super().__init__(name, label, label_width=label_width, field_width=field_width)
        self.options = tuple(options)
        self.chosen = chosen

    def put(self, value: str) -> None:
        """Choose by name, without a message; an unknown name chooses nothing else."""
        self.chosen = next((n for n, o in enumerate(self.options) if o.value == value), self.chosen)
        self.touch()

    def offer(self, options: Sequence[Option], value: str) -> None:
        """Other options."""
        self.options, self.chosen = tuple(options), 0
        self.put(value)

    def field_key(self) -> Hashable:
        """Options and the chosen one."""
        return (self.options, self.chosen)

    def _spots(self, left: int, right: int) -> list[tuple[int, int]] | None:
        """Where each option lies; None where they do not fit side by side."""
        spots, at = [], left
        for option in self.options:
            size = width_of(option.label) + 2
            spots.append((at, at + size))
            at += size
        return spots if at <= right and len(self.options) > 1 else None

    def draw_field(self, cells: Cells, left: int, right: int, look: Look) -> None:
        """The chosen one stands out by its ground and by brackets."""
        palette = look.palette
        spots = self._spots(left, right)
        if spots is not None:
            for number, ((first, last), option) in enumerate(zip(spots, self.options, strict=True)):
                chosen = number == self.chosen
                cells.text(first + 1, 0, option.label, palette.text if chosen else palette.dim, bold=chosen)
                if chosen:
                    cells.text(first, 0, "[", palette.text, bold=True)
                    cells.text(last - 1, 0, "]", palette.text, bold=True)
            return
        option = self.options[self.chosen] if self.options else Option("", "none")
        count = f"{self.chosen + 1} of {len(self.options)}" if len(self.options) > 1 and right - left >= 22 else ""
        room = right - left - 2 - (len(count) + 1 if count else 0)
        at = cells.text(left + 1, 0, option.label, palette.text, bold=True, most=room)
        cells.text(at + 1, 0, option.note, palette.dim, most=max(0, left + 1 + room - at - 1))
        cells.right(right - 1, 0, count, palette.dim)

    async def _on_key(self, event: events.Key) -> None:
        """An option by its first letter."""
        letter = (event.character or "").casefold()
        found = [n for n, o in enumerate(self.options) if letter and o.label[:1].casefold() == letter]
        if found and letter.isalpha():
            event.stop()
            event.prevent_default()
            self._choose(next((n for n in found if n > self.chosen), found[0]))

    def on_click(self, event: events.Click) -> None:
        """The option under the pointer, or the next."""
        left, right = self.field_span(self.size.width)
        spots = self._spots(left, right)
        if spots is None:
            if left <= event.x < right:
                self.action_step(1)
            return
        for number, (first, last) in enumerate(spots):
            if first <= event.x < last:
                self._choose(number)

    def _choose(self, number: int) -> None:
        self.chosen = number
        self._changed()

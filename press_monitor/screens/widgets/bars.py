"""The two lines on top that may be loud, and the line of keys at the bottom."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass

from textual import events
from textual.message import Message

from press_monitor.screens.widgets.cells import Cells, shorten, width_of
from press_monitor.screens.widgets.drawn import Drawn
from press_monitor.screens.widgets.palette import Look, Tone

__all__ = ["AlarmBar", "BarWords", "FootWords", "Footline", "Key", "draw_bar", "draw_foot"]


@dataclass(frozen=True, slots=True)
class BarWords:
    """What the bar says. `head` is never cut before `detail`; a loud bar fills both lines with its tone."""

    tone: Tone
    loud: bool
    head: str
    detail: str
    when: str
    second: str
    key: str = ""
    more: str = ""
    short: str = ""
    """The detail in fewer words."""


def draw_bar(words: BarWords, width: int, height: int, look: Look) -> Cells:
    """Two lines: what, how much, since when, and the key; then what to do."""
    palette, signs = look.palette, look.signs
    tone_ink = palette.tone(words.tone)
    ground = tone_ink if words.loud else palette.ground
    cells = Cells(width, height, ground, palette.text)
    strong = palette.on_alarm if words.loud else tone_ink
    soft = palette.on_alarm if words.loud else palette.dim
    alarmed = words.tone in (Tone.ALARM, Tone.ATTENTION)
    sign = f"{signs.tone(words.tone)} " if alarmed else ""
    right = end = width - 1
    if words.key and width >= 60:
        right = cells.right(right, 0, words.key, strong, bold=True) - 2
    when = words.when
    if words.more:
        size = width_of(words.more) + 2
        short = when.partition(" (")[0]
        needed = 3 + width_of(sign + words.head) + width_of(short)
        if 1 + len(sign) + width_of(words.second) > end - size and needed < right - size:
            # What to do is read to its end, sooner than how long ago it began in minutes.
            right = cells.right(right, 0, words.more, strong if alarmed else soft, bold=alarmed) - 2
            when = when if needed - width_of(short) + width_of(when) < right else short
        else:
            end = cells.right(end, 1, words.more, strong if alarmed else soft, bold=alarmed) - 2
    after = cells.text(1, 0, sign + words.head, strong if alarmed else palette.text, bold=True, most=right - 1)
    room = right - after - 2
    when_size = width_of(when)
    if words.detail and room - when_size - 2 >= 12:
        detail = _sentences(words.detail, words.short, room - when_size - 2, signs.ellipsis)
        after = cells.text(after + 2, 0, detail, strong if alarmed else soft)
    if when and right - after - 2 >= when_size:
        cells.text(after + 2, 0, when, strong if alarmed else soft)
    ink = strong if words.loud else palette.text if alarmed else soft
    room = end - 1 - len(sign)
    cells.text(1 + len(sign), 1, _whole_sentences(words.second, room, signs.ellipsis), ink, most=room)
    return cells


def _sentences(words: str, short: str, room: int, ellipsis: str) -> str:
    """As many whole sentences as fit, else the fewer words, else what makes sense of the first sentence."""
    if width_of(words) <= room:
        return words
    end = words.rfind(". ", 0, room) + 1
    return words[:end] if end else shorten(short or words, room, ellipsis)


def _whole_sentences(words: str, room: int, ellipsis: str) -> str:
    """As many whole sentences as fit, where that is most of the room: no "do not" may be left hanging.

    That more is to be read elsewhere is shown where there is a place for it.
    """
    if width_of(words) <= room:
        return words
    end = words.rfind(". ", 0, room) + 1
    if 2 * end < room:
        return words
    return f"{words[:end]} {ellipsis}" if end + 2 <= room else words[:end]


class AlarmBar(Drawn):
    """Two lines that are always there."""

    DEFAULT_CSS = "AlarmBar { dock: top; height: 2; width: 1fr; }"

    class Pressed(Message):
        """The bar was clicked."""

    def __init__(self) -> None:
        super().__init__()
        self.words = BarWords(Tone.IDLE, False, "", "", "", "")

    def say(self, words: BarWords) -> None:
        """Show other words."""
        self.words = words
        self.touch()

    def key(self) -> Hashable:
        """The words."""
        return self.words

    def draw(self, width: int, height: int, look: Look) -> Cells:
        """Draw the words."""
        return draw_bar(self.words, width, height, look)

    def on_click(self) -> None:
        """Let the screen decide."""
        self.post_message(self.Pressed())


@dataclass(frozen=True, slots=True)
class Key:
    """A key, what it does in a word or two, and the action that does it."""

    cap: str
    label: str
    action: str = ""


@dataclass(frozen=True, slots=True)
class FootWords:
    """The bottom line: where one is, keys, the recorder's state, the time. `notice` stands on the line above."""

    place: str
    keys: tuple[Key, ...]
    heart: str
    heart_tone: Tone
    clock: str
    notice: str = ""
    notice_tone: Tone = Tone.IDLE


def draw_foot(words: FootWords, width: int, height: int, look: Look) -> tuple[Cells, list[tuple[int, int, str]]]:
    """The notice line and the key line, and where each key's words lie (first, after last, action)."""
    palette, signs = look.palette, look.signs
    cells = Cells(width, height, palette.ground, palette.text)
    spots: list[tuple[int, int, str]] = []
    row = height - 1
    if words.notice and height > 1:
        ink = palette.tone(words.notice_tone)
        at = cells.text(1, 0, f"{signs.tone(words.notice_tone)} ", ink, bold=True)
        quiet = palette.text if words.notice_tone is Tone.IDLE else ink
        cells.text(at, 0, shorten(words.notice, width - 4, signs.ellipsis), quiet)
    end = cells.right(width - 1, row, words.clock, palette.dim) - 2
    heart_ink = palette.tone(words.heart_tone)
    end = cells.right(end, row, f"{signs.tone(words.heart_tone)} {words.heart}", heart_ink, bold=True) - 2
    at = cells.text(1, row, words.place, palette.text, bold=True) + 2 if words.place else 1
    for key in words.keys:
        size = width_of(key.cap) + 1 + width_of(key.label)
        if at + size > end:
            break
        spots.append((at, at + size, key.action))
        after = cells.text(at, row, key.cap, palette.text, bold=True)
        at = cells.text(after + 1, row, key.label, palette.dim) + (3 if width >= 100 else 2)
    return cells, spots


class Footline(Drawn):
    """The bottom two lines; keys can be clicked."""

    DEFAULT_CSS = "Footline { dock: bottom; height: 2; width: 1fr; }"

    class Chosen(Message):
        """A key's words were clicked."""

        def __init__(self, action: str) -> None:
            super().__init__()
            self.action = action

    def __init__(self) -> None:
        super().__init__()
        self.words = FootWords("", (), "", Tone.IDLE, "")
        self._spots: list[tuple[int, int, str]] = []

    def say(self, words: FootWords) -> None:
        """Show other words."""
        self.words = words
        self.touch()

    def key(self) -> Hashable:
        """The words."""
        return self.words

    def draw(self, width: int, height: int, look: Look) -> Cells:
        """Draw the words and remember where the keys are."""
        cells, self._spots = draw_foot(self.words, width, height, look)
        return cells

    def on_click(self, event: events.Click) -> None:
        """Choose the key under the pointer."""
        for first, last, action in self._spots:
            if event.y == self.size.height - 1 and first <= event.x < last and action:
                self.post_message(self.Chosen(action))

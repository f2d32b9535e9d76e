"""The table of Stores and the facts of one item, drawn."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Hashable, Sequence
from datetime import date

from textual import events
from textual.message import Message

from press_monitor.cure.compound import Compound
from press_monitor.quantities import UnitSystem
from press_monitor.screens.stores.shelf import COMPOUND, ShelfRow
from press_monitor.screens.widgets.cells import Cells, plain, shorten, width_of
from press_monitor.screens.widgets.drawn import Drawn
from press_monitor.screens.widgets.palette import Look, Tone

__all__ = ["ItemPanel", "StoresTable", "draw_item", "draw_shelf"]

_LABEL = 13


def _ink(row: ShelfRow, look: Look) -> int:
    palette = look.palette
    return palette.dim if row.tone in (Tone.FINE, Tone.IDLE) else palette.tone(row.tone)


def draw_shelf(
    rows: Sequence[ShelfRow], first: int, cursor: int, nothing: Sequence[str], width: int, height: int, look: Look
) -> Cells:
    """Heads and rows: what it is, how long it is good, how much of its life is used, and what is wrong.

    Where it is narrow, what is wrong takes the room of what it is, which the panel below says.
    """
    palette = look.palette
    cells = Cells(width, height, palette.panel, palette.text)
    if not rows:
        for line, text in enumerate(nothing, start=1):
            cells.text(2, line, text, palette.text if line == 1 else palette.dim, bold=line == 1, most=width - 3)
        return cells
    name = 3
    roomy = width >= 92
    what = name + (19 if 92 <= width < 110 else 23)
    until = what + (22 if roomy else 0)
    cures = until + 12
    words = cures + 11
    heads = [(name, "Item"), (until, "Good until"), (cures, "Cures")]
    for at, head in [*heads, (what, "What it is")] if roomy else heads:
        cells.text(at, 0, head, palette.dim)
    for line, row in enumerate(rows[first : first + height - 1], start=1):
        here = first + line - 1 == cursor
        if here:
            cells.fill(0, line, width, 1, palette.chosen)
            cells.text(0, line, look.signs.edge, palette.text, bold=True)
        ink = palette.text if row.item is None or row.item.retired is None or row.tone is not Tone.IDLE else palette.dim
        cells.text(1, line, look.signs.tone(row.tone), palette.tone(row.tone), bold=True)
        at = cells.text(name, line, row.kind, palette.dim, most=8)
        cells.text(at + 1, line, plain(row.name), ink, bold=True, most=what - at - 2)
        if roomy:
            cells.text(what, line, row.what, ink, most=until - what - 1)
        cells.text(until, line, str(row.until or ""), ink)
        if row.done is not None:
            cells.text(cures, line, f"{row.done}" + (f" of {row.life}" if row.life else ""), ink, most=10)
        cells.text(
            words,
            line,
            _fitting(row.words, width - words - 1),
            palette.text if here and row.tone is Tone.IDLE else _ink(row, look),
        )
    return cells


def _fitting(words: str, room: int) -> str:
    """Why an item must not be used, without the day, which stands in a column of its own, where room is short."""
    if width_of(words) > room:
        words = re.sub(r"its calibration was due on [-0-9]+", "calibration overdue", words)
    return shorten(words, room)


class StoresTable(Drawn, can_focus=True):
    """Shows the rows it is given."""

    class Moved(Message):
        """The cursor should go to a place, or by some rows."""

        def __init__(self, *, to: int | None = None, by: int = 0) -> None:
            super().__init__()
            self.to, self.by = to, by

    class Opened(Message):
        """The row under the cursor was clicked once more."""

    def __init__(self) -> None:
        super().__init__()
        self.rows: tuple[ShelfRow, ...] = ()
        self.first = self.cursor = 0
        self.nothing: tuple[str, ...] = ()

    def put(self, cursor: int) -> None:
        """Set the cursor, and scroll no more than needed."""
        room = max(1, self.size.height - 1)
        self.cursor = max(0, min(cursor, len(self.rows) - 1))
        self.first = max(0, min(self.first, self.cursor))
        self.first = max(self.first, self.cursor - room + 1)
        self.touch()

    @property
    def row(self) -> ShelfRow | None:
        """The row under the cursor."""
        return self.rows[self.cursor] if self.cursor < len(self.rows) else None

    def key(self) -> Hashable:
        """Rows, place."""
        return (self.rows, self.first, self.cursor, self.nothing)

    def draw(self, width: int, height: int, look: Look) -> Cells:
        """Draw what is in sight."""
        return draw_shelf(self.rows, self.first, self.cursor, self.nothing, width, height, look)

    def on_resize(self) -> None:
        """Keep the cursor in sight."""
        self.put(self.cursor)

    def on_click(self, event: events.Click) -> None:
        """The row under the pointer; once more opens it."""
        row = self.first + event.y - 1
        if event.y < 1 or row >= len(self.rows):
            return
        self.post_message(self.Opened() if row == self.cursor else self.Moved(to=row))

    def on_mouse_scroll_down(self, event: events.MouseScrollDown) -> None:
        """The wheel."""
        self.post_message(self.Moved(by=3))

    def on_mouse_scroll_up(self, event: events.MouseScrollUp) -> None:
        """The wheel."""
        self.post_message(self.Moved(by=-3))


def _facts(row: ShelfRow, units: UnitSystem) -> list[tuple[str, str]]:
    if row.compound is not None:
        return _of_compound(row.compound, units)
    item = row.item
    if item is None:
        return []
    dry = "" if item.dry_time_s is None else f"{item.dry_time_s / 60:g} min"
    life = "" if item.life_cures is None else f"{item.cures_done} of {item.life_cures} cures"
    cures = f"{item.cures} on certificates" + (f", {item.cures_before} before" if item.cures_before else "")
    return [
        ("what it is", plain(item.product)),
        ("compound", plain(item.compound)),
        ("received", _day(item.received)),
        ("good until", _day(item.expires)),
        ("dry time", dry),
        ("life", life),
        ("cures", cures),
        ("calibrated", _day(item.calibrated)),
        ("due", _day(item.calibration_due)),
        ("against", plain(item.calibration_reference)),
        ("out of use", " ".join(part for part in (_day(item.retired), plain(item.retired_why)) if part)),
        ("note", plain(item.note)),
    ]


def _day(day: date | None) -> str:
    return "" if day is None else day.isoformat()


def _of_compound(compound: Compound, units: UnitSystem) -> list[tuple[str, str]]:
    if not compound.judged:
        return [("kind", "cures cold in two parts: not judged")]
    at = units.say_temperature(compound.reference_temperature)
    return [
        ("at", at),
        ("scorch", f"{compound.scorch / 60:g} min"),
        ("tc50", f"{compound.tc50 / 60:g} min"),
        ("tc90", f"{compound.tc90 / 60:g} min"),
        ("reversion", f"{compound.reversion / 60:g} min"),
        ("activation", f"{compound.activation_energy / 1000:g} kJ/mol"),
        ("blow point", f"{100 * compound.blow_point:g} %"),
        ("water", f"activity {compound.water_activity:g}"),
    ]


def draw_item(
    row: ShelfRow | None, history: Sequence[str], width: int, height: int, look: Look, units: UnitSystem
) -> Cells:
    """One item: how it stands, what is known of it, what was entered of it, newest first."""
    palette = look.palette
    cells = Cells(width, height, palette.panel, palette.text)
    if row is None:
        return cells
    cells.text(1, 0, row.title, palette.text, bold=True, most=width - 2)
    y = 1
    if row.words:
        ink = _ink(row, look) if row.tone is not Tone.FINE else palette.text
        for line in textwrap.wrap(row.words, max(8, width - 4))[:3]:
            cells.text(1, y, look.signs.tone(row.tone) if y == 1 else " ", palette.tone(row.tone), bold=True)
            cells.text(3, y, line, ink)
            y += 1
    facts = [(label, text) for label, text in _facts(row, units) if text]
    two = width >= 72 and height < 14
    column = (width - 2) // 2 if two else width - 2
    half = (len(facts) + 1) // 2 if two else len(facts)
    top = y
    for number, (label, text) in enumerate(facts):
        left = 1 + (column if number >= half else 0)
        at = top + (number - half if number >= half else number)
        if at >= height:
            continue
        cells.text(left, at, label, palette.dim, most=_LABEL - 1)
        cells.text(left + _LABEL, at, text, palette.text, most=column - _LABEL - 1)
    y = top + half + 1
    if row.kind == COMPOUND and y < height:
        cells.text(1, y, "Compounds stand in the shop file.", palette.dim, most=width - 2)
    for line in history:
        for text in textwrap.wrap(line, max(8, width - 2), subsequent_indent="  ")[:2]:
            if y < height:
                cells.text(1, y, text, palette.dim, most=width - 2)
                y += 1
    return cells


class ItemPanel(Drawn):
    """The item under the cursor."""

    def __init__(self) -> None:
        super().__init__()
        self.row: ShelfRow | None = None
        self.history: tuple[str, ...] = ()
        self.units = UnitSystem.named("us")

    def say(self, row: ShelfRow | None, history: tuple[str, ...] = ()) -> None:
        """Show another one."""
        self.row, self.history = row, history
        self.touch()

    def key(self) -> Hashable:
        """Which one, and in which units."""
        return (self.row, self.history, self.units)

    def draw(self, width: int, height: int, look: Look) -> Cells:
        """Draw it."""
        return draw_item(self.row, self.history, width, height, look, self.units)

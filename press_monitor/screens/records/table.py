"""The table of certificates: what fits is drawn, the rest is not looked at."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo

from textual import events
from textual.message import Message

from press_monitor.archive.types import CertificateRow
from press_monitor.screens.records.preview import VERDICT_TONES
from press_monitor.screens.widgets.cells import Cells, plain, shorten
from press_monitor.screens.widgets.drawn import Drawn
from press_monitor.screens.widgets.palette import Look, Tone

__all__ = ["RecordTable", "Shown", "draw_table", "say_day"]

_VERDICT = 12
_LEAST_TIRE = 7


@dataclass(frozen=True, slots=True)
class Shown:
    """What the table shows: the rows in sight from number `first` on (None: not read yet), and what is marked.

    `nothing` is said instead of rows where there are none.
    """

    rows: tuple[CertificateRow | None, ...]
    first: int
    cursor: int
    marked: frozenset[int]
    zone: tzinfo | None
    nothing: tuple[str, ...] = ()


def say_day(utc: float, zone: tzinfo | None, *, year: bool = True) -> str:
    """``2031-05-04 16:20`` on the shop's clock."""
    when = datetime.fromtimestamp(utc, UTC).astimezone(zone)
    return when.strftime("%Y-%m-%d %H:%M" if year else "%m-%d %H:%M")


def since_words(row: CertificateRow, alarm: str) -> str:
    """What was entered since, in a few words; a comeback wears the sign."""
    back = f"{alarm} came back: {plain(row.comeback)}" if row.comeback else ""
    return "; ".join(filter(None, (back, f"inspected: {plain(row.inspection)}" if row.inspection else "")))


def draw_table(shown: Shown, width: int, height: int, look: Look) -> Cells:
    """Heads and rows; columns are left out from the right where there is no room."""
    palette = look.palette
    cells = Cells(width, height, palette.panel, palette.text)
    if shown.nothing:
        for at, words in enumerate(shown.nothing, start=1):
            cells.text(2, at, words, palette.text if at == 1 else palette.dim, bold=at == 1, most=width - 3)
        return cells
    year = width >= 74
    when = 3 + 7
    press = when + (18 if year else 13)
    verdict = press + 6
    tire = verdict + _VERDICT + 2
    wide = width >= 100
    since = width - min(36, max(30, width // 4)) if wide else width
    customer = tire + (since - tire) // 2 if width >= 118 else since
    cells.right(when - 1, 0, "No.", palette.dim)
    heads = [(when, "Started"), (press, "Press"), (verdict, "Verdict"), (tire, "Tire, place")]
    if customer < since:
        heads.append((customer, "Customer"))
    if wide:
        heads.append((since, "Since then"))
    for at, head in heads:
        cells.text(at, 0, head, palette.dim, most=width - at)
    for line, row in enumerate(shown.rows[: height - 1], start=1):
        here = shown.first + line - 1 == shown.cursor
        if here:
            cells.fill(0, line, width, 1, palette.chosen)
        ink = palette.text
        if row is None:
            cells.text(3, line, "reading", palette.dim)
            continue
        if here:
            cells.text(0, line, look.signs.edge, palette.text, bold=True)
        if row.number in shown.marked:
            cells.text(1, line, look.signs.done, palette.cure, bold=True)
        cells.right(when - 1, line, str(row.number), ink, bold=here)
        cells.text(when, line, say_day(row.started_utc, shown.zone, year=year), palette.text if here else palette.dim)
        cells.text(press, line, plain(row.press), ink, most=5)
        tone = VERDICT_TONES.get(row.verdict, Tone.IDLE)
        at = cells.text(verdict, line, look.signs.tone(tone), palette.tone(tone), bold=True)
        cells.text(at + 1, line, plain(row.verdict), palette.tone(tone), bold=here, most=_VERDICT - 1)
        words = ", ".join(plain(part) for part in (row.tire or row.size, row.section) if part)
        back = ""
        if row.comeback and not wide:
            back = f"{look.signs.alarm} came back "
        at = cells.text(tire, line, back, palette.attention, bold=True)
        room = customer - at - 1
        if not back or room >= _LEAST_TIRE:  # the preview has it whole
            cells.text(at, line, shorten(words or "no ticket", room), ink if words else palette.dim)
        if customer < since:
            cells.text(customer, line, plain(row.customer), ink, most=since - customer - 1)
        if wide and (said := since_words(row, look.signs.alarm)):
            ink = palette.attention if row.comeback else palette.dim
            cells.text(since, line, shorten(said, width - since - 1), ink)
    return cells


class RecordTable(Drawn, can_focus=True):
    """Shows what it is told; moving is asked of the screen."""

    class Moved(Message):
        """The cursor should go to a place, or by some rows."""

        def __init__(self, *, to: int | None = None, by: int = 0) -> None:
            super().__init__()
            self.to, self.by = to, by

    class Opened(Message):
        """The row under the cursor was clicked once more."""

    def __init__(self, rows: Callable[[int], CertificateRow | None], size: Callable[[], int]) -> None:
        super().__init__()
        self._row, self._count = rows, size
        self.first = self.cursor = 0
        self.marked: frozenset[int] = frozenset()
        self.zone: tzinfo | None = None
        self.nothing: tuple[str, ...] = ()

    @property
    def room(self) -> int:
        """Rows that fit."""
        return max(1, self.size.height - 1)

    def put(self, cursor: int) -> None:
        """Set the cursor, and scroll no more than needed to keep it in sight."""
        self.cursor = max(0, min(cursor, self._count() - 1))
        self.first = max(0, min(self.first, self.cursor))
        self.first = max(self.first, self.cursor - self.room + 1)
        self.touch()

    def shown(self) -> Shown:
        """What stands in sight."""
        last = min(self._count(), self.first + self.room)
        rows = tuple(self._row(n) for n in range(self.first, last))
        return Shown(rows, self.first, self.cursor, self.marked, self.zone, self.nothing)

    def key(self) -> Hashable:
        """All of it."""
        return self.shown()

    def draw(self, width: int, height: int, look: Look) -> Cells:
        """Draw the rows in sight."""
        return draw_table(self.shown(), width, height, look)

    def on_resize(self) -> None:
        """Keep the cursor in sight."""
        self.put(self.cursor)

    def on_click(self, event: events.Click) -> None:
        """The row under the pointer; once more opens it."""
        row = self.first + event.y - 1
        if event.y < 1 or row >= self._count():
            return
        if row == self.cursor:
            self.post_message(self.Opened())
        else:
            self.post_message(self.Moved(to=row))

    def on_mouse_scroll_down(self, event: events.MouseScrollDown) -> None:
        """The wheel."""
        self.post_message(self.Moved(by=3))

    def on_mouse_scroll_up(self, event: events.MouseScrollUp) -> None:
        """The wheel."""
        self.post_message(self.Moved(by=-3))

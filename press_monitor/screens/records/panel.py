"""The preview: a certificate's verdict with its reasons, its curves, its ticket, what was entered since."""

from __future__ import annotations

import textwrap
from collections.abc import Hashable
from datetime import tzinfo

from press_monitor.quantities import UnitSystem
from press_monitor.screens.records.curves import sealed_bag, sealed_mats
from press_monitor.screens.records.preview import VERDICT_TONES, Preview
from press_monitor.screens.records.table import say_day
from press_monitor.screens.widgets.canvas import draw_chart
from press_monitor.screens.widgets.cells import Cells, plain, shorten, width_of
from press_monitor.screens.widgets.drawn import Drawn
from press_monitor.screens.widgets.gauges import cure_gauge
from press_monitor.screens.widgets.palette import Look, Tone
from press_monitor.screens.words import kind_words

__all__ = ["PreviewPanel", "draw_preview"]

_LABEL = 8


class _Column:
    """Writes lines downwards in a part of the grid, and stops at its end."""

    def __init__(self, cells: Cells, left: int, right: int, top: int, bottom: int) -> None:
        self.cells, self.left, self.right, self.y, self.bottom = cells, left, right, top, bottom

    @property
    def width(self) -> int:
        return self.right - self.left

    @property
    def room(self) -> int:
        return self.bottom - self.y

    def line(self, text: str, ink: int, *, bold: bool = False, indent: int = 0) -> None:
        if self.room > 0:
            self.cells.text(self.left + indent, self.y, text, ink, bold=bold, most=self.width - indent)
            self.y += 1

    def wrapped(self, text: str, ink: int, *, most: int, mark: str = "", mark_ink: int | None = None) -> None:
        """Text over at most `most` lines; a cut shows."""
        if not text or most < 1:
            return
        indent = width_of(mark)
        lines = textwrap.wrap(text, max(8, self.width - indent)) or [""]
        kept = lines[:most]
        if len(lines) > most:
            kept[-1] = shorten(" ".join(lines[most - 1 :]), self.width - indent)
        for number, line in enumerate(kept):
            if number == 0 and mark and self.room > 0:
                self.cells.text(self.left, self.y, mark, ink if mark_ink is None else mark_ink, bold=True)
            self.line(line, ink, indent=indent)

    def gap(self, *, least: int = 1) -> None:
        if self.room > least:
            self.y += 1


def draw_preview(
    preview: Preview | None, wanted: str, width: int, height: int, look: Look, units: UnitSystem, zone: tzinfo | None
) -> Cells:
    """The preview in any size: below the table with the curves at its right, beside it with the curves in it."""
    palette = look.palette
    cells = Cells(width, height, palette.panel, palette.text)
    if preview is None:
        cells.text(1, 0, wanted, palette.dim, most=width - 2)
        return cells
    beside = height < 16 and width >= 66
    chart = min(44, width * 45 // 100) if beside else 0
    column = _Column(cells, 1, width - chart - 1, 0, height)
    _head(column, preview, look, zone)
    _verdict(column, preview, look, units, short=beside)
    if beside:
        _charts(cells, preview, look, units, width - chart, 0, chart, height)
    else:
        size = max(6, min(16, height * 38 // 100)) if height >= 14 else 0
        if size:
            column.gap()
            _charts(cells, preview, look, units, 1, column.y, width - 2, min(size, column.room))
            column.y += min(size, column.room)
            column.gap()
    _rest(column, preview, look)
    return cells


def _head(column: _Column, preview: Preview, look: Look, zone: tzinfo | None) -> None:
    row, palette = preview.row, look.palette
    head = f"Certificate {row.number}"
    at = column.cells.text(column.left, column.y, head, palette.text, bold=True, most=column.width)
    when = f"press {plain(row.press)}, {say_day(row.started_utc, zone)}"
    column.cells.text(at + 2, column.y, when, palette.dim, most=column.right - at - 2)
    column.y += 1
    for banner in preview.banners:
        column.line(banner, palette.attention)


def _verdict(column: _Column, preview: Preview, look: Look, units: UnitSystem, *, short: bool) -> None:
    palette = look.palette
    tone = VERDICT_TONES.get(preview.verdict, Tone.IDLE)
    ink = palette.tone(tone)
    word = f"{look.signs.tone(tone)} {preview.verdict.upper()}"
    at = column.cells.text(column.left, column.y, word, ink, bold=True, most=column.width)
    if figures := preview.figures(units):
        column.cells.text(at + 2, column.y, shorten(figures, column.right - at - 2), palette.text)
    column.y += 1
    if not short:
        column.wrapped(preview.words, palette.dim, most=2)
    each = 1 if short else 3
    for number, reason in enumerate(preview.reasons[: 2 if short else 6]):
        # The first is read to its end, even where room is short.
        column.wrapped(reason, palette.text, most=max(each, 2) if number == 0 else each, mark="- ", mark_ink=ink)
    left = len(preview.reasons) - (2 if short else 6)
    if left > 0:
        column.line(f"and {left} more", palette.dim, indent=2)
    if not short and preview.cure is not None and preview.required is not None and column.width >= 30:
        value, low, high = preview.cure
        column.cells.paste(
            cure_gauge(value, low, high, None, preview.required, column.width, look), column.left, column.y
        )
        column.y += 1


def _charts(
    cells: Cells, preview: Preview, look: Look, units: UnitSystem, left: int, top: int, width: int, height: int
) -> None:
    """Mats over their band, the bag below them where there is room."""
    palette = look.palette
    if preview.partial:
        return
    if preview.trouble or not preview.tracks:
        words = preview.trouble or "no readings were kept"
        for line, text in enumerate(textwrap.wrap(plain(words), max(8, width - 2))[:height]):
            cells.text(left, top + line, text, palette.attention)
        return
    at = left + 5
    for name, ink in (("inner", palette.inner), ("outer", palette.outer), ("bag", palette.bag)):
        at = cells.text(at, top, look.signs.dash, ink, bold=True)
        at = cells.text(at + 1, top, name, palette.dim) + 2
    rest = height - 1
    bag = max(3, rest // 3) if rest >= 7 else 0
    mats = sealed_mats(preview, units, look, x_axis=not bag)
    cells.paste(draw_chart(mats, width, rest - bag, look), left, top + 1)
    if bag:
        cells.paste(draw_chart(sealed_bag(preview, units, look), width, bag, look), left, top + 1 + rest - bag)


def _rest(column: _Column, preview: Preview, look: Look) -> None:
    """Later entries before the ticket: what happened since matters more than what was written before."""
    palette, signs = look.palette, look.signs
    for line in preview.later[-max(2, column.room // 2) :]:
        tone = Tone.IDLE if line.tone is None else line.tone
        ink = palette.text if tone in (Tone.IDLE, Tone.FINE, Tone.DONE) else palette.tone(tone)
        column.wrapped(line.text, ink, most=2, mark=f"{signs.tone(tone)} ", mark_ink=palette.tone(tone))
    if not preview.ticketed and not preview.partial:
        words = "No ticket: what was repaired is not recorded. J attaches one."
        column.wrapped(words, palette.attention, most=2)
    if preview.alarms:
        said = ", ".join(f"{kind_words(kind).lower()} at {minute:.0f} min" for minute, kind, _ in preview.alarms[:6])
        _fact(column, "alarms", said, look, 2)
    for fact in preview.facts:
        _fact(column, fact.label, fact.text, look, 2)


def _fact(column: _Column, label: str, text: str, look: Look, most: int) -> None:
    if column.room <= 0:
        return
    palette = look.palette
    column.cells.text(column.left, column.y, label, palette.dim, most=_LABEL - 1)
    inner = _Column(column.cells, column.left + _LABEL, column.right, column.y, column.bottom)
    inner.wrapped(text, palette.text, most=most)
    column.y = max(column.y + 1, inner.y)


class PreviewPanel(Drawn):
    """Shows the certificate under the cursor as soon as it has been read."""

    def __init__(self) -> None:
        super().__init__()
        self.preview: Preview | None = None
        self.wanted = ""
        self.units = UnitSystem.named("us")
        self.zone: tzinfo | None = None
        self._version = 0

    def say(self, preview: Preview | None, wanted: str = "") -> None:
        """Show another one, or say which is being read."""
        if preview is not self.preview or wanted != self.wanted:
            self.preview, self.wanted = preview, wanted
            self._version += 1
        self.touch()

    def key(self) -> Hashable:
        """Which one, and in which units."""
        return (self._version, self.units)

    def draw(self, width: int, height: int, look: Look) -> Cells:
        """Draw it."""
        return draw_preview(self.preview, self.wanted, width, height, look, self.units, self.zone)

"""Setting type: from items to rows of known height."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from press_monitor.certificate.figure import INK, QUIET, figure
from press_monitor.certificate.model import Chart, Code, Grid, Item, Pair, Section, Words
from press_monitor.certificate.pdf_fonts import Fonts
from press_monitor.certificate.pdf_pages import Row
from press_monitor.certificate.pdf_sheet import Sheet

__all__ = ["TINTS", "Density", "Setter"]

LEADING: Final = 1.34
LINE: Final = "#c9c9c9"
CODE_SIDE: Final = 112.0
WHOLE_TABLE: Final = 8
"""Lines of a table that is not broken over two pages."""

# Verdict: ink, tint behind it, sign. Word and sign carry it where there is no colour.
TINTS: Final = {
    "pass": ("#17603a", "#eaf4ed", "✔"),
    "exceptions": ("#5c5300", "#f6f3df", "◆"),
    "review": ("#8a4200", "#fbeee0", "▲"),
    "fail": ("#951616", "#f9e6e6", "✘"),
    "incomplete": ("#4a4a4a", "#eeeeee", "○"),
    "": ("#1f4e8c", "#e9eff7", ""),
}


@dataclass(frozen=True, slots=True)
class Density:
    """How closely a page is set: a factor for type, heights of charts, and the most lines of one text (0: all)."""

    scale: float = 1.0
    chart: float = 158.0
    half: float = 132.0
    most_lines: int = 0
    most_bullets: int = 0


class Setter:
    """Sets items into a column of one width."""

    def __init__(self, fonts: Fonts, width: float, density: Density, verdict: str = "") -> None:
        self.fonts, self.width, self.density = fonts, width, density
        self.tint = TINTS.get(verdict, TINTS[""])
        self.size = 8.3 * density.scale
        self.small = 7.3 * density.scale

    def narrowed(self, width: float) -> Setter:
        """The same in another width."""
        made = Setter(self.fonts, width, self.density)
        made.tint = self.tint
        return made

    # -- text --

    def lines(self, text: str, size: float, width: float, bold: bool = False, *, short: bool = False) -> list[str]:
        """A text's lines; of a `short` one no more than the density allows, the last telling that there were more."""
        lines = self.fonts.wrap(text, size, width, bold)
        limit = self.density.most_lines
        if short and limit and len(lines) > limit:
            lines = [*lines[: limit - 1], self.fonts.fit(lines[limit - 1] + " …" + "…" * 40, size, width, bold)]
            lines[-1] = lines[-1].rstrip("… ") + " …"
        return lines

    def text_rows(
        self,
        text: str,
        size: float,
        *,
        bold: bool = False,
        ink: str = INK,
        indent: float = 0.0,
        bullet: str = "",
        after: float = 0.0,
        backed: bool = False,
        short: bool = False,
    ) -> list[Row]:
        """A paragraph; a `backed` one lies on the panel of the verdict's colour, a `short` one may lose its end."""
        pad = 9.0 if backed else 0.0
        left = pad + indent
        lines = self.lines(text, size, self.width - left - (8.0 if backed else 0.0), bold, short=short)
        high = size * LEADING
        rows = []
        for number, line in enumerate(lines):
            more = after if number == len(lines) - 1 else 0.0
            mark = bullet if number == 0 else ""

            def paint(sheet: Sheet, x: float, y: float, line: str = line, mark: str = mark, more: float = more) -> None:
                if backed:
                    self.backdrop(sheet, x, y, high + more)
                if mark:
                    sheet.text(x + left - 8.0, y + size, mark, size, ink=QUIET)
                sheet.text(x + left, y + size, line, size, bold=bold, ink=ink)

            # Neither a first nor a last line alone on its page.
            keep = number in (0, len(lines) - 2) and len(lines) > 1
            rows.append(Row(high + more, paint, keep=keep and number != len(lines) - 1))
        return rows

    def backdrop(self, sheet: Sheet, x: float, y: float, height: float) -> None:
        """The panel behind a verdict, one strip of it."""
        ink, tint, _ = self.tint
        sheet.box(x, y - 0.2, self.width, height + 0.4, tint)
        sheet.box(x, y - 0.2, 3.0, height + 0.4, ink)

    def blank_panel(self, height: float) -> Row:
        """Air inside the panel."""
        return Row(height, lambda sheet, x, y: self.backdrop(sheet, x, y, height), keep=True)

    # -- sections --

    def section(self, section: Section) -> list[Row]:
        """Heading and items."""
        rows = [Row(9.0 * self.density.scale), self.heading(section.title, section.key)]
        return [*rows, *self.items(section.items)]

    def heading(self, title: str, key: str) -> Row:
        """A section's title over a hairline."""
        size = 9.6 * self.density.scale

        def paint(sheet: Sheet, x: float, y: float) -> None:
            sheet.bookmark(key, title, y)
            sheet.text(x, y + size, self.fonts.fit(title, size, self.width, True), size, bold=True)
            sheet.line(x, y + size + 3.5, x + self.width, y + size + 3.5, LINE, 0.6)

        return Row(size + 8.0 * self.density.scale, paint, keep=True)

    def panel(self, items: Sequence[Item], sign: str = "", title: str = "") -> list[Row]:
        """Items on the verdict's colour, the first strong words large and with the verdict's sign.

        A `title` stands small above them. Bound together, so that a page never breaks right after the word.
        """
        rows = [self.blank_panel(6.0)]
        if title:
            rows += self.text_rows(title, self.small, ink=QUIET, backed=True)
        first = True
        bullets = 0
        for item in items:
            if not isinstance(item, Words):
                continue
            if item.strong and first:
                said = f"{sign} {item.text}" if sign else item.text
                size = self.size * (1.65 if self.width > 320 else 1.35)
                rows += self.text_rows(said, size, bold=True, ink=self.tint[0], after=1.5, backed=True, short=True)
                first = False
            elif item.bullet:
                bullets += 1
                if self.density.most_bullets and bullets > self.density.most_bullets:
                    continue
                rows += self.text_rows(item.text, self.size, indent=9.0, bullet="•", after=1.0, backed=True, short=True)
            else:
                rows += self.text_rows(
                    item.text, self.size, bold=item.strong, after=1.0, backed=True, short=item.strong
                )
        hidden = bullets - self.density.most_bullets
        if self.density.most_bullets and hidden > 0:
            said = f"and {hidden} more in the shop's copy"
            rows += self.text_rows(said, self.size, indent=9.0, bullet="•", backed=True)
        rows = [replace(row, keep=True) for row in rows[:4]] + rows[4:]
        return [*rows, replace(self.blank_panel(6.0), keep=False)]

    def items(self, items: Sequence[Item]) -> list[Row]:
        """Rows of a section's items."""
        rows: list[Row] = []
        i = 0
        while i < len(items):
            item = items[i]
            match item:
                case Pair():
                    end = i
                    while end < len(items) and isinstance(items[end], Pair):
                        end += 1
                    rows += self.pairs([each for each in items[i:end] if isinstance(each, Pair)])
                    i = end
                    continue
                case Words():
                    rows += self._words(item, i + 1 < len(items))
                case Grid():
                    rows += self.grid(item)
                case Chart():
                    following = items[i + 1] if i + 1 < len(items) else None
                    if item.half and isinstance(following, Chart) and following.half:
                        rows.append(self.charts(item, following))
                        i += 1
                    else:
                        rows.append(self.charts(item))
                case Code():
                    rows.append(self.sealed(item, items[i + 1 :]))
                    return rows
            i += 1
        return rows

    def _words(self, item: Words, more: bool) -> list[Row]:
        if item.bullet:
            return self.text_rows(item.text, self.size, indent=9.0, bullet="•", after=1.2)
        above = [Row(2.5)] if item.strong else []
        rows = [*above, *self.text_rows(item.text, self.size, bold=item.strong, after=1.2)]
        # A line that introduces what follows stays with it.
        return [*rows[:-1], replace(rows[-1], keep=more)]

    def pairs(self, pairs: Sequence[Pair]) -> list[Row]:
        """Labels and values, two pairs to a line where both are short."""
        rows: list[Row] = []
        label = 86.0 * self.density.scale if self.width > 300 else 70.0 * self.density.scale
        column = (self.width - 14.0) / 2
        i = 0
        while i < len(pairs):
            pair = pairs[i]
            following = pairs[i + 1] if i + 1 < len(pairs) else None
            two = [pair] if following is None else [pair, following]
            if self.width > 300 and len(two) == 2 and all(self._short(each, label, column) for each in two):
                rows += self._pair_rows([(two[0], 0.0), (two[1], column + 14.0)], label, column)
                i += 2
                continue
            rows += self._pair_rows([(pair, 0.0)], label, self.width)
            i += 1
        return rows

    def _short(self, pair: Pair, label: float, column: float) -> bool:
        text = self.fonts.clean(pair.value)
        named = self.fonts.width(self.fonts.clean(pair.label), self.small) <= label - 4.0
        return named and not pair.exact and self.fonts.width(text, self.size) <= column - label

    def _pair_rows(self, pairs: Sequence[tuple[Pair, float]], label: float, column: float) -> list[Row]:
        high = self.size * LEADING + 0.6
        rows: list[Row] = []
        for pair, at in pairs:
            size = self.small if pair.exact else self.size
            name = self.lines(pair.label, self.small, label - 4.0, short=True)
            said = self.lines(pair.value, size, column - label, short=not pair.exact)
            for number in range(max(len(name), len(said))):
                left = name[number] if number < len(name) else ""
                right = said[number] if number < len(said) else ""

                def paint(
                    sheet: Sheet,
                    x: float,
                    y: float,
                    left: str = left,
                    right: str = right,
                    at: float = at,
                    size: float = size,
                ) -> None:
                    sheet.text(x + at, y + self.size, left, self.small, ink=QUIET)
                    sheet.text(x + at + label, y + self.size, right, size)

                rows.append(Row(high, paint, keep=number == 0 and max(len(name), len(said)) > 1))
        if len(pairs) == 2:
            return [_side_by_side(rows[0], rows[1])]
        return rows

    # -- tables --

    def grid(self, grid: Grid) -> list[Row]:
        """A table; its head stands again on each page."""
        size, gap = self.small + 0.3, 9.0
        rows = [tuple(self.fonts.clean(cell) for cell in row) for row in (grid.head, *grid.rows)]
        widths = [
            max(6.0, *(self.fonts.width(row[i], size, n == 0) + 0.5 for n, row in enumerate(rows)))
            for i in range(len(grid.head))
        ]
        room = self.width - gap * (len(widths) - 1)
        while sum(widths) > room:
            widest = widths.index(max(widths))
            others = max((w for n, w in enumerate(widths) if n != widest), default=0.0)
            over = sum(widths) - room
            widths[widest] -= min(over, max(widths[widest] - others, over / len(widths), 0.5))
        head = self._grid_row(rows[0], widths, gap, size, grid.numeric, (), True)
        fixed = tuple(replace(row, keep=True) for row in head)
        made = list(fixed)
        for row in rows[1:]:
            made += self._grid_row(row, widths, gap, size, grid.numeric, fixed, False)
        if len(made) <= WHOLE_TABLE:
            made = [replace(row, keep=True) for row in made[:-1]] + made[-1:]
        return [*made, Row(3.0)]

    def _grid_row(
        self,
        row: Sequence[str],
        widths: Sequence[float],
        gap: float,
        size: float,
        numeric: Iterable[int],
        head: tuple[Row, ...],
        bold: bool,
    ) -> list[Row]:
        broken = [self.lines(cell, size, width + 0.1, bold) for cell, width in zip(row, widths, strict=True)]
        deep = max(map(len, broken))
        right = set(numeric)
        rows = []
        for level in range(deep):
            last = level == deep - 1

            def paint(sheet: Sheet, x: float, y: float, level: int = level, last: bool = last) -> None:
                at = x
                for number, lines in enumerate(broken):
                    text = lines[level] if level < len(lines) else ""
                    ink = QUIET if bold else INK
                    if number in right:
                        sheet.text(at + widths[number], y + size, text, size, bold=bold, ink=ink, anchor="end")
                    else:
                        sheet.text(at, y + size, text, size, bold=bold, ink=ink)
                    at += widths[number] + gap
                if last:
                    sheet.line(x, y + size + 3.2, at - gap, y + size + 3.2, LINE, 0.35)

            rows.append(Row(size * 1.25 + (3.2 if last else 0.0), paint, keep=not last and level < 6, head=head))
        return rows

    # -- figures and codes --

    def charts(self, *charts: Chart) -> Row:
        """One chart over the width, or two beside one another."""
        high = self.density.half if len(charts) > 1 or charts[0].half else self.density.chart
        wide = self.width if len(charts) == 1 and not charts[0].half else (self.width - 16.0) / 2

        def paint(sheet: Sheet, x: float, y: float) -> None:
            for number, chart in enumerate(charts):
                sheet.figure(figure(chart, wide, high), x + number * (wide + 16.0), y + 2.0)

        return Row(high + 8.0, paint)

    def sealed(self, code: Code, items: Sequence[Item]) -> Row:
        """The code with its caption and all that follows beside it."""
        beside = self.narrowed(self.width - CODE_SIDE - 10.0)
        rows = [*beside.text_rows(code.caption, self.size, after=3.0), *beside.items(items)]
        high = max(CODE_SIDE + 4.0, sum(row.height for row in rows))

        def paint(sheet: Sheet, x: float, y: float) -> None:
            sheet.code(code.text, x - 4.0, y, CODE_SIDE)
            at = y
            for row in rows:
                if row.paint is not None:
                    row.paint(sheet, x + CODE_SIDE + 10.0, at)
                at += row.height

        return Row(high, paint)


def _side_by_side(first: Row, second: Row) -> Row:
    def paint(sheet: Sheet, x: float, y: float) -> None:
        for row in (first, second):
            if row.paint is not None:
                row.paint(sheet, x, y)

    return Row(max(first.height, second.height), paint)

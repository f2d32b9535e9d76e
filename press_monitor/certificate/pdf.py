"""A certificate as PDF: the shop's copy over as many pages as it needs, the customer's on one, the label on its own.

The same content and installation give the same bytes: no clock, no random id, dates from the record.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from press_monitor.certificate.figure import INK, QUIET
from press_monitor.certificate.model import Certificate, Code, Pair, Section
from press_monitor.certificate.pdf_fonts import fonts
from press_monitor.certificate.pdf_pages import Placed, Row, paginate
from press_monitor.certificate.pdf_rows import LINE, TINTS, Density, Setter
from press_monitor.certificate.pdf_sheet import Sheet

__all__ = ["LABELS", "PAPERS", "render_pdf"]

MM: Final = 72.0 / 25.4
PAPERS: Final = {"letter": (612.0, 792.0), "a4": (210.0 * MM, 297.0 * MM)}
LABELS: Final = {"letter": (288.0, 144.0), "a4": (100.0 * MM, 50.0 * MM)}
MARGIN: Final = 46.0
TOP: Final = 34.0
BOTTOM: Final = 44.0
BANNER: Final = 15.0

DENSITIES: Final = (
    Density(1.0, 118.0, 104.0),
    Density(0.97, 104.0, 92.0),
    Density(0.93, 98.0, 86.0, 3, 6),
    Density(0.90, 92.0, 80.0, 2, 6),
    Density(0.88, 84.0, 74.0, 2, 5),
    Density(0.86, 78.0, 68.0, 2, 4),
    Density(0.86, 74.0, 66.0, 1, 3),
    Density(0.82, 66.0, 60.0, 1, 1),
)
"""Of the customer's copy, until it fits on its page."""


def render_pdf(certificate: Certificate, paper: str) -> bytes:
    """The file. `paper` is ``letter`` or ``a4``; a label has the nearest size of label."""
    if certificate.copy == "label":
        return _label(certificate, LABELS[paper])
    return _Pages(certificate, PAPERS[paper]).render()


def _sheet(certificate: Certificate, size: tuple[float, float]) -> Sheet:
    clean = fonts().clean
    subject = "; ".join((certificate.subtitle, *certificate.banners))
    return Sheet(size, clean(certificate.title), clean(certificate.author), clean(subject), certificate.dated)


class _Pages:
    """The pages of a shop's or a customer's copy."""

    def __init__(self, certificate: Certificate, size: tuple[float, float]) -> None:
        self.certificate, self.size = certificate, size
        self.width = size[0] - 2 * MARGIN
        self.fonts = fonts()
        self.above = TOP + BANNER * len(certificate.banners)
        self.room = size[1] - self.above - BOTTOM

    def render(self) -> bytes:
        sheet = _sheet(self.certificate, self.size)
        pages = self._one_page() if self.certificate.copy == "customer" else self._paginated(Density())
        for number, page in enumerate(pages, start=1):
            self._frame(sheet, number, len(pages))
            for y, row in page:
                if row.paint is not None:
                    row.paint(sheet, MARGIN, self.above + y)
            sheet.next_page()
        return sheet.finish()

    def _one_page(self) -> list[list[Placed]]:
        for density in DENSITIES:
            pages = self._paginated(density)
            if len(pages) == 1:
                break
        return pages

    def _paginated(self, density: Density) -> list[list[Placed]]:
        setter = Setter(self.fonts, self.width, density, self.certificate.verdict)
        rows = self._title(density)
        sections = list(self.certificate.sections)
        if self.certificate.copy == "customer":
            rows += self._customer_top(setter, sections)
        for section in sections:
            if section.key == "verdict":
                rows += [Row(9.0), *setter.panel(section.items, setter.tint[2], section.title)]
                rows += [Row(5.0), *setter.items([item for item in section.items if isinstance(item, Pair)])]
            elif self.certificate.copy == "customer" and section.key in ("job", "inspection"):
                continue
            else:
                rows += setter.section(section)
        return paginate(rows, self.room, self.room)

    def _title(self, density: Density) -> list[Row]:
        big, small = 20.0 * density.scale, 9.0 * density.scale
        title = self.fonts.fit(self.certificate.title, big, self.width, True)
        under = self.fonts.fit(self.certificate.subtitle, small, self.width)

        def paint(sheet: Sheet, x: float, y: float) -> None:
            sheet.text(x, y + big, title, big, bold=True)
            sheet.text(x, y + big + small + 5.0, under, small, ink=QUIET)

        return [Row(big + small + 9.0, paint, keep=True)]

    def _customer_top(self, setter: Setter, sections: list[Section]) -> list[Row]:
        """What was measured and what a person looked at, side by side and apart."""
        verdict = self.certificate.section("verdict")
        sections.remove(verdict)
        half = setter.narrowed((self.width - 12.0) * 0.58)
        person = Setter(self.fonts, self.width - 12.0 - half.width, setter.density)
        left = half.panel(verdict.items, setter.tint[2], "Cure record")
        right = person.panel(self.certificate.section("inspection").items, "", "Inspection")
        job = self.certificate.section("job")
        return [*setter.section(job), Row(6.0), _columns(left, right, half, person)]

    def _frame(self, sheet: Sheet, number: int, pages: int) -> None:
        """What stands on every page: banners on top, which record this is and the page's number below."""
        certificate = self.certificate
        right = self.size[0] - MARGIN
        y = 18.0
        for said in certificate.banners:
            sheet.box(MARGIN, y, self.width, BANNER - 3.0, "#1a1a1a")
            text = self.fonts.fit(said.upper(), 7.6, self.width - 12.0, True)
            sheet.text(self.size[0] / 2, y + 8.9, text, 7.6, bold=True, ink="#ffffff", anchor="middle")
            y += BANNER
        if number > 1:
            said = self.fonts.fit(f"{certificate.author}   {certificate.title}", 7.2, self.width)
            sheet.text(MARGIN, y + 8.0, said, 7.2, ink=QUIET)
        foot = self.size[1] - BOTTOM + 16.0
        sheet.line(MARGIN, foot - 9.0, right, foot - 9.0, LINE, 0.5)
        page = f"page {number} of {pages}"
        room = self.width - self.fonts.width(page, 7.0) - 12.0
        sheet.text(MARGIN, foot, self.fonts.fit(certificate.footer, 7.0, room), 7.0, ink=QUIET)
        sheet.text(right, foot, page, 7.0, ink=QUIET, anchor="end")


def _columns(left: Sequence[Row], right: Sequence[Row], half: Setter, person: Setter) -> Row:
    """Two panels of one height beside one another."""
    high = max(sum(row.height for row in left), sum(row.height for row in right))

    def paint(sheet: Sheet, x: float, y: float) -> None:
        for rows, setter, at in ((left, half, x), (right, person, x + half.width + 12.0)):
            setter.backdrop(sheet, at, y, high)
            down = y
            for row in rows:
                if row.paint is not None:
                    row.paint(sheet, at, down)
                down += row.height

    return Row(high, paint)


def _label(certificate: Certificate, size: tuple[float, float]) -> bytes:
    sheet = _sheet(certificate, size)
    type_ = fonts()
    width, height = size
    side = height - 12.0
    left, room = 9.0, width - side - 16.0
    code = next(item for item in certificate.section("seal").items if isinstance(item, Code))
    sheet.code(code.text, width - side - 4.0, 6.0, side)
    big = 27.0
    while big > 12.0 and type_.width(certificate.title, big, True) > room:
        big -= 1.0
    y = 9.0 + big * 0.78
    sheet.text(left, y, certificate.title, big, bold=True)
    y += 11.0
    sheet.text(left, y, type_.fit(certificate.subtitle, 6.8, room), 6.8, ink=QUIET)
    sign = TINTS.get(certificate.verdict, TINTS[""])[2]
    y += 4.0
    floor = height - 8.0 - 10.0 * len(certificate.banners)
    for pair in (item for item in certificate.section("job").items if isinstance(item, Pair)):
        strong = pair.label == "Cure record"
        words = f"{sign} {pair.label}: {pair.value}" if strong else f"{pair.label}: {pair.value}"
        scale = 8.6 if strong else 7.4
        for line in type_.wrap(words, scale, room, strong)[:2]:
            y += scale * 1.3
            if y <= floor:
                sheet.text(left, y, line, scale, bold=strong, ink=INK)
    y = height - 6.0 - 10.0 * (len(certificate.banners) - 1)
    for said in certificate.banners:
        sheet.box(left - 3.0, y - 7.4, room + 4.0, 9.4, "#1a1a1a")
        text_size = 6.0
        while text_size > 3.5 and type_.width(said.upper(), text_size, True) > room - 2.0:
            text_size -= 0.1
        sheet.text(left, y - 0.6, type_.clean(said.upper()), text_size, bold=True, ink="#ffffff")
        y += 10.0
    sheet.next_page()
    return sheet.finish()

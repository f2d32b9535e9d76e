"""A reportlab canvas seen from its upper left corner, with what a certificate draws: text, figures, codes.

reportlab is imported when the first page is made, never before.
"""

from __future__ import annotations

import io
from typing import Any

from press_monitor.archive.record import epoch_of
from press_monitor.certificate.code import QUIET_ZONE, code_rows
from press_monitor.certificate.figure import INK, Area, Curve, Figure, Label, Rule
from press_monitor.certificate.pdf_fonts import Fonts, fonts
from press_monitor.certificate.scripts import has_right_to_left

__all__ = ["Sheet"]


class Sheet:
    """The pages of one file. Coordinates in points, y downwards."""

    def __init__(self, size: tuple[float, float], title: str, author: str, subject: str, dated: str) -> None:
        from reportlab import rl_config
        from reportlab.pdfgen.canvas import Canvas

        self.width, self.height = size
        self.fonts: Fonts = fonts()
        self._bytes = io.BytesIO()
        # The plain form of a stream is what every reader has read for longest, and a quarter smaller.
        rl_config.useA85 = 0
        self._canvas: Any = Canvas(self._bytes, pagesize=size, pageCompression=1, invariant=1, lang="en")
        self._canvas.setTitle(title)
        self._canvas.setAuthor(author)
        self._canvas.setSubject(subject)
        self._canvas.setCreator("press-monitor")
        self._date(dated)
        self._colours: dict[str, Any] = {}
        self._fill: str | None = None
        self._stroke: tuple[str, float, tuple[float, ...]] | None = None

    def _date(self, dated: str) -> None:
        """The file's own dates and id are the record's, whatever clock or environment this computer has."""
        import hashlib
        import time

        try:
            seconds = int(epoch_of(dated))
        except ValueError:
            seconds = 0
        stamp = self._canvas._doc._timeStamp
        stamp.t, stamp.lt, stamp.tzname = seconds, time.gmtime(seconds), "UTC"
        stamp.YMDhms, stamp.dhh, stamp.dmm = tuple(stamp.lt)[:6], 0, 0
        # The id is a digest of the content; begun anew, since the clock has gone into it already.
        self._canvas._doc.signature = hashlib.md5(usedforsecurity=False)

    def _colour(self, ink: str) -> Any:  # noqa: ANN401 - reportlab's own
        if ink not in self._colours:
            from reportlab.lib.colors import HexColor

            self._colours[ink] = HexColor(ink)
        return self._colours[ink]

    def _filled(self, ink: str) -> None:
        if ink != self._fill:
            self._fill = ink
            self._canvas.setFillColor(self._colour(ink))

    def _stroked(self, ink: str, width: float, dash: tuple[float, ...]) -> None:
        if (ink, width, dash) != self._stroke:
            self._stroke = (ink, width, dash)
            self._canvas.setStrokeColor(self._colour(ink))
            self._canvas.setLineWidth(width)
            self._canvas.setDash(*([list(dash)] if dash else []))

    def text(
        self, x: float, y: float, text: str, size: float, *, bold: bool = False, ink: str = INK, anchor: str = "start"
    ) -> None:
        """One cleaned line with its baseline at `y`."""
        if not text:
            return
        if anchor != "start":
            x -= self.fonts.width(text, size, bold) * (0.5 if anchor == "middle" else 1.0)
        self._filled(ink)
        canvas = self._canvas
        turned = has_right_to_left(text)
        if turned:
            # What is drawn is in visual order; who copies or searches gets the text as it was written.
            written = text.encode("utf-16-be").hex().upper()
            canvas._code.append(f"/Span <</ActualText <FEFF{written}>>> BDC")
        for name, part in self.fonts.drawn(text, bold):
            canvas.setFont(name, size)
            canvas.drawString(x, self.height - y, part)
            x += canvas.stringWidth(part, name, size)
        if turned:
            canvas._code.append("EMC")

    def line(
        self, x1: float, y1: float, x2: float, y2: float, ink: str, width: float = 0.5, dash: tuple[float, ...] = ()
    ) -> None:
        """A straight line."""
        self._stroked(ink, width, dash)
        self._canvas.line(x1, self.height - y1, x2, self.height - y2)

    def box(self, x: float, y: float, width: float, height: float, ink: str) -> None:
        """A filled rectangle."""
        self._filled(ink)
        self._canvas.rect(x, self.height - y - height, width, height, stroke=0, fill=1)

    def figure(self, drawn: Figure, x: float, y: float) -> None:
        """A chart with its upper left corner at `x`, `y`."""
        canvas = self._canvas
        canvas.setLineCap(1)
        canvas.setLineJoin(1)
        for shape in drawn.shapes:
            match shape:
                case Rule():
                    self.line(
                        x + shape.x1, y + shape.y1, x + shape.x2, y + shape.y2, shape.ink, shape.width, shape.dash
                    )
                case Area():
                    self.box(x + shape.x, y + shape.y, shape.width, shape.height, shape.ink)
                case Label():
                    text = self.fonts.clean(shape.text)
                    place = {"bold": shape.strong, "ink": shape.ink, "anchor": shape.anchor}
                    self.text(x + shape.x, y + shape.y, text, shape.size, **place)  # type: ignore[arg-type]
                case Curve():
                    self._stroked(shape.ink, shape.width, shape.dash)
                    down = self.height - y
                    steps = [f"{x + left:.2f} {down - top:.2f} l" for left, top in shape.points]
                    # Written as it stands: a path object a point costs more than all the rest of the page.
                    canvas._code.append(" ".join([steps[0][:-1] + "m", *steps[1:], "S"]))
        canvas.setLineCap(0)
        canvas.setLineJoin(0)

    def code(self, text: str, x: float, y: float, side: float) -> None:
        """A QR code, its white rim included, in a square of `side`."""
        modules, bars = code_rows(text)
        unit = side / (modules + 2 * QUIET_ZONE)
        self.box(x, y, side, side, "#ffffff")
        self._filled("#000000")
        left, top = x + QUIET_ZONE * unit, self.height - y - (QUIET_ZONE + 1.02) * unit
        # Each bar a hair taller than its row, or viewers show seams between rows.
        painted = [
            f"{left + column * unit:.3f} {top - row * unit:.3f} {length * unit:.3f} {1.02 * unit:.3f} re"
            for row, column, length in bars
        ]
        self._canvas._code.append(" ".join([*painted, "f"]))

    def bookmark(self, key: str, title: str, y: float) -> None:
        """An entry of the reader's table of contents that leads to `y` on this page."""
        self._canvas.bookmarkHorizontal(key, 0, self.height - y)
        self._canvas.addOutlineEntry(self.fonts.clean(title), key, level=0, closed=True)

    def next_page(self) -> None:
        """End this page."""
        self._canvas.showPage()
        self._fill, self._stroke = None, None

    def finish(self) -> bytes:
        """The file; the last page must have been ended."""
        self._canvas.save()
        return self._bytes.getvalue()

"""The fonts of the page: measuring, breaking and splitting text by which font has its letters.

Three fonts come with the program (`fonts/README.md`): a condensed sans in two weights with Latin, Greek, Cyrillic,
Armenian, Georgian, Hebrew and Arabic letters, and one with Chinese, Japanese and Korean ones, loaded when first
needed. A letter that none of them has is written as its code, ``[U+0E01]``: seen, rather than lost.
"""

from __future__ import annotations

import unicodedata
from functools import cache
from pathlib import Path
from typing import Any, Final

from press_monitor.certificate.letters import tame
from press_monitor.certificate.scripts import visual

__all__ = ["Fonts", "fonts"]

FOLDER: Final = Path(__file__).with_name("fonts")
PLAIN, BOLD, WIDE = "PressMonitorSans", "PressMonitorSans-Bold", "PressMonitorCJK"
FILES: Final = {
    PLAIN: "DejaVuSansCondensed.ttf",
    BOLD: "DejaVuSansCondensed-Bold.ttf",
    WIDE: "DroidSansFallback.ttf",
}
FIRST_WIDE: Final = 0x1100
"""No letter below it is in the third font only; so most pages never load it."""
MOST_CACHED: Final = 4_000

Font = Any


@cache
def fonts() -> Fonts:
    """The fonts of this process: read once."""
    return Fonts()


class Fonts:
    """Widths in points, lines and runs. Texts are tamed and composed (NFC) by `clean` before they are measured."""

    def __init__(self) -> None:
        self._loaded: dict[str, Font] = {}
        self._widths: dict[tuple[str, bool], float] = {}
        self._plain, self._bold = self._load(PLAIN), self._load(BOLD)

    def _load(self, name: str) -> Font:
        if name not in self._loaded:
            from reportlab.pdfbase import pdfmetrics
            from reportlab.pdfbase.ttfonts import TTFont

            font = TTFont(name, str(FOLDER / FILES[name]), shapable=False)
            pdfmetrics.registerFont(font)
            self._loaded[name] = font
        return self._loaded[name]

    def _font_of(self, letter: str, bold: bool) -> str | None:
        code = ord(letter)
        first, second = (BOLD, PLAIN) if bold else (PLAIN, BOLD)
        for name in (first, second):
            if code in self._loaded[name].face.charToGlyph:
                return name
        if code >= FIRST_WIDE and code in self._load(WIDE).face.charToGlyph:
            return WIDE
        return None

    def clean(self, text: str) -> str:
        """Tamed, composed, and with letters that no font has as their codes."""
        text = tame(text)
        if text.isascii():
            return text
        composed = unicodedata.normalize("NFC", text)
        return "".join(
            c if self._font_of(c, False) else "" if unicodedata.category(c) == "Cf" else f"[U+{ord(c):04X}]"
            for c in composed
        )

    def width(self, text: str, size: float, bold: bool = False) -> float:
        """How wide a cleaned text is."""
        key = (text, bold)
        known = self._widths.get(key)
        if known is None:
            known = sum(self._loaded[name].stringWidth(part, 1000.0) for name, part in self._runs(text, bold)) / 1000.0
            if len(self._widths) > MOST_CACHED:
                self._widths.clear()
            self._widths[key] = known
        return known * size

    def _runs(self, text: str, bold: bool) -> list[tuple[str, str]]:
        own = BOLD if bold else PLAIN
        if text.isascii():
            return [(own, text)] if text else []
        runs: list[tuple[str, str]] = []
        for letter in text:
            name = self._font_of(letter, bold) or own
            if runs and runs[-1][0] == name:
                runs[-1] = (name, runs[-1][1] + letter)
            else:
                runs.append((name, letter))
        return runs

    def drawn(self, text: str, bold: bool = False) -> list[tuple[str, str]]:
        """A cleaned line as (font, text) from left to right, letters in the shapes and the order they are drawn in."""
        return self._runs(visual(text), bold)

    def wrap(self, text: str, size: float, width: float, bold: bool = False) -> list[str]:
        """Cleaned lines no wider than `width`: broken at blanks, inside a word only where it alone is too long."""
        lines: list[str] = []
        line = ""
        for word in self.clean(text).split():
            for piece in self._pieces(word, size, width, bold):
                longer = f"{line} {piece}" if line else piece
                if line and self.width(line, size, bold) + self.width(" " + piece, size, bold) > width:
                    lines.append(line)
                    line = piece
                else:
                    line = longer
        return [*lines, line]

    def _pieces(self, word: str, size: float, width: float, bold: bool) -> list[str]:
        if self.width(word, size, bold) <= width:
            return [word]
        pieces, piece, used = [], "", 0.0
        for letter in word:
            wide = self.width(letter, size, bold)
            if piece and used + wide > width:
                pieces.append(piece)
                piece, used = "", 0.0
            piece += letter
            used += wide
        return [*pieces, piece]

    def fit(self, text: str, size: float, width: float, bold: bool = False) -> str:
        """A cleaned line no wider than `width`, ending in an ellipsis where some of it had to go."""
        text = self.clean(text)
        if self.width(text, size, bold) <= width:
            return text
        kept = ""
        room = width - self.width("…", size, bold)
        for letter in text:
            room -= self.width(letter, size, bold)
            if room < 0:
                break
            kept += letter
        return kept.rstrip() + "…"

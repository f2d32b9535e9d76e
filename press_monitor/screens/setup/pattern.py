"""The test pattern: what this terminal can draw, each kind beside its name, so that a look tells."""

from __future__ import annotations

import math
from collections.abc import Hashable

from textual.app import ComposeResult
from textual.containers import Vertical

from press_monitor.screens.dialogs.dialog import Words
from press_monitor.screens.widgets.canvas import Chart, Curve, View, draw_chart
from press_monitor.screens.widgets.cells import Cells
from press_monitor.screens.widgets.drawn import Drawn
from press_monitor.screens.widgets.palette import Look, Marker, Palette, Signs, Tone

__all__ = ["MARKER_WORDS", "PatternPage", "TestPattern", "draw_pattern"]

MARKER_WORDS = {
    Marker.BRAILLE: ("braille", "fine curves of dots"),
    Marker.BLOCKS: ("blocks", "coarser curves, in every modern font"),
    Marker.ASCII: ("ASCII", "letters only, for any terminal"),
}


class TestPattern(Drawn):
    """Redraws itself with the look in force."""

    __test__ = False  # no test, whatever its name

    def key(self) -> Hashable:
        """Only the look, which is part of every key."""
        return ()

    def draw(self, width: int, height: int, look: Look) -> Cells:
        """Draw it."""
        return draw_pattern(width, height, look)


class PatternPage(Vertical):
    """The pattern between the question it answers and how long the answer holds."""

    def __init__(self) -> None:
        super().__init__(id="terminal", classes="page")

    def compose(self) -> ComposeResult:
        """Question, pattern, how to keep it."""
        yield Words("Which of these is drawn cleanly? Its digit takes it.", classes="question")
        yield TestPattern()
        yield Words(
            "It holds until you close this; PRESS_MONITOR_CHARTS=braille, blocks or ascii keeps it. T: high contrast.",
            classes="soft",
        )


def draw_pattern(width: int, height: int, look: Look) -> Cells:
    """Three curves, the signs, the colours with their names, a ruler of the width."""
    palette = look.palette
    cells = Cells(width, height, palette.panel, palette.text)
    row = 0
    for number, marker in enumerate(Marker, 1):
        name, words = MARKER_WORDS[marker]
        mine = marker is look.marker
        cells.text(1, row, str(number), palette.text, bold=True)
        cells.text(3, row, name, palette.text, bold=mine)
        cells.text(11, row, words + (", in use" if mine else ""), palette.text if mine else palette.dim)
        cells.paste(_curve(max(8, width - 12), 2, marker, palette), 11, row + 1)
        row += 3
    row = _signs(cells, row, look)
    row = _colours(cells, row, palette)
    if row < height:
        cells.text(1, row, "Width", palette.dim)
        ruler = "".join("|" if n % 10 == 0 else "." for n in range(max(0, width - 12)))
        cells.text(11, row, ruler, palette.dim)
    return cells


def _curve(width: int, height: int, marker: Marker, palette: Palette) -> Cells:
    """A wave in two colours, by the very canvas that charts are drawn with."""
    import numpy as np

    x = np.linspace(0.0, 6.0 * math.pi, 6 * width)
    view = View(0.0, float(x[-1]), -1.1, 1.1)
    curves = (Curve(x, np.sin(x), palette.inner, 1.0), Curve(x, np.cos(x), palette.bag, 1.0))
    return draw_chart(Chart(view, curves=curves), width, height, Look(palette, marker))


def _signs(cells: Cells, row: int, look: Look) -> int:
    palette = look.palette
    cells.text(1, row, "Signs", palette.dim)
    at = 11
    words = {Tone.FINE: "fine", Tone.ATTENTION: "attention", Tone.DONE: "done", Tone.IDLE: "idle"}
    for tone, word in words.items():
        at = cells.text(at, row, f"{Signs.of(look.marker).tone(tone)} {word}", palette.tone(tone), bold=True) + 3
    return row + 1


def _colours(cells: Cells, row: int, palette: Palette) -> int:
    cells.text(1, row, "Colours", palette.dim)
    at = 11
    for word, ink in (
        ("inner mat", palette.inner),
        ("outer mat", palette.outer),
        ("bag", palette.bag),
        ("cure", palette.cure),
        ("fine", palette.fine),
    ):
        at = cells.text(at, row, word, ink, bold=True) + 2
    at = cells.text(at, row, " ALARM ", palette.on_alarm, bold=True, ground=palette.alarm)
    return row + 1

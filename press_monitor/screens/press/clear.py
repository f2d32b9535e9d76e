"""What can hurt at a press, and what to do about what is wrong with it."""

from __future__ import annotations

import textwrap

from press_monitor.screens.press.panels import Scene, panel
from press_monitor.screens.reading import standing_alarm, tone_of
from press_monitor.screens.widgets.cells import Cells, plain
from press_monitor.screens.words import kind_words
from press_monitor.watch.types import Phase

__all__ = ["clear_panel"]

_HARMLESS_DEGC, _HARMLESS_PA = 45.0, 5_000.0
_LAST = "Heat off, bag to 0, then ram."


def _whole(words: str, wrap: int, rows: int, ellipsis: str) -> list[str]:
    """As many whole sentences as `rows` lines hold; half a sentence may say the opposite."""
    sentences = words.split(". ")
    for count in range(len(sentences), 0, -1):
        said = ". ".join(sentences[:count]) + (f". {ellipsis}" if count < len(sentences) else "")
        lines = textwrap.wrap(said, wrap)
        if len(lines) <= rows:
            return lines
    return []


def clear_panel(scene: Scene, width: int, height: int) -> Cells:
    """What to do about the worst alarm here, in full; and always what can hurt."""
    look, snapshot, units = scene.look, scene.snapshot, scene.units
    palette = look.palette
    alarm = standing_alarm(snapshot)
    wrap = max(10, width - 2)
    lines: list[tuple[str, int]] = []
    title = "Keep clear"
    if alarm is not None:
        title = f"{look.signs.alarm} {kind_words(alarm.kind)}"
        advice = plain(alarm.advice)
        lines = [(line, palette.text) for line in _whole(advice, wrap, height - 1, look.signs.ellipsis)]
        lines = lines or [(line, palette.text) for line in textwrap.wrap(advice, wrap)]
        told = _whole(plain(alarm.message), wrap, height - 1 - len(lines), look.signs.ellipsis)
        lines += [(line, palette.dim) for line in told]
    else:
        hot = [f.value_degC for f in (snapshot.inner, snapshot.outer) if f and f.value_degC is not None]
        warm = f"Mats {units.say_temperature(max(hot))}, " if hot else ""
        held = f"bag {units.say_pressure(snapshot.bag_Pa)}. " if snapshot.bag_Pa is not None else ""
        if snapshot.phase is not Phase.RELEASED:
            quiet = max(hot, default=0.0) < _HARMLESS_DEGC and (snapshot.bag_Pa or 0.0) < _HARMLESS_PA
            care = "Stand clear once heat or air is on." if quiet else "Both can hurt: stand clear."
            lines += [(line, palette.dim) for line in textwrap.wrap(f"{warm}{held}{care}", wrap)]
    lines += [(line, palette.dim) for line in _whole(_LAST, wrap, height - 1 - len(lines), look.signs.ellipsis)]
    cells = panel(width, height, look, title)
    if alarm is not None:
        cells.text(1, 0, title, palette.tone(tone_of(alarm)), bold=True)
    for row, (line, ink) in enumerate(lines[: height - 1], 1):
        cells.text(1, row, line, ink)
    return cells

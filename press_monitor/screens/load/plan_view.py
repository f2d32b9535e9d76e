"""The plan beside the form: how long, and the map of mat temperature against minutes. Drawing only."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Hashable

from press_monitor.certificate.plan_sheet import GOOD, OVER, PLANNED, UNDER, map_line
from press_monitor.cure.plan import MapRow, Plan
from press_monitor.quantities import UnitSystem
from press_monitor.screens.load.planning import Planned
from press_monitor.screens.widgets.cells import Cells
from press_monitor.screens.widgets.drawn import Drawn
from press_monitor.screens.widgets.palette import Look, Marker, Palette, Tone, mix

__all__ = ["PlanView", "draw_plan", "map_span"]

_HORIZON_MIN = 480.0
_ROOM_FOR_WORDS = 8
"""Cells that a stretch of the map needs before its word is written into it."""


class PlanView(Drawn):
    """Shows the newest plan; while another is being worked out the old one stands, and says so."""

    def __init__(self) -> None:
        super().__init__()
        self.planned: Planned | None = None
        self.working = False
        self.missing = ""
        """Why nothing can be planned; what stands wrong in the form."""
        self.units = UnitSystem.named("us")

    def key(self) -> Hashable:
        """The plan, and what is said beside it."""
        return (self.planned, self.working, self.missing, self.units)

    def draw(self, width: int, height: int, look: Look) -> Cells:
        """Draw it."""
        return draw_plan(self.planned, self.working, self.missing, self.units, width, height, look)


def draw_plan(
    planned: Planned | None, working: bool, missing: str, units: UnitSystem, width: int, height: int, look: Look
) -> Cells:
    """Holds, map, other rules, and what the plan takes for granted; what does not fit is left out from the end."""
    palette = look.palette
    cells = Cells(width, height, palette.panel, palette.text)
    plan = planned.plan if planned is not None else None
    head = f"Plan at {units.say_temperature(plan.mat_degC)} mats" if plan is not None else "Plan"
    cells.text(1, 0, head, palette.text, bold=True)
    if working:
        cells.right(width - 1, 0, "working it out", palette.dim)
    trouble = missing or (planned.trouble if planned is not None else "")
    if trouble or plan is None or planned is None:
        tone = Tone.ATTENTION if trouble else Tone.IDLE
        words = trouble or ("" if working else "Pick the repair, or type its layers.")
        _wrapped(cells, 2, words, palette.tone(tone) if trouble else palette.dim)
        if not trouble:
            return cells
        if plan is None or planned is None or missing:
            return cells
    assert planned is not None
    assert plan is not None
    row = _holds(cells, 1, plan, planned, units, look)
    lines = _words(plan, planned, width - 2)
    longest = len(plan.map) + 2
    room = height - row
    rules = 3 if room >= 9 else 0
    # The map has what the words leave it, but at least six lines of it, and never more than it has rows.
    spread = max(min(longest, room - rules - 1 - len(lines)), min(longest, room - rules - 1, 10))
    if spread >= 4:
        row = draw_map(cells, row + 1, spread, plan, units, look)
    if rules:
        row = _rules(cells, row, plan, palette)
    row += 1
    fitting = lines[: max(0, height - row)]
    for number, (ink, line) in enumerate(fitting, 1):
        cut = number == len(fitting) < len(lines)
        words = f"{line[: width - 4]} {look.signs.ellipsis}" if cut else line
        cells.text(1, row, words, palette.tone(ink) if ink is not Tone.IDLE else palette.dim)
        row += 1
    return cells


def _wrapped(cells: Cells, row: int, words: str, ink: int) -> int:
    for line in textwrap.wrap(words, max(10, cells.width - 2)):
        cells.text(1, row, line, ink)
        row += 1
    return row


def _minutes(value: float | None) -> str:
    return "over 8 h" if value is None else f"{value:.0f} min"


def _holds(cells: Cells, row: int, plan: Plan, planned: Planned, units: UnitSystem, look: Look) -> int:
    """The four holds in two columns, peak and reversion, and whether it works at all; the next free row."""
    palette, signs = look.palette, look.signs
    ok = plan.feasible
    ink = palette.fine if ok else palette.attention
    verdict = "can work" if ok else "NO hold works at this temperature"
    at = cells.text(1, row, signs.tone(Tone.FINE if ok else Tone.ATTENTION), ink, bold=True)
    cells.text(at + 1, row, verdict, ink, bold=True)
    cells.right(cells.width - 1, row, f"to {100 * plan.required:.0f} % at the deepest", palette.dim)
    first, second = max(15, cells.width - 23), max(26, cells.width - 11)
    row += 1
    cells.right(first + 9, row, "nominal", palette.dim)
    cells.right(second + 10, row, "safe edge", palette.dim)
    table = (
        ("Hold", plan.hold_min, plan.hold_min_safe),
        ("with cooling", plan.hold_min_with_cooldown, plan.hold_min_safe_with_cooldown),
    )
    for label, nominal, safe in table:
        row += 1
        strong = label == "Hold"
        cells.text(1, row, label, palette.text if strong else palette.dim)
        cells.right(first + 9, row, _minutes(nominal), palette.text, bold=strong)
        cells.right(second + 10, row, _minutes(safe), palette.text, bold=strong)
    row += 1
    used = plan.reversion_used
    spent = f"{100 * used:.0f} %" if used <= 2.0 else f"{used:.0f} x"
    peak = units.say_temperature(plan.hottest.peak_degC)
    cells.text(1, row, f"hottest peak {peak}", palette.dim)
    cells.right(cells.width - 1, row, f"{spent} reversion", ink if not ok else palette.text)
    if planned.minimum_hold_min is not None:
        row += 1
        cells.text(1, row, "recipe's minimum", palette.dim)
        cells.right(cells.width - 1, row, _minutes(planned.minimum_hold_min), palette.text)
    return row + 1


def map_span(plan: Plan) -> float:
    """Minutes that the map shows, in whole hours: well past this plan's hold, else past the longest good one."""
    wanted = [row.shortest_min for row in plan.map if row.good and row.shortest_min is not None]
    most = 2.0 * plan.hold_min if plan.feasible and plan.hold_min is not None else max(wanted, default=_HORIZON_MIN)
    return min(_HORIZON_MIN, 60.0 * max(2, math.ceil(1.25 * most / 60.0)))


def _shown(plan: Plan, count: int) -> list[MapRow]:
    """At most so many rows, hottest first: those about the planned one, and the hottest, where common practice is."""
    rows = sorted(plan.map, key=lambda r: -r.mat_degC)
    if len(rows) <= count:
        return rows
    mine = next(n for n, r in enumerate(rows) if r.mat_degC == plan.mat_degC)
    first = max(1, min(mine - (count - 1) // 2, len(rows) - count + 1))
    return [rows[0], *rows[first : first + count - 1]]


def draw_map(cells: Cells, row: int, height: int, plan: Plan, units: UnitSystem, look: Look) -> int:
    """The map with its ruler on `height` lines from `row` on; the next free row.

    A stretch has its own ground, its own sign and, where it is long enough, its word.
    """
    palette = look.palette
    left, right = 9, cells.width - 1
    span = map_span(plan)
    across = right - left
    shown = _shown(plan, height - 2)
    words_at = _longest_stretches(shown, span, across)
    for number, each in enumerate(shown):
        mine = each.mat_degC == plan.mat_degC
        sign = (">" if look.marker is Marker.ASCII else "▶") if mine else " "
        cells.text(0, row, sign, palette.text, bold=True)
        cells.right(
            left - 1, row, units.say_temperature(each.mat_degC), palette.text if mine else palette.dim, bold=mine
        )
        line = map_line(each, span, across, plan.hold_min if mine else None)
        for at, letter in enumerate(line):
            glyph, ink, ground = _stretch(letter, palette, look.marker)
            cells.text(left + at, row, glyph, ink, bold=letter == PLANNED, ground=ground)
        for letter, word in ((UNDER, "under"), (GOOD, "good"), (OVER, "over")):
            if words_at.get(letter, (-1, 0))[0] == number:
                start = words_at[letter][1]
                _, ink, ground = _stretch(letter, palette, look.marker)
                strong = palette.text if letter == UNDER else ink
                if letter == GOOD:
                    ink, ground, strong = palette.ground, palette.fine, palette.ground
                cells.text(left + start, row, f" {word} ", strong, bold=True, ground=ground)
        row += 1
    _ruler(cells, row, left, right, span, palette)
    mark = "O" if look.marker is Marker.ASCII else "◆"
    cells.text(left, row + 1, "minutes of hold", palette.dim)
    if plan.hold_min is not None and across >= 32:
        cells.right(right, row + 1, f"{mark} this plan", palette.dim)
    return row + 2


def _stretch(letter: str, palette: Palette, marker: Marker) -> tuple[str, int, int]:
    """Glyph, ink and ground of a sign of the map."""
    ascii_only = marker is Marker.ASCII
    if letter == GOOD:
        return ("#" if ascii_only else "█"), palette.fine, palette.panel if ascii_only else palette.fine
    if letter == OVER:
        return ("x" if ascii_only else "▒"), palette.attention, mix(palette.panel, palette.attention, 0.15)
    if letter == PLANNED:
        return ("O" if ascii_only else "◆"), palette.ground, palette.text
    return ("." if ascii_only else "·"), palette.dim, palette.ground


def _longest_stretches(rows: list[MapRow], span: float, across: int) -> dict[str, tuple[int, int]]:
    """By sign: the row whose stretch of it is longest and where a word in its middle begins, if one has room."""
    found: dict[str, tuple[int, int]] = {}
    for letter in (UNDER, GOOD, OVER):
        best = 0
        for number, row in enumerate(rows):
            line = map_line(row, span, across)
            length = line.count(letter)
            if length > best and length >= _ROOM_FOR_WORDS:
                best = length
                word = {UNDER: 7, GOOD: 6, OVER: 6}[letter]
                found[letter] = (number, line.index(letter) + (length - word) // 2)
    return found


def _ruler(cells: Cells, row: int, left: int, right: int, span: float, palette: Palette) -> None:
    """Minutes under the map: as many labels as there is room for."""
    step = next((s for s in (30, 60, 120, 240) if (right - left) * s / span >= 7), 480)
    for minute in range(0, int(span) + 1, step):
        at = left + round((right - left) * minute / span)
        text = str(minute)
        cells.text(min(at, right - len(text)), row, text, palette.dim)


def _rules(cells: Cells, row: int, plan: Plan, palette: Palette) -> int:
    """What others go by, labelled as what it is."""
    table = (
        ("Government rule", "Gov. rule", "TM 9-2610-200-14", f"{plan.government_rule_min:.0f} min"),
        ("Common practice", "Practice", "450 °F setpoint", "60-90 min"),
    )
    for label, short, source, value in table:
        end = cells.right(cells.width - 1, row, value, palette.text)
        head = label if len(label) + len(source) + 4 <= end - 1 else short
        at = cells.text(1, row, head, palette.dim)
        cells.text(at + 1, row, source, palette.dim, most=end - at - 2)
        row += 1
    return row


def _words(plan: Plan, planned: Planned, width: int) -> list[tuple[Tone, str]]:
    """Advice and cautions, wrapped."""
    found: list[tuple[Tone, str]] = []
    tone = Tone.IDLE if plan.feasible else Tone.ATTENTION
    for first, text in ((tone, plan.advice), *((Tone.IDLE, caution) for caution in planned.cautions)):
        found += [(first, line) for line in textwrap.wrap(text, max(20, width))]
    return found

"""The panels of one press. Each is a pure function of what is known; all return cells of the size asked for."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import tzinfo
from functools import partial

from press_monitor.quantities import UnitSystem
from press_monitor.screens.charts import bag_chart, temperature_chart
from press_monitor.screens.kept import Kept
from press_monitor.screens.lane_words import bag_is_low, face_is_off
from press_monitor.screens.press.cursor import column_of, cure_words, lay_cursor, phase_words, value_words
from press_monitor.screens.press.log import LogLine
from press_monitor.screens.press.past import CurePast
from press_monitor.screens.reading import minutes_left
from press_monitor.screens.source import PressView
from press_monitor.screens.widgets.canvas import Chart, draw_chart
from press_monitor.screens.widgets.cells import Cells, plain, shorten, width_of
from press_monitor.screens.widgets.digits import big_number
from press_monitor.screens.widgets.gauges import cure_gauge
from press_monitor.screens.widgets.palette import Look, Tone
from press_monitor.screens.widgets.section import Layer, Pin, Through, draw_through
from press_monitor.screens.words import band_percent, pressure, say_clock, temperature
from press_monitor.watch.types import Phase, Snapshot, StackView, Verdict

__all__ = [
    "Scene",
    "bag_panel",
    "forecast_panel",
    "log_panel",
    "panel",
    "readout_panel",
    "temperature_panel",
    "through_panel",
]


_VERDICT_TONE = {
    Verdict.PASS: Tone.FINE,
    Verdict.EXCEPTIONS: Tone.DONE,
    Verdict.REVIEW: Tone.ATTENTION,
    Verdict.FAIL: Tone.ALARM,
    Verdict.INCOMPLETE: Tone.ATTENTION,
}


@dataclass(frozen=True, slots=True)
class Scene:
    """What all panels need."""

    view: PressView
    snapshot: Snapshot
    units: UnitSystem
    zone: tzinfo | None
    look: Look
    recent_min: float | None = None
    stack: int = 0
    cursor_min: float | None = None
    """The minute of the cure that is read out, if one is."""
    past: CurePast | None = None
    charts: Kept = field(default_factory=Kept)

    def chart(self, name: str, width: int, height: int, draw: Callable[[], Chart]) -> Cells:
        """A chart, drawn anew only where a dot of it moves."""
        return self.charts.chart(
            name,
            self.view,
            self.snapshot,
            (width, height),
            self.look,
            self.units,
            lambda: draw_chart(draw(), width, height, self.look),
            recent_min=self.recent_min,
            also=self.zone,
        )

    def cursor_column(self, width: int) -> int | None:
        """The column of the cursor in a chart of that width."""
        if self.cursor_min is None:
            return None
        return column_of(self.snapshot, self.cursor_min, width, self.recent_min)


def panel(width: int, height: int, look: Look, title: str) -> Cells:
    """An empty one with its heading."""
    cells = Cells(width, height, look.palette.panel, look.palette.text)
    cells.text(1, 0, title, look.palette.text, bold=True)
    return cells


def _zoom_words(cells: Cells, scene: Scene, at: int) -> None:
    """What part of the cure a chart shows, at the right of its heading where there is room after column `at`."""
    recent = scene.recent_min
    long = "whole cure [Z]" if recent is None else f"last {recent:.0f} min [Z]"
    short = "whole [Z]" if recent is None else f"{recent:.0f} min [Z]"
    words = long if at + len(long) < cells.width else short
    if at + len(words) < cells.width:
        cells.right(cells.width - 1, 0, words, scene.look.palette.dim)


def temperature_panel(scene: Scene, width: int, height: int) -> Cells:
    """Both mats against the band they must keep."""
    look, units, snapshot = scene.look, scene.units, scene.snapshot
    palette = look.palette
    cells = panel(width, height, look, f"Temperature {units.temperature_sign}")
    at = 16
    for name, face, ink in (("inner", snapshot.inner, palette.inner), ("outer", snapshot.outer, palette.outer)):
        at = cells.text(at, 0, f"{look.signs.dash} " if width >= 60 else "", ink)
        value = temperature(face.value_degC if face else None, units)
        at = cells.text(at, 0, f"{name} ", palette.dim)
        if face_is_off(face, snapshot):
            ink = palette.attention
            cells.text(at - 1, 0, look.signs.alarm, ink, bold=True)
        at = cells.text(at, 0, value, ink, bold=True) + 2
    if width >= 60:
        low, high = units.degrees(snapshot.band_low_degC), units.degrees(snapshot.band_high_degC)
        if width >= 80:
            cells.text(at, 0, "  ", palette.dim, ground=palette.band)
            at += 3
        at = cells.text(at, 0, f"band {low:.0f}-{high:.0f}", palette.dim) + 2
    _zoom_words(cells, scene, at)
    chart = partial(
        temperature_chart,
        scene.view,
        snapshot,
        units,
        look,
        recent_min=scene.recent_min,
        zone=scene.zone,
        done_label=True,
    )
    cells.paste(scene.chart("temperature", width - 1, height - 1, chart), 0, 1)
    lay_cursor(cells, scene.cursor_column(width - 1), look)
    return cells


def bag_panel(scene: Scene, width: int, height: int) -> Cells:
    """The bag between its limits, and whether it loses air."""
    look, units, snapshot = scene.look, scene.units, scene.snapshot
    palette = look.palette
    cells = panel(width, height, look, f"Bag {units.pressure}")
    at = cells.text(10, 0, f"{look.signs.dash} " if width >= 60 else "", palette.bag)
    low = bag_is_low(snapshot)
    ink = palette.alarm if low else palette.bag
    if low:
        at += 1 if width >= 60 else 0
        cells.text(at - 1, 0, look.signs.alarm, ink, bold=True)
    at = cells.text(at, 0, pressure(snapshot.bag_Pa, units) + (" LOW" if low else ""), ink, bold=True) + 2
    minimum, maximum = units.pressed(snapshot.bag_minimum_Pa), units.pressed(snapshot.bag_maximum_Pa)
    at = cells.text(at, 0, f"keep {minimum:.0f}-{maximum:.0f}", palette.dim) + 2
    if snapshot.bag_trend_Pa_min is not None:
        trend = units.pressed(snapshot.bag_trend_Pa_min)
        digits = 2 if abs(trend) < 0.995 and units.pressure == "psi" else 1
        cells.text(at, 0, f"{trend:+.{digits}f} {units.pressure}/min", palette.dim, most=width - at)
    chart = partial(bag_chart, scene.view, snapshot, units, look, recent_min=scene.recent_min, strip=height < 7)
    cells.paste(scene.chart("bag", width - 1, height - 1, chart), 0, 1)
    lay_cursor(cells, scene.cursor_column(width - 1), look)
    return cells


def readout_panel(scene: Scene, width: int, height: int) -> Cells:
    """Everything known of the moment under the cursor."""
    look, minute = scene.look, scene.cursor_min or 0.0
    palette = look.palette
    when = say_clock(scene.view.clock(minute * 60.0), scene.zone)
    cells = panel(width, height, look, f"{when}, minute {minute:.1f}")
    phase = phase_words(scene.snapshot, minute)
    at = cells.text(len(f"{when}, minute {minute:.1f}") + 3, 0, phase, palette.dim)
    keys = "Left Right move, Esc leaves"
    if at + len(keys) + 2 < width:
        cells.right(width - 1, 0, keys, palette.dim)
    row, at = 1, 1
    for name, value in value_words(scene.view, scene.units, minute):
        size = width_of(name) + width_of(value) + 1
        if at > 1 and at + size >= width:
            row, at = row + 1, 1
        at = cells.text(at, row, f"{name} ", palette.dim)
        at = cells.text(at, row, value, palette.text, bold=True) + 3
    row += 1
    cells.text(1, row, cure_words(scene.view, scene.past, minute), palette.cure, bold=True, most=width - 2)
    return cells


def log_panel(scene: Scene, lines: Sequence[LogLine], width: int, height: int) -> Cells:
    """This cure so far, newest on top."""
    look = scene.look
    palette = look.palette
    cells = panel(width, height, look, "This cure")
    for row, line in enumerate(lines[: height - 1], 1):
        cells.text(1, row, say_clock(line.utc, scene.zone), palette.text)
        loud = line.tone in (Tone.ALARM, Tone.ATTENTION)
        at = 7
        if loud:
            at = cells.text(at, row, f"{look.signs.alarm} ", palette.tone(line.tone))
        words = shorten(line.words, width - at - 1, look.signs.ellipsis)
        cells.text(at, row, words, palette.tone(line.tone) if loud else palette.dim)
    return cells


def _through(scene: Scene, stack: StackView) -> Through:
    snapshot, units, palette = scene.snapshot, scene.units, scene.look.palette
    shown = [units.degrees(t) for t in stack.temperature_degC]
    step = 20.0
    span = (math.floor(min(shown) / step) * step - step, math.ceil(max(shown) / step) * step + step)
    pins = []
    deepest, hottest = snapshot.deepest, snapshot.hottest
    if stack.deepest_mm is not None and deepest is not None and deepest.stack == stack.name:
        pins.append(
            Pin(
                stack.deepest_mm,
                f"deepest {100 * deepest.state_of_cure:.0f} %",
                f"{band_percent(deepest)}, at {deepest.depth_mm:.0f} mm",
                palette.cure,
            )
        )
    if stack.hottest_mm is not None and hottest is not None and hottest.stack == stack.name:
        used = snapshot.reversion_used
        more = f"reversion {100 * used:.0f} %" if used is not None else ""
        pins.append(Pin(stack.hottest_mm, "hottest", more, palette.inner))
    return Through(
        tuple(Layer(plain(la.name), la.top_mm, la.bottom_mm, la.uncured) for la in stack.layers),
        stack.depth_mm,
        shown,
        [math.nan if c is None else c for c in stack.state_of_cure],
        tuple(pins),
        span,
    )


def through_panel(scene: Scene, width: int, height: int) -> Cells:
    """The section from inner mat to outer mat: where it is hot, where it is cured."""
    look, snapshot = scene.look, scene.snapshot
    palette = look.palette
    cells = panel(width, height, look, "Through the repair")
    if not snapshot.stacks:
        cells.text(1, 2, "no layers on the ticket: cure not judged", palette.dim, most=width - 2)
        return cells
    stack = snapshot.stacks[scene.stack % len(snapshot.stacks)]
    name = plain(stack.name) + (" [N]" if len(snapshot.stacks) > 1 else "")
    if 21 + len(name) < width:
        cells.right(width - 1, 0, name, palette.dim)
    gauge_rows = 3 if height >= 15 else 0
    body = draw_through(_through(scene, stack), width - 2, height - 1 - gauge_rows, look)
    cells.paste(body, 1, 1)
    if gauge_rows:
        _cure_line(cells, scene, width, height - 2)
    return cells


def _cure_line(cells: Cells, scene: Scene, width: int, row: int) -> None:
    """The deepest rubber's gauge with its marks named above it."""
    look, snapshot, point = scene.look, scene.snapshot, scene.snapshot.deepest
    wide = width - 2
    if snapshot.blow_point is not None:
        at = 1 + int(snapshot.blow_point * wide)
        cells.text(max(1, at - 5), row - 1, "blow point", look.palette.dim)
    need = f"need {100 * snapshot.required_cure:.0f}"
    at = 1 + int(snapshot.required_cure * wide)
    cells.text(min(at - len(need) + 2, width - len(need) - 1), row - 1, need, look.palette.fine)
    gauge = cure_gauge(
        point.state_of_cure if point else None,
        point.state_of_cure_low if point else None,
        point.state_of_cure_high if point else None,
        snapshot.blow_point,
        snapshot.required_cure,
        wide,
        look,
    )
    cells.paste(gauge, 1, row)


def _ends_at(scene: Scene) -> tuple[str, int] | None:
    forecast, palette = scene.snapshot.forecast, scene.look.palette
    if forecast is None or forecast.heat_off_now_ends_at is None:
        return None
    share = forecast.heat_off_now_ends_at
    words = f"{100 * share:.0f} %"
    if forecast.heat_off_now_low is not None and forecast.heat_off_now_high is not None:
        words += f" ({100 * forecast.heat_off_now_low:.0f}-{100 * forecast.heat_off_now_high:.0f})"
    return words, palette.fine if share >= scene.snapshot.required_cure else palette.attention


def forecast_panel(scene: Scene, width: int, height: int) -> Cells:
    """How long still, what heat-off now would give; once the heat is off, the release gate."""
    snapshot = scene.snapshot
    if snapshot.phase in (Phase.COOL_DOWN, Phase.RELEASED):
        return _gate_panel(scene, width, height)
    look = scene.look
    palette = look.palette
    cells = panel(width, height, look, "Forecast")
    left, forecast = minutes_left(snapshot), snapshot.forecast
    number = f"{min(999, math.ceil(left)):2d}" if left is not None else "--"
    row = 2 if height >= 9 else 1
    digits = big_number(number, 3, palette.text, look, palette.panel)
    cells.paste(digits, 1, row)
    at = 2 + digits.width
    if left is None:
        note = plain(forecast.note) if forecast and forecast.note else "no end at these mats"
        note = "the heat is not on yet" if snapshot.phase is Phase.LOADED else note
        for n, line in enumerate(textwrap.wrap(note, max(8, width - at - 1))[:3]):
            cells.text(at, row + n, line, palette.attention if snapshot.phase is Phase.HOLD else palette.dim)
    else:
        early, late = (forecast.minutes_left_early, forecast.minutes_left_late) if forecast else (None, None)
        cells.text(at, row + 1, "min to go", palette.dim)
        if early is not None and late is not None:
            cells.text(at + 10, row + 1, f"({early:.0f}-{late:.0f})", palette.dim, most=width - at - 10)
        cells.text(at, row + 2, f"done about {say_clock(scene.view.utc + left * 60, scene.zone)}", palette.dim)
    _facts(cells, _forecast_facts(scene, width), row + (4 if height >= 9 else 3), look)
    return cells


def _forecast_facts(scene: Scene, width: int) -> list[tuple[str, str, int]]:
    snapshot, palette = scene.snapshot, scene.look.palette
    facts: list[tuple[str, str, int]] = []
    ends = _ends_at(scene)
    if ends is not None:
        facts.append(("If heat off now", f"ends at {ends[0]}" if width >= 40 else ends[0], ends[1]))
    # Every running cure is incomplete until it is released: that alone is no news.
    open_still = snapshot.verdict is Verdict.INCOMPLETE and snapshot.phase is not Phase.RELEASED
    if not open_still:
        ink = palette.tone(_VERDICT_TONE[snapshot.verdict])
        so_far = "Verdict" if snapshot.phase is Phase.RELEASED else "Verdict so far"
        facts.append((so_far, snapshot.verdict.value, ink))
    held = f"{snapshot.hold_s / 60:.0f} of {snapshot.hold_needed_s / 60:.0f} min"
    still_s = snapshot.hold_needed_s - snapshot.hold_s
    if snapshot.phase is Phase.HOLD and still_s > 0.0 and width >= 40:
        held += f", ends {say_clock(scene.view.utc + still_s, scene.zone)}"
    facts.append(("Hold clock", held, palette.text))
    left = snapshot.forecast.minutes_left if snapshot.forecast is not None else None
    # The time above is the later of the two clocks: where that is the hold, the other is told apart.
    if left and snapshot.phase is Phase.HOLD and 60.0 * left < still_s - 60.0:
        facts.append(("Deepest cured", f"by {say_clock(scene.view.utc + 60.0 * left, scene.zone)}", palette.text))
    margin = snapshot.worst_vapour_margin_kPa
    if margin is not None:
        facts.append(("Vapour margin", f"{margin:+.0f} kPa", palette.text if margin >= 0 else palette.attention))
    if snapshot.set_without_pressure:
        share = 100 * snapshot.set_without_pressure
        facts.append(("Set unpressed", f"{share:.0f} %", palette.attention))
    facts += [("", line, palette.text) for line in _outlook_lines(scene, width)]
    if not open_still:
        facts += [("", plain(reason), palette.dim) for reason in snapshot.reasons]
    return facts


def _outlook_lines(scene: Scene, width: int) -> list[str]:
    """What if, in sentences; without the one that a fact already gives."""
    lines = map(plain, scene.snapshot.outlook)
    told = [line for line in lines if _ends_at(scene) is None or not line.startswith("heat off now")]
    return [part for line in told for part in textwrap.wrap(line[:1].upper() + line[1:], max(8, width - 2))]


def _facts(cells: Cells, facts: Sequence[tuple[str, str, int]], row: int, look: Look) -> None:
    for name, value, ink in facts[: max(0, cells.height - row)]:
        at = cells.text(1, row, name, look.palette.dim) if name else 0
        cells.text(max(at + 1, 17) if name else 1, row, value, ink, bold=bool(name), most=cells.width - 2)
        row += 1


def _gate_panel(scene: Scene, width: int, height: int) -> Cells:
    look, gate, snapshot = scene.look, scene.snapshot.gate, scene.snapshot
    palette = look.palette
    cells = panel(width, height, look, "Release gate")
    steps = (
        ("heat off", gate.heat_is_off),
        ("cure reached", gate.cure_reached),
        ("cool enough", gate.cool_enough),
        ("bag at 0", gate.bag_is_down),
    )
    words = "released" if snapshot.phase is Phase.RELEASED else plain(gate.words) or "then the ram"
    wrapped = textwrap.wrap(words, max(8, width - 2))
    # Why it is not yet time must be read to its end: where rows are few, steps share one.
    crowded = len(steps) + len(wrapped) >= height
    row, at = 1, 1
    for name, done in steps:
        tone = Tone.FINE if done else Tone.ATTENTION
        words = f"{look.signs.tone(tone)} {name if done else f'{name}: not yet'}"
        if at > 1 and not (crowded and at + width_of(words) < width):
            row, at = row + 1, 1
        cells.text(at, row, words, palette.text if done else palette.tone(tone))
        cells.text(at, row, look.signs.tone(tone), palette.tone(tone))
        at += width_of(words) + 2
    row += 1
    for line in wrapped:
        cells.text(1, row, line, palette.dim)
        row += 1
    _facts(cells, _forecast_facts(scene, width), row + 1, look)
    return cells

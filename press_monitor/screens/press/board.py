"""All panels of one press laid out for the size of the terminal; sentences where it is too small for charts."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from datetime import tzinfo

from textual import events
from textual.message import Message

from press_monitor.quantities import UnitSystem
from press_monitor.screens.charts import span_of
from press_monitor.screens.kept import Kept
from press_monitor.screens.press.clear import clear_panel
from press_monitor.screens.press.cursor import step_of
from press_monitor.screens.press.log import LogLine
from press_monitor.screens.press.panels import (
    Scene,
    bag_panel,
    forecast_panel,
    log_panel,
    readout_panel,
    temperature_panel,
    through_panel,
)
from press_monitor.screens.press.past import CurePast
from press_monitor.screens.reading import headline
from press_monitor.screens.source import PressView
from press_monitor.screens.widgets.cells import Cells, plain
from press_monitor.screens.widgets.drawn import Drawn
from press_monitor.screens.widgets.palette import Look, Tone
from press_monitor.screens.words import (
    band_percent,
    pressure,
    read_words,
    say_clock,
    temperature,
    ticket_words,
    tire_words,
)
from press_monitor.watch.types import Phase, Snapshot

__all__ = ["PressBoard", "draw_press"]

RECENT_MIN = 15.0
_LEAST_WIDTH, _LEAST_HEIGHT = 76, 18


def draw_press(scene: Scene, lines: Sequence[LogLine], width: int, height: int, *, stale: bool = False) -> Cells:
    """Everything about one press in `width` x `height` cells."""
    look = scene.look
    cells = Cells(width, height, look.palette.ground, look.palette.text)
    if width < _LEAST_WIDTH or height < _LEAST_HEIGHT:
        _sentences(cells, scene, lines, stale)
        return cells
    _title(cells, scene, stale)
    gap = 1 if height >= 28 else 0
    left = round((width - 1) * 0.6)
    right = width - left - 1
    body = height - 1 - 2 * gap
    bag = max(5, body * 22 // 100)
    log = max(4, body * 20 // 100)
    heat = body - bag - log
    y = 1
    cells.paste(temperature_panel(scene, left, heat), 0, y)
    cells.paste(bag_panel(scene, left, bag), 0, y + heat + gap)
    below = log_panel(scene, lines, left, log) if scene.cursor_min is None else readout_panel(scene, left, log)
    cells.paste(below, 0, y + heat + bag + 2 * gap)
    clear = max(4, body * 20 // 100)
    forecast = max(6, body * 28 // 100)
    through = body - clear - forecast
    cells.paste(through_panel(scene, right, through), left + 1, y)
    cells.paste(forecast_panel(scene, right, forecast), left + 1, y + through + gap)
    cells.paste(clear_panel(scene, right, clear), left + 1, y + through + forecast + 2 * gap)
    return cells


def _title(cells: Cells, scene: Scene, stale: bool) -> None:
    view, snapshot, look = scene.view, scene.snapshot, scene.look
    palette = look.palette
    head = headline(view, scene.units, scene.zone)
    tone = Tone.IDLE if stale else head.tone
    at = cells.text(1, 0, f"{view.number} {plain(view.place.title)}", palette.text, bold=True)
    state = f"{look.signs.tone(tone)} {'NOT HEARD' if stale else head.word}"
    at = cells.text(at + 2, 0, state, palette.tone(tone), bold=True)
    since = f"since {say_clock(view.clock(0.0), scene.zone)}"
    words = [
        tire_words(snapshot.tire, snapshot.section, snapshot.thickness_mm, 40),
        ticket_words(view.ticket) if snapshot.ticketed else "no ticket",
        plain(snapshot.recipe),
        since,
    ]
    cells.text(at + 3, 0, " · ".join(w for w in words if w), palette.dim, most=cells.width - at - 4)


def _sentences(cells: Cells, scene: Scene, lines: Sequence[LogLine], stale: bool) -> None:
    """The press in words, most important first; rows that do not fit are left out from the end."""
    view, snapshot, look, units = scene.view, scene.snapshot, scene.look, scene.units
    palette = look.palette
    head = headline(view, units, scene.zone)
    tone = Tone.IDLE if stale else head.tone
    state = f"{look.signs.tone(tone)} {'NOT HEARD' if stale else head.word}"
    number = f"{head.number.strip()} {' '.join(head.label)}" if head.number else ""
    rows = [
        (f"{view.number} {plain(view.place.title)}  {state}", palette.tone(tone)),
        (number, palette.text),
        (_mats(snapshot, units), palette.text),
        (f"bag {pressure(snapshot.bag_Pa, units).strip()} {units.pressure}", palette.text),
    ]
    if snapshot.deepest is not None:
        point = snapshot.deepest
        rows.append((f"deepest {100 * point.state_of_cure:.0f} % ({band_percent(point)})", palette.text))
    rows += [
        (head.line, palette.dim),
        *((plain(line), palette.dim) for line in snapshot.outlook),
        (tire_words(snapshot.tire, snapshot.section, snapshot.thickness_mm, cells.width - 2), palette.dim),
    ]
    rows += [(f"{say_clock(line.utc, scene.zone)} {line.words}", palette.dim) for line in lines]
    kept = [r for r in rows if r[0]]
    for y, (words, ink) in enumerate(kept[: cells.height]):
        cells.text(1, y, words, ink, bold=y == 0)


def _mats(snapshot: Snapshot, units: UnitSystem) -> str:
    inner, outer = snapshot.inner, snapshot.outer
    values = [temperature(face.value_degC if face else None, units).strip() for face in (inner, outer)]
    return f"inner {values[0]}, outer {values[1]} {units.temperature_sign}"


class PressBoard(Drawn):
    """The body of the press screen."""

    def __init__(self) -> None:
        super().__init__()
        self.view: PressView | None = None
        self.units = UnitSystem.named("us")
        self.zone: tzinfo | None = None
        self.lines: Sequence[LogLine] = ()
        self.stale = False
        self.recent_min: float | None = None
        self.stack = 0
        self.cursor_min: float | None = None
        self.past: CurePast | None = None
        self._worked = 0
        self._charts = Kept()

    def chart_width(self) -> int:
        """Cells across the charts at the present size."""
        return round((self.size.width - 1) * 0.6) - 1

    def follow_past(self, steps: int = 40) -> bool:
        """Work on what the cursor asks for, some steps a call; whether more is left."""
        more = self.past.work(steps) if self.past is not None and self.cursor_min is not None else False
        self._worked += 1 if more else 0
        return more

    def on_click(self, event: events.Click) -> None:
        """A click on a chart reads that moment out."""
        view, left = self.view, self.chart_width() + 1
        bottom = self.size.height - max(4, (self.size.height - 1) * 20 // 100)
        if view is not None and view.snapshot is not None and 5 <= event.x < left and 1 < event.y < bottom:
            x0, _ = span_of(view.snapshot, self.recent_min)
            step = step_of(view.snapshot, self.chart_width(), self.recent_min)
            self.post_message(self.Pointed(x0 + (event.x - 5 + 0.5) * step))

    class Pointed(Message):
        """A moment of the cure was clicked, in minutes."""

        def __init__(self, minute: float) -> None:
            super().__init__()
            self.minute = minute

    def key(self) -> Hashable:
        """The press as read, the log's length and how it is looked at."""
        view = self.view
        seen = (view.place.name, view.version) if view else None
        where = (self.cursor_min, self._worked, self.zone)
        return (seen, len(self.lines), self.units.name, self.stale, self.recent_min, self.stack, where)

    def draw(self, width: int, height: int, look: Look) -> Cells:
        """Draw the press, or say that there is nothing to draw."""
        view = self.view
        if view is None or view.snapshot is None or view.snapshot.phase is Phase.EMPTY:
            return self._empty(width, height, look)
        scene = Scene(
            view,
            view.snapshot,
            self.units,
            self.zone,
            look,
            self.recent_min,
            self.stack,
            self.cursor_min,
            self.past,
            self._charts,
        )
        return draw_press(scene, self.lines, width, height, stale=self.stale)

    def _empty(self, width: int, height: int, look: Look) -> Cells:
        palette, view = look.palette, self.view
        cells = Cells(width, height, palette.ground, palette.text)
        if view is None:
            return cells
        cells.text(1, 0, f"{view.number} {plain(view.place.title)}", palette.text, bold=True)
        heard = view.snapshot is not None
        words = "No tire on this press." if heard else "Nothing heard of this press yet."
        cells.text(1, 2, words, palette.text)
        cells.text(1, 3, "L loads it. A press that heats up starts a record by itself.", palette.dim)
        if view.snapshot is not None and (read := read_words(view.snapshot, self.units)):
            cells.text(1, 5, f"Now: {read}.", palette.text)
        return cells

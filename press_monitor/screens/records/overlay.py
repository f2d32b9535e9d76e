"""One cure's curves over the band of comparable good cures, beside the cures a person has marked."""

from __future__ import annotations

import asyncio
import textwrap
from collections.abc import Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import tzinfo
from typing import ClassVar

import numpy as np
from textual import events
from textual.app import SystemCommand
from textual.binding import Binding, BindingType
from textual.widget import Widget

from press_monitor.archive.types import CertificateRow
from press_monitor.audit.comparison import BandCurve, Comparison, compare
from press_monitor.certificate.audit_sheets import say_figure
from press_monitor.quantities import UnitSystem
from press_monitor.readings.types import Role, role_of
from press_monitor.screens.background import begin
from press_monitor.screens.base import WatchScreen
from press_monitor.screens.records.curves import in_units, span_of
from press_monitor.screens.records.desk import TROUBLES, Desk
from press_monitor.screens.records.preview import VERDICT_TONES, Track, tracks_of
from press_monitor.screens.records.table import say_day
from press_monitor.screens.widgets.bars import Key
from press_monitor.screens.widgets.canvas import Band, Chart, Curve, View, draw_chart
from press_monitor.screens.widgets.cells import Cells, plain, shorten
from press_monitor.screens.widgets.drawn import Drawn
from press_monitor.screens.widgets.palette import Look, Tone

__all__ = ["OverlayScreen", "Scene", "draw_overlay"]

_FIGURES = 64
_WIDE = 118


@dataclass(frozen=True, slots=True)
class Scene:
    """What is compared.

    Attributes:
        row, tracks: the cure that is meant.
        others: the marked ones with their readings.
        comparison: with the good ones, None while it is worked out.
        channel: which reading is shown. picked: the marked one that stands out, by its place.
        figures: whether a narrow screen shows the figures instead of the curves.
        note: why there is no band, or that it is on its way.
    """

    row: CertificateRow
    tracks: tuple[Track, ...] = ()
    others: tuple[tuple[CertificateRow, tuple[Track, ...]], ...] = ()
    comparison: Comparison | None = None
    channel: str = ""
    picked: int = 0
    figures: bool = False
    note: str = "reading"


def draw_overlay(scene: Scene, width: int, height: int, look: Look, units: UnitSystem, zone: tzinfo | None) -> Cells:
    """Curves with their legend, and the figures beside them where there is room."""
    palette = look.palette
    cells = Cells(width, height, palette.ground, palette.text)
    _title(cells, scene, width, look, zone)
    beside = width >= _WIDE and height >= 16
    right = _FIGURES if beside else 0
    if scene.figures and not beside:
        cells.paste(_figures(scene, width, height - 1, look, units), 0, 1)
        return cells
    cells.paste(_curves(scene, width - right - (1 if right else 0), height - 1, look, units), 0, 1)
    if right:
        cells.paste(_figures(scene, right, height - 1, look, units), width - right, 1)
    return cells


def _title(cells: Cells, scene: Scene, width: int, look: Look, zone: tzinfo | None) -> None:
    row, palette = scene.row, look.palette
    at = cells.text(1, 0, f"Certificate {row.number}", palette.text, bold=True)
    tone = VERDICT_TONES.get(row.verdict, Tone.IDLE)
    at = cells.text(at + 2, 0, f"{look.signs.tone(tone)} {plain(row.verdict)}", palette.tone(tone), bold=True)
    tire = ", ".join(plain(part) for part in (row.tire, row.section) if part)
    words = f"{say_day(row.started_utc, zone)}  press {plain(row.press)}  {tire}"
    cells.text(at + 2, 0, words, palette.dim, most=width - at - 3)


def _legend(cells: Cells, scene: Scene, look: Look, width: int) -> None:
    palette, signs = look.palette, look.signs
    at = cells.text(1, 1, signs.dash, palette.inner, bold=True)
    at = cells.text(at + 1, 1, f"{scene.row.number}", palette.text, bold=True)
    for number, (row, _) in enumerate(scene.others):
        here = number == scene.picked
        if at > width - 24:
            break
        at = cells.text(at + 3, 1, "- -" if here else ". .", palette.bag if here else palette.dim, bold=here)
        at = cells.text(
            at + 1, 1, f"{row.number} {plain(row.verdict)}", palette.text if here else palette.dim, bold=here
        )
    comparison = scene.comparison
    if comparison is not None and comparison.good:
        cells.fill(at + 3, 1, 2, 1, palette.track)
        words = f"{len(comparison.good)} good cures like it"
        cells.text(at + 6, 1, words if len(words) <= width - at - 7 else words.removesuffix(" like it"), palette.dim)


def _curves(scene: Scene, width: int, height: int, look: Look, units: UnitSystem) -> Cells:
    palette = look.palette
    cells = Cells(width, height, palette.panel, palette.text)
    names = [track.name for track in scene.tracks]
    role = role_of(scene.channel) if scene.channel else None
    unit = units.pressure if role is Role.BAG else units.temperature_sign
    name = scene.channel.replace("_", " ")
    at = cells.text(1, 0, f"{name} {unit}" if name else scene.note, palette.text, bold=True)
    if len(names) > 1:
        others = ", ".join(other.replace("_", " ") for other in names if other != scene.channel)
        cells.text(at + 2, 0, f"Left Right: {others}", palette.dim, most=width - at - 3)
    _legend(cells, scene, look, width)
    track = next((t for t in scene.tracks if t.name == scene.channel), None)
    note = scene.comparison.note if scene.comparison is not None else scene.note
    told = textwrap.wrap(note, max(12, width - 2))[:2] if height >= 16 else [shorten(note, width - 2)]
    for row, line in enumerate(told, height - len(told)):
        cells.text(1, row, line, palette.dim)
    if track is None:
        return cells
    chart = _chart(scene, track, look, units)
    cells.paste(draw_chart(chart, width - 2, height - 2 - max(1, len(told)), look), 1, 2)
    return cells


def _of_channel(tracks: Sequence[Track], name: str) -> Track | None:
    return next((track for track in tracks if track.name == name), None)


def _chart(scene: Scene, track: Track, look: Look, units: UnitSystem) -> Chart:
    """Back to front: the band, the marked cures, the picked one, this cure."""
    palette = look.palette
    curves: list[Curve] = []
    marked = [(n, found) for n, (_, tracks) in enumerate(scene.others) if (found := _of_channel(tracks, track.name))]
    for number, other in sorted(marked, key=lambda each: each[0] == scene.picked):
        here = number == scene.picked
        values = in_units(other.values, other.role, units)
        curves.append(Curve(other.minutes, values, palette.bag if here else palette.guide, other.gap, True))
    mine = in_units(track.values, track.role, units)
    curves.append(Curve(track.minutes, mine, palette.inner, track.gap))
    bands: tuple[Band, ...] = ()
    edges: list[float] = []
    told = next((c for c in scene.comparison.curves if c.name == track.name), None) if scene.comparison else None
    if told is not None and (band := _band(told, track.role, units, palette.track)) is not None:
        bands = (band,)
        edges = [*band.low, *band.high]
    values = np.concatenate([c.y[np.isfinite(c.y)] for c in curves] + [np.asarray(edges, np.float64)])
    bottom, top = (float(values.min()), float(values.max())) if values.size else (0.0, 1.0)
    if track.role is Role.BAG:
        bottom = min(0.0, bottom)
    room = max(0.03 * (top - bottom), 0.5)
    last = span_of([track, *(found for _, found in marked)])
    view = View(0.0, last, bottom - room, top + room)
    return Chart(view, bands=bands, curves=tuple(curves), x_axis=True, y_axis=5, x_unit="min")


def _band(told: BandCurve, role: Role, units: UnitSystem, ground: int) -> Band | None:
    """The band where it is known; None where it is nowhere."""
    known = [
        (minute, low, high)
        for minute, low, high in zip(told.times_min, told.low, told.high, strict=True)
        if low is not None and high is not None
    ]
    if len(known) < 2:
        return None
    minutes, low, high = (np.asarray(column, np.float64) for column in zip(*known, strict=True))
    low, high = in_units(low, role, units), in_units(high, role, units)
    # A band of no width would not be seen.
    least = 0.3
    middle = (low + high) / 2
    low, high = np.minimum(low, middle - least), np.maximum(high, middle + least)
    return Band(minutes.tolist(), low.tolist(), high.tolist(), ground)


def _figures(scene: Scene, width: int, height: int, look: Look, units: UnitSystem) -> Cells:
    palette, signs = look.palette, look.signs
    cells = Cells(width, height, palette.panel, palette.text)
    cells.text(1, 0, "Figures", palette.text, bold=True)
    comparison = scene.comparison
    if comparison is None:
        cells.text(1, 2, scene.note, palette.dim, most=width - 2)
        return cells
    low = width - 20
    cells.right(low - 1, 1, "this cure", palette.dim)
    cells.right(width - 1, 1, "good ones", palette.dim)
    y = 2
    shown = [figure for figure in comparison.figures if figure.value is not None or figure.n]
    # What lies outside comes first: it is what one looks for.
    for figure in sorted(shown, key=lambda figure: not figure.outside):
        if y >= height - 2:
            break
        ink = palette.attention if figure.outside else palette.text
        sign = f"{signs.alarm} " if figure.outside else "  "
        value = say_figure(figure.value, figure.unit, units) or "--"
        span = (say_figure(figure.low, figure.unit, units), say_figure(figure.high, figure.unit, units))
        at = cells.right(low - 1, y, value, ink, bold=figure.outside)
        cells.text(1, y, sign + figure.name, ink, most=at - 2)
        cells.right(width - 1, y, _range(*span), palette.dim)
        y += 1
    y += 1
    for curve in comparison.curves:
        for start, end, side in curve.outside_min:
            if y < height:
                words = f"{curve.name.replace('_', ' ')} {side} the good ones, min {start:.0f}-{end:.0f}"
                cells.text(1, y, f"{signs.alarm} {words}", palette.attention, most=width - 2)
                y += 1
    if y < height and not any(f.outside for f in shown) and comparison.good:
        cells.text(1, y, f"{signs.fine} nothing lies outside the good ones", palette.fine, most=width - 2)
    return cells


def _range(low: str, high: str) -> str:
    """``28.1-33.0 psi`` of two figures in the same unit."""
    first, _, unit = low.partition(" ")
    last = high.partition(" ")[0]
    if not low or not high:
        return "--"
    return f"{first} to {last} {unit}".rstrip()


class OverlayView(Drawn):
    """The drawing."""

    def __init__(self, row: CertificateRow) -> None:
        super().__init__()
        self.scene = Scene(row)
        self.units = UnitSystem.named("us")
        self.zone: tzinfo | None = None
        self._version = 0

    def show(self, scene: Scene) -> None:
        """Show another one."""
        self.scene = scene
        self._version += 1
        self.touch()

    def key(self) -> Hashable:
        """Which one, and in which units."""
        return (self._version, self.units)

    def draw(self, width: int, height: int, look: Look) -> Cells:
        """Draw it."""
        return draw_overlay(self.scene, width, height, look, self.units, self.zone)


class OverlayScreen(WatchScreen):
    """Reads the cures, then the band, each shown as soon as it is there."""

    place = "Compare"
    EXPLAINED = (
        """\
Left Right  another reading      Up Down  another marked cure
F         figures or curves, where there is no room for both
""",
        """\
The solid curve is the cure that is meant. The shaded band is where the good
cures like it lay: same recipe, thickness within a tenth, not come back.
Dashed is the marked cure that stands out. What lies outside the band is
named with its figures: a question to ask, not a cause found""",
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,backspace", "back", "Back"),
        Binding("right", "channel(1)", "Next reading"),
        Binding("left", "channel(-1)", "Reading before"),
        Binding("down", "pick(1)", "Next marked cure"),
        Binding("up", "pick(-1)", "Marked cure before"),
        Binding("f,F", "figures", "Figures or curves"),
    ]

    def __init__(self, desk: Desk, row: CertificateRow, others: Sequence[CertificateRow]) -> None:
        super().__init__()
        self.desk, self.row, self.others = desk, row, tuple(others)
        self.view = OverlayView(row)

    def keys(self) -> tuple[Key, ...]:
        """Few."""
        pick = (Key("Up Down", "marked cure", "pick(1)"),) if self.others else ()
        return (
            Key("Esc", "back", "back"),
            Key("Left Right", "reading", "channel(1)"),
            *pick,
            Key("F", "figures", "figures"),
            Key("?", "help", "app.explain"),
        )

    def body(self) -> Iterable[Widget]:
        """The drawing."""
        yield self.view

    def renew_body(self) -> None:
        """Units may have changed."""
        self.view.units, self.view.zone = self.dashboard.units, self.dashboard.shop.zone
        self.view.touch()

    def on_mount(self) -> None:
        """Read."""
        begin(self, self._read, "read")

    async def _read(self) -> None:
        def tracks() -> tuple[tuple[Track, ...], ...]:
            with self.desk.reader() as reader:
                return tuple(tracks_of(reader.trace(row.number)) for row in (self.row, *self.others))

        def band() -> Comparison:
            with self.desk.reader() as reader:
                return compare(reader, self.row.number)

        try:
            mine, *theirs = await asyncio.to_thread(tracks)
            channel = mine[0].name if mine else ""
            others = tuple(zip(self.others, theirs, strict=True))
            note = "working out the band of good cures like it" if mine else "no readings were kept"
            self.view.show(replace(self.view.scene, tracks=mine, others=others, channel=channel, note=note))
            comparison = await asyncio.to_thread(band)
        except TROUBLES as error:
            self.view.show(replace(self.view.scene, note=str(error)))
            return
        self.view.show(replace(self.view.scene, comparison=comparison, note=""))

    def _change(self, **changes: object) -> None:
        self.view.show(replace(self.view.scene, **changes))  # type: ignore[arg-type]

    def action_channel(self, step: int) -> None:
        """The next reading: mats, bag."""
        names = [track.name for track in self.view.scene.tracks]
        if names:
            at = names.index(self.view.scene.channel)
            self._change(channel=names[(at + step) % len(names)])

    def action_pick(self, step: int) -> None:
        """Let another marked cure stand out."""
        if self.others:
            self._change(picked=(self.view.scene.picked + step) % len(self.others))

    def action_figures(self) -> None:
        """Figures or curves, where there is no room for both."""
        self._change(figures=not self.view.scene.figures)

    def on_mouse_scroll_down(self, event: events.MouseScrollDown) -> None:
        """The wheel picks."""
        self.action_pick(1)

    def on_mouse_scroll_up(self, event: events.MouseScrollUp) -> None:
        """The wheel picks."""
        self.action_pick(-1)

    def offers(self) -> Iterator[SystemCommand]:
        """Everything here, for the palette."""
        yield SystemCommand("Compare: next reading", "mats, bag", lambda: self.action_channel(1))
        if self.others:
            yield SystemCommand("Compare: next marked cure", "let it stand out", lambda: self.action_pick(1))
        yield SystemCommand("Compare: figures", "figures or curves", self.action_figures)

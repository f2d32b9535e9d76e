"""One press as a lane: state and one big number, the curve against its band, mats, bag and deepest rubber."""

from __future__ import annotations

from datetime import tzinfo

from press_monitor.quantities import UnitSystem
from press_monitor.screens.charts import bag_chart, temperature_chart
from press_monitor.screens.kept import Kept
from press_monitor.screens.lane_words import bag_is_low, face_is_off
from press_monitor.screens.reading import Headline, headline
from press_monitor.screens.source import PressView
from press_monitor.screens.widgets.canvas import draw_chart
from press_monitor.screens.widgets.cells import Cells, plain, shorten, width_of
from press_monitor.screens.widgets.digits import big_number
from press_monitor.screens.widgets.gauges import bag_gauge, cure_gauge
from press_monitor.screens.widgets.palette import Look, Tone
from press_monitor.screens.words import band_percent, blow_words, pressure, read_words, temperature, tire_words
from press_monitor.watch.types import FaceView, Phase, Snapshot

__all__ = ["draw_lane", "draw_sentence"]

_NARROW = 76
"""Below this width the chart gives way."""
_STATE_MIN, _STATE_WIDE = 22, 40
_GAUGES_MIN, _GAUGES_WIDE = 26, 38


def draw_lane(
    view: PressView,
    width: int,
    height: int,
    look: Look,
    units: UnitSystem,
    zone: tzinfo | None = None,
    *,
    stale: bool = False,
    charts: Kept | None = None,
) -> Cells:
    """Draw a press into `width` x `height` cells (at least 50 x 5).

    `stale`: its values are old, and say so. `charts`: where the curves drawn last are kept.
    """
    palette = look.palette
    cells = Cells(width, height, palette.panel, palette.text)
    head = headline(view, units, zone)
    tone = Tone.IDLE if stale else head.tone
    for y in range(height):
        cells.text(0, y, look.signs.edge, palette.tone(tone))
    roomy = width >= 120
    left = _STATE_WIDE if roomy else _STATE_MIN
    right = _GAUGES_WIDE if roomy else _GAUGES_MIN
    _draw_state(cells, view, head, tone, left, look, units, stale)
    snapshot = view.snapshot
    if snapshot is None or snapshot.phase is Phase.EMPTY:
        words = "no tire on this press" if snapshot is not None else "nothing heard of this press yet"
        cells.text(left + 2, height // 2, words, palette.dim)
        if snapshot is not None and width >= _NARROW and (read := read_words(snapshot, units)):
            cells.text(left + 2, height // 2 - 1, read, palette.text)
        port = view.about.get("port") or {}
        if port.get("state") == "lost":
            words = f"{look.signs.alarm} port lost: {plain(str(port.get('why') or ''))}"
            cells.text(left + 2, height // 2 + 1, words, palette.attention)
        elif port.get("talk") in ("silent", "garbled", "no answer", "flooded"):
            words = f"{look.signs.alarm} {port['talk']}: {plain(str(port.get('why') or ''))}"
            cells.text(left + 2, height // 2 + 1, words, palette.attention)
        return cells
    if width >= _NARROW:
        wide = width - left - right - 3
        chart = (charts or Kept()).chart(
            view.number,
            view,
            snapshot,
            (wide, height),
            look,
            units,
            lambda: _draw_charts(view, snapshot, wide, height, look, units),
        )
        cells.paste(chart, left + 1, 0)
    _draw_gauges(cells, view, snapshot, head, width - right, right - 1, look, units)
    return cells


def _draw_charts(view: PressView, snapshot: Snapshot, width: int, height: int, look: Look, units: UnitSystem) -> Cells:
    if snapshot.phase is Phase.RELEASED and not (view.trace is not None and len(view.trace)):
        cells = Cells(width, height, look.palette.panel)
        cells.text(2, height // 2, "its curve is on the certificate", look.palette.dim, most=width - 2)
        return cells
    axes = height >= 8
    if height < 9:
        chart = temperature_chart(view, snapshot, units, look, axes=axes, bag_over=True)
        return draw_chart(chart, width, height, look)
    bag_rows = 3 if height < 14 else 4
    cells = Cells(width, height, look.palette.panel)
    upper = temperature_chart(view, snapshot, units, look, axes=True, bag_marks=False)
    lower = bag_chart(view, snapshot, units, look, axes=True, strip=True)
    body = draw_chart(upper, width, height - bag_rows, look)
    strip = draw_chart(lower, width, bag_rows + 1, look)
    cells.paste(strip, 0, height - bag_rows - 1)
    # The time axis goes to the bottom: the bag's strip carries it for both.
    body.height -= 1
    cells.paste(body, 0, 0)
    return cells


def _draw_state(
    cells: Cells, view: PressView, head: Headline, tone: Tone, width: int, look: Look, units: UnitSystem, stale: bool
) -> None:
    palette, height, snapshot = look.palette, cells.height, view.snapshot
    ink = palette.tone(tone)
    name = f"{view.number} {plain(view.place.title)}"
    state = f"{look.signs.tone(tone)} {'NOT HEARD' if stale else head.word}"
    tall = height >= 8
    if tall or width_of(name) + width_of(state) + 3 > width:
        if tall:
            cells.text(2, 0, name, palette.text, bold=True, most=width - 2)
            cells.text(2, 1, state, ink, bold=True, most=width - 2)
        else:
            start = max(5, width - width_of(state))
            # Of a name that is down to a letter or two, the number is left.
            shown = name if start - 3 >= width_of(str(view.number)) + 5 else str(view.number)
            cells.text(2, 0, shown, palette.text, bold=True, most=start - 3)
            cells.text(start, 0, state, ink, bold=True, most=width - start)
    else:
        cells.text(2, 0, name, palette.text, bold=True)
        cells.right(width, 0, state, ink, bold=True)
    rows = 5 if height >= 10 else 3
    top = 3 if height >= 10 else 2 if height >= 8 else 1
    number_ink = palette.text if tone in (Tone.FINE, Tone.IDLE) else ink
    if head.number:
        digits = big_number(head.number, rows, number_ink, look, palette.panel)
        cells.paste(digits, 2, top)
        label_at = 3 + digits.width
        for n, label in enumerate(head.label):
            room = width - label_at
            words = label if width_of(label) <= room else label.split()[0]
            cells.text(label_at, top + rows - len(head.label) + n, words, palette.dim, most=room)
    if snapshot is None:
        return
    tire = tire_words(snapshot.tire, snapshot.section, snapshot.thickness_mm, width - 2)
    if not snapshot.ticketed and snapshot.phase is not Phase.EMPTY:
        tire = tire or "no ticket"
    if height >= 6:
        cells.text(2, height - 2, tire, palette.dim, most=width - 2)
        alarmed = tone in (Tone.ALARM, Tone.ATTENTION)
        line = "" if snapshot.phase is Phase.EMPTY else head.line
        cells.text(2, height - 1, _fitting(line, head.short, width - 2), ink if alarmed else palette.dim)
    else:
        cells.text(2, height - 1, tire, palette.dim, most=width - 2)


def _fitting(line: str, short: str, width: int) -> str:
    """The whole line, else the same in fewer words, else as much of the line as makes sense."""
    if width_of(line) <= width:
        return line
    return shorten(short or line, width)


def _draw_face(
    cells: Cells, at: int, y: int, face: FaceView | None, ink: int, look: Look, units: UnitSystem, *, off: bool
) -> int:
    """A mat's value; one that is off wears a sign in the cell before it."""
    if off:
        ink = look.palette.attention
        cells.text(at - 1, y, look.signs.alarm, ink, bold=True)
    return cells.text(at, y, temperature(face.value_degC if face else None, units), ink, bold=True)


def _draw_gauges(
    cells: Cells, view: PressView, snapshot: Snapshot, head: Headline, x: int, width: int, look: Look, units: UnitSystem
) -> None:
    palette, height = look.palette, cells.height
    tall = height >= 8
    mats, bag, deep = (1, 3, 5) if tall else (0, 1, 2)
    at = cells.text(x, mats, "inner ", palette.dim)
    inner, outer = snapshot.inner, snapshot.outer
    at = _draw_face(cells, at, mats, inner, palette.inner, look, units, off=face_is_off(inner, snapshot))
    at = cells.text(at, mats, "  outer " if width >= 30 else " outer ", palette.dim)
    at = _draw_face(cells, at, mats, outer, palette.outer, look, units, off=face_is_off(outer, snapshot))
    cells.text(at, mats, f" {units.temperature_sign}", palette.dim)

    low = bag_is_low(snapshot)
    fill = palette.alarm if low else palette.bag
    cells.text(x, bag, "bag", palette.dim)
    if low:
        cells.text(x + 4, bag, look.signs.alarm, fill, bold=True)
    cells.text(x + 5, bag, pressure(snapshot.bag_Pa, units), fill, bold=True)
    cells.text(x + 10, bag, units.pressure, palette.dim)
    gauge_at = 14
    gauge = bag_gauge(
        snapshot.bag_Pa, snapshot.bag_minimum_Pa, snapshot.bag_maximum_Pa, width - gauge_at, look, fill=fill
    )
    cells.paste(gauge, x + gauge_at, bag)

    point = snapshot.deepest
    cells.text(x, deep, "deep", palette.dim)
    cells.text(x + 5, deep, f"{100 * point.state_of_cure:4.0f}" if point else "  --", palette.cure, bold=True)
    cells.text(x + 10, deep, "%", palette.dim)
    gauge = cure_gauge(
        point.state_of_cure if point else None,
        point.state_of_cure_low if point else None,
        point.state_of_cure_high if point else None,
        snapshot.blow_point,
        snapshot.required_cure,
        width - gauge_at,
        look,
    )
    cells.paste(gauge, x + gauge_at, deep)
    _draw_gauge_words(cells, view, snapshot, head, x, width, deep + 1, look)


def _draw_gauge_words(
    cells: Cells, view: PressView, snapshot: Snapshot, head: Headline, x: int, width: int, row: int, look: Look
) -> None:
    palette, point = look.palette, snapshot.deepest
    if point is None:
        cells.text(x, row, "cure not judged", palette.dim, most=width)
    else:
        cells.text(x + 4, row, f"{band_percent(point):>5}", palette.dim)
        if snapshot.blow_point is not None:
            cells.text(x + 10, row, blow_words(point, snapshot.blow_point, width - 10), palette.dim, most=width - 10)
    if cells.height >= 10 and snapshot.phase is Phase.HOLD:
        done, needed = snapshot.hold_s / 60.0, snapshot.hold_needed_s / 60.0
        cells.text(x, row + 2, f"hold {done:4.0f} of {needed:.0f} min", palette.dim, most=width)
    if cells.height < 6:
        alarmed = head.tone in (Tone.ALARM, Tone.ATTENTION)
        ink = palette.tone(head.tone) if alarmed else palette.dim
        cells.text(x, row + 1, _fitting(head.line, head.short, width), ink)


def draw_sentence(
    view: PressView, width: int, look: Look, units: UnitSystem, zone: tzinfo | None = None, *, stale: bool = False
) -> Cells:
    """One press as one line of words, for terminals too small for a lane."""
    palette = look.palette
    cells = Cells(width, 1, palette.panel, palette.text)
    head = headline(view, units, zone)
    tone = Tone.IDLE if stale else head.tone
    ink = palette.tone(tone)
    at = cells.text(0, 0, f"{view.number} ", palette.text, bold=True)
    at = cells.text(at, 0, f"{look.signs.tone(tone)} {'NOT HEARD' if stale else head.word} ", ink, bold=True)
    if head.number:
        at = cells.text(at, 0, f"{head.number.strip()} {' '.join(head.label)} ", palette.text, bold=True)
    cells.text(at, 0, f"{plain(view.place.title)} {head.line}", palette.dim)
    return cells

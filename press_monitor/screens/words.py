"""Numbers, times and names as the operator reads them. Widths stay the same while values change."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, tzinfo

from press_monitor.quantities import UnitSystem
from press_monitor.screens.widgets.cells import plain
from press_monitor.watch.types import CurePoint, Phase, Snapshot

__all__ = [
    "KIND_WORDS",
    "PHASE_WORDS",
    "band_percent",
    "blow_words",
    "kind_words",
    "pressure",
    "read_words",
    "say_clock",
    "say_minutes",
    "say_silence",
    "temperature",
    "ticket_words",
    "tire_words",
]

PHASE_WORDS = {
    Phase.EMPTY: "EMPTY",
    Phase.LOADED: "LOADED",
    Phase.HEAT_UP: "HEAT-UP",
    Phase.HOLD: "HOLD",
    Phase.COOL_DOWN: "COOLING",
    Phase.RELEASED: "RELEASED",
}

KIND_WORDS = {
    "bag-topping-up": "BAG TOPPING UP",
    "heat-without-pressure": "HEAT, NO PRESSURE",
    "pressure-lost-uncured": "PRESSURE LOST",
    "below-profile": "TOO COOL",
    "above-profile": "TOO HOT",
    "heat-up-late": "HEATING LATE",
    "recorder-gap": "GAP IN RECORD",
    "clock-step": "CLOCK STEPPED",
    "archive-failing": "RECORD FAILING",
    "shop-heat-lost": "HEAT LOST IN THE SHOP",
    "shop-air-lost": "AIR LOST IN THE SHOP",
    "shop-no-readings": "NO READINGS IN THE SHOP",
}
"""Where the kind's own name is not the plainest word."""


def kind_words(kind: str) -> str:
    """An alarm kind in capitals: ``BAG LOW``."""
    return KIND_WORDS.get(kind) or plain(kind).replace("-", " ").upper()


def temperature(celsius: float | None, units: UnitSystem) -> str:
    """A whole number of degrees, three wide; ``---`` where there is none."""
    return f"{units.degrees(celsius):3.0f}" if celsius is not None else "---"


def pressure(pascal: float | None, units: UnitSystem) -> str:
    """``33.1`` psi or `` 228`` kPa, four wide."""
    if pascal is None:
        return "  --"
    # Adding 0.0 makes a rounded minus zero plain.
    if units.pressure == "psi":
        return f"{round(units.pressed(pascal), 1) + 0.0:4.1f}"
    return f"{round(units.pressed(pascal)) + 0.0:4.0f}"


def read_words(snapshot: Snapshot, units: UnitSystem) -> str:
    """What is measured on a press without a tire: it may be hot or under pressure all the same."""
    faces = [
        (name, f.value_degC) for name, f in (("inner", snapshot.inner), ("outer", snapshot.outer)) if f is not None
    ]
    said = [f"{name} {temperature(value, units).strip()}" for name, value in faces if value is not None]
    if said:
        said[-1] += f" {units.temperature_sign}"
    if snapshot.bag_Pa is not None:
        said.append(f"bag {pressure(snapshot.bag_Pa, units).strip()} {units.pressure}")
    return ", ".join(said)


def say_clock(utc: float, zone: tzinfo | None = None) -> str:
    """``14:31`` in the shop's time zone, or the computer's."""
    when = datetime.fromtimestamp(utc, UTC)
    return when.astimezone(zone).strftime("%H:%M")


def say_minutes(seconds: float) -> str:
    """A span in the smallest words: ``40 s``, ``12 min``, ``3 h 05``."""
    if seconds < 60:
        return f"{max(0, int(seconds))} s"
    minutes = int(seconds // 60)
    return f"{minutes} min" if minutes < 120 else f"{minutes // 60} h {minutes % 60:02d}"


def say_silence(seconds: float) -> str:
    """How long nothing was heard."""
    return say_minutes(seconds)


def band_percent(point: CurePoint) -> str:
    """``28-55``."""
    return f"{100 * point.state_of_cure_low:.0f}-{100 * point.state_of_cure_high:.0f}"


def blow_words(point: CurePoint, blow_point: float, room: int) -> str:
    """Where the deepest rubber stands to its blow point, judged on both edges of its band; in `room` cells."""
    if point.state_of_cure_low >= blow_point:
        return "past blow point"
    if point.state_of_cure_high >= blow_point:
        return "at blow point"
    whole = "before blow point"
    return whole if len(whole) <= room else "before blow pt"


def tire_words(tire: str, section: str, thickness_mm: float | None, width: int) -> str:
    """Tire, section and thickness, leaving out from the right what does not fit in `width`."""
    tire, section = plain(tire), plain(section)
    parts = [f"{tire} {section}".strip()]
    if thickness_mm is not None:
        parts.append(f"{thickness_mm:.0f} mm")
    whole = " · ".join(p for p in parts if p)
    return whole if len(whole) <= width else parts[0]


def ticket_words(ticket: Mapping[str, object] | None) -> str:
    """The few words of a ticket that name it."""
    if not ticket:
        return ""
    number, who = ticket.get("number"), ticket.get("operator")
    words = [f"ticket {plain(str(number))}" if number else "", f"by {plain(str(who))}" if who else ""]
    return " · ".join(w for w in words if w)

"""What is wrong with a press, in the 25 cells that a lane of a small terminal has for it."""

from __future__ import annotations

from press_monitor.quantities import UnitSystem
from press_monitor.watch.types import AlarmView, FaceView, Phase, Snapshot

__all__ = ["bag_is_low", "face_is_off", "lane_words"]

_FALLS_K_MIN = -1.0
"""A mat that cools at least so fast has lost its heat too."""

_PLAIN = {
    "bag-burst": "pressure gone in seconds",
    "bag-topping-up": "the supply hides a leak",
    "heat-without-pressure": "hot without pressure",
    "pressure-lost-uncured": "setting without pressure",
    "mats-uneven": "the two mats differ",
    "no-readings": "no readings come",
    "ram-low": "the lock-up gives way",
    "released-early": "opened too early",
    "overdue": "cured, heat still on",
    "recorder-gap": "nothing was recorded",
}
_OF_A_MAT = {
    "below-profile": "under its band",
    "above-profile": "over its band",
    "above-maximum": "over its maximum",
    "heat-up-late": "heats too slowly",
    "mat-weak": "has weakened",
    "probe-open": "probe gives nothing",
    "probe-lifted": "probe has come off",
    "probe-stuck": "probe stands still",
    "probe-erratic": "probe jumps about",
    "probe-reversed": "probe wired crossed",
}


def _face(snapshot: Snapshot, channel: str | None) -> tuple[str, FaceView | None]:
    """``inner`` or ``outer``, and the other mat."""
    for name, face, other in (("inner", snapshot.inner, snapshot.outer), ("outer", snapshot.outer, snapshot.inner)):
        if face is not None and channel and (face.channel == channel or channel.startswith(name)):
            return name, other
    return "", None


def _heat_lost(snapshot: Snapshot, name: str, other: FaceView | None) -> str:
    if other is None or other.trend_K_min is None:
        return f"{name} mat loses its heat"
    return "both mats lose heat" if other.trend_K_min < _FALLS_K_MIN else f"only {name} mat loses heat"


def lane_words(snapshot: Snapshot, alarm: AlarmView, units: UnitSystem) -> str:
    """At most 25 cells that say it whole; empty for a kind of somebody's own."""
    kind, (name, other) = alarm.kind, _face(snapshot, alarm.channel)
    if kind in ("bag-low", "bag-high"):
        word, limit = (
            ("minimum", snapshot.bag_minimum_Pa) if kind == "bag-low" else ("maximum", snapshot.bag_maximum_Pa)
        )
        side = "below" if kind == "bag-low" else "above"
        return f"{side} {word} {units.pressed(limit):.0f} {units.pressure}"
    if kind == "bag-leaking":
        trend = snapshot.bag_trend_Pa_min
        if trend is None or trend >= 0.0:
            return "loses air"
        digits = 2 if units.pressure == "psi" else 1
        return f"losing {-units.pressed(trend):.{digits}f} {units.pressure}/min"
    if kind == "heat-lost" and name:
        return _heat_lost(snapshot, name, other)
    if kind in _OF_A_MAT:
        what = "" if kind.startswith("probe") else "mat "
        words = f"{name} {what}{_OF_A_MAT[kind]}".strip()
        return words if len(words) <= 25 else f"{name} {_OF_A_MAT[kind]}".strip()
    return _PLAIN.get(kind, "")


def bag_is_low(snapshot: Snapshot) -> bool:
    """Whether the bag is below its minimum while the repair needs its pressure."""
    low = snapshot.bag_Pa is not None and snapshot.bag_Pa < snapshot.bag_minimum_Pa
    wanted = snapshot.phase in (Phase.HEAT_UP, Phase.HOLD, Phase.COOL_DOWN)
    return low and wanted and not snapshot.gate.heat_is_off


def face_is_off(face: FaceView | None, snapshot: Snapshot) -> bool:
    """Whether a mat's value is not to be trusted, or is out of its band while it ought to hold."""
    if face is None:
        return False
    return face.value_degC is None or not face.trusted or (snapshot.phase is Phase.HOLD and not face.in_band)

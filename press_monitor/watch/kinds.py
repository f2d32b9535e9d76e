"""The catalogue of alarm kinds: priority, delays and what hangs under what."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from press_monitor.quantities import PSI
from press_monitor.watch.types import Priority

__all__ = ["ADOPTED_WITHIN", "ADOPTING", "ADOPTING_PAST", "ANY", "CAUSES", "KINDS", "SAME", "AlarmKind", "kinds_with"]


@dataclass(frozen=True, slots=True)
class AlarmKind:
    """One kind of alarm.

    Attributes:
        name: as people read it.
        priority: IEC 62682.
        on_delay: s for which the condition must hold without a break.
        off_delay: s for which it must be gone.
        deadband: how far back it must come, Pa for pressures and K for temperatures.
        latching: whether it stays until someone resets it.
        own_clock: the detector itself waits out `on_delay`, since it knows since when.
    """

    name: str
    priority: Priority
    on_delay: float
    off_delay: float = 10.0
    deadband: float = 0.0
    latching: bool = False
    own_clock: bool = False


_HIGH, _MEDIUM, _LOW = Priority.HIGH, Priority.MEDIUM, Priority.LOW

KINDS: dict[str, AlarmKind] = {
    kind.name: kind
    for kind in (
        AlarmKind("bag-burst", _HIGH, 0.0, latching=True),
        AlarmKind("bag-leaking", _MEDIUM, 0.0, off_delay=60.0),
        AlarmKind("bag-topping-up", _MEDIUM, 0.0, off_delay=300.0),
        AlarmKind("bag-low", _HIGH, 15.0, deadband=0.5 * PSI),
        AlarmKind("bag-high", _MEDIUM, 15.0, deadband=0.5 * PSI),
        AlarmKind("heat-without-pressure", _HIGH, 60.0),
        AlarmKind("heat-lost", _HIGH, 28.0, off_delay=30.0),
        AlarmKind("below-profile", _MEDIUM, 60.0, off_delay=30.0),
        AlarmKind("above-profile", _MEDIUM, 60.0, off_delay=30.0),
        AlarmKind("above-maximum", _HIGH, 5.0, off_delay=30.0, own_clock=True),
        AlarmKind("heat-up-late", _MEDIUM, 60.0),
        AlarmKind("mats-uneven", _MEDIUM, 60.0, off_delay=60.0),
        AlarmKind("probe-open", _MEDIUM, 3.0),
        AlarmKind("probe-lifted", _MEDIUM, 0.0, off_delay=30.0),
        AlarmKind("probe-stuck", _MEDIUM, 120.0, off_delay=30.0, own_clock=True),
        AlarmKind("probe-erratic", _MEDIUM, 0.0, off_delay=60.0),
        AlarmKind("probe-reversed", _MEDIUM, 20.0, off_delay=30.0),
        AlarmKind("mat-weak", _MEDIUM, 120.0, off_delay=120.0),
        AlarmKind("ram-low", _MEDIUM, 15.0),
        AlarmKind("no-readings", _HIGH, 5.0, off_delay=0.0, own_clock=True),
        AlarmKind("pressure-lost-uncured", _HIGH, 5.0),
        AlarmKind("released-early", _HIGH, 5.0, latching=True),
        AlarmKind("overdue", _MEDIUM, 1800.0, own_clock=True),
        AlarmKind("recorder-gap", _MEDIUM, 0.0),
        AlarmKind("archive-failing", _HIGH, 3.0, off_delay=5.0),
        AlarmKind("clock-step", _LOW, 0.0),
        AlarmKind("no-horn", _LOW, 10.0),
    )
}


def kinds_with(own: Iterable[AlarmKind]) -> Mapping[str, AlarmKind]:
    """The catalogue with a shop's own limits in it."""
    return {**KINDS, **{kind.name: kind for kind in own}}


SAME, ANY = "same", "any"

ADOPTED_WITHIN = 300.0
"""A cause that shows itself so much later, s, still takes over what was told before it."""
ADOPTING = (
    "ram-low", "bag-burst", "bag-leaking", "bag-low", "heat-lost", "above-profile", "mat-weak",
    "probe-lifted", "probe-open", "probe-stuck", "probe-erratic", "probe-reversed",
)  # fmt: skip
"""The causes that do, where they are no consequence themselves: so none is under what is under it."""
ADOPTING_PAST = ("above-profile", "mat-weak")
"""Those that are told by a level which takes minutes, and take over what is past by then but was not acknowledged."""

_PROBES = tuple((f"probe-{what}", SAME) for what in ("lifted", "open", "stuck", "erratic", "reversed"))

# kind -> the kinds it may be a consequence of, with how their channels must agree; the first standing one is the cause.
CAUSES: dict[str, tuple[tuple[str, str], ...]] = {
    "bag-leaking": (("ram-low", ANY), ("bag-burst", ANY), ("bag-topping-up", ANY)),
    "bag-topping-up": (("bag-burst", ANY), ("bag-leaking", ANY)),
    "bag-low": (("ram-low", ANY), ("bag-burst", ANY), ("bag-leaking", ANY), ("bag-topping-up", ANY)),
    "heat-without-pressure": (("ram-low", ANY), ("bag-burst", ANY), ("bag-leaking", ANY), ("bag-low", ANY)),
    "pressure-lost-uncured": (
        ("ram-low", ANY),
        ("bag-burst", ANY),
        ("bag-leaking", ANY),
        ("bag-topping-up", ANY),
        ("bag-low", ANY),
        ("heat-without-pressure", ANY),
    ),
    "below-profile": (("heat-lost", SAME), ("mat-weak", SAME), *_PROBES),
    "mat-weak": (("heat-lost", SAME), ("below-profile", SAME), *_PROBES),
    "heat-lost": (("mat-weak", SAME), *_PROBES),
    "mats-uneven": (
        ("mat-weak", ANY),
        ("heat-lost", ANY),
        ("probe-lifted", ANY),
        ("below-profile", ANY),
        ("heat-up-late", ANY),
        ("above-profile", ANY),
    ),
    "heat-up-late": (("heat-lost", ANY), *_PROBES),
    "above-profile": (("above-profile", SAME), *_PROBES),
    "bag-burst": (("ram-low", ANY),),
    "probe-lifted": (("probe-erratic", SAME),),
    "probe-open": (("no-readings", ANY), ("probe-reversed", SAME)),
    "no-readings": (("recorder-gap", ANY),),
}

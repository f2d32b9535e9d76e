"""What can go wrong on a simulated press: kinds, their parameters, and what each does to the physics.

A trouble stands on the timetable as a table such as ``{at_min = 20, kind = "burst"}``. Every kind takes `at_min`
(minutes from the start of the cycle) and `for_min` (how long it lasts); see `KINDS` for the rest.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from drivers.options import Options

__all__ = ["CHANNELS", "KINDS", "Effects", "Kind", "Trouble", "effects_of", "read_trouble"]

CHANNELS = ("inner_mat", "outer_mat", "bag", "air", "ram", "buried", "inner_mat_current", "outer_mat_current")
_MATS = ("both", "inner", "outer")
_LAWS = ("linear", "constant", "orifice")
_FOR_EVER = math.inf


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of trouble.

    Attributes:
        does: one line for people.
        numbers: parameter to (default, lowest, highest).
        words: parameter to what it may be, the default first.
        for_min: how long it lasts where nothing else is said.
    """

    does: str
    numbers: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)
    words: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    for_min: float = _FOR_EVER


_LEAK = {"rate_psi_min": (0.5, 0.0, 60.0)}
KINDS: Mapping[str, Kind] = {
    "burst": Kind("the bag bursts", {"tau_s": (2.5, 0.5, 60.0)}),
    "leak": Kind("the bag leaks, its supply shut; the rate holds at the full bag", _LEAK, {"law": _LAWS}),
    "masked-leak": Kind("the bag leaks and the regulator refills it", _LEAK, {"law": _LAWS}),
    "forgotten-bag": Kind("nobody inflates the bag"),
    "dead-mat": Kind("a mat gets no current", words={"mat": _MATS}),
    "power-lost": Kind("both mats get no current; the instruments run on"),
    "weak-mat": Kind("a mat gets part of its heat", {"factor": (0.5, 0.0, 1.0)}, {"mat": ("inner", "outer", "both")}),
    "slow-heat-up": Kind("both mats get part of their heat", {"factor": (0.7, 0.0, 1.0)}),
    "lifted-probe": Kind("a probe stands off its mat", {"share": (0.4, 0.0, 1.0)}, {"channel": CHANNELS[:2]}),
    "open-probe": Kind("a probe is broken", words={"channel": CHANNELS}),
    "stuck-probe": Kind("a reading is frozen to the digit", words={"channel": CHANNELS}),
    "erratic-probe": Kind("a reading jumps about", {"noise": (8.0, 0.0, 500.0)}, {"channel": CHANNELS}),
    "reversed-probe": Kind("a thermocouple is wired the wrong way round", words={"channel": CHANNELS[:2]}),
    "silence": Kind("no readings come", for_min=5.0),
    "unplugged": Kind("the port is gone", for_min=1.0),
    "ram-drop": Kind("the ram loses its pressure", {"to_psi": (200.0, 0.0, 5000.0)}),
    "heat-off": Kind("the heat is switched off and the press left to cool under pressure"),
    "early-release": Kind("heat off and bag down at once"),
}


@dataclass(frozen=True, slots=True)
class Trouble:
    """One trouble: from `start_s` until before `end_s` on the cycle's axis, with its parameters."""

    kind: str
    start_s: float
    end_s: float
    numbers: Mapping[str, float]
    words: Mapping[str, str]


def read_trouble(given: Mapping[str, object], where: str = "") -> Trouble:
    """Read one entry of the timetable. Raises `DriverError` naming the key, prefixed with `where`."""
    options = Options(given, where)
    name = options.text("kind", among=tuple(KINDS))
    kind = KINDS[name]
    start = options.number("at_min", 0.0, low=0.0) * 60.0
    lasts = options.maybe("for_min", low=0.0)
    numbers = {key: options.number(key, value, low=low, high=high) for key, (value, low, high) in kind.numbers.items()}
    words = {key: options.text(key, among[0], among=among) for key, among in kind.words.items()}
    options.finish()
    return Trouble(name, start, start + (kind.for_min if lasts is None else lasts) * 60.0, numbers, words)


@dataclass(slots=True)
class Effects:
    """What all troubles of one moment do together."""

    mat_power: list[float] = field(default_factory=lambda: [1.0, 1.0])
    leak_psi_min: float = 0.0
    leak_law: str = _LAWS[0]
    burst_tau_s: float | None = None
    supply: str | None = None
    not_inflated: bool = False
    heat_off: bool = False
    vented: bool = False
    silent: bool = False
    unplugged: bool = False
    ram_psi: float | None = None
    probes: dict[str, Trouble] = field(default_factory=dict)


def effects_of(troubles: Iterable[Trouble], t: float) -> Effects:
    """What stands at `t`; where two troubles touch one thing the later in the list wins."""
    effects = Effects()
    for trouble in troubles:
        if trouble.start_s <= t < trouble.end_s:
            _apply(trouble, effects)
    return effects


def _apply(trouble: Trouble, effects: Effects) -> None:
    match trouble.kind:
        case "burst":
            effects.burst_tau_s = trouble.numbers["tau_s"]
        case "leak" | "masked-leak":
            effects.leak_psi_min = trouble.numbers["rate_psi_min"]
            effects.leak_law = trouble.words["law"]
            effects.supply = "regulated" if trouble.kind == "masked-leak" else "sealed"
        case "forgotten-bag":
            effects.not_inflated = True
        case "dead-mat" | "weak-mat" | "slow-heat-up" | "power-lost":
            factor, mat = trouble.numbers.get("factor", 0.0), trouble.words.get("mat", "both")
            for index, name in enumerate(_MATS[1:]):
                if mat in ("both", name):
                    effects.mat_power[index] *= factor
        case "silence":
            effects.silent = True
        case "unplugged":
            effects.unplugged = True
        case "ram-drop":
            effects.ram_psi = trouble.numbers["to_psi"]
        case "heat-off":
            effects.heat_off = True
        case "early-release":
            effects.heat_off = effects.vented = True
        case _:
            effects.probes[trouble.words["channel"]] = trouble

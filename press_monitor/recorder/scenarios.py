"""The invented shop of the demo: its files, and what happens on its presses.

Everything in it is made up. The compound and the recipes are for show and are no recipe for real rubber.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import tomlkit

from press_monitor.archive import Json

__all__ = ["INTERVAL_S", "SHOP_NAME", "Scenario", "opening", "shop_text", "turn"]

SHOP_NAME = "Juniper Flat Section Repair"
INTERVAL_S = 2
"""Seconds between samples, and the recorder's grid: an hour of history is drawn in a moment."""

_TITLES = ("North", "South", "Long arm", "Small")

_HEAD = f"""\
# The shop of the demo: invented, like everything in it. No recipe for real rubber: use the maker's own cure data.

[shop]
name = "{SHOP_NAME}"
units = "us"
altitude = "300 ft"
ambient = "65 degF"

[compounds.section-gum]
reference_temperature = "150 degC"
scorch = "2.5 min"
tc50 = "6 min"
tc90 = "12 min"
activation_energy = "100 kJ/mol"
blow_point = 0.35
reversion = "150 min"

[recipes.section-300]
hold_temperature = "300 degF"
hold_tolerance = "10 degF"
maximum_temperature = "330 degF"
heat_up_limit = "25 min"
minimum_hold = "40 min"
required_cure = 0.90
release_below = "180 degF"
bag_pressure = "32 psi"
bag_minimum = "28 psi"
bag_maximum = "40 psi"

[recipes.sidewall-300]
hold_temperature = "300 degF"
hold_tolerance = "10 degF"
maximum_temperature = "330 degF"
heat_up_limit = "20 min"
minimum_hold = "20 min"
required_cure = 0.90
release_below = "180 degF"
bag_pressure = "32 psi"
bag_minimum = "28 psi"
bag_maximum = "40 psi"
"""

_REPAIRS = {"shoulder-44": (8, 22, 14), "crown-30": (6, 14, 10), "sidewall-16": (4, 6, 6)}


@dataclass(frozen=True, slots=True)
class Scenario:
    """One cycle: what the start command says, and the simulated press that plays it.

    Attributes:
        preset, recipe: of the shop file.
        tire, section: for the ticket.
        options: of the simulated driver, without the seed.
    """

    preset: str
    recipe: str
    tire: str
    section: str
    options: Mapping[str, object] = field(default_factory=dict)

    def start(self) -> dict[str, Json]:
        """The arguments of the start command."""
        ticket = {"tire": self.tire, "section": self.section, "mats_overlap": True}
        return {"recipe": self.recipe, "preset": self.preset, "ticket": ticket}


_THICK = Scenario("shoulder-44", "section-300", "loader 23.5R25", "shoulder", {"heat_off_min": 100, "mat_fall_min": 6})
_MIDDLE = Scenario("crown-30", "section-300", "harvester 30.5L-32", "crown", {"heat_off_min": 70, "mat_fall_min": 6})
_THIN = Scenario(
    "sidewall-16",
    "sidewall-300",
    "skid-steer 12-16.5",
    "sidewall",
    {"heat_up_min": 12, "heat_off_min": 38, "mat_fall_min": 5},
)


def _with(scenario: Scenario, *faults: Mapping[str, object], **options: object) -> Scenario:
    return replace(scenario, options={**scenario.options, **options, "faults": [dict(fault) for fault in faults]})


# What the presses show first, each with the minutes that lie behind it: mid-hold and well; a bag about to let go;
# an outer mat about to lose its lead; one about to be let down and sealed.
_OPENING = (
    _with(_THICK, started_min_ago=52),
    _with(
        _MIDDLE,
        {"kind": "leak", "at_min": 27, "rate_psi_min": 5.0},
        {"kind": "silence", "at_min": 40, "for_min": 1},
        started_min_ago=25,
        heat_off_min=60,
    ),
    _with(
        _MIDDLE,
        {"kind": "dead-mat", "mat": "outer", "at_min": 34},
        {"kind": "unplugged", "at_min": 48, "for_min": 1},
        started_min_ago=30,
        heat_off_min=72,
    ),
    _with(_THIN, started_min_ago=46.5),
)

_LATER = (
    _with(_THIN),
    _with(_MIDDLE, {"kind": "burst", "at_min": 24}, heat_off_min=55),
    _with(_THIN, {"kind": "open-probe", "channel": "inner_mat", "at_min": 21, "for_min": 4}),
    _with(_THIN, {"kind": "power-lost", "at_min": 24, "for_min": 6}, heat_off_min=48),
    _with(_THIN, {"kind": "forgotten-bag", "for_min": 12}),
    _with(_MIDDLE, {"kind": "masked-leak", "at_min": 26, "rate_psi_min": 0.8}, heat_off_min=58),
    _with(_THIN, {"kind": "lifted-probe", "channel": "outer_mat", "at_min": 24, "for_min": 6}),
    _with(_THIN, {"kind": "silence", "at_min": 20, "for_min": 2}),
    _with(_THIN, {"kind": "slow-heat-up", "factor": 0.62}, heat_off_min=55),
    _with(_THIN, {"kind": "early-release", "at_min": 26}),
)


def opening(index: int) -> Scenario:
    """What the press at `index` (from 0) shows when the demo begins."""
    if index < len(_OPENING):
        return _OPENING[index]
    return replace(turn(index, 0), options={**turn(index, 0).options, "started_min_ago": 3 + 7 * index % 20})


def turn(index: int, count: int) -> Scenario:
    """What the press at `index` shows in its cycle number `count` after the first."""
    return _LATER[(3 * index + 7 * count) % len(_LATER)]


def driver_options(scenario: Scenario, index: int, count: int = 0) -> dict[str, object]:
    """The simulated driver's options for a scenario; every cycle has a seed of its own."""
    fixed: dict[str, object] = {
        "seed": 100 * index + count + 1,
        "interval_s": INTERVAL_S,
        "heat_on_min": 2,
        "vent_below_degF": 170,
        "after_min": 5,
        "started_min_ago": 0,
        "faults": [],
        "thickness_mm": sum(_REPAIRS[scenario.preset]),
    }
    return {**fixed, **scenario.options}


def shop_text(presses: int) -> str:
    """The shop file, with so many presses."""
    parts = [_HEAD]
    for name, layers in _REPAIRS.items():
        parts.append(f"\n[repairs.{name}]\nmats_overlap = true\n")
        for layer, thickness in zip(("repair patch", "casing", "filler rubber"), layers, strict=True):
            cures = "" if layer == "casing" else 'compound = "section-gum"\n'
            parts.append(f'[[repairs.{name}.layers]]\nname = "{layer}"\nthickness = "{thickness} mm"\n{cures}')
    for index in range(presses):
        scenario = opening(index)
        title = _TITLES[index] if index < len(_TITLES) else f"Press {index + 1}"
        press: dict[str, object] = {"title": title, "driver": "simulated", "recipe": scenario.recipe}
        press["options"] = driver_options(scenario, index)
        parts.append("\n" + tomlkit.dumps({"presses": {f"P{index + 1}": press}}))
    return "".join(parts)

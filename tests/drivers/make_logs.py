"""Makes the logs in ``simulated_logs`` from recorded seeds: ``python -m tests.drivers.make_logs`` in the checkout.

A test makes each one again and compares it byte for byte, so a change of the simulator shows here first.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from drivers.log import Column, format_log, parse_log
from drivers.press_options import press_settings
from drivers.simulated_press import SimulatedPress

FOLDER = Path(__file__).resolve().parents[2] / "simulated_logs"
SHOP = "Juniper Flat Section Repair (invented)"


@dataclass(frozen=True)
class Scenario:
    """One log: the press's options, how long it is kept, and what it says of itself.

    Attributes:
        seed: of the simulator, written into the log.
        story: what happens, with minutes and elapsed_s; ``{vented}`` stands for the moment the bag is down.
        options: of the simulated press.
        repair, recipe: what to judge it by.
        stops_min: where the log is cut off; None: it ends with the cycle.
        empty_from_min: silences from here on are written as empty rows, those before as missing ones.
    """

    seed: int
    story: str
    options: Mapping[str, object] = field(default_factory=dict)
    repair: str = "repair-44mm.toml"
    recipe: str = "section-300"
    stops_min: float | None = None
    empty_from_min: float = float("inf")


def fault(at_min: float, kind: str, **parameters: object) -> dict[str, object]:
    """One entry of the timetable."""
    return {"at_min": at_min, "kind": kind, **parameters}


MATS_AND_BAG = ["inner_mat", "outer_mat", "bag"]
RELEASED = "heat off at minute {off} ({off_s} s), cooled under pressure, bag down at {vented} s"

SCENARIOS: dict[str, Scenario] = {
    "good-thin": Scenario(
        101,
        f"a good cure of a thin section, thermostat ±4 degF, regulated bag; {RELEASED}",
        {"thickness_mm": 16, "heat_up_min": 14, "heat_off_min": 80, "interval_s": 1},
        "repair-thin.toml",
    ),
    "good-thick": Scenario(
        102,
        f"a good cure of a thick section, low and long, in degC and kPa, relief valve at 36 psi; {RELEASED}",
        {
            "thickness_mm": 60,
            "hold_degF": 275,
            "heat_up_min": 20,
            "heat_off_min": 226,
            "interval_s": 5,
            "control": "proportional",
            "supply": "relief",
            "temperature_unit": "degC",
            "pressure_unit": "kPa",
            "channels": [*MATS_AND_BAG, "buried"],
            "buried_mm": 40,
        },
        "repair-thick.toml",
        "section-275",
    ),
    "normal-release": Scenario(
        103,
        f"a good cure with its full cool-down, thermostat ±6 degF; {RELEASED}, then the ram",
        {"hysteresis_degF": 6, "heat_off_min": 106, "interval_s": 2, "channels": [*MATS_AND_BAG, "ram", "air"]},
    ),
    "wide-thermostat": Scenario(
        104,
        "a good cure under a coarse thermostat, ±15 degF about 297 degF, and a 20 s power blip at minute 60 (3600 s): "
        f"nothing to alarm at; {RELEASED}",
        {
            "hold_degF": 297,
            "hysteresis_degF": 15,
            "heat_off_min": 106,
            "interval_s": 2,
            "faults": [fault(60, "power-lost", for_min=20 / 60)],
        },
    ),
    "burst-bag": Scenario(
        105,
        "the bag bursts at minute 35 (2100 s), the heat stays on; heat off at minute {off} ({off_s} s)",
        {"heat_off_min": 106, "interval_s": 2, "faults": [fault(35, "burst")]},
    ),
    "slow-leak": Scenario(
        106,
        "from minute 55 (3300 s) the bag, its valve shut, leaks 0.5 psi/min at 32 psi, less as it falls; "
        "heat off at minute {off} ({off_s} s), bag let down at {vented} s",
        {"supply": "relief", "heat_off_min": 106, "interval_s": 2, "faults": [fault(55, "leak", rate_psi_min=0.5)]},
    ),
    "masked-leak": Scenario(
        107,
        f"from minute 45 (2700 s) the bag leaks 0.6 psi/min and the regulator refills it, a saw-tooth; {RELEASED}",
        {"heat_off_min": 106, "interval_s": 2, "faults": [fault(45, "masked-leak", rate_psi_min=0.6)]},
    ),
    "dead-mat": Scenario(
        108,
        "the outer mat's lead fails at minute 40 (2400 s), its current falls to 0; "
        "the log stops at minute 75, press still shut",
        {
            "interval_s": 1,
            "channels": [*MATS_AND_BAG, "inner_mat_current", "outer_mat_current"],
            "faults": [fault(40, "dead-mat", mat="outer")],
        },
        stops_min=75,
    ),
    "power-lost": Scenario(
        109,
        "the breaker of both mats trips at minute 50 (3000 s), the bag holds; the log stops at minute 85",
        {"interval_s": 1, "faults": [fault(50, "power-lost")]},
        stops_min=85,
    ),
    "lifted-probe": Scenario(
        110,
        f"the inner mat's probe lifts off at minute 45 (2700 s) and stays off, the mat itself holds; {RELEASED}",
        {"heat_off_min": 106, "interval_s": 2, "faults": [fault(45, "lifted-probe", channel="inner_mat")]},
    ),
    "open-probe": Scenario(
        111,
        "the outer mat's probe is open from minute 50 (3000 s) to minute 58 (3480 s), the mat itself holds; "
        f"{RELEASED}",
        {
            "heat_off_min": 106,
            "interval_s": 2,
            "faults": [fault(50, "open-probe", channel="outer_mat", for_min=8)],
        },
    ),
    "late-heat-up": Scenario(
        112,
        f"both mats get 72 % of their heat from the start and reach the band far too late; {RELEASED}",
        {"heat_off_min": 118, "interval_s": 5, "faults": [fault(0, "slow-heat-up", factor=0.72)]},
    ),
    "forgotten-bag": Scenario(
        113,
        "nobody inflates the bag, the heat comes on at minute 1 (60 s); the log stops at minute 60, heat still on",
        {"interval_s": 2, "faults": [fault(0, "forgotten-bag")]},
        stops_min=60,
    ),
    "silent-gap": Scenario(
        114,
        "no rows from minute 48 (2880 s) to minute 55 (3300 s), empty rows from minute 70 (4200 s) for 90 s, "
        f"the press itself holds; {RELEASED}",
        {
            "heat_off_min": 106,
            "interval_s": 2,
            "faults": [fault(48, "silence", for_min=7), fault(70, "silence", for_min=1.5)],
        },
        empty_from_min=60,
    ),
    "early-release": Scenario(
        115,
        "at minute 60 (3600 s) the heat is switched off and the bag let down at once, hot and uncured",
        {"interval_s": 1, "after_min": 20, "faults": [fault(60, "early-release")]},
        stops_min=80,
    ),
}
VENT_BELOW_DEGF = 165


@cache
def make(name: str) -> bytes:
    """The bytes of one log."""
    scenario = SCENARIOS[name]
    settings = press_settings({"vent_below_degF": VENT_BELOW_DEGF, **scenario.options, "seed": scenario.seed})
    press = SimulatedPress(settings)
    times: list[float] = []
    rows: list[tuple[float | None, ...]] = []
    end = float("inf") if scenario.stops_min is None else scenario.stops_min * 60.0
    while press.t <= end and not press.finished:
        frame = press.step()
        if frame.readings or frame.t >= scenario.empty_from_min * 60.0:
            times.append(frame.t)
            rows.append(tuple(value for _, value in frame.readings))
    off = settings.heat_off_min or 0.0
    story = scenario.story.format(off=f"{off:g}", off_s=f"{off * 60.0:g}", vented=f"{press.vented_s or 0.0:g}")
    comments = {
        "what happens": story,
        "shop": SHOP,
        "press": "P1",
        "recipe": scenario.recipe,
        "repair": scenario.repair,
        "simulated": "every reading is made up by tests/drivers/make_logs.py",
        "seed": str(scenario.seed),
    }
    columns = [Column(channel, settings.unit(channel), press.decimals(channel)) for channel in settings.channels]
    return format_log(columns, times, rows, comments=comments.items())


def readme() -> str:
    """The folder's README: one line a log."""
    rows = []
    for name, scenario in SCENARIOS.items():
        story = parse_log(make(name), name).comment("what happens")
        rows.append(f"| `{name}.csv` | {scenario.recipe} | `{scenario.repair}` | {story} |")
    return README + "\n".join(rows) + "\n"


README = """# Simulated logs

Cures of an invented shop in the log format. Every reading is made up by the simulator from the seed in the log; none is
a measurement, and no recipe here is one for real rubber. Replay one with

    press-monitor replay simulated_logs/burst-bag.csv --shop simulated_logs/shop.toml --recipe section-300 \\
        --repair simulated_logs/repair-44mm.toml

The logs and this page are made by `python -m tests.drivers.make_logs` and compared byte for byte in the tests.

| log | recipe | repair | what happens |
|---|---|---|---|
"""


def main() -> None:
    """Write all logs and the README."""
    for name in SCENARIOS:
        (FOLDER / f"{name}.csv").write_bytes(make(name))
    (FOLDER / "README.md").write_bytes(readme().encode("utf-8"))


if __name__ == "__main__":
    main()

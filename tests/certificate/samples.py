"""A cure made up for the tests: an invented shop, figures that fit together."""

from __future__ import annotations

import copy
from typing import Any

ALARM: dict[str, Any] = {
    "id": "bag-low-1",
    "kind": "bag-low",
    "channel": "bag",
    "priority": "high",
    "raised_s": 2115.0,
    "since_s": 2096.5,
    "cleared_s": 2400.0,
    "consequence_of": None,
    "message": "Bag at 21.4 psi, below its 28.0 psi minimum for 15 s.",
    "advice": "Bring the bag back up; stay clear of the ram while it rises.",
}

RESULT: dict[str, Any] = {
    "verdict": "review",
    "reasons": ["8.2 % of the uncured rubber set while the bag was below 28.0 psi"],
    "source": "log",
    "certificate": 7,
    "hold_min": 62.25,
    "release_s": 7380.0,
    "duration_s": 7500.0,
    "phases": [
        {"phase": "heat-up", "start_s": 0.0, "end_s": 1320.0},
        {"phase": "hold", "start_s": 1320.0, "end_s": 5100.0},
        {"phase": "cool-down", "start_s": 5100.0, "end_s": 7380.0},
        {"phase": "released", "start_s": 7380.0, "end_s": None},
    ],
    "alarms": [
        ALARM,
        {
            **ALARM,
            "id": "heat-lost-1",
            "kind": "heat-lost",
            "channel": "inner_mat",
            "raised_s": 900.0,
            "since_s": 840.0,
            "cleared_s": None,
            "message": "Inner mat has left its cycle.",
            "advice": "",
        },
        {**ALARM, "id": "below-1", "kind": "below-profile", "priority": "medium", "consequence_of": "heat-lost-1"},
    ],
    "cure": {
        "deepest": {
            "stack": "repair",
            "depth_mm": 30.5,
            "state_of_cure": 0.912,
            "state_of_cure_low": 0.861,
            "state_of_cure_high": 0.954,
            "equivalent_min": 12.9,
            "peak_degC": 139.6,
        },
        "hottest": {
            "stack": "repair",
            "depth_mm": 0.0,
            "state_of_cure": 0.999,
            "state_of_cure_low": 0.998,
            "state_of_cure_high": 1.0,
            "equivalent_min": 61.0,
            "peak_degC": 149.4,
        },
        "worst_vapour_margin_kPa": 61.7,
        "worst_boil_margin_kPa": -120.4,
        "set_without_pressure": 0.082,
    },
}


def result(**changes: Any) -> dict[str, Any]:
    made = copy.deepcopy(RESULT)
    made.update(changes)
    return made

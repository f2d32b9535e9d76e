"""A cure made up for the tests: an invented shop, figures that fit together."""

from __future__ import annotations

import copy
from typing import Any

from press_monitor.archive.ledger import canonical
from press_monitor.archive.record import completed, record_body
from press_monitor.archive.trace import Trace
from press_monitor.archive.types import CertificateRecord, ChannelMeta, CycleStart, LedgerEntry
from press_monitor.cure.compound import Compound
from press_monitor.cure.layers import Layer, Repair, Stack
from press_monitor.watch.recipe import Recipe
from press_monitor.watch.types import to_json

GUM = Compound("section-gum", 150.0, 150.0, 360.0, 720.0, 100_000.0, 0.35, 5400.0)
REPAIR = Repair(
    (
        Stack(
            "repair",
            (Layer("repair patch", 0.008, GUM), Layer("casing", 0.022), Layer("filler rubber", 0.014, GUM)),
        ),
    )
)
RECIPE = Recipe(
    name="section-300",
    hold_temperature=(300 - 32) / 1.8,
    hold_tolerance=10 / 1.8,
    maximum_temperature=(330 - 32) / 1.8,
    heat_up_limit=1500.0,
    minimum_hold=3600.0,
    required_cure=0.90,
    release_below=(180 - 32) / 1.8,
    bag_pressure=32 * 6894.757293168,
    bag_minimum=28 * 6894.757293168,
    bag_maximum=40 * 6894.757293168,
)

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


def record(
    body_changes: dict[str, Any] | None = None, later: tuple[LedgerEntry, ...] = (), rows: int = 7501
) -> tuple[CertificateRecord, Trace]:
    """A certificate as the archive hands it out, and its trace: one mat leads by 10 degF, 5 min are missing."""
    channels = (
        ChannelMeta("inner_mat", "degF", 1),
        ChannelMeta("outer_mat", "degF", 1),
        ChannelMeta("bag", "psi", 2),
    )
    lived = [t for t in range(rows) if not 3000 <= t < 3300]
    made = [(n, t, (min(700 + 2 * t, 3050), min(700 + 2 * t, 2950), 3200)) for n, t in enumerate(lived)]
    trace = Trace.from_rows(channels, 0, made)
    start = CycleStart(
        cycle_id="0123456789abcdef" * 2,
        press="P2",
        started_utc=1_900_000_000.0,
        source="log",
        recipe=to_json(RECIPE),
        repair=to_json(REPAIR),
        ticket={
            "customer": "Dry Fork Quarry",
            "tire": "loader 23.5R25",
            "section": "sidewall",
            "lots": ["G-41", "C-7"],
        },
        channels=channels,
        time_decimals=0,
        setup={"units": "us", "probe_at": "rubber"},
    )
    body = record_body(
        start,
        RESULT,
        shop="Juniper Flat Section Repair",
        software="0.1.0",
        ended_utc=1_900_007_500.0,
        calibration={"bag": {"offset": 0.2, "date": "2030-01-10", "reference": "gauge G-3"}},
        actions=[{"t": 2130.0, "kind": "acknowledge", "operator": "", "alarm": "bag-low-1", "note": "pumped up"}],
        gaps=[{"start_s": 3000.0, "end_s": 3300.0, "why": "no readings"}],
        source_log_sha256="ab" * 32,
    )
    content = completed({**body, **(body_changes or {})}, trace, b"packed", (6, b"\x11" * 32))
    content |= {"entry": 31, "kind": "cure-record", "certificate": 7, "written_utc": "2030-03-17T19:51:41.000Z"}
    sealed = LedgerEntry(31, "cure-record", 7, canonical(content), b"\x22" * 32, b"\x33" * 64, content)
    as_of = max([31, *(entry.seq for entry in later)])
    return CertificateRecord(7, sealed, later, as_of, "cd" * 32), trace


def entry(seq: int, kind: str, **content: Any) -> LedgerEntry:
    whole = {"entry": seq, "kind": kind, "certificate": 7, "written_utc": "2030-03-18T08:00:00.000Z", **content}
    return LedgerEntry(seq, kind, 7, canonical(whole), b"\x44" * 32, b"\x55" * 64, whole)

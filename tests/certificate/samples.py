"""A cure made up for the tests: an invented shop, figures that fit together."""

from __future__ import annotations

import copy
from dataclasses import replace
from functools import cache
from typing import Any

from press_monitor.archive.ledger import canonical
from press_monitor.archive.record import completed, record_body
from press_monitor.archive.trace import Trace
from press_monitor.archive.types import CertificateRecord, ChannelMeta, CycleStart, LedgerEntry, LiveRow
from press_monitor.cure.compound import Compound
from press_monitor.cure.layers import Layer, Repair, Stack
from press_monitor.watch.plain import to_json
from press_monitor.watch.recipe import Recipe

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

OWN: dict[str, Any] = {
    **ALARM,
    "id": "archive-failing-1",
    "kind": "archive-failing",
    "channel": None,
    "raised_s": 3012.0,
    "since_s": 3009.0,
    "cleared_s": None,
    "acknowledged_s": None,
    "acknowledged_by": None,
    "message": "What is read cannot be kept: database or disk is full",
    "advice": "Make room on the disk, or change it, now.",
}
"""An alarm of the recorder's own, as `Cycle.note_alarm` keeps it."""


def own_alarm(**changes: Any) -> dict[str, Any]:
    """The event that keeps a recorder's alarm with a cycle."""
    return {"kind": "recorder-alarm", "t": 3012.0, "alarm": {**OWN, **changes}, "words": OWN["message"]}


WATCHED_LIVE: dict[str, Any] = {
    "source": "live",
    "source_log_sha256": None,
    "gaps": [{"kind": "recorder-gap", "t": 3000.0, "start_s": 3000.0, "end_s": 3300.0, "why": "the computer slept"}],
    "events": [
        own_alarm(id="no-horn-1", kind="no-horn", priority="low", raised_s=-40.0, message="No horn", advice="Stay."),
        own_alarm(),
        {"kind": "clock-step", "t": 3100.0, "seconds": -120.0, "words": "the clock was set back by 120 s"},
        own_alarm(acknowledged_s=3030.0, acknowledged_by="Ada"),
        own_alarm(acknowledged_s=3030.0, acknowledged_by="Ada", cleared_s=3060.0),
        own_alarm(raised_s=4000.0, message="What is read cannot be kept: disk I/O error"),
    ],
}
"""What a recorder adds that had trouble of its own, was started again, and had trouble again."""

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


def _stack(heat: float, deepest: float) -> dict[str, Any]:
    """A stack through its depth: a curve that rises to `heat` degC at both faces, casing in the middle."""
    depth = [float(d) for d in range(45)]
    return {
        "name": "repair",
        "layers": [
            {"name": "repair patch", "top_mm": 0.0, "bottom_mm": 8.0, "uncured": True},
            {"name": "casing", "top_mm": 8.0, "bottom_mm": 30.0, "uncured": False},
            {"name": "filler rubber", "top_mm": 30.0, "bottom_mm": 44.0, "uncured": True},
        ],
        "depth_mm": depth,
        "temperature_degC": [heat - 10.0 + (d - 22.0) ** 2 / 48.4 for d in depth],
        "state_of_cure": [None if 8 < d < 30 else deepest + (1.0 - deepest) * (d - 22.0) ** 2 / 484.0 for d in depth],
        "deepest_mm": 30.0,
        "hottest_mm": 0.0,
    }


PROFILES = {"heat_off": [_stack(148.0, 0.42)], "release": [_stack(80.0, 0.91)]}

ALL_CHANNELS = (
    ChannelMeta("inner_mat", "degF", 1),
    ChannelMeta("outer_mat", "degF", 1),
    ChannelMeta("bag", "psi", 2),
)


def live_rows(rows: int, channels: tuple[ChannelMeta, ...]) -> list[LiveRow]:
    """One mat leads by 10 degF, the bag holds 32 psi, 5 min are missing."""
    lived = [t for t in range(rows) if not 3000 <= t < 3300]
    values = {
        "inner_mat": lambda t: min(700 + 2 * t, 3050),
        "outer_mat": lambda t: min(700 + 2 * t, 2950),
        "bag": lambda t: 3200,
    }
    return [(n, t, tuple(values[channel.name](t) for channel in channels)) for n, t in enumerate(lived)]


def record(
    body_changes: dict[str, Any] | None = None,
    later: tuple[LedgerEntry, ...] = (),
    rows: int = 7501,
    channels: tuple[ChannelMeta, ...] = ALL_CHANNELS,
) -> tuple[CertificateRecord, Trace]:
    """A certificate as the archive hands it out, and its trace."""
    trace = Trace.from_rows(channels, 0, live_rows(rows, channels))
    start = start_of(channels)
    content = completed({**body_of(start), **(body_changes or {})}, trace, b"packed", (6, b"\x11" * 32))
    content |= {"entry": 31, "kind": "cure-record", "certificate": 7, "written_utc": "2030-03-17T19:51:41.000Z"}
    sealed = LedgerEntry(31, "cure-record", 7, canonical(content), b"\x22" * 32, b"\x33" * 64, content)
    as_of = max([31, *(entry.seq for entry in later)])
    return CertificateRecord(7, sealed, later, as_of, "cd" * 32), trace


def start_of(channels: tuple[ChannelMeta, ...] = ALL_CHANNELS, **changes: Any) -> CycleStart:
    """How the made-up cycle began."""
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
    return replace(start, **changes)


def body_of(start: CycleStart, **changes: Any) -> dict[str, Any]:
    """The made-up record's body, ready to be sealed."""
    given: dict[str, Any] = {
        "shop": "Juniper Flat Section Repair",
        "software": "0.1.0",
        "ended_utc": 1_900_007_500.0,
        "calibration": {"bag": {"offset": 0.2, "date": "2030-01-10", "reference": "gauge G-3"}},
        "actions": [{"t": 2130.0, "kind": "acknowledge", "operator": "", "alarm": "bag-low-1", "note": "pumped up"}],
        "gaps": [{"start_s": 3000.0, "end_s": 3300.0, "why": "no readings"}],
        "profiles": PROFILES,
        "source_log_sha256": "ab" * 32 if start.source == "log" else None,
        **changes,
    }
    outcome = given.pop("result", RESULT)
    return record_body(start, outcome, **given)


def entry(seq: int, kind: str, **content: Any) -> LedgerEntry:
    whole = {"entry": seq, "kind": kind, "certificate": 7, "written_utc": "2030-03-18T08:00:00.000Z", **content}
    return LedgerEntry(seq, kind, 7, canonical(whole), b"\x44" * 32, b"\x55" * 64, whole)


LONG = "Große Landmaschinen- und Erdbewegungsgesellschaft "
HOSTILE = (
    "<script>alert(1)</script><img src=x onerror=alert(2)> </style></title> {{7*7}} %s"
    " =cmd|' /C calc'!A0 @SUM(1) \x1b[2J\x1b]0;owned\x07 \u202egnp.exe \u2066 \x00"
    ' ,=1+1 ;-2+3\t=4 \r\n+5 "quoted" \\ & é'
)


@cache
def ugly() -> dict[str, tuple[CertificateRecord, Trace]]:
    """Records that have broken a page somewhere before, by name."""
    many = [{**ALARM, "id": f"a{n}", "raised_s": 180.0 * n, "since_s": 180.0 * n, "cleared_s": None} for n in range(40)]
    reasons = [f"reason {n} with a rather long explanation of what the figures say about it" for n in range(12)]
    long = {
        "customer": LONG * 12,
        "tire": "X" * 300,
        "section": "山田修理工場 한국 타이어 " * 6,
        "people": {"skived": "Владимир Ильинский", "buffed": "محمد علي", "packed": "שלום כהן", "wrote": "ไทย"},
        "materials": [{"use": "filler rubber", "lot": "SG-2203", "expires": "2031-05-04"}, {"use": "cement"}],
        "injury": {"length": "120 mm", "through": True},
        "note": "A long story. " * 400,
    }
    typed = ("customer", "tire", "section", "number", "note", "operator", HOSTILE.replace(".", ""))
    hostile = dict.fromkeys(typed, HOSTILE)
    live = {"source": "live", "source_log_sha256": None}
    return {
        "forty alarms": record({"result": result(alarms=many, reasons=reasons)}),
        "no ticket": record({"ticket": None, "repair": None, "profiles": None, "gaps": [], "actions": []}),
        "missing channel": record(channels=(ALL_CHANNELS[0],)),
        "long names": record({"ticket": long}),
        "hostile text": record(
            {
                "ticket": hostile,
                "shop": HOSTILE,
                "press": HOSTILE,
                "actions": [{"t": 5.0, "kind": HOSTILE, "operator": HOSTILE, "note": HOSTILE}],
                "result": result(reasons=[HOSTILE], alarms=[{**ALARM, "message": HOSTILE, "advice": HOSTILE}]),
            }
        ),
        "twelve hours": record({"result": result(duration_s=43_200.0)}, rows=43_201),
        "one minute": record(
            {"result": result(verdict="incomplete", duration_s=60.0, phases=[], alarms=[], release_s=None)}, rows=61
        ),
        "simulated": record({**live, "setup": {"units": "si", "driver": "simulated"}}),
        "played back": record({**live, "setup": {"units": "us", "driver": "replay"}}),
    }

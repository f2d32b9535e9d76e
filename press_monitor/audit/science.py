"""`press-monitor check --science`: the program's science against published figures, here and now, on this computer.

Only what needs nothing but the figures themselves; the tests go on to compare with independent libraries over whole
ranges.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict, dataclass
from enum import Enum
from typing import Any

import numpy as np

from press_monitor.audit import science_tables as published
from press_monitor.cure.advice import government_rule_min
from press_monitor.cure.bag_gas import absolute, expected_gauge, molar_flow
from press_monitor.cure.compound import Compound
from press_monitor.cure.conduction import decompose, mesh_of, recompute
from press_monitor.cure.kinetics import Array, curve_exponent, equivalent_time, rate, state_of_cure
from press_monitor.cure.layers import Layer, Repair, Stack
from press_monitor.cure.section import Face, Section
from press_monitor.cure.vapour import saturation_pressure, saturation_temperature
from press_monitor.quantities import PSI
from press_monitor.readings.loop import CurrentClass, Loop, classify
from press_monitor.readings.pt100 import Tolerance, resistance
from press_monitor.readings.pt100 import temperature as pt100_temperature
from press_monitor.readings.thermocouple import thermocouple

__all__ = ["Row", "Status", "science_json", "science_rows"]


class Status(Enum):
    """How far a published figure has been followed up."""

    READ = "read in the source"
    COMPUTED = "computed independently"
    MEMORY = "from memory, and computed independently"


@dataclass(frozen=True, slots=True)
class Row:
    """One comparison: the worst of `checked` errors against what is `allowed`, in `unit`."""

    topic: str
    what: str
    source: str
    status: Status
    checked: int
    worst_error: float
    allowed: float
    unit: str

    @property
    def ok(self) -> bool:
        """Whether the worst error is allowed; a figure that is no number is not."""
        return self.worst_error <= self.allowed


def science_json(rows: Iterable[Row]) -> dict[str, Any]:
    """What ``check --science --json`` prints; a worst error that is no number is null."""
    listed = [
        {
            **asdict(row),
            "status": row.status.value,
            "worst_error": row.worst_error if math.isfinite(row.worst_error) else None,
            "ok": row.ok,
        }
        for row in rows
    ]
    return {"ok": all(row["ok"] for row in listed), "rows": listed}


def science_rows() -> tuple[Row, ...]:
    """Run every comparison."""
    return tuple(row for part in _PARTS for row in part())


Pairs = Iterable[tuple[float, float]]


def _row(topic: str, what: str, source: str, status: Status, pairs: Pairs, allowed: float, unit: str) -> Row:
    """`pairs` are (ours, published); with the unit ``%`` errors are relative."""
    errors = [abs(ours / theirs - 1.0) * 100.0 if unit == "%" else abs(ours - theirs) for ours, theirs in pairs]
    # A number that is none would hide in max().
    worst = float(max(errors)) if all(np.isfinite(errors)) else math.inf
    return Row(topic, what, source, status, len(errors), worst, allowed, unit)


_ITS90 = "ITS-90 reference functions (NIST Monograph 175, IEC 60584-1, ASTM E230)"


def _thermocouples() -> Iterator[Row]:
    topic = "Thermocouples"
    for letter, table in published.EMF.items():
        kind = thermocouple(letter)
        pairs = [(kind.emf(t), emf) for t, emf in table.items()]
        yield _row(topic, f"type {letter}, emf at temperatures", _ITS90, Status.COMPUTED, pairs, 6e-4, "mV")
    for letter, table in published.TEMPERATURE.items():
        kind = thermocouple(letter)
        pairs = [(kind.temperature(emf), t) for emf, t in table.items()]
        yield _row(topic, f"type {letter}, temperature at emfs", _ITS90, Status.COMPUTED, pairs, 2e-3, "degC")
    pairs = [(thermocouple(x).emf(t), emf) for x, t, emf in published.PRINTED_EMF]
    yield _row(topic, "K and T below 0 degC as printed", _ITS90, Status.READ, pairs, 5.1e-4, "mV")
    pairs = [(thermocouple(x).temperature(emf, cold), t) for x, cold, emf, t in published.COLD_JUNCTION]
    yield _row(topic, "cold junctions, by adding emfs", _ITS90, Status.COMPUTED, pairs, 2e-3, "degC")
    pairs = [(-thermocouple("T").emf(t, 22.0), emf) for t, emf in published.LAB_SHEET.items()]
    sheet = "William & Mary, Physics 251, laboratory sheet"
    yield _row(topic, "type T, terminals at 22 degC", sheet, Status.READ, pairs, 1.1e-4, "mV")


def _other_sensors() -> Iterator[Row]:
    topic, standard = "Pt100 and loops", "IEC 60751"
    pairs = [(resistance(t), ohm) for t, ohm in published.OHM.items()]
    yield _row(topic, "Pt100, resistance", standard, Status.READ, pairs, 2e-3, "ohm")
    pairs = [(pt100_temperature(ohm), t) for t, ohm in published.OHM.items()]
    yield _row(topic, "Pt100, temperature", standard, Status.READ, pairs, 2e-3, "degC")
    pairs = [(Tolerance[c].at(150.0), k) for c, k in (("AA", 0.355), ("A", 0.45), ("B", 1.05))]
    yield _row(topic, "tolerance classes AA, A, B at 150 degC", standard, Status.READ, pairs, 1e-9, "K")
    pairs = [(Loop(0.0, 60.0).value(ma), psi) for ma, psi in published.LOOP.items()]
    yield _row(topic, "4-20 mA over 0 to 60 psi", "linear by definition", Status.COMPUTED, pairs, 1e-9, "psi")
    classes = {
        0.0: CurrentClass.FAILURE_LOW,
        3.6: CurrentClass.FAILURE_LOW,
        3.7: CurrentClass.UNDER_RANGE,
        3.8: CurrentClass.MEASURING,
        20.5: CurrentClass.MEASURING,
        20.7: CurrentClass.OVER_RANGE,
        21.0: CurrentClass.FAILURE_HIGH,
    }
    pairs = [(float(classify(ma) is not kind), 0.0) for ma, kind in classes.items()]
    source = "NAMUR NE 43, by three summaries of it"
    yield _row(topic, "what a loop's current means", source, Status.READ, pairs, 0.0, "wrong class")


def _slab(thickness: float, alpha: float = 1.1e-7, k: float = 0.25, compound: Compound | None = None) -> Stack:
    return Stack("slab", (Layer("slab", thickness, compound, k, 1150.0, k / alpha / 1150.0),))


def _held(
    stack: Stack,
    seconds: Iterable[float],
    faces: tuple[float, float],
    start: float = 20.0,
    conductances: tuple[float | None, float | None] = (None, None),
    nodes: int = 61,
) -> Array:
    """Temperatures (K, N) at `seconds` between faces held from 0 s."""
    basis = decompose(mesh_of([stack], nodes), *conductances).row(0)
    times = np.array([0.0, *seconds])
    inner, outer = (np.full(len(times), face) for face in faces)
    return recompute(basis, times, inner, outer, np.full(nodes, start))[1:]


def _walls() -> Iterator[Row]:
    topic = "Heat conduction"
    book = "Incropera, Fundamentals of Heat and Mass Transfer, table 5.1 and appendix B.3"
    roots: list[tuple[float, float]] = []
    weights: list[tuple[float, float]] = []
    for biot, (first, weight, *more) in published.PLANE_WALL.items():
        basis = decompose(mesh_of([_slab(0.025, 1e-7)], 201), biot * 0.25 / 0.025, 0.0).row(0)
        zeta = np.sqrt(basis.rates[:4] * 0.025**2 / 1e-7)
        roots += zip(zeta.tolist(), [first, *more], strict=True)
        weights.append((float(basis.modes(np.ones(201))[0] * basis.to_nodes[-1, 0]), weight))
    yield _row(topic, "roots of a convecting wall", book, Status.MEMORY, roots, 0.02, "%")
    yield _row(topic, "weight of its first mode", book, Status.MEMORY, weights, 1e-4, "")
    pairs: list[tuple[float, float]] = []
    for (biot, fourier), (middle, surface) in published.CONVECTING.items():
        h = biot * 0.25 / 0.025
        found = _held(_slab(0.050), [fourier * 0.025**2 / 1.1e-7], (0.0, 0.0), 1.0, (h, h))[0]
        pairs += [(found[30], middle), (found[0], surface)]
    yield _row(topic, "a convecting wall, Bi 0.1 to 10", "Incropera, eq. 5.42", Status.COMPUTED, pairs, 4e-4, "of 1")
    series = "Carslaw & Jaeger, Conduction of Heat in Solids, 3.3 and 3.4"
    times = [fourier * 0.025**2 / 1.1e-7 for fourier in published.HELD]
    found = _held(_slab(0.050), times, (150.0, 150.0))[:, 30]
    pairs = [(degC, 20.0 + 130.0 * share) for degC, share in zip(found.tolist(), published.HELD.values(), strict=True)]
    yield _row(topic, "middle of a slab, faces stepped by 130 K", series, Status.COMPUTED, pairs, 0.05, "K")
    pairs = [
        (_held(_slab(0.040), [1800.0], (150.0, 130.0))[0, 15], 113.099),
        (_held(_slab(0.050, 1e-7), [3600.0], (232.0, 20.0))[0, 30], 93.417),
        (_held(_slab(0.120, 1e-7), [1200.0], (150.0, 20.0), nodes=121)[0, 10], 87.419),
    ]
    yield _row(topic, "faces of two temperatures, a thick body", series, Status.COMPUTED, pairs, 0.05, "K")
    minutes = np.array([0.0, 10.0, 20.0, 30.0, 43.0 + 1.0 / 3.0])
    ramp = 20.0 + 3.0 * minutes
    basis = decompose(mesh_of([_slab(0.050, 1e-7)]), None, None).row(0)
    found = recompute(basis, 60.0 * minutes, ramp, ramp, np.full(61, 20.0))[1:, 30]
    pairs = list(zip(found.tolist(), (20.292, 24.076, 32.973, 51.525), strict=True))
    yield _row(topic, "both faces rising 3 K/min", series, Status.COMPUTED, pairs, 0.05, "K")
    steel = Stack("pipe", (Layer("steel", 0.040, None, 63.9, 63.9 / 18.8e-6 / 434.0, 434.0),))
    found = _held(steel, [480.0], (60.0, 0.0), -20.0, (500.0, 0.0))[0]
    pairs = [(found[-1], 42.9), (found[0], 45.36)]
    yield _row(topic, "steel wall, oil at one face", "Incropera, example 5.4", Status.READ, pairs, 0.2, "K")
    pairs = [
        (middle, theirs)
        for thickness, row in published.UNDER_450_DEGF.items()
        for middle, theirs in zip(
            _held(_slab(thickness), [1800.0, 3600.0, 5400.0, 7200.0], (232.2, 232.2))[:, 30].tolist(), row, strict=True
        )
    ]
    yield _row(topic, "25 to 100 mm between 450 degF mats", series, Status.COMPUTED, pairs, 0.1, "K")
    layers = (
        Layer("a", 0.020, None, 0.25, 1150.0, 0.25 / 1e-7 / 1150.0),
        Layer("b", 0.030, None, 0.20, 1150.0, 0.20 / 0.8e-7 / 1150.0),
    )
    two = Stack("two", layers)
    found = _held(two, [3600.0], (150.0, 20.0), conductances=(None, 0.0))[0]
    at = int(np.argmin(np.abs(mesh_of([two]).depth[0] - 0.020)))
    pairs = [(found[at], 82.549), (found[-1], 32.620)]
    yield _row(topic, "two layers", "a Laplace transform inverted (mpmath)", Status.COMPUTED, pairs, 0.3, "K")
    found = _held(_slab(0.050), [3600.0, 5400.0], (232.2, 20.0), conductances=(None, 10.0))
    pairs = [(found[0, -1], 41.885), (found[0, 30], 100.217), (found[1, -1], 57.834), (found[1, 30], 121.406)]
    yield _row(
        topic, "one mat, the other face in shop air", "series, mu cot mu = -Bi", Status.COMPUTED, pairs, 0.3, "K"
    )


_REDUCED_TIME = "Arrhenius and reduced time (Isayev et al., doi 10.5254/1.3538349)"


def _gum(reversion: float = 5400.0) -> Compound:
    return Compound("gum", 150.0, 150.0, 360.0, 720.0, 100e3, 0.35, reversion)


def _cure() -> Iterator[Row]:
    topic = "State of cure"
    pairs: list[tuple[float, float]] = [
        (float(rate(150.0, 1e3 * kJ, 140.0)), factor) for kJ, factor in published.PER_TEN_KELVIN.items()
    ]
    yield _row(topic, "cure speed over ten kelvin", _REDUCED_TIME, Status.COMPUTED, pairs, 6e-4, "times")
    pairs = [(float(rate(t, 100e3, 150.0)), r) for t, r in published.RELATIVE_RATE.items()]
    yield _row(topic, "cure speed at 120 to 232 degC", _REDUCED_TIME, Status.COMPUTED, pairs, 0.1, "%")
    pairs = []
    for energy, reference, start, end, per_minute, minutes in published.RAMPS:
        length = (end - start) / per_minute * 60.0
        times = np.linspace(0.0, length, int(length) + 1)
        found = equivalent_time(times, start + per_minute * times / 60.0, energy, reference)[-1]
        pairs.append((float(found) / 60.0, minutes))
    yield _row(
        topic,
        "equivalent minutes of a ramp",
        f"{_REDUCED_TIME}; exponential integral",
        Status.COMPUTED,
        pairs,
        0.01,
        "%",
    )
    times = np.arange(0.0, 7201.0, 2.0)
    faces = np.full(len(times), 150.0)
    basis = decompose(mesh_of([_slab(0.050)]), None, None).row(0)
    equivalent = equivalent_time(times, recompute(basis, times, faces, faces, np.full(61, 20.0)), 100e3, 150.0) / 60.0
    pairs = [
        (float(equivalent[int(30.0 * minutes), 30 + round(30 * x)]), theirs)
        for (x, minutes), theirs in published.SLAB.items()
    ]
    yield _row(
        topic, "equivalent minutes inside a slab", "quadrature over the series", Status.COMPUTED, pairs, 0.5, "%"
    )
    n = curve_exponent(360.0, 720.0)
    pairs = [(float(state_of_cure(60.0 * m, 360.0, n)), state) for m, state in published.CURVE.items()]
    yield _row(
        topic,
        "curemeter curve through tc50, tc90",
        "Isayev and Deng, closed form",
        Status.COMPUTED,
        pairs,
        1e-5,
        "of 1",
    )
    temperatures: list[tuple[float, float]] = []
    ends: list[tuple[float, float]] = []
    for (thickness, mats), (degC, at_off, total) in published.AFTER_HEAT_OFF.items():
        section = Section(Repair((_slab(thickness, compound=_gum(1e7)),)), 20.0, 20.0, None)
        section.advance(0.0, Face.mat(mats), Face.mat(mats))
        section.advance(5400.0, Face.mat(mats), Face.mat(mats))
        temperatures.append((float(section.profile()[0].temperature[30]), degC))
        if at_off > 1.0:  # smaller ones are given to two digits only
            ends.append((float(section.equivalent()[0, 30]) / 60.0, at_off))
        section.advance(5400.0, Face.air(20.0), Face.air(20.0))
        ends.append((float(section.equivalent()[0, 30]) / 60.0, total))
    differences = "finite differences, written apart from this program"
    yield _row(topic, "middle at heat-off, 50 to 100 mm", differences, Status.COMPUTED, temperatures, 0.3, "K")
    yield _row(topic, "its cure going on while it cools", differences, Status.COMPUTED, ends, 3.0, "%")


def _pressure() -> Iterator[Row]:
    topic, tables = "Water and bag", "IAPWS-IF97, region 4 (IAPWS R7-97)"
    pairs: list[tuple[float, float]] = [
        (saturation_pressure(t) / 1e3, kPa) for t, kPa in published.SATURATION_KPA.items()
    ]
    yield _row(topic, "water saturation, 100 to 200 degC", tables, Status.COMPUTED, pairs, 0.01, "%")
    pairs = [(saturation_temperature(absolute(psi * PSI)), t) for psi, t in published.BOILS_AT.items()]
    yield _row(topic, "where trapped water boils, 0 to 35 psi", tables, Status.COMPUTED, pairs, 0.1, "K")
    pairs = [(expected_gauge(p * PSI, a, b) / PSI, q) for p, a, b, q in published.CLOSED_BAG]
    yield _row(topic, "a closed bag warmed and cooled", "ideal gas", Status.COMPUTED, pairs, 1e-3, "psi")
    leak = molar_flow(0.002, 25_300.0, 20.0, 50_600.0, 20.0, 70.0, gas_constant=8.314472)
    yield _row(topic, "a leak in moles", "40 CFR 1065.644, its example", Status.MEMORY, [(leak, 3.0e-4)], 5e-6, "mol/s")


def _plans() -> Iterator[Row]:
    topic = "Plan"
    mats, start = (300.0 - 32.0) / 1.8, (72.0 - 32.0) / 1.8
    pairs: list[tuple[float, float]] = []
    for (all_uncured, minutes), theirs in published.WORKED_EXAMPLE.items():
        casing = Layer("casing", 0.022, _gum() if all_uncured else None)
        stack = Stack("example", (Layer("patch", 0.008, _gum()), casing, Layer("filler", 0.014, _gum())))
        section = Section(Repair((stack,)), start, start, None)
        begin = Face.mat(start if minutes else mats)
        section.advance(0.0, begin, begin)
        section.advance(60.0 * minutes, Face.mat(mats), Face.mat(mats))
        reached = section.reached(Face.mat(mats), Face.mat(mats), 0.90, growth=1.02)
        pairs.append((minutes + float(reached[0]) / 60.0, theirs))
    source = "an independent calculation, 300 degF mats, 72 degF start"
    yield _row(topic, "44 mm: minutes until 90 % at the deepest", source, Status.COMPUTED, pairs, 1.5, "min")
    inch = Repair((Stack("inch", (Layer("filler", 0.0254, _gum()),)),))
    pairs = [(government_rule_min(inch), 190.5)]
    yield _row(topic, "the government rule, one inch", "TM 9-2610-200-14, para 2-41", Status.READ, pairs, 0.1, "min")


_PARTS: tuple[Callable[[], Iterator[Row]], ...] = (_thermocouples, _other_sensors, _walls, _cure, _pressure, _plans)

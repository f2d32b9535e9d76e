"""State of cure against published figures and independent quadrature.

Sources: reduced time, Isayev et al., Rubber Chem. Technol. (doi 10.5254/1.3538349); Isayev and Deng's curve; Arrhenius.
The numbers are closed forms, or scipy and mpmath quadratures written here.
"""

from __future__ import annotations

import math

import mpmath
import numpy as np
import pytest
from scipy.integrate import quad

from press_monitor.cure.conduction import decompose, mesh_of, recompute
from press_monitor.cure.kinetics import (
    activation_energy_from_tc90,
    curve_exponent,
    equivalent_time,
    equivalent_time_at,
    rate,
    state_of_cure,
)
from press_monitor.cure.layers import Layer, Repair, Stack
from press_monitor.cure.section import Face, Section
from tests.cure.walls import GUM, plane_wall, slab


@pytest.mark.parametrize(
    ("energy", "factor"),
    [
        (60, 1.511), (70, 1.619), (80, 1.734), (85, 1.795), (90, 1.857), (95, 1.922), (100, 1.990), (105, 2.059),
        (110, 2.131), (120, 2.283),
    ],
)  # fmt: skip
def test_temperature_coefficient(energy: float, factor: float) -> None:
    """Arrhenius, 140 to 150 degC; K = 2 is 100.754 kJ/mol there and 105.631 from 150 to 160."""
    assert rate(150.0, energy * 1e3, 140.0) == pytest.approx(factor, abs=6e-4)
    assert rate(150.0, 100_754.0, 140.0) == pytest.approx(2.0, abs=1e-4)
    assert rate(160.0, 105_631.0, 150.0) == pytest.approx(2.0, abs=1e-4)
    assert rate(150.0, 85_439.0, 140.0) == pytest.approx(1.8, abs=1e-4)
    assert rate(150.0, 133_189.0, 140.0) == pytest.approx(2.5, abs=1e-4)
    assert rate(210.0, 100_000.0, 200.0) == pytest.approx(1.692, abs=1e-3)


def test_relative_rate() -> None:
    """At 100 and 85 kJ/mol, reference 150 degC; 232.22 degC is 450 degF."""
    at = np.array([100.0, 110.0, 120.0, 130.0, 140.0, 150.0, 160.0, 170.0, 180.0, 200.0, 2090.0 / 9.0])
    expected = [0.0222, 0.0514, 0.1143, 0.2441, 0.5026, 1.0, 1.9274, 3.6066, 6.5647, 20.158, 101.93]
    assert rate(at, 100_000.0, 150.0) == pytest.approx(expected, rel=2.5e-3)
    assert rate(at, 100_000.0, 150.0)[2:] == pytest.approx(expected[2:], rel=1e-3)
    some = np.array([100.0, 120.0, 140.0, 160.0, 180.0, 200.0, 2090.0 / 9.0])
    assert rate(some, 85_000.0, 150.0) == pytest.approx(
        [0.0393, 0.1583, 0.5572, 1.7468, 4.9503, 12.846, 50.94], rel=1.5e-3
    )


def test_stepped_hold() -> None:
    """10 min at 110, 30 at 140, 5 at 160 degC are 25.2296 min at 150."""
    total = sum(m * float(rate(t, 100_000.0, 150.0)) for m, t in ((10.0, 110.0), (30.0, 140.0), (5.0, 160.0)))
    assert total == pytest.approx(25.2296, abs=1e-4)
    # The same through the integral, with the jumps a millisecond long.
    times = np.array([0.0, 600.0, 600.001, 2400.001, 2400.002, 2700.002])
    held = np.array([110.0, 110.0, 140.0, 140.0, 160.0, 160.0])
    assert equivalent_time(times, held, 100_000.0, 150.0)[-1] / 60.0 == pytest.approx(25.2296, abs=1e-3)


@pytest.mark.parametrize(
    ("energy", "reference", "start", "end", "per_minute", "minutes"),
    [
        (90e3, 150.0, 25.0, 150.0, 2.5, 6.15199),
        (100e3, 140.0, 20.0, 140.0, 4.0, 3.32644),
        (80e3, 160.0, 30.0, 170.0, 1.5, 20.63540),
        (100e3, 150.0, 100.0, 2090.0 / 9.0, 5.0, 400.4373),
    ],
)
def test_linear_ramp(
    energy: float, reference: float, start: float, end: float, per_minute: float, minutes: float
) -> None:
    """Closed form with the exponential integral E1 (mpmath), also at one reading a minute."""
    b, tref = energy / 8.314462618, reference + 273.15

    def part(kelvin: float) -> mpmath.mpf:
        return kelvin * mpmath.e ** (-b / kelvin) - b * mpmath.e1(b / kelvin)

    closed = float(mpmath.e ** (b / tref) * (part(end + 273.15) - part(start + 273.15)) / per_minute)
    assert closed == pytest.approx(minutes, rel=1e-5)
    for interval in (1.0, 60.0):
        times = np.append(
            np.arange(0.0, (end - start) / per_minute * 60.0, interval), (end - start) / per_minute * 60.0
        )
        ramp = start + per_minute * times / 60.0
        found = equivalent_time(times, ramp, energy, reference)[-1] / 60.0
        assert found == pytest.approx(closed, rel=1e-3 if interval > 1.0 else 1e-6)


def test_isayev_deng_curve() -> None:
    """tc50 6, tc90 12 min: n = ln 9 / ln 2; closed form."""
    n = curve_exponent(360.0, 720.0)
    assert n == pytest.approx(3.16993, abs=1e-5)
    found = state_of_cure(60.0 * np.array([3.0, 6.0, 9.0, 12.0, 18.0]), 360.0, n)
    assert found == pytest.approx([0.1, 0.5, 0.78335, 0.9, 0.97019], abs=1e-5)
    assert equivalent_time_at(0.1, GUM) == pytest.approx(360.0**2 / 720.0)  # tc10 = tc50^2 / tc90
    for state in (0.001, 0.1, 0.35, 0.5, 0.9, 0.999):
        assert state_of_cure(equivalent_time_at(state, GUM), 360.0, n) == pytest.approx(state, rel=1e-12)


def test_activation_energy_from_a_card() -> None:
    """t90 20 min at 140 and 10.05 min at 150 degC: 100.0 kJ/mol."""
    assert activation_energy_from_tc90({140.0: 1200.0, 150.0: 603.0}) == pytest.approx(100_000.0, rel=1e-3)
    three = {t: 600.0 / float(rate(t, 93_000.0, 150.0)) for t in (140.0, 150.0, 165.0)}
    assert activation_energy_from_tc90(three) == pytest.approx(93_000.0, rel=1e-9)


def _by_quadrature(position: float, minutes: float, energy: float) -> float:
    """Equivalent minutes in a slab with both faces stepped to 150 degC: quad over the series."""

    def speed(seconds: float) -> float:
        kelvin = 273.15 + 150.0 - 130.0 * plane_wall(position, max(seconds, 1e-6) * 1.1e-7 / 0.025**2, None)
        return math.exp(energy / 8.314462618 * (1.0 / 423.15 - 1.0 / kelvin))

    return quad(speed, 0.0, 60.0 * minutes, limit=300)[0] / 60.0


@pytest.mark.parametrize(
    ("position", "energy", "expected"),
    [
        (0.0, 100e3, {60.0: 0.8168, 90.0: 6.6404, 120.0: 20.881}),
        (0.5, 100e3, {60.0: 2.4573, 90.0: 11.907, 120.0: 29.640}),
        (0.0, 80e3, {90.0: 9.595}),
        (0.0, 120e3, {90.0: 4.695}),
    ],
)
def test_equivalent_minutes_in_a_slab(position: float, energy: float, expected: dict[float, float]) -> None:
    """Both faces held at 150 from 20 degC, half thickness 25 mm: within half a percent of the quadrature, every way."""
    compound = GUM.__class__("c", 150.0, 60.0, 360.0, 720.0, energy, 0.35, 1e6)
    basis = decompose(mesh_of([slab(0.050)]), None, None).row(0)
    node = 30 + round(30 * position)
    for minutes, published in expected.items():
        exact = _by_quadrature(position, minutes, energy)
        assert exact == pytest.approx(published, rel=5e-4)
        times = np.arange(0.0, 60.0 * minutes + 1.0, 2.0)
        faces = np.full(len(times), 150.0)
        temperatures = recompute(basis, times, faces, faces, np.full(61, 20.0))
        assert equivalent_time(times, temperatures, energy, 150.0)[-1, node] / 60.0 == pytest.approx(exact, rel=5e-3)
        section = Section(Repair((slab(0.050, compound=compound),)), 20.0, 20.0, None)
        section.advance(0.0, Face.mat(150.0), Face.mat(150.0))
        section.advance(60.0 * minutes, Face.mat(150.0), Face.mat(150.0))
        assert section.equivalent()[0, node] / 60.0 == pytest.approx(exact, rel=5e-3)


@pytest.mark.parametrize(
    ("thickness", "mats", "at_heat_off", "peak", "equivalents"),
    [
        (0.050, 150.0, 134.1, 136.6, (6.63, 18.9, 90.0)),
        (0.075, 150.0, 91.6, 103.4, (0.14, 1.9, 90.0)),
        (0.075, 2090.0 / 9.0, 136.9, 156.2, (4.29, 86.6, 9160.0)),
        (0.100, 2090.0 / 9.0, 82.3, 115.1, (0.04, 4.7, 9160.0)),
    ],
)
def test_the_core_goes_on_curing(
    thickness: float, mats: float, at_heat_off: float, peak: float, equivalents: tuple[float, float, float]
) -> None:
    """90 min of heat, then 90 min cooling with h 10 on both faces; an independent finite-difference run, 3 %."""
    compound = GUM.__class__("c", 150.0, 60.0, 360.0, 720.0, 100e3, 0.35, 1e7)
    section = Section(Repair((slab(thickness, compound=compound),)), 20.0, 20.0, None)
    section.advance(0.0, Face.mat(mats), Face.mat(mats))
    section.advance(5400.0, Face.mat(mats), Face.mat(mats))
    off = section.deepest()
    assert off is not None
    assert off.depth == pytest.approx(thickness / 2.0)
    assert off.temperature_degC == pytest.approx(at_heat_off, abs=0.3)
    assert off.equivalent_s / 60.0 == pytest.approx(equivalents[0], rel=0.03, abs=0.006)
    section.advance(5400.0, Face.air(20.0), Face.air(20.0))
    centre = 30
    assert section.equivalent()[0, centre] / 60.0 == pytest.approx(equivalents[1], rel=0.03)
    assert section.peaks()[centre] == pytest.approx(peak, abs=0.4)
    hottest = section.hottest()
    assert hottest is not None
    # The table's face is that of the heating; cooling adds its last warmth.
    assert hottest.equivalent_s / 60.0 == pytest.approx(equivalents[2], rel=0.04)


def test_compounds_of_one_stack_cure_by_their_own_cards() -> None:
    """A thin sheet held at the reference temperature is its curemeter: each layer at its own tc90 has 90 %."""
    fast = GUM.__class__("fast", 150.0, 60.0, 180.0, 300.0, 90e3, 0.35, 1e6)
    sheet = Stack("sheet", (Layer("fast", 0.0002, fast), Layer("gum", 0.0002, GUM)))
    section = Section(Repair((sheet,)), 150.0, 150.0, None)
    section.advance(0.0, Face.mat(150.0), Face.mat(150.0))
    section.advance(300.0, Face.mat(150.0), Face.mat(150.0))
    cure = section.profile()[0].state_of_cure
    assert cure[0] == pytest.approx(0.9, abs=1e-9)
    n = curve_exponent(360.0, 720.0)
    assert cure[-1] == pytest.approx(1.0 / (1.0 + (360.0 / 300.0) ** n), abs=1e-9)
    section.advance(420.0, Face.mat(150.0), Face.mat(150.0))
    assert section.profile()[0].state_of_cure[-1] == pytest.approx(0.9, abs=1e-9)

"""Pt100 against IEC 60751: its coefficients and printed table, and the package ``rtd-sensor`` (no code shared)."""

from __future__ import annotations

import numpy as np
import pytest
from rtd_sensor import pt100 as reference

from press_monitor.readings import pt100
from press_monitor.readings.pt100 import Tolerance

TABLE = {
    -200: 18.5201,
    -100: 60.2558,
    0: 100.0,
    25: 109.7347,
    100: 138.5055,
    150: 157.3251,
    200: 175.8560,
    232.2222: 187.6451,
    300: 212.0515,
    400: 247.0920,
    850: 390.4811,
}

# computed, rtd-sensor 0.8.0 agrees
INVERSE = {
    60.26: -99.990,
    80.31: -49.991,
    119.40: 50.008,
    138.51: 100.012,
    157.33: 150.013,
    187.50: 231.824,
    200.00: 266.348,
}


@pytest.mark.parametrize(("temperature", "ohm"), TABLE.items())
def test_resistance_at_the_tables_temperatures(temperature: float, ohm: float) -> None:
    assert pt100.resistance(temperature) == pytest.approx(ohm, abs=0.002)
    assert pt100.resistance(temperature) == pytest.approx(ohm, abs=6e-5)


@pytest.mark.parametrize(("ohm", "temperature"), INVERSE.items())
def test_temperature_at_resistances(ohm: float, temperature: float) -> None:
    assert pt100.temperature(ohm) == pytest.approx(temperature, abs=0.001)


def test_both_ways_over_the_whole_range() -> None:
    t = np.concatenate([np.arange(-200.0, 850.5, 0.5), [-1e-9, 1e-9]])
    expected = np.array([reference.celsius_to_resistance(float(x)) for x in t])
    resistances, in_range = pt100.resistances(t)
    assert in_range.all()
    assert np.abs(resistances - expected).max() < 1e-9
    temperatures, in_range = pt100.temperatures(expected)
    assert in_range.all()
    assert np.abs(temperatures - t).max() < 1e-8
    theirs = np.array([reference.resistance_to_celsius(float(r)) for r in expected])
    assert np.abs(temperatures - theirs).max() < 1e-6


@pytest.mark.parametrize(
    ("tolerance", "kelvin"),
    # IEC 60751 at 150 degC, 0.1 + 0.0017 |t| and so on; class C from memory
    [(Tolerance.AA, 0.355), (Tolerance.A, 0.45), (Tolerance.B, 1.05), (Tolerance.C, 2.1)],
)
def test_tolerance_classes(tolerance: Tolerance, kelvin: float) -> None:
    assert tolerance.at(150.0) == pytest.approx(kelvin, abs=1e-12)
    assert tolerance.at(-150.0) == pytest.approx(kelvin, abs=1e-12)

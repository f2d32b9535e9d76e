"""Pt100 and 4-20 mA: what holds whatever the numbers, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from press_monitor.readings import pt100
from press_monitor.readings.loop import CurrentClass, Loop, classify, loop_report
from press_monitor.readings.types import SignalError

temperatures = st.floats(pt100.LOWEST, pt100.HIGHEST)


@given(temperatures, st.sampled_from([100.0, 500.0, 1000.0]))
def test_temperature_to_ohms_and_back(temperature: float, r0: float) -> None:
    assert pt100.temperature(pt100.resistance(temperature, r0), r0) == pytest.approx(temperature, abs=1e-9)


@given(temperatures, temperatures)
def test_hotter_is_more_ohms(one: float, other: float) -> None:
    low, high = sorted([one, other])
    if high - low > 1e-9:
        assert pt100.resistance(low) < pt100.resistance(high)


@given(st.lists(st.floats(-50.0, 500.0), min_size=1, max_size=30))
def test_arrays_agree_with_single_values_and_refuse_alike(ohms: list[float]) -> None:
    values, in_range = pt100.temperatures(ohms)
    for ohm, value, inside in zip(ohms, values, in_range, strict=True):
        if inside:
            assert pt100.temperature(ohm) == pytest.approx(value, abs=1e-9)
            assert pt100.resistances([value]).values[0] == pytest.approx(ohm, abs=1e-9)
        else:
            assert np.isnan(value)
            with pytest.raises(SignalError, match="outside its range"):
                pt100.temperature(ohm)


@pytest.mark.parametrize("temperature", [-200.1, 850.1, float("nan"), float("inf")])
def test_temperatures_outside_the_standard_are_refused(temperature: float) -> None:
    with pytest.raises(SignalError, match="-200 to 850 degC"):
        pt100.resistance(temperature)
    values, in_range = pt100.resistances([[temperature, 20.0]])
    assert in_range.tolist() == [[False, True]]
    assert np.isnan(values[0, 0])


@pytest.mark.parametrize("end", [pt100.LOWEST, pt100.HIGHEST])
def test_both_ends_come_back(end: float) -> None:
    ohm = pt100.resistance(end)
    assert pt100.temperature(ohm) == pytest.approx(end, abs=1e-9)
    assert pt100.temperatures(ohm).in_range.all()


def test_pt100_report_both_ways() -> None:
    told = pt100.pt100_report(ohm=138.5055)
    assert told == {
        "type": "Pt100",
        "ohm": 138.5055,
        "r0_ohm": 100.0,
        "temperature_degC": pytest.approx(100, abs=1e-3),
        # IEC 60751 at 100 degC: A 0.15 + 0.002 x 100, B 0.3 + 0.005 x 100
        "tolerance_A_K": pytest.approx(0.35, abs=1e-5),
        "tolerance_B_K": pytest.approx(0.80, abs=1e-5),
    }
    back = pt100.pt100_report(temperature_degC=100.0, r0=1000.0)
    assert (back["type"], back["ohm"], back["temperature_degC"]) == ("Pt1000", pytest.approx(1385.055), 100.0)
    for wrong in ({}, {"ohm": 100.0, "temperature_degC": 0.0}):
        with pytest.raises(SignalError, match="either the resistance or the temperature"):
            pt100.pt100_report(**wrong)
    for r0 in (0.0, -100.0, float("nan")):
        with pytest.raises(SignalError, match="cannot be"):
            pt100.pt100_report(ohm=100.0, r0=r0)


@given(st.floats(3.8, 20.5), st.floats(-1e3, 1e3), st.floats(1.0, 1e3))
def test_loop_value_and_current_are_inverse(current: float, low: float, span: float) -> None:
    for loop in (Loop(low, low + span), Loop(low + span, low)):
        assert loop.current(loop.value(current)) == pytest.approx(current, abs=1e-6)


@pytest.mark.parametrize(("low", "high"), [(5.0, 5.0), (0.0, float("nan")), (float("inf"), 1.0)])
def test_a_span_of_nothing_is_refused(low: float, high: float) -> None:
    with pytest.raises(SignalError, match="two different numbers"):
        Loop(low, high)


@pytest.mark.parametrize("current", [float("nan"), float("inf")])
def test_no_number_is_no_current(current: float) -> None:
    with pytest.raises(SignalError, match="no current"):
        classify(current)


def test_loop_report_gives_no_value_at_a_failure_current() -> None:
    keys = ["mA", "unit", "low", "high", "class", "value"]
    good = loop_report(12.0, 0.0, 60.0, "psi")
    assert list(good) == keys
    assert (good["class"], good["value"]) == (CurrentClass.MEASURING.value, 30.0)
    broken = loop_report(0.0, 0.0, 60.0, "psi")
    assert list(broken) == keys
    assert (broken["class"], broken["value"]) == ("failure, low", None)

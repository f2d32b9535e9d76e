"""What holds for every thermocouple, whatever the numbers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from press_monitor.readings.thermocouple import TYPES, SignalError, thermocouple, thermocouple_report

letters = st.sampled_from(TYPES)
fractions = st.floats(0.0, 1.0)


def emf_at(letter: str, fraction: float) -> float:
    kind = thermocouple(letter)
    return min(kind.emf_from + fraction * (kind.emf_to - kind.emf_from), kind.emf_to)


@given(letters, fractions)
def test_emf_to_temperature_to_emf(letter: str, fraction: float) -> None:
    kind, emf = thermocouple(letter), emf_at(letter, fraction)
    temperature = kind.temperature(emf)
    assert kind.temperatures_from <= temperature <= kind.temperatures_to
    assert kind.emf(temperature) == pytest.approx(emf, abs=1e-7)


@given(letters, fractions, fractions)
def test_more_emf_is_more_temperature(letter: str, one: float, other: float) -> None:
    low, high = sorted([emf_at(letter, one), emf_at(letter, other)])
    kind = thermocouple(letter)
    if high - low > 1e-9:
        assert kind.temperature(low) < kind.temperature(high)


@given(letters, st.lists(st.floats(-100.0, 100.0), min_size=1, max_size=40))
def test_array_and_scalar_agree_to_the_last_bit_and_refuse_alike(letter: str, emfs: list[float]) -> None:
    kind = thermocouple(letter)
    temperatures, in_range = kind.temperatures(emfs)
    for emf, temperature, inside in zip(emfs, temperatures, in_range, strict=True):
        if inside:
            assert kind.temperature(emf) == temperature
        else:
            assert np.isnan(temperature)
            with pytest.raises(SignalError, match=f"type {letter}: "):
                kind.temperature(emf)


@given(letters, st.floats(-400.0, 2000.0))
def test_temperatures_outside_are_refused_and_inside_give_a_number(letter: str, temperature: float) -> None:
    kind = thermocouple(letter)
    emfs, in_range = kind.emfs([temperature])
    inside = kind.temperatures_from <= temperature <= kind.temperatures_to
    assert bool(in_range[0]) is inside
    if inside:
        assert emfs[0] == pytest.approx(kind.emf(temperature), abs=1e-12)
    else:
        assert np.isnan(emfs[0])
        with pytest.raises(SignalError, match="outside its range"):
            kind.emf(temperature)


@given(letters, st.floats(0.0, 60.0), st.floats(260.0, 390.0))
def test_a_cold_junction_cancels(letter: str, cold: float, hot: float) -> None:
    kind = thermocouple(letter)
    assert kind.temperature(kind.emf(hot, cold), cold) == pytest.approx(hot, abs=1e-7)


@pytest.mark.parametrize("letter", TYPES)
def test_both_ends_of_the_range_come_back_through_any_cold_junction(letter: str) -> None:
    kind = thermocouple(letter)
    for cold in (0.0, 3.3, 25.0, 41.7):
        assert kind.temperature(kind.emf(kind.temperatures_to, cold), cold) == pytest.approx(
            kind.temperatures_to, abs=1e-6
        )
        if letter != "B":
            lowest = kind.emf(kind.temperatures_from, cold)
            assert kind.temperature(lowest, cold) == pytest.approx(kind.temperatures_from, abs=1e-5)


@pytest.mark.parametrize("letter", TYPES)
def test_just_outside_is_refused(letter: str) -> None:
    kind = thermocouple(letter)
    for emf in (kind.emf_from - 1e-6, kind.emf_to + 1e-6, float("nan"), float("inf"), -float("inf")):
        with pytest.raises(SignalError):
            kind.temperature(emf)
        values, in_range = kind.temperatures([emf, 5.0])
        assert in_range.tolist() == [False, True]
        assert np.isnan(values[0])
        assert np.isfinite(values[1])


@pytest.mark.parametrize("shape", [(), (0,), (1,), (3, 4), (40_000,), (2, 40_000)])
def test_any_shape_comes_back_in_its_shape(shape: tuple[int, ...]) -> None:
    kind = thermocouple("K")
    emfs = np.random.default_rng(5).uniform(-8.0, 60.0, shape)
    temperatures, in_range = kind.temperatures(emfs)
    assert temperatures.shape == in_range.shape == shape
    assert np.array_equal(np.isnan(temperatures), ~in_range)
    back, inside = kind.emfs(temperatures)
    assert np.array_equal(inside, in_range)
    assert np.allclose(back[in_range], emfs[in_range], atol=1e-7, rtol=0)


def test_an_array_of_cold_junctions_goes_with_the_emfs() -> None:
    kind = thermocouple("J")
    cold = np.array([20.0, 24.0, 31.5, 5000.0])
    temperatures, in_range = kind.temperatures([6.0, 6.7843, 7.0, 7.0], cold)
    assert in_range.tolist() == [True, True, True, False]
    assert temperatures[1] == pytest.approx(150.0, abs=0.002)
    assert [kind.temperature(e, c) for e, c in [(6.0, 20.0), (7.0, 31.5)]] == temperatures[[0, 2]].tolist()


def test_the_input_array_is_left_alone() -> None:
    emfs = np.array([-100.0, 0.5, 5.0])
    before = emfs.copy()
    thermocouple("K").temperatures(emfs)
    thermocouple("K").emfs(emfs)
    assert np.array_equal(emfs, before)


def test_report_both_ways() -> None:
    there = thermocouple_report("k", mv=5.1381, cold_junction=25.0)
    assert there == {
        "type": "K",
        "mv": 5.1381,
        "temperature_degC": pytest.approx(150.0, abs=0.002),
        "cold_junction_degC": 25.0,
    }
    back = thermocouple_report("K", temperature=150.0, cold_junction=25.0)
    assert list(back) == list(there)
    assert back["mv"] == pytest.approx(5.1381, abs=1e-4)
    assert back["temperature_degC"] == 150.0


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"type_": "X", "mv": 1.0}, "no thermocouple type 'X': known are K J T E N S R B"),
        ({"type_": "K"}, "either the mV or the temperature"),
        ({"type_": "K", "mv": 1.0, "temperature": 20.0}, "either the mV or the temperature"),
        ({"type_": "K", "mv": 60.0, "cold_junction": 25.0}, "61.0002 mV in all, is outside its range"),
        ({"type_": "K", "mv": 1.0, "cold_junction": 2000.0}, "2000 degC is outside its range, -270 to 1372 degC"),
        ({"type_": "B", "mv": 0.1}, "too little to tell a temperature"),
    ],
)
def test_bad_input_is_one_clear_line(arguments: dict, words: str) -> None:
    with pytest.raises(SignalError) as refused:
        thermocouple_report(**arguments)
    assert words in str(refused.value)
    assert "\n" not in str(refused.value)


def test_the_benchmark_finds_the_promised_error_and_compares_with_the_published_inverse() -> None:
    from tests.benchmarks.thermocouple import run

    figures = run(letters="K", repeats=1)
    assert "time over the published inverse, worst type" in figures
    assert float(figures["error, worst, degC"]) < 1e-4

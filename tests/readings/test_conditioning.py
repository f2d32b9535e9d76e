"""From an instrument's sample to the record's integer and the watch's reading."""

from __future__ import annotations

import json
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.base import Fault, Sample
from press_monitor.quantities import QuantityError, to_si
from press_monitor.readings import MISSING, Quality, SignalError
from press_monitor.readings.calibration import Calibration
from press_monitor.readings.conditioning import Conditioner, PressConditioner, reading_of
from press_monitor.readings.setup import (
    ChannelSetup,
    Conversion,
    Direct,
    LoopInput,
    Pt100Input,
    ThermocoupleInput,
    TwoPointInput,
    default_decimals,
    default_setup,
    possible_range,
)
from press_monitor.readings.thermocouple import thermocouple

PSI_LOOP = LoopInput(0.0, 60.0, "psi")
K_FIXED = ThermocoupleInput("K", cold_junction=25.0)


def count(setup: ChannelSetup, value: float | None, unit: str, cold: float | None = None) -> int | None:
    return Conditioner(setup).condition(Sample(setup.name, value, unit, 7.0), cold).n


@pytest.mark.parametrize(
    ("setup", "value", "unit", "n"),
    [
        (default_setup("inner_mat", "degF"), 300.14, "degF", 3001),
        (default_setup("inner_mat", "degF"), 150.0, "degC", 3020),
        (default_setup("inner_mat", "degC"), 302.0, "degF", 1500),
        (default_setup("bag", "psi"), 32.0, "psi", 3200),
        (default_setup("bag", "psi"), 2.2063, "bar", 3200),
        (default_setup("bag", "kPa"), 32.0, "psi", 22063),
        (default_setup("inner_mat_current", "A"), 8123.0, "mA", 812),
        (default_setup("door", "mm", 1), 12.34, "mm", 123),
        # NIST: type K, terminals at 25 degC, 5.1381 mV is 150.000 degC, 302.0 degF
        (ChannelSetup("outer_mat", "degF", 1, K_FIXED), 5.1381, "mV", 3020),
        # IEC 60751: 157.3251 ohm is 150 degC
        (ChannelSetup("buried", "degC", 2, Pt100Input()), 157.3251, "ohm", 15000),
        (ChannelSetup("buried", "degC", 2, Pt100Input(1000.0)), 1573.251, "ohm", 15000),
        # 12 mA is half of the span: 30 psi
        (ChannelSetup("bag", "psi", 2, PSI_LOOP), 12.0, "mA", 3000),
        (ChannelSetup("bag", "psi", 2, PSI_LOOP), 0.012, "A", 3000),
        (ChannelSetup("bag", "kPa", 2, PSI_LOOP), 12.0, "mA", 20684),
        # a 10-bit converter: 102 counts are 0 psi, 921 are 100 psi
        (ChannelSetup("bag", "psi", 2, TwoPointInput(102, 0.0, 921, 100.0, "psi")), 512.0, "counts", 5006),
        # an instrument that names no unit gives what the setup wants
        (default_setup("bag", "psi"), 32.0, "", 3200),
        (ChannelSetup("outer_mat", "degF", 1, K_FIXED), 5.1381, "", 3020),
    ],
)
def test_what_is_kept(setup: ChannelSetup, value: float, unit: str, n: int) -> None:
    made = Conditioner(setup).condition(Sample(setup.name, value, unit, 7.0))
    assert (made.n, made.quality, made.fault, made.words) == (n, Quality.GOOD, None, "")
    assert (made.channel, made.at) == (setup.name, 7.0)


def test_calibration_is_applied_in_the_channels_unit_after_conversion() -> None:
    setup = ChannelSetup("outer_mat", "degF", 1, K_FIXED, Calibration(offset=-2.0, gain=1.01))
    assert count(setup, 5.1381, "mV") == 3030  # 302.0 x 1.01 - 2.0 = 303.02


@pytest.mark.parametrize(
    ("setup", "value", "unit", "quality", "fault", "words"),
    [
        # a broken thermocouple driven to the top of its range; -60 and 600 degC bound every mat
        (default_setup("inner_mat", "degF"), 2501.6, "degF", Quality.OUT_OF_RANGE, None, "2501.6 degF is not possible"),
        (default_setup("inner_mat", "degC"), -60.1, "degC", Quality.OUT_OF_RANGE, None, "-60 to 600 degC"),
        (default_setup("bag", "psi"), -14.6, "psi", Quality.OUT_OF_RANGE, None, "not possible"),
        (default_setup("bag", "kPa"), -100.5, "kPa", Quality.OUT_OF_RANGE, None, "not possible"),
        (ChannelSetup("bag", "psi", 2, low=-1.0, high=60.0), 61.0, "psi", Quality.OUT_OF_RANGE, None, "-1 to 60 psi"),
        (ChannelSetup("outer_mat", "degF", 1, K_FIXED), 60.0, "mV", Quality.OUT_OF_RANGE, None, "outside its range"),
        (ChannelSetup("bag", "psi", 2, PSI_LOOP), 3.7, "mA", Quality.OUT_OF_RANGE, None, "under the measuring"),
        (ChannelSetup("bag", "psi", 2, PSI_LOOP), 20.8, "mA", Quality.OUT_OF_RANGE, None, "over the measuring"),
        (ChannelSetup("bag", "psi", 2, PSI_LOOP), 0.0, "mA", Quality.MISSING, Fault.OPEN, "failure, low"),
        (ChannelSetup("bag", "psi", 2, PSI_LOOP), 21.5, "mA", Quality.MISSING, Fault.OPEN, "failure, high"),
        (ChannelSetup("buried", "degC", 1, Pt100Input()), 1e6, "ohm", Quality.MISSING, Fault.OPEN, "outside its range"),
        (ChannelSetup("buried", "degC", 1, Pt100Input()), 0.2, "ohm", Quality.OUT_OF_RANGE, None, "outside its range"),
        (default_setup("bag", "psi"), float("nan"), "psi", Quality.MISSING, Fault.GARBLED, "no number"),
        (default_setup("bag", "psi"), float("inf"), "psi", Quality.MISSING, Fault.GARBLED, "no number"),
        (default_setup("bag", "psi"), 30.0, "degF", Quality.MISSING, Fault.GARBLED, "gives 'degF', and psi is wanted"),
        (default_setup("bag", "psi"), 30.0, "furlong", Quality.MISSING, Fault.GARBLED, "gives 'furlong'"),
        (ChannelSetup("outer_mat", "degF", 1, K_FIXED), 300.0, "degF", Quality.MISSING, Fault.GARBLED, "mV is wanted"),
        (default_setup("depth", "mm"), 1e300, "mm", Quality.OUT_OF_RANGE, None, "too large to keep"),
    ],
)
def test_what_is_not_kept_and_why(
    setup: ChannelSetup, value: float, unit: str, quality: Quality, fault: Fault | None, words: str
) -> None:
    made = Conditioner(setup).condition(Sample(setup.name, value, unit, 7.0))
    assert (made.n, made.quality, made.fault) == (None, quality, fault)
    assert words in made.words
    assert "\n" not in made.words


@pytest.mark.parametrize("fault", list(Fault))
def test_every_fault_of_a_driver_is_a_missing_value_with_words(fault: Fault) -> None:
    made = Conditioner(default_setup("bag", "psi")).condition(Sample("bag", None, "psi", 7.0, fault))
    assert (made.n, made.quality, made.fault) == (None, Quality.MISSING, fault)
    assert made.words


def test_a_sample_with_neither_value_nor_fault_is_garbled() -> None:
    made = Conditioner(default_setup("bag", "psi")).condition(Sample("bag", None, "psi", 7.0))
    assert (made.n, made.fault) == (None, Fault.GARBLED)


conversions: list[tuple[str, str, Conversion]] = [
    ("inner_mat", "degF", Direct()),
    ("inner_mat", "degC", ThermocoupleInput("J", cold_junction=21.0)),
    ("inner_mat", "degF", ThermocoupleInput("B")),
    ("buried", "degF", Pt100Input()),
    ("bag", "bar", PSI_LOOP),
    ("bag", "psi", TwoPointInput(0.0, 0.0, 4095.0, 100.0, "psi")),
    ("something", "kg/m3", Direct()),
]


@given(
    st.sampled_from(conversions),
    st.one_of(st.none(), st.floats()),
    st.sampled_from(["", "degF", "degC", "psi", "bar", "mV", "mA", "ohm", "counts", "?"]),
    st.one_of(st.none(), st.sampled_from(Fault)),
    st.one_of(st.none(), st.floats(-50.0, 100.0)),
)
def test_nothing_an_instrument_says_raises_or_leaves_a_value_without_meaning(
    channel: tuple[str, str, Conversion], value: float | None, unit: str, fault: Fault | None, cold: float | None
) -> None:
    name, kept, conversion = channel
    setup = ChannelSetup(name, kept, 2, conversion)
    made = Conditioner(setup).condition(Sample(name, value, unit, 1.0, fault), cold)
    reading = reading_of(made.n, setup.unit, setup.decimals)
    if made.n is None:
        assert reading is MISSING
        assert made.words
        assert made.quality is (Quality.OUT_OF_RANGE if made.fault is None else Quality.MISSING)
    else:
        assert reading.good
        assert abs(reading.value) < float("inf")
        low, high = setup.limits
        assert low - setup.resolution <= made.n / 100 <= high + setup.resolution


@given(st.integers(-(10**7), 10**7), st.sampled_from(["degF", "degC", "psi", "kPa", "bar", "A"]), st.integers(0, 6))
def test_the_watch_sees_exactly_what_the_record_says(n: int, unit: str, decimals: int) -> None:
    assert reading_of(n, unit, decimals).value == to_si(n / 10**decimals, unit)


@given(st.integers(-400, 11000), st.integers(-700, 10000))
def test_a_value_written_with_the_channels_decimals_is_kept_exactly(tenths: int, hundredths: int) -> None:
    assert count(default_setup("inner_mat", "degF"), float(f"{tenths / 10:.1f}"), "degF") == tenths
    assert count(default_setup("bag", "psi"), float(f"{hundredths / 100:.2f}"), "psi") == hundredths


def test_none_is_missing() -> None:
    assert reading_of(None, "degF", 1) is MISSING


def test_default_decimals() -> None:
    assert {unit: default_decimals(unit) for unit in ("degF", "degC", "psi", "kPa", "bar", "A")} == {
        "degF": 1,
        "degC": 1,
        "psi": 2,
        "kPa": 2,
        "bar": 3,
        "A": 2,
    }


def test_roles_have_possible_ranges_and_others_have_none() -> None:
    assert possible_range("inner_mat.2") == (-60.0, 600.0)
    assert possible_range("bag") is not None
    assert possible_range("humidity") is None


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("inner_mat", "psi", 1), "inner_mat is a temperature, and psi is not a unit of it"),
        (("bag", "degF", 1), "bag is a pressure"),
        (("outer_mat_current", "psi", 1), "outer_mat_current is a current"),
        (("bag", "psi", 7), "decimals must be 0 to 6, not 7"),
        (("bag", "psi", -1), "decimals must be 0 to 6"),
        (("bag", "psi", 2, Pt100Input()), "its input gives a temperature"),
        (("inner_mat", "degF", 1, PSI_LOOP), "its input gives a pressure"),
        (("bag", "psi", 2, Direct(), None, "", 50.0, 40.0), "leave nothing between them"),
    ],
)
def test_a_setup_that_contradicts_itself_is_refused(arguments: tuple, words: str) -> None:
    with pytest.raises(SignalError, match=words):
        ChannelSetup(*arguments)


def test_unknown_units_are_refused() -> None:
    for wrong in (
        lambda: default_setup("bag", "furlong"),
        lambda: LoopInput(0, 1, "furlong"),
        lambda: TwoPointInput(0, 0, 1, 1, "furlong"),
    ):
        with pytest.raises(QuantityError, match="unknown unit 'furlong'"):
            wrong()


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (lambda: ThermocoupleInput("Q"), "no thermocouple type 'Q'"),
        (lambda: ThermocoupleInput("K", "cold", 25.0), "not both"),
        (lambda: ThermocoupleInput("K", cold_junction=5000.0), "outside its range"),
        (lambda: Pt100Input(0.0), "above 0"),
        (lambda: LoopInput(5.0, 5.0, "psi"), "two different numbers"),
        (lambda: TwoPointInput(1, 0, 1, 5, "psi"), "must differ"),
        (lambda: TwoPointInput(1, 3, 2, 3, "psi"), "must differ"),
        (lambda: TwoPointInput(1, float("nan"), 2, 3, "psi"), "finite"),
    ],
)
def test_conversions_that_cannot_be_are_refused(wrong, words: str) -> None:
    with pytest.raises(SignalError, match=words):
        wrong()


def test_facts_are_plain_json_and_say_how_the_numbers_came_about() -> None:
    setup = ChannelSetup(
        "bag", "psi", 2, PSI_LOOP, Calibration(0.1, done=date(2026, 3, 2)), sensor="PT-07", low=-2.0, high=60.0
    )
    facts = json.loads(json.dumps(setup.facts()))
    assert facts["conversion"] == {"kind": "loop", "low": 0.0, "high": 60.0, "unit": "psi"}
    assert facts["calibration"]["done"] == "2026-03-02"
    assert (facts["sensor"], facts["decimals"], facts["low"], facts["high"]) == ("PT-07", 2, -2.0, 60.0)
    assert default_setup("door", "mm").facts()["conversion"] == {"kind": "none"}


# a press with a cold-junction channel


def press(*extra: ChannelSetup) -> PressConditioner:
    return PressConditioner(
        [
            ChannelSetup("inner_mat", "degC", 2, ThermocoupleInput("K", "terminals")),
            ChannelSetup("terminals", "degF", 2),
            *extra,
        ]
    )


def test_a_cold_junction_channel_is_used_even_when_it_comes_later_in_the_same_batch() -> None:
    emf = thermocouple("K").emf(150.0, 30.0)
    made = press().condition([Sample("inner_mat", emf, "mV", 5.0), Sample("terminals", 86.0, "degF", 5.0)])
    assert {x.channel: x.n for x in made} == {"terminals": 8600, "inner_mat": 15000}


def test_without_a_fresh_cold_junction_there_is_no_temperature() -> None:
    bench = press()
    emf = Sample("inner_mat", 5.0, "mV", 0.0)
    [made] = bench.condition([emf])
    assert (made.n, made.fault) == (None, Fault.OPEN)
    assert "terminals, has no value" in made.words
    bench.condition([Sample("terminals", 25.0, "degC", 10.0)])
    assert bench.condition([Sample("inner_mat", 5.0, "mV", 70.0)])[0].n is not None
    assert bench.condition([Sample("inner_mat", 5.0, "mV", 70.1)])[0].n is None
    # a broken cold junction does not stretch the old value's life
    bench.condition([Sample("terminals", None, "degC", 70.0, Fault.OPEN)])
    assert bench.condition([Sample("inner_mat", 5.0, "mV", 71.0)])[0].n is None


@given(
    st.booleans(),
    st.lists(
        st.tuples(st.none() | st.floats(), st.sampled_from(["mV", "degF", "psi", "", "ft"])), min_size=2, max_size=2
    ),
    st.sampled_from([None, *Fault]),
)
def test_counts_are_what_condition_gives_channel_by_channel(
    cold: bool, given_: list[tuple[float | None, str]], fault: Fault | None
) -> None:
    setups = press().setups if cold else (default_setup("inner_mat", "degF"), default_setup("bag", "psi"))
    row = [
        None if value is None else Sample(setup.name, value, unit, 1.0, fault if k == 0 else None)
        for k, (setup, (value, unit)) in enumerate(zip(setups, given_, strict=False))
    ]
    row += [None] * (len(setups) - len(row))
    ready = {d.channel: d.n for d in PressConditioner(setups).condition(s for s in row if s is not None)}
    assert PressConditioner(setups).counts(row) == tuple(ready.get(setup.name) for setup in setups)


def test_channels_not_set_up_are_left_out() -> None:
    assert press().condition([Sample("door", 1.0, "mm", 0.0)]) == []


@pytest.mark.parametrize(
    ("setups", "words"),
    [
        ([default_setup("bag", "psi"), default_setup("bag", "psi")], "two channels are called bag"),
        ([ChannelSetup("air", "degF", 1, ThermocoupleInput("T", "cold"))], "cold, is not a channel of this press"),
        (
            [ChannelSetup("air", "degF", 1, ThermocoupleInput("T", "bag")), default_setup("bag", "psi")],
            "kept in psi, which is no temperature",
        ),
        (
            [
                ChannelSetup("air", "degF", 1, ThermocoupleInput("T", "cold")),
                ChannelSetup("cold", "degF", 1, ThermocoupleInput("T", "air")),
            ],
            "needs a cold junction itself",
        ),
    ],
)
def test_a_press_whose_channels_do_not_fit_together_is_refused(setups: list[ChannelSetup], words: str) -> None:
    with pytest.raises(SignalError, match=words):
        PressConditioner(setups)

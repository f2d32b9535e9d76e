"""Which channels a press has, and what the shop file may say of them."""

from __future__ import annotations

import pytest

from press_monitor.quantities import PSI
from press_monitor.readings.calibration import Calibration
from press_monitor.readings.setup import LoopInput, Pt100Input, ThermocoupleInput, TwoPointInput
from press_monitor.recorder.scenarios import shop_text
from press_monitor.shop import ShopError, load_shop
from press_monitor.shop_channels import press_channels


def channels_of(tmp_path, press, units="us"):
    path = tmp_path / "shop.toml"
    text = shop_text(0).replace('units = "us"', f'units = "{units}"')
    path.write_text(text + '\n[presses.P1]\nrecipe = "section-300"\n' + press, encoding="utf-8")
    shop = load_shop(path)
    return press_channels(shop.presses["P1"], shop)


def units_of(channels):
    return [(c.name, c.unit, c.decimals) for c in channels]


def test_a_press_of_which_nothing_is_said_has_two_mats_and_a_bag_in_the_shops_units(tmp_path):
    found = channels_of(tmp_path, 'driver = "simulated"')
    assert units_of(found) == [("inner_mat", "degF", 1), ("outer_mat", "degF", 1), ("bag", "psi", 2)]
    found = channels_of(tmp_path, 'driver = "simulated"', "si")
    assert units_of(found) == [("inner_mat", "degC", 1), ("outer_mat", "degC", 1), ("bag", "kPa", 2)]


@pytest.mark.parametrize(
    ("options", "expected"),
    [
        ('labels = {A = "outer_mat[degC]", P = "bag[kPa]"}', [("outer_mat", "degC", 1), ("bag", "kPa", 2)]),
        ('fields = ["", "inner_mat[mV]", "bag[mA]"]', [("inner_mat", "degF", 1), ("bag", "psi", 2)]),
        (
            'channels = ["bag", "ram", "inner_mat_current"]',
            [("bag", "psi", 2), ("ram", "psi", 2), ("inner_mat_current", "A", 2)],
        ),
    ],
)
def test_channels_are_those_the_drivers_options_name(tmp_path, options, expected):
    found = channels_of(tmp_path, f'driver = "text-line"\noptions = {{ {options} }}')
    assert units_of(found) == expected


def test_every_key_of_a_channel_is_read(tmp_path):
    inner, outer, bag, ram, buried = channels_of(
        tmp_path,
        """driver = "text-line"
[presses.P1.channels.inner_mat]
input = "thermocouple"
type = "K"
cold_junction = "77 degF"
sensor = "TC-11"
[presses.P1.channels.inner_mat.calibration]
offset = "1.8 degF"
gain = 1.001
date = 2031-03-02
reference = "dry block DB-2"
due = 2032-03-02
[presses.P1.channels.outer_mat]
unit = "degC"
decimals = 2
input = "pt100"
r0 = 1000
[presses.P1.channels.bag]
input = "4-20 mA"
range = ["0 psi", "100 psi"]
low = "-1 psi"
high = "60 psi"
[presses.P1.channels.ram]
input = "counts"
counts = [0, 4095]
range = ["0 psi", "3000 psi"]
[presses.P1.channels.buried]
input = "thermocouple"
type = "J"
cold_junction = "air"
""",
    )
    assert isinstance(inner.conversion, ThermocoupleInput)
    assert (inner.conversion.type, inner.conversion.cold_junction) == ("K", pytest.approx(25.0))
    assert inner.sensor == "TC-11" and (inner.unit, inner.decimals) == ("degF", 1)
    assert isinstance(inner.calibration, Calibration)
    assert inner.calibration.facts() == {
        "offset": pytest.approx(1.8),
        "gain": 1.001,
        "done": "2031-03-02",
        "reference": "dry block DB-2",
        "due": "2032-03-02",
    }
    assert outer.conversion == Pt100Input(1000.0) and (outer.unit, outer.decimals) == ("degC", 2)
    assert isinstance(bag.conversion, LoopInput) and bag.conversion.unit == "kPa"
    assert (bag.conversion.low, bag.conversion.high) == (0.0, pytest.approx(PSI / 10.0))
    assert (bag.low, bag.high) == (pytest.approx(-1.0), pytest.approx(60.0))
    assert isinstance(ram.conversion, TwoPointInput) and ram.conversion.raw_high == 4095.0
    assert ram.conversion.high == pytest.approx(3 * PSI)
    assert buried.conversion == ThermocoupleInput("J", cold_junction_channel="air")


@pytest.mark.parametrize(
    ("keys", "message"),
    [
        ('unit = "furlong"', "unit: unknown unit 'furlong'"),
        ('unit = "psi"', "inner_mat is a temperature, and psi is not a unit of it"),
        ("decimals = 1.5", "decimals: wants a whole number"),
        ("decimals = 7", "decimals: wants a number from 0 to 6"),
        ('input = "guess"', "input: wants one of direct, thermocouple"),
        ('input = "thermocouple"', "type: is missing"),
        ('input = "thermocouple"\ntype = "X"', "X"),
        ('input = "4-20 mA"', "range: wants both ends"),
        ('input = "4-20 mA"\nrange = ["0 psi", "100 psi"]', "range:"),
        ('input = "counts"\nrange = ["0 degC", "100 degC"]', "counts: wants the two counts"),
        ('input = "counts"\nrange = ["0 degC", "100 degC"]\ncounts = [3, 3]', "must differ"),
        ('calibration = { offset = "2 psi" }', "calibration.offset"),
        ('calibration = { date = "yesterday" }', "calibration.date: wants a date"),
        ('low = "90 degF"\nhigh = "80 degF"', "leave nothing between them"),
        ("colour = 3", "colour: is not a known key"),
    ],
)
def test_what_a_channel_cannot_be_is_one_line_naming_the_key(tmp_path, keys, message):
    with pytest.raises(ShopError) as refused:
        channels_of(tmp_path, f'driver = "text-line"\n[presses.P1.channels.inner_mat]\n{keys}\n')
    assert message in str(refused.value) and "presses.P1.channels.inner_mat" in str(refused.value)
    assert "\n" not in str(refused.value)

"""JSON lines, decimal commas and raw signals: no port."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.base import DriverError, Fault
from tests.drivers.test_line_reader import reader, seen

JSON = {"json": {"zones.0.temp": "inner_mat[degF]", "zones.1.temp": "outer_mat[degF]", "bag": "bag[psi]"}}
ALL_GARBLED = dict.fromkeys(("inner_mat", "outer_mat", "bag"), Fault.GARBLED)


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ('{"zones":[{"temp":301.2},{"temp":299}],"bag":32.1}', {"inner_mat": 301.2, "outer_mat": 299.0, "bag": 32.1}),
        ('{"bag": -4.5e-1, "other": [1, {"deep": null}]}', {"bag": -0.45}),
        ('{"bag": "32.1 psi"}', {"bag": 32.1}),
        ('{"bag": "32.1 kPa"}', {"bag": Fault.GARBLED}),
        ('{"bag": null, "zones": [{"temp": "OPEN"}]}', {"bag": Fault.OPEN, "inner_mat": Fault.OPEN}),
        ('{"bag": true, "zones": [{"temp": []}, {"temp": {}}]}', ALL_GARBLED),
        ('{"bag": NaN, "zones": [{"temp": Infinity}, {"temp": 1e999}]}', ALL_GARBLED),
        ('{"bag": NaN, "zones": [{"temp": 1}]}', {"bag": Fault.GARBLED, "inner_mat": 1.0}),
        ('{"bag": 1, "bag": 2}', ALL_GARBLED),
        ('{"bag": 32.1', ALL_GARBLED),
        ('{"bag": 32.1} {"bag": 3}', ALL_GARBLED),
        ('{"bug": 32.1}', ALL_GARBLED),
        ("[1, 2]", ALL_GARBLED),
        ("32.1", ALL_GARBLED),
        ('{"bag": 032.1}', ALL_GARBLED),
        ('{"bag": 99999999999999999999}', {"bag": Fault.GARBLED}),
        ("[" * 200, ALL_GARBLED),
    ],
)
def test_json_lines(line, expected):
    assert seen(reader(JSON).feed(line.encode() + b"\n", 0.0)) == expected


def test_json_as_deep_as_a_long_line_may_hold_is_garbled():
    deep = reader({**JSON, "max_line": 65_536})
    for line in (b"[" * 60_000, b'{"a":' * 12_000, b'{"bag": ' + b"9" * 60_000 + b"}"):
        assert set(seen(deep.feed(line + b"\n", 0.0)).values()) == {Fault.GARBLED}


def test_a_name_with_dots_in_it_comes_before_a_path():
    reading = reader({"json": {"a.b": "bag[psi]"}})
    assert seen(reading.feed(b'{"a.b": 1, "a": {"b": 2}}\n', 0.0)) == {"bag": 1.0}
    assert seen(reading.feed(b'{"a": {"b": 2}}\n', 0.0)) == {"bag": 2.0}
    assert seen(reading.feed(b'{"a": [2]}\n', 0.0)) == {"bag": Fault.GARBLED}


@given(st.floats(-999_999, 999_999), st.integers(-999_999, 999_999))
def test_json_numbers_come_back_as_pythons_own_reader_has_them(temp, bag):
    line = json.dumps({"zones": [{"temp": temp}], "bag": bag})
    assert seen(reader(JSON).feed(line.encode() + b"\n", 0.0)) == {"inner_mat": temp, "bag": float(bag)}


LABELS = {"labels": {"T1": "inner_mat[degC]", "P": "bag[kPa]"}, "decimal": ","}


@pytest.mark.parametrize(
    ("options", "line", "expected"),
    [
        (LABELS, "T1=150,5 P=220,25 kPa", {"inner_mat": 150.5, "bag": 220.25}),
        (LABELS, "T1=150, P=,5", {"inner_mat": 150.0, "bag": 0.5}),
        (LABELS, "T1=150,5;P=-1,5e2", {"inner_mat": 150.5, "bag": -150.0}),
        (LABELS, "T1=150.5 P=1.234,5", {"inner_mat": Fault.GARBLED, "bag": Fault.GARBLED}),
        (LABELS, "T1=1,234,5", {"inner_mat": Fault.GARBLED}),
        (
            {"fields": ["inner_mat[degC]", "bag[kPa]"], "delimiter": ";", "decimal": ","},
            "150,5;220",
            {"inner_mat": 150.5, "bag": 220.0},
        ),
        ({"fields": ["inner_mat[degC]", "bag[kPa]"], "delimiter": ";"}, "150,5;220", {"inner_mat": Fault.GARBLED}),
    ],
)
def test_decimal_commas(options, line, expected):
    told = seen(reader(options).feed(line.encode() + b"\n", 0.0))
    assert {key: told[key] for key in expected} == expected


def test_raw_signals_keep_their_unit():
    raw = reader({"fields": ["inner_mat[mV]", "cold[degC]", "bag[mA]", "ram[counts]", "outer_mat[ohm]"]})
    samples = raw.feed(b"5.2 mV,23.5,12.34mA,2047 cts,138.51\n", 0.0)
    assert [(s.channel, s.value, s.unit) for s in samples] == [
        ("inner_mat", 5.2, "mV"),
        ("cold", 23.5, "degC"),
        ("bag", 12.34, "mA"),
        ("ram", 2047.0, "counts"),
        ("outer_mat", 138.51, "ohm"),
    ]


@pytest.mark.parametrize(
    ("options", "key"),
    [
        ({"json": {}}, "json"),
        ({"json": {"a": "bag"}}, "json.a"),
        ({"json": {"a": "bag[psi]", "b": "bag[psi]"}}, "json"),
        ({**JSON, "labels": {"A": "ram[psi]"}}, "json"),
        ({**JSON, "pattern": "x"}, "json"),
        ({**JSON, "decimal": ","}, "decimal"),
        ({"fields": ["bag[psi]", "ram[psi]"], "decimal": ","}, "delimiter"),
        ({"fields": ["bag[psi]"], "json": {"a": "bag[psi]"}}, "fields"),
    ],
)
def test_bad_options_are_named(options, key):
    with pytest.raises(DriverError) as caught:
        reader(options)
    assert caught.value.key == key

"""Register maps out of a press's options: what is read, and every mistake named with its key."""

import tomllib
from collections.abc import Mapping
from pathlib import Path

import pytest

from drivers.base import DriverError
from drivers.modbus import ModbusDriver
from drivers.modbus_map import UNITS, Function, Register, load_map, map_names, read_registers
from drivers.modbus_words import Coding
from drivers.options import Options
from press_monitor.quantities import dimension_of
from tests.drivers.clocks import HandClock

MAT = {"function": "input", "address": 0, "type": "int16", "unit": "degC"}
BAG = {"function": "holding", "address": 2, "type": "float32", "order": "CDAB", "unit": "psi", "unit_id": 11}


def registers(text: str, *, tcp: bool = False) -> tuple[Register, ...]:
    options = Options(tomllib.loads(text))
    read = read_registers(options, tcp=tcp)
    options.finish()
    return read


def test_a_map_written_out_in_full() -> None:
    read = registers("""
        unit_id = 3
        [channels.inner_mat]
        function = "input"
        address = 16
        type = "int16"
        scale = 0.1
        offset = -5
        unit = "degC"
        open = [0x7FFF, 0x8000]
        [channels.bag]
        unit_id = 11
        function = "holding"
        address = "0x9C41"
        type = "float32"
        order = "CDAB"
        unit = "psi"
    """)
    assert read == (
        Register(
            "inner_mat", "degC", 3, Function.INPUT, 16, Coding("int16", "ABCD", 0.1, -5.0, frozenset({32767, -32768}))
        ),
        Register("bag", "psi", 11, Function.HOLDING, 40_001, Coding("float32", "CDAB")),
    )
    assert [r.end for r in read] == [17, 40_003]


def test_the_shipped_maps_with_a_press_s_own_changes() -> None:
    read = registers("""
        map = "eight-loop-thermocouple"
        channels.inner_mat = { point = "loop-1" }
        channels.outer_mat = { point = "loop-8", unit = "degF", scale = 1 }
        channels.air = { point = "terminals", unit_id = 2 }
        channels.bag = { map = "two-word-transmitter", point = "pressure", unit_id = 11, order = "ABCD" }
        channels.ram = { function = "input", address = 40, type = "uint16", unit = "bar" }
    """)
    open_ = frozenset({32767.0, -32768.0})
    assert read == (
        Register("inner_mat", "degC", 1, Function.INPUT, 0, Coding("int16", scale=0.1, open=open_)),
        Register("outer_mat", "degF", 1, Function.INPUT, 7, Coding("int16", scale=1.0, open=open_)),
        Register("air", "degC", 2, Function.INPUT, 8, Coding("int16", scale=0.1, open=open_)),
        Register("bag", "kPa", 11, Function.HOLDING, 0, Coding("float32", "ABCD")),
        Register("ram", "bar", 1, Function.INPUT, 40, Coding("uint16")),
    )


def test_every_point_of_every_shipped_map_can_be_a_channel() -> None:
    assert map_names() == ("eight-loop-thermocouple", "two-word-transmitter")
    for name in map_names():
        points = load_map(name)
        assert points
        channels = {point: {"point": point} for point in points}
        made = ModbusDriver({"port": "loop://", "map": name, "channels": channels}, HandClock())
        assert list(made.channels) == list(points)


def test_the_maps_are_inside_the_package_that_the_wheel_takes_whole() -> None:
    # hatchling puts every file of a listed package into the wheel unless version control ignores it.
    root = Path(__file__).resolve().parents[2]
    project = tomllib.loads((root / "pyproject.toml").read_text("utf-8"))
    assert "drivers" in project["tool"]["hatch"]["build"]["targets"]["wheel"]["packages"]
    assert {path.stem for path in (root / "drivers" / "maps").glob("*.toml")} == set(map_names())
    ignored = (root / ".gitignore").read_text("utf-8").split()
    assert not any("toml" in line or "maps" in line for line in ignored)


def test_every_unit_but_counts_is_one_the_readings_know() -> None:
    for unit in set(UNITS) - {"counts"}:
        dimension_of(unit)


def test_an_instrument_that_is_its_own_tcp_server() -> None:
    text = 'unit_id = 255\nchannels.bag = { function = "input", address = 0, type = "int16", unit = "psi" }'
    assert registers(text, tcp=True)[0].unit_id == 255
    with pytest.raises(DriverError, match="between 1 and 247, not 255"):
        registers(text)


def without(table: Mapping[str, object], key: str) -> dict[str, object]:
    return {k: v for k, v in table.items() if k != key}


@pytest.mark.parametrize(
    ("channels", "key", "words"),
    [
        ({}, "channels", "say where each channel is read"),
        (5, "channels", "a table"),
        ({"bag": 5}, "channels.bag", "a table"),
        ({"ba g": BAG}, "channels.ba g", "name"),
        ({"": BAG}, "channels.", "name"),
        ({"bag": {**BAG, "unit_id": 0}}, "channels.bag.unit_id", "between 1 and 247, not 0"),
        ({"bag": {**BAG, "unit_id": 248}}, "channels.bag.unit_id", "between 1 and 247, not 248"),
        ({"bag": {**BAG, "unit_id": "3"}}, "channels.bag.unit_id", "between 1 and 247"),
        ({"bag": {**BAG, "unit_id": True}}, "channels.bag.unit_id", "between 1 and 247"),
        ({"bag": without(BAG, "function")}, "channels.bag.function", "missing"),
        ({"bag": {**BAG, "function": "coil"}}, "channels.bag.function", "holding, input"),
        ({"bag": {**BAG, "function": 3}}, "channels.bag.function", "holding, input"),
        ({"bag": without(BAG, "type")}, "channels.bag.type", "missing"),
        ({"bag": {**BAG, "type": "float64"}}, "channels.bag.type", "float32"),
        ({"bag": {**BAG, "order": "ACBD"}}, "channels.bag.order", "ABCD, CDAB, BADC, DCBA"),
        ({"mat": {**MAT, "order": "CDAB"}}, "channels.mat.order", "single register"),
        ({"bag": without(BAG, "unit")}, "channels.bag.unit", "missing"),
        ({"bag": {**BAG, "unit": "PSI"}}, "channels.bag.unit", "psi"),
        ({"bag": without(BAG, "address")}, "channels.bag.address", "missing"),
        ({"bag": {**BAG, "address": -1}}, "channels.bag.address", "whole number from 0"),
        ({"bag": {**BAG, "address": 1.5}}, "channels.bag.address", "whole number"),
        ({"bag": {**BAG, "address": True}}, "channels.bag.address", "whole number"),
        ({"bag": {**BAG, "address": "12"}}, "channels.bag.address", "hexadecimal"),
        ({"bag": {**BAG, "address": "0x1FFFF"}}, "channels.bag.address", "hexadecimal"),
        ({"bag": {**BAG, "address": 65_535}}, "channels.bag.address", "at most 65534"),
        ({"mat": {**MAT, "address": 65_536}}, "channels.mat.address", "at most 65535"),
        ({"mat": {**MAT, "address": 40_001}}, "channels.mat.address", 'write 0, with function = "holding".*"0x9C41"'),
        ({"mat": {**MAT, "address": 30_011}}, "channels.mat.address", 'write 10, with function = "input".*"0x753B"'),
        ({"mat": {**MAT, "address": 400_108}}, "channels.mat.address", 'write 107, with function = "holding"$'),
        ({"bag": {**BAG, "scale": 0}}, "channels.bag.scale", "not be 0"),
        ({"bag": {**BAG, "scale": float("nan")}}, "channels.bag.scale", "number"),
        ({"bag": {**BAG, "offset": "1"}}, "channels.bag.offset", "number"),
        ({"mat": {**MAT, "open": 5}}, "channels.mat.open", "list"),
        ({"mat": {**MAT, "open": [0x10000]}}, "channels.mat.open", "raw numbers.*65536"),
        ({"mat": {**MAT, "open": ["OPEN"]}}, "channels.mat.open", "finite numbers"),
        ({"bag": {**BAG, "open": [float("nan")]}}, "channels.bag.open", "finite numbers"),
        ({"bag": {**BAG, "adress": 3}}, "channels.bag.adress", "unknown key"),
        ({"bag": {"map": "no-such", "point": "x"}}, "channels.bag.map", "eight-loop-thermocouple"),
        ({"bag": {"point": "pressure"}}, "channels.bag.map", "of which map"),
        ({"bag": {"map": "two-word-transmitter"}}, "channels.bag.point", "pressure, temperature"),
        ({"bag": {"map": "two-word-transmitter", "point": "loop-1"}}, "channels.bag.point", "pressure, temperature"),
        ({"bag": {"map": "../maps/two-word-transmitter", "point": "pressure"}}, "channels.bag.map", "no map"),
        ({"mat": MAT, "mat.2": MAT}, "channels.mat.2.address", "input register 0 of unit 1 is already read as mat"),
        (
            {"bag": BAG, "ram": {**BAG, "address": 3, "type": "uint16", "order": "ABCD"}},
            "channels.ram.order",
            "single register",
        ),
        (
            {"bag": BAG, "ram": {**MAT, "function": "holding", "address": 3, "unit_id": 11}},
            "channels.ram.address",
            r"holding register 3 of unit 11 is already read as bag \(float32 at 2\)",
        ),
    ],
)
def test_a_mistake_in_a_channel_is_one_line_naming_its_key(channels: object, key: str, words: str) -> None:
    with pytest.raises(DriverError, match=words) as caught:
        ModbusDriver({"port": "loop://", "channels": channels}, HandClock())
    assert caught.value.key == key
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("options", "key", "words"),
    [
        ({"port": None}, "port", "device name"),
        ({"port": "nonsense://x"}, "port", "cannot be used"),
        ({"port": "tcp://"}, "port", "tcp://host"),
        ({"port": "tcp://gauge:port"}, "port", "cannot be used"),
        ({"port": "tcp://gauge:502/x"}, "port", "tcp://host"),
        ({"port": "tcp://gauge", "baud": 9600}, "baud", "unknown key"),
        ({"baud": 10}, "baud", "between 50"),
        ({"parity": "E"}, "parity", "none, even, odd"),
        ({"stopbits": 3}, "stopbits", "between 1 and 2"),
        ({"bytesize": 7}, "bytesize", "must be 8 for Modbus"),
        ({"port": {"vid": "0403"}}, "port.pid", "vid and pid go together"),
        ({"unit_id": 0}, "unit_id", "between 1 and 247"),
        ({"map": "no-such", "channels": {"bag": {"point": "pressure"}}}, "channels.bag.map", "no map"),
        ({"period": 0}, "period", "between"),
        ({"timeout": 60}, "timeout", "between"),
        ({"gap": -1}, "gap", "between"),
        ({"largest_read": 126}, "largest_read", "between 2 and 125"),
        ({"largest_read": 1}, "largest_read", "between 2 and 125"),
        # 8 + 9 bytes of 10 bits, and twice 3.5 characters of silence: 240 bits at 1200 a second.
        ({"period": 0.1, "baud": 1200}, "period", "0.1 s is too short, the bytes alone take 0.20 s at 1200 baud 8N1"),
        ({"speed": 5}, "speed", "unknown key"),
    ],
)
def test_a_mistake_in_the_line_is_named_too(options: Mapping[str, object], key: str, words: str) -> None:
    with pytest.raises(DriverError, match=words) as caught:
        ModbusDriver({"port": "loop://", "channels": {"bag": BAG}, **options}, HandClock())
    assert caught.value.key == key


def test_the_same_registers_of_another_unit_or_table_are_no_overlap() -> None:
    channels = {"a": MAT, "b": {**MAT, "unit_id": 2}, "c": {**MAT, "function": "holding"}, "d": {**MAT, "address": 1}}
    made = ModbusDriver({"port": "loop://", "channels": channels}, HandClock())
    assert made.channels == dict.fromkeys("abcd", "degC")


def test_what_a_press_claims_is_its_registers_on_its_line() -> None:
    made = ModbusDriver({"port": "tcp://Gauge", "channels": {"mat": MAT, "bag": BAG}}, HandClock())
    assert made.claims == (
        ("tcp://gauge:502", "unit 1 input register 0"),
        ("tcp://gauge:502", "unit 11 holding register 2"),
        ("tcp://gauge:502", "unit 11 holding register 3"),
    )

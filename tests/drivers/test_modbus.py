"""The Modbus driver against pymodbus's simulated server, over pseudo-terminals and loopback: no hardware."""

from __future__ import annotations

import contextlib
import os
import socket
import sys
import threading
import time
from collections.abc import Callable, Iterator
from itertools import pairwise

import pytest

from drivers import modbus_line
from drivers.base import Driver, Fault, PortLost, Sample
from drivers.modbus import ModbusDriver
from drivers.registry import driver_class, make_driver
from tests.drivers.clocks import HandClock
from tests.drivers.modbus_bench import (
    DEADLINE,
    Cable,
    answering,
    device,
    holding,
    mute,
    opened,
    read_until,
    serial_server,
    tcp_server,
)

needs_pty = pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pseudo-terminal pairs")

# Unit 1: tenths of a degree, one open; unit 2: 14.5 as a float, low word first.
DEVICES = [device(1, [3012, 2990, 0x7FFF]), device(2, [0x0000, 0x4168])]
CHANNELS = {
    "inner_mat": holding(0, "int16", scale=0.1),
    "outer_mat": holding(1, "int16", scale=0.1),
    "buried": holding(2, "int16", open=[0x7FFF]),
    "bag": holding(0, "float32", order="CDAB", unit="psi", unit_id=2),
}
EXPECTED = {"inner_mat": 301.2, "outer_mat": 299.0, "buried": None, "bag": 14.5}


@pytest.fixture(scope="module")
def line() -> Iterator[Cable]:
    with serial_server(DEVICES) as cable:
        yield cable


@pytest.fixture
def cable(line: Cable) -> Iterator[Cable]:
    """The line, its meddling undone."""
    yield line
    line.toward_client = line.toward_server = bytes


@pytest.fixture(scope="module")
def server() -> Iterator[int]:
    with tcp_server(DEVICES) as port:
        yield port


def has(*channels: str, values: bool = True) -> Callable[[list[Sample]], bool]:
    """Whether each of these channels has been told of, with a value unless `values` is false."""

    def enough(samples: list[Sample]) -> bool:
        seen = {s.channel for s in samples if not values or s.fault is None}
        return set(channels) <= seen

    return enough


def of(channel: str, samples: list[Sample]) -> list[Sample]:
    return [s for s in samples if s.channel == channel]


def newest(samples: list[Sample]) -> dict[str, Sample]:
    return {s.channel: s for s in samples}


def faults(samples: list[Sample], channel: str) -> set[Fault | None]:
    return {s.fault for s in samples if s.channel == channel}


def until_lost(driver: ModbusDriver) -> list[Sample]:
    samples: list[Sample] = []
    end = time.monotonic() + DEADLINE
    with contextlib.suppress(PortLost):
        while time.monotonic() < end:
            samples += driver.read(0.1)
        pytest.fail("the port is not lost")
    return samples


# -- reading --


@needs_pty
def test_a_serial_line_with_two_units(cable: Cable) -> None:
    began = time.monotonic()
    with opened({"port": cable.names["client"], "channels": CHANNELS}) as driver:
        assert isinstance(driver, Driver)
        samples = read_until(driver, lambda found: all(len(of(name, found)) >= 8 for name in EXPECTED))
        assert driver.trouble == ()
    for name, value in EXPECTED.items():
        own = of(name, samples)
        assert all(s.value == (value if value is None else pytest.approx(value)) for s in own)
        assert {s.fault for s in own} == {None if value is not None else Fault.OPEN}
        assert {s.unit for s in own} == {"psi" if name == "bag" else "degC"}
        assert all(began <= a.at < b.at <= time.monotonic() for a, b in pairwise(own))


def test_a_network_with_two_units(server: int) -> None:
    with opened({"port": f"tcp://127.0.0.1:{server}", "channels": CHANNELS}) as driver:
        samples = newest(read_until(driver, lambda s: len(s) >= 40))
    assert {name: s.value for name, s in samples.items()} == {
        name: None if value is None else pytest.approx(value) for name, value in EXPECTED.items()
    }
    assert samples["buried"].fault is Fault.OPEN


def test_frames_of_a_serial_line_through_a_network_port() -> None:
    from pymodbus.framer import FramerType
    from pymodbus.server import ModbusTcpServer

    from tests.drivers.modbus_bench import Server

    made = Server(lambda: ModbusTcpServer(DEVICES, framer=FramerType.RTU, address=("127.0.0.1", 0)))
    try:
        with opened({"port": f"socket://127.0.0.1:{made.address[1]}", "channels": CHANNELS}) as driver:
            samples = newest(read_until(driver, lambda s: len(s) >= 16))
    finally:
        made.stop()
    assert samples["bag"].value == 14.5 and samples["inner_mat"].value == pytest.approx(301.2)


@pytest.mark.parametrize("order", ["ABCD", "CDAB", "BADC", "DCBA"])
def test_every_word_order_comes_through(order: str) -> None:
    # 14.5 = 0x41680000, IEEE 754.
    sent = {"ABCD": [0x4168, 0], "CDAB": [0, 0x4168], "BADC": [0x6841, 0], "DCBA": [0, 0x6841]}
    with (
        tcp_server([device(1, sent[order])]) as port,
        opened({"port": f"tcp://127.0.0.1:{port}", "channels": {"bag": holding(0, "float32", order=order)}}) as driver,
    ):
        assert newest(read_until(driver, has("bag")))["bag"].value == 14.5


def test_the_shipped_maps_read_instruments_made_to_them() -> None:
    loops = [250 + 10 * n for n in range(8)]
    thermocouples = device(1, [*loops, 231])
    transmitter = device(11, [0x0000, 0x435C, 0x8000, 0x41C3])  # 220.0 kPa; 24.4375 degC
    channels = {f"loop{n}": {"point": f"loop-{n}"} for n in range(1, 9)} | {
        "air": {"point": "terminals"},
        "bag": {"map": "two-word-transmitter", "point": "pressure", "unit_id": 11},
        "cell": {"map": "two-word-transmitter", "point": "temperature", "unit_id": 11},
    }
    with (
        tcp_server([thermocouples, transmitter]) as port,
        opened({"port": f"tcp://127.0.0.1:{port}", "map": "eight-loop-thermocouple", "channels": channels}) as driver,
    ):
        samples = newest(read_until(driver, has(*channels)))
    for n in range(8):
        assert samples[f"loop{n + 1}"].value == pytest.approx(25.0 + n)
    assert samples["air"].value == pytest.approx(23.1) and samples["air"].unit == "degC"
    assert (samples["bag"].value, samples["bag"].unit) == (220.0, "kPa")
    assert (samples["cell"].value, samples["cell"].unit) == (24.4375, "degC")


def test_samples_carry_the_recorder_s_clock(server: int) -> None:
    driver = ModbusDriver(
        {"port": f"tcp://127.0.0.1:{server}", "channels": {"inner_mat": holding(0)}}, HandClock(4242.0)
    )
    driver.open()
    samples = read_until(driver, has("inner_mat"))
    driver.close()
    assert samples == [Sample("inner_mat", 3012.0, "degC", 4242.0)]


def test_the_registry_knows_it(server: int) -> None:
    assert driver_class("modbus") is ModbusDriver
    made = make_driver("modbus", {"port": "tcp://127.0.0.1", "channels": CHANNELS}, HandClock())
    assert isinstance(made, ModbusDriver)
    assert made.channels == {"inner_mat": "degC", "outer_mat": "degC", "buried": "degC", "bag": "psi"}


# -- silence, refusals, nonsense --


@needs_pty
def test_a_silent_unit_does_not_stop_the_others(cable: Cable) -> None:
    asked: list[int] = []

    def listen(data: bytes) -> bytes:
        asked.append(data[0])
        return mute(9)(data)

    channels = {**CHANNELS, "ram": holding(0, unit_id=9)}
    cable.toward_server = listen
    with opened({"port": cable.names["client"], "timeout": 0.2, "channels": channels}) as driver:
        samples = read_until(driver, lambda s: len([x for x in s if x.channel == "inner_mat"]) >= 20)
        assert any("unit 9 does not answer" in line for line in driver.trouble)
    assert faults(samples, "ram") == {Fault.NO_ANSWER}
    assert faults(samples, "inner_mat") == faults(samples, "bag") == {None}
    # It is told of at every beat and asked at few: its time-outs are what it costs the others.
    assert len([s for s in samples if s.channel == "ram"]) >= 10
    assert 1 <= asked.count(9) <= 5 and asked.count(1) >= 20


def test_a_register_that_is_not_there_costs_its_own_channel_only(server: int) -> None:
    channels = {**CHANNELS, "ram": holding(5)}
    with opened({"port": f"tcp://127.0.0.1:{server}", "channels": channels}) as driver:
        samples = read_until(driver, lambda s: len(s) >= 40)
        assert driver.trouble == ("unit 1 refuses holding register 5 (ram): it has no such register (exception 2)",)
    assert faults(samples, "ram") == {Fault.NO_ANSWER}
    assert faults(samples, "inner_mat") == faults(samples, "outer_mat") == {None}


@needs_pty
def test_a_unit_that_comes_back_is_read_again(cable: Cable) -> None:
    with opened({"port": cable.names["client"], "timeout": 0.2, "channels": CHANNELS}) as driver:
        read_until(driver, has("bag"))
        cable.toward_server = mute(2)
        read_until(driver, lambda s: Fault.NO_ANSWER in faults(s, "bag"))
        cable.toward_server = bytes
        read_until(driver, has("bag"))
        assert not any("unit 2" in line for line in driver.trouble)


@needs_pty
def test_one_click_on_the_line_is_asked_over_and_costs_no_reading(cable: Cable) -> None:
    spoilt = iter([True] + [False] * 10**6)

    def click(data: bytes) -> bytes:
        return data[:-1] + bytes([data[-1] ^ 0x10]) if next(spoilt) else data

    cable.toward_client = click
    with opened({"port": cable.names["client"], "channels": {"inner_mat": holding(0)}}) as driver:
        samples = read_until(driver, has("inner_mat"))
    assert [s.value for s in samples] == [3012.0]


@needs_pty
def test_a_line_of_nonsense_is_garbled_and_is_never_a_reading(cable: Cable) -> None:
    cable.toward_client = lambda data: bytes(octet ^ 0xFF for octet in data)
    with opened({"port": cable.names["client"], "channels": CHANNELS}) as driver:
        samples = read_until(driver, has(*CHANNELS, values=False))
        assert any("garbled" in line for line in driver.trouble)
    assert {s.fault for s in samples} == {Fault.GARBLED}


@needs_pty
def test_a_flood_is_garbled_and_ends_within_its_time(cable: Cable) -> None:
    cable.toward_client = lambda data: data[:3] + os.urandom(3000)
    with opened({"port": cable.names["client"], "channels": CHANNELS}) as driver:
        samples = read_until(driver, has(*CHANNELS, values=False))
        assert {s.fault for s in samples} == {Fault.GARBLED}
        cable.toward_client = bytes
        samples = newest(read_until(driver, has("inner_mat", "bag")))
    assert samples["inner_mat"].value == pytest.approx(301.2) and samples["bag"].value == 14.5


@needs_pty
def test_what_came_unasked_is_not_taken_for_an_answer(cable: Cable) -> None:
    # A late answer of the same unit, the same table and the same length, with a sound CRC: 7 degC.
    stale = bytes.fromhex("01 03 02 00 07 F9 86")
    with opened({"port": cable.names["client"], "channels": {"inner_mat": holding(0)}}) as driver:
        read_until(driver, has("inner_mat"))
        cable.inject(stale)
        samples = read_until(driver, lambda s: len(s) >= 3)
    assert {s.value for s in samples} == {3012.0}


@needs_pty
def test_an_adapter_that_echoes_is_understood(cable: Cable) -> None:
    def echo(data: bytes) -> bytes:
        cable.inject(data)
        return data

    cable.toward_server = echo
    with opened({"port": cable.names["client"], "channels": CHANNELS}) as driver:
        samples = newest(read_until(driver, lambda s: len(s) >= 20))
    assert samples["inner_mat"].value == pytest.approx(301.2) and samples["bag"].value == 14.5


# -- waiting --


def test_a_read_blocks_no_longer_than_it_may_and_the_question_stands() -> None:
    asked, may_answer = threading.Event(), threading.Event()

    def slow(peer: socket.socket) -> None:
        while question := peer.recv(260):
            asked.set()
            may_answer.wait(DEADLINE)
            peer.sendall(question[:5] + bytes([5, question[6], 3, 2, 0, 99]))

    with (
        answering(slow) as port,
        opened({"port": f"tcp://127.0.0.1:{port}", "timeout": 10.0, "channels": {"bag": holding(0)}}) as driver,
    ):
        began = time.monotonic()
        assert driver.read(0.0) == []
        assert asked.wait(DEADLINE)
        assert driver.read(0.05) == []
        assert driver.read(0.05) == []
        assert time.monotonic() - began < 5.0
        may_answer.set()
        assert read_until(driver, has("bag"))[0].value == 99.0


def test_nothing_due_is_nothing_read(server: int) -> None:
    with opened({"port": f"tcp://127.0.0.1:{server}", "period": 60.0, "channels": CHANNELS}) as driver:
        read_until(driver, has("inner_mat", "bag"))
        assert driver.read(0.0) == [] and driver.read(0.02) == []


def test_closing_from_elsewhere_ends_a_read(server: int) -> None:
    driver = ModbusDriver({"port": f"tcp://127.0.0.1:{server}", "period": 60.0, "channels": CHANNELS}, time.monotonic)
    driver.open()
    read_until(driver, has("inner_mat", "bag"))
    caught: list[BaseException] = []

    def read_on() -> None:
        try:
            driver.read(DEADLINE)
        except BaseException as error:
            caught.append(error)

    thread = threading.Thread(target=read_on)
    thread.start()
    driver.close()
    thread.join(DEADLINE / 2)
    assert not thread.is_alive() and isinstance(caught[0], PortLost)


# -- lost and found --


def test_a_server_that_goes_is_a_lost_port_and_comes_back() -> None:
    channels = {"bag": holding(0)}
    with tcp_server([device(1, [7])]) as port:
        driver = ModbusDriver({"port": f"tcp://127.0.0.1:{port}", "period": 0.02, "channels": channels}, time.monotonic)
        driver.open()
        assert read_until(driver, has("bag"))[0].value == 7.0
    with pytest.raises(PortLost, match=f"127.0.0.1:{port}"):
        read_until(driver, lambda _: False)
    driver.close()
    with pytest.raises(PortLost, match=f"127.0.0.1:{port}"):
        driver.open()
    with tcp_server([device(1, [8])], port):
        driver.open()
        assert read_until(driver, has("bag"))[0].value == 8.0
        driver.close()


@needs_pty
def test_an_unplugged_port_is_lost() -> None:
    with serial_server(DEVICES) as cable:
        name = cable.names["client"]
        with opened({"port": name, "channels": CHANNELS}) as driver:
            read_until(driver, has("inner_mat"))
            cable.cut()
            with pytest.raises(PortLost, match=name):
                read_until(driver, lambda _: False)
            driver.close()
            with pytest.raises(PortLost, match=name):
                driver.open()
            with pytest.raises(PortLost, match="not open"):
                driver.read(0.0)


def test_sixty_hang_ups_leave_nothing_behind() -> None:
    def once(peer: socket.socket) -> None:
        question = peer.recv(260)
        peer.sendall(question[:5] + bytes([5, question[6], 3, 2, 0, 99]))

    def handles() -> int:
        return len(os.listdir("/proc/self/fd")) if sys.platform == "linux" else 0

    with answering(once) as port:
        driver = ModbusDriver(
            {"port": f"tcp://127.0.0.1:{port}", "period": 0.02, "channels": {"bag": holding(0)}}, time.monotonic
        )
        before, threads = handles(), threading.active_count()
        for _ in range(60):
            driver.open()
            assert [s.value for s in until_lost(driver)] == [99.0]
            driver.close()
        assert handles() <= before + 2 and threading.active_count() == threads
    assert not modbus_line._LINES


def test_a_connection_that_gives_nothing_for_long_is_made_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(modbus_line, "_SILENT_CONNECTION_S", 0.1)

    def listen(peer: socket.socket) -> None:
        while peer.recv(260):
            pass

    channels = {f"c{n}": holding(0, unit_id=n) for n in range(1, 6)}
    with (
        answering(listen) as port,
        opened({"port": f"tcp://127.0.0.1:{port}", "timeout": 0.05, "channels": channels}) as driver,
        pytest.raises(PortLost, match="nothing came for"),
    ):
        read_until(driver, lambda _: False)


def test_a_server_of_something_else_is_a_lost_port_with_words() -> None:
    with (
        answering(lambda peer: peer.sendall(b"HTTP/1.1 400 Bad Request" * bool(peer.recv(260)))) as port,
        opened({"port": f"tcp://127.0.0.1:{port}", "channels": CHANNELS}) as driver,
        pytest.raises(PortLost, match="does not speak Modbus TCP"),
    ):
        read_until(driver, lambda _: False)


def test_a_port_that_is_not_there_is_lost() -> None:
    driver = ModbusDriver({"port": "/dev/no-such-port", "channels": CHANNELS}, time.monotonic)
    with pytest.raises(PortLost, match="no-such-port"):
        driver.open()
    driver.close()


@needs_pty
def test_a_port_has_one_master(cable: Cable) -> None:
    import serial

    with (
        opened({"port": cable.names["client"], "channels": CHANNELS}),
        pytest.raises(serial.SerialException),
        serial.Serial(cable.names["client"], exclusive=True),
    ):
        pass


# -- one line, several presses --


@needs_pty
def test_two_presses_share_a_line_and_never_each_other_s_values(cable: Cable) -> None:
    name = cable.names["client"]
    # The same table, address and length, so that only the turns keep the answers apart.
    mine = {"port": name, "channels": {"inner_mat": holding(0)}}
    other = {"port": name, "channels": {"outer_mat": holding(1)}}
    found: dict[str, set[float | None]] = {}

    def run(options: dict[str, object], channel: str) -> None:
        with opened(options) as driver:
            samples = read_until(driver, lambda s: len(s) >= 30)
        found[channel] = {s.value for s in samples}

    threads = [
        threading.Thread(target=run, args=(mine, "inner_mat")),
        threading.Thread(target=run, args=(other, "outer_mat")),
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(2 * DEADLINE)
    assert found == {"inner_mat": {3012.0}, "outer_mat": {2990.0}}
    assert not modbus_line._LINES


@needs_pty
def test_the_line_stays_open_until_the_last_press_lets_go(cable: Cable) -> None:
    options = {"port": cable.names["client"], "channels": {"inner_mat": holding(0)}}
    with opened(options) as second:
        with opened(options) as first:
            read_until(first, has("inner_mat"))
        read_until(second, has("inner_mat"))
    assert not modbus_line._LINES


@needs_pty
def test_one_line_has_one_setting(cable: Cable) -> None:
    name = cable.names["client"]
    with opened({"port": name, "channels": CHANNELS}):
        other = ModbusDriver({"port": name, "baud": 9600, "parity": "even", "channels": CHANNELS}, time.monotonic)
        with pytest.raises(PortLost, match=r"115200 baud 8N1.*9600 baud 8E1"):
            other.open()
        other.close()


def test_a_line_lost_under_one_press_is_lost_for_the_other_too() -> None:
    with contextlib.ExitStack() as stack:
        with tcp_server(DEVICES) as port:
            options = {"port": f"tcp://127.0.0.1:{port}", "channels": CHANNELS}
            both = [stack.enter_context(opened(options)) for _ in range(2)]
            for driver in both:
                read_until(driver, has("inner_mat"))
        for driver in both:
            with pytest.raises(PortLost, match=r"127\.0\.0\.1"):
                read_until(driver, lambda _: False)
            driver.close()
    assert not modbus_line._LINES


def test_no_thread_and_no_handle_is_left(server: int) -> None:
    options = {"port": f"tcp://127.0.0.1:{server}", "channels": CHANNELS}

    def count() -> tuple[int, int]:
        handles = len(os.listdir("/proc/self/fd")) if sys.platform == "linux" else 0
        return threading.active_count(), handles

    with opened(options) as driver:
        read_until(driver, has("inner_mat"))
    before = count()
    for _ in range(20):
        with opened(options) as driver:
            read_until(driver, has("inner_mat"))
    assert count()[0] == before[0]
    assert count()[1] <= before[1] + 5  # the server closes its ends in its own time

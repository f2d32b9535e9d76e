"""The text-line driver on real ports: pseudo-terminals and sockets, no hardware."""

import contextlib
import os
import socket
import sys
import threading
import time
from collections.abc import Iterator

import pytest

from drivers.base import Driver, DriverError, PortLost, Sample
from drivers.text_line import TextLineDriver
from tests.drivers.wires import SharedPort

LABELS = {"T1": "inner_mat[degF]", "P": "bag[psi]"}
DEADLINE = 20.0
needs_pty = pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pseudo-terminal pairs")


def read_until(driver: TextLineDriver, count: int) -> list[Sample]:
    """Read until so many samples came; the deadline is for a machine that is stuck."""
    samples: list[Sample] = []
    end = time.monotonic() + DEADLINE
    while len(samples) < count and time.monotonic() < end:
        samples += driver.read(0.2)
    return samples


@contextlib.contextmanager
def pty_pair() -> Iterator[tuple[int, int, str]]:
    import tty

    master, slave = os.openpty()
    tty.setraw(master)
    try:
        yield master, slave, os.ttyname(slave)
    finally:
        for end in (master, slave):
            with contextlib.suppress(OSError):
                os.close(end)


@needs_pty
def test_lines_come_through_a_pseudo_terminal() -> None:
    with pty_pair() as (master, _, name):
        driver = TextLineDriver({"port": name, "baud": 19200, "labels": LABELS}, time.monotonic)
        assert isinstance(driver, Driver)
        driver.open()
        began = time.monotonic()
        os.write(master, b"=31\nT1=301.2 P=32.1\nT1=OP")
        os.write(master, b"EN P=32.0\n")
        samples = read_until(driver, 4)
        assert [(s.channel, s.value) for s in samples] == [
            ("inner_mat", 301.2),
            ("bag", 32.1),
            ("inner_mat", None),
            ("bag", 32.0),
        ]
        assert all(began <= s.at <= time.monotonic() for s in samples)
        assert not driver.read(0.0)
        driver.close()
        driver.close()


@needs_pty
def test_an_unplugged_port_is_lost_and_can_be_opened_again() -> None:
    with pty_pair() as (master, slave, name):
        driver = TextLineDriver({"port": name, "labels": LABELS}, time.monotonic)
        driver.open()
        os.write(master, b"\nP=1\n")
        assert [s.value for s in read_until(driver, 1)] == [1.0]
        os.close(slave)
        os.close(master)
        with pytest.raises(PortLost, match=name):
            read_until(driver, 1)
        driver.close()
        with pytest.raises(PortLost):
            driver.open()
    with pytest.raises(PortLost):
        driver.read(0.0)


@needs_pty
def test_a_line_cut_by_reopening_is_no_reading() -> None:
    with pty_pair() as (master, _, name):
        driver = TextLineDriver({"port": name, "labels": LABELS}, time.monotonic)
        driver.open()
        os.write(master, b"\nP=1\nP=30")
        assert [s.value for s in read_until(driver, 1)] == [1.0]
        driver.close()
        driver.open()
        os.write(master, b"0.5\nP=2\n")
        assert [s.value for s in read_until(driver, 1)] == [2.0]
        driver.close()


@needs_pty
def test_a_port_has_one_reader() -> None:
    with pty_pair() as (_, _, name):
        first, second = (TextLineDriver({"port": name, "labels": LABELS}, time.monotonic) for _ in range(2))
        first.open()
        with pytest.raises(PortLost):
            second.open()
        first.close()
        second.open()
        second.close()


@needs_pty
def test_closing_under_a_read_is_a_lost_port_and_nothing_else() -> None:
    with pty_pair() as (_, _, name):
        driver = TextLineDriver({"port": name, "labels": LABELS}, time.monotonic)
        driver.open()
        caught: list[BaseException] = []

        def read_on() -> None:
            try:
                while True:
                    driver.read(0.2)
            except BaseException as error:
                caught.append(error)

        thread = threading.Thread(target=read_on)
        thread.start()
        driver.close()
        thread.join(DEADLINE)
        assert not thread.is_alive() and isinstance(caught[0], PortLost)


def test_lines_come_through_a_socket_and_its_end_is_a_lost_port() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
        driver = TextLineDriver(
            {"port": f"socket://127.0.0.1:{port}", "fields": ["inner_mat[degC]", "bag[kPa]"]}, time.monotonic
        )
        driver.open()
        peer, _ = server.accept()
        with peer:
            peer.sendall(b"\n150.5,220\n")
            assert [s.value for s in read_until(driver, 2)] == [150.5, 220.0]
        with pytest.raises(PortLost):
            read_until(driver, 1)
        driver.close()


# pyserial 3.5 names its thread in the old way.
@pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")
def test_lines_come_from_a_port_shared_over_the_network() -> None:
    with SharedPort() as shared:
        driver = TextLineDriver({"port": shared.url, "baud": 19200, "labels": LABELS}, time.monotonic)
        driver.open()
        assert shared.port.baudrate == 19200
        shared.send(b"\nT1=301.2 P=32.1\n")
        assert [s.value for s in read_until(driver, 2)] == [301.2, 32.1]
        shared.hang_up()
        with pytest.raises(PortLost):
            read_until(driver, 1)
        driver.close()


def test_a_port_that_is_not_there_is_lost() -> None:
    driver = TextLineDriver({"port": "/dev/no-such-port", "labels": LABELS}, time.monotonic)
    with pytest.raises(PortLost, match="no-such-port"):
        driver.open()
    with pytest.raises(PortLost, match="not open"):
        driver.read(0.0)


def test_a_quiet_port_is_not_a_lost_one() -> None:
    driver = TextLineDriver({"port": "loop://", "labels": LABELS}, time.monotonic)
    driver.open()
    assert not driver.read(0.0) and not driver.read(0.01)
    driver.close()


@pytest.mark.parametrize(
    ("options", "key"),
    [
        ({}, "port"),
        ({"port": 5}, "port"),
        ({"port": "nonsense://x"}, "port"),
        ({"port": "loop://", "baud": 0}, "baud"),
        ({"port": "loop://", "baud": "fast"}, "baud"),
        ({"port": "loop://", "bytesize": 9}, "bytesize"),
        ({"port": "loop://", "parity": "E"}, "parity"),
        ({"port": "loop://", "stopbits": 1.2}, "stopbits"),
        ({"port": "loop://", "speed": 1}, "speed"),
    ],
)
def test_bad_options_are_named(options: dict[str, object], key: str) -> None:
    with pytest.raises(DriverError) as caught:
        TextLineDriver({"labels": LABELS, **options}, time.monotonic)
    assert caught.value.key == key

"""Finding ports: by name, by what an adapter says of itself, and never by guessing."""

from types import SimpleNamespace

import pytest

from drivers.base import DriverError, PortLost
from drivers.ports import (
    FoundPort,
    PortAbsent,
    PortAmbiguous,
    PortIdentity,
    PortsUnknown,
    list_ports,
    port_key,
    read_wanted,
    resolve,
)
from drivers.serial_port import words_of_trouble
from drivers.text_line import TextLineDriver

FTDI, CLONE = (0x0403, 0x6001), (0x1A86, 0x7523)


def port(device, numbers=FTDI, serial=None, location=None):
    return FoundPort(device, PortIdentity(*numbers, serial, location))


def found(wanted, *there):
    return resolve(read_wanted(wanted), lambda: there)


def test_a_name_or_url_is_taken_as_it_stands_and_nobody_is_asked():
    def nobody():
        raise AssertionError("the ports were listed")

    for name in ("COM3", "/dev/ttyUSB0", "socket://10.0.0.7:4001"):
        assert resolve(read_wanted(name), nobody) == name


def test_an_adapter_is_found_again_after_it_was_plugged_in_elsewhere():
    wanted = {"vid": "0403", "pid": "6001", "serial_number": "A10K", "location": "1-2"}
    assert found(wanted, port("/dev/ttyUSB0", serial="A10K", location="1-2")) == "/dev/ttyUSB0"
    moved = port("/dev/ttyUSB3", serial="A10K", location="3-1.4")
    assert found(wanted, port("/dev/ttyUSB0", serial="A99Z", location="1-2"), moved) == "/dev/ttyUSB3"


def test_numbers_may_be_written_either_way():
    for vid in ("0403", "0x0403", 0x0403):
        assert read_wanted({"vid": vid, "pid": "6001"}) == PortIdentity(0x0403, 0x6001)
    assert read_wanted(PortIdentity(0x0403, 0x6001, "A1", "1-2").table()) == PortIdentity(0x0403, 0x6001, "A1", "1-2")


@pytest.mark.parametrize(
    ("wanted", "there", "device"),
    [
        # Windows appends the channel's letter to the serial number; pyserial issues 361 and 283.
        ("A10K", [("COM4", "A10KA", None)], "COM4"),
        ("A10KA", [("/dev/ttyUSB0", "A10K", "1-2")], "/dev/ttyUSB0"),
        ("A10K", [("COM4", "A10KA", None), ("COM5", "A77TA", None)], "COM4"),
        ("A10KB", [("COM4", "A10KA", None), ("COM5", "A10KB", None)], "COM5"),
        ("A10KB", [("/dev/ttyUSB0", "A10K", "1-2:1.0"), ("/dev/ttyUSB1", "A10K", "1-2:1.1")], "/dev/ttyUSB1"),
        # The very number comes before one that only looks like it.
        ("A10", [("/dev/ttyUSB0", "A10A", "1-2"), ("/dev/ttyUSB1", "A10", "1-3")], "/dev/ttyUSB1"),
    ],
)
def test_serial_numbers_as_different_systems_write_them(wanted, there, device):
    ports = [port(name, serial=serial, location=location) for name, serial, location in there]
    assert found({"vid": "0403", "pid": "6001", "serial_number": wanted}, *ports) == device


def test_a_letter_more_is_another_adapter_where_the_maker_appends_none():
    with pytest.raises(PortAbsent):
        found({"serial_number": "A10K"}, port("/dev/ttyUSB0", CLONE, "A10KA"))


@pytest.mark.parametrize(
    ("wanted", "there"),
    [
        ({"vid": "1a86", "pid": "7523"}, [("/dev/ttyUSB0", None, "1-2"), ("/dev/ttyUSB1", None, "1-3")]),
        ({"serial_number": "0001"}, [("/dev/ttyUSB0", "0001", "1-2"), ("/dev/ttyUSB1", "0001", "1-3")]),
        (
            {"serial_number": "0001", "location": "9-9"},
            [("/dev/ttyUSB0", "0001", "1-2"), ("/dev/ttyUSB1", "0001", "1-3")],
        ),
    ],
)
def test_equal_candidates_are_never_bound_silently_and_both_are_named(wanted, there):
    ports = [port(name, CLONE, serial, location) for name, serial, location in there]
    with pytest.raises(PortAmbiguous, match="/dev/ttyUSB0 and /dev/ttyUSB1 both could be") as caught:
        found(wanted, *ports)
    assert caught.value.candidates == ("/dev/ttyUSB0", "/dev/ttyUSB1")
    assert isinstance(caught.value, PortLost)
    assert "1-2, 1-3" in str(caught.value)


@pytest.mark.parametrize(
    ("location", "seen"),
    [("1-3", "1-3"), ("1-3", "1-3:1.0"), ("1-3:x.0", "1-3:1.0"), ("1-3:1.0", "1-3")],
)
def test_the_socket_decides_between_adapters_without_a_serial_number(location, seen):
    ports = [port("/dev/ttyUSB0", CLONE, None, "1-2"), port("/dev/ttyUSB1", CLONE, None, seen)]
    assert found({"vid": "1a86", "pid": "7523", "location": location}, *ports) == "/dev/ttyUSB1"
    assert found({"location": location}, *ports) == "/dev/ttyUSB1"


def test_another_interface_of_the_same_socket_is_another_port():
    ports = [port("/dev/ttyUSB0", location="1-2:1.0"), port("/dev/ttyUSB1", location="1-2:1.1")]
    assert found({"location": "1-2:1.1"}, *ports) == "/dev/ttyUSB1"
    with pytest.raises(PortAmbiguous):
        found({"location": "1-2"}, *ports)
    with pytest.raises(PortAbsent):
        found({"location": "1-2:1.2"}, *ports)


def test_an_adapter_that_is_not_there_is_said_with_those_that_are():
    with pytest.raises(PortAbsent, match=r"0403:6001 serial A10K is not plugged in.*/dev/ttyS0 \(no identity\)"):
        found({"vid": "0403", "pid": "6001", "serial_number": "A10K"}, FoundPort("/dev/ttyS0", PortIdentity()))
    with pytest.raises(PortAbsent, match="ports there are: none"):
        found({"location": "1-2"})


def test_ports_are_listed_in_the_order_people_count():
    def comports():
        blank = {"vid": None, "pid": None, "serial_number": None, "location": None, "description": "n/a"}
        usb = {"vid": 0x0403, "pid": 0x6001, "serial_number": "A1", "location": "1-2", "description": "Adapter"}
        return [
            SimpleNamespace(device="COM10", manufacturer="M", product="P", **usb),
            SimpleNamespace(device="COM9", **blank),
            SimpleNamespace(device="/dev/ttyS0", **blank),
        ]

    listed = list_ports(comports)
    assert [each.device for each in listed] == ["/dev/ttyS0", "COM9", "COM10"]
    assert listed[2] == FoundPort("COM10", PortIdentity(0x0403, 0x6001, "A1", "1-2"), "Adapter", "M", "P")
    assert listed[1].description == ""


@pytest.mark.parametrize("error", [OSError(2, "gone"), ValueError("int() of nothing"), TypeError("None")])
def test_a_system_that_cannot_list_its_ports_is_a_lost_port(error):
    # pyserial issue 774: a device that goes while it is looked at makes comports() itself raise.
    def comports():
        raise error

    with pytest.raises(PortsUnknown, match=type(error).__name__):
        list_ports(comports)


def test_this_computers_ports_can_be_listed():
    assert all(isinstance(each.device, str) for each in list_ports())


def test_a_driver_looks_for_its_adapter_each_time_it_opens():
    there = []
    driver = TextLineDriver(
        {"port": {"vid": "1a86", "pid": "7523"}, "labels": {"P": "bag[psi]"}}, lambda: 0.0, ports=lambda: there
    )
    with pytest.raises(PortAbsent):
        driver.open()
    there[:] = [port("/dev/no-such-port", CLONE)]
    with pytest.raises(PortLost, match="/dev/no-such-port: is not there"):
        driver.open()
    there.append(port("/dev/no-other-port", CLONE))
    with pytest.raises(PortAmbiguous):
        driver.open()


@pytest.mark.parametrize(
    ("value", "key"),
    [
        ("", "port"),
        (5, "port"),
        ({}, "port"),
        ({"vid": "0403"}, "port.pid"),
        ({"pid": "0403"}, "port.vid"),
        ({"vid": "xyz", "pid": "6001"}, "port.vid"),
        ({"vid": 70_000, "pid": 1}, "port.vid"),
        ({"vid": True, "pid": 1}, "port.vid"),
        ({"serial_number": 5}, "port.serial_number"),
        ({"serial_number": " "}, "port.serial_number"),
        ({"serial": "A1"}, "port.serial"),
    ],
)
def test_bad_port_options_are_named(value, key):
    with pytest.raises(DriverError) as caught:
        read_wanted(value)
    assert caught.value.key == key


def test_two_names_of_one_port_have_one_key(tmp_path):
    link = tmp_path / "by-id"
    link.symlink_to("/dev/null")
    assert port_key(str(link)) == port_key("/dev/null")
    assert port_key("SOCKET://Host:1") == port_key("socket://host:1")
    assert port_key(PortIdentity(1, 2)) != port_key(PortIdentity(1, 3))


@pytest.mark.parametrize(
    ("error", "says"),
    [
        (PermissionError(13, "Permission denied"), "no permission.*usermod -a -G"),
        (OSError(16, "Device or resource busy"), "another program has it open"),
        (OSError(11, "Could not exclusively lock port /dev/ttyUSB0"), "another program has it open"),
        (FileNotFoundError(2, "No such file or directory"), "is not there"),
        (OSError(5, "Input/output error"), "Input/output error"),
        (TypeError(), "TypeError"),
    ],
)
def test_trouble_says_what_to_do(error, says):
    import re

    assert re.search(f"^/dev/null: .*{says}", words_of_trouble("/dev/null", error))

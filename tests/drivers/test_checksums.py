"""Checksums against two independent libraries, and what a single wrong byte can do: nothing.

Reference: crccheck and crcmod (both PyPI). Their catalogue's check values for "123456789":
CRC-16/IBM-3740 0x29B1, CRC-16/XMODEM 0x31C3, CRC-16/MODBUS 0x4B37.
"""

import pytest
from crccheck.checksum import Checksum8, Checksum16, ChecksumXor8
from crccheck.crc import Crc16CcittFalse, Crc16Modbus, Crc16Xmodem
from crcmod.predefined import mkPredefinedCrcFun
from hypothesis import given
from hypothesis import strategies as st

from drivers.base import DriverError, Fault
from drivers.checksums import CHECKSUMS, Checksum, crc16_ccitt, crc16_modbus, crc16_xmodem
from tests.drivers.test_line_reader import LABELS, reader, seen

REFERENCE = {
    "xor": ChecksumXor8.calc,
    "sum-8": Checksum8.calc,
    # Theirs adds 16-bit words: here each byte is the low half of one.
    "sum-16": lambda data: Checksum16.calc(bytes(half for byte in data for half in (0, byte))),
    "crc-16/ccitt": Crc16CcittFalse.calc,
    "crc-16/xmodem": Crc16Xmodem.calc,
    "crc-16/modbus": Crc16Modbus.calc,
}


def test_the_catalogues_check_values():
    assert [crc(b"123456789") for crc in (crc16_ccitt, crc16_xmodem, crc16_modbus)] == [0x29B1, 0x31C3, 0x4B37]


@pytest.mark.parametrize("name", CHECKSUMS)
@given(data=st.binary(max_size=300))
def test_every_sum_is_the_references(name, data):
    assert CHECKSUMS[name][1](data) == REFERENCE[name](data)


@pytest.mark.parametrize(
    ("name", "theirs"),
    [("crc-16/ccitt", "crc-ccitt-false"), ("crc-16/xmodem", "xmodem"), ("crc-16/modbus", "modbus")],
)
def test_crcmod_agrees(name, theirs):
    other = mkPredefinedCrcFun(theirs)
    for data in (b"", b"\x00", b"T1=301.2 T2=299 P=32.1", bytes(range(256)) * 3):
        assert CHECKSUMS[name][1](data) == other(data)


FORMS = [
    {"checksum": "xor", "checksum_from": "$"},
    {"checksum": "sum-8", "checksum_after": ""},
    {"checksum": "sum-16", "checksum_after": " #"},
    {"checksum": "crc-16/ccitt"},
    {"checksum": "crc-16/xmodem", "checksum_from": "<", "checksum_after": ">"},
    {"checksum": "crc-16/modbus", "checksum_order": "low-first"},
]


def checked_line(form, text):
    """A line as an instrument would send it, made with the reference libraries."""
    total = REFERENCE[form["checksum"]](text)
    digits = f"{total:0{CHECKSUMS[form['checksum']][0]}X}"
    if form.get("checksum_order") == "low-first":
        digits = digits[2:] + digits[:2]
    return form.get("checksum_from", "").encode() + text + form.get("checksum_after", "*").encode() + digits.encode()


TEXT = b"T1=301.2 T2=299 P=32.1"
GOOD = {"inner_mat": 301.2, "outer_mat": 299.0, "bag": 32.1}
BAD = dict.fromkeys(GOOD, Fault.GARBLED)


@pytest.mark.parametrize("form", FORMS, ids=lambda form: form["checksum"])
def test_checked_lines_are_read_and_others_are_garbled(form):
    line = checked_line(form, TEXT)
    reading = reader({**LABELS, **form})
    assert seen(reading.feed(line + b"\r\n", 0.0)) == GOOD
    assert seen(reading.feed(line.replace(b"301.2", b"301.3") + b"\n", 0.0)) == BAD
    assert seen(reading.feed(TEXT + b"\n", 0.0)) == BAD
    assert seen(reading.feed(line[:-1] + b"\n", 0.0)) == BAD


@pytest.mark.parametrize("form", FORMS, ids=lambda form: form["checksum"])
def test_no_single_wrong_byte_gives_another_reading(form):
    line = checked_line(form, TEXT)
    reading = reader({**LABELS, **form})
    for place in range(len(line)):
        for wrong in range(256):
            broken = line[:place] + bytes([wrong]) + line[place + 1 :]
            for sample in reading.feed(broken + b"\n", 0.0):
                assert sample.fault is Fault.GARBLED or GOOD[sample.channel] == sample.value, broken


def test_a_checked_line_without_its_text_is_garbled():
    assert Checksum("xor").strip(b"*00") == b""
    assert seen(reader({**LABELS, "checksum": "xor"}).feed(b"*00\n", 0.0)) == BAD


@pytest.mark.parametrize(
    ("more", "key"),
    [
        ({"checksum": "crc"}, "checksum"),
        ({"checksum_after": "*"}, "checksum_after"),
        ({"checksum_from": "$"}, "checksum_from"),
        ({"checksum": "xor", "checksum_order": "big"}, "checksum_order"),
    ],
)
def test_bad_options_are_named(more, key):
    with pytest.raises(DriverError) as caught:
        reader({**LABELS, **more})
    assert caught.value.key == key

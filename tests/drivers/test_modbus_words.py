"""Numbers out of registers, against `struct`, published examples and arbitrary registers."""

import math
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.base import Fault
from drivers.modbus_words import ORDERS, TYPES, Coding, decode, raw_pattern

words = st.integers(0, 0xFFFF)

# 14.5 is 0x41680000 in IEEE 754 single precision; each layout's bytes as they arrive.
LAYOUTS = {
    "ABCD": [0x4168, 0x0000],
    "CDAB": [0x0000, 0x4168],
    "BADC": [0x6841, 0x0000],
    "DCBA": [0x0000, 0x6841],
}


@pytest.mark.parametrize("order", ORDERS)
def test_the_four_layouts_of_one_float(order: str) -> None:
    assert decode(LAYOUTS[order], "float32", order) == 14.5


@pytest.mark.parametrize(("order", "sent"), [("ABCD", "4168 1234"), ("CDAB", "1234 4168"), ("BADC", "6841 3412")])
def test_the_layouts_of_a_float_without_equal_bytes(order: str, sent: str) -> None:
    registers = [int(word, 16) for word in sent.split()]
    assert decode(registers, "float32", order) == struct.unpack(">f", bytes.fromhex("41681234"))[0]
    assert decode([0x3412, 0x6841], "float32", "DCBA") == struct.unpack(">f", bytes.fromhex("41681234"))[0]


def test_low_word_first_as_in_a_library_s_own_example() -> None:
    # [0, 16320, 0, 16448] is 1.5 and 3.0, low word first: pymodbus pull request 71; 1.0 arrives as 0000 3F80 from
    # instruments in the field.
    assert decode([0, 16320], "float32", "CDAB") == 1.5
    assert decode([0, 16448], "float32", "CDAB") == 3.0
    assert decode([0x0000, 0x3F80], "float32", "CDAB") == 1.0


def test_whole_numbers_of_both_signs() -> None:
    assert decode([555], "uint16") == 555
    assert decode([0xFFFE], "int16") == -2
    assert decode([0xFFFE], "uint16") == 65534
    assert decode([0xFFFF, 0xFFFE], "int32") == -2
    assert decode([0xFFFE, 0xFFFF], "int32", "CDAB") == -2
    assert decode([0x0001, 0x0000], "uint32") == 65536
    assert decode([0x0001, 0x0000], "uint32", "CDAB") == 1


@pytest.mark.parametrize("order", ORDERS)
@given(number=st.integers(-(2**31), 2**31 - 1))
def test_orders_agree_with_byte_shuffling_by_hand(order: str, number: int) -> None:
    a, b, c, d = struct.pack(">i", number)
    sent = bytes({"A": a, "B": b, "C": c, "D": d}[letter] for letter in order)
    assert decode(struct.unpack(">HH", sent), "int32", order) == number


def test_pymodbus_reads_the_same_where_it_knows_the_layout() -> None:
    # The library's own conversion knows big-endian registers with either word first.
    from pymodbus.client.mixin import ModbusClientMixin as Mixin

    for registers in ([0x4168, 0x1234], [0x8000, 0x0001], [0x7FFF, 0xFFFF]):
        for order, word_order in (("ABCD", "big"), ("CDAB", "little")):
            for ours, theirs in (("int32", Mixin.DATATYPE.INT32), ("uint32", Mixin.DATATYPE.UINT32)):
                expected = Mixin.convert_from_registers(registers, theirs, word_order=word_order)
                assert decode(registers, ours, order) == expected


@given(
    registers=st.tuples(words, words),
    kind=st.sampled_from(sorted(TYPES)),
    order=st.sampled_from(ORDERS),
    scale=st.floats(allow_nan=False, allow_infinity=False).filter(bool),
    offset=st.floats(allow_nan=False, allow_infinity=False),
    marks=st.frozensets(st.integers(-(2**31), 2**32 - 1).map(float)),
)
def test_any_registers_are_a_finite_value_or_a_fault(
    registers: tuple[int, int], kind: str, order: str, scale: float, offset: float, marks: frozenset[float]
) -> None:
    coding = Coding(kind, order, scale, offset, marks)
    read = coding.read(registers[: coding.words])
    assert read in (Fault.OPEN, Fault.GARBLED) if isinstance(read, Fault) else math.isfinite(read)


@given(sign=st.sampled_from([0, 0x8000]), payload=st.integers(1, 0x7FFFFF), order=st.sampled_from(ORDERS))
def test_every_not_a_number_is_an_open_sensor(sign: int, payload: int, order: str) -> None:
    a, b, c, d = struct.pack(">HH", sign | 0x7F80 | payload >> 16, payload & 0xFFFF)
    sent = bytes({"A": a, "B": b, "C": c, "D": d}[letter] for letter in order)
    assert Coding("float32", order).read(struct.unpack(">HH", sent)) is Fault.OPEN


def test_infinities_and_floats_in_the_wrong_order_are_garbled() -> None:
    assert Coding("float32").read([0x7F80, 0]) is Fault.GARBLED
    assert Coding("float32").read([0xFF80, 0]) is Fault.GARBLED
    assert Coding("float32").read([0x0000, 0x4168]) is Fault.GARBLED  # 14.5, low word first: 2.3e-41 as it stands
    assert Coding("float32").read([0, 0]) == 0.0
    assert Coding("float32").read([0x8000, 0]) == 0.0


def test_a_value_past_all_measuring_is_garbled() -> None:
    assert Coding("float32").read([0x7F7F, 0xFFFF]) is Fault.GARBLED
    assert Coding("uint32", scale=10.0).read([0xFFFF, 0xFFFF]) is Fault.GARBLED


def test_scale_offset_and_sentinels() -> None:
    tenths = Coding("int16", scale=0.1, open=frozenset({32767.0, -32768.0}))
    assert tenths.read([3012]) == pytest.approx(301.2)
    assert tenths.read([0xFFCE]) == pytest.approx(-5.0)
    assert tenths.read([0x7FFF]) is Fault.OPEN
    assert tenths.read([0x8000]) is Fault.OPEN
    assert Coding("uint16", scale=-0.5, offset=100.0).read([40]) == 80.0


@pytest.mark.parametrize(
    ("number", "kind", "kept"),
    [
        (0x8000, "int16", -32768),
        (-32768, "int16", -32768),
        (0xFFFF, "int16", -1),
        (0xFFFF, "uint16", 65535),
        (0x7FFFFFFF, "int32", 2147483647),
        (0x80000000, "int32", -2147483648),
        (-9999.9, "float32", struct.unpack(">f", struct.pack(">f", -9999.9))[0]),
    ],
)
def test_a_sentinel_is_a_pattern_or_its_number(number: float, kind: str, kept: float) -> None:
    assert raw_pattern(number, kind) == kept


@pytest.mark.parametrize(
    ("number", "kind"),
    [(0x10000, "int16"), (-32769, "int16"), (-1, "uint16"), (1.5, "int16"), (2**32, "uint32"), (1e39, "float32")],
)
def test_a_number_the_register_cannot_hold_is_no_sentinel(number: float, kind: str) -> None:
    with pytest.raises(ValueError, match=kind):
        raw_pattern(number, kind)


@given(registers=st.tuples(words, words), kind=st.sampled_from(sorted(TYPES)), order=st.sampled_from(ORDERS))
def test_what_was_read_is_its_own_sentinel(registers: tuple[int, int], kind: str, order: str) -> None:
    taken = registers[: Coding(kind).words]
    raw = decode(taken, kind, order)
    if math.isfinite(raw):
        assert raw_pattern(raw, kind) == raw
        assert Coding(kind, order, open=frozenset({raw})).read(taken) is Fault.OPEN

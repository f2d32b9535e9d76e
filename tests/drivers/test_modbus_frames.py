"""Frames as they stand on the wire, against published ones, `crcmod`, and whatever noise may bring."""

from collections.abc import Iterable
from itertools import pairwise

import crcmod.predefined
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.modbus_frames import Answer, Codec, Garble, Question, Refusal, RtuCodec, TcpCodec

crc_of = crcmod.predefined.mkPredefinedCrcFun("modbus")
octets = st.integers(0, 255)


def hexed(text: str) -> bytes:
    return bytes.fromhex(text)


def with_crc(text: str) -> bytes:
    body = hexed(text)
    return body + crc_of(body).to_bytes(2, "little")


def feed(codec: Codec, pieces: Iterable[bytes]) -> Answer | None:
    answer = None
    for piece in pieces:
        answer = codec.feed(piece)
        if answer is not None:
            break
    return answer


def test_the_reference_crc_is_the_one_meant() -> None:
    # Check value of CRC-16/MODBUS; 02 07 41 12 is the example of Modbus over Serial Line, appendix B (from memory).
    assert crc_of(b"123456789") == 0x4B37
    assert with_crc("02 07") == hexed("02 07 41 12")


@pytest.mark.parametrize(
    ("question", "frame"),
    [
        # The request of Modbus Application Protocol V1.1b3, 6.3: holding registers 108 to 110; the same of unit 17;
        # and 6.4: input register 9.
        (Question(1, 3, 0x6B, 3), "01 03 00 6B 00 03 74 17"),
        (Question(17, 3, 0x6B, 3), "11 03 00 6B 00 03 76 87"),
        (Question(1, 4, 8, 1), "01 04 00 08 00 01 B0 08"),
    ],
)
def test_questions_are_the_published_frames(question: Question, frame: str) -> None:
    assert RtuCodec().ask(question) == hexed(frame)


@pytest.mark.parametrize(
    ("question", "frame", "expected"),
    [
        (Question(1, 3, 0x6B, 3), "01 03 06 02 2B 00 00 00 64 05 7A", (555, 0, 100)),
        (Question(17, 3, 0x6B, 3), "11 03 06 02 2B 00 00 00 64 C8 BA", (555, 0, 100)),
        (Question(1, 4, 8, 1), "01 04 02 00 0A 39 37", (10,)),
        (Question(1, 3, 0x6B, 3), "01 83 02 C0 F1", Refusal(2)),
        (Question(1, 3, 0, 2), "01 03 04 41 68 00 00 6F D3", (0x4168, 0)),
        (Question(1, 3, 0, 2), "01 03 04 00 00 41 68 CB 8D", (0, 0x4168)),
    ],
)
def test_answers_are_read_from_the_published_frames(question: Question, frame: str, expected: Answer) -> None:
    assert with_crc(frame[:-5]) == hexed(frame)
    codec = RtuCodec()
    codec.ask(question)
    assert codec.feed(hexed(frame)) == expected
    codec.ask(question)
    assert feed(codec, (bytes([octet]) for octet in hexed(frame))) == expected


@pytest.mark.parametrize("frame", ["01 03 06 02 2B 00 00 00 64 76 87", "01 04 02 00 0A 39 80"])
def test_the_wrong_crcs_that_are_going_round_are_refused(frame: str) -> None:
    # Printed so in a public README; 76 87 belongs to unit 17's question, 39 80 to nothing.
    codec = RtuCodec()
    data = hexed(frame)
    codec.ask(Question(1, data[1], 0, data[2] // 2))
    assert codec.feed(data) == Garble()


@given(
    unit_id=st.integers(1, 247),
    function=st.sampled_from([3, 4]),
    address=st.integers(0, 0xFF00),
    count=st.integers(1, 125),
)
def test_any_question_has_the_form_and_the_crc(unit_id: int, function: int, address: int, count: int) -> None:
    body = bytes([unit_id, function]) + address.to_bytes(2, "big") + count.to_bytes(2, "big")
    frame = RtuCodec().ask(Question(unit_id, function, address, count))
    assert frame == body + crc_of(body).to_bytes(2, "little")


replies = st.builds(
    lambda unit_id, function, registers: (unit_id, function, tuple(registers)),
    st.integers(1, 247),
    st.sampled_from([3, 4]),
    st.lists(st.integers(0, 0xFFFF), min_size=1, max_size=125),
)


def reply_body(unit_id: int, function: int, registers: tuple[int, ...]) -> bytes:
    return bytes([unit_id, function, 2 * len(registers)]) + b"".join(r.to_bytes(2, "big") for r in registers)


@given(reply=replies, before=st.binary(max_size=12), cuts=st.lists(st.integers(0, 300), max_size=6), echo=st.booleans())
def test_an_answer_is_found_behind_an_echo_and_noise_however_it_is_cut(
    reply: tuple[int, int, tuple[int, ...]], before: bytes, cuts: list[int], echo: bool
) -> None:
    unit_id, function, registers = reply
    codec = RtuCodec()
    sent = codec.ask(Question(unit_id, function, 7, len(registers)))
    body = reply_body(*reply)
    noise = bytes(octet for octet in before if octet != unit_id)
    data = (sent if echo else b"") + noise + body + crc_of(body).to_bytes(2, "little")
    edges = [0, *sorted(min(cut, len(data)) for cut in cuts), len(data)]
    answer = feed(codec, [data[a:b] for a, b in pairwise(edges)])
    # Noise as long as an answer may be given up; it may never become another answer.
    assert answer == registers or (noise and answer == Garble())


@given(reply=replies, flips=st.sets(st.integers(0, 10**6), min_size=1, max_size=3), exact=st.booleans())
def test_up_to_three_flipped_bits_never_make_an_answer(
    reply: tuple[int, int, tuple[int, ...]], flips: set[int], exact: bool
) -> None:
    # This CRC finds any three flipped bits in a frame (Koopman and Chakravarty, DSN 2004: Hamming distance 4 far
    # beyond 256 bytes; from memory).
    unit_id, function, registers = reply
    body = reply_body(*reply)
    frame = bytearray(body + crc_of(body).to_bytes(2, "little"))
    for bit in {flip % (8 * len(frame)) for flip in flips}:
        frame[bit // 8] ^= 1 << bit % 8
    codec = RtuCodec()
    codec.ask(Question(unit_id, function, 0, len(registers)))
    assert codec.feed(bytes(frame)) in (None, Garble())


@settings(max_examples=150)
@given(data=st.lists(st.binary(max_size=40), max_size=20), count=st.integers(1, 5))
def test_noise_raises_nothing_and_is_believed_only_with_its_crc(data: list[bytes], count: int) -> None:
    codec = RtuCodec()
    codec.ask(Question(1, 3, 0, count))
    answer = feed(codec, data)
    if isinstance(answer, tuple):
        body = reply_body(1, 3, answer)
        assert body + crc_of(body).to_bytes(2, "little") in b"".join(data)


@pytest.mark.parametrize("noise", [b"\xff", b"\1\3\xff", b"\1", b"\1\3\2\0\7"])
def test_noise_is_given_up_before_it_fills_the_memory(noise: bytes) -> None:
    # Among it the beginnings of long answers that never end.
    codec = RtuCodec()
    codec.ask(Question(1, 3, 0, 125))
    taken = 0
    while codec.feed(noise) is None:
        taken += len(noise)
        assert taken <= 1024


def test_another_unit_s_answer_is_passed_over() -> None:
    codec = RtuCodec()
    codec.ask(Question(2, 3, 0, 1))
    late, own = with_crc("01 03 02 00 07"), with_crc("02 03 02 00 09")
    assert codec.feed(late + own) == (9,)


@pytest.mark.parametrize(
    "frame",
    [
        "01 03 02 00 07",  # one register where three were asked
        "01 03 05 00 01 00 02 00",  # an odd number of bytes
        "01 04 06 00 01 00 02 00 03",  # the other table
        "02 03 06 00 01 00 02 00 03",  # another unit
    ],
)
def test_a_sound_frame_that_answers_something_else_is_no_answer(frame: str) -> None:
    codec = RtuCodec()
    codec.ask(Question(1, 3, 0, 3))
    assert codec.feed(with_crc(frame)) in (None, Garble())
    codec.ask(Question(1, 3, 0, 3))
    assert codec.feed(with_crc(frame) + b"\xff" * 11) == Garble()


def test_an_echo_that_has_the_form_of_an_answer_is_no_answer() -> None:
    # Address 0x03.. puts an answer's byte count where the echoed question has its address, and its CRC is right.
    codec = RtuCodec()
    sent = codec.ask(Question(1, 3, 0x0310, 1))
    assert feed(codec, (bytes([octet]) for octet in sent)) is None
    assert codec.feed(with_crc("01 03 02 00 07")) == (7,)


# -- TCP --


def tcp(transaction: int, unit_id: int, pdu: str) -> bytes:
    body = hexed(pdu)
    return transaction.to_bytes(2, "big") + b"\0\0" + (len(body) + 1).to_bytes(2, "big") + bytes([unit_id]) + body


def test_tcp_frames_are_header_and_pdu() -> None:
    # Modbus Messaging on TCP/IP V1.0b, 3.1.3: transaction, protocol 0, length, unit id, then the PDU.
    codec = TcpCodec()
    assert codec.ask(Question(1, 3, 0x6B, 3)) == tcp(1, 1, "03 00 6B 00 03")
    assert codec.feed(tcp(1, 1, "03 06 02 2B 00 00 00 64")) == (555, 0, 100)
    assert codec.ask(Question(17, 4, 8, 1)) == tcp(2, 17, "04 00 08 00 01")
    assert codec.feed(tcp(2, 17, "84 0B")) == Refusal(11)


def test_a_late_tcp_answer_is_not_taken_for_the_next() -> None:
    codec = TcpCodec()
    codec.ask(Question(1, 3, 0, 1))
    codec.ask(Question(1, 3, 40, 1))
    late, own = tcp(1, 1, "03 02 00 07"), tcp(2, 1, "03 02 00 09")
    assert codec.feed(late) is None
    assert codec.feed(own[:5]) is None
    assert codec.feed(own[5:]) == (9,)


def test_half_a_late_answer_does_not_spoil_the_next() -> None:
    codec = TcpCodec()
    codec.ask(Question(1, 3, 0, 1))
    late = tcp(1, 1, "03 02 00 07")
    assert codec.feed(late[:9]) is None
    codec.ask(Question(1, 3, 40, 1))
    assert codec.feed(late[9:] + tcp(2, 1, "03 02 00 09")) == (9,)


@pytest.mark.parametrize("pdu", ["03 04 00 01 00 02", "04 02 00 01", "03 03 00 01 00", "03 02 00", "03", "7F 01"])
def test_a_tcp_frame_that_does_not_answer_is_garbled(pdu: str) -> None:
    codec = TcpCodec()
    codec.ask(Question(1, 3, 0, 1))
    if len(pdu) < 3:
        with pytest.raises(ConnectionError):
            codec.feed(tcp(1, 1, pdu))
    else:
        assert codec.feed(tcp(1, 1, pdu)) == Garble()
    codec.ask(Question(1, 3, 0, 1))


def test_a_tcp_stream_that_is_no_modbus_is_a_lost_connection() -> None:
    codec = TcpCodec()
    codec.ask(Question(1, 3, 0, 1))
    with pytest.raises(ConnectionError, match="does not speak Modbus TCP"):
        codec.feed(b"HTTP/1.1 400 Bad Request\r\n")


@settings(max_examples=150)
@given(pieces=st.lists(st.one_of(st.binary(max_size=40), st.just(tcp(2, 1, "03 02 00 09"))), max_size=20))
def test_tcp_noise_is_a_lost_connection_or_no_answer(pieces: list[bytes]) -> None:
    codec = TcpCodec()
    codec.ask(Question(1, 3, 0, 1))
    codec.ask(Question(1, 3, 0, 1))
    try:
        answer = feed(codec, pieces)
    except ConnectionError:
        return
    if isinstance(answer, tuple):
        assert tcp(2, 1, f"03 02 {answer[0]:04X}") in b"".join(pieces)


def test_the_transaction_number_comes_round() -> None:
    codec = TcpCodec()
    numbers = {codec.ask(Question(1, 3, 0, 1))[:2] for _ in range(65_535)}
    assert len(numbers) == 65_535
    assert codec.ask(Question(1, 3, 0, 1))[:2] == b"\0\1"


def test_the_library_says_nothing_on_the_terminal(capfd: pytest.CaptureFixture[str]) -> None:
    import logging

    codec = RtuCodec()
    codec.ask(Question(1, 3, 0, 3))
    codec.feed(with_crc("01 03 05 00 01 00 02 00"))
    logging.getLogger("pymodbus.logging").error("what it would have said")
    captured = capfd.readouterr()
    assert captured.out == captured.err == ""


def test_a_tcp_frame_longer_than_its_own_count_is_garbled() -> None:
    codec = TcpCodec()
    codec.ask(Question(17, 3, 0x6B, 3))
    assert codec.feed(tcp(1, 17, "03 06 02 2B 00 00 00 64 00 00")) == Garble()

"""Modbus frames: a question as bytes, and the answer found among the bytes that come. The only user of pymodbus.

The library's minor versions change names; whatever changes there is put right in this one file. It is used for
building and decoding frames alone: waiting, deadlines and ports are ours, since a read of ours may not block for
longer than it was allowed to.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from pymodbus.framer import FramerBase
    from pymodbus.pdu import DecodePDU, ModbusPDU

__all__ = ["Answer", "Codec", "Garble", "Question", "Refusal", "RtuCodec", "TcpCodec"]

_EXCEPTION = 0x80
_SHORTEST_RTU = 5
_MOST_NOISE = 512
_LONGEST_TCP = 254
_HEADER = 6
"""Bytes before the counted part of a TCP frame: transaction, protocol, length."""


@dataclass(frozen=True, slots=True)
class Question:
    """Read `count` registers of a unit from `address`; `function` is 3 or 4."""

    unit_id: int
    function: int
    address: int
    count: int


@dataclass(frozen=True, slots=True)
class Refusal:
    """An exception reply and its code."""

    code: int


@dataclass(frozen=True, slots=True)
class Garble:
    """Bytes that are no answer to what was asked."""


Answer = tuple[int, ...] | Refusal | Garble
"""The registers, exactly as many as asked; or why there are none."""


class Codec(Protocol):
    """One line's way of framing; one question at a time."""

    def ask(self, question: Question) -> bytes:
        """Begin a question: the bytes to send."""

    def feed(self, data: bytes) -> Answer | None:
        """Take what came; None until the answer is whole. Raises `ConnectionError` where the stream is beyond use."""


class _Library:
    """What is used of pymodbus, imported when a line is opened."""

    def __init__(self, tcp: bool) -> None:
        # It logs to stderr where nobody has set logging up, and the terminal's picture is drawn there.
        logger = logging.getLogger("pymodbus")
        if not logger.handlers:
            logger.addHandler(logging.NullHandler())
        logger.propagate = False
        from pymodbus.exceptions import ModbusException
        from pymodbus.framer import FramerRTU, FramerSocket
        from pymodbus.pdu import DecodePDU
        from pymodbus.pdu.register_message import ReadHoldingRegistersRequest, ReadInputRegistersRequest

        self._trouble = ModbusException
        self._decoder: DecodePDU = DecodePDU(False)
        self._framer: FramerBase = (FramerSocket if tcp else FramerRTU)(self._decoder)
        self._requests = {3: ReadHoldingRegistersRequest, 4: ReadInputRegistersRequest}

    def frame(self, question: Question, transaction: int) -> bytes:
        """A request's bytes."""
        request = self._requests[question.function](
            dev_id=question.unit_id, transaction_id=transaction, address=question.address, count=question.count
        )
        return self._framer.buildFrame(request)

    def answer(self, frame: bytes, question: Question) -> Answer | None:
        """What one whole frame says; None where it is not sound, or answers something else."""
        try:
            _, unit_id, _, body = self._framer.decode(frame)
            reply: ModbusPDU | None = self._decoder.decode(body) if body else None
        except self._trouble:
            return None
        if reply is None or unit_id != question.unit_id or body[0] & ~_EXCEPTION != question.function:
            return None
        if reply.isError():
            return Refusal(reply.exception_code)
        # The library reads an odd byte count as one register less, and does not mind more bytes than were counted.
        if body[1] != 2 * question.count or len(body) != 2 + body[1] or len(reply.registers) != question.count:
            return None
        return tuple(reply.registers)


class RtuCodec:
    """Frames on a serial line: unit, function, data, CRC.

    An answer is searched for among noise before it and the echo of the question that some two-wire adapters give; a
    frame counts if its unit, its function and its CRC are right.
    """

    def __init__(self) -> None:
        self._library = _Library(tcp=False)
        self._question = Question(0, 3, 0, 1)
        self._sent = b""
        self._buffer = bytearray()

    def ask(self, question: Question) -> bytes:
        """Begin a question; whatever came for the last one is forgotten."""
        self._question = question
        self._buffer.clear()
        self._sent = self._library.frame(question, 0)
        return self._sent

    def feed(self, data: bytes) -> Answer | None:
        """Take what came; None while an answer may still become whole."""
        self._buffer += data
        if self._sent.startswith(self._buffer):
            return None  # as yet an echo
        unfinished = False
        for start in range(len(self._buffer)):
            size = self._size(start)
            if size is None:
                continue
            if len(self._buffer) < start + size:
                unfinished = True
            elif (
                answer := self._library.answer(bytes(self._buffer[start : start + size]), self._question)
            ) is not None:
                return answer
        whole = _SHORTEST_RTU + 2 * self._question.count
        if len(self._buffer) > _MOST_NOISE or (len(self._buffer) >= whole and not unfinished):
            return Garble()
        return None

    def _size(self, start: int) -> int | None:
        """Bytes of the frame that begins at `start` if one does; what is not there yet is taken to fit."""
        head = self._buffer[start : start + 3]
        if head[0] != self._question.unit_id:
            return None
        if len(head) < 2 or head[1] == self._question.function | _EXCEPTION:
            return _SHORTEST_RTU
        if head[1] != self._question.function:
            return None
        return _SHORTEST_RTU + (head[2] if len(head) > 2 else 2)


class TcpCodec:
    """Frames on a TCP connection: a header with a transaction number and a length, no CRC.

    The number tells a late answer to an earlier question from the one waited for.
    """

    def __init__(self) -> None:
        self._library = _Library(tcp=True)
        self._question = Question(0, 3, 0, 1)
        self._transaction = 0
        self._buffer = bytearray()

    def ask(self, question: Question) -> bytes:
        """Begin a question under the next number."""
        self._question = question
        self._transaction = self._transaction % 65_535 + 1
        return self._library.frame(question, self._transaction)

    def feed(self, data: bytes) -> Answer | None:
        """Take what came; answers to earlier questions are passed over."""
        self._buffer += data
        while len(self._buffer) >= _HEADER:
            transaction, protocol, length = (int.from_bytes(self._buffer[i : i + 2], "big") for i in (0, 2, 4))
            if protocol != 0 or not 3 <= length <= _LONGEST_TCP:
                raise ConnectionError("what answers there does not speak Modbus TCP")
            if len(self._buffer) < _HEADER + length:
                return None
            frame = bytes(self._buffer[: _HEADER + length])
            del self._buffer[: _HEADER + length]
            if transaction == self._transaction:
                return self._library.answer(frame, self._question) or Garble()
        return None

"""The Modbus driver: instruments with registers, on a serial line (RTU) or a network (TCP)."""

from __future__ import annotations

import threading
import time
from collections.abc import Mapping, Sequence

from drivers.base import Clock, DriverError, Fault, PortLost, Sample
from drivers.modbus_frames import Garble, Question, Refusal
from drivers.modbus_line import Line, Silence, join, leave
from drivers.modbus_map import read_registers
from drivers.modbus_poll import MOST_REGISTERS, Block, Poller, plan
from drivers.modbus_wire import read_settings
from drivers.options import Options

__all__ = ["ModbusDriver"]


class ModbusDriver:
    """Reads holding and input registers; never writes.

    Options: `port`: ``COM3``, ``/dev/ttyUSB0``, a table that says which adapter (`drivers.ports`) or a URL of
    pyserial's for RTU, ``tcp://host:502`` for Modbus TCP. Of a serial line also `baud` (9600), `parity` (``none``),
    `stopbits` (1). Presses whose channels are on one line give the same port and take turns on it. Then

    * `channels`: a table a channel. `unit` (``degC``, ``psi``, ``counts``, …), `function` (``holding``, ``input``),
      `address` (on the wire, from 0), `type` (``int16``, ``uint16``, ``int32``, ``uint32``, ``float32``), `order` of
      32-bit types (``ABCD``, ``CDAB``, ``BADC``, ``DCBA``), `scale` (1) and `offset` (0): value = raw * scale +
      offset, `open`: raw numbers that say an open sensor (a float's not-a-number always does), `unit_id`;
    * or `point` = a point of a `map` that comes with the program, the other keys overriding what it says; `map` may
      stand beside `channels` for them all;
    * `unit_id` (1): of the channels that give none, 1 to 247 (and 255 on TCP);
    * `period` (1 s): each register's beat; `timeout` (0.3 s): an instrument's time to think; `gap` (8): registers
      read along between two wanted ones rather than asked around; `largest_read` (125): registers a request.

    An instrument that is silent costs its time-out and is then left alone for 1, 2, 4, … 10 s while the others go on.
    Silence and exception replies are `Fault.NO_ANSWER`, nonsense is `Fault.GARBLED`. Raises `DriverError` naming the
    option.
    """

    def __init__(self, settings: Mapping[str, object], clock: Clock) -> None:
        options = Options(settings)
        self._settings = read_settings(options)
        self._period = options.number("period", 1.0, low=0.02, high=60.0)
        self._timeout = options.number("timeout", 0.3, low=0.01, high=10.0)
        gap = options.whole("gap", 8, low=0, high=MOST_REGISTERS)
        most = options.whole("largest_read", MOST_REGISTERS, low=2, high=MOST_REGISTERS)
        registers = read_registers(options, tcp=self._settings.tcp)
        options.finish()
        blocks = plan(registers, gap=gap, most=most)
        self._refuse_haste(blocks)
        self.channels = {register.channel: register.unit for register in registers}
        """Every channel with its raw unit."""
        self.claims = tuple(
            (self._settings.key, f"unit {register.unit_id} {register.function.word} register {address}")
            for register in registers
            for address in range(register.address, register.end)
        )
        """What no second press may take: these registers; the line itself is shared."""
        self.trouble: tuple[str, ...] = ()
        """What is wrong with units and registers now, a line each."""
        self._clock = clock
        self._poller = Poller(blocks, self._period)
        self._line: Line | None = None
        self._asked: Block | None = None
        self._again = False
        self._stop = threading.Event()

    @property
    def port_name(self) -> str:
        """The line's name."""
        return self._settings.name

    def open(self) -> None:
        """Take the line, or join the press that has it. Raises `PortLost` where it cannot be had now."""
        self.close()
        self._stop.clear()
        self._line = join(self._settings, self)
        self._poller.start(time.monotonic())
        self.trouble = ()

    def read(self, wait: float) -> Sequence[Sample]:
        """The samples of the answers that came, blocking `wait` seconds at most. Raises `PortLost`.

        A question may be asked in one call and answered in a later one.
        """
        line = self._line
        if line is None:
            raise PortLost(f"{self._settings.name}: not open")
        end = time.monotonic() + wait
        samples: list[Sample] = []
        while not self._stop.is_set():
            now = time.monotonic()
            samples += self._poller.resting(now, self._clock())
            block = self._poller.due(now) if self._asked is None else None
            if block is not None and not self._ask(line, block, end):
                return samples
            if self._asked is not None:
                came = self._take(line, self._asked, end)
                if came is None:
                    return samples
                samples += came
            elif samples or now >= end:
                return samples
            else:
                self._stop.wait(min(end, self._poller.next_due()) - now)
        raise PortLost(f"{self._settings.name}: closed")

    def close(self) -> None:
        """Let the line go. Never raises."""
        self._stop.set()
        line, self._line = self._line, None
        self._asked = None
        if line is not None:
            leave(line, self)

    def _ask(self, line: Line, block: Block, end: float) -> bool:
        """Ask when it is this press's turn; False where that is past `end`."""
        if not line.turns.take(self, end - time.monotonic()):
            return False
        question = Question(block.unit_id, block.function.value, block.address, block.count)
        if not line.ask(question, self._timeout, end):
            return False
        self._asked, self._again = block, False
        return True

    def _take(self, line: Line, block: Block, end: float) -> list[Sample] | None:
        """The samples of the answer to what was asked; None where it has not come by `end`."""
        answer = line.answer(end)
        if answer is None:
            return None
        if isinstance(answer, Garble) and not self._again and line.time_left > 0.5 * self._timeout:
            # A click on the line is worth asking again, within the time of the first question.
            self._again = line.repeat(end)
            if self._again:
                return []
        line.turns.give(self)
        self._asked = None
        now, at = time.monotonic(), self._clock()
        if isinstance(answer, Silence):
            line.unheard()
            samples = self._poller.failed(block, Fault.NO_ANSWER, now, at)
        elif isinstance(answer, Garble):
            samples = self._poller.failed(block, Fault.GARBLED, now, at)
        elif isinstance(answer, Refusal):
            samples = self._poller.refused(block, answer.code, now, at)
        else:
            samples = self._poller.answered(block, answer, now, at)
        self.trouble = self._poller.trouble()
        return samples

    def _refuse_haste(self, blocks: Sequence[Block]) -> None:
        line = self._settings
        needed = sum(line.seconds(8 + 5 + 2 * block.count) + 2.0 * line.pause for block in blocks)
        if needed > self._period:
            raise DriverError(
                "period",
                f"{self._period:g} s is too short, the bytes alone take {needed:.2f} s at {line.form}: "
                "give a longer period, or a faster baud",
            )

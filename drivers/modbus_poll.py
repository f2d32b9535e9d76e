"""What to ask next: registers gathered into requests, a beat for each, and rest for units that do not answer.

No port and no clock here: the driver tells what happened and what time it is.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby

from drivers.base import Fault, Sample
from drivers.modbus_map import Function, Register

__all__ = ["LONGEST_REST_S", "MOST_REGISTERS", "Block", "Poller", "plan"]

MOST_REGISTERS = 125
"""A request reads so many at most (Modbus Application Protocol V1.1b3, 6.3 and 6.4)."""

LONGEST_REST_S = 10.0
_SHORTEST_REST_S = 0.5

# Modbus Application Protocol V1.1b3, 7.
_REFUSALS = {
    1: "it does not know this function",
    2: "it has no such register",
    3: "it will not read so many registers",
    4: "it has failed",
    5: "it is busy with a long command",
    6: "it is busy",
    8: "its memory has failed",
    10: "the gateway has no path to it",
    11: "the gateway got no answer from it",
}
_WRONG_REGISTERS = (2, 3)
_GATEWAY = (10, 11)


@dataclass(frozen=True, slots=True)
class Block:
    """One request: `count` registers of a unit from `address`, and the channels in them."""

    unit_id: int
    function: Function
    address: int
    count: int
    registers: tuple[Register, ...]

    def samples(self, words: Sequence[int], at: float) -> list[Sample]:
        """What `count` registers that arrived say of each channel."""
        made = []
        for register in self.registers:
            start = register.address - self.address
            value = register.coding.read(words[start : start + register.coding.words])
            if isinstance(value, Fault):
                made.append(Sample(register.channel, None, register.unit, at, value))
            else:
                made.append(Sample(register.channel, value, register.unit, at))
        return made

    def faulty(self, fault: Fault, at: float) -> list[Sample]:
        """That there is no value for any of its channels."""
        return [Sample(register.channel, None, register.unit, at, fault) for register in self.registers]

    @property
    def name(self) -> str:
        """For messages."""
        last = self.address + self.count - 1
        where = f"register {last}" if self.count == 1 else f"registers {self.address} to {last}"
        return f"{self.function.word} {where}"


def plan(registers: Iterable[Register], *, gap: int, most: int = MOST_REGISTERS) -> tuple[Block, ...]:
    """Gather registers into as few requests as may be, by unit, table and address.

    Args:
        registers: not overlapping.
        gap: unwanted registers between two wanted ones that are read along rather than asked around.
        most: registers a request, 2 to 125.
    """
    blocks = []
    ordered = sorted(registers, key=lambda r: (r.unit_id, r.function.value, r.address))
    for _, group in groupby(ordered, key=lambda r: (r.unit_id, r.function)):
        run: list[Register] = []
        for register in group:
            if run and (register.address - run[-1].end > gap or register.end - run[0].address > most):
                blocks.append(_block(run))
                run = []
            run.append(register)
        blocks.append(_block(run))
    return tuple(blocks)


def _block(run: Sequence[Register]) -> Block:
    first = run[0]
    return Block(first.unit_id, first.function, first.address, run[-1].end - first.address, tuple(run))


@dataclass(slots=True)
class _Job:
    """A block's next turn, and what is wrong with it alone."""

    block: Block
    due: float
    trouble: str = ""


@dataclass(slots=True)
class _Unit:
    """How a unit has behaved: failures in a row, and until when it is left alone."""

    failures: int = 0
    rest: float = 0.0
    rest_until: float = -math.inf
    fault: Fault = Fault.NO_ANSWER


class Poller:
    """Deals out requests on a beat of `period` seconds.

    The request that has waited longest comes first, and beats that were missed are not made up for, so a line that
    cannot keep up slows every channel alike. A unit that fails is left alone for one period (0.5 s at least), then
    two, four, up to 10 s; one good answer ends that. Times are seconds on any one monotonic clock; `at` is the
    sample's own time.
    """

    def __init__(self, blocks: Iterable[Block], period: float) -> None:
        self._period = period
        self._jobs = [_Job(block, 0.0) for block in blocks]
        self._units = {job.block.unit_id: _Unit() for job in self._jobs}

    def start(self, now: float) -> None:
        """Begin anew: everything is due, nobody has failed."""
        for job in self._jobs:
            job.due, job.trouble = now, ""
        self._units = {unit_id: _Unit() for unit_id in self._units}

    def due(self, now: float) -> Block | None:
        """The request to make now, if any."""
        ready = [job for job in self._jobs if job.due <= now and self._units[job.block.unit_id].rest_until <= now]
        return min(ready, key=lambda job: job.due).block if ready else None

    def next_due(self) -> float:
        """When there is something to do again."""
        return min(job.due for job in self._jobs)

    def resting(self, now: float, at: float) -> list[Sample]:
        """Samples at this beat of the units that are left alone: still not answering."""
        samples = []
        for job in self._jobs:
            unit = self._units[job.block.unit_id]
            if job.due <= now < unit.rest_until:
                samples += job.block.faulty(unit.fault, at)
                self._put_off(job, now)
        return samples

    def answered(self, block: Block, words: Sequence[int], now: float, at: float) -> list[Sample]:
        """The samples of a good answer of `block.count` registers."""
        job = self._job(block)
        job.trouble = ""
        self._units[block.unit_id] = _Unit()
        self._put_off(job, now)
        return block.samples(words, at)

    def refused(self, block: Block, code: int, now: float, at: float) -> list[Sample]:
        """The samples of an exception reply, NO_ANSWER for each channel.

        Where several channels were asked at once for registers that are not all there, they are asked in two halves
        from then on, and those again: one wrong address shall not cost the others.
        """
        if code in _GATEWAY:
            return self.failed(block, Fault.NO_ANSWER, now, at)
        job = self._job(block)
        self._units[block.unit_id] = _Unit()
        if code in _WRONG_REGISTERS and len(block.registers) > 1:
            where, half = self._jobs.index(job), len(block.registers) // 2
            parts = (block.registers[:half], block.registers[half:])
            self._jobs[where : where + 1] = [_Job(_block(part), job.due) for part in parts]
            return []
        why = _REFUSALS.get(code, "it gives no known reason")
        channels = ", ".join(register.channel for register in block.registers)
        job.trouble = f"unit {block.unit_id} refuses {block.name} ({channels}): {why} (exception {code})"
        self._put_off(job, now)
        return block.faulty(Fault.NO_ANSWER, at)

    def failed(self, block: Block, fault: Fault, now: float, at: float) -> list[Sample]:
        """The samples of a request that got no answer, or none that could be understood."""
        unit = self._units[block.unit_id]
        unit.rest = min(LONGEST_REST_S, 2.0 * unit.rest if unit.failures else max(self._period, _SHORTEST_REST_S))
        unit.failures += 1
        unit.rest_until, unit.fault = now + unit.rest, fault
        self._put_off(self._job(block), now)
        return block.faulty(fault, at)

    def trouble(self) -> tuple[str, ...]:
        """What is wrong now, a line each."""
        lines = []
        for unit_id, unit in self._units.items():
            if unit.failures:
                what = (
                    "does not answer: is it powered, wired, and is this its unit id?"
                    if unit.fault is Fault.NO_ANSWER
                    else "answers garbled: are baud, parity and stop bits its own, and is the line terminated?"
                )
                lines.append(f"unit {unit_id} {what} Asked again every {LONGEST_REST_S:g} s at least")
        return (*lines, *(job.trouble for job in self._jobs if job.trouble))

    def _job(self, block: Block) -> _Job:
        return next(job for job in self._jobs if job.block is block)

    def _put_off(self, job: _Job, now: float) -> None:
        """To its next beat after `now`."""
        beats = math.floor((now - job.due) / self._period) + 1
        job.due = max(job.due + beats * self._period, math.nextafter(now, math.inf))

"""Lines of text from an instrument, turned into samples. No port here: bytes in, samples out.

Nothing that comes down a wire makes it raise, and what cannot be understood never becomes a number: it is a
`Fault.GARBLED` sample for the channels it should have held.
"""

from __future__ import annotations

from drivers.base import Fault, Sample
from drivers.line_format import WRITTEN_UNITS, LineFormat, Target, read_line_format

__all__ = ["LineFormat", "LineReader", "read_line_format"]

_LARGEST = 1e9


class LineReader:
    """Gathers bytes into lines and lines into samples.

    What comes before the first newline is dropped: a line that was joined half-way may read like a whole one.
    Of a prompt's answer nothing is joined half-way: it says so with ``reset(whole=True)``.
    """

    def __init__(self, form: LineFormat) -> None:
        self.form = form
        self.lines = 0
        """Lines that said something, good or garbled, since it was made."""
        self._buffer = bytearray()
        self._skipping = True

    @property
    def partial(self) -> bool:
        """Whether a line has begun and not ended."""
        return bool(self._buffer)

    def reset(self, *, whole: bool = False) -> None:
        """Forget what has begun, as after the port was opened again; `whole`: what comes next begins a line."""
        self._buffer.clear()
        self._skipping = not whole

    def feed(self, data: bytes, at: float) -> list[Sample]:
        """Take bytes that came at `at`; return the samples of each line they ended. Never raises."""
        samples: list[Sample] = []
        pieces = data.split(self.form.newline)
        for index, piece in enumerate(pieces):
            self._buffer += piece
            if len(self._buffer) > self.form.longest:
                if not (self._skipping and samples):
                    samples += self.faulty(Fault.GARBLED, at)
                    self.lines += 1
                self._skipping = True
                self._buffer.clear()
            if index < len(pieces) - 1:
                if not self._skipping:
                    samples += self._line(bytes(self._buffer), at)
                self._skipping = False
                self._buffer.clear()
        return samples

    def faulty(self, fault: Fault, at: float) -> list[Sample]:
        """A sample without a value for every channel a line may hold."""
        return [Sample(t.channel, None, t.unit, at, fault) for t in self.form.targets.values()]

    def _line(self, raw: bytes, at: float) -> list[Sample]:
        form = self.form
        bare = raw.strip(b" \t\r\n")
        if not bare or (form.ignore and bare.startswith(form.ignore.encode(form.encoding, "replace"))):
            return []
        self.lines += 1
        covered = raw if form.checksum is None else form.checksum.strip(raw.strip(b"\r\n"))
        if covered is None:
            return self.faulty(Fault.GARBLED, at)
        try:
            line = covered.decode(form.encoding).strip(" \r\n")
        except UnicodeError:
            return self.faulty(Fault.GARBLED, at)
        cells = form.split(line)
        if cells is None:
            return self.faulty(Fault.GARBLED, at)
        return [self._sample(form.targets[key], cell, at) for key, cell in cells.items() if key in form.targets]

    def _sample(self, target: Target, cell: str | None, at: float) -> Sample:
        # Not every control character that Python counts as white space: one beside a number is a digit spoilt.
        cell = None if cell is None else cell.strip(" \t")
        if cell is None or cell in self.form.open_marks:
            return Sample(target.channel, None, target.unit, at, Fault.OPEN)
        found = self.form.number.fullmatch(cell)
        if not found or not _fits(found.group(2), target.unit):
            return Sample(target.channel, None, target.unit, at, Fault.GARBLED)
        value = float(found.group(1).replace(",", "."))
        if abs(value) > _LARGEST:
            return Sample(target.channel, None, target.unit, at, Fault.GARBLED)
        return Sample(target.channel, value, target.unit, at)


def _fits(written: str | None, unit: str) -> bool:
    return written is None or written.strip().lower() in WRITTEN_UNITS[unit]

"""Ends of wires for tests: pseudo-terminal pairs that can be unplugged, and an instrument that answers."""

from __future__ import annotations

import contextlib
import os
import threading
from collections.abc import Callable, Iterator
from pathlib import Path


class PluggedPort:
    """A pseudo-terminal under a name that stays, as a USB adapter's does: plugged in and pulled out at will."""

    def __init__(self, link: Path) -> None:
        self.link = link
        self._ends: tuple[int, int] | None = None

    def plug(self) -> None:
        import tty

        master, slave = os.openpty()
        tty.setraw(master)
        self._ends = master, slave
        fresh = self.link.with_suffix(".new")
        fresh.symlink_to(os.ttyname(slave))
        fresh.replace(self.link)

    def unplug(self) -> None:
        if self._ends is not None:
            self.link.unlink()
            ends, self._ends = self._ends, None
            for end in ends:
                os.close(end)

    def send(self, data: bytes) -> None:
        assert self._ends is not None
        os.write(self._ends[0], data)

    def send_some(self, data: bytes) -> int:
        """Send what fits; BlockingIOError where nothing does."""
        assert self._ends is not None
        os.set_blocking(self._ends[0], False)
        return os.write(self._ends[0], data)


@contextlib.contextmanager
def instrument(answer: Callable[[bytes], bytes | None], terminator: bytes = b"\r") -> Iterator[str]:
    """An instrument on a pseudo-terminal that answers questions; yields the port's name."""
    import select
    import tty

    master, slave = os.openpty()
    tty.setraw(master)
    over_read, over_write = os.pipe()

    def serve() -> None:
        asked = b""
        while True:
            ready, _, _ = select.select([master, over_read], [], [])
            if over_read in ready:
                return
            asked += os.read(master, 4096)
            while terminator in asked:
                question, _, asked = asked.partition(terminator)
                said = answer(question)
                if said is not None:
                    os.write(master, said)

    thread = threading.Thread(target=serve, name="instrument")
    thread.start()
    try:
        yield os.ttyname(slave)
    finally:
        os.write(over_write, b"x")
        thread.join(10.0)
        for end in (master, slave, over_read, over_write):
            os.close(end)

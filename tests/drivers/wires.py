"""Ends of wires for tests: pseudo-terminal pairs that can be unplugged, and an instrument that answers."""

from __future__ import annotations

import contextlib
import os
import socket
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


class SharedPort:
    """A serial port shared over the network as RFC 2217 has it, by pyserial's own server side, on loopback.

    `port` is the far end's serial port, a loop: what its control lines were set to can be read from it.
    """

    def __init__(self) -> None:
        import serial

        self.port = serial.serial_for_url("loop://", timeout=0.0)
        self.history: list[tuple[bool, bool]] = []
        self._server = socket.create_server(("127.0.0.1", 0))
        self.url = f"rfc2217://127.0.0.1:{self._server.getsockname()[1]}"
        self._client: socket.socket | None = None
        self._thread = threading.Thread(target=self._serve, name="shared port")
        self.ready = threading.Event()

    def __enter__(self) -> SharedPort:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.hang_up()
        self._thread.join(10.0)
        self.port.close()

    def hang_up(self) -> None:
        """The far end goes: nobody is connected, and nobody can connect again."""
        with contextlib.suppress(OSError):
            self._server.shutdown(socket.SHUT_RDWR)
        self._server.close()
        if self._client is not None:
            with contextlib.suppress(OSError):
                self._client.shutdown(socket.SHUT_RDWR)

    def send(self, data: bytes) -> None:
        assert self._client is not None
        self._client.sendall(data.replace(b"\xff", b"\xff\xff"))

    def _serve(self) -> None:
        import serial.rfc2217

        try:
            client, _ = self._server.accept()
        except OSError:
            return
        self._client = client
        # PortManager writes through an object that has `write`.
        connection = type("Connection", (), {"write": staticmethod(client.sendall)})()
        with client, contextlib.suppress(OSError):
            manager = serial.rfc2217.PortManager(self.port, connection)
            self.ready.set()
            while data := client.recv(1024):
                self.port.write(b"".join(manager.filter(data)))
                lines = (bool(self.port.dtr), bool(self.port.rts))
                if not self.history or self.history[-1] != lines:
                    self.history.append(lines)

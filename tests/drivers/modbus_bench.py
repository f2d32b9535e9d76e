"""An independent other end for the Modbus driver: pymodbus's simulated server, on a wire that can be meddled with."""

from __future__ import annotations

import asyncio
import contextlib
import os
import selectors
import socket
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from pymodbus.server import ModbusBaseServer, ModbusSerialServer, ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from drivers.base import Sample
from drivers.modbus import ModbusDriver

DEADLINE = 20.0
"""Seconds until a stuck test is given up; nothing waits so long when all is well."""


def device(unit_id: int, registers: Sequence[int], start: int = 0) -> SimDevice:
    """A unit with these registers in both tables; every other address is refused."""
    return SimDevice(unit_id, simdata=[SimData(start, values=list(registers), datatype=DataType.REGISTERS)])


class Server:
    """A pymodbus server in a thread of its own, until `stop`."""

    def __init__(self, make: Callable[[], ModbusBaseServer]) -> None:
        self._make = make
        self._ready = threading.Event()
        self._ended: asyncio.Event
        self._thread = threading.Thread(target=lambda: asyncio.run(self._serve()), name="modbus server")
        self._thread.start()
        assert self._ready.wait(DEADLINE)

    async def _serve(self) -> None:
        self._loop, self._ended = asyncio.get_running_loop(), asyncio.Event()
        server = self._make()
        await server.serve_forever(background=True)
        transport: Any = server.transport
        self.address = transport.sockets[0].getsockname() if hasattr(transport, "sockets") else None
        self._ready.set()
        await self._ended.wait()
        await server.shutdown()
        # Its connections close in the next turns of the loop.
        for _ in range(5):
            await asyncio.sleep(0)

    def stop(self) -> None:
        self._loop.call_soon_threadsafe(self._ended.set)
        self._thread.join(DEADLINE)
        assert not self._thread.is_alive()


@contextlib.contextmanager
def tcp_server(devices: list[SimDevice], port: int = 0) -> Iterator[int]:
    """Yields the port on 127.0.0.1. A unit it does not have refuses (exception 4)."""
    server = Server(lambda: ModbusTcpServer(devices, address=("127.0.0.1", port)))
    try:
        yield server.address[1]
    finally:
        server.stop()


class Cable:
    """Two pseudo-terminals and a thread between: what the client writes the server reads, and back.

    `toward_client` and `toward_server` may be set to change the bytes on their way; `cut` unplugs the client's end.
    """

    def __init__(self) -> None:
        import tty

        self._masters: dict[str, int] = {}
        self._slaves: dict[str, int] = {}
        self.names: dict[str, str] = {}
        for end in ("client", "server"):
            master, slave = os.openpty()
            tty.setraw(master)
            self._masters[end], self._slaves[end], self.names[end] = master, slave, os.ttyname(slave)
        self.toward_client: Callable[[bytes], bytes] = bytes
        self.toward_server: Callable[[bytes], bytes] = bytes
        self._stop_r, self._stop_w = os.pipe()
        self._thread = threading.Thread(target=self._pump, name="cable")
        self._thread.start()

    def _pump(self) -> None:
        with selectors.DefaultSelector() as selector:
            for end, master in self._masters.items():
                selector.register(master, selectors.EVENT_READ, end)
            selector.register(self._stop_r, selectors.EVENT_READ, "stop")
            while True:
                for key, _ in selector.select():
                    if key.data == "stop":
                        return
                    with contextlib.suppress(OSError):
                        data = os.read(self._masters[key.data], 4096)
                        if key.data == "client":
                            os.write(self._masters["server"], self.toward_server(data))
                        else:
                            os.write(self._masters["client"], self.toward_client(data))

    def inject(self, data: bytes) -> None:
        """Noise toward the client."""
        os.write(self._masters["client"], data)

    def cut(self) -> None:
        """Unplug the client's port."""
        self._end()
        for fds in (self._masters, self._slaves):
            os.close(fds.pop("client"))

    def _end(self) -> None:
        if self._thread.is_alive():
            os.write(self._stop_w, b"x")
            self._thread.join(DEADLINE)
            assert not self._thread.is_alive()

    def close(self) -> None:
        self._end()
        for fd in (*self._masters.values(), *self._slaves.values(), self._stop_r, self._stop_w):
            os.close(fd)


@contextlib.contextmanager
def serial_server(devices: list[SimDevice]) -> Iterator[Cable]:
    """Yields the cable. A unit the line does not have refuses (exception 4); `mute` makes one silent."""
    cable = Cable()
    try:
        server = Server(lambda: ModbusSerialServer(devices, port=cable.names["server"], baudrate=19200))
        try:
            yield cable
        finally:
            server.stop()
    finally:
        cable.close()


def mute(unit_id: int) -> Callable[[bytes], bytes]:
    """For `Cable.toward_server`: the unit never hears its questions."""
    return lambda data: b"" if data[0] == unit_id else data


@contextlib.contextmanager
def answering(answer: Callable[[socket.socket], None]) -> Iterator[int]:
    """A TCP server of one connection at a time that does what `answer` does with it; yields its port."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        ended = threading.Event()

        def serve() -> None:
            while not ended.is_set():
                peer, _ = listener.accept()
                with peer, contextlib.suppress(OSError):
                    if not ended.is_set():
                        answer(peer)

        thread = threading.Thread(target=serve, name="answering")
        thread.start()
        try:
            yield listener.getsockname()[1]
        finally:
            ended.set()
            with contextlib.suppress(OSError), socket.create_connection(listener.getsockname(), timeout=1.0):
                pass
            thread.join(DEADLINE)
            assert not thread.is_alive()


@contextlib.contextmanager
def opened(options: Mapping[str, object]) -> Iterator[ModbusDriver]:
    """A driver on quick settings, open."""
    quick = {"period": 0.02, "timeout": 1.0} | ({} if str(options["port"]).startswith("tcp:") else {"baud": 115_200})
    driver = ModbusDriver({**quick, **options}, time.monotonic)
    driver.open()
    try:
        yield driver
    finally:
        driver.close()


def read_until(driver: ModbusDriver, enough: Callable[[list[Sample]], bool]) -> list[Sample]:
    """Read until `enough` says so of all that came."""
    samples: list[Sample] = []
    end = time.monotonic() + DEADLINE
    while not enough(samples):
        assert time.monotonic() < end, samples[-10:]
        samples += driver.read(0.1)
    return samples


def holding(address: int, kind: str = "uint16", **more: object) -> dict[str, object]:
    """A channel's options."""
    return {"function": "holding", "address": address, "type": kind, "unit": "degC", **more}

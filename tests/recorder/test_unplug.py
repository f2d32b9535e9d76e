"""Cables pulled out and put back, again and again, under load: on pseudo-terminal pairs, with waits that end when the
cable is back."""

from __future__ import annotations

import contextlib
import itertools
import os
import shutil
import subprocess
import sys
import threading
import time

import pytest

from drivers.base import Fault, PortLost
from drivers.text_line import TextLineDriver
from press_monitor.recorder.port import Port, PortState, Talk
from tests.drivers.wires import PluggedPort
from tests.recorder.fakes import FakeTime, ScriptedDriver, good
from tests.recorder.unplug import run

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pseudo-terminal pairs")

DEADLINE = 30.0
PORTS, ROUNDS = 4, 50
LABELS = {"A": "inner_mat[degF]", "B": "outer_mat[degF]", "P": "bag[psi]"}


class Bench:
    """A port in its thread, an instrument on its cable, and everything the port gave."""

    def __init__(self, number, folder):
        self.number = number
        self.cable = PluggedPort(folder / f"port{number}")
        self.back, self.came = threading.Event(), threading.Event()
        self.waits, self.samples = [], []
        driver = TextLineDriver({"port": str(self.cable.link), "labels": LABELS, "checksum": "xor"}, time.monotonic)
        self.port = Port(f"P{number}", driver, time.monotonic, wake=self._take, read_wait=0.2, pause=self._pause)
        self.count = itertools.count(1)

    def _take(self):
        self.samples += self.port.take()
        if self.samples and self.samples[-1].fault is None:
            self.came.set()

    def _pause(self, seconds):
        self.waits.append(seconds)
        self.back.wait(DEADLINE)
        return False

    def line(self):
        """A line that nobody else's instrument sends: thousands are the press, the rest counts up."""
        n = next(self.count)
        base = self.number * 100_000
        text = f"A={base + n} B={base + n + 0.25} P={base + n + 0.5}"
        total = 0
        for byte in text.encode():
            total ^= byte
        return f"{text}*{total:02X}\n".encode()

    def plug(self):
        self.came.clear()
        self.cable.plug()
        self.back.set()

    def send_until_it_comes(self):
        end = time.monotonic() + DEADLINE
        while not self.came.wait(0.002):
            assert time.monotonic() < end, f"port {self.number}: {self.port.status()}"
            self.cable.send(b"".join(self.line() for _ in range(4)))

    def unplug(self):
        self.back.clear()
        # In the middle of a line, as it happens.
        self.cable.send(self.line()[:-9])
        self.cable.unplug()


def wait_for(condition, what):
    end = time.monotonic() + DEADLINE
    while not condition():
        assert time.monotonic() < end, what
        threading.Event().wait(0.001)


def handles():
    return len(os.listdir("/proc/self/fd")) if os.path.isdir("/proc/self/fd") else 0


def test_two_hundred_unplugs_and_replugs_under_load(tmp_path):
    before, threads = handles(), threading.active_count()
    benches = [Bench(number, tmp_path) for number in range(1, PORTS + 1)]
    for bench in benches:
        bench.plug()
        bench.port.start()
    # The first press is never unplugged: whatever happens to the others, it is read.
    steady, others = benches[0], benches[1:]
    rounds = [ROUNDS + 1, ROUNDS + 1, 2 * ROUNDS - 2]
    assert sum(rounds) == 200
    for turn in range(max(rounds)):
        plugged = [bench for bench, most in zip(others, rounds, strict=True) if turn < most]
        for bench in plugged:
            bench.send_until_it_comes()
        for bench in plugged:
            bench.unplug()
        steady.came.clear()
        steady.send_until_it_comes()
        for bench in plugged:
            wait_for(lambda b=bench, n=turn: b.port.status().losses > n, "the unplugged port was not missed")
            bench.plug()
    for bench in benches:
        bench.send_until_it_comes()
        bench.port.stop()
    for bench in benches:
        assert bench.port.join(DEADLINE)
        bench.cable.unplug()

    assert [bench.port.status().losses for bench in benches] == [0, *rounds]
    for bench in benches:
        # Nothing of another press, nothing made up of two halves: each value is one that was sent on this cable.
        for sample in bench.samples:
            if sample.value is not None:
                whole = sample.value - bench.number * 100_000
                part = {"inner_mat": 0.0, "outer_mat": 0.25, "bag": 0.5}[sample.channel]
                assert whole % 1.0 == part and 1.0 <= whole < next(bench.count) + 1.0
        # Each gap is seen on each channel.
        for channel in ("inner_mat", "outer_mat", "bag"):
            gaps = sum(s.channel == channel and s.fault is Fault.UNPLUGGED for s in bench.samples)
            assert gaps == bench.port.status().losses
        # Readings in between made each wait a short one again; an open that failed first may have doubled one.
        assert all(0.5 <= wait <= 10.0 for wait in bench.waits)
    assert threading.active_count() == threads
    assert handles() == before


def test_the_whole_recorder_keeps_every_gap_and_mixes_no_presses(tmp_path):
    """Few rounds here; ``python -m tests.recorder.unplug`` pulls two hundred cables."""
    found = run(tmp_path, 3, speed=8.0)
    assert found["gaps"] >= found["unplugs"] == 3


def test_socats_end_is_a_lost_port_and_its_return_is_found(tmp_path):
    if shutil.which("socat") is None:
        pytest.skip("socat is not installed")
    ends = [tmp_path / "instrument", tmp_path / "recorder"]
    command = ["socat", *(f"pty,raw,echo=0,link={end}" for end in ends)]

    @contextlib.contextmanager
    def joined():
        running = subprocess.Popen(command, stderr=subprocess.DEVNULL)
        try:
            wait_for(lambda: all(end.exists() for end in ends), "socat did not come up")
            yield
        finally:
            running.terminate()
            running.wait(10.0)

    driver = TextLineDriver({"port": str(ends[1]), "fields": ["bag[psi]"]}, time.monotonic)
    for value in (31.5, 32.5):
        with joined():
            driver.open()
            with open(ends[0], "wb", buffering=0) as instrument:
                instrument.write(f"\n{value}\n".encode())
                samples, end = [], time.monotonic() + DEADLINE
                while not samples and time.monotonic() < end:
                    samples = driver.read(0.2)
        assert [s.value for s in samples] == [value]
        with pytest.raises(PortLost):
            driver.read(5.0)
        driver.close()
        with pytest.raises(PortLost, match="is not there"):
            driver.open()


# -- what comes through an open port, in a word --


def talk_after(reads, seconds_later=0.0, seconds=6.0):
    """The port's talk after these reads, each a second after the other; the thread's body run here."""
    clock, seen = FakeTime(), []

    def then(step, wait):
        def play():
            clock.pass_(wait)
            return step

        return play

    driver = ScriptedDriver(reads=[then(step, seconds / max(len(reads), 1)) for step in reads])
    port = Port("P1", driver, clock.real, pause=lambda _: True, quiet=5.0)

    def end():
        clock.pass_(seconds_later)
        seen.append(port.status().talk)
        raise PortLost("end of the test")

    driver.reads.append(end)
    port.run()
    return seen[0]


def faulty(fault, at):
    return [type(good("bag", 1.0, at))("bag", None, "psi", at, fault)]


@pytest.mark.parametrize(
    ("reads", "later", "talk"),
    [
        ([], 0.0, Talk.WAITING),
        ([()] * 6, 0.0, Talk.SILENT),
        ([[good("bag", 1.0, 1000.0 + n)] for n in range(6)], 0.0, Talk.READINGS),
        ([[good("bag", 1.0, 1000.0 + n)] for n in range(6)], 6.0, Talk.SILENT),
        ([faulty(Fault.GARBLED, 1000.0 + n) for n in range(6)], 0.0, Talk.GARBLED),
        ([faulty(Fault.NO_ANSWER, 1000.0 + n) for n in range(6)], 0.0, Talk.NO_ANSWER),
        ([faulty(Fault.OPEN, 1000.0 + n) for n in range(6)], 0.0, Talk.READINGS),
        ([[good("bag", 1.0, 1000.0 + n)] * 500 for n in range(6)], 0.0, Talk.FLOODED),
        ([[good("bag", 1.0, 0.0)] * 5000, *[[good("bag", 1.0, 1005.0)]] * 5], 0.0, Talk.READINGS),
    ],
)
def test_silent_garbled_and_flooded_are_states_of_their_own(reads, later, talk):
    assert talk_after(reads, later) is talk
    assert bool(talk.words) == (talk not in (Talk.WAITING, Talk.READINGS))


def test_a_port_can_be_opened_again_without_a_loss_as_after_sleep():
    clock = FakeTime()
    driver = ScriptedDriver(reads=[[good("bag", 1.0, 1.0)], [good("bag", 2.0, 2.0)], PortLost("end")])
    port = Port("P1", driver, clock.real, pause=lambda _: True)
    port.reopen()
    port.run()
    assert driver.calls[:3] == ["open", "close", "open"]
    assert port.status().losses == 1 and port.status().state is PortState.CLOSED
    assert [s.value for s in port.take()] == [1.0, 2.0, None]


def test_a_flooding_instrument_costs_little_and_loses_only_what_is_old(tmp_path):
    """Wire speed is what a pseudo-terminal gives; the driver must go on at its own pace, its buffers bounded."""
    cable = PluggedPort(tmp_path / "port")
    cable.plug()
    driver = TextLineDriver({"port": str(cable.link), "fields": ["bag[psi]"]}, time.monotonic)
    driver.open()
    stop, sent = threading.Event(), itertools.count()

    def flood():
        while not stop.is_set():
            data = b"".join(b"%d\n" % next(sent) for _ in range(100))
            while data and not stop.is_set():
                # A full pseudo-terminal takes nothing; the instrument then waits, as flow control would have it.
                with contextlib.suppress(BlockingIOError):
                    data = data[cable.send_some(data) :]

    thread = threading.Thread(target=flood)
    thread.start()
    try:
        values, most = [], 0
        end = time.monotonic() + DEADLINE
        while len(values) < 20 and time.monotonic() < end:
            samples = driver.read(0.2)
            most = max(most, len(samples))
            values += [s.value for s in samples if s.value is not None]
    finally:
        stop.set()
        thread.join(DEADLINE)
        driver.close()
        cable.unplug()
    assert not thread.is_alive()
    # Numbers cut in two by a full buffer would run back or jump ahead of what was sent.
    assert values == sorted(values) and values[-1] < next(sent)
    assert len(values) >= 20 and most <= 256

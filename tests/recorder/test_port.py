"""A thread a port: losing it, waiting, opening again, and never holding up anybody else."""

from __future__ import annotations

import threading

from drivers.base import Fault, PortLost
from press_monitor.recorder.port import Port, PortState, back_off
from tests.recorder.fakes import FakeTime, ScriptedDriver, good


def run_with_pauses(driver, rounds):
    """Run the thread's body here, with waits that pass at once, until it has waited `rounds` times."""
    waits = []

    def pause(seconds):
        waits.append(seconds)
        return len(waits) >= rounds

    port = Port("P1", driver, FakeTime().real, pause=pause)
    port.run()
    return port, waits


def test_waits_double_from_half_a_second_to_ten():
    waits, wait = [], None
    for _ in range(7):
        wait = back_off(wait)
        waits.append(wait)
    assert waits == [0.5, 1.0, 2.0, 4.0, 8.0, 10.0, 10.0]


def test_a_port_that_cannot_be_opened_is_tried_for_ever_with_growing_waits():
    driver = ScriptedDriver(opens=[PortLost("no such port")] * 50)
    port, waits = run_with_pauses(driver, 40)
    assert waits[:6] == [0.5, 1.0, 2.0, 4.0, 8.0, 10.0] and set(waits[6:]) == {10.0}
    assert driver.calls.count("open") == 40 == driver.calls.count("close")
    assert port.status().state is PortState.CLOSED


def test_a_lost_port_is_closed_before_it_is_opened_again_and_says_so_for_each_channel():
    driver = ScriptedDriver(
        opens=[None, PortLost("gone")],
        reads=[[good("bag", 30.0, 1.0, "psi"), good("inner_mat", 150.0, 1.0)], PortLost("pulled out")],
    )
    port, _ = run_with_pauses(driver, 2)
    assert driver.calls == ["open", "read", "read", "close", "open", "close"]
    samples = port.take()
    assert [s.value for s in samples] == [30.0, 150.0, None, None, None, None]
    assert {(s.channel, s.unit, s.fault) for s in samples[2:]} == {
        ("bag", "psi", Fault.UNPLUGGED),
        ("inner_mat", "degC", Fault.UNPLUGGED),
    }


def test_readings_make_the_next_wait_short_again():
    lost = PortLost("gone")
    driver = ScriptedDriver(opens=[lost, lost, lost, None], reads=[[good("bag", 1.0, 1.0)], lost])
    _, waits = run_with_pauses(driver, 4)
    assert waits == [0.5, 1.0, 2.0, 0.5]


def test_a_driver_that_fails_in_its_own_way_is_treated_as_a_lost_port_and_named():
    class Breaks(ScriptedDriver):
        def close(self):
            super().close()
            raise RuntimeError("close failed too")

    driver, seen = Breaks(reads=[ZeroDivisionError("oops")]), []
    port = Port("P1", driver, FakeTime().real, pause=lambda _: seen.append(port.status()) or True)
    port.run()
    assert seen[0].state is PortState.LOST
    assert seen[0].why == "ZeroDivisionError: oops"


def test_a_full_queue_lets_the_oldest_go_and_counts_them():
    driver = ScriptedDriver(reads=[[good("bag", float(n), float(n)) for n in range(25)], PortLost("end")])
    port = Port("P1", driver, FakeTime().real, pause=lambda _: True, limit=10)
    port.run()
    assert [s.value for s in port.take()] == [*map(float, range(16, 25)), None]
    assert port.status().dropped == 16


def test_a_stuck_port_keeps_nobody_waiting_and_is_closed_by_its_own_thread():
    woken = threading.Event()
    stuck = ScriptedDriver()
    lively = ScriptedDriver(reads=[[good("bag", 1.0, 1.0)]])
    ports = [Port("stuck", stuck, FakeTime().real), Port("lively", lively, FakeTime().real, wake=woken.set)]
    for port in ports:
        port.start()
    assert stuck.stuck.wait(5.0), "the first port never reached its instrument"
    assert woken.wait(5.0), "the second port waited for the first"
    assert ports[1].take()[0].value == 1.0
    assert ports[0].take() == []
    for port in ports:
        port.stop()
    assert not ports[0].join(0.0), "a stuck driver cannot have ended"
    for driver, port in ((stuck, ports[0]), (lively, ports[1])):
        driver.release.set()
        assert port.join(5.0)
        assert driver.calls[-1] == "close"
        assert driver.threads == {f"port {port.name}"}

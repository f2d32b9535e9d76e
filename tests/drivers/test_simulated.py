"""The simulated driver: a clock, batches, a port that can go."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.base import Driver, DriverError, Fault, PortLost, Sample
from drivers.simulated import SimulatedDriver
from tests.drivers.clocks import HandClock


def opened(clock: HandClock, **options: object) -> SimulatedDriver:
    made = SimulatedDriver(options, clock)
    assert isinstance(made, Driver)
    made.open()
    return made


def drain(driver: SimulatedDriver) -> list[Sample]:
    samples: list[Sample] = []
    while batch := driver.read(0.0):
        samples += batch
    return samples


def test_samples_come_as_the_clock_comes_to_them() -> None:
    clock = HandClock(1000.0)
    driver = opened(clock, interval_s=2)
    assert [(s.channel, s.unit, s.at) for s in driver.read(0.0)] == [
        ("inner_mat", "degF", 1000.0),
        ("outer_mat", "degF", 1000.0),
        ("bag", "psi", 1000.0),
    ]
    clock.now = 1001.9
    assert not driver.read(0.0)
    clock.now = 1004.0
    assert sorted({s.at for s in driver.read(0.0)}) == [1002.0, 1004.0]


OPTIONS = {
    "seed": 9,
    "faults": [
        {"at_min": 0.5, "kind": "open-probe", "channel": "outer_mat", "for_min": 0.3},
        {"at_min": 1, "kind": "burst"},
        {"at_min": 1.5, "kind": "silence", "for_min": 0.2},
    ],
}


def reference() -> list[Sample]:
    clock = HandClock(0.0)
    driver = opened(clock, **OPTIONS)
    clock.now = 120.0
    return drain(driver)


REFERENCE = reference()


@settings(max_examples=25, deadline=None)
@given(st.lists(st.floats(0.0, 40.0), max_size=30), st.integers(0, 5))
def test_the_pace_of_reading_changes_no_sample(steps: list[float], reads: int) -> None:
    clock = HandClock(0.0)
    driver = opened(clock, **OPTIONS)
    samples: list[Sample] = []
    for step in [*steps, 120.0]:
        clock.now = min(clock.now + step, 120.0)
        for _ in range(reads):
            samples += driver.read(0.0)
    clock.now = 120.0
    samples += drain(driver)
    while (last := driver.read(0.0)) or clock.now < 120.0:
        samples += last
    assert samples == REFERENCE


def test_faults_are_samples_without_a_value() -> None:
    opens = [s for s in REFERENCE if s.fault is not None]
    assert {(s.channel, s.value, s.fault) for s in opens} == {("outer_mat", None, Fault.OPEN)}
    assert (opens[0].at, opens[-1].at) == (30.0, 47.0)
    assert {s.at for s in REFERENCE} == {float(t) for t in range(121) if not 90 <= t < 102}


def test_the_past_comes_first_in_bounded_batches_with_past_stamps() -> None:
    clock = HandClock(10_000.0)
    driver = opened(clock, started_min_ago=35)
    batches = []
    while batch := driver.read(0.0):
        batches.append(batch)
    assert [len(batch) for batch in batches] == [1500] * 4 + [303]
    stamps = [s.at for batch in batches for s in batch if s.channel == "bag"]
    assert stamps == [10_000.0 - 35 * 60 + t for t in range(35 * 60 + 1)]
    clock.now += 1.0
    assert {s.at for s in driver.read(0.0)} == {10_001.0}


def test_an_unplugged_port_is_lost_until_it_is_back() -> None:
    clock = HandClock(0.0)
    driver = opened(clock, faults=[{"at_min": 1, "kind": "unplugged", "for_min": 0.5}])
    clock.now = 70.0
    assert {s.at for s in driver.read(0.0)} == {float(t) for t in range(60)}
    for _ in range(2):
        with pytest.raises(PortLost):
            driver.read(0.0)
        driver.close()
        with pytest.raises(PortLost, match="unplugged"):
            driver.open()
    clock.now = 88.5
    with pytest.raises(PortLost):
        driver.open()
    clock.now = 90.0
    driver.open()
    assert {s.at for s in driver.read(0.0)} == {90.0}


def test_unplugging_by_hand_and_plugging_in_again() -> None:
    clock = HandClock(0.0)
    driver = opened(clock)
    driver.read(0.0)
    driver.inject("unplugged", for_min=1000)
    clock.now = 5.0
    assert {s.at for s in driver.read(0.0)} == {1.0}, "what was measured before it went"
    with pytest.raises(PortLost):
        driver.read(0.0)
    driver.close()
    driver.end("unplugged")
    clock.now = 8.0
    driver.open()
    assert {s.at for s in driver.read(0.0)} <= {float(t) for t in range(2, 9)}
    assert drain(driver) == []


def test_a_closed_port_gives_nothing_and_remembers() -> None:
    clock = HandClock(0.0)
    driver = SimulatedDriver({}, clock)
    with pytest.raises(PortLost, match="not open"):
        driver.read(0.0)
    driver.open()
    driver.close()
    driver.close()
    with pytest.raises(PortLost):
        driver.read(0.0)
    clock.now = 2.0
    driver.open()
    assert {s.at for s in driver.read(0.0)} == {0.0, 1.0, 2.0}


def test_inject_works_from_now_on() -> None:
    clock = HandClock(0.0)
    driver = opened(clock, noise_psi=0, inflate_at_min=0)
    clock.now = 120.0
    before = [s.value for s in drain(driver) if s.channel == "bag"]
    driver.inject("burst")
    clock.now = 150.0
    after = [s.value for s in drain(driver) if s.channel == "bag"]
    assert before[-1] is not None and before[-1] > 31.0
    assert after[-1] is not None and after[-1] < 2.0
    with pytest.raises(DriverError):
        driver.inject("fire")


def test_reload_begins_the_next_cycle() -> None:
    clock = HandClock(0.0)
    driver = opened(clock, seed=4, started_min_ago=20)
    drain(driver)
    clock.now = 30.0
    with pytest.raises(DriverError):
        driver.reload(sead=5)
    driver.reload(seed=5, thickness_mm=16)
    samples = drain(driver)
    assert {s.at for s in samples} == {30.0} and (samples[0].value or 0.0) < 70.0
    assert (driver.settings.seed, driver.settings.thickness_mm, driver.finished) == (5, 16.0, False)


def test_bad_options_are_named() -> None:
    for options, key in (({"started_min_ago": -1}, "started_min_ago"), ({"speed": 2}, "speed")):
        with pytest.raises(DriverError) as caught:
            SimulatedDriver(options, HandClock())
        assert caught.value.key == key

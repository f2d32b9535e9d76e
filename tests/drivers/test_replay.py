"""The replay driver."""

from pathlib import Path

import pytest

from drivers.base import Driver, DriverError, Fault, PortLost, Sample
from drivers.replay import ReplayDriver
from tests.drivers.clocks import HandClock

TEXT = "elapsed_s,inner_mat[degF],bag[psi]\n" + "".join(f"{t},{70 + t},{t}.5\n" for t in range(10, 15))
GAPS = "elapsed_s,inner_mat[degF],bag[psi]\n0,70,1\n1,,2\n2,,\n30,71,3\n"


def driver(tmp_path: Path, text: str, clock: HandClock, **options: object) -> ReplayDriver:
    path = tmp_path / "a.csv"
    path.write_text(text, encoding="utf-8")
    made = ReplayDriver({"file": str(path), **options}, clock)
    assert isinstance(made, Driver)
    made.open()
    return made


def test_rows_come_when_the_clock_comes_to_them(tmp_path: Path) -> None:
    clock = HandClock(500.0)
    replay = driver(tmp_path, TEXT, clock)
    assert replay.read(0.0) == [Sample("inner_mat", 80.0, "degF", 500.0), Sample("bag", 10.5, "psi", 500.0)]
    assert not replay.read(0.0)
    clock.now = 502.5
    assert [(s.at, s.value) for s in replay.read(0.0) if s.channel == "bag"] == [(501.0, 11.5), (502.0, 12.5)]


def test_after_the_last_row_nothing_comes(tmp_path: Path) -> None:
    clock = HandClock()
    replay = driver(tmp_path, TEXT, clock)
    clock.now += 1e6
    assert len(replay.read(0.0)) == 10
    assert not replay.read(0.0)


def test_an_empty_cell_is_an_open_probe_and_an_empty_row_is_silence(tmp_path: Path) -> None:
    clock = HandClock(0.0)
    replay = driver(tmp_path, GAPS, clock)
    clock.now = 29.0
    samples = replay.read(0.0)
    assert [(s.channel, s.at, s.fault) for s in samples] == [
        ("inner_mat", 0.0, None),
        ("bag", 0.0, None),
        ("inner_mat", 1.0, Fault.OPEN),
        ("bag", 1.0, None),
    ]


def test_it_can_start_late_and_bring_the_past(tmp_path: Path) -> None:
    clock = HandClock(100.0)
    replay = driver(tmp_path, TEXT, clock, start_s=12.0)
    assert {s.at for s in replay.read(0.0)} == {100.0}
    replay = driver(tmp_path, TEXT, clock, started_min_ago=2 / 60)
    assert {s.at for s in replay.read(0.0)} == {98.0, 99.0, 100.0}


def test_a_long_past_comes_in_bounded_batches(tmp_path: Path) -> None:
    text = "elapsed_s,bag[psi]\n" + "".join(f"{t},1\n" for t in range(1200))
    clock = HandClock()
    replay = driver(tmp_path, text, clock, started_min_ago=100)
    sizes = [len(replay.read(0.0)) for _ in range(4)]
    assert sizes == [500, 500, 200, 0]


def test_opening_again_goes_on(tmp_path: Path) -> None:
    clock = HandClock(0.0)
    replay = driver(tmp_path, TEXT, clock)
    replay.close()
    replay.close()
    clock.now = 1.0
    replay.open()
    assert {s.at for s in replay.read(0.0)} == {0.0, 1.0}


def test_a_log_that_cannot_be_used_is_a_lost_port_that_says_why(tmp_path: Path) -> None:
    (tmp_path / "bad.csv").write_text("elapsed_s,bag[psi]\n0,nan\n")
    for name, words in (("missing.csv", "cannot be read"), ("bad.csv", "line 2")):
        replay = ReplayDriver({"file": str(tmp_path / name)}, HandClock())
        with pytest.raises(PortLost, match=words):
            replay.open()
        with pytest.raises(PortLost):
            replay.read(0.0)


@pytest.mark.parametrize(
    ("options", "key"),
    [
        ({}, "file"),
        ({"file": 3}, "file"),
        ({"file": ""}, "file"),
        ({"file": "a", "start_s": "x"}, "start_s"),
        ({"file": "a", "speed": 2}, "speed"),
        ({"file": "a", "started_min_ago": -1}, "started_min_ago"),
    ],
)
def test_bad_options_are_named(options: dict[str, object], key: str) -> None:
    with pytest.raises(DriverError) as caught:
        ReplayDriver(options, HandClock())
    assert caught.value.key == key

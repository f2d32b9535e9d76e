"""Shop time, and telling a set clock from a sleep."""

from __future__ import annotations

import pytest

from press_monitor.recorder.clock import ClockGuard, ShopClock, monotonic_through_sleep
from tests.recorder.fakes import FakeTime


def test_at_speed_one_shop_time_is_real_time_and_utc_follows_a_clock_that_is_set():
    time = FakeTime()
    clock = ShopClock(real=time.real, wall=time.wall)
    time.pass_(12.5)
    assert clock.monotonic() == time.seconds
    time.utc += 3600.0
    assert clock.utc() == time.utc


def test_a_fast_clock_scales_both_and_starts_where_real_time_stands():
    time = FakeTime()
    clock = ShopClock(30.0, real=time.real, wall=time.wall)
    began, began_utc = clock.monotonic(), clock.utc()
    assert (began, began_utc) == (1000.0, 1_700_000_000.0)
    time.pass_(2.0)
    assert clock.monotonic() - began == 60.0
    assert clock.utc() - began_utc == 60.0


@pytest.mark.parametrize("speed", [0.0, -1.0, float("nan")])
def test_a_clock_that_would_stand_or_run_back_is_refused(speed):
    with pytest.raises(ValueError, match="speed"):
        ShopClock(speed)


@pytest.mark.parametrize(
    ("real", "wall", "said"),
    [
        (1.0, 1.0, []),
        (1.0, 2.9, []),
        (1.0, 3601.0, ["clock-step"]),
        (1.0, -3599.0, ["clock-step"]),
        (600.0, 600.0, ["sleep-gap"]),
        (600.0, 4200.0, ["sleep-gap", "clock-step"]),
    ],
)
def test_a_set_clock_and_a_sleep_are_told_apart(real, wall, said):
    time = FakeTime()
    guard = ClockGuard(time.real, time.wall)
    time.seconds += real
    time.utc += wall
    notes = guard.look()
    assert [note.kind for note in notes] == said
    assert guard.look() == (), "said once"
    for note in notes:
        assert f"{3600 if note.kind == 'clock-step' else 600} s" in note.words


def test_monotonic_time_never_runs_back():
    stamps = [monotonic_through_sleep() for _ in range(1000)]
    assert stamps == sorted(stamps)

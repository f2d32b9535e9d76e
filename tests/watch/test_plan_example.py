"""The worked example of the design, lived through by a watch.

8 mm uncured, 22 mm casing, 14 mm uncured between two faces at 300 degF, from 72 degF; a = 1.144e-7 m2/s, tc50 6 min
and tc90 12 min at 150 degC, 100 kJ/mol. The deepest rubber reaches 90 % after 79, 87 and 92 min for faces that step
there, rise there within 15 and within 25 min (worked out with a solver of its own before this program was written).
"""

from __future__ import annotations

import pytest

from press_monitor.quantities import to_si
from press_monitor.readings import Tick
from press_monitor.watch.cure_watch import CureWatch
from tests.watch.bench import SETUP, THICK, reading, replace

START = replace(THICK, start_temperature=to_si(72.0, "degF"))


@pytest.mark.parametrize(("rise", "expected"), [(0.0, 79.0), (15.0, 87.0), (25.0, 92.0)])
def test_the_deepest_rubber_reaches_ninety_percent_when_the_plan_says(rise: float, expected: float) -> None:
    watch, reached = CureWatch(replace(SETUP, repair=START)), None
    for k in range(100 * 6):
        t = 10.0 * k
        restless = 0.1 * (k * 7 % 5 - 2)
        face = 300.0 if rise == 0.0 else min(300.0, 72.0 + 228.0 * t / (60.0 * rise))
        watch.step(Tick(t, reading(inner_mat=face + restless, outer_mat=face - restless, bag=32.0 + 0.1 * restless)))
        if k % 3 == 0 and t > 4000.0:
            deepest = watch.snapshot().deepest
            assert deepest is not None
            if deepest.state_of_cure >= 0.90:
                reached = t / 60.0
                break
    assert reached == pytest.approx(expected, abs=1.5)
    # uncured rubber lies 0-8 mm and 30-44 mm deep: what lags most lies against the casing, on its thicker side
    assert deepest.depth_mm == pytest.approx(30.0, abs=0.5)
    assert deepest.state_of_cure_low < 0.90 < deepest.state_of_cure_high


def test_the_forecast_said_so_half_an_hour_before() -> None:
    watch = CureWatch(replace(SETUP, repair=START))
    for k in range(50 * 6 + 1):
        restless = 0.1 * (k * 7 % 5 - 2)
        watch.step(
            Tick(10.0 * k, reading(inner_mat=300.0 + restless, outer_mat=300.0 - restless, bag=32.0 + 0.1 * restless))
        )
    forecast = watch.snapshot().forecast
    assert forecast is not None and forecast.minutes_left is not None
    assert 50.0 + forecast.minutes_left == pytest.approx(79.0, abs=1.5)
    assert forecast.minutes_left_early is not None and forecast.minutes_left_late is not None
    assert forecast.minutes_left_early < forecast.minutes_left < forecast.minutes_left_late
    assert forecast.heat_off_now_low is not None and forecast.heat_off_now_ends_at is not None
    assert forecast.heat_off_now_low <= forecast.heat_off_now_ends_at < 0.90

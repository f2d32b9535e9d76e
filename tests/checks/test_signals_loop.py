"""4-20 mA: the scaling is arithmetic; the classes are NAMUR NE 43's four limits, read in third-party summaries."""

from __future__ import annotations

import pytest

from press_monitor.readings.loop import CurrentClass, Loop, classify


@pytest.mark.parametrize(
    ("current", "psi"), [(4, 0), (8, 15), (12, 30), (40 / 3, 35), (20, 60), (3.8, -0.75), (20.5, 61.875)]
)
def test_a_span_of_0_to_60_psi(current: float, psi: float) -> None:
    loop = Loop(0.0, 60.0)
    assert loop.value(current) == pytest.approx(psi, abs=1e-12)
    assert loop.current(psi) == pytest.approx(current, abs=1e-12)


@pytest.mark.parametrize(
    ("current", "kind"),
    [
        (0.0, CurrentClass.FAILURE_LOW),
        (3.6, CurrentClass.FAILURE_LOW),
        (3.6001, CurrentClass.UNDER_RANGE),
        (3.7999, CurrentClass.UNDER_RANGE),
        (3.8, CurrentClass.MEASURING),
        (4.0, CurrentClass.MEASURING),
        (20.5, CurrentClass.MEASURING),
        (20.5001, CurrentClass.OVER_RANGE),
        (20.9999, CurrentClass.OVER_RANGE),
        (21.0, CurrentClass.FAILURE_HIGH),
        (24.0, CurrentClass.FAILURE_HIGH),
    ],
)
def test_ne_43_classes(current: float, kind: CurrentClass) -> None:
    assert classify(current) is kind
    assert kind.failure == (current <= 3.6 or current >= 21.0)

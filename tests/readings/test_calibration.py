"""Calibration of a channel."""

from __future__ import annotations

from datetime import date

import pytest

from press_monitor.readings import SignalError
from press_monitor.readings.calibration import Calibration


def test_gain_first_then_offset_in_the_channels_unit() -> None:
    assert Calibration(offset=-1.5, gain=1.01).apply(300.0) == pytest.approx(301.5)
    assert Calibration().apply(300.0) == 300.0


def test_it_holds_through_its_due_date_and_not_a_day_longer() -> None:
    calibration = Calibration(done=date(2026, 3, 2), due=date(2027, 3, 2))
    assert not calibration.overdue(date(2027, 3, 2))
    assert calibration.overdue(date(2027, 3, 3))
    assert not Calibration().overdue(date(2999, 1, 1))


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"gain": 0.0}, "gain must be above 0"),
        ({"gain": -1.0}, "gain must be above 0"),
        ({"gain": float("nan")}, "gain must be above 0"),
        ({"offset": float("inf")}, "offset inf is no number"),
        ({"done": date(2026, 3, 2), "due": date(2026, 3, 1)}, "due 2026-03-01 before it was done 2026-03-02"),
    ],
)
def test_impossible_ones_are_refused(settings: dict, words: str) -> None:
    with pytest.raises(SignalError, match=words):
        Calibration(**settings)


def test_words_and_facts() -> None:
    calibration = Calibration(1.2, 1.001, date(2026, 3, 2), "dry block DB-2", date(2027, 3, 2))
    assert calibration.words("degF") == "+1.2 degF, x 1.0010, 2026-03-02 against dry block DB-2, due 2027-03-02"
    assert Calibration(-0.5).words("psi") == "-0.5 psi, no date"
    assert calibration.facts() == {
        "offset": 1.2,
        "gain": 1.001,
        "done": "2026-03-02",
        "reference": "dry block DB-2",
        "due": "2027-03-02",
    }
    assert Calibration().facts()["due"] is None

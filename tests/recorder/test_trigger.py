"""A cure that begins without a ticket."""

from __future__ import annotations

import math

from press_monitor.recorder.trigger import HeatTrigger


def run(curve, seconds, step=1, trigger=None):
    """Feed one or more mats; return (when it triggered, when it says heating began)."""
    trigger = trigger or HeatTrigger()
    for t in range(0, seconds, step):
        values = curve(t)
        began = trigger.take(float(t), values if isinstance(values, list) else [values])
        if began is not None:
            return t, began
    return None


def test_a_heating_mat_triggers_above_sixty_and_names_the_start_of_the_heating():
    when, began = run(lambda t: 20.0 if t < 300 else 20.0 + 0.2 * (t - 300), 1000)
    assert when == 501, "60 degC are passed 200 s after the heat came on"
    assert 295 <= began <= 306


def test_either_mat_is_enough_and_an_open_probe_is_nothing():
    assert run(lambda t: [None, 20.0 + 0.2 * t], 400)[0] == 201
    assert run(lambda t: [None, None], 400) is None


def test_a_hot_shop_or_a_slow_drift_is_no_cure():
    assert run(lambda t: 45.0 + 10.0 * math.sin(t / 4000.0), 20_000, step=10) is None
    assert run(lambda t: 30.0 + t * (9.0 / 600.0), 3000, step=5) is None, "under 10 K in ten minutes"


def test_a_recorder_started_in_the_middle_of_a_cure_joins_it():
    found = run(lambda t: 150.0 + 4.0 * math.sin(2 * math.pi * t / 240.0), 1000)
    assert found is not None and found[0] <= 240 and found[1] == 0.0


def test_steady_hot_mats_within_their_noise_do_not_trigger():
    assert run(lambda t: 120.0 + 0.4 * math.sin(t), 3000) is None


def test_cooling_mats_do_not_trigger_again_after_a_release():
    trigger = HeatTrigger()
    assert run(lambda t: 20.0 + 0.2 * t, 1000, trigger=trigger) is not None
    trigger.forget()
    assert run(lambda t: 25.0 + 125.0 * math.exp(-t / 1500.0), 6000, trigger=trigger) is None

"""Cards, layers and repairs that contradict themselves are refused in one line that names what."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from press_monitor.cure.compound import CureError
from press_monitor.cure.kinetics import activation_energy_from_tc90, equivalent_time_at, rate, state_of_cure
from press_monitor.cure.layers import Layer, Repair, Stack
from tests.cure.walls import GUM, repair, section


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"tc90": 360.0}, r"compound section-gum: tc90 \(6 min\) must be longer than tc50 \(6 min\)"),
        ({"tc90": 100.0}, "tc90"),
        ({"tc50": 0.0}, "tc50 must be above zero"),
        ({"scorch": -1.0}, "scorch must be above zero"),
        ({"scorch": 800.0}, "scorch"),
        ({"activation_energy": 0.0}, "activation_energy"),
        ({"blow_point": 1.0}, "blow_point"),
        ({"reversion": float("nan")}, "reversion"),
        ({"water_activity": 1.2}, "water_activity"),
        ({"reference_temperature": 900.0}, "reference_temperature"),
        ({"reversion_activation_energy": -5.0}, "reversion_activation_energy"),
    ],
)
def test_a_card_that_contradicts_itself(change: dict[str, Any], words: str) -> None:
    with pytest.raises(CureError, match=words) as caught:
        replace(GUM, **change)
    assert str(caught.value).startswith("compound section-gum: ")
    assert "\n" not in str(caught.value)


def test_layers_stacks_and_repairs() -> None:
    for thickness in (0.0, -0.008, float("nan")):
        with pytest.raises(CureError, match="layer patch: thickness must be above zero"):
            Layer("patch", thickness, GUM)
    with pytest.raises(CureError, match="layer patch: conductivity"):
        Layer("patch", 0.008, GUM, conductivity=0.0)
    with pytest.raises(CureError, match="stack edge: no layers"):
        Stack("edge", ())
    with pytest.raises(CureError, match="repair: no layers"):
        Repair(())
    with pytest.raises(CureError, match="two stacks are called injury centre"):
        repair(section(), section())
    with pytest.raises(CureError, match="contact_conductance"):
        repair(contact_conductance=0.0)
    with pytest.raises(CureError, match="start_temperature"):
        repair(start_temperature=900.0)
    assert section().uncured_thickness == pytest.approx(0.022)


def test_an_activation_energy_needs_a_hotter_and_a_quicker_cure() -> None:
    for points in ({150.0: 600.0}, {140.0: 600.0, 150.0: 700.0}, {140.0: 0.0, 150.0: 700.0}):
        with pytest.raises(CureError, match="tc90 at two temperatures"):
            activation_energy_from_tc90(points)


def test_nothing_overflows() -> None:
    assert np.isfinite(rate(np.array([-200.0, 1500.0]), 200e3, 150.0)).all()
    assert state_of_cure(np.array([0.0, 1e-250, 1e300]), 360.0, 3.17) == pytest.approx([0.0, 0.0, 1.0])
    for state in (0.0, 1.0, -0.5, float("nan")):
        with pytest.raises(CureError):
            equivalent_time_at(state, GUM)

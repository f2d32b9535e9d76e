"""Fitting a trial that scipy simulated, not our own model: a buried probe, noise, contact, and what cannot be told."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from press_monitor.cure.compound import CureError
from press_monitor.cure.fit import fit
from press_monitor.cure.fitted import PERFECT, Found
from press_monitor.cure.layers import Layer, Stack
from press_monitor.cure.trial import Fit, Trial

NOISE = 0.2 / 1.8
BELIEVED = 0.25 / (1150.0 * 1900.0)
WALL = Stack("trial", (Layer("patch", 0.008), Layer("casing", 0.022), Layer("filler", 0.014)))


@cache
def solved(factor: float, conductance: float | None, minutes: float) -> tuple[np.ndarray, np.ndarray]:
    """A 44 mm wall by cell centres and scipy at 1 Hz, mats ramped over 15 min, then held: times, cells (N, K)."""
    cells, length = 176, 0.044
    width, alpha, k = length / cells, BELIEVED * factor, 0.25 * factor
    times = np.arange(0.0, 60.0 * minutes + 1.0)
    # Half a cell to the face, and the contact before it.
    into = 1.0 / (0.5 * width / k + (0.0 if conductance is None else 1.0 / conductance)) / (k / width)

    def slope(t: float, wall: np.ndarray) -> np.ndarray:
        mat = 22.0 + 127.0 * min(t / 900.0, 1.0)
        flow = np.empty(cells + 1)
        flow[1:-1] = wall[:-1] - wall[1:]
        flow[0], flow[-1] = into * (mat - wall[0]), into * (wall[-1] - mat)
        return alpha / width**2 * (flow[:-1] - flow[1:])

    found = solve_ivp(
        slope, (0.0, times[-1]), np.full(cells, 22.0), "LSODA", times, rtol=1e-6, atol=1e-5, max_step=60.0
    )
    return times, found.y


def simulated(
    factor: float,
    depth: float,
    *,
    conductance: float | None = None,
    minutes: float = 90.0,
    seed: int = 1,
    believed_depth: float | None = None,
    mats_off: float = 0.0,
    stack: Stack = WALL,
) -> Trial:
    """The trial as its instruments tell it: with 0.2 degF of noise, the mats' thermocouples `mats_off` K wrong."""
    times, wall = solved(factor, conductance, minutes)
    width = 0.044 / len(wall)
    rng = np.random.default_rng(seed)
    mats = 22.0 + 127.0 * np.minimum(times / 900.0, 1.0)
    centres = (np.arange(len(wall)) + 0.5) * width
    at = int(np.searchsorted(centres, depth)) - 1
    part = (depth - centres[at]) / width
    probe = wall[at] * (1.0 - part) + wall[at + 1] * part
    noisy = [column + rng.normal(0.0, NOISE, len(times)) for column in (mats + mats_off, mats + mats_off, probe)]
    return Trial(stack, times, *noisy, depth=depth if believed_depth is None else believed_depth, start=22.0)


def within(found: Fit, factor: float) -> bool:
    return found.factor_low <= factor <= found.factor_high


@pytest.mark.parametrize(("factor", "depth"), [(1.15, 0.022), (0.85, 0.015), (1.0, 0.030)])
def test_diffusivity_within_three_percent(factor: float, depth: float) -> None:
    """The promise: 90 min, 0.2 degF of noise, whether or not the contact is sought along with it."""
    for contact in (True, False):
        found = fit(simulated(factor, depth), contact=contact)
        assert found.factor == pytest.approx(factor, rel=0.03)
        assert found.diffusivity == pytest.approx(BELIEVED * factor, rel=0.03)
        assert within(found, factor)
        assert found.rms == pytest.approx(NOISE, rel=0.1)
        assert f"{found.diffusivity * 1e6:.4f}" in found.words
    assert found.tells_diffusivity
    told = found.diffusivity_found
    assert told is not None
    assert told.low < BELIEVED * factor < told.high
    assert told.high / told.low < 1.06
    assert found.contact_found is None


def test_contact_is_found_where_there_is_one() -> None:
    """A probe in the middle tells both; one near a face takes a poorer contact for a slower rubber, and says so."""
    found = fit(simulated(1.0, 0.022, conductance=150.0))
    assert found.factor == pytest.approx(1.0, rel=0.03)
    assert found.conductance_low is not None
    assert found.conductance_high is not None
    assert found.conductance_low < 150.0 < found.conductance_high
    assert found.conductance == pytest.approx(150.0, rel=0.05)
    assert found.contact_found == Found(found.conductance, found.conductance_low, found.conductance_high)
    near = fit(simulated(1.0, 0.012, conductance=150.0))
    assert near.factor == pytest.approx(1.0, rel=0.03)
    assert within(near, 1.0)
    assert near.conductance_low is not None
    assert near.conductance_low < 150.0
    assert not near.tells_contact
    assert near.contact_found is None
    assert "cannot tell the contact" in near.words


def test_perfect_contact_is_not_told_from_perfect() -> None:
    found = fit(simulated(1.0, 0.022))
    assert found.conductance_high is None
    assert found.tells_contact
    assert "not told from perfect" in found.words
    told = found.contact_found
    assert told is not None
    assert told.high == PERFECT
    assert 100.0 < told.low < 1000.0
    alone = fit(simulated(1.0, 0.022), contact=False)
    assert alone.conductance is None
    assert alone.factor == pytest.approx(1.0, rel=0.01)
    assert within(alone, 1.0)


@pytest.mark.parametrize("wrong", [-0.5, 0.8])
def test_thermocouples_that_disagree_are_found_out_and_spoil_nothing(wrong: float) -> None:
    found = fit(simulated(1.15, 0.022, mats_off=wrong), contact=False)
    assert found.offset == pytest.approx(-wrong, abs=0.1)
    assert found.factor == pytest.approx(1.15, rel=0.03)
    assert within(found, 1.15)


@pytest.mark.parametrize("wrong", [-0.0008, 0.0008])
def test_a_probe_not_quite_where_it_is_believed_to_be(wrong: float) -> None:
    found = fit(simulated(1.0, 0.014, believed_depth=0.014 + wrong), contact=False)
    assert within(found, 1.0)
    assert found.deeper == pytest.approx(-wrong, abs=0.0006)


def test_one_compound_alone() -> None:
    """The casing is believed rightly to be 15 % quicker than usual; the rest, sought, is too."""
    own = Stack(
        "trial",
        (
            Layer("patch", 0.008, None, 0.25),
            Layer("casing", 0.022, None, 0.25 * 1.15),
            Layer("filler", 0.014, None, 0.25),
        ),
    )
    trial = replace(simulated(1.15, 0.022, stack=own), free=(True, False, True))
    found = fit(trial, contact=False)
    assert found.factor == pytest.approx(1.15, rel=0.02)
    assert within(found, 1.15)
    assert found.diffusivity == pytest.approx(BELIEVED * 1.15, rel=0.02)
    for free in ((False, False, False), (True, True)):
        with pytest.raises(CureError, match="no layer"):
            replace(trial, free=free)


def test_what_no_rubber_has_is_not_believed() -> None:
    """A wall believed twice as thick as it is looks four times too quick."""
    thick = Stack("thick", tuple(replace(layer, thickness=2.0 * layer.thickness) for layer in WALL.layers))
    found = fit(simulated(1.0, 0.022, believed_depth=0.044, stack=thick), contact=False)
    assert found.factor > 3.0
    assert not found.tells_diffusivity
    assert found.diffusivity_found is None
    assert "which no rubber has" in found.words


def test_what_the_model_leaves_out_widens_the_limits() -> None:
    """A slow wave of 0.5 K on the probe: hundreds of readings that all miss together are no more than a few."""
    trial = simulated(1.0, 0.022)
    wave = 0.5 * np.sin(trial.times / 600.0)
    calm, wavy = fit(trial, contact=False), fit(replace(trial, buried=trial.buried + wave), contact=False)
    assert wavy.factor_high - wavy.factor_low > 3.0 * (calm.factor_high - calm.factor_low)
    assert within(wavy, 1.0)


def test_a_probe_at_the_face_or_a_trial_too_short_cannot_tell() -> None:
    shallow = fit(simulated(1.0, 0.0012))
    assert not shallow.tells_diffusivity
    assert "cannot tell the diffusivity" in shallow.words
    early = fit(simulated(1.0, 0.022, minutes=4.0))
    assert not early.tells_diffusivity


def test_open_readings_are_left_out() -> None:
    trial = simulated(1.1, 0.022)
    broken = trial.buried.copy()
    broken[1000:1600] = np.nan
    holed = Trial(WALL, trial.times, trial.inner, trial.outer, broken, trial.depth, start=22.0)
    found = fit(holed, contact=False)
    assert found.factor == pytest.approx(1.1, rel=0.01)
    assert np.isnan(found.residuals[1000:1600]).all()


def test_bad_trials_are_refused_in_one_line() -> None:
    t = np.arange(100.0)
    good = np.full(100, 20.0)
    for columns, depth, words in (
        ((t, good, good, good), 0.045, "45 mm deep lies outside a stack of 44 mm"),
        ((t, good, good, good), -0.001, "outside"),
        ((t[::-1], good, good, good), 0.02, "rise strictly"),
        ((t, good[:-1], good, good), 0.02, "as many readings"),
        ((t, np.full(100, np.nan), good, good), 0.02, "mat reading"),
        ((t, good, good, np.full(100, np.nan)), 0.02, "fewer than 20 readings"),
    ):
        with pytest.raises(CureError, match=words) as caught:
            Trial(WALL, *columns, depth=depth)
        assert "\n" not in str(caught.value)

"""The conduction solver's own promises: order, steadiness, agreement of its two ways, any step, any clock."""

from __future__ import annotations

import numpy as np
import pytest

from press_monitor.cure.compound import CureError
from press_monitor.cure.conduction import decompose, intervals_over, mesh_of, recompute
from press_monitor.cure.layers import Layer, Stack
from press_monitor.cure.section import Face, Section
from tests.cure.walls import held, plane_wall, repair, section, slab

MIXED = Stack(
    "mixed", (Layer("a", 0.006, None, 0.20), Layer("b", 0.018, None, 0.35, 1100.0, 1700.0), Layer("c", 0.011))
)


def test_second_order_in_space() -> None:
    """Halving the cells quarters the error, in one layer (series) and over interfaces (against a fine mesh)."""
    errors = []
    for nodes in (31, 61, 121):
        middle = held(slab(0.050), [1136.0], 150.0, 150.0, nodes=nodes)[0, nodes // 2]
        errors.append(abs(middle - (150.0 - 130.0 * plane_wall(0.0, 1136.0 * 1.1e-7 / 0.025**2, None))))
    assert np.log2(errors[0] / errors[1]) == pytest.approx(2.0, abs=0.15)
    assert np.log2(errors[1] / errors[2]) == pytest.approx(2.0, abs=0.15)

    # Layers that heat takes 1 : 2 : 3 times as long to cross are cut into exactly so many intervals.
    k, cells = (0.20, 0.35, 0.25), (1, 2, 3)
    layers = (Layer(f"{n}", n * 0.012 * c**0.5, None, c, 1150.0, 1900.0) for n, c in zip(cells, k, strict=True))
    wall, found = Stack("three", tuple(layers)), []
    for count in (6, 12, 24, 96):
        row = held(wall, [1500.0], 150.0, 60.0, faces=(200.0, None), nodes=6 * count + 1)[0]
        found.append(row[[count, 3 * count]])
    gaps = [np.abs(value - found[-1]) for value in found[:-1]]
    assert np.log2(gaps[0] / gaps[1]) == pytest.approx([2.0, 2.0], abs=0.2)
    assert np.log2(gaps[1] / gaps[2]) == pytest.approx([2.0, 2.0], abs=0.2)


def test_exact_in_time_for_faces_that_move_linearly() -> None:
    """One step of 20 min is 1200 steps of a second, is a ragged clock."""
    rng = np.random.default_rng(3)
    basis = decompose(mesh_of([MIXED]), 150.0, None).row(0)
    start = np.full(61, 20.0)
    ends = []
    for times in (
        np.array([0.0, 1200.0]),
        np.arange(0.0, 1200.5, 1.0),
        np.concatenate([[0.0], np.sort(rng.uniform(0.0, 1200.0, 700)), [1200.0]]),
    ):
        face = 20.0 + 0.1 * times
        ends.append(recompute(basis, times, face, 0.5 * face + 10.0, start)[-1])
    assert ends[1] == pytest.approx(ends[0], abs=1e-9)
    assert ends[2] == pytest.approx(ends[0], abs=1e-6)  # its times are taken to the nanosecond


def test_steady_state_is_exact_and_flux_passes_interfaces_unchanged() -> None:
    row = held(MIXED, [1e8], 140.0, 25.0, faces=(80.0, 10.0))[0]
    mesh = mesh_of([MIXED])
    flux = mesh.conductance[0] * -np.diff(row)
    resistance = 1 / 80.0 + 0.006 / 0.20 + 0.018 / 0.35 + 0.011 / 0.25 + 1 / 10.0
    assert flux == pytest.approx(np.full(60, 115.0 / resistance), rel=1e-8)
    assert 80.0 * (140.0 - row[0]) == pytest.approx(115.0 / resistance, rel=1e-8)


def test_heat_is_conserved_over_interfaces() -> None:
    """With both faces insulated nothing is lost."""
    mesh = mesh_of([MIXED])
    basis = decompose(mesh, 0.0, 0.0).row(0)
    start = np.where(np.arange(61) < 20, 150.0, 20.0)
    times = np.array([0.0, 1.0, 60.0, 3600.0])
    found = recompute(basis, times, np.zeros(4), np.zeros(4), start)
    heat = found @ mesh.capacity[0]
    assert heat == pytest.approx(np.full(4, heat[0]), rel=1e-12)


@pytest.mark.parametrize("faces", [(None, None), (300.0, None), (300.0, 10.0)])
def test_live_and_batch_agree_to_rounding(faces: tuple[float | None, float | None]) -> None:
    rng = np.random.default_rng(11)
    times = np.concatenate([np.arange(0.0, 300.0), 300.0 + np.cumsum(rng.uniform(0.2, 9.5, 300))])
    inner = 20.0 + 0.2 * times + rng.normal(0.0, 0.5, len(times))
    air = faces[1] == 10.0
    outer = np.full(len(times), 18.0) if air else inner - 3.0
    live = Section(repair(contact_conductance=faces[0]), 20.0, 18.0, None)
    conductances = (faces[0], 10.0 if air else faces[0])
    basis = decompose(mesh_of([section()]), *conductances).row(0)
    batch = recompute(basis, times, inner, outer, np.full(61, 20.0))
    worst = 0.0
    for k, (a, b) in enumerate(zip(inner, outer, strict=True)):
        live.advance(0.0 if k == 0 else times[k] - times[k - 1], Face.mat(a), Face.air(b) if air else Face.mat(b))
        worst = max(worst, float(np.abs(live.profile()[0].temperature - batch[k]).max()))
    assert worst < 1e-6


def test_a_face_that_changes_its_kind_keeps_the_heat_inside() -> None:
    """Mat off, air on: the face's own node starts where it was and cools smoothly."""
    live = Section(repair(), 20.0, 20.0)
    mat = Face.mat(150.0)
    live.advance(0.0, mat, mat)
    live.advance(1800.0, mat, mat)
    before = live.profile()[0].temperature
    live.advance(1.0, Face.air(20.0), mat)
    after = live.profile()[0].temperature
    assert 140.0 < after[0] < 150.0
    assert after[1:] == pytest.approx(before[1:], abs=3.0)
    live.advance(1.0, mat, mat)
    assert live.profile()[0].temperature[0] == 150.0


def test_every_layer_gets_its_intervals_and_too_many_layers_get_more_nodes() -> None:
    assert intervals_over(section()) == [11, 30, 19]
    assert sum(intervals_over(MIXED, 61)) == 60
    skin = Stack("skin", (Layer("gum", 0.0005), Layer("casing", 0.050)))
    assert intervals_over(skin) == [3, 57]
    many = Stack("many", tuple(Layer(f"ply {i}", 0.001) for i in range(30)))
    with pytest.raises(CureError, match="30 layers need more than 61 nodes"):
        intervals_over(many)
    live = Section(repair(many), 20.0, 20.0)
    live.advance(0.0, Face.mat(100.0), Face.mat(100.0))
    live.advance(7200.0, Face.mat(100.0), Face.mat(100.0))
    assert live.profile()[0].temperature == pytest.approx(np.full(91, 100.0), abs=0.5)

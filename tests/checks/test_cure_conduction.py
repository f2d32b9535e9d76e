"""Conduction against published solutions.

Sources: Carslaw & Jaeger, Conduction of Heat in Solids (2nd ed., series for held and ramped faces); Incropera,
Fundamentals of Heat and Mass Transfer (table 5.1, app. B.3, eq. 5.42, 5.57, 5.63, examples 5.4 and 5.6); Holman, Heat
Transfer (example 4.2); Cengel, Heat Transfer (example 4.6). The books' tables and printed results are quoted from
memory, and every one is reproduced by the closed form with scipy or mpmath; the examples' inputs were read in
companions to them.
"""

from __future__ import annotations

import mpmath
import numpy as np
import pytest
from scipy.special import erfc, erfcinv

from press_monitor.cure.conduction import decompose, mesh_of, recompute
from press_monitor.cure.layers import Layer, Stack
from tests.cure.walls import held, plane_wall, roots, slab

TABLE_5_1 = {
    0.01: (0.09983, 1.00166, 3.14477, 6.28478, 9.42584),
    0.1: (0.31105, 1.01609, 3.17310, 6.29906, 9.43538),
    0.5: (0.65327, 1.07013, 3.29231, 6.36162, 9.47749),
    1.0: (0.86033, 1.11913, 3.42562, 6.43730, 9.52933),
    2.0: (1.07687, 1.17846, 3.64360, 6.57833, 9.62956),
    5.0: (1.31384, 1.24025, 4.03357, 6.90960, 9.89275),
    10.0: (1.42887, 1.26196, 4.30580, 7.22811, 10.20026),
    50.0: (1.54001, 1.27265, 4.62025, 7.70116, 10.78316),
    100.0: (1.55525, 1.27309, 4.66577, 7.77637, 10.88713),
}


@pytest.mark.parametrize("biot", TABLE_5_1)
def test_modes_of_a_wall_are_the_handbook_roots(biot: float) -> None:
    """Incropera table 5.1 and app. B.3: a wall convecting at one face, the other insulated."""
    first, weight, *more = TABLE_5_1[biot]
    alpha, thickness, k, nodes = 1e-7, 0.025, 0.25, 401
    mesh = mesh_of([slab(thickness, alpha, k)], nodes)
    basis = decompose(mesh, biot * k / thickness, 0.0).row(0)
    zeta = np.sqrt(basis.rates[:4] * thickness**2 / alpha)
    assert zeta[0] == pytest.approx(first, abs=2e-5)
    assert zeta == pytest.approx([first, *more], rel=5e-5)
    # C1: what the first mode holds of a uniform start, seen at the insulated face.
    assert basis.modes(np.ones(nodes))[0] * basis.to_nodes[-1, 0] == pytest.approx(weight, abs=3e-5)


@pytest.mark.parametrize(
    ("biot", "fourier", "middle", "surface"),
    [
        (0.1, 0.1, 0.99922, 0.96529),
        (0.1, 1.0, 0.92239, 0.87813),
        (1.0, 0.1, 0.99311, 0.72358),
        (1.0, 1.0, 0.53386, 0.34818),
        (10.0, 0.1, 0.96842, 0.17057),
        (10.0, 1.0, 0.16382, 0.02317),
    ],
)
def test_convecting_wall(biot: float, fourier: float, middle: float, surface: float) -> None:
    """Incropera eq. 5.42, an end-of-chapter problem's cases."""
    half, alpha, k = 0.025, 1.1e-7, 0.25
    h = biot * k / half
    found = held(slab(2 * half, alpha, k), [fourier * half**2 / alpha], 0.0, 0.0, 1.0, faces=(h, h))[0]
    assert plane_wall(0.0, fourier, biot) == pytest.approx(middle, abs=2e-5)
    assert found[30] == pytest.approx(middle, abs=4e-4)
    assert found[[0, -1]] == pytest.approx(surface, abs=4e-4)


def test_held_faces_within_a_twentieth_of_a_kelvin_at_61_nodes() -> None:
    """Carslaw & Jaeger 3.3: every node, from Fo 0.05 on, faces stepped by 130 K."""
    published = {
        0.05: 0.00313, 0.1: 0.05070, 0.2: 0.22769, 0.3: 0.39320, 0.5: 0.62922,
        0.8: 0.82313, 1.0: 0.89202, 1.5: 0.96856, 2.0: 0.99084,
    }  # fmt: skip
    half, alpha = 0.025, 1.1e-7
    found = held(slab(2 * half, alpha), [fo * half**2 / alpha for fo in published], 150.0, 150.0)
    for row, (fourier, centre) in zip(found, published.items(), strict=True):
        assert 1.0 - plane_wall(0.0, fourier, None) == pytest.approx(centre, abs=2e-5)
        series = [150.0 - 130.0 * plane_wall(x, fourier, None) for x in np.linspace(-1.0, 1.0, 61)]
        assert np.abs(row - series).max() <= 0.05


def test_steel_wall_with_oil_on_one_face() -> None:
    """Incropera example 5.4: 40 mm of steel from -20 to 60 degC at h 500, the other face insulated, after 8 min."""
    steel = Stack("pipe", (Layer("steel", 0.040, None, 63.9, 63.9 / 18.8e-6 / 434.0, 434.0),))
    found = held(steel, [480.0], 60.0, 0.0, -20.0, faces=(500.0, 0.0))[0]
    assert found[-1] == pytest.approx(43.02, abs=0.2)
    assert found[0] == pytest.approx(45.36, abs=0.2)
    assert 500.0 * (found[0] - 60.0) == pytest.approx(-7318.0, abs=50.0)


@pytest.mark.parametrize(
    ("alpha", "start", "surface", "days", "depth"),
    [
        (0.52 / (2050.0 * 1840.0), 20.0, -15.0, 60.0, 0.677),  # Incropera example 5.6, printed 0.68
        (0.15e-6, 15.0, -10.0, 90.0, 0.801),  # Cengel example 4.6; 0.78 read off a chart in an early edition
    ],
)
def test_frost_depth(alpha: float, start: float, surface: float, days: float, depth: float) -> None:
    """Semi-infinite soil, surface stepped: the depth of 0 degC."""
    seconds = days * 86400.0
    exact = 2.0 * np.sqrt(alpha * seconds) * erfcinv(1.0 - (0.0 - surface) / (start - surface))
    assert exact == pytest.approx(depth, abs=0.002)
    soil = slab(8.0, alpha, 0.52)
    found = held(soil, [seconds], surface, start, start, nodes=801)[0]
    assert np.interp(0.0, found, np.linspace(0.0, 8.0, 801)) == pytest.approx(depth, abs=0.002)


def test_semi_infinite_steel_stepped_and_under_a_flux() -> None:
    """Holman example 4.2: 35 degC, alpha 1.4e-5, 25 mm deep after 30 s."""
    block = slab(0.3, 1.4e-5, 45.0)
    at = 50  # 25 mm of 300 at 601 nodes
    stepped = held(block, [30.0], 250.0, 35.0, 35.0, nodes=601)[0]
    assert stepped[at] == pytest.approx(118.5, abs=0.1)
    # A flux of 3.2e5 W/m2, as a very poor contact to something very hot.
    poor = 1e-3
    heated = held(block, [30.0], 35.0 + 3.2e5 / poor, 35.0, 35.0, nodes=601, faces=(poor, None))[0]
    assert heated[at] == pytest.approx(79.3, abs=0.1)
    assert heated[0] == pytest.approx(199.4, abs=0.1)


def test_rubber_surface_stepped() -> None:
    """erfc solution (Incropera eq. 5.57): 10 mm deep after 20 min."""
    assert 20.0 + 130.0 * erfc(0.010 / 2.0 / np.sqrt(1e-7 * 1200.0)) == pytest.approx(87.419, abs=1e-3)
    found = held(slab(0.12, 1e-7), [1200.0], 150.0, 20.0, nodes=121)[0]
    assert found[10] == pytest.approx(87.419, abs=0.05)


@pytest.mark.parametrize(
    ("faces", "thickness", "alpha", "seconds", "node", "expected"),
    [
        ((150.0, 130.0), 0.040, 1.1e-7, 1800.0, 15, 113.099),
        ((232.0, 20.0), 0.050, 1.0e-7, 3600.0, 30, 93.417),
        ((232.0, 20.0), 0.050, 1.0e-7, 1e7, 30, 126.0),
    ],
)
def test_faces_of_two_temperatures(
    faces: tuple[float, float], thickness: float, alpha: float, seconds: float, node: int, expected: float
) -> None:
    """Sine series (Carslaw & Jaeger 3.4), and the steady state."""
    assert held(slab(thickness, alpha), [seconds], *faces)[0, node] == pytest.approx(expected, abs=0.05)


def test_both_faces_ramped() -> None:
    """Carslaw & Jaeger 3.4 form: 3 K/min, the faces' rise being exact within our steps, however long."""
    minutes = np.array([0.0, 10.0, 20.0, 30.0, 43.0 + 1.0 / 3.0])
    faces = 20.0 + 3.0 * minutes
    basis = decompose(mesh_of([slab(0.050, 1e-7)]), None, None).row(0)
    found = recompute(basis, 60.0 * minutes, faces, faces, np.full(61, 20.0))
    assert found[1:, 30] == pytest.approx([20.292, 24.076, 32.973, 51.525], abs=0.05)


def test_contact_of_rubber_with_steel() -> None:
    """Effusivity mean (Incropera eq. 5.63): two semi-infinite bodies pressed together."""
    pair = Stack("pair", (Layer("rubber", 0.020), Layer("steel", 0.120, None, 15.0, 7900.0, 480.0)))
    nodes = 801
    mesh = mesh_of([pair], nodes)
    interface = int(np.argmin(np.abs(mesh.depth[0] - 0.020)))
    start = np.where(np.arange(nodes) < interface, 20.0, 232.0)
    # The node on the interface begins with the heat of its two halves.
    halves = [
        1150.0 * 1900.0 * np.diff(mesh.depth[0])[interface - 1],
        7900.0 * 480.0 * np.diff(mesh.depth[0])[interface],
    ]
    start[interface] = np.average([20.0, 232.0], weights=halves)
    basis = decompose(mesh, 0.0, 0.0).row(0)
    found = recompute(basis, np.array([0.0, 60.0]), np.zeros(2), np.zeros(2), start)[1]
    assert found[interface] == pytest.approx(213.079, abs=0.01)


def test_two_layers_against_an_inverted_laplace_transform() -> None:
    """k .25, alpha 1e-7, 20 mm, then k .20, alpha .8e-7, 30 mm; one face held, the far side insulated; mpmath."""
    k1, a1, l1, k2, a2, l2, seconds = 0.25, 1e-7, 0.020, 0.20, 0.8e-7, 0.030, 3600.0

    def interface(s: mpmath.mpf) -> mpmath.mpf:
        q1, q2 = mpmath.sqrt(s / a1), mpmath.sqrt(s / a2)
        loss = k2 * q2 * mpmath.tanh(q2 * l2)
        return 1 / s / (mpmath.cosh(q1 * l1) + loss / (k1 * q1) * mpmath.sinh(q1 * l1))

    def far(s: mpmath.mpf) -> mpmath.mpf:
        return interface(s) / mpmath.cosh(mpmath.sqrt(s / a2) * l2)

    exact = [20.0 + 130.0 * float(mpmath.invertlaplace(f, seconds, method="talbot")) for f in (interface, far)]
    assert exact == pytest.approx([82.549, 32.620], abs=2e-3)
    layers = (Layer("a", l1, None, k1, 1150.0, k1 / a1 / 1150.0), Layer("b", l2, None, k2, 1150.0, k2 / a2 / 1150.0))
    mesh = mesh_of([Stack("two", layers)])
    found = held(Stack("two", layers), [seconds], 150.0, 20.0, faces=(None, 0.0))[0]
    at = int(np.argmin(np.abs(mesh.depth[0] - l1)))
    assert mesh.depth[0, at] == pytest.approx(l1)
    assert [found[at], found[-1]] == pytest.approx(exact, abs=0.05)
    # Of two layers alike it makes one: 20 mm deep in 50 mm, by the series for a wall heated on one face.
    k2, a2 = k1, a1
    alike = Stack("alike", (layers[0], Layer("b", l2, None, k1, 1150.0, k1 / a1 / 1150.0)))
    series = 150.0 - 130.0 * plane_wall(0.6, a1 * seconds / 0.050**2, None)
    assert 20.0 + 130.0 * float(mpmath.invertlaplace(interface, seconds, method="talbot")) == pytest.approx(series)
    assert series == pytest.approx(79.6593, abs=1e-4)
    found = held(alike, [seconds], 150.0, 20.0, faces=(None, 0.0))[0]
    at = int(np.argmin(np.abs(mesh_of([alike]).depth[0] - l1)))
    assert found[at] == pytest.approx(series, abs=0.05)


def test_one_face_heated_the_other_in_air() -> None:
    """Series mu cot mu = -Bi: unheated face and middle after 1 h, the face after 1.5 h, and the steady state."""
    found = held(slab(0.050), [3600.0, 5400.0, 1e7], 232.2, 20.0, faces=(None, 10.0))
    assert [found[0, -1], found[0, 30]] == pytest.approx([41.885, 100.217], abs=0.3)
    assert [found[1, -1], found[1, 30]] == pytest.approx([57.834, 121.406], abs=0.3)
    assert found[2, -1] == pytest.approx(20.0 + 212.2 / (1.0 + 10.0 * 0.050 / 0.25), abs=1e-6)
    assert found[2, -1] == pytest.approx(90.7, abs=0.05)


@pytest.mark.parametrize(
    ("thickness", "centre", "slower_quicker", "unheated"),
    [
        (0.025, (220.3, 231.7, 232.2, 232.2), (230.6, 232.0), (114.5, 123.0, 126.1)),
        (0.050, (108.6, 175.6, 206.3, 220.3), (157.0, 189.6), (41.9, 57.8, 90.7)),
        (0.075, (45.3, 97.5, 136.9, 164.9), (79.7, 113.4), (22.4, 28.3, 73.1)),
        (0.100, (25.1, 52.1, 82.3, 108.6), (41.0, 63.4), (20.1, 21.1, 62.4)),
    ],
)
def test_what_a_450_degF_mat_does(
    thickness: float, centre: tuple[float, ...], slower_quicker: tuple[float, float], unheated: tuple[float, ...]
) -> None:
    """Series. Both faces at 232.2 degC: centre at 30 to 120 min; one: the other face at 60, 90 min and for ever."""
    both = held(slab(thickness), [1800.0, 3600.0, 5400.0, 7200.0], 232.2, 232.2)
    assert both[:, 30] == pytest.approx(centre, abs=0.1)
    for alpha, degC in zip((0.9e-7, 1.3e-7), slower_quicker, strict=True):
        assert held(slab(thickness, alpha), [3600.0], 232.2, 232.2)[0, 30] == pytest.approx(degC, abs=0.1)
    one = held(slab(thickness), [3600.0, 5400.0, 1e7], 232.2, 20.0, faces=(None, 10.0))
    assert one[:, -1] == pytest.approx(unheated, abs=0.1)


def test_a_trade_journal_s_thick_moulding() -> None:
    """ "Thermal diffusivity" (about 1991): 5 cm at a 140 degC press takes over three hours; series, alpha 1e-7."""
    found = held(slab(0.050, 1.0e-7), [600.0, 3600.0, 7200.0, 10800.0], 140.0, 140.0)
    assert found[:, 30] == pytest.approx([25.4, 103.1, 131.1, 137.9], abs=0.1)
    assert [held(slab(0.050, a), [10800.0], 140.0, 140.0)[0, 30] for a in (0.8e-7, 1.2e-7)] == pytest.approx(
        [135.0, 139.1], abs=0.1
    )
    # Within 10 K of a 150 degC face from 20 degC: Fo 1.1374, so 27 / 108 / 242 / 431 min.
    for thickness, minutes in ((0.025, 27.0), (0.050, 108.0), (0.075, 242.0), (0.100, 431.0)):
        times = [60.0 * m for m in np.linspace(0.9 * minutes, 1.1 * minutes, 81)]
        centres = held(slab(thickness), times, 150.0, 150.0)[:, 30]
        assert np.interp(140.0, centres, times) / 60.0 == pytest.approx(minutes, abs=0.6)


def test_the_roots_we_compare_with_are_roots() -> None:
    zeta = roots(1.0, 6)
    assert zeta * np.tan(zeta) == pytest.approx(np.ones(6))
    # One term alone, which handbooks use from Fo 0.2 on, gives 1.03929 at Fo 0.1: we take sixty.
    one_term = 4.0 * np.sin(zeta[0]) / (2.0 * zeta[0] + np.sin(2.0 * zeta[0])) * np.exp(-(zeta[0] ** 2) * 0.1)
    assert one_term == pytest.approx(1.03929, abs=1e-5)
    assert plane_wall(0.0, 0.1, 1.0) == pytest.approx(0.99311, abs=1e-5)

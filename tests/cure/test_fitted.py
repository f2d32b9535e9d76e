"""The shop's own figures in place of the usual ones: which layers get them, which band goes with them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from press_monitor.cure.compound import CureError
from press_monitor.cure.fitted import LEAST_SPREAD, PERFECT, Found, ShopFit, with_fits
from press_monitor.cure.layers import Layer, Repair, Stack
from press_monitor.cure.section import Face, Limits, Section
from tests.cure.walls import GUM, repair, section

SHA = "ab" * 32
RUBBER = ShopFit("rubber", "trial.csv", SHA, Found(1.3e-7, 1.15e-7, 1.4e-7), None)
CONTACT = ShopFit("contact", "other.csv", SHA, None, Found(150.0, 110.0, 280.0), press="P1")


def test_every_usual_layer_gets_the_diffusivity_and_the_band_its_limits() -> None:
    made = with_fits(repair(), [RUBBER])
    assert [layer.diffusivity for layer in made.repair.stacks[0].layers] == pytest.approx([1.3e-7] * 3)
    assert made.limits.diffusivity == pytest.approx((1.15 / 1.3, 1.4 / 1.3))
    assert made.limits == replace(Limits(), diffusivity=made.limits.diffusivity)
    assert made.fits == (RUBBER,)
    assert made.repair.contact_conductance is None
    assert with_fits(repair(), []).repair == repair()
    assert with_fits(repair(), []).limits == Limits()


def test_one_trial_never_makes_the_band_narrower_than_diffusivities_are_measured() -> None:
    sharp = replace(RUBBER, diffusivity=Found(1.3e-7, 1.299e-7, 1.301e-7))
    assert with_fits(repair(), [sharp]).limits.diffusivity == (1.0 - LEAST_SPREAD, 1.0 + LEAST_SPREAD)


def test_figures_of_a_layers_own_stand_and_keep_the_usual_band() -> None:
    own = Layer("own", 0.010, GUM, conductivity=0.31)
    made = with_fits(Repair((Stack("s", (own, Layer("casing", 0.010))),)), [RUBBER])
    assert made.repair.stacks[0].layers[0] == own
    assert made.repair.stacks[0].layers[1].diffusivity == pytest.approx(1.3e-7)
    assert made.limits.diffusivity == Limits().diffusivity


def test_a_compounds_own_fit_is_for_its_layers_alone() -> None:
    gum = replace(RUBBER, name="gum", compound="section-gum")
    made = with_fits(repair(), [gum])
    assert [layer.diffusivity for layer in made.repair.stacks[0].layers] == pytest.approx(
        [1.3e-7, section().layers[1].diffusivity, 1.3e-7]
    )
    assert made.limits.diffusivity == Limits().diffusivity  # the casing is not fitted
    slow = replace(RUBBER, name="slow", diffusivity=Found(1.0e-7, 0.8e-7, 1.05e-7))
    both = with_fits(repair(), [slow, gum])
    assert [layer.diffusivity for layer in both.repair.stacks[0].layers] == pytest.approx([1.3e-7, 1.0e-7, 1.3e-7])
    assert both.limits.diffusivity == pytest.approx((0.8, 1.4 / 1.3))
    assert set(both.fits) == {slow, gum}
    # Of two for the same layer the last counts.
    assert with_fits(repair(), [gum, slow]).fits == (slow,)


def test_contact_is_of_its_press_and_gives_way_to_the_repairs_own() -> None:
    made = with_fits(repair(), [CONTACT], "P1")
    assert made.repair.contact_conductance == 150.0
    assert made.limits.contact == pytest.approx((110.0 / 150.0, 280.0 / 150.0))
    assert made.fits == (CONTACT,)
    for press in ("P2", None):
        assert with_fits(repair(), [CONTACT], press).repair == repair()
    everywhere = replace(CONTACT, press=None)
    assert with_fits(repair(), [everywhere], "P2").repair.contact_conductance == 150.0
    stated = with_fits(repair(contact_conductance=400.0), [CONTACT], "P1")
    assert (stated.repair.contact_conductance, stated.limits, stated.fits) == (400.0, Limits(), ())


def test_the_bands_contact_corners_are_repairs_of_their_own() -> None:
    """Each edge modelled by hand as a repair with that contact and diffusivity: the band is theirs."""
    limits = Limits((0.0, 0.0), (0.9, 1.1), (1.0, 1.0), (0.5, 2.0))
    job = repair(contact_conductance=100.0)

    def cured(job: Repair, band: Limits | None) -> Section:
        live = Section(job, 20.0, 20.0, band)
        live.advance(0.0, Face.mat(148.9), Face.mat(148.9))
        live.advance(6000.0, Face.mat(148.9), Face.mat(148.9))
        return live

    point = cured(job, limits).deepest()
    assert point is not None
    edges = []
    for contact, alpha in ((50.0, 0.9), (200.0, 1.1)):
        layers = tuple(replace(layer, conductivity=layer.conductivity * alpha) for layer in section().layers)
        edge = cured(Repair((Stack("edge", layers),), contact_conductance=contact), None).deepest()
        assert edge is not None
        edges.append(edge.state_of_cure)
    assert (point.state_of_cure_low, point.state_of_cure_high) == pytest.approx(tuple(edges), rel=1e-9)
    # The same repair's save is taken up with the same limits.
    live = cured(job, limits)
    again = Section.restore(job, 20.0, 20.0, live.save(), limits)
    assert again.deepest() == live.deepest()


def test_contact_not_told_from_perfect_is_as_good_as_perfect_at_the_upper_edge() -> None:
    job = repair(contact_conductance=PERFECT)
    live, perfect = (Section(each, 20.0, 20.0, None) for each in (job, repair()))
    for model in (live, perfect):
        model.advance(0.0, Face.mat(150.0), Face.mat(150.0))
        model.advance(3000.0, Face.mat(150.0), Face.mat(150.0))
    assert live.profile()[0].temperature == pytest.approx(perfect.profile()[0].temperature, abs=0.02)


@pytest.mark.parametrize("bad", [(1.0, 2.0, 3.0), (1.0, 0.0, 3.0), (2.0, 1.0, 1.5), (1.0, 0.5, float("inf"))])
def test_figures_outside_their_limits_are_refused(bad: tuple[float, float, float]) -> None:
    with pytest.raises(CureError, match="between its limits"):
        Found(*bad)
    with pytest.raises(CureError, match="contact"):
        Limits(contact=(1.1, 1.2))

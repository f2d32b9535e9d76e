"""The live model: band, deepest and hottest rubber, vapour, set without pressure, forecast, save and restore."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from press_monitor.cure.compound import CureError
from press_monitor.cure.kinetics import equivalent_time_at, rate
from press_monitor.cure.layers import Layer, Repair, Stack
from press_monitor.cure.section import Face, Limits, Section
from press_monitor.cure.vapour import saturation_pressure
from tests.cure.walls import GUM, repair, section

MAT = Face.mat(148.889)
AIR = Face.air(20.0)
SHEET = Repair((Stack("sheet", (Layer("gum", 0.001, GUM),)),))


def heated(job: Repair, seconds: float, face: Face = MAT, **more: object) -> Section:
    live = Section(job, 20.0, 20.0, **more)  # type: ignore[arg-type]
    live.advance(0.0, face, face)
    live.advance(seconds, face, face)
    return live


def test_the_band_is_the_extreme_of_corners_modelled_one_by_one() -> None:
    """Each corner built by hand as a repair of its own: the band of the deepest rubber is their least and greatest."""
    live = heated(repair(), 4200.0)
    found = live.deepest()
    assert found is not None
    states = []
    for alpha, thick, energy in product((0.85, 1.15), (0.95, 1.05), (80e3, 120e3)):
        gum = replace(GUM, activation_energy=energy)
        layers = tuple(
            replace(
                layer,
                thickness=layer.thickness * thick,
                conductivity=layer.conductivity * alpha,
                compound=gum if layer.compound else None,
            )
            for layer in section().layers
        )
        corner = heated(Repair((Stack("corner", layers),)), 4200.0, limits=None).deepest()
        assert corner is not None
        states.append(corner.state_of_cure)
    assert found.state_of_cure_low == pytest.approx(min(states), rel=1e-9)
    assert found.state_of_cure_high == pytest.approx(max(states), rel=1e-9)
    assert found.state_of_cure_low < found.state_of_cure < found.state_of_cure_high
    assert found.state_of_cure == pytest.approx(heated(repair(), 4200.0, limits=None).deepest().state_of_cure)  # type: ignore[union-attr]


def test_before_any_heat_the_deepest_rubber_is_the_best_covered() -> None:
    live = Section(repair(), 20.0, 20.0)
    live.advance(0.0, Face.mat(20.0), Face.mat(20.0))
    point = live.deepest()
    assert point is not None
    assert point.depth == pytest.approx(0.030)
    assert point.state_of_cure == pytest.approx(0.0)
    assert point.equivalent_s == 0.0


def test_narrower_limits_narrow_the_band() -> None:
    fitted = Limits((-5_000.0, 5_000.0), (0.97, 1.03), (0.99, 1.01))
    wide, narrow = heated(repair(), 4200.0).deepest(), heated(repair(), 4200.0, limits=fitted).deepest()
    assert wide is not None
    assert narrow is not None
    assert wide.state_of_cure_low < narrow.state_of_cure_low < narrow.state_of_cure_high < wide.state_of_cure_high
    with pytest.raises(CureError, match="diffusivity"):
        Limits(diffusivity=(1.1, 1.2))
    with pytest.raises(CureError, match="activation_energy"):
        Limits(activation_energy=(5_000.0, 20_000.0))


def test_the_worst_stack_judges_and_casing_is_not_judged() -> None:
    live = heated(repair(section(), section(all_uncured=True, name="skive edge")), 3000.0)
    deepest, hottest = live.deepest(), live.hottest()
    assert deepest is not None
    assert hottest is not None
    assert deepest.stack == "skive edge"
    assert deepest.depth == pytest.approx(0.022, abs=0.0008)
    assert hottest.depth == 0.0
    assert hottest.peak_degC == pytest.approx(148.889)
    assert live.reversion_used() == pytest.approx(hottest.equivalent_s / GUM.reversion)
    by_name = {profile.name: profile for profile in live.profile()}
    cure = by_name["injury centre"].state_of_cure
    depth = by_name["injury centre"].depth
    assert np.isnan(cure[(depth > 0.0081) & (depth < 0.0299)]).all()
    assert np.isfinite(cure[(depth < 0.0081) | (depth > 0.0299)]).all()
    assert [layer.uncured for layer in by_name["injury centre"].layers] == [True, False, True]
    assert deepest.state_of_cure == pytest.approx(np.nanmin(by_name["skive edge"].state_of_cure))


def test_a_two_part_compound_is_not_judged() -> None:
    cold = replace(GUM, name="cold", judged=False, tc90=0.0)
    job = Repair((Stack("s", (Layer("cold", 0.005, cold), Layer("casing", 0.01))),))
    live = heated(job, 3600.0)
    assert not live.judged
    assert live.deepest() is None
    assert live.hottest() is None
    assert live.forecast(MAT, MAT, 0.9) is None
    assert live.set_without_pressure() == 0.0
    assert live.past_blow_point()
    assert live.worst_vapour_margin() is None


def test_reversion_has_a_clock_of_its_own() -> None:
    """At the reference temperature both clocks agree; above it the one of the higher energy runs ahead (Arrhenius)."""
    hot = replace(GUM, reversion_activation_energy=150_000.0)
    job = Repair((Stack("sheet", (Layer("gum", 0.001, hot),)),))
    for degC in (150.0, 180.0):
        live = Section(job, degC, 20.0)
        live.advance(0.0, Face.mat(degC), Face.mat(degC))
        live.advance(600.0, Face.mat(degC), Face.mat(degC))
        assert live.reversion_used() == pytest.approx(600.0 * float(rate(degC, 150e3, 150.0)) / 5400.0, rel=1e-9)
        point = live.hottest()
        assert point is not None
        assert point.equivalent_s == pytest.approx(600.0 * float(rate(degC, 100e3, 150.0)), rel=1e-9)


@pytest.mark.parametrize("step", [1.0, 7.5, 60.0, 900.0])
def test_fast_or_slow_the_same_answer(step: float) -> None:
    live = Section(repair(), 20.0, 20.0)
    live.advance(0.0, Face.mat(20.0), Face.mat(20.0))
    whole = 5400.0
    for k in range(int(whole / step)):
        now = step * (k + 1)
        face = Face.mat(20.0 + 0.07 * now / 3.0)
        live.advance(step, face, face)
    found = live.deepest()
    assert found is not None
    reference = Section(repair(), 20.0, 20.0)
    reference.advance(0.0, Face.mat(20.0), Face.mat(20.0))
    reference.advance(whole, Face.mat(146.0), Face.mat(146.0))
    expected = reference.deepest()
    assert expected is not None
    assert found.temperature_degC == pytest.approx(expected.temperature_degC, abs=1e-8)
    assert found.equivalent_s == pytest.approx(expected.equivalent_s, rel=1e-4)


def test_vapour_margin_is_the_bag_over_the_water_while_rubber_is_soft() -> None:
    """A thin sheet at 140 degC: margin = bag - a_w psat (IAPWS-IF97) until the blow point, and none after it."""
    live = Section(SHEET, 20.0, 20.0)
    live.advance(0.0, Face.mat(140.0), Face.mat(140.0), bag_absolute_Pa=4e5, pressed=True)
    live.advance(60.0, Face.mat(140.0), Face.mat(140.0), bag_absolute_Pa=1.5e5, pressed=True)
    water = saturation_pressure(140.0)
    assert live.worst_vapour_margin() == pytest.approx(1.5e5 - 0.5 * water)
    assert live.worst_boil_margin() == pytest.approx(1.5e5 - water)
    assert live.vapour_negative_s() == pytest.approx(60.0)
    live.advance(3600.0, Face.mat(140.0), Face.mat(140.0), bag_absolute_Pa=4e5, pressed=True)
    assert live.past_blow_point()
    held = live.vapour_negative_s()
    live.advance(600.0, Face.mat(140.0), Face.mat(140.0), bag_absolute_Pa=1.0e5, pressed=False)
    assert live.vapour_negative_s() == held
    assert live.set_without_pressure() == 0.0
    unknown = heated(SHEET, 60.0)
    assert unknown.worst_vapour_margin() is None


def _passage() -> tuple[float, float]:
    """Seconds at 140 degC until scorch and until the blow point."""
    speed = float(rate(140.0, 100_000.0, 150.0))
    return GUM.scorch / speed, equivalent_time_at(GUM.blow_point, GUM) / speed


@pytest.mark.parametrize(
    ("lost_from", "lost_until", "share"),
    [
        (-1.0, 0.0, 0.0),  # bag down only before scorch: soft rubber closes up again
        (0.0, 1.0, 1.0),  # down all the way from scorch to blow point
        (0.5, 1.0, 1.0),
        (0.2, 0.5, 1.0),  # down for three tenths of the way, back before the blow point
        (0.5, 0.55, 0.0),  # a blip of a twentieth
        (1.1, 9.0, 0.0),  # after the blow point it no longer matters
    ],
)
def test_set_without_pressure(lost_from: float, lost_until: float, share: float) -> None:
    scorch, blow = _passage()
    live = Section(SHEET, 140.0, 20.0)
    face = Face.mat(140.0)
    live.advance(0.0, face, face)
    for second in range(1, int(1.5 * blow)):
        way = (second - scorch) / (blow - scorch)
        live.advance(1.0, face, face, pressed=not lost_from <= way < lost_until)
    assert live.set_without_pressure() == pytest.approx(share)


def test_what_sets_unpressed_is_counted_by_thickness_and_only_once_set() -> None:
    """Bag lost for good: the rubber that passes meanwhile is counted as it passes, and never uncounted."""
    live = heated(repair(), 1500.0)
    share = live.set_without_pressure()
    assert share == 0.0
    passing = live.setting_share()
    assert 0.0 < passing < 1.0
    assert live.scorched_share() >= passing
    for _ in range(90):
        live.advance(60.0, MAT, MAT, pressed=False)
        assert live.set_without_pressure() >= share - 1e-12
        share = live.set_without_pressure()
    past = heated(repair(), 1500.0).scorched_share() - passing
    assert past < 1.0
    # All that had not set before the loss has set without pressure, but for what had nearly passed.
    assert 1.0 - past - 0.1 < share <= 1.0 - past + 0.02
    assert live.setting_share() == 0.0


def test_an_untrusted_face_parts_the_band() -> None:
    """The upper edge follows the partner mat, nominal and lower edge lose heat to air."""
    live, trusted = heated(repair(), 1800.0), heated(repair(), 1800.0)
    assert not live.split
    for _ in range(1200):
        live.advance(1.0, MAT, AIR, upper_outer=MAT)
        trusted.advance(1.0, MAT, MAT)
    assert live.split
    doubted, sure = live.deepest(), trusted.deepest()
    assert doubted is not None
    assert sure is not None
    assert doubted.state_of_cure_high == pytest.approx(sure.state_of_cure_high, rel=1e-9)
    assert doubted.state_of_cure < sure.state_of_cure
    assert doubted.state_of_cure_low <= sure.state_of_cure_low
    forecast = live.forecast(MAT, MAT, 0.9)
    assert forecast is not None
    assert forecast.seconds_early is not None
    assert forecast.seconds is not None
    assert forecast.seconds_early < forecast.seconds


def test_the_forecast_comes_true() -> None:
    """Held as it is, the deepest rubber has the required cure when it was forecast, on every edge; off now likewise."""
    live = heated(repair(), 2400.0)
    told = live.forecast(MAT, MAT, 0.90)
    assert told is not None
    assert told.seconds is not None
    assert told.seconds_early is not None
    assert told.seconds_late is not None
    assert told.seconds_early < told.seconds < told.seconds_late
    for seconds, edge in (
        (told.seconds, "state_of_cure"),
        (told.seconds_early, "state_of_cure_high"),
        (told.seconds_late, "state_of_cure_low"),
    ):
        again = heated(repair(), 2400.0)
        again.advance(seconds, MAT, MAT)
        assert getattr(again.deepest(), edge) == pytest.approx(0.90, abs=0.003)
    live.advance(1500.0, MAT, MAT)
    told = live.forecast(MAT, MAT, 0.90)
    assert told is not None
    live.advance(5 * 3600.0, Face.fast_loss(20.0), Face.fast_loss(20.0))
    ended = live.deepest()
    assert ended is not None
    assert ended.state_of_cure == pytest.approx(told.heat_off_ends_at, abs=0.005)
    assert ended.state_of_cure_low == pytest.approx(told.heat_off_low, abs=0.005)
    assert ended.state_of_cure_high == pytest.approx(told.heat_off_high, abs=0.005)
    done = live.forecast(MAT, MAT, 0.5)
    assert done is not None
    assert done.seconds_early == 0.0


def test_a_forecast_that_does_not_come_is_none() -> None:
    cold = heated(repair(), 600.0, Face.mat(60.0))
    told = cold.forecast(Face.mat(60.0), Face.mat(60.0), 0.90)
    assert told is not None
    assert (told.seconds, told.seconds_early, told.seconds_late) == (None, None, None)
    assert told.heat_off_ends_at < 1e-6


def test_saved_and_taken_up_it_continues_to_the_bit() -> None:
    job = repair(section(), section(all_uncured=True, name="skive edge"))
    rng = np.random.default_rng(5)
    live = Section(job, 21.5, 18.0)
    for second in range(40):
        face = Face.mat(20.0 + 3.0 * second + rng.normal())
        live.advance(1.0, face, face, bag_absolute_Pa=3e5, pressed=True)
    for parted in (False, True):
        other = Section.restore(job, 21.5, 18.0, json.loads(json.dumps(live.save())))
        assert other.split is parted
        for second in range(30):
            face = Face.mat(140.0 + rng.normal())
            for model in (live, other):
                model.advance(
                    1.3,
                    face,
                    Face.air(18.0) if second > 10 else face,
                    upper_outer=face,
                    bag_absolute_Pa=1.2e5,
                    pressed=second % 3 == 0,
                )
        assert json.dumps(live.save()) == json.dumps(other.save())
        assert live.deepest() == other.deepest()
        assert live.forecast(MAT, MAT, 0.9) == other.forecast(MAT, MAT, 0.9)


def test_a_save_of_another_repair_or_in_pieces_is_refused() -> None:
    saved = heated(repair(), 60.0).save()
    with pytest.raises(CureError, match="does not fit"):
        Section.restore(repair(section(all_uncured=True)), 20.0, 20.0, saved)
    del saved["pressing"]
    with pytest.raises(CureError, match="pressing"):
        Section.restore(repair(), 20.0, 20.0, saved)


def test_saved_modes_of_another_linear_algebra_library_are_made_afresh() -> None:
    """Eigenvectors may come out with other signs elsewhere; the temperatures then decide."""
    live = heated(repair(), 900.0)
    saved = live.save()
    saved["fields"][0]["modes"] = heated(repair(), 1200.0).save()["fields"][0]["modes"]
    other = Section.restore(repair(), 20.0, 20.0, saved)
    live.advance(60.0, MAT, MAT)
    other.advance(60.0, MAT, MAT)
    assert other.profile()[0].temperature == pytest.approx(live.profile()[0].temperature, abs=1e-9)


@pytest.mark.parametrize("bad", [-1.0, math.nan, math.inf])
def test_bad_intervals_and_faces_are_refused(bad: float) -> None:
    live = Section(repair(), 20.0, 20.0)
    with pytest.raises(CureError, match="interval"):
        live.advance(bad, MAT, MAT)
    if bad != -1.0:
        with pytest.raises(CureError, match="temperature"):
            Face.mat(bad)
        with pytest.raises(CureError, match="start"):
            Section(repair(), bad, 20.0)

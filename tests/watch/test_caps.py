"""What holds a verdict at review however good the cure looks (design 5), lived through from loading to release."""

from __future__ import annotations

from functools import cache
from typing import Any

import pytest

from press_monitor.cure.fitted import Found, ShopFit, with_fits
from press_monitor.quantities import to_si
from press_monitor.watch.cure_watch import CureWatch, WatchSetup
from press_monitor.watch.types import Verdict
from tests.watch.bench import RECIPE, SETUP, SHOP_DEGF, THIN, feed, ramp, replace

OFF, DOWN = 3900.0, 5700.0
SHORT = replace(RECIPE, minimum_hold=2400.0)
FITTED = with_fits(THIN, [ShopFit("t", "t.csv", "ab" * 32, None, Found(600.0, 500.0, 700.0), press="P2")], "P2")


def cured(**changes: Any) -> CureWatch:
    """A good cure of a thin section: 15 min up, 50 min at 300 degF, half an hour's cooling under pressure, opened."""
    return lived(replace(SETUP, **{"recipe": SHORT, "repair": THIN, **changes}))


@cache
def lived(setup: WatchSetup) -> CureWatch:
    watch = CureWatch(setup)

    def mats(t: float) -> float:
        if t < OFF:
            return ramp(60.0, SHOP_DEGF, 900.0, 300.0)(t)
        return 90.0 + 210.0 * 0.5 ** ((t - OFF) / 900.0)

    feed(watch, DOWN + 120.0, dt=20.0, inner=mats, outer=mats, bag=lambda t: 32.0 if t < DOWN else 0.0)
    return watch


def told(watch: CureWatch) -> tuple[str, str]:
    result = watch.result(at_release=True)
    return result["verdict"], " / ".join(result["reasons"])


def test_the_cure_by_itself_passes() -> None:
    watch = cured()
    assert watch.closed
    assert told(watch)[0] == Verdict.PASS.value, told(watch)


@pytest.mark.parametrize(
    ("changes", "verdict", "says"),
    [
        ({"probe_at": "in-mat"}, "review", "no contact conductance is fitted: the rubber may lag by 10-30 min"),
        ({"probe_at": "in-mat", "repair": replace(THIN, contact_conductance=600.0)}, "pass", ""),
        ({"probe_at": "in-mat", "repair": FITTED.repair, "limits": FITTED.limits}, "pass", ""),
        ({"mats_overlap": False, "overlap_asked": True}, "review", "did not overlap the uncured rubber"),
        ({"mats_overlap": None, "overlap_asked": True}, "review", "was not answered whether the mats overlap"),
        ({"mats_overlap": True, "overlap_asked": True}, "pass", ""),
    ],
)
def test_what_caps_it(changes: dict[str, Any], verdict: str, says: str) -> None:
    found, reasons = told(cured(**changes))
    assert found == verdict, reasons
    assert says in reasons


def test_a_fitted_contact_costs_cure_and_widens_the_band() -> None:
    """Heat that has to pass a contact arrives later: no cap, but no free lunch either."""
    at_rubber, through = (cured(**changes).snapshot().deepest for changes in ({}, {"repair": FITTED.repair}))
    banded = cured(repair=FITTED.repair, limits=FITTED.limits).snapshot().deepest
    assert at_rubber is not None
    assert through is not None
    assert banded is not None
    assert through.equivalent_min < at_rubber.equivalent_min
    assert banded.equivalent_min == pytest.approx(through.equivalent_min)
    assert banded.state_of_cure_low < through.state_of_cure_low


@pytest.mark.parametrize(
    ("given", "first_degF", "expected_degF"),
    [
        (None, 60.0, 60.0),  # the lower of first mat reading and shop air
        (None, 120.0, SHOP_DEGF),  # a mat still hot from the last tire must not make the cure short
        (90.0, 60.0, 90.0),
        (40.0, 120.0, 40.0),
    ],
)
def test_where_the_rubber_is_taken_to_start(given: float | None, first_degF: float, expected_degF: float) -> None:
    repair = THIN if given is None else replace(THIN, start_temperature=to_si(given, "degF"))
    watch = CureWatch(replace(SETUP, repair=repair))
    feed(watch, 3.0, inner=first_degF, outer=first_degF + 10.0)
    middle = watch.snapshot().stacks[0].temperature_degC
    assert middle[len(middle) // 2] == pytest.approx(to_si(expected_degF, "degF"), abs=0.2)

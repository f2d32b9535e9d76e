"""Repair or replace: checked by buying the same life both ways, and by putting the break-evens back in."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from press_monitor.audit.rejudge import AuditError
from press_monitor.audit.statistics import clopper_pearson
from press_monitor.audit.worth import Costs, worth

USUAL = Costs(4200.0, 0.55, 900.0, 120.0, 6.0, 4.0, 10.0)


def test_by_hand() -> None:
    """New: 0.55 x 4200 + 4 x 120 = 2790. Repair at 4 %: 900 + 6 x 120 + 0.04 (2310 + 1200) = 1760.40."""
    found = worth(USUAL, rate=0.04)
    assert (found.replace_cost, found.repair_cost) == (pytest.approx(2790.0), pytest.approx(1760.4))
    assert found.saving == found.saving_low == found.saving_high == pytest.approx(1029.6)
    assert found.advice == "repair"


money = st.floats(0, 1e5, allow_nan=False)
hours = st.floats(0, 200)
every = st.builds(Costs, money, st.floats(0.01, 1.0), money, st.floats(0, 1000), hours, hours, hours)


@given(every, st.floats(0, 1))
def test_break_evens_are_where_both_cost_the_same(costs: Costs, rate: float) -> None:
    found = worth(costs, rate=rate)
    scale = 1.0 + found.replace_cost + (found.repair_cost or 0.0)
    if (price := found.break_even_repair) is not None:
        assert worth(replace(costs, repair=price), rate=rate).saving == pytest.approx(0.0, abs=1e-6 * scale)
    if (life := found.break_even_life) is not None and life > 1e-9:
        again = worth(replace(costs, life=life), rate=rate)
        assert again.saving == pytest.approx(0.0, abs=1e-5 * (scale + costs.replacement))
    if (even := found.break_even_rate) is not None:
        assert worth(costs, rate=even).saving == pytest.approx(0.0, abs=1e-6 * scale)


@given(every, st.integers(0, 40), st.integers(0, 40))
def test_the_shops_own_rate_brings_its_interval(costs: Costs, back: int, kept: int) -> None:
    counted = back + kept
    found = worth(costs, back=(back, counted))
    interval = clopper_pearson(back, counted)
    assert (found.comeback_rate, found.comeback_rate_low) == (interval.share, interval.low)
    assert (found.comeback_k, found.comeback_n) == (back, counted)
    assert found.saving_low <= found.saving_high
    assert found.saving_high == pytest.approx(worth(costs, rate=interval.low).saving or 0.0, abs=1e-6)
    assert found.saving_low == pytest.approx(worth(costs, rate=interval.high).saving or 0.0, abs=1e-6)
    if found.advice == "repair":
        assert found.saving_low > 0
    elif found.advice == "replace":
        assert found.saving_high <= 0
    else:
        assert found.advice == "too close to call" and found.saving_low <= 0 < found.saving_high
    assert (found.saving is None) == (counted == 0)


@given(every, st.floats(0, 1), st.floats(0, 1))
def test_more_comebacks_never_make_a_repair_pay_better(costs: Costs, one: float, two: float) -> None:
    assume(one <= two)
    assert (worth(costs, rate=one).saving or 0.0) >= (worth(costs, rate=two).saving or 0.0) - 1e-6


def test_a_shop_without_a_past_is_told_so() -> None:
    found = worth(USUAL, back=(0, 0))
    assert found.comeback_rate is None and "old enough" in found.note and found.advice == "too close to call"
    assert "stands on 7 repairs only" in worth(USUAL, back=(0, 7)).note


@pytest.mark.parametrize(
    ("costs", "rate", "says"),
    [
        (replace(USUAL, repair=-1.0), 0.1, "repair must not be below zero"),
        (replace(USUAL, life=0.0), 0.1, "the life that is left is a share"),
        (replace(USUAL, life=1.5), 0.1, "the life that is left is a share"),
        (USUAL, 1.5, "a comeback rate lies from 0 to 1"),
    ],
)
def test_what_cannot_be_weighed(costs: Costs, rate: float, says: str) -> None:
    with pytest.raises(AuditError, match=says):
        worth(costs, rate=rate)

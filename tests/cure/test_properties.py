"""What must hold of any repair under any heat."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from press_monitor.cure.compound import Compound
from press_monitor.cure.conduction import intervals_over
from press_monitor.cure.layers import Layer, Repair, Stack
from press_monitor.cure.section import Face, Section

ROUNDING = 1e-7
STEP = 60.0
"""What must hold holds of steps of any length; long ones are quicker to try."""

compounds = st.builds(
    lambda tc50, ratio, energy, blow: Compound("gum", 150.0, 0.4 * tc50, tc50, ratio * tc50, energy, blow, 20.0 * tc50),
    st.floats(60.0, 1200.0),
    st.floats(1.2, 4.0),
    st.floats(60e3, 130e3),
    st.floats(0.1, 0.8),
)
layers = st.builds(
    Layer,
    st.just("layer"),
    st.floats(0.0005, 0.04),
    st.one_of(st.none(), compounds),
    st.floats(0.1, 0.5),
    st.floats(900.0, 1500.0),
    st.floats(1200.0, 2500.0),
)
stacks = st.builds(lambda some: Stack("stack", tuple(some)), st.lists(layers, min_size=1, max_size=4))
conductances = st.one_of(st.none(), st.floats(20.0, 5000.0))
temperatures = st.floats(-10.0, 240.0)


@dataclass(frozen=True)
class Leg:
    seconds: float
    inner: float
    outer: float
    air: bool

    def faces(self, warmer: float = 0.0) -> tuple[Face, Face]:
        outer = self.outer + warmer
        return Face.mat(self.inner + warmer), Face.air(outer) if self.air else Face.mat(outer)


legs = st.lists(
    st.builds(Leg, st.floats(0.0, 2000.0), temperatures, temperatures, st.booleans()), min_size=1, max_size=5
)
some = settings(max_examples=60, deadline=None)


@some
@given(stacks, conductances, temperatures, legs)
def test_temperatures_stay_between_the_extremes_and_equivalent_time_never_falls(
    stack: Stack, conductance: float | None, start: float, heat: list[Leg]
) -> None:
    live = Section(Repair((stack,), contact_conductance=conductance), start, 20.0, longest_step_s=STEP)
    seen, before = [start], live.equivalent()
    caught = 0.0
    for leg in heat:
        seen += [leg.inner, leg.outer]
        live.advance(leg.seconds, *leg.faces(), bag_absolute_Pa=2e5, pressed=leg.air)
        now = live.profile()[0].temperature
        assert min(seen) - ROUNDING <= now.min()
        assert now.max() <= max(seen) + ROUNDING
        assert (live.equivalent() >= before).all()
        before = live.equivalent()
        assert np.isfinite(before).all()
        assert caught <= live.set_without_pressure() <= 1.0
        caught = live.set_without_pressure()
        point = live.deepest()
        if point is not None:
            assert 0.0 <= point.state_of_cure_low <= point.state_of_cure <= point.state_of_cure_high <= 1.0


@some
@given(stacks, conductances, temperatures, legs, st.floats(0.0, 40.0))
def test_more_heat_never_cures_less(
    stack: Stack, conductance: float | None, start: float, heat: list[Leg], warmer: float
) -> None:
    job = Repair((stack,), contact_conductance=conductance)
    cool, hot = (Section(job, start, 20.0, longest_step_s=STEP) for _ in range(2))
    for leg in heat:
        cool.advance(leg.seconds, *leg.faces())
        hot.advance(leg.seconds, *leg.faces(warmer))
    assert (hot.equivalent() >= cool.equivalent() * (1.0 - 1e-9) - 1e-12).all()
    assert (hot.profile()[0].temperature >= cool.profile()[0].temperature - ROUNDING).all()


@some
@given(stacks, conductances, temperatures, legs)
def test_a_mirrored_stack_gives_the_mirrored_answer(
    stack: Stack, conductance: float | None, start: float, heat: list[Leg]
) -> None:
    mirrored = replace(stack, layers=stack.layers[::-1])
    # Of twin layers the first may get a spare interval; then the meshes are no mirrors, and only nearly agree.
    assume(intervals_over(stack) == intervals_over(mirrored)[::-1])
    one = Section(Repair((stack,), contact_conductance=conductance), start, 20.0, longest_step_s=STEP)
    two = Section(Repair((mirrored,), contact_conductance=conductance), start, 20.0, longest_step_s=STEP)
    for leg in heat:
        inner, outer = leg.faces()
        one.advance(leg.seconds, inner, outer)
        two.advance(leg.seconds, outer, inner)
    here, there = one.profile()[0], two.profile()[0]
    assert here.temperature == pytest.approx(there.temperature[::-1], abs=ROUNDING)
    assert one.equivalent() == pytest.approx(two.equivalent()[:, ::-1], rel=1e-6)
    a, b = one.deepest(), two.deepest()
    assert (a is None) == (b is None)
    if a is not None and b is not None:
        assert a.state_of_cure == pytest.approx(b.state_of_cure, rel=1e-6)
        assert a.state_of_cure_low == pytest.approx(b.state_of_cure_low, rel=1e-6)


@some
@given(stacks, legs)
def test_one_step_or_many_the_same(stack: Stack, heat: list[Leg]) -> None:
    one, two = (Section(Repair((stack,)), 20.0, 20.0, None, longest_step_s=STEP) for _ in range(2))
    previous: Leg | None = None
    for leg in heat:
        one.advance(leg.seconds, *leg.faces())
        from_outer = leg.outer if previous is None or previous.air is not leg.air else previous.outer
        from_inner = leg.inner if previous is None else previous.inner
        for k in range(1, 8):
            part = replace(
                leg,
                inner=from_inner + (leg.inner - from_inner) * k / 7,
                outer=from_outer + (leg.outer - from_outer) * k / 7,
            )
            two.advance(leg.seconds / 7, *part.faces())
        previous = leg
    assert one.profile()[0].temperature == pytest.approx(two.profile()[0].temperature, abs=1e-6)

"""Plain data as JSON and back, and what is taken over from a reading before."""

from __future__ import annotations

import json
from dataclasses import dataclass
from enum import Enum

import pytest
from hypothesis import given
from hypothesis import strategies as st

from press_monitor.watch.plain import from_json, from_json_again, shallow_json, to_json


class Colour(Enum):
    """A face."""

    HOT = "hot"
    COLD = "cold"


@dataclass(frozen=True, slots=True)
class Point:
    """A point in it."""

    depth: float
    colour: Colour | None = None


@dataclass(frozen=True, slots=True)
class Shown:
    """What is shown."""

    t: float
    points: tuple[Point, ...] = ()
    extras: dict[str, float] | None = None


points = st.builds(Point, st.floats(allow_nan=False), st.none() | st.sampled_from(Colour))
shown = st.builds(
    Shown,
    st.floats(allow_nan=False),
    st.lists(points, max_size=4).map(tuple),
    st.none() | st.dictionaries(st.text(max_size=3), st.floats(allow_nan=False), max_size=3),
)


@given(shown)
def test_through_json_and_back(thing: Shown) -> None:
    assert from_json(Shown, json.loads(json.dumps(to_json(thing)))) == thing
    assert json.loads(json.dumps(thing, default=shallow_json)) == to_json(thing)


@given(shown, shown)
def test_read_again_is_read_all_the_same(first: Shown, second: Shown) -> None:
    before, after = to_json(first), to_json(second)
    assert from_json_again(Shown, after, before, first) == second
    shared = {**after, "points": before["points"]}
    again = from_json_again(Shown, shared, before, first)
    assert again.points is first.points and again == from_json(Shown, shared)


def test_what_is_missing_has_its_default_or_is_refused() -> None:
    assert from_json_again(Shown, {"t": 2.0}, to_json(Shown(1.0, (Point(1.0),))), Shown(1.0)) == Shown(2.0)
    with pytest.raises(TypeError, match="t"):
        from_json_again(Shown, {"points": []}, {}, Shown(1.0))
    with pytest.raises(ValueError, match="lukewarm"):
        from_json(Point, {"depth": 1.0, "colour": "lukewarm"})

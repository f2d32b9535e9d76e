"""What-if lines: the hold they ask for brings the cure, and what heat-off is said to end at is what it ends at."""

from __future__ import annotations

import re

import pytest

from press_monitor.watch.cure_watch import CureWatch
from press_monitor.watch.outlook import more_hold_words
from press_monitor.watch.types import Action, ActionKind, Phase
from tests.watch.bench import RECIPE, SETUP, THIN, feed, ramp, replace

SHORT = replace(SETUP, repair=THIN, recipe=replace(RECIPE, minimum_hold=300.0))


def heated(hold_s: float) -> CureWatch:
    watch = CureWatch(SHORT)
    up = ramp(20.0, 70.0, 300.0, 300.0)
    feed(watch, 600.0 + hold_s, inner=up, outer=up)
    return watch


def minutes(line: str) -> tuple[float, float]:
    found = re.match(r".*?(\d+) more minutes of hold bring the deepest rubber to 90 %, (\d+) for sure", line)
    assert found is not None, line
    return float(found[1]), float(found[2])


def test_the_hold_it_asks_for_brings_the_cure() -> None:
    watch = heated(120.0)
    nominal, sure = minutes(watch.snapshot().outlook[0])
    assert 1.0 < nominal < sure
    feed(watch, watch.t + 60.0 * (nominal + 1.0), inner=300.0, outer=300.0)
    deepest = watch.snapshot().deepest
    assert deepest is not None and deepest.state_of_cure >= 0.90 > deepest.state_of_cure_low
    feed(watch, watch.t + 60.0 * (sure - nominal), inner=300.0, outer=300.0)
    deepest = watch.snapshot().deepest
    assert deepest is not None and deepest.state_of_cure_low >= 0.90
    assert not any("more minutes" in line for line in watch.snapshot().outlook)


def test_after_an_early_heat_off_verdict_and_screen_say_how_much_was_missing() -> None:
    watch = heated(0.0)
    asked, _ = minutes(watch.snapshot().outlook[0])
    watch.step(Action(watch.t, ActionKind.HEAT_OFF))
    down = ramp(watch.t, 300.0, 120.0, 60.0)
    feed(watch, watch.t + 900.0, inner=down, outer=down)
    line = watch.snapshot().outlook[0]
    assert line.startswith("if the heat comes back: ") and abs(minutes(line)[0] - asked) <= 1.0
    watch.step(Action(watch.t, ActionKind.RELEASE))
    result = watch.result()
    assert watch.phases.phase is Phase.RELEASED and result["verdict"] in ("review", "fail")
    assert "as the heat went off" in result["reasons"][0] and minutes(result["reasons"][0])[0] == minutes(line)[0]
    assert watch.snapshot().outlook == ()


@pytest.mark.parametrize(
    ("nominal", "sure", "says"),
    [
        (0.0, 0.0, ""),
        (720.0, 1080.0, "12 more minutes of hold bring the deepest rubber to 90 %, 18 for sure"),
        (0.0, 300.0, "0 more minutes of hold bring the deepest rubber to 90 %, 5 for sure"),
        (720.0, None, "12 more minutes of hold bring the deepest rubber to 90 %, on the cautious edge it never does"),
        (None, None, "no hold at these mats brings the deepest rubber to 90 % within eight hours"),
    ],
)
def test_the_words(nominal: float | None, sure: float | None, says: str) -> None:
    assert more_hold_words(nominal, sure, 0.90) == says

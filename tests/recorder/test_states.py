"""A press's state as text: only what has moved is worked out again, and it says what a whole snapshot would say."""

from __future__ import annotations

import json
from dataclasses import fields, replace
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

from drivers.log import read_log
from press_monitor.audit.replay import setup_for_log, ticks_of_log
from press_monitor.readings import Tick
from press_monitor.recorder.cycle import Cycle
from press_monitor.recorder.states import SLOW_EVERY_S, States
from press_monitor.shop import load_repair, load_shop
from press_monitor.watch.cure_watch import CureWatch
from press_monitor.watch.plain import to_json
from press_monitor.watch.types import FaceView, Snapshot

LOGS = Path(__file__).parents[2] / "simulated_logs"
SLOW = {"bag_trend_Pa_min", "outlook", "reasons", "verdict"}
"""What may be shown as it was a few seconds ago; of the faces also the trend."""


def _without_trend(face: FaceView | None) -> FaceView | None:
    return None if face is None else replace(face, trend_K_min=None)


def _differ(shown: Snapshot, fresh: Snapshot) -> set[str]:
    shown, fresh = (replace(s, inner=_without_trend(s.inner), outer=_without_trend(s.outer)) for s in (shown, fresh))
    return {f.name for f in fields(Snapshot) if getattr(shown, f.name) != getattr(fresh, f.name)}


def _watched(*, ticketed: bool) -> tuple[CureWatch, list[Tick]]:
    shop, log = load_shop(LOGS / "shop.toml"), read_log(LOGS / "burst-bag.csv")
    repair = load_repair(LOGS / str(log.comment("repair")), shop)
    setup = setup_for_log(log, shop, str(log.comment("recipe")), repair)
    setup = setup if ticketed else replace(setup, repair=None, ticketed=False)
    return CureWatch(setup), list(ticks_of_log(log))


def _cycle(watch: CureWatch) -> Cycle:
    return cast(Cycle, SimpleNamespace(id="a", t=watch.t, watch=watch))


def test_second_by_second_a_state_says_what_a_whole_snapshot_says() -> None:
    watch, ticks = _watched(ticketed=True)
    states, again, alarms, before, rewritten = States(), 0, 0, "", 0
    for tick in ticks:
        if tick.t > 2150.0:
            break
        watch.step(tick)
        if tick.t < 1900.0:
            continue
        shown = states.snapshot(_cycle(watch))
        about: dict[str, Any] = {"archive_why": "", "alarms": [], "speed": 1.0 + tick.t // 100.0}
        moving, steady = states.texts(shown, about, {"anchor": {"axis_s": tick.t}})
        rewritten += steady is not before
        before = steady
        said, rest = json.loads(moving), json.loads(steady)
        assert (said.pop("recorder"), rest.pop("recorder")) == ({"anchor": {"axis_s": tick.t}}, about)
        assert not said.keys() & rest.keys()
        assert said | rest == json.loads(json.dumps(to_json(shown)))
        fresh = watch.snapshot()
        assert _differ(shown, fresh) <= SLOW
        again += shown.phases is not fresh.phases and shown.stacks == fresh.stacks
        alarms = len(shown.alarms)
    assert again > 150 and alarms > 0 and 50 < rewritten < 100


def test_what_moves_slowly_is_never_older_than_it_may_be() -> None:
    watch, ticks = _watched(ticketed=False)
    states, made = States(), [0.0]
    last: Snapshot | None = None
    for tick in ticks[:300]:
        watch.step(tick)
        shown = states.snapshot(_cycle(watch))
        if last is None or shown.phases is not last.phases:
            made.append(tick.t)
        last = shown
    assert 50 < len(made) < 80
    assert max(b - a for a, b in pairwise(made)) <= SLOW_EVERY_S


def test_nothing_added_is_no_broken_text() -> None:
    watch, ticks = _watched(ticketed=False)
    watch.step(ticks[0])
    moving, rest = map(json.loads, States().texts(watch.snapshot(), {}, {}))
    assert moving.pop("recorder") == rest.pop("recorder") == {}
    assert moving | rest == json.loads(json.dumps(to_json(watch.snapshot())))

"""A watch that is saved, written as text and restored goes on as if nothing had happened; the same in, the same out."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.log import read_log
from press_monitor.audit.replay import setup_for_log, ticks_of_log
from press_monitor.readings import Tick
from press_monitor.shop import load_repair, load_shop
from press_monitor.watch.cure_watch import CureWatch, WatchSetup
from press_monitor.watch.plain import from_json, to_json
from press_monitor.watch.types import Action, ActionKind, Event, Snapshot

LOGS = Path(__file__).parents[2] / "simulated_logs"
AHEAD = 45

# (log, first cut, last cut): stretches in which much happens
STRETCHES = (("early-release", 3590, 3711), ("burst-bag", 1130, 1200), ("burst-bag", 2095, 2200))


@dataclass
class Walk:
    """A stretch of a log: the watch's saves as text, its events and its snapshots, tick by tick."""

    setup: WatchSetup
    ticks: list[Tick]
    saves: list[str]
    events: list[tuple[Event, ...]]
    snapshots: list[Snapshot]
    actions: dict[int, Action]


def watched(log_name: str) -> tuple[WatchSetup, list[Tick]]:
    shop = load_shop(LOGS / "shop.toml")
    log = read_log(LOGS / f"{log_name}.csv")
    repair = load_repair(LOGS / str(log.comment("repair")), shop)
    return setup_for_log(log, shop, str(log.comment("recipe")), repair), list(ticks_of_log(log))


def saved(watch: CureWatch) -> str:
    return json.dumps(watch.save(), allow_nan=False)


@cache
def walks() -> list[Walk]:
    made: list[Walk] = []
    watch: CureWatch | None = None
    for k, (name, first, last) in enumerate(STRETCHES):
        setup, ticks = watched(name)
        if watch is None or STRETCHES[k - 1][0] != name:
            watch = CureWatch(setup)
        reached = watch.snapshot().t if k and STRETCHES[k - 1][0] == name else -1.0
        stretch = [tick for tick in ticks if first <= tick.t <= last]
        for tick in ticks:
            if reached < tick.t < first:
                watch.step(tick)
        walk = Walk(setup, stretch, [], [], [], {})
        for n, tick in enumerate(stretch):
            walk.saves.append(saved(watch))
            happened = watch.step(tick)
            if n in (40, 60, 80):
                kind = {40: ActionKind.ACKNOWLEDGE, 60: ActionKind.EXTEND, 80: ActionKind.HEAT_OFF}[n]
                walk.actions[n] = Action(tick.t, kind, "Ann", seconds=120.0)
                happened += watch.step(walk.actions[n])
            walk.events.append(happened)
            walk.snapshots.append(watch.snapshot())
        made.append(walk)
    assert any(event for walk in made for event in walk.events)
    return made


@given(st.integers(0, len(STRETCHES) - 1), st.integers(0, 10_000), st.integers(0, 10_000))
@settings(max_examples=10, derandomize=True, deadline=None)
def test_restored_at_any_tick_it_goes_on_event_for_event_and_snapshot_for_snapshot(
    which: int, at: int, again: int
) -> None:
    walk = walks()[which]
    cut = at % len(walk.ticks)
    end = min(cut + AHEAD, len(walk.ticks))
    second = cut + again % (end - cut)
    watch = CureWatch.restore(walk.setup, json.loads(walk.saves[cut]))
    assert saved(watch) == walk.saves[cut]
    if cut:
        assert to_json(watch.snapshot()) == to_json(walk.snapshots[cut - 1])
        watch.result()
    for k in range(cut, end):
        if k == second:  # killed once more
            watch = CureWatch.restore(walk.setup, json.loads(saved(watch)))
        happened = watch.step(walk.ticks[k])
        if k in walk.actions:
            happened += watch.step(walk.actions[k])
        assert happened == walk.events[k]
        if k % 10 == 0 or happened:
            assert watch.snapshot() == walk.snapshots[k]
        if k + 1 < len(walk.saves) and k % 25 == 0:
            assert saved(watch) == walk.saves[k + 1]


@pytest.mark.parametrize("which", range(len(STRETCHES)))
def test_restored_and_asked_at_once_it_says_the_same(which: int) -> None:
    walk = walks()[which]
    k = len(walk.ticks) - 1
    live = CureWatch.restore(walk.setup, json.loads(walk.saves[k]))
    live.step(walk.ticks[k])
    again = CureWatch.restore(walk.setup, json.loads(saved(live)))
    assert again.snapshot() == live.snapshot()
    assert again.result() == live.result() and again.result(at_release=True) == live.result(at_release=True)
    assert again.closed is live.closed and again.t == live.t


def test_two_watches_over_the_same_ticks_say_the_same_to_the_bit() -> None:
    walk = walks()[0]
    one, other = (CureWatch.restore(walk.setup, json.loads(walk.saves[0])) for _ in range(2))
    for tick in walk.ticks[:60]:
        assert one.step(tick) == other.step(tick)
    assert saved(one) == saved(other)


def test_a_fresh_watch_saved_before_its_first_tick_is_a_fresh_watch() -> None:
    setup, ticks = watched("forgotten-bag")
    one, other = CureWatch(setup), CureWatch.restore(setup, json.loads(saved(CureWatch(setup))))
    for tick in ticks[:200]:
        assert one.step(tick) == other.step(tick)
    assert saved(one) == saved(other)


def test_asking_changes_nothing() -> None:
    walk = walks()[1]
    asked, left = (CureWatch.restore(walk.setup, json.loads(walk.saves[10])) for _ in range(2))
    for tick in walk.ticks[10:60]:
        asked.snapshot()
        asked.result()
        asked.save()
        assert asked.step(tick) == left.step(tick)
    assert saved(asked) == saved(left)


@pytest.mark.parametrize("which", range(len(STRETCHES)))
def test_snapshots_go_through_json_and_back(which: int) -> None:
    walk = walks()[which]
    for snapshot in walk.snapshots[:: max(1, len(walk.snapshots) // 8)]:
        text = json.dumps(to_json(snapshot), allow_nan=False)
        assert from_json(Snapshot, json.loads(text)) == snapshot


def test_an_empty_watchs_snapshot_goes_through_json_and_back() -> None:
    for setup in (walks()[0].setup, WatchSetup(walks()[0].setup.recipe, None, ())):
        snapshot = CureWatch(setup).snapshot()
        assert from_json(Snapshot, json.loads(json.dumps(to_json(snapshot), allow_nan=False))) == snapshot

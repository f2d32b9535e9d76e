"""Several presses in trouble at once: one cause, one alarm for the whole shop.

Pure: it looks at the presses' alarms, those that stand and those that still call, and at when each began by the wall
clock, and keeps nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from press_monitor.watch.outside import GAP
from press_monitor.watch.types import AlarmView, Phase, Priority, Snapshot

__all__ = ["ShopAlarm", "shop_alarms"]

TOGETHER = 150.0
"""Onsets this close, s, have one cause."""
MANY = 3

_HEAT = ("heat-lost",)
_AIR = ("bag-leaking", "bag-low", "bag-burst", "bag-topping-up")
_SILENT = "no-readings"
_LINE = (_SILENT, GAP)


@dataclass(frozen=True, slots=True)
class ShopAlarm:
    """One alarm of the whole shop.

    `members` are the alarms of the presses that hang under it, as (press, alarm id); `words` say what befell each.
    """

    kind: str
    presses: tuple[str, ...]
    priority: Priority
    since_utc: float
    members: tuple[tuple[str, str], ...]
    words: str
    advice: str

    def wants_acknowledging(self, presses: Mapping[str, tuple[float, Snapshot]]) -> bool:
        """Whether any member still calls for someone."""
        return any(
            view.wants_acknowledging
            for press, (_, snapshot) in presses.items()
            for view in snapshot.alarms
            if (press, view.id) in self.members
        )


def shop_alarms(presses: Mapping[str, tuple[float, Snapshot]]) -> tuple[ShopAlarm, ...]:
    """What several presses have in common.

    Args:
        presses: by name: UTC of the cycle's zero, and the press's snapshot.
    """
    found = [
        _shared(presses, _HEAT, (Phase.HEAT_UP, Phase.HOLD), "shop-heat-lost", "Heat lost", _HEAT_ADVICE),
        _shared(presses, _AIR, (Phase.HEAT_UP, Phase.HOLD), "shop-air-lost", "Bags falling", _AIR_ADVICE),
        _shared(presses, _LINE, tuple(Phase), "shop-no-readings", "No readings", _LINE_ADVICE),
    ]
    return tuple(alarm for alarm in found if alarm is not None)


_HEAT_ADVICE = "Keep every bag up. Look at the shop's breaker and supply first: the presses fell together."
_AIR_ADVICE = (
    "Look at the compressor and the air main first. Shut the bags' valves at the remote stand: keep what is in."
)
_LINE_ADVICE = "Watch the gauges at the presses. Look at what their instruments share: supply, hub, cable."


def _shared(
    presses: Mapping[str, tuple[float, Snapshot]],
    kinds: tuple[str, ...],
    phases: tuple[Phase, ...],
    name: str,
    words: str,
    advice: str,
) -> ShopAlarm | None:
    at_work = [press for press, (_, snapshot) in presses.items() if snapshot.phase in phases]
    onsets = sorted(_onsets(presses, kinds), key=lambda item: (item[0], item[1], item[2].id))
    best: list[tuple[float, str, AlarmView]] = []
    for start, _, _ in onsets:
        group = [item for item in onsets if start <= item[0] <= start + TOGETHER]
        if len({press for _, press, _ in group}) > len({press for _, press, _ in best}):
            best = group
    hit = tuple(dict.fromkeys(press for _, press, _ in best))
    if len(hit) < 2 or (len(hit) < MANY and len(hit) < len(at_work)):
        return None
    priority = Priority.HIGH if any(view.priority is Priority.HIGH for _, _, view in best) else Priority.MEDIUM
    if (gap := _gap_behind(presses, [(press, view) for _, press, view in best])) is not None:
        words, advice = gap.message, gap.advice
    return ShopAlarm(
        kind=name,
        presses=hit,
        priority=priority,
        since_utc=best[0][0],
        members=tuple((press, view.id) for _, press, view in best),
        words=words,
        advice=advice,
    )


def _onsets(
    presses: Mapping[str, tuple[float, Snapshot]], kinds: tuple[str, ...]
) -> Iterator[tuple[float, str, AlarmView]]:
    for press, (started_utc, snapshot) in presses.items():
        for view in snapshot.alarms:
            if view.kind not in kinds:
                continue
            if view.consequence_of is not None and _gap_before(snapshot, view) is None:
                continue
            # One that is over stays with the others until it is acknowledged: one cause, one Enter.
            if view.standing or view.wants_acknowledging:
                yield started_utc + view.since_s, press, view


def _gap_before(snapshot: Snapshot, view: AlarmView) -> AlarmView | None:
    """The recorder's own gap that left a press without readings: nothing the press or its instrument did."""
    if view.kind != _SILENT:
        return None
    return next((each for each in snapshot.alarms if each.id == view.consequence_of and each.kind == GAP), None)


def _gap_behind(
    presses: Mapping[str, tuple[float, Snapshot]], members: list[tuple[str, AlarmView]]
) -> AlarmView | None:
    """The gap, where one is all that is behind these alarms and readings come again."""
    gaps = [view if view.kind == GAP else _gap_before(presses[press][1], view) for press, view in members]
    if any(gap is None for gap in gaps) or any(view.standing and view.kind == _SILENT for _, view in members):
        return None
    return gaps[0]

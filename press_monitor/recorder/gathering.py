"""Several presses in trouble from one cause: the phones are told once, of the shop, and not of each press.

What has one cause, the watch says (`shop_alarms`), as it does for the screens. Every alarm goes on calling by the horn
until it is acknowledged. Pure.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from press_monitor.recorder.calling import Call
from press_monitor.watch.shopwide import ShopAlarm, shop_alarms
from press_monitor.watch.types import Snapshot

__all__ = ["Shown", "gathered"]


@dataclass(frozen=True, slots=True)
class Shown:
    """A press's running cycle as last published: its id, UTC of its zero in epoch seconds, and its snapshot."""

    cycle_id: str
    zero_utc: float
    snapshot: Snapshot


def gathered(calls: Sequence[Call], presses: Mapping[str, Shown]) -> list[Call]:
    """The calls of all presses, and a call of the shop's own over those that have one cause.

    Args:
        calls: as `calls_of` gives them.
        presses: running cycles by press.
    """
    if len({call.place for call in calls}) < 2:
        return list(calls)
    by_key = {call.key: call for call in calls}
    for alarm in shop_alarms({name: (shown.zero_utc, shown.snapshot) for name, shown in presses.items()}):
        members = [call for key in _keys(alarm, presses) if (call := by_key.get(key)) is not None]
        places = tuple(dict.fromkeys(call.place for call in members))
        if len(places) < 2:
            continue
        shop = _call(alarm, members, places)
        by_key |= {call.key: call if call.under else replace(call, under=shop.key) for call in members}
        by_key[shop.key] = shop
    return list(by_key.values())


def _keys(alarm: ShopAlarm, presses: Mapping[str, Shown]) -> list[str]:
    return [f"{presses[press].cycle_id}/{ident}" for press, ident in alarm.members]


def _call(alarm: ShopAlarm, members: Sequence[Call], places: Sequence[str]) -> Call:
    return Call(
        # One of a kind at a time, so that it stays the same while presses come under it and leave it.
        key=f"shop/{alarm.kind}",
        place=f"{len(places)} presses",
        kind=alarm.kind.removeprefix("shop-"),
        message=f"{alarm.words} ({', '.join(places)}).",
        advice=alarm.advice,
        unattended=any(call.unattended for call in members),
        over=tuple(call.key for call in members),
    )

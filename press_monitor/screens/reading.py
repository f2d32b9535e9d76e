"""What of a press matters most now: its state in word and shape, one big number, and the worst alarm of the shop."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import tzinfo

from press_monitor.callout import ESCALATES_AFTER_S
from press_monitor.quantities import UnitSystem
from press_monitor.screens.lane_words import lane_words
from press_monitor.screens.source import Place, PressView
from press_monitor.screens.widgets.cells import plain
from press_monitor.screens.widgets.palette import Tone
from press_monitor.screens.words import PHASE_WORDS, kind_words, say_clock
from press_monitor.watch.plain import from_json
from press_monitor.watch.shopwide import shop_alarms
from press_monitor.watch.types import AlarmState, AlarmView, FaceView, Phase, Priority, Snapshot

__all__ = [
    "WEIGHT",
    "Headline",
    "Raised",
    "about_bag",
    "alarms_of",
    "alarms_on",
    "failing_value",
    "headline",
    "minutes_left",
    "of_the_shop",
    "own_alarms",
    "speaks_for_itself",
    "standing_alarm",
    "tone_of",
    "unanswered_s",
    "worst_first",
]

_HIDDEN = (AlarmState.NORMAL, AlarmState.SHELVED, AlarmState.SUPPRESSED, AlarmState.OUT_OF_SERVICE)
WEIGHT = {Priority.HIGH: 0, Priority.MEDIUM: 1, Priority.LOW: 2}
_BAG_KINDS = ("heat-without-pressure", "pressure-lost-uncured")
_FACE_KINDS = ("heat", "below", "above", "mat", "probe")


@dataclass(frozen=True, slots=True)
class Headline:
    """The left end of a lane. `number` is digits, minus signs or blanks; `label` is one or two short lines."""

    tone: Tone
    word: str
    number: str
    label: tuple[str, ...]
    line: str
    short: str = ""
    """What the line says, in 25 cells; empty where it is short by itself."""


@dataclass(frozen=True, slots=True)
class Raised:
    """An alarm with the press it stands on. One of the whole shop has `members`; its view is its first member's."""

    view: PressView
    alarm: AlarmView
    members: tuple[Raised, ...] = ()

    @property
    def loud(self) -> bool:
        """Whether someone still has to acknowledge it."""
        return self.alarm.wants_acknowledging


def alarms_of(views: Iterable[PressView]) -> list[Raised]:
    """Every alarm of these presses, roots and consequences, standing and past, newest first."""
    views = tuple(views)
    found = [Raised(v, a) for v in views if v.snapshot for a in v.snapshot.alarms]
    found += own_alarms(views)
    return sorted(found, key=lambda r: -r.view.clock(r.alarm.raised_s))


def own_alarms(views: Iterable[PressView]) -> list[Raised]:
    """The recorder's own alarms, which every press's state carries: on no press, number 0."""
    newest = max(views, key=lambda v: v.stamp, default=None)
    told = newest.about.get("alarms") if newest is not None else None
    if newest is None or not told:
        return []
    view = PressView(
        0, Place("", "Recorder"), stamp=newest.utc, zero_utc=float(newest.about.get("alarms_zero_utc") or 0.0)
    )
    try:
        return [Raised(view, from_json(AlarmView, alarm)) for alarm in told]
    except (KeyError, ValueError, TypeError):
        return []  # of another version: the presses' own alarms are shown all the same


def worst_first(views: Iterable[PressView]) -> list[Raised]:
    """Alarms that want someone or still stand: unacknowledged, then by priority, then the oldest.

    What follows from another alarm stays out, unless it is graver than its cause; what several presses have in common
    is one alarm of the shop.
    """
    views = views if isinstance(views, tuple) else tuple(views)
    held = _KEPT.get("worst")
    if held is None or held[0] is not views:
        _KEPT["worst"] = held = (views, _worst_first(views))
    return held[1]


_KEPT: dict[str, tuple[tuple[PressView, ...], list[Raised]]] = {}
"""The answer about the presses asked for last: one frame asks several times."""


def _worst_first(views: tuple[PressView, ...]) -> list[Raised]:
    found = [
        Raised(view, alarm)
        for view in views
        if view.snapshot is not None
        for alarm in view.snapshot.alarms
        if alarm.state not in _HIDDEN and speaks_for_itself(alarm, view.snapshot)
    ]
    found += [r for r in own_alarms(views) if r.alarm.state not in _HIDDEN and (r.loud or r.alarm.standing)]
    shop = of_the_shop(views)
    under = {(m.view.place.name, m.alarm.id) for raised in shop for m in raised.members}
    found = shop + [r for r in found if (r.view.place.name, r.alarm.id) not in under]
    return sorted(found, key=lambda r: (not r.loud, WEIGHT[r.alarm.priority], r.view.clock(r.alarm.raised_s)))


def alarms_on(view: PressView) -> tuple[AlarmView, ...]:
    """All alarms of a press's cycle."""
    return view.snapshot.alarms if view.snapshot is not None else ()


def of_the_shop(views: Iterable[PressView]) -> list[Raised]:
    """What several presses have in common, each as one alarm with the presses' own as its members."""
    shown = {v.place.name: v for v in views if v.snapshot is not None}
    made = []
    for shop in shop_alarms({name: (v.clock(0.0), v.snapshot) for name, v in shown.items() if v.snapshot}):
        members = tuple(
            Raised(shown[press], alarm)
            for press, ident in shop.members
            for alarm in alarms_on(shown[press])
            if alarm.id == ident and alarm.state not in _HIDDEN
        )
        if len({m.view.place.name for m in members}) < 2:
            continue
        first = min(members, key=lambda m: m.view.clock(m.alarm.since_s))
        over = [m.view.clock(m.alarm.cleared_s) for m in members if m.alarm.cleared_s is not None]
        numbers = sorted({m.view.number for m in members})
        alarm = AlarmView(
            id=shop.kind,
            kind=shop.kind,
            channel=None,
            priority=shop.priority,
            state=AlarmState.UNACKNOWLEDGED if any(m.loud for m in members) else AlarmState.ACKNOWLEDGED,
            raised_s=first.alarm.raised_s,
            since_s=first.alarm.since_s,
            cleared_s=first.alarm.since_s + max(over) - first.view.clock(first.alarm.since_s)
            if len(over) == len(members)
            else None,
            consequence_of=None,
            message=f"{shop.words.partition(':')[0]} on presses {', '.join(map(str, numbers))} together.",
            advice=shop.advice,
        )
        made.append(Raised(first.view, alarm, members))
    return made


def unanswered_s(raised: Raised) -> float | None:
    """Seconds that an alarm of high priority has called in vain, from the moment it counts as escalated; else None."""
    if not raised.loud or raised.alarm.priority is not Priority.HIGH:
        return None
    calling = raised.view.utc - raised.view.clock(raised.alarm.raised_s)
    return calling if calling >= ESCALATES_AFTER_S else None


def speaks_for_itself(alarm: AlarmView, snapshot: Snapshot) -> bool:
    """Whether an alarm is a root, or graver than the alarm it follows from."""
    if alarm.consequence_of is None:
        return True
    root = next((a for a in snapshot.alarms if a.id == alarm.consequence_of), None)
    return root is None or WEIGHT[alarm.priority] < WEIGHT[root.priority]


def standing_alarm(snapshot: Snapshot) -> AlarmView | None:
    """The worst alarm whose condition still holds, low ones left out: what names the lane."""
    standing = [
        a
        for a in snapshot.alarms
        if a.standing and a.state not in _HIDDEN and a.priority is not Priority.LOW and speaks_for_itself(a, snapshot)
    ]
    return min(standing, key=lambda a: (WEIGHT[a.priority], a.raised_s), default=None)


def minutes_left(snapshot: Snapshot) -> float | None:
    """Minutes until the cure is due at the present mats, the recipe's hold counted; None where no end is in sight."""
    forecast = snapshot.forecast
    hold = max(0.0, snapshot.hold_needed_s - snapshot.hold_s) / 60.0
    if snapshot.cure_due:
        return 0.0
    if forecast is None:
        return hold if snapshot.phase is Phase.HOLD else None
    return (
        None
        if forecast.minutes_left is None
        else max(forecast.minutes_left, hold if snapshot.phase is Phase.HOLD else 0)
    )


def _face(snapshot: Snapshot, channel: str | None) -> tuple[str, FaceView | None]:
    for name, face in (("inner mat", snapshot.inner), ("outer mat", snapshot.outer)):
        if face is not None and channel and (face.channel == channel or channel.startswith(name.replace(" ", "_"))):
            return name, face
    return "mat", None


def failing_value(snapshot: Snapshot, alarm: AlarmView, units: UnitSystem) -> str:
    """The value an alarm is about, with its unit; empty where no single value is."""
    if about_bag(alarm.kind):
        return "" if snapshot.bag_Pa is None else units.say_pressure(snapshot.bag_Pa)
    name, face = _face(snapshot, alarm.channel)
    if face is None or not alarm.kind.startswith(_FACE_KINDS):
        return ""
    short = name.removesuffix(" mat")
    return name if face.value_degC is None else f"{short} {units.say_temperature(face.value_degC)}"


def tone_of(alarm: AlarmView) -> Tone:
    """High alarms are loud, the others ask for attention."""
    return Tone.ALARM if alarm.priority is Priority.HIGH else Tone.ATTENTION


def about_bag(kind: str) -> bool:
    """Whether an alarm kind is about the bag's pressure."""
    return kind.startswith("bag") or kind in _BAG_KINDS


def _alarm_number(snapshot: Snapshot, alarm: AlarmView, units: UnitSystem) -> tuple[str, tuple[str, ...]] | None:
    if alarm.kind == "no-readings":
        return "--", ("no", "readings")
    if about_bag(alarm.kind):
        trend = snapshot.bag_trend_Pa_min or 0.0
        word = "falling" if trend < -300.0 else "rising" if trend > 300.0 else "in bag"
        if snapshot.bag_Pa is None:
            return "--", (units.pressure, "in bag")
        return f"{units.pressed(snapshot.bag_Pa):2.0f}", (units.pressure, word)
    if alarm.kind.startswith(_FACE_KINDS):
        name, face = _face(snapshot, alarm.channel)
        if face is None or face.value_degC is None or not face.trusted:
            return "--", (units.temperature_sign, name)
        return f"{units.degrees(face.value_degC):3.0f}", (units.temperature_sign, name)
    return None


def _phase_number(view: PressView, snapshot: Snapshot, units: UnitSystem) -> tuple[str, tuple[str, ...]]:
    if snapshot.phase is Phase.EMPTY:
        return "", ()
    cooled = snapshot.phase is Phase.COOL_DOWN and snapshot.gate.cool_enough
    heated = snapshot.phase in (Phase.LOADED, Phase.HEAT_UP, Phase.HOLD)
    if snapshot.phase is Phase.RELEASED or cooled or (snapshot.cure_due and heated):
        if snapshot.deepest is None:
            return "", ()
        return f"{100 * snapshot.deepest.state_of_cure:2.0f}", ("%", "cured")
    if snapshot.phase is Phase.COOL_DOWN:
        if snapshot.hottest is not None:
            return f"{units.degrees(snapshot.hottest.temperature_degC):3.0f}", (units.temperature_sign, "hot")
        return "--", (units.temperature_sign, "hot")
    left = minutes_left(snapshot)
    if left is None and snapshot.phase is Phase.LOADED:
        return "", ()
    if left is None:
        return "--", ("no end", "in sight") if snapshot.phase is Phase.HOLD else ("min", "left")
    return f"{min(999, math.ceil(left)):2d}", ("min", "left")


def _done_words(view: PressView, snapshot: Snapshot, zone: tzinfo | None) -> str:
    left = minutes_left(snapshot)
    if left is None or snapshot.phase not in (Phase.LOADED, Phase.HEAT_UP, Phase.HOLD) or snapshot.cure_due:
        return ""
    return f"done about {say_clock(view.utc + left * 60.0, zone)}"


def _release_words(view: PressView, units: UnitSystem) -> str:
    """Below what the hottest rubber must be, by the recipe that the cycle began with."""
    recipe = view.trace.start.recipe if view.trace is not None else None
    below = recipe.get("release_below") if isinstance(recipe, Mapping) else None
    return f"release below {units.say_temperature(below)}" if isinstance(below, int | float) else ""


def headline(view: PressView, units: UnitSystem, zone: tzinfo | None = None) -> Headline:
    """The state of one press in a word, a number and a line."""
    snapshot = view.snapshot
    if snapshot is None:
        return Headline(Tone.IDLE, "EMPTY", "", (), "")
    tone = {
        Phase.EMPTY: Tone.IDLE,
        Phase.COOL_DOWN: Tone.DONE,
        Phase.RELEASED: Tone.DONE,
    }.get(snapshot.phase, Tone.FINE)
    word = PHASE_WORDS[snapshot.phase]
    number, label = _phase_number(view, snapshot, units)
    line = plain(snapshot.words)
    alarm = standing_alarm(snapshot)
    short = ""
    if alarm is not None:
        short = lane_words(snapshot, alarm, units)
        tone = tone_of(alarm)
        word = kind_words(alarm.kind)
        if alarm.kind == "no-readings" and snapshot.port is not None and snapshot.port.trouble:
            word = plain(f"port {snapshot.port.state}").upper()
        number, label = _alarm_number(snapshot, alarm, units) or (number, label)
        line = line or plain(alarm.message)
    elif snapshot.cure_due and snapshot.phase in (Phase.HEAT_UP, Phase.HOLD):
        tone, word = Tone.DONE, "CURE DONE"
    elif snapshot.phase is Phase.COOL_DOWN and snapshot.gate.cure_reached and snapshot.gate.cool_enough:
        line = f"ready: bag {'at' if snapshot.gate.bag_is_down else 'to'} 0, then ram"
    elif snapshot.phase is Phase.COOL_DOWN and snapshot.gate.cure_reached:
        line = ", ".join(filter(None, (_release_words(view, units), line)))
    done = "" if alarm is not None else _done_words(view, snapshot, zone)
    return Headline(tone, word, number, label, done or line, short)

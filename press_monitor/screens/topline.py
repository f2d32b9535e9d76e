"""The words of the alarm bar and of the heartbeat, from what the source saw last."""

from __future__ import annotations

from datetime import tzinfo

from press_monitor.quantities import UnitSystem
from press_monitor.screens.lane_words import lane_words
from press_monitor.screens.reading import Raised, failing_value, minutes_left, unanswered_s, worst_first
from press_monitor.screens.source import Heartbeat, Notice, Source
from press_monitor.screens.widgets.bars import BarWords
from press_monitor.screens.widgets.cells import plain
from press_monitor.screens.widgets.palette import Tone
from press_monitor.screens.words import kind_words, say_clock, say_minutes
from press_monitor.watch.types import Phase, Priority

__all__ = ["bar_words", "has_no_horn", "heart_words", "notice_words", "place_words", "worst"]


def worst(source: Source) -> Raised | None:
    """The alarm the bar shows, and the one Enter acknowledges."""
    return next(iter(worst_first(source.presses)), None)


def has_no_horn(source: Source) -> bool:
    """Whether the recorder says that no horn can be heard."""
    if any(view.about.get("horn") == "none" for view in source.presses):
        return True
    return any(r.alarm.kind == "no-horn" and r.alarm.standing for r in worst_first(source.presses))


def bar_words(source: Source, shop_name: str, units: UnitSystem, zone: tzinfo | None, width: int) -> BarWords:
    """The two lines on top: a silent recorder first, then the worst alarm, else the shop at rest."""
    heart = source.heartbeat
    silent = heart.seen and heart.silent
    # While the archive takes nothing its heartbeat stops too: what the recorder says beside it is the truer word.
    if silent and not source.distress:
        return _silent(heart, zone)
    failing = next((v.about for v in source.presses if v.about.get("archive_failing_since_utc")), None)
    if source.distress or failing is not None:
        told = source.distress or failing or {}
        since = told.get("since_utc") or told.get("archive_failing_since_utc")
        return _failing(since, str(told.get("why") or told.get("archive_why") or ""), zone, stale=silent)
    raised = worst(source)
    if raised is not None:
        return _alarm(source, raised, units, zone, width)
    if source.trouble or not heart.seen:
        return BarWords(Tone.IDLE, False, plain(shop_name), "", "", source.trouble or "Waiting for the recorder.")
    return _quiet(source, shop_name, zone)


def _silent(heart: Heartbeat, zone: tzinfo | None) -> BarWords:
    last = f"last heard {say_clock(heart.last_utc, zone)}" if heart.last_utc is not None else ""
    return BarWords(
        Tone.ALARM,
        True,
        "RECORDER STOPPED" if heart.stopped else "RECORDER SILENT",
        "nothing is being watched or recorded",
        f"{last} ({say_minutes(heart.silent_s)})",
        "What stands below is old. Look at the presses themselves.",
        "[F5] start it again",
    )


def _failing(since: float | None, why: str, zone: tzinfo | None, *, stale: bool) -> BarWords:
    shown = "What stands below is old, look at the presses" if stale else "Readings are shown but not kept"
    return BarWords(
        Tone.ALARM,
        True,
        kind_words("archive-failing"),
        plain(why),
        f"since {say_clock(float(since), zone)}" if since is not None else "",
        f"{shown}. Free or change the disk now; cures go on being watched.",
    )


def place_words(raised: Raised) -> str:
    """Where an alarm stands: ``PRESS 2``, or the presses that share one."""
    if not raised.view.number:
        return "RECORDER"
    numbers = sorted({m.view.number for m in raised.members})
    if len(numbers) > 5:
        return f"{len(numbers)} PRESSES"
    return f"PRESSES {' '.join(map(str, numbers))}" if numbers else f"PRESS {raised.view.number}"


def _alarm(source: Source, raised: Raised, units: UnitSystem, zone: tzinfo | None, width: int) -> BarWords:
    view, alarm = raised.view, raised.alarm
    high = alarm.priority is Priority.HIGH
    others = sum(1 for r in worst_first(source.presses) if r.loud) - raised.loud
    value = failing_value(view.snapshot, alarm, units) if view.snapshot and not raised.members else ""
    head = f"{place_words(raised)}  {kind_words(alarm.kind)}"
    since = view.clock(alarm.since_s)
    when = f"since {say_clock(since, zone)} ({say_minutes(view.utc - since)})"
    if not alarm.standing:
        when = f"{say_clock(since, zone)} to {say_clock(view.clock(alarm.cleared_s or 0.0), zone)}, over now"
    advice, message = plain(alarm.advice), plain(alarm.message)
    late = unanswered_s(raised)
    unanswered = f"NOBODY ANSWERED FOR {say_minutes(late).upper()}. " if late is not None else ""
    return BarWords(
        tone=Tone.ALARM if high else Tone.ATTENTION,
        loud=raised.loud,
        head=head,
        detail=message if width >= 110 else value,
        when=when,
        second=unanswered + (advice or message),
        key="[Enter] acknowledge" if raised.loud else "acknowledged",
        more=f"+{others} more [A]" if others > 0 else "",
        short=lane_words(view.snapshot, alarm, units) if view.snapshot and not raised.members else "",
    )


def _quiet(source: Source, shop_name: str, zone: tzinfo | None) -> BarWords:
    curing = [p for p in source.presses if p.snapshot and p.snapshot.phase in (Phase.HEAT_UP, Phase.HOLD)]
    due = []
    for view in curing:
        left = minutes_left(view.snapshot) if view.snapshot else None
        if left is not None:
            due.append((view.utc + left * 60.0, left, view))
    words = f"{len(curing)} of {len(source.presses)} presses curing"
    if due:
        utc, left, view = min(due, key=lambda d: d[0])
        words += f", next due: press {view.number} about {say_clock(utc, zone)} ({max(0, round(left))} min)"
    return BarWords(Tone.IDLE, False, plain(shop_name), "", "", words)


def heart_words(source: Source, *, demo: bool = False) -> tuple[str, Tone]:
    """The recorder's state for the bottom line, and "no horn" where there is none."""
    heart = source.heartbeat
    if not heart.seen:
        return "no recorder yet", Tone.ATTENTION
    if heart.silent:
        return kind_words("archive-failing") if source.distress else "RECORDER SILENT", Tone.ALARM
    who = "demo" if demo else "recorder"
    return f"{who}, no horn" if has_no_horn(source) else who, Tone.FINE


def notice_words(notices: tuple[Notice, ...]) -> tuple[str, Tone]:
    """The newest command's fate."""
    if not notices:
        return "", Tone.IDLE
    notice = next((n for n in reversed(notices) if n.state in ("refused", "expired")), notices[-1])
    words = plain(notice.words)
    if notice.state == "sent":
        return f"sent: {words}", Tone.IDLE
    text = f" ({plain(notice.text)})" if notice.text else ""
    if notice.state == "done":
        return f"done: {words}{text}", Tone.FINE
    return f"{notice.state.upper()}: {words}{text}", Tone.ATTENTION

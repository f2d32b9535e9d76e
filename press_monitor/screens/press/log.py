"""The story of one cure, line by line, from its events."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from press_monitor.archive.types import EventRow
from press_monitor.screens.widgets.cells import plain
from press_monitor.screens.widgets.palette import Tone
from press_monitor.screens.words import PHASE_WORDS, kind_words, say_minutes
from press_monitor.watch.types import AlarmState, Phase, Priority

__all__ = ["LogLine", "log_lines"]

_STATE_WORDS = {
    AlarmState.NORMAL: "over",
    AlarmState.ACKNOWLEDGED: "acknowledged",
    AlarmState.RETURNED_UNACKNOWLEDGED: "over, not acknowledged",
    AlarmState.LATCHED_UNACKNOWLEDGED: "over, kept until reset",
    AlarmState.LATCHED_ACKNOWLEDGED: "over, kept until reset",
    AlarmState.SHELVED: "shelved",
    AlarmState.SUPPRESSED: "suppressed",
    AlarmState.OUT_OF_SERVICE: "out of service",
}
_ACTION_WORDS = {
    "heat-off": "heat off, noted",
    "release": "released",
    "extend": "hold extended",
    "lock-up": "locked up",
    "note": "note",
    "shelve": "shelved an alarm",
    "unshelve": "took an alarm off the shelf",
    "reset": "reset an alarm",
}


@dataclass(frozen=True, slots=True)
class LogLine:
    """One line: when (UTC), how it feels, and words."""

    utc: float
    tone: Tone
    words: str


def log_lines(events: Sequence[EventRow]) -> list[LogLine]:
    """The events worth a line, newest first. An event of a kind or shape not known here is named, never dropped."""
    lines = []
    for row in reversed(events):
        told = row.event if isinstance(row.event, Mapping) else {}
        try:
            line = _line(row, told)
        except (KeyError, ValueError, TypeError):
            line = LogLine(row.utc, Tone.IDLE, plain(row.kind))
        if line is not None:
            lines.append(line)
    return lines


def _line(row: EventRow, told: Mapping[str, Any]) -> LogLine | None:
    if "phase" in told:
        why = plain(str(told.get("why") or ""))
        word = PHASE_WORDS[Phase(told["phase"])].lower()
        return LogLine(row.utc, Tone.FINE, f"{word}: {why}" if why else word)
    if "alarm" in told:
        return _alarm_line(row, told["alarm"])
    if "action" in told:
        return _action_line(row, told)
    if "start_s" in told:
        span = say_minutes(float(told["end_s"]) - float(told["start_s"]))
        why = plain(str(told.get("why") or ""))
        return LogLine(row.utc, Tone.ATTENTION, f"no readings for {span}" + (f": {why}" if why else ""))
    return LogLine(row.utc, Tone.IDLE, plain(str(told.get("words") or told.get("text") or row.kind)))


def _alarm_line(row: EventRow, alarm: Mapping[str, Any]) -> LogLine | None:
    if alarm.get("consequence_of") is not None and alarm["priority"] != Priority.HIGH.value:
        return None
    state, name = AlarmState(alarm["state"]), kind_words(str(alarm["kind"])).lower()
    if state is AlarmState.UNACKNOWLEDGED:
        tone = Tone.ALARM if alarm["priority"] == Priority.HIGH.value else Tone.ATTENTION
        message = plain(str(alarm["message"]))
        # "Pressure lost while …" names its kind already.
        return LogLine(row.utc, tone, message if message.lower().startswith(name) else f"{name}: {message}")
    return LogLine(row.utc, Tone.IDLE, f"{name}: {_STATE_WORDS[state]}")


def _action_line(row: EventRow, told: Mapping[str, Any]) -> LogLine | None:
    action = told["action"]
    kind = str(action["kind"])
    if kind == "acknowledge" and not told.get("refused"):
        return None
    words = _ACTION_WORDS.get(kind, plain(kind))
    who, note = plain(str(action.get("operator") or "")), plain(str(action.get("note") or ""))
    words += (f" by {who}" if who else "") + (f": {note}" if note else "")
    if told.get("refused"):
        return LogLine(row.utc, Tone.ATTENTION, f"{words}, refused: {plain(str(told['refused']))}")
    return LogLine(row.utc, Tone.DONE, words)

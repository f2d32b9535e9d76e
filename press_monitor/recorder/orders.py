"""Commands for one press: which are carried out, which are refused, and in what words."""

from __future__ import annotations

from dataclasses import dataclass

from press_monitor.archive.types import Command
from press_monitor.recorder.station import Refused, Station
from press_monitor.watch.types import Action, ActionKind, OperatorDid

__all__ = ["Answer", "obey"]

_ALARM_KINDS = (ActionKind.ACKNOWLEDGE, ActionKind.SHELVE, ActionKind.UNSHELVE, ActionKind.RESET)


@dataclass(frozen=True, slots=True)
class Answer:
    """``done``, ``refused`` or ``expired``, and a sentence."""

    word: str
    text: str


def obey(station: Station, command: Command) -> Answer:
    """Carry out a command for a press, or say why not. The caller has seen to its expiry."""
    try:
        if command.kind == "start":
            station.begin(command.args or {})
            return Answer("done", f"{station.name} is being recorded")
        return _act(station, command)
    except Refused as refusal:
        return Answer("refused", str(refusal))


def _act(station: Station, command: Command) -> Answer:
    try:
        kind = ActionKind(command.kind)
    except ValueError:
        raise Refused(f"the recorder knows no command {command.kind!r}") from None
    cycle = station.cycle
    if cycle is None or station.sealing:
        raise Refused(f"{station.name} has no running cycle")
    if command.cycle_id is not None and command.cycle_id != cycle.id:
        raise Refused("that cycle is over; another one is on the press now")
    if kind in _ALARM_KINDS and command.alarm_id is None:
        raise Refused("the command names no alarm")
    args = command.args or {}
    seconds = args.get("seconds")
    if seconds is not None and (isinstance(seconds, bool) or not isinstance(seconds, int | float)):
        raise Refused(f"{seconds!r} is no number of seconds")
    action = Action(
        # The last row's own time, so that a replay of the rows finds the action's place among them.
        cycle.t,
        kind,
        command.operator,
        command.alarm_id,
        str(args.get("note", "")),
        None if seconds is None else float(seconds),
    )
    for event in station.act(cycle, action):
        if isinstance(event, OperatorDid) and event.refused is not None:
            raise Refused(event.refused)
    return Answer("done", "")

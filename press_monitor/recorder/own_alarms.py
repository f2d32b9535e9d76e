"""The recorder's own alarms: the disk, the clock, and the way an alarm takes. One book for the whole shop.

The same table of states, priorities and delays as a press's alarms, and the same commands. A stretch in which nothing
recorded concerns its cure alone: it is an alarm there and not here. Times are shop-monotonic seconds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from press_monitor.archive.types import Command, Json
from press_monitor.recorder.calling import Call, calls_of
from press_monitor.recorder.clock import ClockNote
from press_monitor.recorder.orders import Answer
from press_monitor.watch.alarm_table import AlarmEvent
from press_monitor.watch.alarms import AlarmBook, Condition
from press_monitor.watch.kinds import KINDS, AlarmKind
from press_monitor.watch.plain import to_json
from press_monitor.watch.types import AlarmChanged, AlarmView

__all__ = ["PLACE", "OwnAlarms"]

PLACE = "Recorder"
"""Where they stand, beside the presses' titles."""

_MOST_PAST = 20
_SHELF_S, _LONGEST_SHELF_S = 600.0, 3600.0
_COMMANDS = ("acknowledge", "shelve", "unshelve", "reset")

_FAILING_ADVICE = (
    "Make room on the disk, or change it, now. Cures go on being watched and the horn calls, but nothing is kept: "
    "note what the gauges say."
)
_CLOCK_ADVICE = (
    "Have the computer set its clock over the network. No duration and no cure is touched by it; times of day before "
    "and after do not agree."
)
_HORN_ADVICE = (
    "Stay where the screen can be seen or heard while a press is hot. Plug the horn in, or set up [horn] or [phone]; "
    "then press-monitor check --test horn."
)


class OwnAlarms:
    """The book, and what stands in it.

    Args:
        kinds: the catalogue with the shop's own limits in it.
    """

    def __init__(self, kinds: Mapping[str, AlarmKind] = KINDS) -> None:
        self._book = AlarmBook(kinds)
        self._notes: list[ClockNote] = []
        self._moved: list[AlarmChanged] = []
        self._since: dict[str, float] = {}
        self._json: tuple[tuple[AlarmView, ...], Json] = ((), [])

    def views(self) -> tuple[AlarmView, ...]:
        """Standing ones and the newest of the past, in the order of raising."""
        return self._book.views()

    def note(self, note: ClockNote) -> None:
        """Take what the clocks did; raised at the next look."""
        if note.kind == "clock-step":
            self._notes.append(note)

    def look(self, now: float, *, failing: str | None, no_horn: str | None, curing: bool) -> list[AlarmChanged]:
        """Take how things stand; what moved since the last look, commands' doings included.

        Args:
            now: shop-monotonic seconds.
            failing: why the archive takes nothing; None while it does.
            no_horn: why no alarm would be heard away from a screen; None where one would.
            curing: whether a cycle runs on any press. Without one nobody need be called, so no horn is not raised;
                once raised it stands until there is a horn again.
        """
        conditions = [
            Condition("clock-step", None, now, note.words.capitalize(), _CLOCK_ADVICE) for note in self._notes[-1:]
        ]
        self._notes.clear()
        if failing is not None:
            words = f"What is read cannot be kept: {failing}"
            conditions.append(self._lasting("archive-failing", now, words, _FAILING_ADVICE))
        if no_horn is not None and (curing or self._book.standing("no-horn") is not None):
            words = no_horn[:1].upper() + no_horn[1:]
            conditions.append(self._lasting("no-horn", now, words, _HORN_ADVICE))
        self._since = {each.kind: each.since for each in conditions}
        moved = [*self._moved, *self._book.update(now, conditions)]
        self._moved = []
        if moved:
            self._book.forget(_MOST_PAST)
        return moved

    def _lasting(self, kind: str, now: float, message: str, advice: str) -> Condition:
        return Condition(kind, None, self._since.get(kind, now), message, advice)

    def calls(self) -> list[Call]:
        """Those of high priority that want acknowledging, as the horn and the phones take them."""
        return calls_of(PLACE, "recorder", self.views(), unattended=False)

    def standing(self, kind: str) -> AlarmView | None:
        """The alarm of a kind while its condition holds."""
        return self._book.standing(kind)

    def unheeded(self, kind: str) -> AlarmView | None:
        """The standing alarm of a kind while it still wants acknowledging."""
        view = self._book.standing(kind)
        return view if view is not None and view.wants_acknowledging else None

    def to_json(self) -> Json:
        """As the presses' states carry them."""
        views = self.views()
        if views != self._json[0]:
            self._json = (views, to_json(views))
        return self._json[1]

    def obey(self, command: Command, now: float) -> Answer | None:
        """Carry out a command about one of them, named by its id or its kind; None where it is about none."""
        if command.press is not None or command.kind not in _COMMANDS:
            return None
        alarm = self._id_of(command.alarm_id)
        if alarm is None:
            return Answer("refused", "the command names no alarm of the recorder's")
        moved, refusal = self._moved_by(command, alarm, now)
        self._moved += moved
        return Answer("done", "") if refusal is None else Answer("refused", refusal)

    def _moved_by(self, command: Command, alarm: str, now: float) -> tuple[Sequence[AlarmChanged], str | None]:
        if command.kind == "acknowledge":
            return self._book.acknowledge(now, alarm, command.operator)
        if command.kind == "shelve":
            args = command.args or {}
            seconds = args.get("seconds")
            if not command.operator or not str(args.get("note") or ""):
                return (), "shelving wants a name and a reason"
            if seconds is not None and (isinstance(seconds, bool) or not isinstance(seconds, int | float)):
                return (), f"{seconds!r} is no number of seconds"
            return self._book.shelve(now, alarm, min(float(seconds or _SHELF_S), _LONGEST_SHELF_S))
        event = AlarmEvent.RESET if command.kind == "reset" else AlarmEvent.UNSHELVE
        return self._book.other(now, alarm, event)

    def _id_of(self, named: str | None) -> str | None:
        views = self.views()
        by_kind = next((view.id for view in reversed(views) if view.kind == named), None)
        return next((view.id for view in views if view.id == named), by_kind)

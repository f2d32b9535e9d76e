"""What a watch is told beside its readings: how the press's port is, and when nothing recorded.

It comes from the recorder as a `Report`, which is kept like an action: a cure judged again is told it again.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from press_monitor.watch.alarms import Condition
from press_monitor.watch.plain import Json, from_json, to_json
from press_monitor.watch.types import PortView, RecordHole, Report, Reported

__all__ = ["GAP", "PORT", "Outside", "gap_report", "look_at", "port_report"]

PORT, GAP = "port", "recorder-gap"

_LOOK_AT = {
    "unplugged": "Plug its cable in again; it is found by itself.",
    "no permission": "Give the recorder's user the port: press-monitor check says how.",
    "in use": "Close the other program.",
    "not told apart": "Unplug all but the right adapter, or name its socket in the shop file.",
    "not reached": "Check the network and the instrument's supply.",
    "silent": "Check that the instrument is switched on and sends.",
    "no answer": "Check the instrument's supply, its wiring and its number.",
    "garbled": "Check baud, parity and the form of its lines: press-monitor check.",
    "stuck": "Pull its adapter out and plug it in again.",
}


def look_at(state: str) -> str:
    """What to see to where a port is in this state; empty where the port's own words say it."""
    return _LOOK_AT.get(state, "")


def port_report(t: float, port: PortView) -> Report:
    """How the press's port is from `t` on."""
    return Report(t, PORT, t, port=port)


def gap_report(t: float, start: float, end: float, why: str) -> Report:
    """Nothing was recorded between two moments on the cycle's axis, told after the row at `t`; `why` in words."""
    return Report(
        t,
        GAP,
        start,
        end,
        f"Nothing was recorded for {end - start:.0f} s: {why}",
        "Look at the press and its gauges now. What its instrument does not remember counts as heat lost.",
    )


@dataclass(slots=True)
class _State:
    port: PortView | None = None
    trouble: str = ""
    gap: Report | None = None
    gap_told: bool = False


class Outside:
    """What was reported last."""

    def __init__(self) -> None:
        self.s = _State()

    def save(self) -> Json:
        """Plain JSON."""
        return to_json(self.s)

    def load(self, data: Json) -> None:
        """Continue from `save`."""
        self.s = from_json(_State, data)

    @property
    def port(self) -> PortView | None:
        """How the port is; None where nothing was ever said of it."""
        return self.s.port

    @property
    def trouble(self) -> str:
        """What is wrong with the port, in a line; empty where nothing is."""
        return self.s.port.line if self.s.port is not None and self.s.port.trouble else ""

    def take(self, report: Report) -> Reported:
        """Take a report."""
        s = self.s
        if report.kind == GAP:
            s.gap, s.gap_told = report, False
            return Reported(report.t, report, report.message)
        s.port = report.port
        s.trouble = self.trouble or s.trouble
        return Reported(report.t, report, "" if report.port is None else report.port.line)

    def heard(self, t: float, holes: list[RecordHole]) -> list[RecordHole]:
        """Readings came, which ends what was missing; the holes they end, with what was wrong meanwhile."""
        s = self.s
        told = [replace(hole, why=f"{hole.why}: {s.trouble}") for hole in holes] if s.trouble else holes
        s.trouble = self.trouble
        if s.gap_told and s.gap is not None and t >= (s.gap.until or 0.0):
            s.gap = None
        return told

    def conditions(self) -> Iterator[Condition]:
        """The gap, until it was told and readings have come again."""
        gap = self.s.gap
        if gap is not None:
            self.s.gap_told = True
            yield Condition(GAP, None, gap.since, gap.message, gap.advice)

    def explained(self, silence: Condition) -> Condition:
        """A silence with what is known of the port."""
        port = self.s.port
        if port is None or not port.trouble:
            return silence
        look = look_at(port.state)
        advice = f"Watch the gauges at the press; the cure may be fine. {look}".strip() if look else silence.advice
        return replace(silence, message=f"{silence.message}: {port.line}", advice=advice)

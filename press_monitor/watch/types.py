"""What goes into a watch and what comes out: actions, events, alarms, and the snapshot that screens draw.

Times are seconds on the cycle's own axis, temperatures degC, pressures Pa gauge unless a name says otherwise.
Every type here is plain data and can be written as JSON and read back, see `plain`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum

__all__ = [
    "Action",
    "ActionKind",
    "AlarmChanged",
    "AlarmState",
    "AlarmView",
    "CurePoint",
    "Event",
    "FaceView",
    "ForecastView",
    "GateView",
    "LayerView",
    "OperatorDid",
    "Phase",
    "PhaseChanged",
    "PhaseSpan",
    "PortView",
    "Priority",
    "RecordHole",
    "Report",
    "Reported",
    "Snapshot",
    "StackView",
    "Verdict",
]


class Phase(Enum):
    """Where a cycle stands, in the trade's words."""

    EMPTY = "empty"
    LOADED = "loaded"
    HEAT_UP = "heat-up"
    HOLD = "hold"
    COOL_DOWN = "cool-down"
    RELEASED = "released"


class Priority(Enum):
    """Alarm priority (IEC 62682)."""

    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


class AlarmState(Enum):
    """The nine states of an alarm (IEC 62682 / ISA-18.2), the value being the figure's letter."""

    NORMAL = "A"
    UNACKNOWLEDGED = "B"
    ACKNOWLEDGED = "C"
    RETURNED_UNACKNOWLEDGED = "D"
    LATCHED_UNACKNOWLEDGED = "E"
    LATCHED_ACKNOWLEDGED = "F"
    SHELVED = "G"
    SUPPRESSED = "H"
    OUT_OF_SERVICE = "I"


class Verdict(Enum):
    """What the cure record is worth, worst last."""

    PASS = "pass"
    EXCEPTIONS = "exceptions"
    REVIEW = "review"
    FAIL = "fail"
    INCOMPLETE = "incomplete"


class ActionKind(Enum):
    """What an operator may tell a watch. It notes what people did; it moves nothing."""

    ACKNOWLEDGE = "acknowledge"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"
    RESET = "reset"
    HEAT_OFF = "heat-off"
    RELEASE = "release"
    EXTEND = "extend"
    NOTE = "note"
    LOCK_UP = "lock-up"


@dataclass(frozen=True, slots=True)
class Action:
    """One thing an operator said.

    Attributes:
        t: when, on the cycle's axis.
        kind: what.
        operator: who, may be empty (acknowledging needs no name).
        alarm: the alarm's id for alarm actions.
        note: free text, e.g. the reason for shelving.
        seconds: for EXTEND the extra hold, for SHELVE how long.
    """

    t: float
    kind: ActionKind
    operator: str = ""
    alarm: str | None = None
    note: str = ""
    seconds: float | None = None


@dataclass(frozen=True, slots=True)
class PhaseChanged:
    """The cycle entered a phase."""

    t: float
    phase: Phase
    why: str = ""


@dataclass(frozen=True, slots=True)
class AlarmView:
    """One alarm as people see it. `since_s` is the estimated onset, `raised_s` when the operator was told."""

    id: str
    kind: str
    channel: str | None
    priority: Priority
    state: AlarmState
    raised_s: float
    since_s: float
    cleared_s: float | None
    consequence_of: str | None
    message: str
    advice: str
    acknowledged_s: float | None = None
    acknowledged_by: str | None = None

    @property
    def standing(self) -> bool:
        """Whether its condition still holds."""
        return self.cleared_s is None

    @property
    def wants_acknowledging(self) -> bool:
        """Whether it still calls for someone."""
        return self.state in (
            AlarmState.UNACKNOWLEDGED,
            AlarmState.RETURNED_UNACKNOWLEDGED,
            AlarmState.LATCHED_UNACKNOWLEDGED,
        )


@dataclass(frozen=True, slots=True)
class AlarmChanged:
    """An alarm moved through the table."""

    t: float
    alarm: AlarmView


@dataclass(frozen=True, slots=True)
class RecordHole:
    """No readings between two moments: what the record cannot say."""

    t: float
    start_s: float
    end_s: float
    why: str = ""


@dataclass(frozen=True, slots=True)
class OperatorDid:
    """An operator's action, as carried out or refused."""

    t: float
    action: Action
    refused: str | None = None


@dataclass(frozen=True, slots=True)
class PortView:
    """How a press's port is, as the recorder sees it.

    Attributes:
        state: in a word: ``readings``, ``unplugged``, ``no permission``, ``in use``, ``silent``, ``garbled``, …
        device: its name, empty where none is known.
        words: why, and what to look at; empty where nothing is to be said.
        trouble: whether it wants seeing to.
        lost: whether it is lost, and tried again and again.
    """

    state: str
    device: str = ""
    words: str = ""
    trouble: bool = False
    lost: bool = False

    @property
    def line(self) -> str:
        """``port unplugged: ttyUSB0, trying again``."""
        device = self.device.rpartition("/")[2] if self.device.startswith("/") else self.device
        return f"port {self.state}{f': {device}' if device else ''}{', trying again' if self.lost else ''}"


@dataclass(frozen=True, slots=True)
class Report:
    """What the recorder tells a watch beside the readings.

    Attributes:
        t: the last row's time, on the cycle's axis.
        kind: ``port``, or the kind of alarm it is.
        since: when it began, on the cycle's axis.
        until: when it ended; None where that is not known.
        message, advice: of the alarm.
        port: how the port is from now on; None for other kinds.
    """

    t: float
    kind: str
    since: float
    until: float | None = None
    message: str = ""
    advice: str = ""
    port: PortView | None = None


@dataclass(frozen=True, slots=True)
class Reported:
    """A report as it was taken, in a line."""

    t: float
    report: Report
    words: str = ""


Event = PhaseChanged | AlarmChanged | RecordHole | OperatorDid | Reported


@dataclass(frozen=True, slots=True)
class PhaseSpan:
    """A phase with its bounds; `end_s` is None while it lasts."""

    phase: Phase
    start_s: float
    end_s: float | None


@dataclass(frozen=True, slots=True)
class CurePoint:
    """A point in the repair: depth from the inner mat, state of cure 0-1 with its band."""

    stack: str
    depth_mm: float
    state_of_cure: float
    state_of_cure_low: float
    state_of_cure_high: float
    equivalent_min: float
    peak_degC: float
    temperature_degC: float


@dataclass(frozen=True, slots=True)
class LayerView:
    """A layer for drawing: where it lies and whether it is uncured rubber."""

    name: str
    top_mm: float
    bottom_mm: float
    uncured: bool


@dataclass(frozen=True, slots=True)
class StackView:
    """A stack through its depth, inner mat first. State of cure is None where the casing was cured long ago."""

    name: str
    layers: tuple[LayerView, ...]
    depth_mm: tuple[float, ...]
    temperature_degC: tuple[float, ...]
    state_of_cure: tuple[float | None, ...]
    deepest_mm: float | None
    hottest_mm: float | None


@dataclass(frozen=True, slots=True)
class FaceView:
    """One mat as last read. `value_degC` is None where nothing usable came."""

    channel: str
    value_degC: float | None
    trusted: bool
    in_band: bool
    trend_K_min: float | None


@dataclass(frozen=True, slots=True)
class ForecastView:
    """When the required cure comes at the present mats, and what heat-off now would end at.

    Minutes are None where the required cure is not reached within the model's horizon at these mats.
    """

    minutes_left: float | None
    minutes_left_early: float | None
    minutes_left_late: float | None
    heat_off_now_ends_at: float | None
    heat_off_now_low: float | None
    heat_off_now_high: float | None
    note: str = ""


@dataclass(frozen=True, slots=True)
class GateView:
    """The release gate: each step that must be true before the press is opened, and what is missing in words."""

    heat_is_off: bool
    cure_reached: bool
    cool_enough: bool
    bag_is_down: bool
    words: str = ""


@dataclass(frozen=True, slots=True)
class Snapshot:
    """Everything a screen needs of one press now. Written to the archive each second by the recorder."""

    t: float
    phase: Phase
    phase_since_s: float
    phases: tuple[PhaseSpan, ...]
    ticketed: bool
    recipe: str
    tire: str
    section: str
    thickness_mm: float | None
    hold_s: float
    hold_needed_s: float
    required_cure: float
    blow_point: float | None
    band_low_degC: float
    band_high_degC: float
    maximum_degC: float
    heat_up_limit_s: float
    bag_target_Pa: float
    bag_minimum_Pa: float
    bag_maximum_Pa: float
    inner: FaceView | None
    outer: FaceView | None
    bag_Pa: float | None
    bag_trend_Pa_min: float | None
    deepest: CurePoint | None
    hottest: CurePoint | None
    reversion_used: float | None
    """Equivalent time at the hottest rubber over its compound's reversion limit, 0-1 and beyond."""
    stacks: tuple[StackView, ...]
    forecast: ForecastView | None
    worst_vapour_margin_kPa: float | None
    set_without_pressure: float | None
    alarms: tuple[AlarmView, ...]
    gate: GateView
    cure_due: bool
    verdict: Verdict
    reasons: tuple[str, ...]
    words: str
    """One plain line for the lane: what is going on now."""
    extras: Mapping[str, float] = field(default_factory=dict)
    """Other channels' last values in SI, shown and not judged."""
    outlook: tuple[str, ...] = ()
    """What if, in plain lines: how much more hold, and what heat-off now ends at."""
    port: PortView | None = None
    """How its port is; None where the recorder has said nothing of it."""

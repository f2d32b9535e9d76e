"""The judgement over one cure. Sans-IO and deterministic: ticks and actions in, events out; no clock of its own."""

from __future__ import annotations

from dataclasses import dataclass, field

from press_monitor.cure.layers import FaceKind, Repair
from press_monitor.quantities import ZERO_CELSIUS, UnitSystem, pressure_at_altitude
from press_monitor.readings import Role, Tick, role_of
from press_monitor.watch.advice import Stage, Words
from press_monitor.watch.alarm_table import AlarmEvent
from press_monitor.watch.alarms import AlarmBook, Condition
from press_monitor.watch.bag import Bag
from press_monitor.watch.channels import Channel
from press_monitor.watch.curing import Curing
from press_monitor.watch.faces import HOLD_ON, Face
from press_monitor.watch.heat import Heat
from press_monitor.watch.phases import Phases
from press_monitor.watch.recipe import Recipe
from press_monitor.watch.types import (
    Action,
    ActionKind,
    Event,
    Json,
    OperatorDid,
    Phase,
    RecordHole,
    Snapshot,
    from_json,
    to_json,
)

__all__ = ["CureWatch", "WatchSetup"]

NO_READINGS = 5.0
OVERDUE = 1800.0
DEFAULT_ENERGY = 100_000.0


@dataclass(frozen=True, slots=True)
class WatchSetup:
    """What a watch has to know before the first tick. Ambient degC, altitude m.

    Attributes:
        recipe: the target.
        repair: the layers; None for an unticketed cycle.
        channels: the channel names this press has, in their order.
        ambient, altitude: of the shop.
        units: for words.
        probe_at: ``rubber`` or ``in-mat``.
        ticketed: whether anybody said what is being cured.
        tire, section: free text for screens.
        mats_overlap: the ticket's answer; None where it was not given.
        overlap_asked: whether there was a ticket to ask it on.
    """

    recipe: Recipe
    repair: Repair | None
    channels: tuple[str, ...]
    ambient: float = 20.0
    altitude: float = 0.0
    units: UnitSystem = field(default_factory=lambda: UnitSystem.named("us"))
    probe_at: str = "rubber"
    ticketed: bool = True
    tire: str = ""
    section: str = ""
    mats_overlap: bool | None = None
    overlap_asked: bool = False


@dataclass(slots=True)
class _State:
    t: float | None = None
    first: float | None = None
    heard: float | None = None
    hold_s: float = 0.0
    extended_s: float = 0.0
    hole_from: float | None = None
    hole_s: float = 0.0
    blind_s: float = 0.0
    due: bool = False
    due_since: float | None = None
    done_since: float | None = None
    release: Json = None


class CureWatch:
    """One cycle on one press, from loading to release."""

    def __init__(self, setup: WatchSetup) -> None:
        self.setup = setup
        self.words = Words(setup.units)
        self.channels = {name: Channel(name) for name in setup.channels}
        energy = _energy_of(setup.repair)
        self.faces = tuple(
            Face(name, of_face, setup.recipe, energy)
            for name, role in (("inner", Role.INNER_MAT), ("outer", Role.OUTER_MAT))
            if (of_face := [c for c in self.channels.values() if role_of(c.name) is role])
            and _is_mat(setup.repair, name)
        )
        bags = [c for c in self.channels.values() if role_of(c.name) is Role.BAG]
        self.bag = Bag(setup.recipe, bags[0] if bags else None, self.words)
        self.heat = Heat(setup.recipe, self.faces, self.words)
        self.phases = Phases(setup.recipe, self.faces)
        by_name = {face.name: face for face in self.faces}
        self.curing = (
            Curing(setup.repair, by_name.get("inner"), by_name.get("outer"), setup.ambient)
            if setup.repair is not None
            else None
        )
        self.alarms = AlarmBook()
        self.s = _State()
        self._atmosphere = pressure_at_altitude(setup.altitude)

    def save(self) -> Json:
        """Everything that decides what comes next, as plain JSON."""
        return {
            "state": to_json(self.s),
            "channels": {name: channel.save() for name, channel in self.channels.items()},
            "faces": [face.save() for face in self.faces],
            "bag": self.bag.save(),
            "heat": self.heat.save(),
            "phases": self.phases.save(),
            "curing": None if self.curing is None else self.curing.save(),
            "alarms": self.alarms.save(),
        }

    @classmethod
    def restore(cls, setup: WatchSetup, saved: Json) -> CureWatch:
        """Continue from `save`, identically."""
        watch = cls(setup)
        watch.s = from_json(_State, saved["state"])
        for name, channel in watch.channels.items():
            channel.load(saved["channels"][name])
        for face, data in zip(watch.faces, saved["faces"], strict=True):
            face.load(data)
        watch.bag.load(saved["bag"])
        watch.heat.load(saved["heat"])
        watch.phases.load(saved["phases"])
        if watch.curing is not None:
            watch.curing.load(saved["curing"])
        watch.alarms.load(saved["alarms"])
        return watch

    @property
    def t(self) -> float:
        """The time of the last tick or action."""
        return self.s.t if self.s.t is not None else 0.0

    @property
    def closed(self) -> bool:
        """Whether the press has been released."""
        return self.phases.phase is Phase.RELEASED

    def step(self, given: Tick | Action) -> tuple[Event, ...]:
        """Take one tick or one action and say what it changed. Time that does not move on is refused."""
        if isinstance(given, Action):
            return tuple(self._act(given))
        if self.s.t is not None and given.t <= self.s.t:
            raise ValueError(f"time went from {self.s.t:g} s to {given.t:g} s")
        return tuple(self._tick(given))

    def snapshot(self) -> Snapshot:
        """All a screen needs of this press now."""
        from press_monitor.watch.view import snapshot_of

        return snapshot_of(self)

    def result(self, *, at_release: bool = False) -> Json:
        """The cycle's outcome with the keys of ``replay --json`` (no source, no certificate).

        `at_release` takes the cure as it stood when the press was released, as a sealed record does.
        """
        from press_monitor.watch.view import result_of

        return result_of(self, at_release=at_release)

    def _tick(self, tick: Tick) -> list[Event]:
        s, t = self.s, tick.t
        events: list[Event] = []
        before = s.t
        if s.first is None:
            s.first = t
            events.append(self.phases.load_press(t))
        for name, channel in self.channels.items():
            channel.take(t, tick.readings.get(name))
        self._watch_lifting(t)
        for face in self.faces:
            face.follow(t)
        self.bag.follow(t, self.phases.phase, heat_falling=self.heat.sinking(t))
        heard = any(reading.good for reading in tick.readings.values())
        events.extend(self._note_hole(t, heard))
        self._cure(t)
        seconds = t - before if before is not None else 0.0
        self._count_hold(t, seconds)
        was = self.phases.phase
        events.extend(self._follow_phases(t))
        changed = self.alarms.update(t, self._conditions(t))
        events.extend(changed)
        if was is not Phase.RELEASED and self.phases.phase is Phase.RELEASED:
            self._keep_release()
        s.t = t
        return events

    def _act(self, action: Action) -> list[Event]:
        t = max(action.t, self.t)
        self.s.t = t if self.s.t is None else self.s.t
        events: list[Event] = []
        refused: str | None = None
        kind = action.kind
        if kind is ActionKind.ACKNOWLEDGE:
            moved, refused = self.alarms.acknowledge(t, action.alarm, action.operator)
            events.extend(moved)
        elif kind is ActionKind.SHELVE:
            if not action.operator or not action.note:
                refused = "shelving wants a name and a reason"
            else:
                moved, refused = self.alarms.shelve(t, action.alarm, min(action.seconds or 600.0, 3600.0))
                events.extend(moved)
        elif kind in (ActionKind.RESET, ActionKind.UNSHELVE):
            event = AlarmEvent.RESET if kind is ActionKind.RESET else AlarmEvent.UNSHELVE
            moved, refused = self.alarms.other(t, action.alarm, event)
            events.extend(moved)
        elif kind is ActionKind.HEAT_OFF:
            phases = self.phases.heat_is_off(t)
            events.extend(phases)
            refused = None if phases else "the heat is not on"
        elif kind is ActionKind.RELEASE:
            phases = self.phases.release(t)
            events.extend(phases)
            refused = None if phases else "there is nothing to release"
            if phases:
                self._keep_release()
        elif kind is ActionKind.EXTEND:
            self.s.extended_s += action.seconds or 0.0
        events.append(OperatorDid(t, action, refused))
        return events

    def _watch_lifting(self, t: float) -> None:
        for face in self.faces:
            others = [o.value(t) for o in self.faces if o is not face]
            partner = others[0] if others else None
            for channel in face.channels:
                channel.watch_lifting(t, self.setup.ambient, partner)

    def _note_hole(self, t: float, heard: bool) -> list[Event]:
        s = self.s
        if not heard:
            return []
        events: list[Event] = []
        if s.heard is not None and t - s.heard > self._silence_limit():
            s.hole_s += t - s.heard
            events.append(RecordHole(t, s.heard, t, "no readings"))
        s.heard = t
        return events

    def _silence_limit(self) -> float:
        intervals = [channel.s.interval for channel in self.channels.values()]
        return max(NO_READINGS, 4.0 * min(intervals, default=1.0))

    def _cure(self, t: float) -> None:
        if self.curing is None:
            return
        bag = self.bag.value(t)
        pressed = self.bag.pressed(t)
        fed = self.curing.s.fed
        self.curing.feed(t, None if bag is None else bag + self._atmosphere, pressed)
        if pressed is None and self.curing.vulnerable() > 0.0:
            self.s.blind_s += max(self.curing.s.fed - fed, 0.0)
        if self.phases.phase in (Phase.HEAT_UP, Phase.HOLD):
            self.curing.refresh_forecast(t, self.setup.recipe.required_cure)

    def hold_needed(self) -> float:
        """The hold asked for, with what the operator added, s."""
        return self.setup.recipe.minimum_hold + self.s.extended_s

    def _count_hold(self, t: float, seconds: float) -> None:
        """The hold clock: every mat's five-minute mean in the band or above it, and pressure or no need of it."""
        if self.phases.phase is not Phase.HOLD or seconds <= 0.0:
            return
        low = self.setup.recipe.band_low
        means = [face.mean() for face in self.faces if face.trusted(t)]
        hot = bool(means) and all(mean is not None and mean >= low - 0.02 for mean in means)
        pressed = self.bag.pressed(t)
        if hot and (pressed or (self.curing is not None and self.curing.past_blow_point())):
            self.s.hold_s += seconds

    def _follow_phases(self, t: float) -> list[Event]:
        recipe, s = self.setup.recipe, self.s
        if self.curing is not None and self.curing.section is not None and self.curing.section.judged:
            s.due = self.curing.due(recipe.required_cure)
            done = self.curing.reached_for_sure(recipe.required_cure) and s.hold_s >= self.hold_needed()
        else:
            s.due = done = s.hold_s >= self.hold_needed()
        s.due_since = (t if s.due_since is None else s.due_since) if s.due else None
        s.done_since = (t if s.done_since is None else s.done_since) if done else None
        judged = [face for face in self.faces if face.trusted(t)]
        falling = bool(judged) and all(self.heat.falling(face, t) for face in judged)
        return list(
            self.phases.step(
                t,
                due=s.due,
                falling=falling,
                bag_down_for=self.bag.down_for(t),
                bag_known=self.bag.value(t) is not None,
            )
        )

    def stage(self) -> Stage:
        """How far the rubber is, for advice."""
        return self.curing.stage() if self.curing is not None else Stage.UNKNOWN

    def _conditions(self, t: float) -> list[Condition]:
        phase, stage, s = self.phases.phase, self.stage(), self.s
        if phase is Phase.EMPTY:
            return []
        conditions: list[Condition] = []
        if phase is Phase.RELEASED:
            conditions.extend(self._released_early(t, stage))
            return conditions
        heard = s.heard if s.heard is not None else s.first
        if heard is not None and t - heard >= self._silence_limit() - 1e-6:
            message = self.words.silent_message(t - heard)
            conditions.append(Condition("no-readings", None, heard, message, self.words.silent_advice()))
            return conditions + self._held(t)
        conditions.extend(self._probes(t))
        values = [value for face in self.faces if (value := face.value(t)) is not None]
        heating = self.phases.s.heating_since
        hottest = max(values) if values else None
        conditions.extend(
            self.bag.conditions(
                t, phase, hottest_mat=hottest, heating_since=heating, cooling=self._cooling, stage=stage
            )
        )
        conditions.extend(self.heat.conditions(t, phase, heating, due=s.due, stage=stage))
        vulnerable = self.curing.vulnerable() if self.curing is not None else 0.0
        if vulnerable > 0.0 and self.bag.pressed(t) is False:
            advice = self.words.bag_advice(stage)
            message = self.words.pressure_lost_message(vulnerable)
            conditions.append(Condition("pressure-lost-uncured", "bag", self.bag.s.low_since or t, message, advice))
        if phase is Phase.HOLD and s.done_since is not None and t - s.done_since >= OVERDUE:
            message = self.words.overdue_message((t - s.done_since) / 60.0)
            conditions.append(Condition("overdue", None, s.done_since, message, self.words.overdue_advice(stage)))
        return conditions

    def _cooling(self, since: float) -> float:
        """The share of absolute pressure that the mats' fall since a moment may explain, at most."""
        falls = []
        for face in self.faces:
            channel = face.judge(self.s.t or since)
            before = channel.history.at(since) if channel is not None else None
            if channel is not None and channel.value is not None and before is not None:
                falls.append(max(before - channel.value, 0.0) / (before + ZERO_CELSIUS))
        return max(falls, default=0.0)

    def _held(self, t: float) -> list[Condition]:
        """While nothing is heard, what stood keeps standing: silence clears no alarm."""
        return [
            Condition(
                "above-maximum" if v.kind == "above-profile" and v.priority.value == "high" else v.kind,
                v.channel,
                v.since_s,
                v.message,
                v.advice,
            )
            for v in self.alarms.views()
            if v.cleared_s is None and v.kind != "no-readings"
        ]

    def _probes(self, t: float) -> list[Condition]:
        found = []
        for channel in self.channels.values():
            if role_of(channel.name) is Role.OTHER:
                continue
            missing = channel.s.missing_since
            late = missing is not None and t - missing >= channel.limit(0.0) - 4.0
            if missing is not None and late and self._others_heard(t, channel):
                message, advice = self.words.open_message(channel.name), self.words.open_advice(channel.name)
                found.append(Condition("probe-open", channel.name, missing, message, advice))
            if channel.lifted_since is not None:
                message = self.words.lifted_message(channel.name, channel.value or 0.0)
                advice = self.words.lifted_advice(channel.name)
                found.append(Condition("probe-lifted", channel.name, channel.lifted_since, message, advice))
        return found

    def _others_heard(self, t: float, channel: Channel) -> bool:
        return any(other.age(t) <= other.limit(HOLD_ON) for other in self.channels.values() if other is not channel)

    def _released_early(self, t: float, stage: Stage) -> list[Condition]:
        section = self.curing.section if self.curing is not None else None
        deepest = section.deepest() if section is not None else None
        if section is None or deepest is None or self.s.release is None or not self.s.release["early"]:
            return []
        recipe = self.setup.recipe
        message = self.words.released_early_message(section.hottest_now(), deepest.state_of_cure, recipe.required_cure)
        since = self.phases.s.released_at if self.phases.s.released_at is not None else t
        advice = self.words.released_early_advice(stage)
        return [Condition("released-early", None, since, message, advice)]

    def _keep_release(self) -> None:
        """Fix what the verdict is judged on: the cure as it stands when the press is opened."""
        from press_monitor.watch.view import cure_json

        section = self.curing.section if self.curing is not None else None
        recipe = self.setup.recipe
        early = False
        if section is not None and self.curing is not None:
            cured = self.curing.reached(recipe.required_cure)
            early = not cured
        self.s.release = {
            "early": early,
            "cure": cure_json(self),
            "reversion": section.reversion_used() if section else 0.0,
        }


def _energy_of(repair: Repair | None) -> float:
    """Activation energy for the cure-weighted mean: the first compound's."""
    if repair is not None:
        for stack in repair.stacks:
            for layer in stack.layers:
                if layer.compound is not None:
                    return layer.compound.activation_energy
    return DEFAULT_ENERGY


def _is_mat(repair: Repair | None, name: str) -> bool:
    if repair is None:
        return True
    return (repair.inner if name == "inner" else repair.outer) is FaceKind.MAT

"""The judgement over one cure. Sans-IO and deterministic: ticks and actions in, events out; no clock of its own."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Self

from press_monitor.quantities import ZERO_CELSIUS, pressure_at_altitude
from press_monitor.readings import Role, Tick, role_of
from press_monitor.watch.advice import Stage, Words
from press_monitor.watch.alarm_table import AlarmEvent
from press_monitor.watch.alarms import AlarmBook, Condition
from press_monitor.watch.bag import Bag
from press_monitor.watch.channels import Channel
from press_monitor.watch.cure_facts import cure_json, stack_views
from press_monitor.watch.curing import Curing
from press_monitor.watch.current import MatCurrent
from press_monitor.watch.faces import Face
from press_monitor.watch.heat import Heat
from press_monitor.watch.instruments import Instruments
from press_monitor.watch.kinds import kinds_with
from press_monitor.watch.outside import GAP, Outside
from press_monitor.watch.phases import Phases
from press_monitor.watch.plain import Json, from_json, to_json
from press_monitor.watch.ram import Ram
from press_monitor.watch.setup import WatchSetup, energy_of, is_mat
from press_monitor.watch.types import Action, ActionKind, Event, OperatorDid, Phase, Report

__all__ = ["CureJudge"]

LONGEST_EXTENSION = 8 * 3600.0
_FALLING_BAG = ("bag-burst", "bag-leaking", "bag-low")


@dataclass(slots=True)
class _State:
    t: float | None = None
    first: float | None = None
    hold_s: float = 0.0
    extended_s: float = 0.0
    blind_s: float = 0.0
    due: bool = False
    due_since: float | None = None
    done_since: float | None = None
    heat_off: Json = None
    more_hold: tuple[float | None, float | None] | None = None
    release: Json = None


class CureJudge:
    """One cycle on one press, from loading to release.

    It only composes: each part judges its own matter, and this is the order they are asked in.
    """

    def __init__(self, setup: WatchSetup) -> None:
        self.setup = setup
        self.words = Words(setup.units)
        self._kinds = kinds = kinds_with(setup.kinds)
        self.channels = {name: Channel(name) for name in setup.channels}
        energy = energy_of(setup.repair)
        self.faces = tuple(
            Face(name, of_face, setup.recipe, energy)
            for name, role in (("inner", Role.INNER_MAT), ("outer", Role.OUTER_MAT))
            if (of_face := [c for c in self.channels.values() if role_of(c.name) is role])
            and is_mat(setup.repair, name)
        )
        bags = [c for c in self.channels.values() if role_of(c.name) is Role.BAG]
        self.bag = Bag(setup.recipe, bags[0] if bags else None, self.words, kinds)
        rams = [c for c in self.channels.values() if c.role is Role.RAM]
        self.ram = Ram(rams[0] if rams else None, self.words)
        self.currents = {
            face.name: MatCurrent(face, self.channels.values(), setup.recipe.hold_temperature) for face in self.faces
        }
        self.heat = Heat(setup.recipe, self.faces, self.currents, self.words, kinds)
        self.phases = Phases(setup.recipe, self.faces)
        by_name = {face.name: face for face in self.faces}
        self.curing = (
            Curing(setup.repair, by_name.get("inner"), by_name.get("outer"), setup.ambient, setup.limits)
            if setup.repair is not None
            else None
        )
        self.instruments = Instruments(self.channels, self.faces, setup.ambient, self.words, kinds)
        self.outside = Outside()
        self.alarms = AlarmBook(kinds)
        self.s = _State()
        self._atmosphere = pressure_at_altitude(setup.altitude)

    def save(self) -> Json:
        """Everything that decides what comes next, as plain JSON."""
        return {
            "state": to_json(self.s),
            "channels": {name: channel.save() for name, channel in self.channels.items()},
            "faces": [face.save() for face in self.faces],
            "instruments": self.instruments.save(),
            "outside": self.outside.save(),
            "bag": self.bag.save(),
            "ram": self.ram.save(),
            "currents": {name: current.save() for name, current in self.currents.items()},
            "heat": self.heat.save(),
            "phases": self.phases.save(),
            "curing": None if self.curing is None else self.curing.save(),
            "alarms": self.alarms.save(),
        }

    @classmethod
    def restore(cls, setup: WatchSetup, saved: Json) -> Self:
        """Continue from `save`, identically."""
        watch = cls(setup)
        watch.s = from_json(_State, saved["state"])
        for name, channel in watch.channels.items():
            channel.load(saved["channels"][name])
        for face, data in zip(watch.faces, saved["faces"], strict=True):
            face.load(data)
        watch.instruments.load(saved["instruments"])
        watch.outside.load(saved["outside"])
        watch.bag.load(saved["bag"])
        watch.ram.load(saved["ram"])
        for name, current in watch.currents.items():
            current.load(saved["currents"][name])
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

    def step(self, given: Tick | Action | Report) -> tuple[Event, ...]:
        """Take a tick, an action or a report and say what it changed. Time that does not move on is refused."""
        if isinstance(given, Action):
            return tuple(self._act(given))
        if isinstance(given, Report):
            return (self.outside.take(given),)
        if not math.isfinite(given.t) or (self.s.t is not None and given.t <= self.s.t):
            raise ValueError(f"time went from {self.s.t} s to {given.t} s")
        return tuple(self._tick(given))

    def _tick(self, tick: Tick) -> list[Event]:
        s, t = self.s, tick.t
        events: list[Event] = []
        before = s.t
        if s.first is None:
            s.first = t
            events.append(self.phases.load_press(t))
        if before is not None and self.instruments.silent(t - before):
            self._cure(t - 1e-3)  # nobody was there to see it: the model loses heat to air meanwhile
            before = None
        for name, channel in self.channels.items():
            channel.take(t, tick.readings.get(name))
        self.instruments.watch_probes(t, heating=self.phases.phase is Phase.HEAT_UP)
        for face in self.faces:
            face.follow(t)
            self.currents[face.name].follow(t)
        mats = tuple(face.value(t) for face in self.faces)
        self.bag.follow(t, self.phases.phase, cooling=self._cooling, sinking=self.heat.sinking(t), mats=mats)
        heard = any(reading.good for reading in tick.readings.values())
        holes = self.instruments.hear(t, heard)
        events.extend(self.outside.heard(t, holes) if heard else holes)
        self._cure(t)
        seconds = t - before if before is not None else 0.0
        self._count_hold(t, seconds)
        was = self.phases.phase
        events.extend(self._follow_phases(t))
        changed = self.alarms.update(t, self._conditions(t))
        events.extend(changed)
        self._keep_moments(was)
        s.t = t
        return events

    def _act(self, action: Action) -> list[Event]:
        t = max(action.t, self.t)
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
            was = self.phases.phase
            phases = self.phases.heat_is_off(t)
            self._keep_moments(was)
            events.extend(phases)
            refused = None if phases else "the heat is not on"
        elif kind is ActionKind.RELEASE:
            was = self.phases.phase
            phases = self.phases.release(t)
            self._keep_moments(was)
            events.extend(phases)
            refused = None if phases else "there is nothing to release"
        elif kind is ActionKind.EXTEND:
            more = action.seconds or 0.0
            if math.isfinite(more) and 0.0 < more <= LONGEST_EXTENSION:
                self.s.extended_s += more
            else:
                refused = "an extension wants a time above zero, eight hours at most"
        events.append(OperatorDid(t, action, refused))
        return events

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
            held = s.hold_s >= self.hold_needed()
            s.due = self.curing.due(recipe.required_cure, held=held)
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
        conditions.extend(self.outside.conditions())
        if phase is Phase.RELEASED:
            conditions.extend(self._released_early(t, stage))
            return conditions
        silence = self.instruments.silence(t, s.first if s.first is not None else t)
        if silence is not None:
            return [*self._held(), *conditions, self.outside.explained(silence)]
        conditions.extend(self.instruments.conditions(t))
        values = [value for face in self.faces if (value := face.value(t)) is not None]
        heating = self.phases.s.heating_since
        hottest = max(values) if values else None
        air = list(self.bag.conditions(t, phase, hottest_mat=hottest, heating_since=heating, stage=stage))
        bag_falls = any(condition.kind in _FALLING_BAG for condition in air)
        conditions.extend([*self.ram.conditions(t, phase, stage, bag_falls=bag_falls), *air])
        conditions.extend(self.heat.conditions(t, phase, heating, due=s.due, stage=stage))
        vulnerable = self.curing.vulnerable() if self.curing is not None else 0.0
        if vulnerable > 0.0 and self.bag.pressed(t) is False:
            advice = self.words.bag_advice(stage)
            message = self.words.pressure_lost_message(vulnerable)
            conditions.append(Condition("pressure-lost-uncured", "bag", self.bag.s.low_since or t, message, advice))
        if phase is Phase.HOLD and s.done_since is not None and t - s.done_since >= self._kinds["overdue"].on_delay:
            message = self.words.overdue_message((t - s.done_since) / 60.0)
            conditions.append(Condition("overdue", None, s.done_since, message, self.words.overdue_advice(stage)))
        return conditions

    def _cooling(self, since: float) -> float:
        """The share of absolute pressure that the mats' fall since a moment may explain, at most."""
        falls = []
        for face in self.faces:
            channel = face.judged
            before = channel.history.at(since) if channel is not None else None
            if channel is not None and channel.value is not None and before is not None:
                falls.append(max(before - channel.value, 0.0) / (before + ZERO_CELSIUS))
        return max(falls, default=0.0)

    def _held(self) -> list[Condition]:
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
            if v.cleared_s is None and v.kind not in ("no-readings", GAP)
        ]

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

    def _keep_moments(self, was: Phase) -> None:
        """Keep the cure through the thickness as the heat goes off and as the press is opened."""
        phase, section = self.phases.phase, self.curing.section if self.curing is not None else None
        if phase is was:
            return
        if self.curing is not None:
            self.curing.settle()
        if phase is Phase.COOL_DOWN:
            self.s.heat_off = to_json(stack_views(section))
            self.s.more_hold = self._more_hold()
        elif phase is Phase.RELEASED:
            self._keep_release()

    def _more_hold(self) -> tuple[float | None, float | None] | None:
        """The hold still wanted with the mats at their hold temperature, nominal and for sure, s."""
        section, recipe = self.curing.section if self.curing is not None else None, self.setup.recipe
        if section is None or not section.judged or self.curing is None:
            return None
        coming = self.curing.forecast_at(recipe.hold_temperature, recipe.required_cure)
        return None if coming is None else (coming.seconds, coming.seconds_late)

    def profiles(self) -> Json:
        """The stacks through their depth at heat-off and at release; None where that has not come."""
        return {"heat_off": self.s.heat_off, "release": None if self.s.release is None else self.s.release["stacks"]}

    def _keep_release(self) -> None:
        """Fix what the verdict is judged on: the cure as it stands when the press is opened."""
        section = self.curing.section if self.curing is not None else None
        recipe = self.setup.recipe
        early = False
        if section is not None and self.curing is not None:
            cured = self.curing.reached(recipe.required_cure)
            early = not cured
        self.s.release = {
            "early": early,
            "stacks": to_json(stack_views(section)),
            "cure": cure_json(section),
            "reversion": section.reversion_used() if section else 0.0,
            "reversion_possible": self.curing.reversion_possible if self.curing is not None else 0.0,
        }

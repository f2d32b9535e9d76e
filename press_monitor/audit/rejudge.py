"""A sealed cure judged again from its own rows: by today's program, on today's card of the compound where there is one,
or on a ticket that came late. What is sealed stays as it is; what came out differently is told.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

from press_monitor import __version__
from press_monitor.archive import ArchiveError, Json, Trace
from press_monitor.cure.compound import Compound, CureError
from press_monitor.cure.layers import Layer, Repair, Stack
from press_monitor.quantities import UnitSystem
from press_monitor.readings import Role, Tick, role_of
from press_monitor.readings.conditioning import reading_of
from press_monitor.shop import Shop
from press_monitor.watch.cure_watch import CureWatch, WatchSetup
from press_monitor.watch.plain import from_json, to_json
from press_monitor.watch.record import model_json
from press_monitor.watch.types import Action, Event, OperatorDid, Report, Reported

__all__ = [
    "AuditError",
    "Change",
    "Judged",
    "actions_of",
    "changes",
    "compounds_of",
    "judge_again",
    "model_changes",
    "setup_of",
    "ticks_of",
    "todays",
    "told_of",
]


_REPORTED = Reported.__name__


class AuditError(ArchiveError):
    """A question about the past that the record cannot answer; the message says why."""


@dataclass(frozen=True, slots=True)
class Judged:
    """A cure judged again: the watch's result, the cure through the thickness, what it said, and by what."""

    result: Json
    profiles: Json
    events: tuple[Event, ...]
    setup: WatchSetup

    @property
    def model(self) -> Json:
        """As a record keeps it."""
        return model_json(to_json(self.setup))


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that came out differently; numbers unrounded, None where there was none."""

    what: str
    before: Json
    after: Json

    def to_json(self) -> dict[str, Json]:
        """Every key, always."""
        return asdict(self)

    def words(self) -> str:
        """``deepest state of cure 0.913 -> 0.884``."""
        return f"{self.what} {_short(self.before)} -> {_short(self.after)}"


def _short(value: Json) -> str:
    if isinstance(value, float):
        return f"{value:.4g}"
    if isinstance(value, list):
        return ", ".join(map(str, value)) or "none"
    return "none" if value is None else str(value)


def setup_of(body: Mapping[str, Json]) -> WatchSetup:
    """What the watch of a sealed cure was made of.

    Raises `AuditError` for a record that another version wrote in a way that cannot be read any more.
    """
    kept: dict[str, Any] = dict(body.get("setup") or {})
    units = kept.get("units")
    try:
        if isinstance(units, str):
            kept["units"] = to_json(UnitSystem.named(units))
        plain = {**kept, "recipe": body["recipe"], "repair": body.get("repair")}
        return from_json(WatchSetup, plain)
    except (KeyError, TypeError, ValueError, AttributeError, CureError) as error:
        number = body.get("certificate")
        raise AuditError(f"certificate {number} cannot be judged again: {type(error).__name__}: {error}") from error


def todays(setup: WatchSetup, shop: Shop | None, press: str) -> WatchSetup:
    """The same cure with what the shop file says today: each compound by its name, and what trials have told since.

    Without a shop file, or for compounds it no longer names, the record's own figures stand.
    """
    if shop is None or setup.repair is None:
        return setup
    repair = replace(setup.repair, stacks=tuple(_with_cards(stack, shop) for stack in setup.repair.stacks))
    fitted = shop.fitted(repair, press)
    return replace(setup, repair=fitted.repair, limits=fitted.limits, fits=tuple(fit.words for fit in fitted.fits))


def _with_cards(stack: Stack, shop: Shop) -> Stack:
    return Stack(stack.name, tuple(_with_card(layer, shop) for layer in stack.layers))


def _with_card(layer: Layer, shop: Shop) -> Layer:
    card = None if layer.compound is None else shop.compounds.get(layer.compound.name)
    return layer if card is None else replace(layer, compound=card)


def compounds_of(repair: Repair | None) -> dict[str, Compound]:
    """The compounds of a repair by name."""
    layers = (layer for stack in repair.stacks for layer in stack.layers) if repair is not None else ()
    return {layer.compound.name: layer.compound for layer in layers if layer.compound is not None}


def ticks_of(trace: Trace, source: str) -> Iterator[Tick]:
    """The rows as the watch saw them. A live cure's rows are its ticks; a log's holes tick once a second."""
    judged = [(k, c) for k, c in enumerate(trace.channels) if role_of(c.name) is not Role.OTHER]
    scale, before = 10.0**trace.time_decimals, None
    for _, n, counts in trace.rows():
        t = n / scale
        if source == "log" and before is not None:
            step = 1
            while before + step < t - 0.25:
                yield Tick(before + step, {})
                step += 1
        before = t
        if all(count is None for count in counts):
            yield Tick(t, {})
        else:
            yield Tick(t, {c.name: reading_of(counts[k], c.unit, c.decimals) for k, c in judged})


def actions_of(body: Mapping[str, Json]) -> list[Action]:
    """What people did, in order; each at the time of the row it followed."""
    return [from_json(OperatorDid, told).action for told in body.get("actions") or ()]


def told_of(body: Mapping[str, Json]) -> list[Action | Report]:
    """All that the watch was told beside its rows, in order: what people did, and what the recorder had to report."""
    reports = [told for told in body.get("events") or () if told.get("kind") == _REPORTED]
    told = sorted([*(body.get("actions") or ()), *reports], key=lambda each: (each["t"], each.get("order", 0)))
    return [
        from_json(Reported, each).report if each.get("kind") == _REPORTED else from_json(OperatorDid, each).action
        for each in told
    ]


def judge_again(body: Mapping[str, Json], trace: Trace, setup: WatchSetup | None = None) -> Judged:
    """Step a watch through a sealed cure's rows, actions and reports; `setup` in place of the one it was sealed with.

    Raises `AuditError` where record or layers cannot be used.
    """
    made_of = setup_of(body) if setup is None else setup
    try:
        watch = CureWatch(made_of)
        waiting, events = told_of(body), list[Event]()
        for tick in ticks_of(trace, str(body.get("source"))):
            while waiting and waiting[0].t < tick.t:
                events.extend(watch.step(waiting.pop(0)))
            events.extend(watch.step(tick))
        for each in waiting:
            events.extend(watch.step(each))
        return Judged(watch.result(at_release=True), watch.profiles(), tuple(events), made_of)
    except (CureError, KeyError, TypeError, ValueError) as error:
        raise AuditError(f"certificate {body.get('certificate')} cannot be judged again: {error}") from error


_FIGURES = (
    ("hold", ("hold_min",), "min"),
    ("deepest state of cure", ("cure", "deepest", "state_of_cure"), ""),
    ("deepest state of cure, lower edge", ("cure", "deepest", "state_of_cure_low"), ""),
    ("deepest rubber at", ("cure", "deepest", "depth_mm"), "mm"),
    ("hottest rubber peaked at", ("cure", "hottest", "peak_degC"), "degC"),
    ("worst vapour margin", ("cure", "worst_vapour_margin_kPa"), "kPa"),
    ("set without pressure", ("cure", "set_without_pressure"), ""),
    ("released at", ("release_s",), "s"),
)


def _at(result: Json, path: tuple[str, ...]) -> Json:
    for key in path:
        result = result.get(key) if isinstance(result, Mapping) else None
    return result


def changes(before: Json, after: Json) -> tuple[Change, ...]:
    """What differs between two results: verdict, reasons, alarms, and the figures that decide."""
    found = []
    if before.get("verdict") != after.get("verdict"):
        found.append(Change("verdict", before.get("verdict"), after.get("verdict")))
    for what, path, unit in _FIGURES:
        one, two = _at(before, path), _at(after, path)
        if one != two:
            found.append(Change(f"{what}{f', {unit}' if unit else ''}", one, two))
    kinds = [sorted({str(alarm.get("kind")) for alarm in result.get("alarms") or ()}) for result in (before, after)]
    if kinds[0] != kinds[1]:
        found.append(Change("alarms", *kinds))
    if found and before.get("reasons") != after.get("reasons"):
        found.append(Change("reasons", list(before.get("reasons") or ()), list(after.get("reasons") or ())))
    return tuple(found)


def model_changes(body: Mapping[str, Json], judged: Judged) -> tuple[Change, ...]:
    """What of the model, the compounds and the program differs from what sealed the cure."""
    before, after = body.get("model") or {}, judged.model
    found = [
        Change(f"model {key.replace('_', ' ')}", before.get(key), after.get(key))
        for key in sorted(set(before) | set(after))
        if (before.get(key) or None) != (after.get(key) or None)
    ]
    sealed = compounds_of(setup_of(body).repair)
    for name, card in compounds_of(judged.setup.repair).items():
        old, new = to_json(sealed.get(name)), to_json(card)
        for key in new:
            was = old.get(key) if isinstance(old, Mapping) else None
            if was != new[key]:
                found.append(Change(f"compound {name}, {key.replace('_', ' ')}", was, new[key]))
    if body.get("software") != __version__:
        found.append(Change("program", body.get("software"), __version__))
    return tuple(found)

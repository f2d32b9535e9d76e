"""What came out of a cycle, as sections: verdict, cure, phases, alarms; and what the recorder said of itself."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from press_monitor.certificate.model import Grid, Item, Pair, Section, Words
from press_monitor.quantities import UnitSystem

__all__ = [
    "LOG_BANNER",
    "SIMULATED_BANNER",
    "VERDICT_WORDS",
    "Deed",
    "alarm_letters",
    "banners_of",
    "deeds",
    "key_figures",
    "minutes",
    "outcome_sections",
    "recorder_alarms",
    "share",
]

LOG_BANNER = "replayed from a log, not watched live"
SIMULATED_BANNER = "simulated press: no rubber was cured"

VERDICT_WORDS: Mapping[str, str] = {
    "pass": "The cure record meets the recipe.",
    "exceptions": "The required cure was reached. What deviated is listed, and the figures show it to be harmless.",
    "review": "A person must decide before this repair goes any further: see the reasons.",
    "fail": "The figures show that this cure did not come out as required: see the reasons.",
    "incomplete": "The record does not show a whole cure. It is no evidence that the rubber is cured.",
}
NOT_KNOWN = "not known"
Json = Any


def banners_of(body: Mapping[str, Json]) -> tuple[str, ...]:
    """What must stand on every page of a record that no press was watched for."""
    setup = body.get("setup")
    driver = setup.get("driver") if isinstance(setup, Mapping) else None
    said = []
    if body.get("source") == "log" or driver == "replay":
        said.append(LOG_BANNER)
    if driver == "simulated":
        said.append(SIMULATED_BANNER)
    return tuple(said)


@dataclass(frozen=True, slots=True)
class Deed:
    """One thing a person did or was refused: `sign` numbers them in order, `t` seconds on the cycle's axis."""

    sign: str
    t: float | None
    kind: str
    operator: str
    alarm: str | None
    note: str
    seconds: float | None
    refused: str | None


def deeds(body: Mapping[str, Json]) -> tuple[Deed, ...]:
    """What people did during the cycle, in order."""
    made = []
    for number, told in enumerate(body.get("actions") or (), start=1):
        done = told.get("action") if isinstance(told.get("action"), Mapping) else told
        t = done.get("t", told.get("t"))
        made.append(
            Deed(
                sign=str(number),
                t=float(t) if isinstance(t, int | float) else None,
                kind=str(done.get("kind", "")),
                operator=str(done.get("operator") or ""),
                alarm=done.get("alarm"),
                note=str(done.get("note") or ""),
                seconds=done.get("seconds"),
                refused=told.get("refused"),
            )
        )
    return tuple(made)


def minutes(seconds: float | None) -> str:
    """``62.4 min``."""
    return NOT_KNOWN if seconds is None else f"{seconds / 60:.1f} min"


def share(part: float | None) -> str:
    """``93.1 %``."""
    return NOT_KNOWN if part is None else f"{100 * part:.1f} %"


def outcome_sections(result: Mapping[str, Json], units: UnitSystem, moment: str = "at release") -> tuple[Section, ...]:
    """The sections `verdict`, `cure`, `phases` and `alarms` of a result with the keys of ``replay --json``.

    `moment` says when the state of cure was taken.
    """
    return (
        _verdict(result),
        Section("cure", f"Cure {moment}", _cure(result["cure"], units)),
        Section("phases", "Phases", _phases(result["phases"])),
        Section("alarms", "Alarms", _alarms(result["alarms"])),
    )


def _verdict(result: Mapping[str, Json]) -> Section:
    verdict = str(result["verdict"])
    items: list[Item] = [Words(verdict, strong=True), Words(VERDICT_WORDS.get(verdict, ""))]
    items.extend(Words(str(reason), bullet=True) for reason in result["reasons"])
    return Section("verdict", "Verdict", (*items, *key_figures(result)))


def key_figures(result: Mapping[str, Json]) -> tuple[Pair, ...]:
    """How long it held, when it was released, how long the record is."""
    hold, released = result["hold_min"], result["release_s"]
    return (
        Pair("Counted hold", NOT_KNOWN if hold is None else f"{hold:.1f} min"),
        Pair("Released", "not released" if released is None else f"at {minutes(released)}"),
        Pair("Record", f"{minutes(result['duration_s'])} long"),
    )


def _cure(cure: Mapping[str, Json], units: UnitSystem) -> tuple[Item, ...]:
    items: list[Item] = []
    points = [(name, cure[key]) for name, key in (("deepest", "deepest"), ("hottest", "hottest")) if cure[key]]
    if points:
        head = ("Rubber", "Stack", "Depth from inner mat", "State of cure", "Band", "Equivalent", "Peak")
        rows = tuple(
            (
                name,
                str(point["stack"]),
                f"{point['depth_mm']:.1f} mm",
                share(point["state_of_cure"]),
                f"{100 * point['state_of_cure_low']:.0f}-{100 * point['state_of_cure_high']:.0f} %",
                f"{point['equivalent_min']:.1f} min",
                units.say_temperature(point["peak_degC"], 1),
            )
            for name, point in points
        )
        items.append(Grid(head, rows, numeric=(2, 3, 4, 5, 6)))
    else:
        items.append(Words("No rubber in this record could be judged."))
    margin, boil = cure["worst_vapour_margin_kPa"], cure["worst_boil_margin_kPa"]
    items.append(Pair("Vapour margin, worst", _margin(margin, units)))
    items.append(Pair("Over pure water", f"{_margin(boil, units)} (for comparison; never a reason)"))
    items.append(Pair("Set without pressure", f"{share(cure['set_without_pressure'])} of the uncured rubber"))
    return tuple(items)


def _margin(kilopascal: float | None, units: UnitSystem) -> str:
    return NOT_KNOWN if kilopascal is None else units.say_pressure(1000 * kilopascal)


def _phases(phases: Sequence[Mapping[str, Json]]) -> tuple[Item, ...]:
    if not phases:
        return (Words("None."),)
    rows = tuple(
        (
            str(phase["phase"]),
            minutes(phase["start_s"]),
            "not ended" if phase["end_s"] is None else minutes(phase["end_s"]),
            "" if phase["end_s"] is None else minutes(phase["end_s"] - phase["start_s"]),
        )
        for phase in phases
    )
    return (Grid(("Phase", "From", "To", "Lasted"), rows, numeric=(1, 2, 3)),)


def alarm_letters(alarms: Sequence[Mapping[str, Json]]) -> dict[str, str]:
    """A sign for each alarm in the order they were raised: A to Z, then AA, AB and so on."""
    order = sorted(alarms, key=lambda alarm: alarm["raised_s"])
    return {alarm["id"]: _letters(n) for n, alarm in enumerate(order)}


def _letters(number: int) -> str:
    text = ""
    number += 1
    while number:
        number, last = divmod(number - 1, 26)
        text = chr(ord("A") + last) + text
    return text


def _alarms(alarms: Sequence[Mapping[str, Json]]) -> tuple[Item, ...]:
    if not alarms:
        return (Words("None."),)
    letters = alarm_letters(alarms)
    advice = {alarm["id"]: alarm["advice"] for alarm in alarms}
    items: list[Item] = []
    for alarm in sorted(alarms, key=lambda each: each["raised_s"]):
        channel = f" ({alarm['channel']})" if alarm["channel"] else ""
        ended = "stood to the end" if alarm["cleared_s"] is None else f"cleared at {minutes(alarm['cleared_s'])}"
        root = alarm["consequence_of"]
        follows = f", consequence of {letters.get(root, root)}" if root else ""
        said = f"{letters[alarm['id']]}: {alarm['kind']}{channel}, {alarm['priority']}{follows}"
        items.append(Words(said, strong=alarm["priority"] == "high" and not root))
        items.append(
            Words(
                f"raised at {minutes(alarm['raised_s'])}, began about {minutes(alarm['since_s'])}, {ended}",
                bullet=True,
            )
        )
        items.append(Words(str(alarm["message"]), bullet=True))
        if alarm["advice"] and (not root or alarm["advice"] != advice.get(root)):
            items.append(Words(f"What to do: {alarm['advice']}", bullet=True))
    return tuple(items)


def recorder_alarms(body: Mapping[str, Json]) -> tuple[Item, ...]:
    """The recorder's own alarms that moved or stood during the cycle, each as it was said last."""
    told: dict[tuple[Json, Json], Mapping[str, Json]] = {}
    for event in body.get("events") or ():
        alarm = event.get("alarm") if event.get("kind") == "recorder-alarm" else None
        if isinstance(alarm, Mapping):
            # Ids begin anew with every start of the recorder: an alarm is known by when it was raised as well.
            told[alarm.get("id"), alarm.get("raised_s")] = alarm
    if not told:
        return (Words("None."),)
    items: list[Item] = []
    for alarm in told.values():
        raised, cleared, heeded = (alarm.get(key) for key in ("raised_s", "cleared_s", "acknowledged_s"))
        began = "raised before this cycle" if raised is not None and raised < 0.0 else f"raised at {minutes(raised)}"
        ended = "no end in this record" if cleared is None else f"cleared at {minutes(cleared)}"
        items.append(Words(f"{alarm.get('kind')}, {alarm.get('priority')}", strong=alarm.get("priority") == "high"))
        items.append(Words(f"{began}, {ended}", bullet=True))
        items.append(Words(str(alarm.get("message") or ""), bullet=True))
        if heeded is not None:
            by = alarm.get("acknowledged_by") or "no name"
            items.append(Words(f"acknowledged at {minutes(heeded)}: {by}", bullet=True))
        if alarm.get("advice"):
            items.append(Words(f"What to do: {alarm['advice']}", bullet=True))
    return tuple(items)

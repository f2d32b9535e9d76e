"""Asking what each value of an instrument is: its channel, its unit, and what a raw signal means."""

from __future__ import annotations

from collections.abc import Callable, Generator, Mapping, Sequence
from dataclasses import dataclass, field

from press_monitor.quantities import Dimension, QuantityError, dimension_of, parse
from press_monitor.setup.steps import Answer, Choice, Step
from press_monitor.setup.talk import ask, choose

__all__ = ["AskedChannel", "ask_channel", "ask_roles"]

_SKIP, _OTHER = "skip", "other"
_ROLES = (
    Choice("inner_mat", "inner mat"),
    Choice("outer_mat", "outer mat"),
    Choice("bag", "pressure bag"),
    Choice("ram", "ram"),
    Choice("air", "air of the shop"),
    Choice("buried", "thermocouple buried in the rubber"),
)
_PRESSURES = ("bag", "ram")
_TEMPERATURE_UNITS = ("degF", "degC", "mV", "ohm", "mA", "counts")
_PRESSURE_UNITS = ("psi", "kPa", "bar", "mA", "counts")
_RAW_WORDS = {
    "mV": "a thermocouple's millivolts",
    "ohm": "a Pt100's ohms",
    "mA": "a 4-20 mA loop",
    "counts": "a converter's counts",
}
_TYPES = ("K", "J", "T", "E", "N", "S", "R", "B")


@dataclass(frozen=True, slots=True)
class AskedChannel:
    """A channel with the unit the instrument sends, and what its table in the shop file says beside."""

    name: str
    unit: str
    keys: Mapping[str, object] = field(default_factory=dict)

    @property
    def target(self) -> str:
        """As a driver's options name it."""
        return f"{self.name}[{self.unit}]"


def ask_roles(
    values: Sequence[tuple[str, str, str | None]], units: str
) -> Generator[Step, Answer, dict[str, AskedChannel]]:
    """Ask for every value: its key, how it reads now, its unit where the instrument writes one."""
    channels: dict[str, AskedChannel] = {}
    while not channels:
        for key, shown, written in values:
            name = yield from ask_channel(key, shown, written, [c.name for c in channels.values()])
            if name is None:
                continue
            unit = yield from _unit(name, key, written, units)
            raw = yield from _raw(name, unit, units)
            channels[key] = AskedChannel(name, unit, raw)
    return channels


def ask_channel(key: str, shown: str, unit: str | None, taken: Sequence[str]) -> Generator[Step, Answer, str | None]:
    """Ask what one value is; None to leave it out."""
    now = f" reads {shown}" if shown else ""
    now += f" {unit}" if unit else ""
    choices = [role for role in _ROLES if role.value not in taken and _may_be(role.value, unit)]
    choices += [Choice(_OTHER, "something else, kept and not judged"), Choice(_SKIP, "leave it out")]
    chosen = yield from choose("channel", f"{key}{now}. What is it?", choices, _SKIP)
    if chosen == _SKIP:
        return None
    if chosen != _OTHER:
        return chosen

    def good(name: str) -> str:
        if name in taken:
            return "that one is taken"
        return "" if all(c.isalnum() or c in "_.-" for c in name) else "letters, digits, _ . and - only"

    return (yield from ask("channel name", "A name for it, without spaces:", good=good))


def _may_be(role: str, unit: str | None) -> bool:
    if unit is None or unit in _RAW_WORDS:
        return unit not in ("mV", "ohm") or role not in _PRESSURES
    wanted = Dimension.PRESSURE if role in _PRESSURES else Dimension.TEMPERATURE
    try:
        return dimension_of(unit) is wanted
    except QuantityError:
        return True


def _unit(name: str, key: str, written: str | None, units: str) -> Generator[Step, Answer, str]:
    if written is not None:
        return written
    known = _PRESSURE_UNITS if name in _PRESSURES else _TEMPERATURE_UNITS
    default = {"us": {True: "psi", False: "degF"}, "si": {True: "kPa", False: "degC"}}[units][name in _PRESSURES]
    choices = [Choice(unit, _RAW_WORDS.get(unit, "")) for unit in known]
    return (yield from choose("unit", f"In which unit does the instrument give {key}?", choices, default))


def _raw(name: str, unit: str, units: str) -> Generator[Step, Answer, dict[str, object]]:
    """What a raw signal means, as keys of the channel's table."""
    if unit == "mV":
        kind = yield from choose("type", "Which type of thermocouple?", [Choice(t, "") for t in _TYPES], "K")
        cold = yield from ask(
            "cold junction",
            "Temperature at its terminals (0 degC where the instrument adds it already):",
            default="0 degC",
            good=_quantity(Dimension.TEMPERATURE),
        )
        return {"input": "thermocouple", "type": kind, "cold_junction": cold}
    if unit == "ohm":
        return {"input": "pt100"}
    if unit not in ("mA", "counts"):
        return {}
    pressure = name in _PRESSURES
    check = _quantity(Dimension.PRESSURE if pressure else Dimension.TEMPERATURE)
    example = {"us": ("psi", "degF"), "si": ("kPa", "degC")}[units][0 if pressure else 1]
    ends = ("4 mA", "20 mA") if unit == "mA" else ("the lowest count", "the highest count")
    counts: list[float] = []
    values: list[str] = []
    for end, default in zip(ends, ("0", "100" if pressure else "600"), strict=True):
        if unit == "counts":
            text = yield from ask("counts", f"What is {end}?", default="4095" if counts else "0", good=_number)
            counts.append(float(text))
        value = yield from ask("range", f"What does {end} mean?", default=f"{default} {example}", good=check)
        values.append(value)
    if unit == "mA":
        return {"input": "4-20 mA", "range": values}
    return {"input": "counts", "counts": counts, "range": values}


def _number(text: str) -> str:
    try:
        float(text)
    except ValueError:
        return "a number is wanted"
    return ""


def _quantity(dimension: Dimension) -> Callable[[str], str]:
    def good(text: str) -> str:
        try:
            parse(text, dimension)
        except QuantityError as error:
            return str(error)
        return ""

    return good

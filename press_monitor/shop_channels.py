"""A press's channels: what the shop file says of each, and which there are where it says nothing.

Keys of ``[presses.NAME.channels.CHANNEL]``, all optional: `unit`, `decimals`, `sensor`, `low`, `high`; `input`
(``direct``, ``thermocouple``, ``pt100``, ``4-20 mA``, ``counts``) with `type`, `cold_junction`, `r0`, `range`,
`counts`; and a table `calibration` with `offset`, `gain`, `date`, `reference`, `due`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import date

from press_monitor.quantities import Dimension, QuantityError, UnitSystem, dimension_of, from_si, parse
from press_monitor.readings.calibration import Calibration
from press_monitor.readings.setup import (
    ChannelSetup,
    Conversion,
    Direct,
    LoopInput,
    Pt100Input,
    ThermocoupleInput,
    TwoPointInput,
    default_decimals,
)
from press_monitor.readings.types import Role, SignalError, role_of
from press_monitor.shop import Press, Shop
from press_monitor.tables import Table

__all__ = ["press_channels"]

_USUAL = ("inner_mat", "outer_mat", "bag")
_NAMED = re.compile(r"\s*([^\[\]\s]+)\s*\[\s*([^\[\]\s]+)\s*\]\s*")
_INPUTS = ("direct", "thermocouple", "pt100", "4-20 mA", "counts")
_RAW = (Dimension.VOLTAGE, Dimension.RESISTANCE)


def press_channels(press: Press, shop: Shop, offered: Mapping[str, str] | None = None) -> tuple[ChannelSetup, ...]:
    """The channels of a press in the order of its rows.

    Those the shop file lists; else those its driver offers or its driver's options name; else inner mat, outer mat and
    bag, in the shop's units. `offered` is what a made driver says of itself: channel to raw unit.
    Raises `ShopError` naming the key.
    """
    named = dict(offered) if offered else dict(_in_options(press.options))
    if press.channels:
        return tuple(_setup(name, table, named.get(name), shop.units) for name, table in press.channels.items())
    found = named or dict.fromkeys(_USUAL)
    return tuple(_plain(name, unit, shop.units) for name, unit in found.items())


def _in_options(options: Mapping[str, object]) -> Iterator[tuple[str, str | None]]:
    """Channels a driver's options speak of.

    ``name[unit]`` in `labels`, `json` or `fields`, also of each of the `polls`; plain names in `channels`, or a table a
    channel there, with or without its `unit`.
    """
    polls, names = options.get("polls"), options.get("channels")
    for form in (options, *(polls if isinstance(polls, Sequence) and not isinstance(polls, str) else ())):
        if isinstance(form, Mapping):
            yield from _in_form(form)
    if isinstance(names, Mapping):
        for name, table in names.items():
            unit = table.get("unit") if isinstance(table, Mapping) else None
            yield str(name), unit if isinstance(unit, str) else None
    elif isinstance(names, Sequence) and not isinstance(names, str):
        for name in names:
            if isinstance(name, str):
                yield name, None


def _in_form(form: Mapping[str, object]) -> Iterator[tuple[str, str | None]]:
    written: list[object] = []
    for key in ("labels", "json", "fields"):
        told = form.get(key)
        if isinstance(told, Mapping):
            written += told.values()
        elif isinstance(told, Sequence) and not isinstance(told, str):
            written += told
    for text in written:
        if isinstance(text, str) and (named := _NAMED.fullmatch(text)):
            yield named.group(1), named.group(2)


def _usual_unit(name: str, units: UnitSystem) -> str | None:
    role = role_of(name)
    if role in (Role.BAG, Role.RAM):
        return units.pressure
    if role is Role.MAT_CURRENT:
        return "A"
    return None if role is Role.OTHER else units.temperature


def _plain(name: str, unit: str | None, units: UnitSystem) -> ChannelSetup:
    kept = _usual_unit(name, units) if unit is None or _is_raw(unit) else unit
    kept = kept or unit or units.temperature
    return ChannelSetup(name, kept, default_decimals(kept))


def _is_raw(unit: str) -> bool:
    try:
        return dimension_of(unit) in _RAW or unit == "mA"
    except QuantityError:
        return True


def _setup(name: str, table: Table, unit: str | None, units: UnitSystem) -> ChannelSetup:
    kept = table.text("unit") if table.has("unit") else _plain(name, unit, units).unit
    try:
        dimension = dimension_of(kept)
    except QuantityError as error:
        raise table.error("unit", str(error)) from None
    decimals = table.number("decimals", 0, 6, default_decimals(kept))
    if decimals != int(decimals):
        raise table.error("decimals", "wants a whole number")

    def limit(key: str) -> float | None:
        return from_si(table.quantity(key, dimension), kept) if table.has(key) else None

    try:
        setup = ChannelSetup(
            name,
            kept,
            int(decimals),
            _conversion(table, dimension),
            _calibration(table.table("calibration"), dimension, kept) if table.has("calibration") else None,
            table.text("sensor", ""),
            limit("low"),
            limit("high"),
        )
    except (SignalError, QuantityError) as error:
        raise table.error(None, str(error)) from None
    table.done()
    return setup


def _conversion(table: Table, dimension: Dimension) -> Conversion:
    kind = table.choice("input", _INPUTS, "direct")
    if kind == "thermocouple":
        if not table.has("cold_junction"):
            return ThermocoupleInput(table.text("type"))
        cold = table.text("cold_junction")
        try:
            return ThermocoupleInput(table.text("type"), cold_junction=parse(cold, Dimension.TEMPERATURE))
        except QuantityError:
            return ThermocoupleInput(table.text("type"), cold_junction_channel=cold)
    if kind == "pt100":
        return Pt100Input(table.number("r0", 1.0, 100_000.0, 100.0))
    if kind == "direct":
        return Direct()
    low, high, unit = _span(table, dimension)
    if kind == "4-20 mA":
        return LoopInput(low, high, unit)
    counts = table.data.get("counts")
    if not table.has("counts") or not isinstance(counts, list) or len(counts) != 2:
        raise table.error("counts", "wants the two counts at both ends of the range, as [0, 4095]")
    if any(isinstance(c, bool) or not isinstance(c, int | float) for c in counts):
        raise table.error("counts", f"wants two numbers, got {counts!r}")
    return TwoPointInput(float(counts[0]), low, float(counts[1]), high, unit)


_SI_UNIT = {Dimension.TEMPERATURE: "degC", Dimension.PRESSURE: "kPa", Dimension.CURRENT: "A"}


def _span(table: Table, dimension: Dimension) -> tuple[float, float, str]:
    """The two ends of `range`, in one unit."""
    given = table.data.get("range")
    if not table.has("range") or not isinstance(given, list) or len(given) != 2 or dimension not in _SI_UNIT:
        raise table.error("range", 'wants both ends, as ["0 psi", "100 psi"]')
    unit = _SI_UNIT[dimension]
    try:
        low, high = (from_si(parse(end, dimension), unit) for end in given)
    except QuantityError as error:
        raise table.error("range", str(error)) from None
    return low, high, unit


def _calibration(table: Table, dimension: Dimension, unit: str) -> Calibration:
    zero, one = (from_si(x, unit) for x in (0.0, 1.0))

    def day(key: str) -> date | None:
        value = table.data.get(key)
        if not table.has(key):
            return None
        if type(value) is not date:
            raise table.error(key, "wants a date such as 2031-05-04")
        return value

    offset = table.quantity("offset", dimension, difference=True) * (one - zero) if table.has("offset") else 0.0
    calibration = Calibration(
        offset, table.number("gain", 0.01, 100.0, 1.0), day("date"), table.text("reference", ""), day("due")
    )
    table.done()
    return calibration

"""The ticket as it is typed: its fields, what stands wrong in each, and the start command's ticket made of them.

Pure: values are texts by the dotted name of the field, and everything is checked by the same reader that the recorder
uses.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from press_monitor.archive.stores import StoreItem, Stores
from press_monitor.archive.ticket import PREP_STEPS, read_ticket
from press_monitor.archive.tin import TinError, read_tin
from press_monitor.archive.types import Json
from press_monitor.screens.widgets.palette import Tone
from press_monitor.screens.widgets.rows import Remark
from press_monitor.tables import ShopError

__all__ = [
    "CARRIED",
    "CHECKS",
    "FIELDS",
    "INJURY",
    "MATERIALS",
    "MEANT",
    "STEP_WORDS",
    "Field",
    "carried_over",
    "remarks",
    "ticket_of",
    "with_unit",
]


@dataclass(frozen=True, slots=True)
class Field:
    """One text of the ticket: its dotted name, its label, an example, and the unit a bare number is taken in."""

    key: str
    label: str
    hint: str = ""
    unit: str = ""


FIELDS = (
    Field("number", "Job"),
    Field("customer", "Customer"),
    Field("machine", "Machine"),
    Field("tire", "Tire", "as people call it"),
    Field("size", "Size", "e.g. 23.5R25"),
    Field("construction", "Construction", "radial, bias or track"),
    Field("tin", "DOT / TIN", "as it stands on the sidewall"),
    Field("serial", "Serial", "free, where there is no TIN"),
    Field("section", "Place", "e.g. shoulder"),
)
INJURY = (
    Field("injury.length", "Length", "e.g. 120 mm", "mm"),
    Field("injury.width", "Width", "e.g. 60 mm", "mm"),
    Field("injury.depth", "Depth", "e.g. 44 mm", "mm"),
    Field("injury.cords", "Cords", "e.g. 4 of 12 plies cut"),
)
MATERIALS = (
    ("patch", "repair patch", "Patch lot"),
    ("cement", "cement", "Cement lot"),
    ("gum", "cushion gum", "Cushion lot"),
    ("filler", "filler rubber", "Filler lot"),
    ("other", "other", "Another lot"),
)
"""Short name, what the record calls its use, label."""

STEP_WORDS = {
    "skived": "Skived",
    "buffed": "Buffed",
    "cords_checked": "Cords checked",
    "cleaned": "Cleaned",
    "cemented": "Cemented",
    "patch_stitched": "Patch stitched",
    "filler_packed": "Filler packed",
}
CHECKS = (
    ("buffed_without_scorching", "Buffed cool", "no smoke, no blue or sticky rubber"),
    ("bag_and_sand_bags_seated", "Bag seated", "bag and sand bags bear on all of it"),
    ("ram_locked", "Ram locked", "locked up, and the lock seen by eye"),
    ("leads_and_hose_clear", "Leads clear", "leads and hose clear of mats and ram"),
    ("lock_up_leak_test", "Bag holds", "the leak test answers this, or you do"),
)
"""Key in the ticket's checks, label, what is meant."""

MEANT = {
    **{f"checks.{key}": words for key, _, words in CHECKS},
    "unattended": "wants horn or phone tested in 7 days",
    "over_temperature_cutout": "one that cuts the heat without this PC",
    "mats_overlap": "one thickness past the rubber, each side",
}
"""What a question means, said beside it."""

CARRIED = frozenset(
    {
        *("tire", "size", "construction", "section", "bag", "mats", "probes"),
        *(f"people.{step}" for step in PREP_STEPS),
        *(f"materials.{short}.{part}" for short, _, _ in MATERIALS for part in ("lot", "expires")),
    }
)
"""What one ticket has in common with the next like it. What was done or measured on this tire is never taken over."""

_BARE = re.compile(r"[+-]?\d+(?:[.,]\d*)?")
_YES_NO = {"yes": True, "no": False}


def with_unit(text: str, unit: str) -> str:
    """A bare number with the unit it is meant in, a comma in it made a point; anything else as it is."""
    return f"{text.replace(',', '.')} {unit}" if unit and _BARE.fullmatch(text) else text


_UNITS = {field.key: field.unit for field in (*FIELDS, *INJURY)} | {"prep.cement_dry_time": "min"}
_FLAGS = re.compile(
    r"mats_overlap|unattended|over_temperature_cutout|injury\.through|prep\.(?!cement_dry)\w+|checks\.\w+"
)
_LISTS = ("mats", "probes")


def _one(key: str, text: str) -> Json:
    if _FLAGS.fullmatch(key):
        return _YES_NO.get(text)
    if key in _LISTS:
        return [name.strip() for name in re.split(r"[,;]", text) if name.strip()]
    return with_unit(text, _UNITS.get(key, ""))


def ticket_of(values: Mapping[str, str]) -> dict[str, Json]:
    """The ticket that a start command carries: what was said, and only that."""
    made: dict[str, Json] = {}
    for key, text in values.items():
        given = _one(key, text)
        if given in ("", None, []) or key.startswith("materials."):
            continue
        *path, last = key.split(".")
        at = made
        for part in path:
            at = at.setdefault(part, {})
        at[last] = given
    materials = [_material(short, use, values) for short, use, _ in MATERIALS]
    if any(materials):
        made["materials"] = [each for each in materials if each]
    return made


def _material(short: str, use: str, values: Mapping[str, str]) -> dict[str, Json]:
    parts = {part: values.get(f"materials.{short}.{part}", "") for part in ("lot", "expires")}
    said = {part: text for part, text in parts.items() if text}
    return {"use": use, **said} if said else {}


def carried_over(ticket: Mapping[str, Json]) -> dict[str, str]:
    """What of an earlier ticket may stand in the next one like it, by field."""
    try:
        read = read_ticket(ticket, date.max)
    except ShopError:
        return {}
    found = {key: str(getattr(read, key)) for key in ("tire", "size", "construction", "section", "bag")}
    found |= {key: ", ".join(getattr(read, key)) for key in _LISTS}
    found |= {f"people.{who}": name for who, name in read.people.items()}
    used = {use: short for short, use, _ in MATERIALS}
    for material in read.materials:
        short = used.get(material.use, "other")
        if f"materials.{short}.lot" not in found:
            found[f"materials.{short}.lot"] = material.lot
            found[f"materials.{short}.expires"] = "" if material.expires is None else material.expires.isoformat()
    return {key: text for key, text in found.items() if text and key in CARRIED}


# -- what there is to say of each field --


def remarks(values: Mapping[str, str], today: date, stores: Stores) -> dict[str, Remark]:
    """By field: what is wrong with it (alarm), what wants an override (attention), what is worth knowing."""
    found: dict[str, Remark] = {}
    for key, text in values.items():
        if text and (remark := _remark(key, text, values, today, stores)) is not None:
            found[key] = remark
    if values.get("unattended") == "yes" and values.get("over_temperature_cutout") != "yes":
        found["over_temperature_cutout"] = Remark(Tone.ALARM, "an unattended cure needs one of its own")
    found |= _drying(values, stores)
    return found


def _remark(key: str, text: str, values: Mapping[str, str], today: date, stores: Stores) -> Remark | None:
    wrong = _wrong(key, text, today)
    if wrong:
        return Remark(Tone.ALARM, wrong)
    if key == "tin":
        return _tin(text, today)
    if key in ("bag", "mats", "probes"):
        return _items(key.rstrip("s"), _one(key, text), today, stores)
    if key.endswith(".lot"):
        return _items("lot", text, today, stores)
    if key.endswith(".expires") and date.fromisoformat(text) < today:
        return Remark(Tone.ATTENTION, f"expired on {text}")
    unit = _UNITS.get(key, "")
    if unit and with_unit(text, unit) != text:
        return Remark(Tone.IDLE, f"= {with_unit(text, unit)}")
    return None


def _wrong(key: str, text: str, today: date) -> str:
    """What the reader of tickets says against one field, read alone."""
    if key.startswith("override."):
        return ""
    try:
        read_ticket(ticket_of({key: text}), today)
    except ShopError as error:
        return error.message
    return ""


def _tin(text: str, today: date) -> Remark:
    try:
        tin = read_tin(text, today)
    except TinError as error:
        return Remark(Tone.ALARM, str(error))
    if tin.first_day is None:
        return Remark(Tone.FINE, tin.words().split(", ", 1)[1])
    return Remark(Tone.FINE, f"made in the week from {tin.first_day}" + (f", {tin.note}" if tin.note else ""))


def _items(kind: str, names: Json, today: date, stores: Stores) -> Remark | None:
    said: list[str] = []
    unknown: list[str] = []
    for name in names if isinstance(names, list) else [names]:
        item = stores.get(kind, name)
        if item is None or not item.known:
            unknown.append(name)
        elif trouble := item.trouble(today):
            # Where one name stands in the field beside, it need not be said again.
            short = trouble.removeprefix(f"{kind} {item.name}").lstrip(": ") if isinstance(names, str) else ""
            return Remark(Tone.ATTENTION, trouble, short)
        elif fact := _fact(item):
            said.append(fact if kind != "mat" else f"{item.name}: {fact}")
    if unknown:
        return Remark(Tone.IDLE, f"{', '.join(unknown)}: not in Stores, not checked")
    return Remark(Tone.FINE, "; ".join(said) or "in Stores")


def _fact(item: StoreItem) -> str:
    if item.expires is not None:
        return f"good until {item.expires}"
    if item.life_cures is not None:
        return f"{item.cures_done} cures of {item.life_cures}"
    if item.calibration_due is not None:
        return f"calibration due {item.calibration_due}"
    return f"{item.cures_done} cures" if item.cures_done else ""


def _drying(values: Mapping[str, str], stores: Stores) -> dict[str, Remark]:
    """A cement that wants longer than the ticket says, at the dry time."""
    try:
        dried = read_ticket(ticket_of({"prep.cement_dry_time": values.get("prep.cement_dry_time", "")}), date.max)
    except ShopError:
        return {}
    for short, _, _ in MATERIALS:
        lot = values.get(f"materials.{short}.lot", "")
        item = stores.get("lot", lot) if lot else None
        if item is None or item.dry_time_s is None:
            continue
        wanted = f"lot {item.name} wants {item.dry_time_s / 60:g} min"
        if dried.cement_dry_s is None or dried.cement_dry_s < item.dry_time_s:
            return {"prep.cement_dry_time": Remark(Tone.ATTENTION, wanted)}
        return {"prep.cement_dry_time": Remark(Tone.FINE, wanted)}
    return {}

"""The ticket: whose tire, what is torn, what was done to it, by whom and with what.

One form for all: a TOML file, the arguments of a start command and the JSON in a sealed record have the same keys.
Whatever is given is checked, nothing must be given: an empty ticket still says that somebody meant this cure.

```toml
number = "J-1042"
customer = "Long Draw Orchards"
machine = "wheel loader 4"
tire = "23.5R25 L3"                  # as people call it; size, construction, serial and tin apart from it
size = "23.5R25"
construction = "radial"
serial = "free text"
tin = "1H4 ABCDEF 0109"              # checked, and its week read
section = "shoulder"                 # the place of the injury
operator = "Ines"
mats_overlap = true                  # by one thickness each side
unattended = false
over_temperature_cutout = true       # one that works without this computer
bag = "B3"
mats = ["M1", "M2"]
probes = ["K-17"]
note = "…"
[injury]
length = "120 mm"
width = "60 mm"
depth = "44 mm"
through = true
cords = "4 of 12 plies cut"
[prep]                               # skived, buffed, cords_checked, cleaned, cemented, patch_stitched, filler_packed
skived = true
cement_dry_time = "45 min"
[checks]                             # any other questions answered yes or no before the start, in any words
lock_up_leak_test = true
[people]                             # by what they did, in any words
skived = "Tom"
[[materials]]
use = "filler rubber"
lot = "SG-2203"
expires = 2031-05-04
```
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Any

from press_monitor.archive.tin import TinError, read_tin
from press_monitor.archive.types import Json
from press_monitor.quantities import Dimension, parse
from press_monitor.tables import Table, read_toml

__all__ = ["PREP_STEPS", "Injury", "Material", "Ticket", "day_of", "length_mm", "load_ticket", "read_ticket"]

PREP_STEPS = ("skived", "buffed", "cords_checked", "cleaned", "cemented", "patch_stitched", "filler_packed")
"""The checklist, in the order the work is done."""

_LONGEST, _LONGEST_NOTE = 200, 4000
_MOST = 50
_PROGRAMS_OWN = ("tin_week", "overrides", "log")
"""What a sealed ticket holds besides; a ticket taken over from an old record may bring it, and it is not believed."""


@dataclass(frozen=True, slots=True)
class Injury:
    """What is torn. Sizes as written, with their units; `cords` in words."""

    length: str = ""
    width: str = ""
    depth: str = ""
    through: bool | None = None
    cords: str = ""


@dataclass(frozen=True, slots=True)
class Material:
    """Something built in: what for, its lot, what it is, the compound's name in the shop file, the last good day."""

    use: str
    lot: str = ""
    product: str = ""
    compound: str = ""
    expires: date | None = None


@dataclass(frozen=True, slots=True)
class Ticket:
    """A ticket that was checked. Empty where nothing was said.

    Attributes:
        tin, tin_week: the number's symbols and the week they mean, both empty for a tire without one.
        section: the place of the injury.
        prep: the steps of `PREP_STEPS` that were answered.
        cement_dry_s: how long the cement dried, None where not said.
        checks: other questions answered before the start.
        people: who, by what they did.
    """

    number: str = ""
    customer: str = ""
    machine: str = ""
    tire: str = ""
    size: str = ""
    construction: str = ""
    serial: str = ""
    tin: str = ""
    tin_week: str = ""
    section: str = ""
    operator: str = ""
    note: str = ""
    mats_overlap: bool | None = None
    unattended: bool | None = None
    over_temperature_cutout: bool | None = None
    injury: Injury = field(default_factory=Injury)
    prep: Mapping[str, bool] = field(default_factory=dict)
    cement_dry_time: str = ""
    cement_dry_s: float | None = None
    checks: Mapping[str, bool] = field(default_factory=dict)
    people: Mapping[str, str] = field(default_factory=dict)
    materials: tuple[Material, ...] = ()
    bag: str = ""
    mats: tuple[str, ...] = ()
    probes: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Json]:
        """As a record keeps it: what was said, and only that."""
        prep = {**self.prep, **({"cement_dry_time": self.cement_dry_time} if self.cement_dry_time else {})}
        plain: dict[str, Json] = {name: getattr(self, name) for name in (*_TEXTS, *_FLAGS, "bag", "tin_week")}
        plain |= {
            "injury": _said({name: getattr(self.injury, name) for name in Injury.__slots__}),
            "prep": prep,
            "checks": dict(self.checks),
            "people": dict(self.people),
            "materials": [
                _said(
                    {**{k: getattr(m, k) for k in Material.__slots__}, "expires": m.expires and m.expires.isoformat()}
                )
                for m in self.materials
            ],
            "mats": list(self.mats),
            "probes": list(self.probes),
        }
        return _said(plain)

    def items(self) -> Iterator[tuple[str, str]]:
        """Everything out of Stores that it names: kind (``lot``, ``bag``, ``mat``, ``probe``) and name."""
        for material in self.materials:
            if material.lot:
                yield "lot", material.lot
        if self.bag:
            yield "bag", self.bag
        yield from (("mat", name) for name in self.mats)
        yield from (("probe", name) for name in self.probes)


_TEXTS = (
    *("number", "customer", "machine", "tire", "size", "construction", "serial", "tin", "section", "operator", "note"),
)
_FLAGS = ("mats_overlap", "unattended", "over_temperature_cutout")


def _said(plain: Mapping[str, Json]) -> dict[str, Json]:
    return {key: value for key, value in plain.items() if value not in ("", None, [], {})}


def load_ticket(path: Path, today: date) -> Ticket:
    """Read a ticket file. Raises `ShopError` naming file, line and key."""
    return _ticket(read_toml(path), today)


def read_ticket(data: Mapping[str, Json], today: date, name: str = "ticket") -> Ticket:
    """Read a ticket as a command carries it. Raises `ShopError` naming the key."""
    return _ticket(Table(name, [], (), dict(data)), today)


def _ticket(table: Table, today: date) -> Ticket:
    for key in _PROGRAMS_OWN:
        table.has(key)
    texts = {key: _text(table, key, _LONGEST_NOTE if key == "note" else _LONGEST) for key in _TEXTS}
    tin_week = ""
    if texts["tin"]:
        try:
            tin = read_tin(texts["tin"], today)
        except TinError as error:
            raise table.error("tin", f"{error}; what is no such number goes under serial") from None
        texts["tin"] = tin.text
        tin_week = f"{tin.first_day} to {tin.last_day}" if tin.first_day else tin.words().split(", ", 1)[1]
    injury = _injury(table.table("injury"))
    prep, dry_time, dry_s = _prep(table.table("prep"))
    checks, people = table.table("checks"), table.table("people")
    _few(checks, None, len(checks.data))
    _few(people, None, len(people.data))
    materials = table.tables("materials")
    _few(table, "materials", len(materials))
    flags = {key: table.flag(key) for key in _FLAGS}
    given: dict[str, Any] = {**texts, **flags}
    ticket = Ticket(
        **given,
        tin_week=tin_week,
        injury=injury,
        prep=prep,
        cement_dry_time=dry_time,
        cement_dry_s=dry_s,
        checks={what: done for what in checks.data if (done := checks.flag(what)) is not None},
        people={what: who for what in people.data if (who := _text(people, what))},
        materials=tuple(_material(item) for item in materials),
        bag=_text(table, "bag"),
        mats=_names(table, "mats"),
        probes=_names(table, "probes"),
    )
    table.done()
    return ticket


def _text(table: Table, key: str, longest: int = _LONGEST) -> str:
    value = table.text(key, "").strip()
    if len(value) > longest:
        raise table.error(key, f"is longer than {longest} letters")
    if any(not c.isprintable() and c not in "\n\t" for c in value) or ("\n" in value and longest == _LONGEST):
        raise table.error(key, "holds a character that cannot be printed")
    return value


def _few(table: Table, key: str | None, count: int) -> None:
    if count > _MOST:
        raise table.error(key, f"are more than {_MOST}")


def _names(table: Table, key: str) -> tuple[str, ...]:
    """A list of names, each once; one name alone may stand without its list."""
    if not table.has(key):
        return ()
    given = table.data[key]
    listed = [given] if isinstance(given, str) else given
    if not isinstance(listed, list) or len(listed) > _MOST or not all(isinstance(name, str) for name in listed):
        raise table.error(key, f"wants a list of at most {_MOST} names")
    one = (_text(Table(table.file, [], table.path, {key: name}), key) for name in listed)
    return tuple(dict.fromkeys(name for name in one if name))


def _quantity_text(table: Table, key: str, dimension: Dimension) -> tuple[str, float | None]:
    text = _text(table, key)
    if not text:
        return "", None
    value = table.quantity(key, dimension)
    if value <= 0.0:
        raise table.error(key, f"{text!r} must be above zero")
    return text, value


def _injury(table: Table) -> Injury:
    sizes = {key: _quantity_text(table, key, Dimension.LENGTH)[0] for key in ("length", "width", "depth")}
    injury = Injury(**sizes, through=table.flag("through"), cords=_text(table, "cords"))
    table.done()
    return injury


def _prep(table: Table) -> tuple[dict[str, bool], str, float | None]:
    steps = {step: done for step in PREP_STEPS if (done := table.flag(step)) is not None}
    text, seconds = _quantity_text(table, "cement_dry_time", Dimension.TIME)
    table.done()
    return steps, text, seconds


def _material(table: Table) -> Material:
    material = Material(
        use=_text(table, "use"),
        lot=_text(table, "lot"),
        product=_text(table, "product"),
        compound=_text(table, "compound"),
        expires=day_of(table, "expires"),
    )
    if not material.use and not material.lot:
        raise table.error("use", "is missing: what the material is for, or its lot")
    table.done()
    return material


def day_of(table: Table, key: str) -> date | None:
    """A day, as TOML writes one or as text ``2031-05-04``; None where it is not given. Raises `ShopError`."""
    if not table.has(key) or table.data[key] in (None, ""):
        return None
    value = table.data[key]
    if isinstance(value, date) and not isinstance(value, datetime):
        return value
    try:
        return date.fromisoformat(str(value))
    except ValueError:
        raise table.error(key, f"wants a day such as 2031-05-04, got {value!r}") from None


def length_mm(text: str) -> float | None:
    """A size as written on a ticket, in mm; None for none."""
    return 1000.0 * parse(text, Dimension.LENGTH) if text else None

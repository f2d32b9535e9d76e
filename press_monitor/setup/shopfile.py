"""Writing the shop file: a first one, and a press more, with everything people wrote into it kept as it is."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from drivers.ports import PortIdentity, Wanted
from press_monitor.fitting import fit_press, refuse_shared
from press_monitor.shop import ShopError, load_shop

if TYPE_CHECKING:
    from tomlkit.items import InlineTable, Table

__all__ = ["PressPlan", "add_press", "starter_text", "write_checked"]

_STARTER = """\
# The shop file. press-monitor check --keys lists everything that may stand here.

[shop]
name = "{name}"
units = "{units}"

# A rubber to begin with. These numbers are only typical: put in those of your maker's data sheet or curemeter card,
# and find the blow point by cutting up trial repairs.
[compounds.section-gum]
reference_temperature = "150 degC"
scorch = "2.5 min"
tc50 = "6 min"
tc90 = "12 min"
activation_energy = "100 kJ/mol"
blow_point = 0.35
reversion = "90 min"

# How it is cured. Likewise: your maker's instructions decide.
[recipes.section-300]
hold_temperature = "300 degF"
hold_tolerance = "10 degF"
maximum_temperature = "330 degF"
heat_up_limit = "25 min"
minimum_hold = "60 min"
required_cure = 0.90
release_below = "180 degF"
bag_pressure = "32 psi"
bag_minimum = "28 psi"
bag_maximum = "40 psi"

# Ready-made repairs, from the inner mat to the outer mat: each is started in two keys. Layers without a compound are
# casing. Measure yours and put them in.
[repairs.sidewall-16]
layers = [
    {{ name = "repair patch", thickness = "4 mm", compound = "section-gum" }},
    {{ name = "casing", thickness = "6 mm" }},
    {{ name = "filler rubber", thickness = "6 mm", compound = "section-gum" }},
]
[repairs.crown-30]
layers = [
    {{ name = "repair patch", thickness = "6 mm", compound = "section-gum" }},
    {{ name = "casing", thickness = "14 mm" }},
    {{ name = "filler rubber", thickness = "10 mm", compound = "section-gum" }},
]
[repairs.shoulder-44]
layers = [
    {{ name = "repair patch", thickness = "8 mm", compound = "section-gum" }},
    {{ name = "casing", thickness = "22 mm" }},
    {{ name = "filler rubber", thickness = "14 mm", compound = "section-gum" }},
]
"""


@dataclass(frozen=True, slots=True)
class PressPlan:
    """A press to be written.

    Attributes:
        name, title, driver, recipe: as in the shop file; an empty title is left out.
        port: None for a driver without one.
        options: of the driver.
        channels: what is said of each, by its name; empty where the driver's options say enough.
    """

    name: str
    title: str
    driver: str
    recipe: str
    port: Wanted | None = None
    options: Mapping[str, object] = field(default_factory=dict)
    channels: Mapping[str, Mapping[str, object]] = field(default_factory=dict)


def starter_text(name: str, units: str) -> str:
    """A first shop file, without a press."""
    quoted = name.replace("\\", "\\\\").replace('"', '\\"')
    return _STARTER.format(name="".join(c for c in quoted if c.isprintable()), units=units)


def add_press(text: str, plan: PressPlan) -> str:
    """The shop file's text with a press more. Of one that stands there already its driver's part is written anew."""
    import tomlkit

    document = tomlkit.parse(text)
    presses: Any = document.get("presses")
    if presses is None:
        presses = tomlkit.table(is_super_table=True)
        document["presses"] = presses
    press: Any = presses.get(plan.name)
    if press is None:
        press = tomlkit.table()
        presses[plan.name] = press
    for key in ("port", "options", "channels"):
        press.pop(key, None)
    told: dict[str, object] = {"driver": plan.driver, "recipe": plan.recipe}
    if plan.title:
        told["title"] = plan.title
    if plan.port is not None:
        told["port"] = _inline(plan.port.table()) if isinstance(plan.port, PortIdentity) else plan.port
    for key, value in told.items():
        press[key] = value
    if plan.options:
        press["options"] = _table(plan.options)
    if plan.channels:
        channels = tomlkit.table(is_super_table=True)
        for name, keys in plan.channels.items():
            channels[name] = _table(keys)
        press["channels"] = channels
    return tomlkit.dumps(document)


def _table(values: Mapping[str, object]) -> Table:
    import tomlkit

    table = tomlkit.table()
    for key, value in values.items():
        table[key] = _inline(value) if isinstance(value, Mapping) else value
    return table


def _inline(values: Mapping[str, object]) -> InlineTable:
    import tomlkit

    table = tomlkit.inline_table()
    for key, value in values.items():
        table[key] = _inline(value) if isinstance(value, Mapping) else value
    return table


def write_checked(path: Path, text: str) -> None:
    """Put a shop file in place whole, once it has been read and every press's driver could be made.

    Raises `ShopError`, leaving what was there as it was; OSError where the folder cannot be written to.
    """
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    handle, fresh = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        try:
            shop = load_shop(Path(fresh))
            refuse_shared([fit_press(press, shop, lambda: 0.0) for press in shop.presses.values()], shop)
        except ShopError as error:
            raise ShopError(str(path), error.line, error.key, error.message) from None
        if path.exists():
            os.chmod(fresh, path.stat().st_mode & 0o777)
        else:
            os.chmod(fresh, 0o644)
        os.replace(fresh, path)
    except BaseException:
        Path(fresh).unlink(missing_ok=True)
        raise

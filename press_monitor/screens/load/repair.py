"""The layers as they are typed, and the repair file's text made of them. Pure.

A ready-made repair that nobody changed is sent as it stands in the shop file, to the letter.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from press_monitor.archive.types import Json
from press_monitor.quantities import Dimension, QuantityError, parse
from press_monitor.screens.load.form import with_unit

__all__ = ["FACES", "LayerRow", "RepairForm", "StackRows", "row_trouble", "start_trouble"]

FACES = {"both": {}, "inner": {"outer": "air"}, "outer": {"inner": "air"}}
"""What is heated, and what a repair file says of the faces then."""

_LAYER = ("name", "thickness", "compound")


@dataclass(frozen=True, slots=True)
class LayerRow:
    """One layer as typed: texts, `compound` empty for casing; `more` are its other keys. Without a thickness it is
    left out.
    """

    name: str = ""
    thickness: str = ""
    compound: str = ""
    more: Mapping[str, Json] = field(default_factory=dict)

    def table(self) -> dict[str, Json]:
        """As the repair file has it."""
        told: dict[str, Json] = {"name": self.name or "layer", "thickness": with_unit(self.thickness, "mm")}
        return {**told, **({"compound": self.compound} if self.compound else {}), **self.more}


@dataclass(frozen=True, slots=True)
class StackRows:
    """A section through the repair; `name` empty where there is only one without a name."""

    name: str
    rows: tuple[LayerRow, ...]


@dataclass(frozen=True, slots=True)
class RepairForm:
    """A repair as it stands on the screen.

    Attributes:
        text: of the ready-made repair it began with, empty for layers of one's own.
        stacks: the sections through it.
        start: the rubber's temperature as typed, empty for not measured.
        heated: ``both``, ``inner`` or ``outer``.
        more: what else the repair file said.
    """

    text: str
    stacks: tuple[StackRows, ...]
    start: str = ""
    heated: str = "both"
    more: Mapping[str, Json] = field(default_factory=dict)
    changed: bool = False

    @classmethod
    def of(cls, text: str) -> RepairForm:
        """From a repair file's text. Text that is none gives one empty section, as for layers of one's own."""
        try:
            data: dict[str, Any] = tomllib.loads(text)
        except ValueError:
            data = {}
        stacks = data.pop("stacks", None) or [{"name": "", "layers": data.pop("layers", [])}]
        faces = data.pop("faces", {})
        heated = next(
            (k for k, told in FACES.items() if told == {s: w for s, w in faces.items() if w == "air"}), "both"
        )
        rows = tuple(StackRows(str(s.get("name", "")), tuple(map(_row, s.get("layers", [])))) for s in stacks)
        return cls(text, rows, str(data.pop("start_temperature", "")), heated, data)

    @classmethod
    def own(cls, compound: str) -> RepairForm:
        """Nothing yet but the usual three names."""
        rows = (LayerRow("repair patch", "", compound), LayerRow("casing"), LayerRow("filler rubber", "", compound))
        return cls("", (StackRows("", rows),), changed=True)

    def with_row(self, stack: int, number: int, row: LayerRow) -> RepairForm:
        """With a layer changed, or one more."""
        rows = list(self.stacks[stack].rows)
        rows[number : number + 1] = [row]
        stacks = list(self.stacks)
        stacks[stack] = replace(stacks[stack], rows=tuple(rows))
        return replace(self, stacks=tuple(stacks), changed=True)

    def repair_text(self, degree: str) -> str:
        """The repair file's text; `degree` is the unit a bare start temperature is meant in."""
        if self.text and not self.changed:
            return self.text
        import tomlkit

        told: dict[str, Json] = dict(self.more)
        if self.start:
            told["start_temperature"] = with_unit(self.start, degree)
        if FACES[self.heated]:
            told["faces"] = FACES[self.heated]
        stacks = [(s.name, [row.table() for row in s.rows if row.thickness]) for s in self.stacks]
        if len(stacks) == 1 and not stacks[0][0]:
            told["layers"] = stacks[0][1]
        else:
            told["stacks"] = [{"name": name, "layers": layers} for name, layers in stacks]
        return tomlkit.dumps(told)

    def troubles(self, degree: str) -> list[str]:
        """What cannot be read, a sentence each, in the order of the fields."""
        found = [
            f"{row.name or f'layer {number}'}: {trouble}"
            for stack in self.stacks
            for number, row in enumerate(stack.rows, 1)
            if (trouble := row_trouble(row))
        ]
        thick = [row for stack in self.stacks for row in stack.rows if row.thickness]
        if not thick:
            found.append("no layer has a thickness yet")
        elif not any(row.compound for row in thick):
            found.append("all layers are casing: nothing would cure")
        if trouble := start_trouble(self.start, degree):
            found.append(f"start: {trouble}")
        return found

    def thickness_mm(self) -> float | None:
        """Of the thickest section; None while it cannot be read."""
        try:
            return max(
                sum(1000.0 * parse(with_unit(r.thickness, "mm"), Dimension.LENGTH) for r in s.rows if r.thickness)
                for s in self.stacks
            )
        except QuantityError:
            return None


def _row(table: Mapping[str, Json]) -> LayerRow:
    name, thickness, compound = (str(table.get(key, "")) for key in _LAYER)
    return LayerRow(name, thickness, compound, {key: value for key, value in table.items() if key not in _LAYER})


def _trouble(text: str, unit: str, dimension: Dimension) -> str:
    try:
        value = parse(with_unit(text, unit), dimension)
    except QuantityError as error:
        return str(error)
    return "must be above zero" if dimension is Dimension.LENGTH and value <= 0.0 else ""


def row_trouble(row: LayerRow) -> str:
    """What is wrong with a layer, empty for nothing."""
    return _trouble(row.thickness, "mm", Dimension.LENGTH) if row.thickness else ""


def start_trouble(text: str, degree: str) -> str:
    """What is wrong with a start temperature, empty for nothing."""
    return _trouble(text, degree, Dimension.TEMPERATURE) if text else ""

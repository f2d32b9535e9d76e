"""The pages of the load screen: which rows stand on each. The screen knows what they mean."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from textual.containers import Horizontal, VerticalScroll
from textual.widget import Widget

from press_monitor.archive.ticket import PREP_STEPS
from press_monitor.screens.dialogs.dialog import Words
from press_monitor.screens.load.form import CHECKS, FIELDS, INJURY, MATERIALS, STEP_WORDS
from press_monitor.screens.load.leak_row import LeakRow
from press_monitor.screens.load.repair import LayerRow
from press_monitor.screens.widgets.choice import Choice, Option
from press_monitor.screens.widgets.rows import Entry, FormRow, Pick

__all__ = ["FLAG", "LayerLine", "Page", "RepairPage", "heat_page", "stores_page", "ticket_page", "work_page"]

FLAG = (Option("", "not said"), Option("yes", "yes"), Option("no", "no"))
_OVERLAP = (Option("", "not said"), Option("yes", "yes"), Option("no", "no"))
_HEATED = (Option("both", "both"), Option("inner", "inner"), Option("outer", "outer"))

CAUTIONS = (
    "Hot mats burn, a bag under pressure and a ram can kill. Stand clear once it is locked up.",
    "This program watches and records. It switches nothing and is no safety device: the shop's rules, local codes and"
    " licensed practice come first.",
)


class Pair(Horizontal):
    """Two fields on a line."""

    def __init__(self, *fields: FormRow) -> None:
        super().__init__(*fields, classes="pair")
        self.fields = fields


class Page(VerticalScroll, can_focus=False):
    """One page of rows; `rows` are its fields by name."""

    def __init__(self, name: str, content: Iterable[Widget]) -> None:
        super().__init__(name=name, classes="page")
        self._content = list(content)
        fields = [row for each in self._content for row in (each.fields if isinstance(each, Pair) else (each,))]
        self._rows = {row.name: row for row in fields if isinstance(row, FormRow) and row.name}

    def compose(self) -> Iterable[Widget]:
        """The rows."""
        yield from self._content

    def rows(self) -> dict[str, FormRow]:
        """The fields by name."""
        return self._rows


def _entry(key: str, label: str, values: Mapping[str, str], hint: str = "", **options: int) -> Entry:
    return Entry(key, label, values.get(key, ""), hint=hint, **options)


def _flag(key: str, label: str, values: Mapping[str, str], **options: int) -> Pick:
    pick = Pick(key, label, FLAG, **options)
    pick.put(values.get(key, ""))
    return pick


def ticket_page(values: Mapping[str, str]) -> Page:
    """Whose tire, what is torn."""
    rows: list[Widget] = [_entry(f.key, f.label, values, f.hint) for f in FIELDS]
    rows.append(Words("Injury", classes="group"))
    rows += [_entry(f.key, f.label, values, f.hint) for f in INJURY]
    rows.append(_flag("injury.through", "Through", values))
    rows.append(_entry("note", "Note", values, field_width=200))
    return Page("ticket", rows)


def stores_page(values: Mapping[str, str]) -> Page:
    """What is built in and what lies on it."""
    rows: list[Widget] = [Horizontal(Words("Built in"), Words("good until", classes="until"), classes="pair head")]
    for short, _, label in MATERIALS:
        lot, expires = f"materials.{short}.lot", f"materials.{short}.expires"
        until = _entry(expires, "", values, "yyyy-mm-dd", label_width=0, field_width=13)
        until.add_class("until")
        rows.append(Pair(_entry(lot, label, values, label_width=18, field_width=16), until))
    rows.append(Words("On the press", classes="group"))
    rows.append(_entry("bag", "Bag", values, "as written on it", label_width=18, field_width=24))
    rows.append(_entry("mats", "Mats", values, "e.g. M1, M2", label_width=18, field_width=24))
    rows.append(_entry("probes", "Probes", values, "e.g. K-17, K-18", label_width=18, field_width=24))
    return Page("stores", rows)


def work_page(values: Mapping[str, str]) -> Page:
    """What was done, and by whom."""
    rows: list[Widget] = []
    for step in PREP_STEPS:
        flag = _flag(f"prep.{step}", STEP_WORDS[step], values, label_width=16, field_width=20)
        flag.add_class("flag")
        rows.append(Pair(flag, _entry(f"people.{step}", "by", values, label_width=5, field_width=24)))
    rows.append(_entry("prep.cement_dry_time", "Cement dried", values, "e.g. 45 min", label_width=16, field_width=24))
    rows += _checks(CHECKS[:1], values, 16)
    return Page("work", rows)


def _checks(checks: Sequence[tuple[str, str, str]], values: Mapping[str, str], label_width: int) -> list[Widget]:
    return [_flag(f"checks.{key}", label, values, label_width=label_width, field_width=24) for key, label, _ in checks]


def heat_page(values: Mapping[str, str], leak: LeakRow) -> Page:
    """What must be so before any heat."""
    rows: list[Widget] = [Words("Locked up, before any heat", classes="group first")]
    rows += _checks(CHECKS[1:-1], values, 16)
    rows.append(leak)
    rows += _checks(CHECKS[-1:], values, 16)
    rows.append(Words("Nobody stays with it", classes="group"))
    rows.append(_flag("unattended", "Unattended", values, label_width=16, field_width=24))
    rows.append(_flag("over_temperature_cutout", "Heat cut-out", values, label_width=16, field_width=24))
    rows += [Words(words, classes="soft") for words in CAUTIONS]
    return Page("heat", rows)


class LayerLine(Horizontal):
    """One layer: name, thickness, what it is made of."""

    def __init__(self, number: int, row: LayerRow, compounds: Sequence[str]) -> None:
        super().__init__(classes="layer")
        self.number = number
        self.layer_name = Entry(f"layer.{number}.name", "", row.name, hint="layer", label_width=0, field_width=99)
        self.thickness = Entry(
            f"layer.{number}.thickness", "", row.thickness, hint="mm", longest=20, label_width=0, field_width=99
        )
        options = [Option("", "casing"), *(Option(c, c) for c in compounds)]
        self.compound = Pick(f"layer.{number}.compound", "", options, label_width=0, field_width=99)
        self.compound.put(row.compound)
        self.layer_name.sign_room = self.compound.sign_room = 1
        self.more = row.more

    def compose(self) -> Iterable[Widget]:
        """Three fields in a line."""
        self.layer_name.add_class("layer-name")
        self.thickness.add_class("layer-thickness")
        self.compound.add_class("layer-compound")
        yield self.layer_name
        yield self.thickness
        yield self.compound

    def fill(self, row: LayerRow) -> None:
        """Another layer in the same line."""
        self.layer_name.put(row.name)
        self.thickness.put(row.thickness)
        self.compound.put(row.compound)
        self.more = row.more

    @property
    def row(self) -> LayerRow:
        """As typed."""
        return LayerRow(self.layer_name.value, self.thickness.value, self.compound.value, self.more)


class RepairPage(Page):
    """Press, repair, recipe, layers: all that the plan depends on."""

    def __init__(
        self,
        presses: Sequence[Option],
        repairs: Sequence[Option],
        recipes: Sequence[Option],
        compounds: Sequence[str],
        operator: str,
    ) -> None:
        self.press = Pick("press", "Press", presses, field_width=99)
        self.repair = Choice(repairs, listed=True)
        self.recipe = Pick("recipe", "Recipe", recipes, field_width=99)
        self.stack = Pick("stack", "Section", [], field_width=99)
        self.head = Words("Layers, inner mat to outer mat", classes="group")
        self.start = Entry("start", "Rubber is at", "", hint="not measured", field_width=18)
        self.heated = Pick("heated", "Heated", _HEATED, field_width=24)
        self.overlap = Pick("mats_overlap", "Mats overlap", _OVERLAP, field_width=24)
        self.operator = Entry("operator", "Your name", operator, field_width=24)
        self.compounds = compounds
        self.lines: list[LayerLine] = []
        super().__init__(
            "repair",
            [
                *(self.press, self.repair, self.recipe, self.head, self.stack),
                *(self.start, self.heated, self.overlap, self.operator),
            ],
        )

    def show_layers(self, rows: Sequence[LayerRow]) -> None:
        """Lines for these layers and an empty one more; what is there already is filled anew."""
        wanted = [*rows, LayerRow()]
        for number, row in enumerate(wanted):
            if number < len(self.lines):
                self.lines[number].fill(row)
                self.lines[number].display = True
            else:
                line = LayerLine(number, row, self.compounds)
                self.lines.append(line)
                self.mount(line, before=self.start)
        for line in self.lines[len(wanted) :]:
            line.display = False

    def rows(self) -> dict[str, FormRow]:
        """The fields by name; those of a layer's line are there before it is shown."""
        fixed = (self.press, self.recipe, self.stack, self.start, self.heated, self.overlap, self.operator)
        layered = [row for line in self.lines for row in (line.layer_name, line.thickness, line.compound)]
        return {row.name: row for row in (*fixed, *layered) if row.name}

"""A ticket said something wrong, or something was entered that should not have been: what, why, and who says so."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from textual.widget import Widget

from press_monitor.archive.derived import as_it_stands
from press_monitor.archive.entries import correction_body
from press_monitor.archive.requests import append_entry
from press_monitor.archive.types import CertificateRecord, Json
from press_monitor.audit.corrections import corrected_ticket, withdrawable
from press_monitor.screens.dialogs.dialog import Words
from press_monitor.screens.dialogs.form import FormDialog, WrongField
from press_monitor.screens.records.desk import Desk, ask
from press_monitor.screens.widgets.cells import plain
from press_monitor.screens.widgets.choice import Option
from press_monitor.screens.widgets.rows import Entry, Pick
from press_monitor.tables import ShopError

__all__ = ["CorrectionDialog", "settings_of"]

FIELDS = (
    ("customer", "customer"),
    ("tire", "tire"),
    ("size", "size"),
    ("construction", "construction"),
    ("tin", "DOT / TIN"),
    ("serial", "serial"),
    ("section", "place"),
    ("injury.length", "injury's length"),
    ("injury.width", "injury's width"),
    ("injury.depth", "injury's depth"),
    ("injury.cords", "cords"),
    ("number", "job"),
    ("machine", "machine"),
    ("operator", "operator"),
    ("bag", "bag"),
    ("mats", "mats"),
    ("probes", "probes"),
    ("note", "note"),
)
_LISTS = ("mats", "probes")
_LOT = "lot "
_ENTRY = "entry "


def _held(ticket: Mapping[str, Json], path: str) -> str:
    value: Json = ticket
    for key in path.split("."):
        value = value.get(key) if isinstance(value, Mapping) else None
    if isinstance(value, list):
        return ", ".join(map(str, value))
    return "" if value is None else str(value)


def _materials(ticket: Mapping[str, Json]) -> list[dict[str, Json]]:
    return [dict(item) for item in ticket.get("materials") or () if isinstance(item, Mapping)]


def settings_of(ticket: Mapping[str, Json], what: str, text: str) -> dict[str, Json]:
    """What a correction sets: one key of the ticket, or the lot of one of its materials."""
    if what.startswith(_LOT):
        materials = _materials(ticket)
        materials[int(what.removeprefix(_LOT))]["lot"] = text
        return {"materials": materials}
    if what in _LISTS:
        return {what: [name.strip() for name in text.split(",") if name.strip()]}
    return {what: text}


class CorrectionDialog(FormDialog):
    """Corrects one thing of a certificate's ticket, or withdraws a later entry."""

    def __init__(self, desk: Desk, record: CertificateRecord, operator: str, then: Callable[[], None]) -> None:
        super().__init__(desk)
        self.record, self._then = record, then
        self.ticket, _ = as_it_stands(record.sealed.content, [entry.content for entry in record.later])
        options = [Option(key, words) for key, words in FIELDS]
        options += [
            Option(f"{_LOT}{n}", f"lot of {plain(str(item.get('use') or 'material'))}")
            for n, item in enumerate(_materials(self.ticket))
        ]
        kinds = {entry.seq: entry.kind for entry in record.later}
        options += [
            Option(f"{_ENTRY}{seq}", f"withdraw {kinds[seq].replace('-', ' ')}", f"entry {seq}")
            for seq in withdrawable(record)
        ]
        self.what = Pick("what", "What is wrong", options, field_width=44, label_width=16)
        self.was = Words(classes="soft")
        self.fresh = Entry("value", "Should say", field_width=50, label_width=16)
        self.why = Entry("why", "Why", hint="misspelt, measured again", field_width=50, longest=400, label_width=16)
        self.by = Entry("by", "Who says so", operator, label_width=16)

    def title_words(self) -> str:
        """Which certificate."""
        return f"Correct certificate {self.record.number}"

    def hint_words(self) -> str:
        """What the keys do."""
        return "Left Right what   Up Down field   Enter enter it   Esc back"

    def fields(self) -> Iterable[Widget]:
        """What, what it should say, why, who."""
        yield self.what
        yield self.was
        yield self.fresh
        yield self.why
        yield self.by
        yield Words(
            "What was sealed stays readable; the correction stands beside it. No reading and no verdict can be"
            " corrected.",
            classes="soft",
        )

    def on_mount(self) -> None:
        """Say what stands there now."""
        self._show()

    def changed(self) -> None:
        """Another thing says something else."""
        if self.focused is self.what:
            self._show()

    def _show(self) -> None:
        what = self.what.value
        withdraws = what.startswith(_ENTRY)
        self.fresh.display = not withdraws
        if withdraws:
            self.was.update("It stays readable and counts no longer.")
            return
        held = self._now(what)
        self.was.update(f"Says now: {held}" if held else "Says nothing now.")
        self.fresh.put(held)

    def _now(self, what: str) -> str:
        if what.startswith(_LOT):
            return plain(str(_materials(self.ticket)[int(what.removeprefix(_LOT))].get("lot") or ""))
        return plain(_held(self.ticket, what))

    def accept(self) -> Callable[[], None]:
        """The correction, checked."""
        what, why, by = self.what.value, self.why.value, self.by.value
        if not why:
            raise WrongField("why", "what was wrong?")
        if not by:
            raise WrongField("by", "who says so?")
        withdraw = int(what.removeprefix(_ENTRY)) if what.startswith(_ENTRY) else None
        settings: dict[str, Json] = {}
        if withdraw is None:
            if self.fresh.value == self._now(what):
                raise WrongField("value", "it says that already")
            settings = settings_of(self.ticket, what, self.fresh.value)
        try:
            changed = corrected_ticket(self.record, settings, withdraw, self.desk.today())
        except ShopError as error:
            raise WrongField("value", error.message) from None
        body = correction_body(why=why, by=by, ticket=changed, withdraws=withdraw)
        app, desk, number, then = self.dashboard, self.desk, self.record.number, self._then
        app.operator = by
        return lambda: ask(
            app,
            f"correction of certificate {number}",
            lambda: append_entry(desk.asked("correct"), "correction", body, number),
            lambda _: then(),
            done=lambda entry: f"ledger entry {entry}",
        )

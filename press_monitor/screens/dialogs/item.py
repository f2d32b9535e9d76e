"""Something came into Stores, or more is known of it: only what is changed is entered."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from textual.widget import Widget

from press_monitor.archive.entries import stores_body
from press_monitor.archive.stores import ITEM_KINDS, StoreItem, Stores
from press_monitor.archive.types import Json
from press_monitor.quantities import Dimension, QuantityError, parse
from press_monitor.screens.dialogs.dialog import Words
from press_monitor.screens.dialogs.form import FormDialog, WrongField, day_entry
from press_monitor.screens.records.desk import Desk
from press_monitor.screens.widgets.cells import plain
from press_monitor.screens.widgets.choice import Option
from press_monitor.screens.widgets.rows import Entry, Pick

__all__ = ["ItemDialog"]

_OF = {
    "lot": ("product", "compound", "received", "expires", "dry_time_s"),
    "bag": ("product", "received", "life_cures", "cures_before"),
    "mat": ("product", "received", "life_cures", "cures_before"),
    "probe": ("product", "received"),
}
"""What is asked of each kind besides its name."""
_DAYS = ("received", "expires")
_COUNTS = ("life_cures", "cures_before")
_MOST = 10**6


class ItemDialog(FormDialog):
    """Enters an item or changes one. `item`: what is known of it so far."""

    def __init__(
        self,
        desk: Desk,
        stores: Stores,
        item: StoreItem | None,
        kind: str,
        operator: str,
        then: Callable[[], None],
    ) -> None:
        super().__init__(desk)
        self.stores, self.item, self._then = stores, item, then
        compounds = () if desk.shop is None else tuple(desk.shop.compounds)
        held = "" if item is None else item.compound
        known = [*compounds, *([held] if held and held not in compounds else [])]
        self.kind = Pick("kind", "Kind", [Option(k, k) for k in ITEM_KINDS], field_width=40)
        self.kind.put(kind)
        self.named = Entry("name", "Name", "" if item is None else item.name, hint="as written on it")
        self.compound = Pick(
            "compound", "Compound", [Option("", "none"), *(Option(c, plain(c)) for c in known)], field_width=44
        )
        self.entries: dict[str, Entry | Pick] = {
            "product": Entry("product", "What it is", hint="filler rubber, cement, bag 12 x 18"),
            "compound": self.compound,
            "received": day_entry("received", "Received", "e.g. 2031-05-04"),
            "expires": day_entry("expires", "Good until", "its last good day"),
            "dry_time_s": Entry("dry_time_s", "Dry time", hint="of a cement: 30 min"),
            "life_cures": Entry("life_cures", "Life", hint="cures it may do", longest=7),
            "cures_before": Entry("cures_before", "Cures before", hint="done before it came here", longest=7),
            "note": Entry("note", "Note", field_width=54, longest=400),
        }
        self.by = Entry("by", "By", operator)
        self.before = self._held()
        for key, text in self.before.items():
            self.entries[key].put(text)

    def _held(self) -> dict[str, str]:
        item = self.item
        if item is None:
            return dict.fromkeys(self.entries, "")
        dry = "" if item.dry_time_s is None else f"{item.dry_time_s / 60:g} min"
        return {
            "product": plain(item.product),
            "compound": item.compound,
            "received": str(item.received or ""),
            "expires": str(item.expires or ""),
            "dry_time_s": dry,
            "life_cures": "" if item.life_cures is None else str(item.life_cures),
            "cures_before": str(item.cures_before) if item.cures_before else "",
            "note": plain(item.note),
        }

    def title_words(self) -> str:
        """New or known."""
        if self.item is None:
            return "New in Stores"
        word = "What is known of" if self.item.known else "Enter"
        return f"{word} {self.item.kind} {plain(self.item.name)}"

    def fields(self) -> Iterable[Widget]:
        """Kind and name for a new one, then what that kind has."""
        if self.item is None:
            yield self.kind
            yield self.named
        yield from self.entries.values()
        yield self.by
        if self.item is not None and self.item.known:
            yield Words("Only what you change is entered; what stood before stays readable.", classes="soft")

    def on_mount(self) -> None:
        """The fields of its kind."""
        self._show_fields()

    def changed(self) -> None:
        """Another kind has other fields."""
        self._show_fields()

    def _show_fields(self) -> None:
        wanted = (*_OF[self.kind.value], "note")
        for key, row in self.entries.items():
            row.display = key in wanted

    def _given(self, key: str) -> Json:
        """One value as the ledger takes it; None takes it away. Raises `WrongField`."""
        text = self.entries[key].value
        if not text:
            return 0 if key == "cures_before" else None
        if key in _COUNTS:
            least = int(key == "life_cures")
            if not (text.isascii() and text.isdigit()) or not least <= int(text) <= _MOST:
                raise WrongField(key, f"wants a number of cures, got {text!r}")
            return int(text)
        if key == "dry_time_s":
            try:
                return parse(f"{text} min" if text.replace(".", "", 1).isdigit() else text, Dimension.TIME)
            except QuantityError as error:
                raise WrongField(key, str(error)) from None
        return text

    def accept(self) -> Callable[[], None]:
        """What is entered, checked."""
        kind = self.kind.value
        name = self.named.value if self.item is None else self.item.name
        if not name:
            raise WrongField("name", "what is written on it?")
        known = self.stores.get(kind, name)
        if self.item is None and known is not None and known.known:
            raise WrongField("name", f"{kind} {plain(known.name)} is in Stores already: E corrects it")
        changed = [key for key in (*_OF[kind], "note") if self.entries[key].value != self.before[key]]
        if self.item is not None and self.item.known and not changed:
            raise WrongField("", "nothing was changed")
        said = {key: self._given(key) for key in changed}
        body = stores_body(kind, name, said, by=self.by.value)
        return self.enters("stores", body, f"{kind} {plain(name)}", self.by.value, self._then)

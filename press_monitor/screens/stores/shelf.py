"""What lies in Stores as rows of a table, trouble first: why something must not be used, or will soon not be. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from press_monitor.archive.stores import StoreItem, Stores
from press_monitor.cure.compound import Compound
from press_monitor.screens.widgets.cells import plain
from press_monitor.screens.widgets.palette import Tone

__all__ = ["COMPOUND", "GROUPS", "SOON_DAYS", "ShelfRow", "shelf_of"]

SOON_DAYS = 30
_SOON_SHARE = 0.9
COMPOUND = "compound"
GROUPS = (
    ("all", "all"),
    ("trouble", "look at these"),
    ("lot", "lots"),
    ("bag", "bags"),
    ("mat", "mats"),
    ("probe", "probes"),
    (COMPOUND, "compounds"),
)
"""What can be shown, and what it is called."""

_ORDER = {Tone.ALARM: 0, Tone.ATTENTION: 1, Tone.IDLE: 3}


@dataclass(frozen=True, slots=True)
class ShelfRow:
    """One line.

    Attributes:
        kind, name: of the item, or of a compound of the shop file.
        what: what it is.
        until: the last good day, None where there is none.
        done, life: cures done, and how many it may do.
        tone, words: how it stands; words say why it must not be used, or what is coming.
        item: None for a compound.
    """

    kind: str
    name: str
    what: str
    until: date | None
    done: int | None
    life: int | None
    tone: Tone
    words: str
    item: StoreItem | None = None
    compound: Compound | None = None

    @property
    def title(self) -> str:
        """``bag B3``."""
        return f"{self.kind} {plain(self.name)}"


def _ago(day: date, today: date) -> str:
    days = (today - day).days
    return "yesterday" if days == 1 else f"{days} days ago"


def _left(day: date, today: date) -> str:
    days = (day - today).days
    return "today is the last day" if days == 0 else "1 day left" if days == 1 else f"{days} days left"


def _trouble(item: StoreItem, today: date) -> str | None:
    """As `StoreItem.trouble`, without the name, which stands beside it."""
    said = item.trouble(today)
    if said is None:
        return None
    words = said.removeprefix(f"{item.kind} {item.name}").lstrip(": ")
    day = None
    if item.retired is not None and today >= item.retired:
        return plain(words)
    if item.expires is not None and today > item.expires:
        day = item.expires
    elif item.calibration_due is not None and today > item.calibration_due:
        day = item.calibration_due
    worn = item.life_cures is not None and item.cures_done >= item.life_cures
    if day is not None and not (worn and day is not item.expires):
        words += f", {_ago(day, today)}"
    return plain(words)


def _soon(item: StoreItem, today: date) -> str:
    said = []
    if item.expires is not None and (item.expires - today).days <= SOON_DAYS:
        said.append(f"expires {item.expires}: {_left(item.expires, today)}")
    if item.calibration_due is not None and (item.calibration_due - today).days <= SOON_DAYS:
        said.append(f"calibration due {item.calibration_due}: {_left(item.calibration_due, today)}")
    if item.life_cures is not None and item.cures_done >= _SOON_SHARE * item.life_cures:
        left = item.life_cures - item.cures_done
        said.append(f"{left} cure{'s' if left != 1 else ''} left")
    return "; ".join(said)


def _row(item: StoreItem, today: date) -> ShelfRow:
    if (trouble := _trouble(item, today)) is not None:
        out = item.retired is not None and today >= item.retired
        tone, words = (Tone.IDLE if out else Tone.ALARM), trouble
    elif soon := _soon(item, today):
        tone, words = Tone.ATTENTION, soon
    elif not item.known:
        tone, words = Tone.IDLE, "on tickets, not in Stores: nothing is known of it"
    else:
        tone, words = Tone.FINE, "" if item.retired is None else f"out of use from {item.retired}"
    what = plain(item.product) or plain(item.compound)
    until = item.expires or item.calibration_due
    return ShelfRow(item.kind, item.name, what, until, item.cures_done, item.life_cures, tone, words, item)


def _compounds(compounds: Mapping[str, Compound], stores: Stores, today: date) -> Iterator[ShelfRow]:
    for name, compound in compounds.items():
        lots = [i for i in stores.items.values() if i.kind == "lot" and i.compound == name]
        good = [i for i in lots if i.trouble(today) is None]
        count = f"{len(good)} lot{'s' if len(good) != 1 else ''} to use"
        if lots and not good:
            yield ShelfRow(
                COMPOUND, name, "", None, None, None, Tone.ATTENTION, "no lot of it may be used", None, compound
            )
        else:
            yield ShelfRow(
                COMPOUND, name, count if lots else "no lot entered", None, None, None, Tone.FINE, "", None, compound
            )


def shelf_of(
    stores: Stores, compounds: Mapping[str, Compound], today: date, group: str = "all"
) -> tuple[ShelfRow, ...]:
    """The rows of a group: what must not be used, then what is coming, the rest by kind; out of use last."""
    rows: Iterable[ShelfRow] = [
        *_compounds(compounds, stores, today),
        *(_row(item, today) for item in stores.items.values()),
    ]
    if group == "trouble":
        rows = [row for row in rows if row.tone in (Tone.ALARM, Tone.ATTENTION)]
    elif group != "all":
        rows = [row for row in rows if row.kind == group]
    kinds = [key for key, _ in GROUPS]
    return tuple(sorted(rows, key=lambda r: (_ORDER.get(r.tone, 2), kinds.index(r.kind), r.name.casefold())))

"""What the archive remembers that helps to fill in a ticket: Stores, names used before, the last repair like this."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from press_monitor.archive.derived import as_it_stands
from press_monitor.archive.reader import ArchiveReader
from press_monitor.archive.stores import NO_STORES, Stores
from press_monitor.archive.types import ArchiveError, CertificateRow, Json

if TYPE_CHECKING:
    from press_monitor.shop import Shop

__all__ = ["Likeness", "Memory", "best_like", "names_used", "recall", "ticket_like"]

_LOOK_BACK = 200
_LIKE_THICK = 0.10
"""Share by which two thicknesses may differ and still be alike."""


@dataclass(frozen=True, slots=True)
class Memory:
    """What was found in the archive.

    Attributes:
        rows: the newest certificates, newest first.
        people: names that stand on tickets, the most used first.
        channels: by press, each channel with its sensor's name and the day its calibration is due.
        trouble: why nothing could be read; empty where it could.
    """

    stores: Stores = NO_STORES
    rows: tuple[CertificateRow, ...] = ()
    people: tuple[str, ...] = ()
    channels: Mapping[str, tuple[tuple[str, str, date | None], ...]] = field(default_factory=dict)
    trouble: str = ""


def recall(archive: Path | None, shop: Shop | None) -> Memory:
    """Read it all; an archive that is not there yet is no trouble."""
    channels = {} if shop is None else _channels(shop)
    if archive is None or not archive.exists():
        return Memory(channels=channels)
    try:
        with ArchiveReader(archive) as reader:
            people = reader.query(
                "SELECT name, count(*) n FROM used WHERE kind = 'person' GROUP BY name ORDER BY n DESC LIMIT 50"
            )
            names = tuple(str(name) for name, _ in people)
            return Memory(reader.stores(), reader.records(limit=_LOOK_BACK), names, channels)
    except ArchiveError as error:
        return Memory(channels=channels, trouble=str(error))


def _channels(shop: Shop) -> dict[str, tuple[tuple[str, str, date | None], ...]]:
    from press_monitor.fitting import fit_press
    from press_monitor.shop import ShopError

    found = {}
    for press in shop.presses.values():
        try:
            fitted = fit_press(press, shop, lambda: 0.0)
        except ShopError:
            continue  # said by check; the recorder does not run with such a file
        found[press.name] = tuple(
            (c.name, c.sensor, None if c.calibration is None else c.calibration.due) for c in fitted.channels
        )
    return found


@dataclass(frozen=True, slots=True)
class Likeness:
    """What the next repair is known to be, for finding one like it; empty and None for not known yet."""

    press: str = ""
    recipe: str = ""
    thickness_mm: float | None = None
    tire: str = ""
    section: str = ""

    def to(self, row: CertificateRow) -> int:
        """How alike a certificate's repair is; 0 for not at all."""
        tire, section = self.tire.casefold(), self.section.casefold()
        said = [row.tire.casefold(), row.size.casefold()]
        score = 8 * bool(tire and tire in said) + 4 * bool(section and section == row.section.casefold())
        if self.thickness_mm and row.thickness_mm:
            score += 4 * (abs(row.thickness_mm / self.thickness_mm - 1.0) <= _LIKE_THICK)
        score += 2 * (row.press == self.press) + (row.recipe == self.recipe)
        named = bool(row.tire or row.customer or row.section)
        return score if named else 0


def best_like(rows: Iterable[CertificateRow], wanted: Likeness) -> CertificateRow | None:
    """The certificate whose repair is most like the next one, the newest of several; None for none like it."""
    best, score = None, 2
    for row in sorted(rows, key=lambda row: -row.number):
        if (alike := wanted.to(row)) > score:
            best, score = row, alike
    return best


def ticket_like(archive: Path, number: int) -> Mapping[str, Json]:
    """The ticket of a certificate as it stands now; empty where it cannot be read."""
    try:
        with ArchiveReader(archive) as reader:
            record = reader.record(number)
        ticket, _ = as_it_stands(record.sealed.content, [entry.content for entry in record.later])
    except ArchiveError:
        return {}
    return ticket


def names_used(memory: Memory) -> dict[str, Sequence[str]]:
    """By field: what was typed there before or lies in Stores, the newest first."""
    columns = ("customer", "machine", "tire", "size", "construction", "section")
    found: dict[str, Sequence[str]] = {
        key: tuple(dict.fromkeys(text for row in memory.rows if (text := getattr(row, key)))) for key in columns
    }
    for kind in ("lot", "bag", "mat", "probe"):
        items = [item for item in memory.stores.items.values() if item.kind == kind and item.retired is None]
        found[kind] = tuple(item.name for item in sorted(items, key=lambda i: not i.known))
    found["person"] = memory.people
    return found

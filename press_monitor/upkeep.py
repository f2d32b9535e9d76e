"""How a shop looks after its records, as the shop file's ``[records]`` says: copies, and what is counted."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from press_monitor.quantities import Dimension
from press_monitor.tables import Table

__all__ = ["Upkeep", "read_upkeep"]

_HOUR = 3600.0


@dataclass(frozen=True, slots=True)
class Upkeep:
    """Copies and counting.

    Attributes:
        backup_folder: where copies of the archive go; None for the usual place. Another disk is the better one.
        backup_every: seconds between two copies; None where the recorder is to make none.
        backup_keep: how many of the newest are kept.
        old_enough_days: the age at which a repair counts as one that might have come back.
        figures_by_person: whether comeback rates of single persons are shown.
    """

    backup_folder: Path | None = None
    backup_every: float | None = 24 * _HOUR
    backup_keep: int = 14
    old_enough_days: int = 90
    figures_by_person: bool = False


def read_upkeep(table: Table) -> Upkeep:
    """``[records]``, all of it optional. Raises `ShopError` naming the key."""
    usual = Upkeep()
    folder = table.maybe("backup_folder", table.text)
    if folder is not None and not folder.strip():
        raise table.error("backup_folder", "is empty")
    every = table.maybe("backup_every", lambda key: table.quantity(key, Dimension.TIME))
    if every is not None and not _HOUR <= every <= 31 * 24 * _HOUR:
        raise table.error("backup_every", "wants a time from 1 h to 744 h")
    wanted = table.flag("backup", True)
    upkeep = Upkeep(
        backup_folder=None if folder is None else Path(folder).expanduser(),
        backup_every=(usual.backup_every if every is None else every) if wanted else None,
        backup_keep=_whole(table, "backup_keep", 1, 1000, usual.backup_keep),
        old_enough_days=_whole(table, "old_enough_days", 1, 3650, usual.old_enough_days),
        figures_by_person=bool(table.flag("figures_by_person", False)),
    )
    table.done()
    return upkeep


def _whole(table: Table, key: str, low: int, high: int, default: int) -> int:
    value = table.number(key, low, high, default)
    if value != int(value):
        raise table.error(key, "wants a whole number")
    return int(value)

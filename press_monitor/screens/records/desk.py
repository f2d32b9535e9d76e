"""The archive as the screens of sealed records use it: read off the UI's thread, added to through the recorder."""

from __future__ import annotations

import asyncio
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from press_monitor.archive.reader import ArchiveReader
from press_monitor.archive.requests import Asked
from press_monitor.archive.types import ArchiveError
from press_monitor.screens.background import begin
from press_monitor.tables import ShopError
from press_monitor.upkeep import Upkeep

if TYPE_CHECKING:
    from press_monitor.screens.app import Dashboard
    from press_monitor.shop import Shop

__all__ = ["TROUBLES", "Desk", "ask", "day_typed", "desk_of"]

TROUBLES = (ArchiveError, ShopError, OSError, sqlite3.Error)
"""What reading or adding may raise that is to be said, not to end the dashboard."""

Found = TypeVar("Found")


@dataclass(frozen=True, slots=True)
class Desk:
    """Where the archive and its key lie, what the shop file says, and the shop's clock."""

    archive: Path
    key: Path
    shop: Shop | None
    zone: tzinfo | None
    now: Callable[[], float]

    def reader(self) -> ArchiveReader:
        """Opens the archive for reading. Raises `ArchiveError`."""
        return ArchiveReader(self.archive)

    def asked(self, holder: str) -> Asked:
        """How an addition to the ledger is asked for."""
        return Asked(self.archive, self.key, holder, now=self.now)

    def today(self) -> date:
        """The shop's own today."""
        return self.day(self.now())

    def day(self, utc: float) -> date:
        """The shop's day at a moment."""
        return datetime.fromtimestamp(utc, self.zone).date()

    @property
    def upkeep(self) -> Upkeep:
        """How records are counted."""
        return Upkeep() if self.shop is None else self.shop.upkeep

    @property
    def papers(self) -> Path:
        """Where saved certificates go."""
        return self.archive.parent / "certificates"


def desk_of(app: Dashboard) -> Desk | None:
    """The desk of a dashboard; None where it has no archive file."""
    if app.archive is None:
        return None
    return Desk(app.archive, app.key_file, app.shop.shop, app.shop.zone, app.source.now)


def day_typed(text: str, today: date) -> date:
    """A day as typed, today where nothing was. Raises `ValueError` in words."""
    if not text.strip():
        return today
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise ValueError(f"wants a day such as {today}, got {text!r}") from None


def ask(
    app: Dashboard,
    words: str,
    work: Callable[[], Found],
    then: Callable[[Found], None],
    failed: Callable[[str], None] | None = None,
    done: Callable[[Found], str] | None = None,
) -> None:
    """Do `work` in a thread: "sent" is shown at once, then what came of it; then `then` or `failed` is called."""
    notice = app.source.note(words)
    _foot(app)

    async def carry() -> None:
        try:
            found = await asyncio.to_thread(work)
        except TROUBLES as error:
            app.source.settle(notice, "refused", str(error))
            _foot(app)
            (failed or (lambda why: _tell(app, words, why)))(str(error))
            return
        app.source.settle(notice, "done", done(found) if done else "")
        _foot(app)
        then(found)

    begin(app, carry, "ledger", exclusive=False)


def _foot(app: Dashboard) -> None:
    for screen in app.screen_stack:
        renew = getattr(screen, "renew_foot", None)
        if renew is not None:
            renew()


def _tell(app: Dashboard, words: str, why: str) -> None:
    from press_monitor.screens.dialogs.told import ToldDialog

    app.push_screen(ToldDialog(f"Not done: {words}", why))

"""A screen over the archive: it reads in a thread, says in its foot what came of it, and sees the ledger grow."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import ClassVar, TypeVar

from textual.containers import Container

from press_monitor.screens.background import begin
from press_monitor.screens.base import WatchScreen
from press_monitor.screens.records.desk import TROUBLES, Desk
from press_monitor.screens.widgets.cells import plain

__all__ = ["DeskScreen", "TableScreen"]

Found = TypeVar("Found")
_LOOK_EVERY_S = 2.0


class DeskScreen(WatchScreen):
    """What the screens of sealed records and of Stores share."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self.desk = desk
        self.words = ""
        self.looked_at = float("-inf")

    def idle_words(self) -> str:
        """What the last thing came to."""
        return self.words

    def tell(self, words: str) -> None:
        """Say something on the line above the keys."""
        self.words = plain(words)
        if self.is_mounted:
            self.renew_foot()

    def read(
        self, work: Callable[[], Found], then: Callable[[Found], object], group: str = "read", wait_s: float = 0.0
    ) -> None:
        """Read in a thread, then go on; a newer reading of the same group takes an older one's place.

        `wait_s`: begin only when nothing newer was asked for that long.
        """

        async def carry() -> None:
            if wait_s:
                await asyncio.sleep(wait_s)
            try:
                found = await asyncio.to_thread(work)
            except TROUBLES as error:
                self.tell(str(error))
                return
            if self.is_mounted:
                then(found)

        begin(self, carry, group)

    def look_now_and_then(self, work: Callable[[], Found], then: Callable[[Found], object]) -> None:
        """Ask at most every other second whether the ledger has grown."""
        now = self.dashboard.source.monotonic()
        if now - self.looked_at < _LOOK_EVERY_S:
            return
        self.looked_at = now
        self.read(work, then, "head")


class TableScreen(DeskScreen):
    """A table, and a panel beside it where there is room, else below. Subclasses give `wide_from` and `check`."""

    wide_from: ClassVar[int]
    """Columns from which there is room."""
    desktop: Container

    def check(self) -> None:
        """Ask whether something was entered since."""
        raise NotImplementedError

    def on_resize(self) -> None:
        """The panel beside the table, or below it."""
        self.desktop.set_class(self.size.width >= self.wide_from, "wide")
        self.desktop.set_class(self.size.height < 20, "low")

    def on_screen_resume(self) -> None:
        """Another screen may have entered something."""
        self.looked_at = float("-inf")
        self.check()

"""The watch over one cure: the judge, and what it shows."""

from __future__ import annotations

from press_monitor.watch.judge import CureJudge
from press_monitor.watch.plain import Json
from press_monitor.watch.setup import WatchSetup
from press_monitor.watch.types import Snapshot
from press_monitor.watch.view import result_of, snapshot_of

__all__ = ["CureWatch", "WatchSetup"]


class CureWatch(CureJudge):
    """Sans-IO and deterministic: ticks and actions in, events out; no clock of its own."""

    def snapshot(self, before: Snapshot | None = None) -> Snapshot:
        """All a screen needs of this press now.

        With one a few seconds old what moves slowly is shown again: looking through the repair and judging all there is
        make up most of a snapshot's cost.
        """
        return snapshot_of(self, before)

    def result(self, *, at_release: bool = False) -> Json:
        """The cycle's outcome with the keys of ``replay --json`` (no source, no certificate).

        `at_release` takes the cure as it stood when the press was released, as a sealed record does.
        """
        return result_of(self, at_release=at_release)

"""Short live cures for the audits' tests: stepped through a real watch and sealed as the recorder seals them."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from press_monitor.archive import Archive, ChannelMeta, CycleStart, LiveRow, record_body
from press_monitor.quantities import UnitSystem
from press_monitor.readings import Tick
from press_monitor.readings.conditioning import reading_of
from press_monitor.shop import RepairFile, Shop, load_repair, load_shop
from press_monitor.watch.cure_watch import CureWatch, WatchSetup
from press_monitor.watch.plain import to_json
from press_monitor.watch.record import model_json
from press_monitor.watch.types import Action, ActionKind, OperatorDid
from tests.archive.helpers import NOON
from tests.shopfiles import write_job

CHANNELS = (ChannelMeta("inner_mat", "degF", 1), ChannelMeta("outer_mat", "degF", 1), ChannelMeta("bag", "psi", 2))
DAY = 86_400.0


class Bench:
    """A shop's files and an archive to seal into."""

    def __init__(self, folder: Path) -> None:
        self.files = write_job(folder)
        self.shop: Shop = load_shop(self.files["shop"])
        self.repair: RepairFile = load_repair(self.files["repair"], self.shop)
        self.path = folder / "archive.sqlite"
        self.key = folder / "keys" / "ledger.key"

    def open(self) -> Archive:
        """The writer."""
        return Archive.open(self.path, key_path=self.key, clock=lambda: NOON)

    def setup(self, *, ticketed: bool = True, repair: bool = True) -> WatchSetup:
        """A watch on press P1."""
        return WatchSetup(
            recipe=self.shop.recipe("section-300"),
            repair=self.repair.repair if repair else None,
            channels=tuple(c.name for c in CHANNELS),
            ambient=self.shop.ambient,
            units=self.shop.units,
            ticketed=ticketed,
            mats_overlap=True if ticketed else None,
            overlap_asked=ticketed,
        )

    def seal(
        self,
        archive: Archive,
        rows: Sequence[LiveRow],
        *,
        setup: WatchSetup | None = None,
        actions: Sequence[Action] = (),
        ticket: dict[str, Any] | None = None,
        started_utc: float = NOON,
        verdict: str | None = None,
    ) -> int:
        """Step a watch through rows and actions and seal what it says; `verdict` in place of its own."""
        made = self.setup() if setup is None else setup
        plain = {k: v for k, v in to_json(made).items() if k not in ("recipe", "repair", "units")}
        start = CycleStart(
            cycle_id=uuid.uuid4().hex,
            press="P1",
            started_utc=started_utc,
            source="live",
            recipe=to_json(made.recipe),
            repair=to_json(made.repair),
            ticket=ticket,
            channels=CHANNELS,
            time_decimals=0,
            setup={**plain, "units": UnitSystem.named("us").name, "driver": "text-line", "inputs": []},
        )
        watch, waiting, did = CureWatch(made), list(actions), []
        for _, t, counts in rows:
            while waiting and waiting[0].t < t:
                did += [e for e in watch.step(waiting.pop(0)) if isinstance(e, OperatorDid)]
            if all(n is None for n in counts):
                watch.step(Tick(float(t), {}))
            else:
                readings = {c.name: reading_of(n, c.unit, c.decimals) for c, n in zip(CHANNELS, counts, strict=True)}
                watch.step(Tick(float(t), readings))
        result = watch.result(at_release=True)
        if verdict is not None:
            result = {**result, "verdict": verdict}
        body = record_body(
            start,
            result,
            shop=self.shop.name,
            software="0.1.0",
            ended_utc=started_utc + float(rows[-1][1] if rows else 0),
            model=model_json(start.setup),
            profiles=watch.profiles(),
            actions=[{"kind": "OperatorDid", **to_json(event)} for event in did],
        )
        archive.begin_cycle(start)
        archive.add_rows(start.cycle_id, rows)
        return archive.seal(start.cycle_id, body)


def warming(count: int = 150, *, mat: int = 3000, bag: int = 3300, gap: tuple[int, int] = (60, 66)) -> list[LiveRow]:
    """Mats on their way from 70 degF to `mat` tenths, the bag up, silent for a moment in `gap`."""
    rows: list[LiveRow] = []
    for k in range(count):
        hot = min(mat, 700 + 20 * k)
        silent = gap[0] <= k < gap[1]
        rows.append((k, k, (None, None, None) if silent else (hot, hot - 7, bag + k % 3)))
    return rows


NOTE = Action(40.0, ActionKind.NOTE, "Ines", None, "smells hot")
LOCK = Action(80.0, ActionKind.EXTEND, "Tom", None, "", 300.0)

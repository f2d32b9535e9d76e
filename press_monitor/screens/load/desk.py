"""What stands on the load screen, judged and planned: the state behind the keys."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime
from functools import partial

from textual.containers import Horizontal

from press_monitor.archive.types import CertificateRow
from press_monitor.screens.base import WatchScreen
from press_monitor.screens.begin import begin
from press_monitor.screens.load.form import MEANT, carried_over, remarks
from press_monitor.screens.load.leak_row import LeakRow
from press_monitor.screens.load.memory import Likeness, Memory, best_like, names_used, recall, ticket_like
from press_monitor.screens.load.pages import Page, RepairPage
from press_monitor.screens.load.plan_view import PlanView
from press_monitor.screens.load.planning import Asked, work_out
from press_monitor.screens.load.repair import RepairForm, row_trouble, start_trouble
from press_monitor.screens.load.strip import PageStrip, Tab
from press_monitor.screens.source import PressView
from press_monitor.screens.widgets.palette import Tone
from press_monitor.screens.widgets.rows import Entry, Pick, Remark
from press_monitor.watch.types import Phase

__all__ = ["PAGES", "LoadDesk", "is_free", "page_of"]

PAGES = (
    Tab("repair", "F2", "Repair"),
    Tab("ticket", "F3", "Ticket"),
    Tab("stores", "F4", "Stores"),
    Tab("work", "F6", "Work"),
    Tab("heat", "F7", "Before heat"),
)
_PAGE_OF = {"materials": "stores", "bag": "stores", "mats": "stores", "probes": "stores"} | {
    "prep": "work",
    "people": "work",
    "checks": "heat",
    "unattended": "heat",
    "over_temperature_cutout": "heat",
    "mats_overlap": "repair",
    "operator": "repair",
    "press": "repair",
    "start": "repair",
    "layer": "repair",
}
_SETTLED_S = 0.15
"""Seconds without a change before a plan is worked out."""


def is_free(view: PressView) -> bool:
    """Whether a cure may begin on a press."""
    return view.snapshot is None or view.snapshot.phase in (Phase.EMPTY, Phase.RELEASED)


def page_of(key: str) -> str:
    """The page that a field stands on."""
    if key == "checks.buffed_without_scorching":
        return "work"
    return _PAGE_OF.get(key.split(".", 1)[0], "ticket")


class LoadDesk(WatchScreen):
    """The ticket, the layers, what the archive remembers, the remarks and the plan; `LoadScreen` moves about in it."""

    repair_page: RepairPage
    """Made when the screen is shown."""

    def __init__(self, press: str | None) -> None:
        super().__init__()
        self._wanted = press
        self.strip = PageStrip()
        self.desk = Horizontal(id="desk")
        self.plan = PlanView()
        self.leak = LeakRow()
        self.pages: dict[str, Page] = {}
        self.here = "repair"
        self.values: dict[str, str] = {}
        self.taken: dict[str, str] = {}
        self.form = RepairForm.own("")
        self.memory = Memory()
        self.like: CertificateRow | None = None
        self._like_ticket: tuple[int, Mapping[str, str]] | None = None
        self._auto_filled = False
        self._asked: Asked | None = None
        self._planning = False
        self._sent: str | None = None
        self._let_go = False
        self._remarks: dict[str, Remark] = {}

    # -- what is loaded --

    @property
    def press_name(self) -> str:
        """The press that is loaded."""
        return self.repair_page.press.value if "repair" in self.pages else self._wanted or ""

    def _view(self) -> PressView | None:
        return self.dashboard.source.press(self.press_name)

    def today(self) -> date:
        """The shop's own day."""
        app = self.dashboard
        return datetime.fromtimestamp(app.source.now(), app.shop.zone).astimezone(app.shop.zone).date()

    @property
    def half_filled(self) -> bool:
        """Whether anything stands here that somebody typed or chose, and that nothing else remembers."""
        layers = self.form.changed and any(row.thickness for stack in self.form.stacks for row in stack.rows)
        return layers or any(text and key not in self.taken for key, text in self.values.items())

    # -- what the archive remembers --

    async def _remember(self) -> None:
        app = self.dashboard
        self.memory = await asyncio.to_thread(recall, app.archive, app.shop.shop)
        self._propose()
        self._look_back()
        self._judge()

    def _fill_words(self) -> str:
        if self.taken:
            return "empty again"
        return f"as cert. {self.like.number}" if self.like is not None else ""

    def _propose(self) -> None:
        """Names used before, offered while typing."""
        names = names_used(self.memory)
        kinds = {"bag": "bag", "mats": "mat", "probes": "probe", "operator": "person"}
        for page in self.pages.values():
            for key, row in page.rows().items():
                if isinstance(row, Entry):
                    kind = kinds.get(key) or ("lot" if key.endswith(".lot") else key)
                    kind = "person" if key.startswith("people.") else kind
                    row.known = names.get(kind, ())

    def _look_back(self) -> None:
        """The certificate most like what stands here, and its ticket."""
        wanted = Likeness(
            self.press_name,
            self.repair_page.recipe.value,
            self.form.thickness_mm() if self.form.stacks else None,
            self.values.get("tire", "") or self.values.get("size", ""),
            self.values.get("section", ""),
        )
        self.like = best_like(self.memory.rows, wanted)
        if self.like is not None and (self._like_ticket is None or self._like_ticket[0] != self.like.number):
            begin(self, partial(self._fetch, self.like.number), "like")

    async def _fetch(self, number: int) -> None:
        archive = self.dashboard.archive
        if archive is None:
            return
        ticket = await asyncio.to_thread(ticket_like, archive, number)
        self._like_ticket = (number, carried_over(ticket))
        if self._auto_filled and not self.taken and not any(key in self.values for key in self._like_ticket[1]):
            self._fill()
        self.renew_foot()

    def action_fill(self) -> None:
        """Take over what the last one like it had; again: empty what was taken over and not changed since."""
        self._auto_filled = True
        if self.taken:
            for key in self.taken:
                self._put(key, "")
            self.taken = {}
        else:
            self._fill()
        self._judge()
        self.renew_foot()

    def _fill(self) -> None:
        """Into fields that are empty only."""
        if self._like_ticket is None:
            return
        number, carried = self._like_ticket
        for key, text in carried.items():
            if not self.values.get(key):
                self._put(key, text)
                self.taken[key] = f"as certificate {number}"

    def _put(self, key: str, text: str) -> None:
        self.values[key] = text
        for page in self.pages.values():
            row = page.rows().get(key)
            if isinstance(row, (Entry, Pick)):
                row.put(text)

    # -- what is wrong with it --

    def _judge(self) -> None:
        """A remark at every field that wants one, and how each page stands."""
        if "repair" not in self.pages:
            return
        found = remarks(self.values, self.today(), self.memory.stores) | self._repair_remarks()
        for key, words in self.taken.items():
            said = found.get(key)
            if said is None or said.tone is Tone.IDLE:
                found[key] = Remark(Tone.IDLE, words)
        self._remarks = found
        for page in self.pages.values():
            for key, row in page.rows().items():
                if key != "leak":
                    meant = MEANT.get(key)
                    row.say(found.get(key) or (Remark(Tone.IDLE, meant) if meant else None))
        tabs = [replace(tab, tone=self._tone_of(tab.name)) for tab in PAGES]
        self.strip.show(tabs, self.here, self._side_words())
        self.renew_foot()

    def _side_words(self) -> str:
        if self.taken:
            return f"{len(self.taken)} fields {next(iter(self.taken.values()))}"
        return ""

    def _repair_remarks(self) -> dict[str, Remark]:
        page, found = self.repair_page, dict[str, Remark]()
        view = self._view()
        if view is not None and not is_free(view):
            ticketed = view.snapshot is not None and view.snapshot.ticketed
            words = "a cure is running here: the recorder will refuse a second one"
            if not ticketed:
                words = "it is hot without a ticket: release it first, its ticket can be attached later"
            found["press"] = Remark(Tone.ATTENTION, words)
        elif due := self._overdue():
            found["press"] = Remark(Tone.ATTENTION, due)
        if self.form.stacks:
            for line in page.lines:
                if line.display and (trouble := row_trouble(line.row)):
                    found[f"layer.{line.number}.thickness"] = Remark(Tone.ALARM, trouble)
            if trouble := start_trouble(self.form.start, self._degree()):
                found["start"] = Remark(Tone.ALARM, trouble)
        if page.overlap.value == "no":
            found["mats_overlap"] = Remark(Tone.ATTENTION, "the edges stay colder: review at best")
        elif not page.overlap.value and self.form.more.get("mats_overlap") is True:
            found["mats_overlap"] = Remark(Tone.IDLE, "ready-made repair says yes")
        return found

    def _overdue(self) -> str:
        today = self.today()
        channels = self.memory.channels.get(self.press_name, ())
        late = [f"{name} calibration was due {due}" for name, _, due in channels if due is not None and today > due]
        return "; ".join(late)

    def _tone_of(self, page: str) -> Tone:
        tones = [remark.tone for key, remark in self._remarks.items() if page_of(key) == page]
        for tone in (Tone.ALARM, Tone.ATTENTION):
            if tone in tones:
                return tone
        said = page == "repair" or any(text and page_of(key) == page for key, text in self.values.items())
        return Tone.FINE if said else Tone.IDLE

    def _degree(self) -> str:
        return self.dashboard.shop.units.temperature

    # -- the plan --

    def _ask_plan(self) -> None:
        """Say what is missing, or have the plan worked out off this thread; one at a time, the newest wish last."""
        shop = self.dashboard.shop.shop
        plan = self.plan
        troubles = self.form.troubles(self._degree()) if self.form.stacks else []
        if shop is None or not self.form.stacks or troubles:
            self._asked = None
            plan.planned = plan.planned if troubles else None
            plan.missing = troubles[0] if troubles else "" if self.form.stacks else "Without layers nothing is planned."
            plan.working = False
            plan.touch()
            return
        overlap = {"yes": True, "no": False}.get(self.repair_page.overlap.value)
        asked = Asked(
            self.form.repair_text(self._degree()),
            self.repair_page.recipe.value,
            self.press_name,
            overlap,
            self.dashboard.units.name,
        )
        if asked == self._asked:
            return
        self._asked = asked
        plan.missing = ""
        plan.working = True
        plan.touch()
        if not self._planning:
            self._planning = True
            begin(self, self._plan, "plan", exclusive=False)

    async def _plan(self) -> None:
        shop = self.dashboard.shop.shop
        try:
            while self._asked is not None and shop is not None:
                wanted = self._asked
                await asyncio.sleep(_SETTLED_S)
                if wanted != self._asked:
                    continue
                planned = await asyncio.to_thread(work_out, shop, wanted)
                if wanted == self._asked:
                    self.plan.planned, self.plan.working = planned, False
                    self.plan.touch()
                    return
        finally:
            self._planning = False

"""Loading a press: a ready-made repair in two keys, or the whole ticket, with the plan worked out beside it."""

from __future__ import annotations

import string
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from functools import partial
from typing import ClassVar

from textual.app import SystemCommand
from textual.binding import Binding, BindingType
from textual.widget import Widget

from press_monitor.archive.stores import Stores
from press_monitor.archive.ticket import read_ticket
from press_monitor.archive.types import Json
from press_monitor.screens.background import begin
from press_monitor.screens.load.desk import PAGES, LoadDesk, is_free, page_of
from press_monitor.screens.load.form import ticket_of
from press_monitor.screens.load.leak_row import LeakRow
from press_monitor.screens.load.leave import LeaveTicketDialog
from press_monitor.screens.load.override import OverrideDialog, RefusedDialog
from press_monitor.screens.load.pages import Page, RepairPage, heat_page, stores_page, ticket_page, work_page
from press_monitor.screens.load.repair import RepairForm
from press_monitor.screens.load.strip import PageStrip
from press_monitor.screens.widgets.bars import Key
from press_monitor.screens.widgets.cells import plain
from press_monitor.screens.widgets.choice import Choice, Option
from press_monitor.screens.widgets.palette import Tone
from press_monitor.screens.widgets.rows import Entry, FormRow, Pick
from press_monitor.tables import ShopError

__all__ = ["LoadScreen"]

_OWN, _NONE = "own layers", "no layers"
_WIDE = 112
"""Columns from which the plan stands beside every page but the one before heat."""
_WIDEST = 150
"""Columns from which it stands beside that one too."""


class LoadScreen(LoadDesk):
    """Sends a start command and waits for the recorder's answer; what was typed stands until it is done."""

    CSS_PATH = "load.tcss"
    place = "Load"
    EXPLAINED = (
        """\
1-9 Enter a ready-made repair, started at once; F10 starts from anywhere
F2 F3 F4  repair and layers; ticket; what lies in Stores
F6 F7     what was done and by whom; what must be so before any heat
F8 F9     acknowledge the alarm on top; fill in as the last one like it
Enter     next field           Right  takes a name that is proposed
""",
        """\
Plan      how long to hold, nominal and at the safe edge of what may be, and
          with what cooling adds while the bag stays up
Map       mat temperature against minutes of hold. Under: the deepest rubber
          is not cured. Over: the hottest is past its limit. Good: between
Signs     at each page: wrong, not to be used as it is, or something said.
          What must not be used can be used by name and for a reason
Leak test watches the bag for three minutes at lock-up, before any heat""",
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "back", "Back"),
        Binding("enter", "enter", "Start, or the next field"),
        Binding("down", "further(1)", "Next field"),
        Binding("up", "further(-1)", "Field before"),
        Binding("f10", "start", "Start the record"),
        Binding("f9", "fill", "As the last one like it, or empty again"),
        Binding("f8", "app.acknowledge", "Acknowledge the alarm on top"),
        *(Binding(tab.cap.lower(), f"page('{tab.name}')", tab.words) for tab in PAGES),
        # A letter or digit that no field takes must not open another screen over a half-filled ticket.
        Binding(",".join((*string.ascii_letters, *string.digits)), "nothing", show=False),
    ]

    # -- what stands on it --

    def keys(self) -> tuple[Key, ...]:
        """What Enter and the F-keys do now."""
        starts = isinstance(self.focused, Choice)
        fill = () if self.like is None and not self.taken else (Key("F9", self._fill_words(), "fill"),)
        return (
            Key("Enter", "start" if starts else "next", "enter"),
            Key("F10", "start", "start"),
            *fill,
            Key("Esc", "back", "back"),
            Key("F1", "help", "app.explain"),
            Key("Ctrl+P", "all", "app.command_palette"),
        )

    def body(self) -> Iterable[Widget]:
        """Pages above, the form and the plan below."""
        yield self.strip
        yield self.desk

    def on_mount(self) -> None:
        """The first page at once; what the archive remembers comes after."""
        app = self.dashboard
        presses = tuple(Option(p.place.name, f"{p.number} {plain(p.place.title)}") for p in app.source.presses)
        repairs = (
            *(Option(p.name, plain(p.name), p.words) for p in app.shop.presets),
            Option(_OWN, _OWN, "type them below"),
            Option(_NONE, _NONE, "cure not judged"),
        )
        recipes = tuple(Option(name, plain(name)) for name in app.shop.recipes)
        compounds = tuple(app.shop.shop.compounds) if app.shop.shop is not None else ()
        self.repair_page = RepairPage(presses, repairs, recipes, compounds, app.operator)
        free = next((p.place.name for p in app.source.presses if is_free(p)), "")
        self.repair_page.press.put(self._wanted or free)
        self.pages["repair"] = self.repair_page
        self.desk.mount(self.repair_page, self.plan)
        self._usual_recipe()
        self.call_after_refresh(self._take_repair)
        self.repair_page.repair.focus()
        begin(self, self._remember, "memory", exclusive=False)

    def renew(self) -> None:
        """The bar names no key that does something else here."""
        super().renew()
        self.bar.say(replace(self.bar.words, key=self.bar.words.key.replace("[Enter]", "[F8]")))

    def renew_body(self) -> None:
        """The press's state, the bag's reading, the answer to what was sent."""
        if "repair" not in self.pages:
            return
        view = self._view()
        snapshot = view.snapshot if view is not None else None
        if snapshot is not None:
            self.leak.take(snapshot.t, snapshot.bag_Pa, snapshot.bag_minimum_Pa, self.dashboard.units)
        self.plan.units = self.dashboard.units
        self._ask_plan()
        self._judge()
        self._hear()
        self._lay_out()

    def _lay_out(self) -> None:
        width = self.size.width
        # What is asked before heat wants its explanation in full more than a plan that nothing here changes.
        wanted = _WIDEST if self.here == "heat" else _WIDE
        self.plan.display = width >= wanted or self.here == "repair"
        share = 38 if width < 100 else max(44, round(0.42 * width))
        self.plan.styles.width = min(share, 96, max(24, width - 40))
        if width < 64:
            self.plan.display = False

    def idle_words(self) -> str:
        """What there is to say of the field that is typed into, where its own line has no room for it."""
        row = self.focused
        if isinstance(row, FormRow) and row.remark is not None and not row.says:
            return row.remark.words
        if unsaid := self._unsaid():
            return unsaid
        if isinstance(row, Choice):
            return "1-9 the repair, Enter starts the record. Heat, bag and ram are yours."
        if isinstance(row, Pick):
            return "Left Right or a first letter picks, Enter or Down next field"
        return "Enter or Down next field, Right takes what is proposed" if isinstance(row, Entry) else ""

    def idle_tone(self) -> Tone:
        """As the field's own sign, where those words are what is wrong with it."""
        words, row = self.idle_words(), self.focused
        if isinstance(row, FormRow) and row.remark is not None and row.remark.words == words:
            return row.remark.tone
        return Tone.ATTENTION if words and words == self._unsaid() else Tone.IDLE

    def on_form_row_placed(self) -> None:
        """Say below what a line has no room for."""
        self.renew_foot()

    def _unsaid(self) -> str:
        """Why a field of this page wears a sign, where its line has no room to say it."""
        rows = self.pages[self.here].rows().values() if self.here in self.pages else ()
        marked = [r for r in rows if r.remark is not None and r.remark.tone in (Tone.ALARM, Tone.ATTENTION)]
        unsaid = [r for r in marked if not r.says]
        row = next((r for r in unsaid if r.remark and r.remark.tone is Tone.ALARM), next(iter(unsaid), None))
        return f"{row.label}: {row.remark.words}" if row is not None and row.remark is not None else ""

    def offers(self) -> Iterator[SystemCommand]:
        """Everything here, for the palette."""
        yield SystemCommand("Start the record", "as it stands here", self.action_start)
        for tab in PAGES:
            if tab.name != self.here:
                yield SystemCommand(f"Load: {tab.words.lower()}", "this page", partial(self.action_page, tab.name))
        if self.like is not None or self.taken:
            words = "empty what was taken over" if self.taken else "as the last one like it"
            yield SystemCommand("Load: fill in", words, self.action_fill)
        yield SystemCommand("Lock-up leak test", "watch the bag for three minutes", self.action_leak_test)
        yield SystemCommand("Load: back", "nothing is started", self.action_back)

    # -- moving about --

    def action_nothing(self) -> None:
        """A stray letter."""

    def action_back(self) -> None:
        """To the screen before; nothing was started. Asks where something was typed."""
        if self.may_leave(self.action_back):
            self.app.pop_screen()

    def may_leave(self, then: Callable[[], None]) -> bool:
        """At once while nothing of one's own stands here."""
        if self._let_go or not self.half_filled:
            return True

        def go() -> None:
            self._let_go = True
            then()

        self.app.push_screen(LeaveTicketDialog(go))
        return False

    def action_page(self, name: str) -> None:
        """Another page; the first time its rows are made."""
        if name != "repair" and not self._auto_filled:
            self._auto_filled = True
            self._fill()
        page = self.pages.get(name)
        if page is None:
            page = self._make(name)
            self.pages[name] = page
            self.desk.mount(page, before=self.plan)
        for other, each in self.pages.items():
            each.display = other == name
        self.here = name
        self._judge()
        self._lay_out()
        self.call_after_refresh(self._arrive)

    def _make(self, name: str) -> Page:
        if name == "heat":
            return heat_page(self.values, self.leak)
        return {"ticket": ticket_page, "stores": stores_page, "work": work_page}[name](self.values)

    def _arrive(self) -> None:
        """A page just made has its rows only now."""
        self._propose()
        self._judge()
        rows = self._focusable()
        if rows and self.focused not in rows:
            rows[0].focus()
        self.renew_foot()

    def _focusable(self) -> list[Widget]:
        page = self.pages[self.here]
        return [w for w in self.focus_chain if page in w.ancestors]

    def action_further(self, step: int) -> None:
        """The field beside; past the last one, the next page."""
        rows = self._focusable()
        at = rows.index(self.focused) + step if self.focused in rows else 0
        if 0 <= at < len(rows):
            rows[at].focus()
            return
        order = [tab.name for tab in PAGES]
        following = order.index(self.here) + step
        if 0 <= following < len(order):
            self.action_page(order[following])
            if step < 0:
                self.call_after_refresh(lambda: (self._focusable() or [self])[-1].focus())

    def action_enter(self) -> None:
        """On the list of repairs: start. In a field: the next one; on the very last one: start."""
        rows = self._focusable()
        last = self.here == PAGES[-1].name and bool(rows) and self.focused is rows[-1]
        if isinstance(self.focused, Choice) or last:
            self.action_start()
        else:
            self.action_further(1)

    def on_page_strip_chosen(self, event: PageStrip.Chosen) -> None:
        """A click on a page's name."""
        self.action_page(event.page_name)

    def on_descendant_focus(self) -> None:
        """The keys below say what Enter does now."""
        self.renew_foot()

    # -- what is typed --

    def on_choice_changed(self) -> None:
        """Another repair."""
        self._take_repair()

    def on_form_row_changed(self, event: FormRow.Changed) -> None:
        """Something was typed or picked."""
        row = event.row
        name = row.name or ""
        if name == "press":
            self.leak.forget()
            self._usual_recipe()
            self.renew()
        elif name == "stack":
            self._show_layers()
        elif name.startswith("layer."):
            self._take_layer(row)
        elif name == "start":
            self.form = replace(self.form, start=row.value, changed=True)
        elif name == "heated":
            self.form = replace(self.form, heated=row.value, changed=True)
        elif name not in ("recipe", "operator"):
            self.values[name] = row.value
            self.taken.pop(name, None)
        if name in ("press", "recipe", "tire", "section") or name.startswith("layer."):
            self._look_back()
        self._ask_plan()
        self._judge()

    def _usual_recipe(self) -> None:
        view, page = self._view(), self.repair_page
        if view is not None:
            page.recipe.put(view.place.recipe)

    def _take_repair(self) -> None:
        """The chosen repair's layers into the form."""
        app, page = self.dashboard, self.repair_page
        name = page.repair.value
        preset = next((p for p in app.shop.presets if p.name == name), None)
        compounds = tuple(app.shop.shop.compounds) if app.shop.shop is not None else ()
        if preset is not None:
            self.form = RepairForm.of(preset.text)
        elif name == _OWN:
            self.form = RepairForm.own(compounds[0] if compounds else "")
        else:
            self.form = RepairForm("", ())
        names = [stack.name or "repair" for stack in self.form.stacks]
        page.stack.offer([Option(str(n), plain(each)) for n, each in enumerate(names)], "0")
        page.stack.display = len(names) > 1
        page.start.put(self.form.start)
        page.heated.put(self.form.heated)
        for row in (page.start, page.heated, page.head):
            row.display = bool(self.form.stacks)
        self._show_layers()
        self._look_back()
        self._ask_plan()
        self._judge()

    def _show_layers(self) -> None:
        page, at = self.repair_page, self._stack()
        if self.form.stacks:
            page.show_layers(self.form.stacks[at].rows)
        else:
            for line in page.lines:
                line.display = False

    def _stack(self) -> int:
        return int(self.repair_page.stack.value or 0)

    def _take_layer(self, row: FormRow) -> None:
        page = self.repair_page
        number = int((row.name or "").split(".")[1])
        self.form = self.form.with_row(self._stack(), number, page.lines[number].row)
        shown = [line for line in page.lines if line.display]
        if number == len(shown) - 1 and page.lines[number].thickness.value:
            page.show_layers(self.form.stacks[self._stack()].rows)

    # -- starting --

    def action_start(self) -> None:
        """Ask the recorder; where something is wrong, go to its field instead."""
        if self._sent is not None:
            return
        self._judge()
        wrong = [key for key, remark in self._remarks.items() if remark.tone is Tone.ALARM]
        if wrong:
            self._go_to(wrong[0])
            return
        troubles = self.form.troubles(self._degree()) if self.form.stacks else []
        if troubles:
            self.action_page("repair")
            self.plan.missing = troubles[0]
            self.plan.touch()
            return
        found = self._troubles()
        if found:
            self.app.push_screen(OverrideDialog(found, self._operator(), self._start_all_the_same))
        else:
            self._send(None)

    def _operator(self) -> str:
        return self.repair_page.operator.value

    def _troubles(self) -> list[str]:
        """What the recorder would refuse the ticket for, in its own words."""
        stores: Stores = self.memory.stores
        try:
            ticket = read_ticket(ticket_of(self.values), self.today())
        except ShopError as error:
            return [f"{error.key}: {error.message}"]
        return stores.troubles(ticket, self.today(), self.memory.channels.get(self.press_name, ()))

    def _start_all_the_same(self, by: str, reason: str) -> None:
        self._send({"by": by, "reason": reason})

    def _send(self, override: Json) -> None:
        app, view = self.dashboard, self._view()
        if view is None:
            return
        app.operator = self._operator()
        ticket = ticket_of(self.values)
        if self.leak.test is not None and self.leak.test.over:
            ticket["note"] = " ".join(filter(None, (ticket.get("note", ""), self.leak.test.note(app.units))))
        args: dict[str, Json] = {
            "recipe": self.repair_page.recipe.value,
            "repair": self.form.repair_text(self._degree()) if self.form.stacks else None,
            "ticket": {**ticket, "operator": app.operator},
        }
        if override is not None:
            args["override"] = override
        notice = app.source.send("start", view, f"start press {view.number}", operator=app.operator, args=args)
        self._sent = notice.uuid
        self._hear()
        self.renew_foot()

    def _hear(self) -> None:
        """What became of the start: leave once it is done, show the recorder's words where it is not."""
        notice = next((n for n in self.dashboard.source.notices if n.uuid == self._sent), None)
        if self._sent is None or notice is None or notice.state == "sent":
            return
        self._sent = None
        if notice.state != "done":
            title = "The recorder refused" if notice.state == "refused" else "No answer from the recorder"
            self.app.push_screen(RefusedDialog(title, notice.text))
        elif self.app.screen is self:
            self.app.pop_screen()

    def _go_to(self, key: str) -> None:
        """To the field with this name, whichever page it stands on."""
        self.action_page(page_of(key))
        self.call_after_refresh(lambda: self._focus_row(key))

    def _focus_row(self, key: str) -> None:
        row = self.pages[page_of(key)].rows().get(key)
        if row is not None:
            row.focus()

    def action_leak_test(self) -> None:
        """Begin the leak test where its reading stands."""
        self.action_page("heat")
        self.leak.action_begin()

    def on_leak_row_ended(self, event: LeakRow.Ended) -> None:
        """A bag that held is ticked, one that leaks is not; a person may say otherwise."""
        self._put("checks.lock_up_leak_test", "yes" if event.test.tight else "no")
        self._judge()

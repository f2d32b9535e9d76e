"""The dashboard: polls the archive, shows screens, sends what operators do. Closing it stops no recording."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterable, Mapping
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual import events
from textual.app import SystemCommand
from textual.binding import Binding, BindingType
from textual.screen import Screen
from textual.widgets import Input

from press_monitor.archive.types import Json
from press_monitor.quantities import UnitSystem
from press_monitor.screens.background import begin
from press_monitor.screens.base import WatchScreen
from press_monitor.screens.floor.screen import FloorScreen
from press_monitor.screens.openings import Openings
from press_monitor.screens.reading import Raised, unanswered_s, worst_first
from press_monitor.screens.settle import load_ahead, settle
from press_monitor.screens.shopview import ShopView
from press_monitor.screens.source import Source
from press_monitor.screens.theme import DEFAULT_THEME, FEW_COLOURS_THEME, NEXT_THEME, NO_COLOR_THEME, themes
from press_monitor.screens.topline import place_words, worst
from press_monitor.screens.widgets.palette import Marker
from press_monitor.screens.words import kind_words
from press_monitor.watch.types import Priority

if TYPE_CHECKING:
    from press_monitor.screens.setup.hands import Hands
    from press_monitor.shop import Shop

__all__ = ["Dashboard", "Restart", "first_theme", "marker_of", "run_dashboard"]

Restart = Callable[[], str | None]
"""Starts a recorder; returns None, or why it could not, in one line."""

_POLL_S = 0.25
_BELL_EVERY_S = 5.0
_BELL_UNANSWERED_S = 2.0
_READ_FIRST_S = 0.5
_SECOND_DIGIT_S = 0.8
_LOAD_AFTER_S = 1.5


class Dashboard(Openings):
    """All screens over one archive."""

    TITLE = "press-monitor"
    CSS_PATH: ClassVar = ["app.tcss", "floor/floor.tcss"]  # the floor's here, or all would be read twice before it
    ENABLE_COMMAND_PALETTE = True
    BINDINGS: ClassVar[list[BindingType]] = [
        *(Binding(str(n), f"digit({n})", show=False) for n in range(10)),
        Binding("enter", "acknowledge", "Acknowledge the alarm on top"),
        Binding("a,A", "alarms", "Alarms"),
        Binding("c,C", "certificates", "Certificates"),
        Binding("r,R", "records", "Records"),
        Binding("s,S", "stores", "Stores"),
        Binding("k,K", "silence_horn", "Silence the horn"),
        Binding("t,T", "theme", "Theme"),
        Binding("u,U", "units", "Units"),
        Binding("question_mark,f1", "explain", "Help"),
        Binding("f2", "setup", "Setup"),
        Binding("f5", "restart", "Start the recorder"),
        Binding("q,Q,ctrl+q", "quit", "Quit", priority=False),
    ]

    def __init__(
        self,
        source: Source,
        shop: ShopView,
        *,
        restart: Restart | None = None,
        demo: bool = False,
        marker: Marker | None = None,
        archive: Path | None = None,
        hands: Hands | None = None,
        key: Path | None = None,
    ) -> None:
        super().__init__()
        self.archive, self._key = archive, key
        self.hands = hands
        self.source, self.shop, self.demo = source, shop, demo
        self.units = shop.units
        self.animation_level = "none"
        self.marker = marker if marker is not None else marker_of(os.environ, sys.platform)
        self.operator = ""
        self.hint = ""
        self._restart = restart
        self._typed = ""
        self._typed_at = 0.0
        self._shown: tuple[str, str, bool] | None = None
        self._shown_at = float("-inf")
        self._rang_at = float("-inf")
        self._second = -1

    def on_mount(self) -> None:
        """Themes, the floor, then the first look at the archive."""
        for theme in themes():
            self.register_theme(theme)
        self.theme = first_theme(os.environ, None if self.is_headless else self.console.color_system)
        self.source.poll()
        self._note_worst()
        self.push_screen(self.first_screen())
        self.set_interval(_POLL_S, self.look)
        if not self.is_headless:
            settle()
            self.set_timer(_LOAD_AFTER_S, self._load_ahead)

    def _load_ahead(self) -> None:
        begin(self, self._load_and_settle, "load ahead", exclusive=False)

    async def _load_and_settle(self) -> None:
        import asyncio

        await asyncio.to_thread(load_ahead)
        settle()

    def first_screen(self) -> Screen[None]:
        """What is shown first."""
        return FloorScreen()

    def on_descendant_focus(self, event: events.DescendantFocus) -> None:
        """Nothing blinks: over a slow line each blink is a repaint, and only an alarm may draw the eye."""
        if isinstance(event.widget, Input):
            event.widget.cursor_blink = False

    def on_unmount(self) -> None:
        """Let go of the archive."""
        self.source.close()

    def look(self) -> None:
        """Poll the archive; renew what is shown where something changed, the clock once a second."""
        changed = self.source.poll()
        self._end_digits()
        second = int(self.source.now())
        if changed:
            self._note_worst()
            self._renew_shown()
        elif second != self._second:
            self._renew_foot()
        self._second = second
        self._ring()

    def _renew_shown(self) -> None:
        """What is seen: the top screen, and under a dialog what it lies on. The others catch up when they come up."""
        for screen in reversed(self.screen_stack):
            renew = getattr(screen, "renew", None)
            if renew is not None:
                renew()
            if not screen.is_modal:
                return

    def _renew_foot(self) -> None:
        # The timer may still tick once while the app closes and no screen is left.
        top = self.screen_stack[-1] if self.screen_stack else None
        if isinstance(top, WatchScreen):
            top.renew_foot()

    def _note_worst(self) -> None:
        """Remember when the bar changed: Enter must mean what was read, not what jumped in under the finger."""
        raised = worst(self.source)
        now = (raised.view.place.name, raised.alarm.id, raised.loud) if raised else None
        if now != self._shown:
            self._shown, self._shown_at = now, self.source.monotonic()

    def _ring(self) -> None:
        """The terminal's bell for alarms nobody has acknowledged, again every few seconds. Never the only alarm."""
        loud = [r for r in worst_first(self.source.presses) if r.loud and r.alarm.priority is not Priority.LOW]
        silent = self.source.heartbeat.silent
        now = self.source.monotonic()
        if not loud and not silent:
            self._rang_at = float("-inf")
        elif now - self._rang_at >= (_BELL_UNANSWERED_S if any(map(unanswered_s, loud)) else _BELL_EVERY_S):
            self._rang_at = now
            self.bell()

    # -- presses --

    def action_digit(self, digit: int) -> None:
        """A press by its number; with ten or more presses the second digit has a moment to follow. 0 is the floor."""
        if digit == 0 and not self._typed:
            self.to_floor()
            return
        count = len(self.source.presses)
        self._typed, self._typed_at = self._typed + str(digit), self.source.monotonic()
        number = int(self._typed)
        if number * 10 > count or len(self._typed) > 1:
            self._typed = ""
            self._open_number(number)

    def _end_digits(self) -> None:
        if self._typed and self.source.monotonic() - self._typed_at >= _SECOND_DIGIT_S:
            number, self._typed = int(self._typed), ""
            self._open_number(number)

    def _open_number(self, number: int) -> None:
        if 1 <= number <= len(self.source.presses):
            self.open_press(self.source.presses[number - 1].place.name)

    def to_floor(self) -> None:
        """Back to all presses, from wherever no question is open."""
        while isinstance(self.screen, WatchScreen) and not isinstance(self.screen, FloorScreen):
            if not self.screen.may_leave(self.to_floor):
                return
            self.pop_screen()

    # -- what operators do --

    def action_acknowledge(self) -> None:
        """Acknowledge the alarm on top; needs no name. Not one that came up less than half a second ago."""
        raised = worst(self.source)
        if raised is None or not raised.loud:
            return
        if self.source.monotonic() - self._shown_at < _READ_FIRST_S:
            return
        self.acknowledge(raised)

    def acknowledge(self, raised: Raised) -> None:
        """Acknowledge one alarm; one of the whole shop on every press it stands on."""
        for each in [m for m in raised.members if m.loud] or [raised]:
            self.send_about("acknowledge", "acknowledge", each)
        self._renew_foot()

    def send_about(self, kind: str, what: str, raised: Raised, args: Mapping[str, Json] | None = None) -> None:
        """Send what somebody does about one alarm; the recorder's own alarms stand on no press."""
        words = f"{what} {place_words(raised).lower()} {kind_words(raised.alarm.kind).lower()}"
        press = raised.view if raised.view.number else None
        self.source.send(kind, press, words, alarm=raised.alarm, operator=self.operator, args=args)

    def action_silence_horn(self) -> None:
        """Have the horn be quiet for three minutes; what called still wants acknowledging."""
        self.source.send("silence-horn", None, "silence the horn", operator=self.operator)
        self._renew_foot()

    async def action_restart(self) -> None:
        """Start the recorder again, where it is silent and there is a way."""
        if self._restart is None or (self.source.heartbeat.seen and not self.source.heartbeat.silent):
            return
        self.hint = "starting the recorder"
        self._renew_foot()
        begin(self, partial(self._start_recorder, self._restart), "recorder")

    async def _start_recorder(self, restart: Restart) -> None:
        import asyncio

        failed = await asyncio.to_thread(restart)
        self.hint = f"the recorder did not start: {failed}" if failed else ""
        self._renew_foot()

    # -- how it is shown --

    def action_theme(self) -> None:
        """Switch between dark and high contrast."""
        self.theme = NEXT_THEME.get(self.theme, DEFAULT_THEME)

    def action_units(self) -> None:
        """Switch between the shop's two unit systems, for reading only."""
        self.units = UnitSystem.named("si" if self.units.name == "us" else "us")
        for screen in self.screen_stack:
            if isinstance(screen, WatchScreen):
                screen.renew()

    def get_system_commands(self, screen: Screen[object]) -> Iterable[SystemCommand]:
        """Everything that can be done, for the palette."""
        from press_monitor.screens.palette_commands import commands

        yield from commands(self, screen)


def marker_of(environ: Mapping[str, str], platform: str) -> Marker:
    """What charts are drawn with: `PRESS_MONITOR_CHARTS` decides; the old Windows console, whose fonts lack braille,
    gets blocks.
    """
    word = environ.get("PRESS_MONITOR_CHARTS", "")
    usual = Marker.BLOCKS if platform == "win32" and "WT_SESSION" not in environ else Marker.BRAILLE
    return next((m for m in Marker if m.value == word), usual)


def first_theme(environ: Mapping[str, str], colours: str | None) -> str:
    """No colour where none is wanted, and the few strong ones where the terminal has but sixteen."""
    if "NO_COLOR" in environ:
        return NO_COLOR_THEME
    return FEW_COLOURS_THEME if colours in ("standard", "windows") else DEFAULT_THEME


def run_dashboard(
    archive: Path,
    shop: Shop | ShopView,
    *,
    restart: Restart | None = None,
    demo: bool = False,
    key: Path | None = None,
    hands: Hands | None = None,
) -> None:
    """Show the dashboard over `archive` until the operator closes it.

    Args:
        archive: the archive file; it need not exist yet.
        shop: the shop file, or what screens know of it.
        restart: starts a recorder when the operator asks for one.
        demo: whether this is the simulated shop, whose recorder ends with it.
        hands: what the setup screen needs; without it there is none.
        key: the key that signs the ledger, where it does not lie in the usual place.
    """
    view = shop if isinstance(shop, ShopView) else ShopView.of(shop)
    Dashboard(
        Source.at(archive, view.places), view, restart=restart, demo=demo, archive=archive, hands=hands, key=key
    ).run()

"""The dashboard: polls the archive, shows screens, sends what operators do. Closing it stops no recording."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual.app import App, SystemCommand
from textual.binding import Binding, BindingType
from textual.screen import Screen

from press_monitor.quantities import UnitSystem
from press_monitor.screens.base import WatchScreen
from press_monitor.screens.floor.screen import FloorScreen
from press_monitor.screens.reading import Raised, worst_first
from press_monitor.screens.shopview import ShopView
from press_monitor.screens.source import Source
from press_monitor.screens.theme import DEFAULT_THEME, NEXT_THEME, NO_COLOR_THEME, themes
from press_monitor.screens.topline import worst
from press_monitor.screens.widgets.palette import Marker
from press_monitor.screens.words import kind_words
from press_monitor.watch.types import Phase, Priority

if TYPE_CHECKING:
    from press_monitor.shop import Shop

__all__ = ["Dashboard", "Restart", "marker_of", "run_dashboard"]

Restart = Callable[[], str | None]
"""Starts a recorder; returns None, or why it could not, in one line."""

_POLL_S = 0.25
_BELL_EVERY_S = 5.0
_READ_FIRST_S = 0.5
_SECOND_DIGIT_S = 0.8


class Dashboard(App[None]):
    """All screens over one archive."""

    TITLE = "press-monitor"
    CSS_PATH = "app.tcss"
    ENABLE_COMMAND_PALETTE = True
    BINDINGS: ClassVar[list[BindingType]] = [
        *(Binding(str(n), f"digit({n})", show=False) for n in range(10)),
        Binding("enter", "acknowledge", "Acknowledge the alarm on top"),
        Binding("a,A", "alarms", "Alarms"),
        Binding("c,C", "certificates", "Certificates"),
        Binding("t,T", "theme", "Theme"),
        Binding("u,U", "units", "Units"),
        Binding("question_mark,f1", "explain", "Help"),
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
    ) -> None:
        super().__init__()
        self.archive = archive
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
        self.theme = NO_COLOR_THEME if "NO_COLOR" in os.environ else DEFAULT_THEME
        self.source.poll()
        self._note_worst()
        self.push_screen(FloorScreen())
        self.set_interval(_POLL_S, self.look)

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
            for screen in self.screen_stack:
                renew = getattr(screen, "renew", None)
                if renew is not None:
                    renew()
        elif second != self._second:
            self._renew_foot()
        self._second = second
        self._ring()

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
        elif now - self._rang_at >= _BELL_EVERY_S:
            self._rang_at = now
            self.bell()

    # -- presses --

    def action_digit(self, digit: int) -> None:
        """A press by its number; with ten or more presses the second digit has a moment to follow."""
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

    def open_press(self, name: str) -> None:
        """Show one press; from another press's screen it takes that one's place."""
        from press_monitor.screens.press.screen import PressScreen

        if isinstance(self.screen, PressScreen):
            self.screen.turn_to(name)
        else:
            self.push_screen(PressScreen(name))

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
        """Acknowledge one alarm."""
        words = f"acknowledge press {raised.view.number} {kind_words(raised.alarm.kind).lower()}"
        self.source.send("acknowledge", raised.view, words, alarm=raised.alarm, operator=self.operator)
        self._renew_foot()

    def action_load(self, press: str | None = None) -> None:
        """The start dialog, for the press on the screen or the first free one."""
        from press_monitor.screens.dialogs.start import StartDialog

        self.push_screen(StartDialog(press or self._here()))

    def action_heat_off(self) -> None:
        """Note that the heat is off on the press shown."""
        self.ask_heat_off(self._here() or "")

    def ask_heat_off(self, press: str) -> None:
        """Ask before noting that the heat is off."""
        from press_monitor.screens.dialogs.heat_off import HeatOffDialog

        if self._loaded(press):
            self.push_screen(HeatOffDialog(press))

    def action_release(self) -> None:
        """The release gate of the press shown."""
        self.ask_release(self._here() or "")

    def ask_release(self, press: str) -> None:
        """The release gate of a press."""
        from press_monitor.screens.dialogs.release import ReleaseGate

        if self._loaded(press):
            self.push_screen(ReleaseGate(press))

    def _here(self) -> str | None:
        return next((name for s in reversed(self.screen_stack) if (name := getattr(s, "press_name", None))), None)

    def _loaded(self, press: str) -> bool:
        view = self.source.press(press)
        return view is not None and view.snapshot is not None and view.snapshot.phase is not Phase.EMPTY

    async def action_restart(self) -> None:
        """Start the recorder again, where it is silent and there is a way."""
        if self._restart is None or (self.source.heartbeat.seen and not self.source.heartbeat.silent):
            return
        self.hint = "starting the recorder"
        self._renew_foot()
        self.run_worker(self._start_recorder(self._restart), exclusive=True)

    async def _start_recorder(self, restart: Restart) -> None:
        import asyncio

        failed = await asyncio.to_thread(restart)
        self.hint = f"the recorder did not start: {failed}" if failed else ""
        self._renew_foot()

    # -- everything else --

    def action_alarms(self) -> None:
        """All alarms, standing and past."""
        from press_monitor.screens.alarms.screen import AlarmsScreen

        if not isinstance(self.screen, AlarmsScreen):
            self.push_screen(AlarmsScreen())

    def action_certificates(self, number: int | None = None) -> None:
        """The newest certificate, or the one with a number."""
        from press_monitor.archive.reader import ArchiveReader
        from press_monitor.paths import locations
        from press_monitor.screens.certificates.screen import CertificateScreen

        archive = self.archive
        if archive is not None and not isinstance(self.screen, CertificateScreen):
            folder = locations().data / "certificates"
            self.push_screen(CertificateScreen(lambda: ArchiveReader(archive), folder, number))

    def action_theme(self) -> None:
        """Switch between dark and high contrast."""
        self.theme = NEXT_THEME.get(self.theme, DEFAULT_THEME)

    def action_units(self) -> None:
        """Switch between the shop's two unit systems, for reading only."""
        self.units = UnitSystem.named("si" if self.units.name == "us" else "us")
        for screen in self.screen_stack:
            if isinstance(screen, WatchScreen):
                screen.renew()

    def action_explain(self) -> None:
        """The help of the screen shown."""
        from press_monitor.screens.dialogs.explain import ExplainDialog

        self.push_screen(ExplainDialog(getattr(self.screen, "place", "")))

    async def action_quit(self) -> None:
        """Say what goes on without the dashboard, then close it if so told."""
        from press_monitor.screens.dialogs.leave import LeaveDialog

        if not isinstance(self.screen, LeaveDialog):
            self.push_screen(LeaveDialog())

    def get_system_commands(self, screen: Screen[object]) -> Iterable[SystemCommand]:
        """Everything that can be done, for the palette."""
        from press_monitor.screens.palette_commands import commands

        yield from commands(self)


def marker_of(environ: Mapping[str, str], platform: str) -> Marker:
    """What charts are drawn with: `PRESS_MONITOR_CHARTS` decides; the old Windows console, whose fonts lack braille,
    gets blocks.
    """
    word = environ.get("PRESS_MONITOR_CHARTS", "")
    usual = Marker.BLOCKS if platform == "win32" and "WT_SESSION" not in environ else Marker.BRAILLE
    return next((m for m in Marker if m.value == word), usual)


def run_dashboard(archive: Path, shop: Shop | ShopView, *, restart: Restart | None = None, demo: bool = False) -> None:
    """Show the dashboard over `archive` until the operator closes it.

    Args:
        archive: the archive file; it need not exist yet.
        shop: the shop file, or what screens know of it.
        restart: starts a recorder when the operator asks for one.
        demo: whether this is the simulated shop, whose recorder ends with it.
    """
    view = shop if isinstance(shop, ShopView) else ShopView.of(shop)
    Dashboard(Source.at(archive, view.places), view, restart=restart, demo=demo, archive=archive).run()

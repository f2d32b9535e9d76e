"""What the dashboard opens: its screens and the questions it asks, each loaded when it is first wanted."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, cast

from textual.app import App

from press_monitor.screens.source import Source
from press_monitor.watch.types import Phase

if TYPE_CHECKING:
    from press_monitor.screens.app import Dashboard
    from press_monitor.screens.records.desk import Desk
    from press_monitor.screens.setup.hands import Hands

__all__ = ["Openings"]


class Openings(App[None]):
    """The half of the dashboard that opens screens and asks questions; the other half looks at the archive."""

    source: Source
    hands: Hands | None
    archive: Path | None
    _key: Path | None

    # -- one press --

    def open_press(self, name: str) -> None:
        """Show one press; from another press's screen it takes that one's place."""
        from press_monitor.screens.press.screen import PressScreen

        if isinstance(self.screen, PressScreen):
            self.screen.turn_to(name)
        else:
            self.push_screen(PressScreen(name))

    def action_load(self, press: str | None = None) -> None:
        """The load screen, for the press on the screen or the first free one."""
        from press_monitor.screens.load.screen import LoadScreen

        if not isinstance(self.screen, LoadScreen):
            self.push_screen(LoadScreen(press or self._here()))

    def action_setup(self, page: str = "press") -> None:
        """Set up a press, look at the terminal, or check the installation."""
        from press_monitor.screens.setup.screen import SetupScreen

        if self.hands is not None and not isinstance(self.screen, SetupScreen):
            self.push_screen(SetupScreen(self.hands, page))

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

    def action_extend(self) -> None:
        """Extend the hold of the press shown."""
        self.ask_extend(self._here() or "")

    def ask_extend(self, press: str) -> None:
        """Ask by how much the hold is to be longer."""
        from press_monitor.screens.dialogs.extend import ExtendDialog

        if self._loaded(press):
            self.push_screen(ExtendDialog(press))

    def action_note(self) -> None:
        """A note on the press shown."""
        self.ask_note(self._here() or "")

    def ask_note(self, press: str) -> None:
        """Ask for a line that goes into the cure's record."""
        from press_monitor.screens.dialogs.note import NoteDialog

        if self._loaded(press):
            self.push_screen(NoteDialog(press))

    def show_log(self, press: str) -> None:
        """The whole log of a press's cure."""
        from press_monitor.screens.dialogs.log import LogDialog

        self.push_screen(LogDialog(press))

    def _here(self) -> str | None:
        return next((name for s in reversed(self.screen_stack) if (name := getattr(s, "press_name", None))), None)

    def _loaded(self, press: str) -> bool:
        view = self.source.press(press)
        return view is not None and view.snapshot is not None and view.snapshot.phase is not Phase.EMPTY

    # -- the whole shop --

    def action_alarms(self) -> None:
        """All alarms, standing and past."""
        from press_monitor.screens.alarms.screen import AlarmsScreen

        if not isinstance(self.screen, AlarmsScreen):
            self.push_screen(AlarmsScreen())

    def _desk(self) -> Desk | None:
        from press_monitor.screens.records.desk import desk_of

        return desk_of(cast("Dashboard", self))

    @property
    def key_file(self) -> Path:
        """The key that signs the ledger, for what is added while no recorder runs."""
        from press_monitor.paths import locations

        return locations().key_file if self._key is None else self._key

    def action_certificates(self, number: int | None = None) -> None:
        """The newest certificate, or the one with a number."""
        from press_monitor.screens.certificates.screen import CertificateScreen

        desk = self._desk()
        if desk is not None and not isinstance(self.screen, CertificateScreen):
            self.push_screen(CertificateScreen(desk, number))

    def action_records(self) -> None:
        """All sealed records: search, look, compare, and what is entered after a cure."""
        from press_monitor.screens.records.screen import RecordsScreen

        desk = self._desk()
        if desk is not None and not isinstance(self.screen, RecordsScreen):
            self.push_screen(RecordsScreen(desk))

    def action_stores(self) -> None:
        """Compounds, lots, bags, mats and probes."""
        from press_monitor.screens.stores.screen import StoresScreen

        desk = self._desk()
        if desk is not None and not isinstance(self.screen, StoresScreen):
            self.push_screen(StoresScreen(desk))

    def action_explain(self) -> None:
        """The help of the screen shown."""
        from press_monitor.screens.dialogs.dialog import Dialog
        from press_monitor.screens.dialogs.explain import ExplainDialog

        if not isinstance(self.screen, Dialog):
            screen = self.screen
            self.push_screen(ExplainDialog(getattr(screen, "place", ""), getattr(screen, "EXPLAINED", None)))

    async def action_quit(self) -> None:
        """Say what goes on without the dashboard, then close it if so told."""
        from press_monitor.screens.dialogs.leave import LeaveDialog

        if not isinstance(self.screen, LeaveDialog):
            self.push_screen(LeaveDialog())

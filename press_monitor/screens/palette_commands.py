"""Everything that can be done, for the command palette."""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial
from typing import TYPE_CHECKING

from textual.app import SystemCommand

from press_monitor.screens.theme import NEXT_THEME, THEME_WORDS
from press_monitor.screens.topline import worst
from press_monitor.screens.words import kind_words
from press_monitor.watch.types import Phase

if TYPE_CHECKING:
    from press_monitor.screens.app import Dashboard

__all__ = ["commands"]


def commands(app: Dashboard) -> Iterable[SystemCommand]:
    """Only what is possible now, the most urgent first."""
    raised = worst(app.source)
    if raised is not None and raised.loud:
        name = f"press {raised.view.number} {kind_words(raised.alarm.kind).lower()}"
        yield SystemCommand("Acknowledge", f"the alarm on top: {name}", partial(app.acknowledge, raised))
    if app.source.heartbeat.silent:
        yield SystemCommand("Start the recorder", "it is silent", app.action_restart)
    for view in app.source.presses:
        words = f"Press {view.number} {view.place.title}"
        yield SystemCommand(words, "open it", partial(app.open_press, view.place.name))
        if view.snapshot is not None and view.snapshot.phase not in (Phase.EMPTY, Phase.RELEASED):
            name = view.place.name
            yield SystemCommand(f"{words}: heat is off", "note it", partial(app.ask_heat_off, name))
            yield SystemCommand(f"{words}: release gate", "what must be true", partial(app.ask_release, name))
    yield SystemCommand("Load a press", "start a record", app.action_load)
    yield SystemCommand("Alarms", "standing and past, with what to do", app.action_alarms)
    if app.archive is not None:
        yield SystemCommand("Certificates", "look at the newest, save it as PDF", app.action_certificates)
    yield SystemCommand("Theme", f"switch to {THEME_WORDS[NEXT_THEME[app.theme]]}", app.action_theme)
    yield SystemCommand("Units", "switch between degF psi and degC kPa", app.action_units)
    yield SystemCommand("Help", "this screen in the trade's words", app.action_explain)
    yield SystemCommand("Close the dashboard", "the recorder keeps recording", app.action_quit)

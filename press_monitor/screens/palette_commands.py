"""Everything that can be done, for the command palette."""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial
from typing import TYPE_CHECKING

from textual.app import SystemCommand
from textual.screen import Screen

from press_monitor.screens.alarms.deeds import alarm_offers
from press_monitor.screens.floor.screen import FloorScreen
from press_monitor.screens.theme import NEXT_THEME, THEME_WORDS
from press_monitor.screens.topline import place_words, worst
from press_monitor.screens.words import kind_words
from press_monitor.watch.types import Phase

if TYPE_CHECKING:
    from press_monitor.screens.app import Dashboard

__all__ = ["commands"]


def commands(app: Dashboard, screen: Screen[object]) -> Iterable[SystemCommand]:
    """Only what is possible now on `screen`, over which the palette lies; the most urgent first."""
    raised = worst(app.source)
    if raised is not None and raised.loud:
        name = f"{place_words(raised)} {kind_words(raised.alarm.kind)}".lower()
        yield SystemCommand("Acknowledge", f"the alarm on top: {name}", partial(app.acknowledge, raised))
        yield SystemCommand("Silence the horn", "quiet for three minutes", app.action_silence_horn)
    yield from alarm_offers(app)
    if app.source.heartbeat.silent:
        yield SystemCommand("Start the recorder", "it is silent", app.action_restart)
    offers = getattr(screen, "offers", None)
    if offers is not None:
        yield from offers()
    for view in app.source.presses:
        words = f"Press {view.number} {view.place.title}"
        yield SystemCommand(words, "open it", partial(app.open_press, view.place.name))
        if view.snapshot is not None and view.snapshot.phase not in (Phase.EMPTY, Phase.RELEASED):
            name = view.place.name
            yield SystemCommand(f"{words}: heat is off", "note it", partial(app.ask_heat_off, name))
            yield SystemCommand(f"{words}: release gate", "what must be true", partial(app.ask_release, name))
            yield SystemCommand(f"{words}: extend the hold", "by some minutes", partial(app.ask_extend, name))
            yield SystemCommand(f"{words}: note", "a line for this cure's record", partial(app.ask_note, name))
            yield SystemCommand(f"{words}: log of this cure", "every line of it", partial(app.show_log, name))
    if not isinstance(screen, FloorScreen):
        yield SystemCommand("Floor", "all presses", app.to_floor)
    yield SystemCommand("Load a press", "start a record", app.action_load)
    yield SystemCommand("Alarms", "standing and past, with what to do", app.action_alarms)
    if app.archive is not None:
        yield SystemCommand("Records", "search, look, compare, inspect, comebacks", app.action_records)
        yield SystemCommand("Stores", "lots, bags, mats, probes: what must not be used", app.action_stores)
        yield SystemCommand("Certificates", "look at the newest, save it as PDF", app.action_certificates)
    if app.hands is not None:
        yield SystemCommand("Set up a press", "port, instrument, what each value is", app.action_setup)
        yield SystemCommand("This terminal", "what it can draw", partial(app.action_setup, "terminal"))
        yield SystemCommand("Check", "what is wrong with this installation", partial(app.action_setup, "check"))
    yield SystemCommand("Theme", f"switch to {THEME_WORDS[NEXT_THEME[app.theme]]}", app.action_theme)
    yield SystemCommand("Units", "switch between degF psi and degC kPa", app.action_units)
    yield SystemCommand("Help", "this screen in the trade's words", app.action_explain)
    yield SystemCommand("Close the dashboard", "the recorder keeps recording", app.action_quit)

"""What a dashboard does when it begins, so that no key waits later.

Two things hold a key up while presses update. The first opening of a screen loads its modules; they are loaded
beforehand, in a thread, while the floor is looked at. And Python's search for unreachable cycles goes through every
object of the process, a fifth of a second on a small computer; what was loaded never becomes unreachable, so it is
taken out of that search. What is left are the screens that were closed, each one a web of thousands of cycles: they are
searched for soon after each closing, three milliseconds at a time, and not by the dozen under somebody's key.
"""

from __future__ import annotations

import gc
import importlib

__all__ = ["LOADED_AHEAD", "begin_quietly", "load_ahead", "settle", "sweep"]

LOADED_AHEAD = (
    "press_monitor.screens.press.screen",
    "press_monitor.screens.alarms.screen",
    "press_monitor.screens.palette_commands",
    "press_monitor.screens.dialogs.explain",
    "press_monitor.screens.dialogs.extend",
    "press_monitor.screens.dialogs.heat_off",
    "press_monitor.screens.dialogs.leave",
    "press_monitor.screens.dialogs.log",
    "press_monitor.screens.dialogs.note",
    "press_monitor.screens.dialogs.release",
    "press_monitor.screens.dialogs.shelve",
    "press_monitor.screens.load.screen",
    "press_monitor.screens.records.screen",
    "press_monitor.screens.certificates.screen",
    "press_monitor.screens.stores.screen",
)


def load_ahead() -> None:
    """Load what the keys of the floor open. May run in a thread; what does not load will say so when it is opened."""
    for name in LOADED_AHEAD:
        try:
            importlib.import_module(name)
        except ImportError:
            continue


def begin_quietly() -> None:
    """Until `settle` nothing is searched for: of what a start makes a hundred thousand times, nothing can go yet."""
    gc.disable()


def settle() -> None:
    """Take all that lives now out of the search for cycles. It costs nothing.

    A dashboard does so at its beginning and again once all is loaded; tests, which begin hundreds, do not.
    """
    gc.freeze()
    gc.enable()


def sweep() -> None:
    """Search for what a closed screen left. Before `settle` it would take long: then it is left to Python."""
    if gc.get_freeze_count():
        gc.collect()

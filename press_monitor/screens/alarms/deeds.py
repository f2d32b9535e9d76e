"""What can be done about one alarm besides acknowledging it, from the alarms screen and from the palette."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import TYPE_CHECKING

from textual.app import SystemCommand

from press_monitor.screens.alarms.listing import rows_of
from press_monitor.screens.base import WatchScreen
from press_monitor.screens.reading import Raised
from press_monitor.screens.topline import place_words
from press_monitor.screens.words import kind_words
from press_monitor.watch.types import AlarmState

if TYPE_CHECKING:
    from press_monitor.screens.app import Dashboard

__all__ = ["alarm_offers", "is_kept", "reset", "shelve"]

_LATCHED = (AlarmState.LATCHED_ACKNOWLEDGED, AlarmState.LATCHED_UNACKNOWLEDGED)


def is_kept(raised: Raised) -> bool:
    """Whether an alarm is over but kept to be looked at."""
    return raised.alarm.state in _LATCHED


def shelve(app: Dashboard, raised: Raised) -> None:
    """Ask how long and why; one that is shelved comes back at once. Not one of the whole shop."""
    from press_monitor.screens.dialogs.shelve import ShelveDialog

    if raised.members:
        why = "what the whole shop shares is not shelved; choose one press's own alarm under it"
        app.source.settle(app.source.note("shelve"), "refused", why)
    elif raised.alarm.state is AlarmState.SHELVED:
        app.send_about("unshelve", "off the shelf:", raised)
    elif raised.alarm.standing:
        app.push_screen(ShelveDialog(raised))
    _renew_foot(app)


def reset(app: Dashboard, raised: Raised) -> None:
    """Reset an alarm that is kept after its cause went."""
    if is_kept(raised):
        app.send_about("reset", "reset", raised)
        _renew_foot(app)


def _renew_foot(app: Dashboard) -> None:
    if isinstance(app.screen, WatchScreen):
        app.screen.renew_foot()


def alarm_offers(app: Dashboard) -> Iterator[SystemCommand]:
    """For the palette: every alarm that can be shelved, taken off the shelf or reset."""
    for row in rows_of(app.source.presses):
        raised = row.raised
        name = f"{place_words(raised)} {kind_words(raised.alarm.kind)}".lower()
        if is_kept(raised):
            yield SystemCommand(
                f"Reset: {name}", "it is over, and was kept to be looked at", partial(reset, app, raised)
            )
        elif raised.members:
            continue
        elif raised.alarm.state is AlarmState.SHELVED:
            yield SystemCommand(f"Off the shelf: {name}", "it calls again", partial(shelve, app, raised))
        elif raised.alarm.standing:
            yield SystemCommand(f"Shelve: {name}", "for a time, by name and reason", partial(shelve, app, raised))

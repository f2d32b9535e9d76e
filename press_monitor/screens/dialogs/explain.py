"""Help: what a screen shows and what its keys do, in the trade's words."""

from __future__ import annotations

from collections.abc import Iterable

from textual.widget import Widget

from press_monitor.screens.dialogs.dialog import Dialog, Words

__all__ = ["ExplainDialog"]

_COMMON = """\
Enter     acknowledge the alarm on top; needs no name
1-9 A C   a press; all alarms; the newest certificate
T U       dark or high contrast; degF psi or degC kPa
Ctrl+P Q  everything there is; close"""

_FLOOR = """\
L         load a press         Up Down  more presses
"""

_FLOOR_SEEN = """\
A lane is a press, always in the same place.
Left      its state, and the number that matters most now: minutes left, or
          the value that went wrong
Middle    both mats over time. In the tinted band they are right; while
          heating, in the tinted slope they are on time. Blue is the bag
Right     mats; bag, with marks at its minimum and maximum; deepest rubber,
          the uncured point that lags most: solid is sure, paler is the band
          it lies in, with marks at the blow point and at the cure needed"""

_PRESS = """\
H         note that you turned the heat off; it switches nothing
R         release gate: heat off, bag at 0, then ram
Z N       whole cure or last 15 min; next section through the repair
L Esc     load this press; back to the floor
"""

_PRESS_SEEN = """\
Through   inner mat on the left, outer mat on the right. The curve is the
          temperature at that depth now; below it uncured layers fill up as
          they cure. Deepest lags most, hottest is nearest reversion
Forecast  minutes until the deepest rubber is cured at these mats, and where
          it ends if the heat went off now with the bag left up: rubber goes
          on curing while it cools under pressure"""

_ALARMS = """\
Up Down   move                 Esc  back
"""

_ALARMS_SEEN = """\
Standing alarms first, then those that are over. Each says what is wrong,
since when, and what to do. What follows from an alarm hangs under it."""

_CERTIFICATE = """\
Up Down   scroll               Left Right  the one before, the next one
C         shop's copy, customer's copy, label
S O       save as PDF and say where; save and open
"""

_CERTIFICATE_SEEN = """\
What was sealed, with what was added since: the same facts in the same order
as on paper. Nothing is shown of a record whose seal does not hold."""

_TEXTS = {
    "Floor": (_FLOOR, _FLOOR_SEEN),
    "Press": (_PRESS, _PRESS_SEEN),
    "Alarms": (_ALARMS, _ALARMS_SEEN),
    "Certificate": (_CERTIFICATE, _CERTIFICATE_SEEN),
}
_END = "It watches and records; it is no safety device. Local codes come first."


class ExplainDialog(Dialog):
    """The help of one screen."""

    def __init__(self, place: str) -> None:
        super().__init__()
        self.place_explained = place

    def hint_words(self) -> str:
        """It may be longer than the terminal is tall."""
        return "Up Down scroll   Esc back"

    def title_words(self) -> str:
        """Which screen."""
        return f"{self.place_explained or 'Help'}: what you see"

    def content(self) -> Iterable[Widget]:
        """The keys, then what one sees."""
        keys, seen = _TEXTS.get(self.place_explained, _TEXTS["Floor"])
        yield Words(keys + _COMMON)
        yield Words(seen, classes="soft")
        yield Words(_END)

    def action_confirm(self) -> None:
        """Enter is as good as Esc."""
        self.dismiss()

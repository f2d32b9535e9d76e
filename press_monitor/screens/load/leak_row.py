"""The bag's live reading, and the lock-up leak test on it."""

from __future__ import annotations

from collections.abc import Hashable
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.message import Message

from press_monitor.quantities import UnitSystem
from press_monitor.screens.load.leak_test import LeakTest
from press_monitor.screens.widgets.cells import Cells
from press_monitor.screens.widgets.palette import Look, Tone
from press_monitor.screens.widgets.rows import FormRow, Remark

__all__ = ["LeakRow"]


class LeakRow(FormRow):
    """Enter begins the test, or begins it anew."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("enter", "begin", "Watch the bag")]

    class Ended(Message):
        """The bag was watched long enough; `test` says how it went."""

        def __init__(self, test: LeakTest) -> None:
            super().__init__()
            self.test = test

    def __init__(self) -> None:
        super().__init__("leak", "Leak test", label_width=16, field_width=24)
        self.units = UnitSystem.named("us")
        self.bag_Pa: float | None = None
        self.minimum_Pa = 0.0
        self.t = 0.0
        self.test: LeakTest | None = None
        self._refused = ""

    @property
    def value(self) -> str:
        """The bag as it reads."""
        return "no reading" if self.bag_Pa is None else f"bag {self.units.say_pressure(self.bag_Pa)}"

    def take(self, t: float, bag_Pa: float | None, minimum_Pa: float, units: UnitSystem) -> None:
        """A newer reading; `t` is shop time."""
        self.t, self.bag_Pa, self.minimum_Pa, self.units = t, bag_Pa, minimum_Pa, units
        if bag_Pa is not None and bag_Pa >= minimum_Pa:
            self._refused = ""
        if self.test is not None and not self.test.over:
            self.test = self.test.take(t, bag_Pa)
            if self.test.over:
                self.post_message(self.Ended(self.test))
        self._tell()

    def forget(self) -> None:
        """Another press: its bag was not watched."""
        self.test, self._refused = None, ""
        self._tell()

    def _tell(self) -> None:
        if self._refused:
            self.say(Remark(Tone.ATTENTION, self._refused))
        elif self.test is None:
            self.say(Remark(Tone.IDLE, "Enter watches the bag for 3 minutes"))
        else:
            tones = {None: Tone.DONE, True: Tone.FINE, False: Tone.ALARM}
            self.say(Remark(tones[self.test.tight], self.test.words(self.units)))

    def field_key(self) -> Hashable:
        """The reading."""
        return self.value

    def draw_field(self, cells: Cells, left: int, right: int, look: Look) -> None:
        """The reading."""
        cells.text(
            left + 1, 0, self.value, look.palette.bag if self.bag_Pa is not None else look.palette.dim, bold=True
        )

    def on_click(self) -> None:
        """A click is Enter."""
        self.action_begin()

    def action_begin(self) -> None:
        """Watch from now on."""
        begun = LeakTest.begin(self.t, self.bag_Pa, self.minimum_Pa)
        if isinstance(begun, str):
            self._refused, self.test = begun, None
        else:
            self._refused, self.test = "", begun
        self._tell()

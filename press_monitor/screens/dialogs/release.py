"""The release gate: what must be true, in order, before a press is opened; then it is recorded by name."""

from __future__ import annotations

from collections.abc import Iterable

from textual.widget import Widget
from textual.widgets import Input

from press_monitor.quantities import UnitSystem
from press_monitor.screens.dialogs.dialog import Dialog, Words, field_row, typed
from press_monitor.screens.source import PressView
from press_monitor.screens.widgets.cells import plain
from press_monitor.screens.widgets.drawn import look_of
from press_monitor.screens.widgets.palette import Look, Tone
from press_monitor.screens.words import band_percent
from press_monitor.watch.types import Phase, Snapshot

__all__ = ["ReleaseGate", "gate_words"]

_OPEN = (Phase.RELEASED, Phase.EMPTY)
"""Nothing is left to release."""


def gate_words(snapshot: Snapshot, units: UnitSystem, look: Look) -> str:
    """The steps, each with its sign, whether it is reached, and its figure."""
    gate, deepest, hottest = snapshot.gate, snapshot.deepest, snapshot.hottest
    cure = f"{100 * deepest.state_of_cure:.0f} % ({band_percent(deepest)}), " if deepest else "not judged, "
    steps = (
        ("heat off", gate.heat_is_off, ""),
        ("cure reached", gate.cure_reached, f"{cure}need {100 * snapshot.required_cure:.0f} %"),
        ("cool enough", gate.cool_enough, units.say_temperature(hottest.temperature_degC) if hottest else ""),
        ("bag at 0", gate.bag_is_down, units.say_pressure(snapshot.bag_Pa) if snapshot.bag_Pa is not None else "--"),
    )
    lines = []
    for number, (name, done, figure) in enumerate(steps, 1):
        sign = look.signs.tone(Tone.FINE if done else Tone.ATTENTION)
        lines.append(f"{sign} {number} {name:<14}{'yes' if done else 'NOT YET':<9}{figure}")
    lines.append("  5 then the ram")
    return "\n".join(lines)


class ReleaseGate(Dialog):
    """Records a release. It is not offered while there is heat or pressure; early ones take a second Enter."""

    def __init__(self, press_name: str) -> None:
        super().__init__()
        self.press_name = press_name
        self.steps = Words()
        self.missing = Words(classes="warn")
        self.operator = Input(compact=True)
        self._sure = False

    def title_words(self) -> str:
        """Which press."""
        view = self._view()
        return f"Release gate, press {view.number} {view.place.title}" if view else "Release gate"

    def hint_words(self) -> str:
        """What Enter does now."""
        snapshot = self._snapshot()
        if snapshot is None or snapshot.phase in _OPEN:
            return "Already released.   Esc back"
        if not self._safe(snapshot):
            return "The gate is closed: nothing to confirm yet.   Esc back"
        if not self._full(snapshot):
            if self._sure:
                return "Enter again records it as RELEASED EARLY   Esc back"
            return "Enter (twice) records it as released early   Esc back"
        return "Enter record the release under this name   Esc back"

    def content(self) -> Iterable[Widget]:
        """Steps, what is missing, cautions, name."""
        self.operator.value = self.dashboard.operator
        yield self.steps
        yield self.missing
        yield Words(
            "Stand clear until the gauge at the press itself reads 0. This screen moves nothing and guards nothing;"
            " the shop's own rules and locks come first.",
            classes="soft",
        )
        yield field_row("Your name", self.operator)

    def renew_content(self) -> None:
        """The gate as it stands."""
        snapshot = self._snapshot()
        if snapshot is None:
            return
        self.steps.update(gate_words(snapshot, self.dashboard.units, look_of(self)))
        words = plain(snapshot.gate.words)
        if self._safe(snapshot) and not typed(self.operator):
            words = f"{words} Your name, please.".strip()
        self.missing.update(words)
        self.missing.display = bool(words)

    def on_input_changed(self) -> None:
        """A name makes the asking for it go away."""
        self._sure = False
        self.renew()

    def action_confirm(self) -> None:
        """Record the release where the gate allows it."""
        app, view, snapshot = self.dashboard, self._view(), self._snapshot()
        operator = typed(self.operator)
        if view is None or snapshot is None or snapshot.phase in _OPEN:
            return
        if not self._safe(snapshot) or not operator:
            self.renew()
            return
        if not self._full(snapshot) and not self._sure:
            self._sure = True
            self.renew()
            return
        app.operator = operator
        app.source.send("release", view, f"release press {view.number}", operator=operator)
        self.dismiss()

    def _view(self) -> PressView | None:
        return self.dashboard.source.press(self.press_name)

    def _snapshot(self) -> Snapshot | None:
        view = self._view()
        return view.snapshot if view else None

    @staticmethod
    def _safe(snapshot: Snapshot) -> bool:
        return snapshot.gate.heat_is_off and snapshot.gate.bag_is_down

    @staticmethod
    def _full(snapshot: Snapshot) -> bool:
        return snapshot.gate.cure_reached and snapshot.gate.cool_enough

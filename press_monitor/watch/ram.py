"""The optional ram channel: is the lock-up giving way?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from press_monitor.watch.advice import Stage, Words
from press_monitor.watch.alarms import Condition
from press_monitor.watch.channels import Channel
from press_monitor.watch.plain import Json, from_json, to_json
from press_monitor.watch.types import Phase

__all__ = ["Ram"]

LOW_SHARE = 0.85
"""Share of its lock-up pressure under which the ram is low."""
WITNESSED_SHARE = 0.92
"""The same where the bag falls with it: the hydraulics give way, and the bag has more room."""


@dataclass(slots=True)
class _State:
    locked_at: float | None = None
    low_since: float | None = None


class Ram:
    """The ram's pressure against what it locked up at when the heat came on."""

    def __init__(self, channel: Channel | None, words: Words) -> None:
        self._channel, self._words = channel, words
        self.s = _State()

    def save(self) -> Json:
        """Plain JSON."""
        return to_json(self.s)

    def load(self, data: Json) -> None:
        """Continue from `save`."""
        self.s = from_json(_State, data)

    def conditions(self, t: float, phase: Phase, stage: Stage, *, bag_falls: bool) -> Iterator[Condition]:
        """``ram-low`` while the press is heated; at once where the bag falls with it."""
        channel, s = self._channel, self.s
        if phase not in (Phase.HEAT_UP, Phase.HOLD):
            s.locked_at = s.low_since = None
            return
        value = None if channel is None else channel.smooth(t, channel.limit(5.0))
        if channel is None or value is None:
            return
        s.locked_at = value if s.locked_at is None else max(s.locked_at, value)
        if value >= WITNESSED_SHARE * s.locked_at:
            s.low_since = None
            return
        if value >= LOW_SHARE * s.locked_at and not bag_falls:
            return
        s.low_since = t if s.low_since is None else s.low_since
        message = self._words.ram_message(value, s.locked_at, bag_falls=bag_falls)
        advice = self._words.ram_advice(stage)
        yield Condition("ram-low", channel.name, s.low_since, message, advice, certain=bag_falls)

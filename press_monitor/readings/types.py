"""The readings the watch judges: SI values with a quality, gathered into ticks."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

__all__ = ["MISSING", "Quality", "Reading", "Role", "SignalError", "Tick", "role_of"]


class SignalError(ValueError):
    """A signal, temperature or setting that a conversion refuses; the message is one line fit for the operator."""


class Quality(Enum):
    """How far a reading can be used."""

    GOOD = "good"
    MISSING = "missing"
    """The channel was looked for and has no value: open sensor, silent unit."""
    OUT_OF_RANGE = "out-of-range"
    """A number came that its sensor cannot give."""
    UNTRUSTED = "untrusted"
    """A number came that the watch does not believe."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One channel's value: degC, Pa (gauge) or A. `value` is meaningful only where quality is GOOD or UNTRUSTED."""

    value: float
    quality: Quality = Quality.GOOD

    @property
    def good(self) -> bool:
        """Whether the value can be used as it stands."""
        return self.quality is Quality.GOOD


MISSING = Reading(0.0, Quality.MISSING)


@dataclass(frozen=True, slots=True)
class Tick:
    """What one press said at one moment; an empty mapping says that nothing came.

    Attributes:
        t: seconds on the cycle's own axis, strictly rising.
        readings: by channel name.
    """

    t: float
    readings: Mapping[str, Reading]


class Role(Enum):
    """What a channel measures, told from its name; a second one of a role is ``inner_mat.2``."""

    INNER_MAT = "inner_mat"
    OUTER_MAT = "outer_mat"
    BAG = "bag"
    AIR = "air"
    RAM = "ram"
    BURIED = "buried"
    MAT_CURRENT = "mat_current"
    OTHER = "other"


_ROLE = re.compile(r"(inner_mat|outer_mat|bag|air|ram|buried)(?:\.[2-9]\d*)?$")
_CURRENT = re.compile(r"(?:inner|outer)_mat_current(?:\.[2-9]\d*)?$")


def role_of(channel: str) -> Role:
    """The role of a channel by its name; `Role.OTHER` is kept and shown, never judged."""
    if found := _ROLE.match(channel):
        return Role(found.group(1))
    return Role.MAT_CURRENT if _CURRENT.match(channel) else Role.OTHER

"""The driver interface: what every instrument driver gives the recorder.

A driver turns one port into a stream of `Sample`. It never judges, never retries on its own clock and never
hides trouble: what it could not read is a `Fault`, and time is the monotonic clock it was given.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Protocol, runtime_checkable

__all__ = ["Clock", "Driver", "DriverError", "Fault", "Loss", "PortLost", "Sample"]

Clock = Callable[[], float]
"""Monotonic seconds; the recorder passes its own so that tests and the demo can set the pace."""


class Fault(Enum):
    """Why a sample carries no value."""

    OPEN = "open"
    """The instrument says its sensor is broken or unplugged."""
    NO_ANSWER = "no-answer"
    """The instrument was asked and said nothing."""
    GARBLED = "garbled"
    """Something came that could not be understood."""
    UNPLUGGED = "unplugged"
    """The port itself is gone."""


@dataclass(frozen=True, slots=True)
class Sample:
    """One reading as the instrument gave it.

    Attributes:
        channel: the channel's name on its press, e.g. ``inner_mat``, ``outer_mat``, ``bag``.
        value: the raw number, or None with a `fault`.
        unit: the unit's text, e.g. ``degF``, ``psi``, ``mV``, ``mA``, ``ohm``.
        at: monotonic seconds at which it was true (a logger's buffer may deliver the past).
        fault: why there is no value; None where there is one.
    """

    channel: str
    value: float | None
    unit: str
    at: float
    fault: Fault | None = None


class DriverError(Exception):
    """A driver cannot be made from its settings. `key` names the setting at fault."""

    def __init__(self, key: str, message: str) -> None:
        super().__init__(f"{key}: {message}")
        self.key = key
        self.message = message


class Loss(Enum):
    """Why a port cannot be had, in a word for the operator."""

    UNPLUGGED = "unplugged"
    """It is not there, or went while it was read."""
    NO_PERMISSION = "no permission"
    """It is there and this user may not open it."""
    IN_USE = "in use"
    """Another program, or another press with other settings, has it."""
    AMBIGUOUS = "not told apart"
    """Several could be the one that is meant."""
    NOT_REACHED = "not reached"
    """The other end of a network connection does not answer, or hung up."""
    FAILED = "failed"
    """Anything else; the message says what."""


class PortLost(Exception):
    """The port is gone or cannot be opened now; the caller closes the driver, waits and opens it again.

    `loss` is why; `device` is the port's name where one is known, else empty.
    """

    def __init__(self, message: str, loss: Loss = Loss.FAILED, device: str = "") -> None:
        super().__init__(message)
        self.loss = loss
        self.device = device


@runtime_checkable
class Driver(Protocol):
    """One port. Made as ``Driver(settings, clock)``; every call comes from the port's own thread.

    The class takes ``settings`` (the press's driver options from the shop file, plain TOML values) and a `Clock`,
    and raises `DriverError` naming the key when a setting cannot be used. Constructing opens nothing.
    """

    def __init__(self, settings: Mapping[str, object], clock: Clock) -> None: ...

    def open(self) -> None:
        """Take the port. Raises `PortLost` where it cannot be had now."""

    def read(self, wait: float) -> Sequence[Sample]:
        """Return what has come, blocking `wait` seconds at most; an empty sequence means nothing came.

        Raises `PortLost` when the port has gone.
        """

    def close(self) -> None:
        """Let the port go. Never raises; may be called at any time, more than once."""

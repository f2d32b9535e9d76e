"""What the setup wizard asks for: a question, a while of listening, a trial of the finished press."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from drivers.ports import FoundPort
from drivers.serial_port import LineSettings
from press_monitor.setup.listening import Heard

__all__ = ["Answer", "Choice", "Facts", "Listen", "Question", "SetupStopped", "Step", "Tried", "Try"]


class SetupStopped(Exception):
    """Setup ends without a change; the message says what to do instead."""


@dataclass(frozen=True, slots=True)
class Facts:
    """What the wizard knows of the computer.

    Attributes:
        text: the shop file's text; None where there is none yet.
        ports: the ports there are.
        held: device to words, for those a running recorder or another program holds.
        maps: Modbus maps that come with the program, each with its points and their units.
    """

    text: str | None
    ports: Sequence[FoundPort] = ()
    held: Mapping[str, str] = field(default_factory=dict)
    maps: Mapping[str, Mapping[str, str]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Choice:
    """One possible answer and what it means."""

    value: str
    words: str


@dataclass(frozen=True, slots=True)
class Question:
    """Something to ask a person.

    Attributes:
        key: what it is about, for screens and tests.
        words: the question.
        choices: the answers there are; empty for text.
        default: what an empty answer means.
        error: why the last answer was no good.
        told: lines to show before it.
    """

    key: str
    words: str
    choices: tuple[Choice, ...] = ()
    default: str = ""
    error: str = ""
    told: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Listen:
    """A port to be listened to, at each of the bauds in turn until text comes; `ask` is sent again and again."""

    settings: LineSettings
    bauds: tuple[int, ...]
    ask: bytes = b""
    seconds: float = 4.0


@dataclass(frozen=True, slots=True)
class Try:
    """A shop file to be read and one press of it to be tried; nothing is written."""

    text: str
    press: str
    seconds: float = 5.0


@dataclass(frozen=True, slots=True)
class Tried:
    """What came of listening or trying: text from the port, or lines to show; `trouble` where it failed."""

    heard: Heard | None = None
    lines: tuple[str, ...] = ()
    trouble: str = ""


Step = Question | Listen | Try
Answer = str | Tried

"""What a check found, in words, and what to do about it."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from enum import Enum

__all__ = ["Finding", "State", "fine", "note", "problem"]


class State(Enum):
    """How it stands. A note is worth knowing and no problem."""

    FINE = "fine"
    NOTE = "note"
    PROBLEM = "problem"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing looked at.

    Attributes:
        check: what was looked at, e.g. ``port``, ``disk``.
        state: how it stands.
        words: one line that says so.
        do: what to do; empty where there is nothing.
        press: the press concerned; None for none.
    """

    check: str
    state: State
    words: str
    do: str = ""
    press: str | None = None

    def to_json(self) -> dict[str, object]:
        """Every key, always."""
        return {**asdict(self), "state": self.state.value}


def fine(check: str, words: str, press: str | None = None) -> Finding:
    """All is well."""
    return Finding(check, State.FINE, words, "", press)


def note(check: str, words: str, do: str = "", press: str | None = None) -> Finding:
    """Worth knowing."""
    return Finding(check, State.NOTE, words, do, press)


def problem(check: str, words: str, do: str, press: str | None = None) -> Finding:
    """Wrong."""
    return Finding(check, State.PROBLEM, words, do, press)

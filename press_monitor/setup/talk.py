"""Asking until an answer is good: the two kinds of question of the wizard."""

from __future__ import annotations

from collections.abc import Callable, Generator, Sequence

from press_monitor.setup.steps import Answer, Choice, Question, Step

__all__ = ["ask", "choose"]


def ask(
    key: str,
    words: str,
    *,
    default: str = "",
    good: Callable[[str], str] = lambda _: "",
    told: tuple[str, ...] = (),
) -> Generator[Step, Answer, str]:
    """Ask for a text. `good` says what is wrong with it, or nothing."""
    error = ""
    while True:
        given = yield Question(key, words, (), default, error, told)
        text = (given.strip() if isinstance(given, str) else "") or default
        error = good(text) if text else "an answer is wanted"
        if not error:
            return text


def choose(
    key: str, words: str, choices: Sequence[Choice], default: str, *, told: tuple[str, ...] = ()
) -> Generator[Step, Answer, str]:
    """Ask for one of several. With one there is nothing to ask. A number counts from 1."""
    if len(choices) == 1 and not told:
        return choices[0].value
    error, values = "", [choice.value for choice in choices]
    while True:
        given = yield Question(key, words, tuple(choices), default, error, told)
        text = (given.strip() if isinstance(given, str) else "") or default
        if text in values:
            return text
        if text.isdecimal() and 1 <= int(text) <= len(values):
            return values[int(text) - 1]
        error = f"{text!r} is none of them"

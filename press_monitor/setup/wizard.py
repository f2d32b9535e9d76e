"""The setup wizard: what is asked, in which order, and what becomes of the answers. No terminal, no port, no file."""

from __future__ import annotations

import tomllib
from collections.abc import Generator, Sequence

from drivers.base import PortLost
from drivers.ports import FoundPort, PortIdentity, Wanted, resolve
from drivers.serial_port import LineSettings
from press_monitor.setup.channels_asked import ask_channel, ask_roles
from press_monitor.setup.guess import guess_form
from press_monitor.setup.listening import BAUDS, Heard
from press_monitor.setup.shopfile import PressPlan, add_press, starter_text
from press_monitor.setup.steps import Answer, Choice, Facts, Listen, Question, SetupStopped, Step, Tried, Try
from press_monitor.setup.talk import ask, choose

__all__ = ["Wizard", "identity_for"]

Dialogue = Generator[Step, Answer, str]
_ESCAPES = {"\\r": "\r", "\\n": "\n", "\\t": "\t"}
_OTHER = "other"
_KINDS = (
    Choice("lines", "it sends lines of text by itself"),
    Choice("asked", "it sends a line of text when it is asked"),
    Choice("modbus", "it has Modbus registers"),
    Choice("simulated", "nothing is connected yet: simulate a press"),
)


class Wizard:
    """One run of setup. `step` is what is wanted now; `answer` gives it; `text` is the finished shop file.
    `last_try` is the press as it was tried last, for watching it while somebody says whether it is right.

    Raises `SetupStopped` from `answer` where a person chose to stop.
    """

    def __init__(self, facts: Facts) -> None:
        self._facts = facts
        self._given: list[Answer] = []
        self._begin()

    def _begin(self) -> None:
        self.text: str | None = None
        self.press = ""
        self.last_try: Try | None = None
        self._dialogue = self._talk()
        self.step: Step | None = next(self._dialogue)

    def answer(self, given: Answer) -> None:
        """Answer the present step. A bad answer leaves the question standing, with `error`."""
        self._given.append(given)
        self._send(given)
        if isinstance(self.step, Question) and self.step.error:
            self._given.pop()

    @property
    def answers(self) -> tuple[str, ...]:
        """What was answered so far, in order; what came from a port by itself is left out."""
        return tuple(given for given in self._given if isinstance(given, str))

    def look_again(self, facts: Facts) -> None:
        """Go on with other facts, such as the ports there are now. An answer they no longer allow is asked anew."""
        kept, self._facts, self._given = list(self._given), facts, []
        self._begin()
        for given in kept:
            self.answer(given)
            if isinstance(self.step, Question) and self.step.error:
                return

    def back(self) -> None:
        """Take back the last answer to a question, and whatever came by itself after it."""
        kept = list(self._given)
        while kept and not isinstance(kept[-1], str):
            kept.pop()
        kept = kept[:-1]
        self._given = []
        self._begin()
        for given in kept:
            self.answer(given)

    def _send(self, given: Answer) -> None:
        try:
            self.step = self._dialogue.send(given)
        except StopIteration as end:
            self.step, self.text = None, end.value

    # -- the dialogue --

    def _talk(self) -> Dialogue:
        text = self._facts.text
        if text is None:
            name = yield from ask("shop", "What is your shop called?", default="My shop")
            units = yield from choose(
                "units", "Which units do you read?", (Choice("us", "°F and psi"), Choice("si", "°C and kPa")), "us"
            )
            text = starter_text(name, units)
        data = tomllib.loads(text)
        units = str(data.get("shop", {}).get("units", "us"))
        presses, recipes = data.get("presses", {}), list(data.get("recipes", {}))
        if not recipes:
            raise SetupStopped(
                "the shop file has no recipe: write one first, press-monitor check --keys lists its keys"
            )
        self.press = yield from ask("press", "A short name for the press:", default=_free(presses), good=_press_name)
        title = yield from ask("title", "What do people call it? (may be empty)", default=" ")
        recipe = yield from choose(
            "recipe", "Which recipe does it usually run?", [Choice(r, "") for r in recipes], recipes[0]
        )
        while True:
            kind = yield from choose("driver", "How does its instrument speak?", self._kinds(), "lines")
            plan = PressPlan(self.press, title.strip(), "simulated", recipe)
            if kind == "simulated":
                return add_press(text, plan)
            told = yield from self._instrument(kind, plan, units)
            if told is None:
                continue
            done = add_press(text, told)
            if (yield from self._tried(done)):
                return done

    def _kinds(self) -> Sequence[Choice]:
        return [kind for kind in _KINDS if kind.value != "modbus" or self._facts.maps]

    def _instrument(self, kind: str, plan: PressPlan, units: str) -> Generator[Step, Answer, PressPlan | None]:
        port = yield from self._port()
        if kind == "modbus":
            return (yield from self._modbus(port, plan))
        question = ""
        if kind == "asked":
            typed = yield from ask(
                "ask", r"What does it want to be asked? (\r and \n for line ends)", default=r"READ\r\n"
            )
            question = _unescaped(typed)
        heard = yield from self._heard(port, question)
        if heard is None:
            return None
        guess = guess_form(heard.lines)
        if guess is None:
            told = ("No form fits these lines:", *heard.lines[-3:])
            yield from _stop_or_again(told)
            return None
        channels = yield from ask_roles([(slot.key, slot.shown, slot.unit) for slot in guess.slots], units)
        options: dict[str, object] = {"baud": heard.baud} if heard.baud != 9600 else {}
        if heard.newline != "\n":
            options["newline"] = heard.newline
        if question:
            options["ask"] = question
        options |= guess.options({key: channel.target for key, channel in channels.items()})
        extra = {channel.name: channel.keys for channel in channels.values() if channel.keys}
        return PressPlan(plan.name, plan.title, "text-line", plan.recipe, port, options, extra)

    def _port(self) -> Generator[Step, Answer, Wanted]:
        free = [port for port in self._facts.ports if port.device not in self._facts.held]
        told = tuple(f"{device}: {words}" for device, words in self._facts.held.items())
        choices = [Choice(port.device, _port_words(port)) for port in free]
        choices.append(Choice(_OTHER, "another name, or an address like socket://10.0.0.7:4001"))
        chosen = yield from choose("port", "Which port is it on?", choices, choices[0].value, told=told)
        if chosen == _OTHER:
            return (yield from ask("port name", "Its device name or address:", good=self._not_held))
        return identity_for(next(port for port in free if port.device == chosen), self._facts.ports)

    def _not_held(self, name: str) -> str:
        return self._facts.held.get(name, "")

    def _heard(self, port: Wanted, question: str) -> Generator[Step, Answer, Heard | None]:
        """Text from the port; None to begin with another instrument."""
        bauds = (9600,) if isinstance(port, str) and "://" in port else BAUDS
        told = yield Listen(LineSettings(port), bauds, question.encode("ascii", "replace"))
        if isinstance(told, Tried) and told.heard is not None and told.heard.readable:
            return told.heard
        trouble = told.trouble if isinstance(told, Tried) else ""
        yield from _stop_or_again((trouble or "No readable text came at any usual baud.",))
        return None

    def _modbus(self, port: Wanted, plan: PressPlan) -> Generator[Step, Answer, PressPlan]:
        maps = self._facts.maps
        name = yield from choose(
            "map", "Which register map?", [Choice(m, ", ".join(maps[m])) for m in maps], next(iter(maps))
        )
        unit = yield from ask("unit id", "Its number on the line:", default="1", good=_unit_id)
        baud = yield from choose("baud", "Its baud:", [Choice(str(b), "") for b in BAUDS], "9600")
        channels: dict[str, object] = {}
        for point, written in maps[name].items():
            channel = yield from ask_channel(point, "", written, list(channels))
            if channel is not None:
                channels[channel] = {"point": point}
        options: dict[str, object] = {"map": name, "unit_id": int(unit), "baud": int(baud), "channels": channels}
        return PressPlan(plan.name, plan.title, "modbus", plan.recipe, port, options)

    def _tried(self, text: str) -> Generator[Step, Answer, bool]:
        """Show what the press gives and ask whether it is right."""
        self.last_try = Try(text, self.press)
        told = yield self.last_try
        lines = told.lines if isinstance(told, Tried) else ()
        trouble = (told.trouble,) if isinstance(told, Tried) and told.trouble else ()
        answer = yield from choose(
            "right",
            "Is that right?",
            (Choice("yes", "write it into the shop file"), Choice("no", "begin again with the instrument")),
            "no" if trouble else "yes",
            told=(*lines, *trouble),
        )
        return answer == "yes"


def _stop_or_again(told: tuple[str, ...]) -> Generator[Step, Answer, None]:
    choices = (Choice("again", "try another way or port"), Choice("stop", "leave the shop file as it is"))
    if (yield from choose("again", "What now?", choices, "again", told=told)) == "stop":
        raise SetupStopped("nothing was written; press-monitor setup begins again")


def identity_for(port: FoundPort, there: Sequence[FoundPort]) -> Wanted:
    """What to write so that this very port is found again: its adapter, its socket where that is needed, its name.

    Args:
        port: the one meant.
        there: all that are there, to be told apart from.
    """
    seen = port.identity
    for identity in (
        PortIdentity(seen.vid, seen.pid, seen.serial_number),
        PortIdentity(seen.vid, seen.pid, seen.serial_number, seen.location),
    ):
        if seen.vid is None or seen.pid is None:
            break
        try:
            if resolve(identity, lambda: there) == port.device:
                return identity
        except PortLost:
            continue
    return port.device


def _port_words(port: FoundPort) -> str:
    known = port.identity.words
    return ", ".join(part for part in (port.description, "" if known == "no identity" else known) if part)


def _free(presses: object) -> str:
    taken = presses if isinstance(presses, dict) else {}
    return next(name for n in range(1, 1000) if (name := f"P{n}") not in taken)


def _press_name(name: str) -> str:
    good = name and all(c.isascii() and (c.isalnum() or c in "-_") for c in name)
    return "" if good else "letters, digits, - and _ only"


def _unit_id(text: str) -> str:
    return "" if text.isdecimal() and 1 <= int(text) <= 247 else "a whole number from 1 to 247"


def _unescaped(text: str) -> str:
    for written, meant in _ESCAPES.items():
        text = text.replace(written, meant)
    return text

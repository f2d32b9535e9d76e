"""What every command needs of the console: where words and data go, how errors read, what an option may be."""

from __future__ import annotations

import io
import math
import os
import re
import sys
from pathlib import Path
from typing import Any

import click

__all__ = [
    "MOST_LINES",
    "PATH",
    "PROBLEM",
    "REFUSED",
    "Commands",
    "Later",
    "Number",
    "Quantity",
    "Temperature",
    "archive_option",
    "as_json",
    "place",
    "put",
    "put_json",
    "say",
    "shop_option",
    "speak_utf_8",
    "words_of",
]

PROBLEM = 1
REFUSED = 2
INTERRUPTED = 130
MOST_LINES = 4
LONGEST_LINE = 500
OURS = ("press_monitor", "drivers")
PATH = click.Path(path_type=Path)
as_json = click.option("--json", "as_json", is_flag=True, help="Print JSON only.")
archive_option = click.option("--archive", type=PATH, metavar="DB", help="The archive. [default: see paths]")
shop_option = click.option("--shop", type=PATH, metavar="FILE", help="The shop file. [default: see paths]")


def place(ctx: click.Context, key: str, given: Path | None) -> Path:
    """The archive or the shop file: what the command was given, what stood before the command, the usual place."""
    from press_monitor.paths import locations

    above = ctx.parent
    while given is None and above is not None:
        given, above = above.params.get(key), above.parent
    if given is not None:
        return given
    return locations().archive if key == "archive" else locations().shop_file


_OBEYED = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")
"""What a terminal obeys rather than shows: C0 and C1 of ECMA-48 but tab and newline, and what turns a line round."""


def _shown(text: str) -> str:
    """The same without anything a terminal would obey, whoever typed it."""
    return _OBEYED.sub("\N{REPLACEMENT CHARACTER}", text.replace("\r\n", "\n"))


def _escaped(document: str) -> str:
    """The same JSON; outside its strings such characters do not stand."""
    return _OBEYED.sub(lambda found: f"\\u{ord(found[0]):04x}", document)


def say(text: str) -> None:
    """Talk, on stderr."""
    click.echo(_shown(text), err=True)


def put(text: str | bytes) -> None:
    """Data, on stdout: text with its newline; a file's bytes as they are, unless a terminal would have to obey them.

    A reader that hung up is no error of ours.
    """
    try:
        if isinstance(text, bytes) and sys.stdout.isatty():
            shown = text.decode("utf-8", "replace")
            click.echo(_escaped(shown) if shown.startswith("{") else _shown(shown), nl=False)
        elif isinstance(text, bytes):
            sys.stdout.flush()
            sys.stdout.buffer.write(text)
            sys.stdout.buffer.flush()
        else:
            click.echo(_shown(text))
    except BrokenPipeError:
        _let_stdout_go()


def _let_stdout_go() -> None:
    """Point stdout nowhere, so that what is still buffered does not fail again at exit."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())


def put_json(value: Any) -> None:  # noqa: ANN401 - any JSON
    """One JSON document; a number that is not finite would be our mistake, and is refused rather than printed."""
    import json

    put(_escaped(json.dumps(value, ensure_ascii=False, allow_nan=False, indent=2)))


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() or c == "\n" else repr(c)[1:-1] for c in text)


def words_of(error: Exception) -> list[str]:
    """An error in at most four lines fit for the operator. What is not ours is called a fault of the program."""
    ours = type(error).__module__.split(".")[0] in OURS
    if isinstance(error, OSError) and not ours:
        where = f"{error.filename}: " if error.filename is not None else ""
        text = f"{where}{error.strerror or error}"
    elif ours:
        text = str(error)
    else:
        text = (
            f"a fault in the program, not in your files: {type(error).__name__}: {error}\n"
            "(PRESS_MONITOR_DEBUG=1 shows where; nothing was changed)"
        )
    lines = [line if len(line) <= 500 else line[:500] + " …" for line in _printable(text).splitlines() if line.strip()]
    lines = lines or [type(error).__name__]
    if len(lines) > MOST_LINES:
        lines = [*lines[: MOST_LINES - 1], f"… and {len(lines) - MOST_LINES + 1} more lines"]
    return [f"press-monitor: {lines[0]}", *lines[1:]]


class Later(click.Command):
    """A command whose module is imported when it runs: until then it is a name and a line of help.

    Making the options of every command is most of what ``--help`` would cost.
    """

    def __init__(self, name: str, module: str, attribute: str, short_help: str) -> None:
        super().__init__(name, short_help=short_help, add_help_option=False)
        self._module, self._attribute = module, attribute

    def real(self) -> click.Command:
        """The command itself."""
        import importlib

        command = getattr(importlib.import_module(self._module), self._attribute)
        assert isinstance(command, click.Command)
        return command


class Commands(click.Group):
    """The group of commands; it turns what they raise into words and an exit code."""

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """The command that is meant, its module imported now."""
        name, command, rest = super().resolve_command(ctx, args)
        return name, command.real() if isinstance(command, Later) else command, rest

    def invoke(self, ctx: click.Context) -> Any:  # noqa: ANN401 - as click has it
        """Run a command. Errors end with exit 2, shown whole where PRESS_MONITOR_DEBUG is set."""
        try:
            return super().invoke(ctx)
        except (click.ClickException, click.exceptions.Exit):
            raise
        except (click.Abort, KeyboardInterrupt, EOFError):
            say("press-monitor: interrupted")
            ctx.exit(INTERRUPTED)
        except BrokenPipeError:
            _let_stdout_go()
            ctx.exit(0)
        except Exception as error:
            if os.environ.get("PRESS_MONITOR_DEBUG"):
                raise
            for line in words_of(error):
                say(line)
            ctx.exit(REFUSED)


class Number(click.ParamType[float]):
    """A finite number, from `least` to `most` where they are given."""

    name = "number"

    def __init__(self, least: float | None = None, most: float | None = None) -> None:
        self.least, self.most = least, most

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:  # noqa: ANN401
        """Refuses text, nan and inf."""
        try:
            number = float(value)
        except (TypeError, ValueError):
            number = math.nan
        if not math.isfinite(number):
            self.fail(f"{value!r} is not a finite number", param, ctx)
        if self.least is not None and number < self.least:
            self.fail(f"{value!r} is below {self.least:g}", param, ctx)
        if self.most is not None and number > self.most:
            self.fail(f"{value!r} is above {self.most:g}", param, ctx)
        return number


class Quantity(click.ParamType[float]):
    """A quantity with its unit, given on in SI: `kind` names a member of `Dimension` in small letters.

    A `difference` of temperatures converts as one: 10 degF are 5.56 K.
    """

    def __init__(self, kind: str, least: float | None = None, *, difference: bool = False) -> None:
        self.name, self.least, self.difference = kind, least, difference

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:  # noqa: ANN401
        """Refuses what `press_monitor.quantities` refuses."""
        from press_monitor.quantities import Dimension, QuantityError, parse, parse_difference

        if isinstance(value, float):
            return value
        try:
            number = (parse_difference if self.difference else parse)(value, Dimension[self.name.upper()])
        except QuantityError as error:
            self.fail(str(error), param, ctx)
        if self.least is not None and number < self.least:
            self.fail(f"{value!r} is too small", param, ctx)
        return number


class Temperature(Quantity):
    """A temperature with its unit, such as "300 degF", given on as degC."""

    def __init__(self) -> None:
        super().__init__("temperature")


def speak_utf_8() -> None:
    """Write UTF-8 whatever the console claims; a message may lose a letter, data may not."""
    for stream, errors in ((sys.stdout, "strict"), (sys.stderr, "backslashreplace")):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(encoding="utf-8", errors=errors)

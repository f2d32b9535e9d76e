"""``press-monitor setup``: the wizard in a terminal, one question after the other."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from press_monitor.console import REFUSED, archive_option, place, put, say, shop_option

if TYPE_CHECKING:
    from drivers.ports import FoundPort
    from press_monitor.screens.setup.hands import Hands
    from press_monitor.setup.findings import Finding
    from press_monitor.setup.steps import Facts, Question, Tried
    from press_monitor.setup.wizard import Wizard

__all__ = ["first_run", "setup", "setup_hands"]

BACK = "<"
WITHOUT_A_TERMINAL = (
    "press-monitor: setup asks questions and needs a terminal; without one:",
    "  1. press-monitor ports shows the ports; press-monitor check --keys what the shop file may hold",
    "  2. write the shop file to {path}",
    "  3. press-monitor check says what is still wrong with it",
)


@click.command()
@shop_option
@archive_option
@click.pass_context
def setup(ctx: click.Context, shop: Path | None, archive: Path | None) -> None:
    """Add a press to the shop file, step by step: port, instrument, what each value is. Makes the file if need be."""
    path = place(ctx, "shop", shop)
    if not sys.stdin.isatty():
        for line in WITHOUT_A_TERMINAL:
            say(line.format(path=path))
        ctx.exit(REFUSED)
    from press_monitor.setup.shopfile import write_checked
    from press_monitor.setup.steps import SetupStopped
    from press_monitor.setup.wizard import Wizard

    facts = _facts(path, place(ctx, "archive", archive))
    say(f'An empty answer takes what stands in brackets; "{BACK}" goes back a question.')
    try:
        wizard = Wizard(facts)
        _run(wizard)
    except SetupStopped as stopped:
        say(str(stopped))
        ctx.exit(REFUSED)
    assert wizard.text is not None
    write_checked(path, wizard.text)
    put(str(path))
    say(f"{wizard.press} is in the shop file. Look over its rubber and recipe, then: press-monitor check")
    if facts.held:
        say(
            "The running recorder reads the shop file when it starts: press-monitor recorder --stop, then press-monitor"
        )


def _facts(path: Path, archive: Path, say: Callable[[str], None] = say) -> Facts:
    """What the wizard has to know; a shop file that cannot be read ends setup before the first question."""
    from drivers.modbus_map import load_map, map_names
    from drivers.ports import PortsUnknown, list_ports
    from press_monitor.setup.port_use import port_rows, wanted_ports
    from press_monitor.setup.steps import Facts
    from press_monitor.shop import load_shop

    text: str | None = None
    held: dict[str, str] = {}
    ports: tuple[FoundPort, ...] = ()
    try:
        ports = list_ports()
    except PortsUnknown as error:
        say(f"{error}; type the port's name")
    if path.exists():
        shop = load_shop(path)
        text = path.read_text(encoding="utf-8-sig")
        how = "which records now" if _recording(archive) else "of the shop file"
        for row in port_rows(ports, wanted_ports(shop)):
            if row.used_by and row.device is not None:
                held[row.device] = f"in use by {', '.join(row.used_by)}, {how}"
    maps = {
        name: {point: str(keys["unit"]) for point, keys in load_map(name).items() if "unit" in keys}
        for name in map_names()
    }
    return Facts(text, ports, held, maps)


def _recording(archive: Path) -> bool:
    from press_monitor.recorder.launch import holder_of

    return holder_of(archive) is not None


def setup_hands(shop_file: Path, archive: Path) -> Hands:
    """What the setup screen is given: it asks here for ports and for what a check finds, and has the file written."""
    from press_monitor.screens.setup.hands import Hands

    def found() -> Sequence[Finding]:
        from press_monitor.commands.examination import examine

        return examine(shop_file, archive, 0.0, say=lambda _: None)

    return Hands(
        shop_file,
        facts=lambda: _facts(shop_file, archive, lambda _: None),
        examine=found,
        recording=lambda: _recording(archive),
    )


def first_run(shop_file: Path, archive: Path) -> str:
    """The screens of a computer without a shop file; ``start``, ``demo`` or nothing, as was chosen there."""
    from press_monitor.screens.setup.welcome import FirstRun

    app = FirstRun(archive, setup_hands(shop_file, archive))
    app.run()
    return app.chosen


def _run(wizard: Wizard) -> None:
    from press_monitor.setup.steps import Listen, Question
    from press_monitor.setup.trying import do_listen, do_try

    while (step := wizard.step) is not None:
        if isinstance(step, Question):
            given = _ask(step)
            if given == BACK:
                wizard.back()
            else:
                wizard.answer(given)
        elif isinstance(step, Listen):
            say(f"Listening, up to {step.seconds * len(step.bauds):.0f} s …")
            wizard.answer(do_listen(step, lambda heard: say(f"  {heard.words}")))
        else:
            say("Trying it …")
            wizard.answer(_once(do_try(step, lambda line: say(f"  {line}"))))


def _once(tried: Tried) -> Tried:
    """The values have been shown as they came; what is said again is only what is wrong."""
    from dataclasses import replace

    return replace(tried, lines=())


def _ask(question: Question) -> str:
    say("")
    for line in question.told:
        say(line)
    if question.error:
        say(f"({question.error})")
    say(question.words)
    for number, choice in enumerate(question.choices, 1):
        say(f"  {number}  {choice.value}{f': {choice.words}' if choice.words else ''}")
    default = question.default.strip()
    shown = default
    if question.choices:
        shown = str([choice.value for choice in question.choices].index(default) + 1) if default else ""
    answer: str = click.prompt("", default=shown, show_default=bool(shown), prompt_suffix="> ", err=True)
    # An empty answer to a text is the question's own default, blanks and all.
    return question.default if not question.choices and answer == shown else answer

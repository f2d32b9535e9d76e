"""The command line. Thin: every command imports what it needs when it runs, so that help costs next to nothing.

Data goes to stdout, talk to stderr. Exit 0: fine; 1: it found a problem; 2: a missing file or bad input.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from press_monitor import __version__
from press_monitor.commands.certificates import certificate, export_found, export_options, verify
from press_monitor.commands.filters import filter_options, read_filters
from press_monitor.commands.first_run import first_run, setup, setup_hands
from press_monitor.commands.hardware import check, ports
from press_monitor.commands.science import fit, plan
from press_monitor.commands.sensors import thermocouple
from press_monitor.console import (
    MOST_LINES,
    PATH,
    PROBLEM,
    REFUSED,
    Commands,
    Later,
    Number,
    archive_option,
    as_json,
    place,
    put,
    put_json,
    say,
    shop_option,
    speak_utf_8,
)

if TYPE_CHECKING:
    from press_monitor.archive.reader import ArchiveReader

__all__ = ["cli", "main"]


def _reader(ctx: click.Context, given: Path | None) -> ArchiveReader:
    from press_monitor.archive.reader import ArchiveReader

    return ArchiveReader(place(ctx, "archive", given))


@click.group(cls=Commands, invoke_without_command=True, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="press-monitor")
@archive_option
@shop_option
@click.pass_context
def cli(ctx: click.Context, archive: Path | None, shop: Path | None) -> None:
    """Watch tire section repairs cure: heat, bag and the deepest rubber, sealed as a certificate.

    Without a command: the dashboard on the shop file. It watches and records; it controls nothing and is no safety
    device.

    \b
    press-monitor demo
    press-monitor replay LOG --shop shop.toml --recipe section-300 --repair repair.toml
    press-monitor certificate 12
    """  # noqa: D301 - click wants the very character
    if ctx.invoked_subcommand is not None:
        return
    shop_file = place(ctx, "shop", shop)
    at = place(ctx, "archive", archive)
    if not shop_file.exists():
        if not _has_terminal():
            say(f"press-monitor: {shop_file}: no shop file there yet")
            say("Set up your own press: press-monitor setup")
            say("See it work first, with a simulated shop: press-monitor demo")
            ctx.exit(REFUSED)
        chosen = first_run(shop_file, at)
        if chosen == "demo":
            ctx.exit(ctx.invoke(demo))
        if chosen != "start":
            ctx.exit(0)
    _dashboard(ctx, shop_file, at)


def _has_terminal() -> bool:
    """Whether there is somebody to show screens to: they are drawn on stderr and steered from stdin."""
    return sys.stdin.isatty() and sys.stderr.isatty()


def _dashboard(ctx: click.Context, shop_file: Path, archive: Path) -> None:
    """Start a recorder where none runs, then show the floor. The recorder goes on when the dashboard is closed."""
    if _has_terminal():
        from press_monitor.screens.settle import begin_quietly

        begin_quietly()
    from press_monitor.shop import load_shop

    shop = load_shop(shop_file)
    if not _has_terminal():
        say("press-monitor: the dashboard needs a terminal; without one: press-monitor recorder")
        ctx.exit(REFUSED)
    from press_monitor.paths import locations
    from press_monitor.recorder.launch import LaunchError, holder_of, recorder_command, start_detached
    from press_monitor.screens.app import run_dashboard

    def restart() -> str | None:
        try:
            start_detached(
                recorder_command(shop_file, archive, locations().key_file), archive, locations().recorder_log
            )
        except LaunchError as error:
            return str(error)
        return None

    if holder_of(archive) is None and (failed := restart()) is not None:
        for line in failed.splitlines()[:MOST_LINES]:
            say(line)
        ctx.exit(REFUSED)
    run_dashboard(archive, shop, restart=restart, hands=setup_hands(shop_file, archive))


@cli.command()
@click.option("--speed", type=Number(least=0.1, most=600.0), metavar="N", help="Simulated seconds in a second.")
@click.option("--presses", type=click.IntRange(1, 64), default=4, show_default=True, metavar="N", help="How many.")
@click.pass_context
def demo(ctx: click.Context, speed: float | None, presses: int) -> None:
    """A simulated shop in a fresh folder, faults included. Needs no hardware; its recorder ends with it."""
    if not _has_terminal():
        say("press-monitor: the demo needs a terminal")
        ctx.exit(REFUSED)
    from press_monitor.screens.settle import begin_quietly

    begin_quietly()
    from press_monitor.recorder.demo import DEFAULT_SPEED, demo_shop, start_demo_recorder

    places = demo_shop(presses)
    say("A simulated shop. Its shop file, archive and logs are kept in this folder:")
    put(str(places.data))
    running = start_demo_recorder(places, DEFAULT_SPEED if speed is None else speed)
    try:
        # Imported while the recorder is starting up.
        from press_monitor.screens.app import run_dashboard
        from press_monitor.shop import load_shop

        run_dashboard(places.archive, load_shop(places.shop_file), demo=True, key=places.key_file)
    finally:
        running.close()
    say(f"What it sealed: press-monitor records --archive {places.archive}")


@cli.command()
@archive_option
@shop_option
@click.option("--stop", is_flag=True, help="Ask the running recorder to stop.")
@click.option("--login-recipe", is_flag=True, help="Print what has this computer start it at login.")
@click.option("--for", "system", type=click.Choice(["systemd", "windows"]), help="[default: this computer's]")
@click.pass_context
def recorder(
    ctx: click.Context, archive: Path | None, shop: Path | None, stop: bool, login_recipe: bool, system: str | None
) -> None:
    """The recorder without a screen; the dashboard starts one by itself."""
    from press_monitor.paths import locations

    at, shop_file = place(ctx, "archive", archive), place(ctx, "shop", shop)
    if login_recipe:
        from press_monitor.recorder.launch import recorder_command
        from press_monitor.recorder.login import login_recipe as recipe_for

        command = recorder_command(shop_file.absolute(), at.absolute(), locations().key_file)
        text, hints = recipe_for(command, system)
        put(text.rstrip("\n"))
        for hint in hints:
            say(hint)
        return
    from press_monitor.recorder.service import run_recorder, stop_recorder

    if stop:
        ctx.exit(stop_recorder(at, say))
    ctx.exit(run_recorder(shop_file, at, locations().key_file))


@cli.command()
@click.argument("log", type=PATH)
@shop_option
@click.option("--recipe", required=True, metavar="NAME", help="A recipe of the shop file.")
@click.option("--repair", required=True, type=PATH, metavar="FILE", help="What lay between the mats.")
@click.option("--archive", type=PATH, metavar="DB", help="Seal the record in this archive; made if missing.")
@as_json
@click.pass_context
def replay(
    ctx: click.Context, log: Path, shop: Path | None, recipe: str, repair: Path, archive: Path | None, as_json: bool
) -> None:
    """Run a log through the watch and judge it. Exit 1 for review, fail and incomplete."""
    from press_monitor.audit.replay import replay_log

    shop_file = place(ctx, "shop", shop)
    result, notes = replay_log(log, shop_file, recipe, repair, archive)
    for note in notes:
        say(note)
    if as_json:
        put_json(result)
    else:
        from press_monitor.certificate.outcome import outcome_sections
        from press_monitor.certificate.text import render_sections
        from press_monitor.shop import load_shop

        moment = "at the last row" if archive is None else "at release"
        put(render_sections(outcome_sections(result, load_shop(shop_file).units, moment)))
        if result["certificate"] is not None:
            say(f"sealed as certificate {result['certificate']} in {archive}")
    ctx.exit(PROBLEM if result["verdict"] in ("review", "fail", "incomplete") else 0)


@cli.command()
@archive_option
@filter_options
@export_options
@as_json
@click.pass_context
def records(
    ctx: click.Context,
    /,
    archive: Path | None,
    limit: int | None,
    folder: Path | None,
    form: str,
    which: str,
    paper: str | None,
    as_json: bool,
    **filters: Any,  # noqa: ANN401 - handed on by name
) -> None:
    """The sealed cure records, newest first; with --export as certificates in a folder. Filters must all hold."""
    with _reader(ctx, archive) as reader:
        found = reader.records(limit=limit, **read_filters(filters))
        places, failed = ([], 0) if folder is None else export_found(reader, found, folder, form, which, paper)
    if as_json:
        from press_monitor.watch.plain import to_json

        put_json({"records": to_json(found), "files": None if folder is None else list(map(str, places))})
        ctx.exit(PROBLEM if failed else 0)
    if folder is not None:
        for written in places:
            put(str(written))
        say(f"{len(places)} certificate{'' if len(places) == 1 else 's'} in {folder}")
        ctx.exit(PROBLEM if failed else 0)
    from press_monitor.certificate.listing import record_lines

    for line in record_lines(found):
        put(line)
    say(f"{len(found)} record{'' if len(found) == 1 else 's'}")


@cli.command()
@archive_option
@as_json
@click.pass_context
def paths(ctx: click.Context, archive: Path | None, as_json: bool) -> None:
    """Where the shop file, the archive, the keys and the logs lie."""
    from press_monitor.paths import locations

    known = locations()
    places = {
        "shop_file": known.shop_file,
        "archive": place(ctx, "archive", archive),
        "signing_key": known.key_file,
        "public_key": known.key_file.with_suffix(".pub"),
        "backups": known.backups,
        "recorder_log": known.recorder_log,
    }
    if as_json:
        put_json({name: str(there) for name, there in places.items()})
        return
    for name, there in places.items():
        put(f"{name.replace('_', ' '):<14}{there}{'' if there.exists() else '   (not there yet)'}")


_AUDIT, _ENTERED, _STORES, _KEEPING = (
    f"press_monitor.commands.{module}" for module in ("audit", "later", "stores", "keeping")
)
_LATER = (
    Later("comeback", _AUDIT, "comeback", "The tire of certificate NUMBER came back."),
    Later("inspect", _ENTERED, "inspect", "A person has looked at the repair of certificate NUMBER."),
    Later("correct", _ENTERED, "correct", "Correct a ticket, or withdraw what was entered by mistake."),
    Later("ticket", _ENTERED, "ticket", "Attach a ticket to certificate NUMBER and judge it anew."),
    Later("where-used", _AUDIT, "where_used", "What shared a lot, bag, mat, probe or press."),
    Later("worth", _AUDIT, "worth", "Repair or replace, and where both cost the same."),
    Later("stores", _STORES, "stores", "Lots, bags, mats and probes, and what must not be used."),
    Later("archive", _KEEPING, "archive", "Copies, putting one back, recovery, the signing key."),
)
for _command in (*_LATER, certificate, verify, thermocouple, plan, fit, ports, check, setup):
    cli.add_command(_command)


def main() -> None:
    """The command ``press-monitor``."""
    speak_utf_8()
    cli(prog_name="press-monitor")

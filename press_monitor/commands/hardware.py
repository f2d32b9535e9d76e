"""The installation: which ports there are, and what is wrong with any of it."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from press_monitor.console import PATH, PROBLEM, Number, archive_option, as_json, place, put, put_json, say, shop_option

if TYPE_CHECKING:
    from press_monitor.setup.findings import Finding

__all__ = ["check", "ports"]

MARKS = {"fine": "ok", "note": "note", "problem": "PROBLEM"}
TESTABLE = click.Choice(["horn", "phone"])


@click.command()
@shop_option
@as_json
@click.pass_context
def ports(ctx: click.Context, shop: Path | None, as_json: bool) -> None:
    """The serial ports there are, and who of the shop file uses which. Opens none of them."""
    from drivers.ports import list_ports
    from press_monitor.setup.port_use import port_rows, wanted_ports
    from press_monitor.shop import load_shop

    shop_file = place(ctx, "shop", shop)
    wanted = wanted_ports(load_shop(shop_file)) if shop_file.exists() or shop is not None else {}
    rows = port_rows(list_ports(), wanted)
    if as_json:
        told = []
        for row in rows:
            identity = {key: getattr(row.identity, key) for key in row.identity.__slots__}
            told.append({key: getattr(row, key) for key in row.__slots__} | identity | {"used_by": list(row.used_by)})
            del told[-1]["identity"]
        put_json({"ports": told})
    else:
        for row in rows:
            known = row.identity.words if row.identity.words != "no identity" else ""
            used = f"used by {', '.join(row.used_by)}" if row.used_by else ""
            put("   ".join(part for part in (row.device or row.wanted, known, row.description, used, row.note) if part))
        say(f"{len(rows)} port{'' if len(rows) == 1 else 's'}")
    ctx.exit(PROBLEM if any(row.there is False for row in rows) else 0)


@click.command()
@shop_option
@archive_option
@click.option("--keys", is_flag=True, help="List every key of the shop file and the repair file.")
@click.option("--science", is_flag=True, help="Compare the program's science with published figures.")
@click.option(
    "--listen",
    "seconds",
    type=Number(least=0.0, most=60.0),
    default=3.0,
    show_default=True,
    metavar="S",
    help="Seconds to listen to each instrument while no recorder runs; 0 opens no port.",
)
@click.option(
    "--alarms",
    is_flag=True,
    help="Judge LOGs with the shop's own alarm limits and the usual ones; without a LOG, count the archive's alarms.",
)
@click.option("--recipe", metavar="NAME", help="For --alarms. [default: the one each LOG names]")
@click.option("--repair", type=PATH, metavar="FILE", help="For --alarms. [default: the one each LOG names, beside it]")
@click.argument("logs", nargs=-1, type=PATH, metavar="[LOG]...")
@click.option("--test", "testing", type=TESTABLE, help="Sound the horn, or send a test message.")
@click.option("--heard", type=TESTABLE, help="Say that the test was heard, or the message came.")
@click.option("--by", default="", metavar="NAME", help="Who says so.")
@as_json
@click.pass_context
def check(
    ctx: click.Context,
    /,
    shop: Path | None,
    archive: Path | None,
    keys: bool,
    science: bool,
    seconds: float,
    alarms: bool,
    recipe: str | None,
    repair: Path | None,
    logs: tuple[Path, ...],
    testing: str | None,
    heard: str | None,
    by: str,
    as_json: bool,
) -> None:
    """What is wrong with this installation, in words, and what to do. Exit 1 where something is."""
    if logs and not alarms:
        raise click.UsageError("LOG goes with --alarms")
    if alarms:
        from press_monitor.commands.alarms import put_counts, put_limits

        if logs:
            ctx.exit(put_limits(logs, place(ctx, "shop", shop), recipe, repair, as_json=as_json))
        ctx.exit(put_counts(place(ctx, "archive", archive), as_json=as_json))
    if keys:
        _put_keys(as_json)
        return
    if science:
        from press_monitor.commands.science import put_science

        ctx.exit(put_science(as_json))
    at = place(ctx, "archive", archive)
    if testing or heard:
        ctx.exit(_test(at, testing, heard, by))
    from press_monitor.commands.examination import examine

    findings = examine(place(ctx, "shop", shop), at, seconds, say=(lambda _: None) if as_json else say)
    bad = sum(finding.state.value == "problem" for finding in findings)
    if as_json:
        put_json({"ok": not bad, "findings": [finding.to_json() for finding in findings]})
    else:
        for finding in findings:
            _put_finding(finding)
        say(f"{bad} problem{'' if bad == 1 else 's'}" if bad else "nothing is wrong")
    ctx.exit(PROBLEM if bad else 0)


def _put_finding(finding: Finding) -> None:
    put(f"{MARKS[finding.state.value]:<8} {finding.check:<12} {finding.words}")
    if finding.do:
        put(f"{'':<22}-> {finding.do}")


def _put_keys(as_json: bool) -> None:
    from dataclasses import asdict

    from press_monitor.setup.keys import keys

    if as_json:
        put_json({"keys": [asdict(key) for key in keys()]})
        return
    file = ""
    for key in keys():
        if key.file != file:
            put(f"{'' if not file else chr(10)}{key.file}")
            file = key.file
        example = "" if key.example == "see below" else f"   {key.example}"
        put(f"  {key.path:<46} {'required  ' if key.required else '          '}{key.words}{example}")


def _test(archive: Path, testing: str | None, heard: str | None, by: str) -> int:
    """Have the running recorder sound or send, and keep that somebody noticed; the exit code."""
    from press_monitor.commands.asking import ask_recorder

    if testing is not None:
        answer = ask_recorder(archive, f"test-{testing}", by)
        say(answer.text)
        if answer.answer != "done":
            return PROBLEM
        question = "Did you hear it?" if testing == "horn" else "Did the message come?"
        if heard is None and sys.stdin.isatty() and click.confirm(question, err=True):
            heard = testing
        elif heard is None:
            say(f"not kept: press-monitor check --heard {testing}, within five minutes, once somebody has noticed")
    if heard is None:
        return 0
    answer = ask_recorder(archive, f"confirm-{heard}", by)
    say(answer.text)
    return 0 if answer.answer == "done" else PROBLEM

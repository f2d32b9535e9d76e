"""What is entered after the cure: inspections, corrections, a ticket that comes late."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

import click

from press_monitor.commands.audit import asked_at, by_option, day_option, note_option, today_or
from press_monitor.console import PATH, PROBLEM, archive_option, as_json, place, put, put_json, shop_option

__all__ = ["correct", "inspect", "ticket"]


def _added(entry: int, number: int, what: dict[str, Any], as_json: bool) -> None:
    if as_json:
        put_json({"certificate": number, "entry": entry, **what})
    else:
        put(f"certificate {number}: ledger entry {entry}")


@click.command()
@click.argument("number", type=int)
@click.option("--result", required=True, metavar="R", help="sound, sound with remarks, rejected.")
@click.option("--by", required=True, metavar="NAME", help="Who has looked at it.")
@day_option
@note_option
@archive_option
@as_json
@click.pass_context
def inspect(
    ctx: click.Context,
    /,
    number: int,
    result: str,
    by: str,
    day: datetime | None,
    note: str,
    archive: Path | None,
    as_json: bool,
) -> None:
    """A person has looked at the repair of certificate NUMBER. It is kept apart from what was measured."""
    from press_monitor.archive.entries import EntryError, inspection_body
    from press_monitor.archive.requests import append_entry

    when = today_or(day)
    if when > today_or(None):
        raise EntryError(f"day: {when} is still to come")
    body = inspection_body(" ".join(result.casefold().split()), by=by, day=when, note=note)
    entry = append_entry(asked_at(ctx, archive, "inspect"), "inspection", body, number)
    _added(entry, number, body, as_json)


def _value(text: str) -> Any:  # noqa: ANN401 - any TOML
    """What stands behind KEY=: true, a number, a list as TOML writes them; else plain text."""
    import tomllib

    try:
        return tomllib.loads(f"value = {text}")["value"]
    except tomllib.TOMLDecodeError:
        return text


def _settings(given: tuple[str, ...]) -> dict[str, Any]:
    made: dict[str, Any] = {}
    for setting in given:
        key, equals, text = setting.partition("=")
        if not equals or not key.strip():
            raise click.BadParameter(f"{setting!r} is not KEY=VALUE", param_hint="--set")
        made[key.strip()] = _value(text.strip())
    return made


@click.command()
@click.argument("number", type=int)
@click.option("--set", "settings", multiple=True, metavar="KEY=VALUE", help="What the ticket should have said.")
@click.option(
    "--withdraw", type=click.IntRange(1), metavar="ENTRY", help="A later entry that should not have been made."
)
@click.option("--why", required=True, metavar="TEXT", help="What was wrong.")
@click.option("--by", required=True, metavar="NAME", help="Who says so.")
@archive_option
@as_json
@click.pass_context
def correct(
    ctx: click.Context,
    /,
    number: int,
    settings: tuple[str, ...],
    withdraw: int | None,
    why: str,
    by: str,
    archive: Path | None,
    as_json: bool,
) -> None:
    """Correct the ticket of certificate NUMBER, or withdraw an entry that names it. What was sealed stays readable.

    \b
    press-monitor correct 12 --set customer="Upper Mesa Hay" --why misspelt --by Ines
    press-monitor correct 12 --set injury.length="130 mm" --why "measured again" --by Ines
    press-monitor correct 12 --withdraw 40 --why "meant certificate 13" --by Ines
    """  # noqa: D301 - click wants the very character
    from press_monitor.archive.entries import correction_body
    from press_monitor.archive.reader import ArchiveReader
    from press_monitor.archive.requests import append_entry
    from press_monitor.audit.corrections import corrected_ticket

    if bool(settings) == (withdraw is not None):
        raise click.UsageError("give either --set or --withdraw")
    asked = asked_at(ctx, archive, "correct")
    with ArchiveReader(asked.path) as reader:
        record = reader.record(number)
    changed = corrected_ticket(record, _settings(settings), withdraw, datetime.now().astimezone().date())
    body = correction_body(why=why, by=by, ticket=changed, withdraws=withdraw)
    entry = append_entry(asked, "correction", body, number)
    _added(entry, number, body, as_json)


@click.command()
@click.argument("number", type=int)
@click.argument("file", type=PATH)
@click.option("--repair", type=PATH, metavar="FILE", help="What lay between the mats.")
@click.option("--preset", metavar="NAME", help="Or a ready-made repair of the shop file.")
@by_option
@archive_option
@shop_option
@as_json
@click.pass_context
def ticket(
    ctx: click.Context,
    /,
    number: int,
    file: Path,
    repair: Path | None,
    preset: str | None,
    by: str,
    archive: Path | None,
    shop: Path | None,
    as_json: bool,
) -> None:
    """Attach the ticket in FILE to certificate NUMBER, and judge the cure on what it says.

    Exit 1 for review, fail and incomplete.
    """
    from press_monitor.archive.ticket import load_ticket
    from press_monitor.audit.comebacks import attach_ticket
    from press_monitor.shop import ShopError, load_repair, load_shop

    if repair is not None and preset is not None:
        raise click.UsageError("give either --repair or --preset")
    known = load_shop(place(ctx, "shop", shop))
    made = load_ticket(file, datetime.now().astimezone().date())
    layers = None if repair is None else load_repair(repair, known)
    if preset is not None:
        if preset not in known.repairs:
            there = ", ".join(known.repairs) or "none"
            raise ShopError(known.file, None, f"repairs.{preset}", f"no such ready-made repair; there are: {there}")
        layers = known.repairs[preset]
    report = attach_ticket(asked_at(ctx, archive, "ticket"), number, made, shop=known, repair=layers, by=by)
    if as_json:
        put_json(report.to_json())
    else:
        from press_monitor.certificate.audit_sheets import attach_sections
        from press_monitor.certificate.text import render_sections

        put(render_sections(attach_sections(report)))
    ctx.exit(PROBLEM if report.verdict in ("review", "fail", "incomplete") else 0)

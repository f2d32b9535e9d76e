"""After the cure: inspections, comebacks, corrections, late tickets; what shared what; repair or replace."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from press_monitor.console import (
    PATH,
    PROBLEM,
    Number,
    archive_option,
    as_json,
    place,
    put,
    put_json,
    say,
    shop_option,
)

if TYPE_CHECKING:
    from press_monitor.archive.requests import Asked
    from press_monitor.shop import Shop
    from press_monitor.upkeep import Upkeep

__all__ = ["comeback", "correct", "inspect", "ticket", "where_used", "worth"]

DAY = click.DateTime(("%Y-%m-%d",))
by_option = click.option("--by", default="", metavar="NAME", help="Who says so.")
note_option = click.option("--note", default="", metavar="TEXT", help="Anything worth knowing.")
day_option = click.option("--date", "day", type=DAY, metavar="DAY", help="As 2031-05-04. [default: today]")


def asked_at(ctx: click.Context, archive: Path | None, holder: str) -> Asked:
    """How this command asks for an addition to the ledger."""
    from press_monitor.archive.requests import Asked
    from press_monitor.paths import locations

    return Asked(place(ctx, "archive", archive), locations().key_file, holder)


def shop_or_none(ctx: click.Context, given: Path | None) -> Shop | None:
    """The shop file: the one that was named, or the usual one where there is one."""
    at = place(ctx, "shop", given)
    named = given is not None or (ctx.parent is not None and ctx.parent.params.get("shop") is not None)
    if not named and not at.exists():
        return None
    from press_monitor.shop import load_shop

    return load_shop(at)


def _upkeep(shop: Shop | None) -> Upkeep:
    from press_monitor.upkeep import Upkeep

    return Upkeep() if shop is None else shop.upkeep


def _today(day: datetime | None) -> date:
    return datetime.now().astimezone().date() if day is None else day.date()


@click.command()
@click.argument("number", type=int)
@click.option("--cause", required=True, metavar="C", help="In trade words: adhesion failure, cure sponge, …")
@day_option
@note_option
@by_option
@archive_option
@shop_option
@as_json
@click.pass_context
def comeback(
    ctx: click.Context,
    /,
    number: int,
    cause: str,
    day: datetime | None,
    note: str,
    by: str,
    archive: Path | None,
    shop: Path | None,
    as_json: bool,
) -> None:
    """The tire of certificate NUMBER came back.

    Causes: adhesion failure, cure sponge, moisture blow, reversion, cord separation, new injury. Enters it, shows that
    cure beside comparable good ones, judges it again by today's model, and says what it shared with others.
    """
    from press_monitor.archive.entries import named_cause
    from press_monitor.audit.comebacks import came_back

    cause = named_cause(cause)
    asked, known = asked_at(ctx, archive, "comeback"), shop_or_none(ctx, shop)
    upkeep = _upkeep(known)
    report = came_back(
        asked,
        number,
        cause,
        day=None if day is None else day.date(),
        by=by,
        note=note,
        shop=known,
        old_enough_days=upkeep.old_enough_days,
        people=upkeep.figures_by_person,
    )
    if as_json:
        put_json(report.to_json())
        return
    from press_monitor.archive.reader import ArchiveReader
    from press_monitor.certificate.audit_sheets import comeback_sections
    from press_monitor.certificate.parts import units_of
    from press_monitor.certificate.text import render_sections

    with ArchiveReader(asked.path) as reader:
        units = units_of(reader.record(number).sealed.content)
    put(render_sections(comeback_sections(report, units)))


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

    when = _today(day)
    if when > _today(None):
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
    from press_monitor.archive.requests import append_entry

    if bool(settings) == (withdraw is not None):
        raise click.UsageError("give either --set or --withdraw")
    asked = asked_at(ctx, archive, "correct")
    changed = _corrected(asked.path, number, _settings(settings), withdraw)
    body = correction_body(why=why, by=by, ticket=changed, withdraws=withdraw)
    entry = append_entry(asked, "correction", body, number)
    _added(entry, number, body, as_json)


def _corrected(archive: Path, number: int, settings: dict[str, Any], withdraw: int | None) -> dict[str, Any]:
    """The ticket's changed keys, whole and checked; refuses to withdraw what is not there or not this certificate's."""
    from press_monitor.archive.derived import as_it_stands
    from press_monitor.archive.entries import EntryError
    from press_monitor.archive.reader import ArchiveReader
    from press_monitor.archive.ticket import read_ticket

    with ArchiveReader(archive) as reader:
        record = reader.record(number)
    later = [entry.content for entry in record.later]
    if withdraw is not None:
        entries = {entry.seq for entry in record.later if entry.kind != "correction"}
        if withdraw not in entries:
            known = ", ".join(map(str, sorted(entries))) or "none"
            raise EntryError(f"certificate {number} has no entry {withdraw} to withdraw; there are: {known}")
        return {}
    ticket, _ = as_it_stands(record.sealed.content, later)
    fresh: dict[str, Any] = {}
    for path, value in settings.items():
        key, _, inner = path.partition(".")
        if inner:
            held = fresh.get(key, ticket.get(key))
            fresh[key] = {**(held if isinstance(held, dict) else {}), inner: value}
        else:
            fresh[key] = value
    said = read_ticket(fresh, datetime.now().astimezone().date()).to_json()
    # A key set to nothing is taken off the ticket, and a corrected TIN brings its week.
    return {**{key: said.get(key) for key in fresh}, **({"tin_week": said.get("tin_week")} if "tin" in fresh else {})}


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


@click.command("where-used")
@click.option("--lot", metavar="L", help="A lot of material.")
@click.option("--bag", metavar="B", help="A pressure bag.")
@click.option("--mat", metavar="M", help="A heat mat.")
@click.option("--probe", metavar="P", help="A probe.")
@click.option("--press", metavar="X", help="A press.")
@click.option("--person", metavar="NAME", help="A person, where the shop file turns such figures on.")
@click.option("--old-enough", type=click.IntRange(1, 3650), metavar="DAYS", help="Age from which a repair counts.")
@archive_option
@shop_option
@as_json
@click.pass_context
def where_used(
    ctx: click.Context,
    /,
    archive: Path | None,
    shop: Path | None,
    old_enough: int | None,
    as_json: bool,
    **items: str | None,
) -> None:
    """What shared a lot, bag, mat, probe or press, and how much of it came back.

    Against the rest of the shop's repairs of the same age, with exact intervals and tests.
    """
    import time

    from press_monitor.archive.reader import ArchiveReader
    from press_monitor.audit.where_used import where_used as found_where

    given = [(kind, name) for kind, name in items.items() if name is not None]
    if len(given) != 1:
        raise click.UsageError("give one of --lot, --bag, --mat, --probe, --press, --person")
    upkeep = _upkeep(shop_or_none(ctx, shop))
    days = upkeep.old_enough_days if old_enough is None else old_enough
    with ArchiveReader(place(ctx, "archive", archive)) as reader:
        kind, name = given[0]
        found = found_where(reader, kind, name, time.time(), old_enough_days=days, people=upkeep.figures_by_person)
    if as_json:
        put_json(found.to_json())
        return
    from press_monitor.certificate.audit_sheets import where_used_sections
    from press_monitor.certificate.text import render_sections

    put(render_sections(where_used_sections(found)))


MONEY = Number(least=0.0)
HOURS = Number(least=0.0)


@click.command()
@click.option("--replacement", required=True, type=MONEY, metavar="PRICE", help="A new tire, fitted.")
@click.option(
    "--life", required=True, type=Number(least=0.0, most=100.0), metavar="%", help="Life left, of a new tire's."
)
@click.option("--repair-cost", required=True, type=MONEY, metavar="PRICE", help="The repair.")
@click.option("--downtime-cost", type=MONEY, default=0.0, metavar="PRICE", help="An hour the machine stands.")
@click.option("--repair-hours", type=HOURS, default=0.0, metavar="H", help="It stands for the repair.")
@click.option("--replacement-hours", type=HOURS, default=0.0, metavar="H", help="It stands for a new tire.")
@click.option("--comeback-hours", type=HOURS, default=0.0, metavar="H", help="It stands when a repair fails.")
@click.option("--comeback-rate", type=Number(least=0.0, most=100.0), metavar="%", help="Instead of the shop's own.")
@archive_option
@shop_option
@as_json
@click.pass_context
def worth(
    ctx: click.Context,
    /,
    replacement: float,
    life: float,
    repair_cost: float,
    downtime_cost: float,
    repair_hours: float,
    replacement_hours: float,
    comeback_hours: float,
    comeback_rate: float | None,
    archive: Path | None,
    shop: Path | None,
    as_json: bool,
) -> None:
    """Repair or replace, with the shop's own comeback rate, and where both cost the same.

    Money in any one currency. Exit 1 where a repair does not pay.
    """
    import time

    from press_monitor.archive.reader import ArchiveReader
    from press_monitor.audit.where_used import comeback_rate as rate_of_shop
    from press_monitor.audit.worth import Costs
    from press_monitor.audit.worth import worth as weighed

    costs = Costs(
        replacement, life / 100.0, repair_cost, downtime_cost, repair_hours, replacement_hours, comeback_hours
    )
    back = None
    at = place(ctx, "archive", archive)
    if comeback_rate is None:
        if archive is None and not at.exists():
            say(f"{at}: there is no archive: the shop's comeback rate is not known (--comeback-rate gives one)")
        else:
            days = _upkeep(shop_or_none(ctx, shop)).old_enough_days
            with ArchiveReader(at) as reader:
                back = rate_of_shop(reader, time.time(), old_enough_days=days)
    found = weighed(costs, back=back, rate=None if comeback_rate is None else comeback_rate / 100.0)
    if as_json:
        put_json(found.to_json())
    else:
        from press_monitor.certificate.audit_sheets import worth_sections
        from press_monitor.certificate.text import render_sections

        put(render_sections(worth_sections(found)))
    ctx.exit(PROBLEM if found.advice == "replace" else 0)

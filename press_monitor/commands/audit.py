"""After the cure: a comeback, what shared what, repair or replace."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from press_monitor.console import (
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

__all__ = ["asked_at", "by_option", "comeback", "day_option", "note_option", "today_or", "where_used", "worth"]

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


def today_or(day: datetime | None) -> date:
    """The day that was given, else the shop's own today."""
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

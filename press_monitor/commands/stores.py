"""Stores: lots, bags, mats and probes, and what is said of them."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import Any

import click

from press_monitor.commands.audit import DAY, asked_at, by_option, note_option
from press_monitor.console import PROBLEM, Number, Quantity, archive_option, as_json, place, put, put_json

__all__ = ["stores"]

KIND = click.Choice(["lot", "bag", "mat", "probe"])


def _day(given: datetime | None) -> str | None:
    return None if given is None else given.date().isoformat()


def _today() -> date:
    return datetime.now().astimezone().date()


def _enter(ctx: click.Context, archive: Path | None, body: dict[str, Any], kind: str, as_json: bool, what: str) -> None:
    from press_monitor.archive.requests import append_entry

    entry = append_entry(asked_at(ctx, archive, "stores"), kind, body)
    if as_json:
        put_json({"entry": entry, **body})
    else:
        put(f"{what}: ledger entry {entry}")


@click.group(invoke_without_command=True)
@click.option("--kind", type=KIND, help="Only these.")
@click.option("--trouble", is_flag=True, help="Only what must not be used today. Exit 1 where there is any.")
@archive_option
@as_json
@click.pass_context
def stores(ctx: click.Context, /, kind: str | None, trouble: bool, archive: Path | None, as_json: bool) -> None:
    """Lots, bags, mats and probes: cures counted, what has expired, is worn out or overdue.

    \b
    press-monitor stores add lot SG-2203 --product "filler rubber" --expires 2031-05-04
    press-monitor stores add bag B3 --life 200 --cures-before 40
    press-monitor stores calibrate K-17 --due 2031-05-04 --reference "dry block DB-2"
    press-monitor stores retire mat M2 --why "blistered" --by Tom
    """  # noqa: D301 - click wants the very character
    if ctx.invoked_subcommand is not None:
        return
    from press_monitor.archive.reader import ArchiveReader

    with ArchiveReader(place(ctx, "archive", archive)) as reader:
        every = reader.stores().items.values()
    today = _today()
    items = [item for item in every if kind is None or item.kind == kind]
    found = [(item, item.trouble(today)) for item in items]
    if trouble:
        found = [(item, said) for item, said in found if said is not None]
    if as_json:
        put_json({"stores": [{**item.to_json(), "trouble": said} for item, said in found]})
    else:
        from press_monitor.certificate.audit_sheets import stores_sections
        from press_monitor.certificate.text import render_sections

        put(render_sections(stores_sections([item for item, _ in found], [said for _, said in found])))
    ctx.exit(PROBLEM if trouble and found else 0)


@stores.command()
@click.argument("kind", type=KIND)
@click.argument("name")
@click.option("--product", metavar="TEXT", help="What it is.")
@click.option("--compound", metavar="NAME", help="The compound's name in the shop file.")
@click.option("--received", type=DAY, metavar="DAY")
@click.option("--expires", type=DAY, metavar="DAY", help="The last good day.")
@click.option("--life", "life_cures", type=click.IntRange(1, 10**6), metavar="N", help="Cures it may do.")
@click.option("--cures-before", type=click.IntRange(0, 10**6), metavar="N", help="Cures done before it was entered.")
@click.option("--dry-time", type=Quantity("time"), metavar="T", help='Of a cement, such as "30 min".')
@note_option
@by_option
@archive_option
@as_json
@click.pass_context
def add(
    ctx: click.Context,
    /,
    kind: str,
    name: str,
    received: datetime | None,
    expires: datetime | None,
    dry_time: float | None,
    note: str,
    by: str,
    archive: Path | None,
    as_json: bool,
    **said: Any,  # noqa: ANN401 - handed on by name
) -> None:
    """Something came into Stores, or more is known of it: only what is given is changed."""
    from press_monitor.archive.entries import stores_body

    given = {**said, "received": _day(received), "expires": _day(expires), "dry_time_s": dry_time, "note": note or None}
    body = stores_body(kind, name, {key: value for key, value in given.items() if value is not None}, by=by)
    _enter(ctx, archive, body, "stores", as_json, f"{kind} {name}")


@stores.command()
@click.argument("kind", type=KIND)
@click.argument("name")
@click.option("--why", required=True, metavar="TEXT", help="What is wrong with it.")
@click.option("--from", "since", type=DAY, metavar="DAY", help="[default: today]")
@click.option("--back", is_flag=True, help="It may be used again.")
@by_option
@archive_option
@as_json
@click.pass_context
def retire(
    ctx: click.Context,
    /,
    kind: str,
    name: str,
    why: str,
    since: datetime | None,
    back: bool,
    by: str,
    archive: Path | None,
    as_json: bool,
) -> None:
    """Take something out of use; --back puts it into use again."""
    from press_monitor.archive.entries import stores_body

    day = None if back else (_day(since) or _today().isoformat())
    said = {"retired": day, "retired_why": None if back else why}
    _enter(ctx, archive, stores_body(kind, name, said, by=by, why=why), "stores", as_json, f"{kind} {name}")


@stores.command()
@click.argument("probe")
@click.option("--date", "done", type=DAY, metavar="DAY", help="[default: today]")
@click.option("--due", type=DAY, metavar="DAY", help="The last day on which it holds.")
@click.option("--reference", default="", metavar="TEXT", help="What it was compared with.")
@click.option("--offset", type=Number(), metavar="X", help="Found, in the unit below.")
@click.option("--unit", default="degF", show_default=True, metavar="U")
@by_option
@archive_option
@as_json
@click.pass_context
def calibrate(
    ctx: click.Context,
    /,
    probe: str,
    done: datetime | None,
    due: datetime | None,
    reference: str,
    offset: float | None,
    unit: str,
    by: str,
    archive: Path | None,
    as_json: bool,
) -> None:
    """A probe was compared with a reference. What is applied to its readings is the shop file's to say."""
    from press_monitor.archive.entries import calibration_body
    from press_monitor.quantities import dimension_of

    dimension_of(unit)
    facts = {
        "done": _day(done) or _today().isoformat(),
        "due": _day(due),
        "reference": reference,
        "offset": offset,
        "unit": unit,
    }
    _enter(ctx, archive, calibration_body(probe=probe, facts=facts, by=by), "calibration", as_json, f"probe {probe}")

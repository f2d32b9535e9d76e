"""What a technician asks without a press running: how long to cure."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

import click

from press_monitor.console import (
    PATH,
    PROBLEM,
    Number,
    Quantity,
    Temperature,
    as_json,
    place,
    put,
    put_json,
    say,
    shop_option,
)

__all__ = ["fit", "plan", "put_science"]

USUAL_CURE = 0.90


@click.command()
@click.option("--repair", required=True, type=PATH, metavar="FILE", help="What lies between the mats.")
@shop_option
@click.option("--mat", required=True, type=Temperature(), metavar="T", help='Mat temperature, such as "300 degF".')
@click.option("--recipe", metavar="NAME", help="Whose required cure to plan for.")
@click.option("--press", metavar="NAME", help="Where it is to be cured. [default: the recipe's usual one]")
@click.option("--heat-up", type=Number(least=0.0), default=0.0, metavar="MIN", help="Minutes of even heat-up.")
@click.option(
    "--start", type=Temperature(), metavar="T", help="Of the rubber. [default: the repair file's, else the air]"
)
@as_json
@click.pass_context
def plan(
    ctx: click.Context,
    repair: Path,
    shop: Path | None,
    mat: float,
    recipe: str | None,
    press: str | None,
    heat_up: float,
    start: float | None,
    as_json: bool,
) -> None:
    """How long to hold, for this repair at this mat temperature. Exit 1 where it cannot work."""
    from press_monitor.cure.advice import plan_cautions
    from press_monitor.cure.plan import plan as planned
    from press_monitor.shop import ShopError, load_repair, load_shop

    known = load_shop(place(ctx, "shop", shop))
    written = load_repair(repair, known)
    if press is not None and press not in known.presses:
        there_are = ", ".join(known.presses) or "none"
        raise ShopError(known.file, None, f"presses.{press}", f"no such press; there are: {there_are}")
    if recipe is None:
        required = max((each.required_cure for each in known.recipes.values()), default=USUAL_CURE)
        say(f"no --recipe: planned for {100 * required:g} %, the most that a recipe of this shop requires")
        minimum = None
    else:
        required, minimum = known.recipe(recipe).required_cure, known.recipe(recipe).minimum_hold
    on = known.press_for(recipe or "") if press is None else known.presses[press]
    fitted = known.fitted(written.repair, None if on is None else on.name)
    given = fitted.repair.start_temperature if start is None else start
    begins = known.ambient if given is None else given
    found = planned(
        fitted.repair,
        mat,
        begins,
        required,
        ambient_degC=known.ambient,
        heat_up_s=60.0 * heat_up,
        limits=fitted.limits,
        units=known.units,
        minimum_hold_s=minimum,
    )
    cautions = plan_cautions(
        fitted.repair,
        begins,
        known.units,
        start_measured=given is not None,
        probe_in_mat=on is not None and on.probe_at == "in-mat",
        mats_overlap=written.mats_overlap,
    )
    if as_json:
        own = {"press": None if on is None else on.name, "fits": [fit.words for fit in fitted.fits]}
        put_json({**found.as_json(), **own, "cautions": list(cautions)})
    else:
        from press_monitor.certificate.plan_sheet import plan_sections
        from press_monitor.certificate.text import render_sections

        for fit in fitted.fits:
            say(f"with the shop's own fit {fit.words}")
        put(render_sections(plan_sections(found, known.units, cautions)))
    ctx.exit(0 if found.feasible else PROBLEM)


@click.command()
@click.argument("log", type=PATH)
@shop_option
@click.option("--repair", required=True, type=PATH, metavar="FILE", help="What lay between the mats, as believed.")
@click.option(
    "--depth", required=True, type=Quantity("length", 0.0), metavar="D", help="The probe's, from the inner mat."
)
@click.option("--depth-uncertainty", type=Quantity("length", 1e-5), default="0.5 mm", show_default=True, metavar="D")
@click.option(
    "--disagreement",
    type=Quantity("temperature", 0.01, difference=True),
    default="0.5 degC",
    show_default=True,
    metavar="T",
    help="How far the mats' thermocouples and the probe may disagree.",
)
@click.option("--stack", metavar="NAME", help="Where the repair has several: that of the probe.")
@click.option("--compound", metavar="NAME", help="Seek the diffusivity of this compound's layers alone.")
@click.option("--press", metavar="NAME", help="Where the trial was made. [default: as the log says, or the only one]")
@click.option(
    "--contact/--no-contact",
    default=None,
    help="Seek the contact conductance too. [default: unless the press's probes lie at the rubber]",
)
@click.option(
    "--start", type=Temperature(), metavar="T", help="Of the whole stack. [default: the probe's first readings]"
)
@click.option("--until", type=Quantity("time", 1.0), metavar="T", help='Leave out what came later, as "90 min".')
@click.option("--probe", metavar="NAME", help="The buried channel. [default: the first]")
@click.option("--save", is_flag=True, help="Store what was told in the shop file: watch, plan and replay go by it.")
@click.option("--name", metavar="NAME", help="Under this name. [default: the log's]")
@as_json
@click.pass_context
def fit(
    ctx: click.Context,
    /,
    log: Path,
    shop: Path | None,
    repair: Path,
    save: bool,
    name: str | None,
    as_json: bool,
    **asked: Any,  # noqa: ANN401 - handed on by name
) -> None:
    """The shop's own diffusivity and contact conductance, from a trial log with a buried thermocouple.

    Cure a scrap section with a thermocouple buried in it and log it as channel buried. Exit 1 where the data cannot
    tell the diffusivity.
    """
    from press_monitor.audit.trial import Asked, run_trial, save_fit, shop_fit
    from press_monitor.shop import load_shop

    shop_file = place(ctx, "shop", shop)
    known = load_shop(shop_file)
    if known.fits and not save:
        say("the layers are taken as the repair file has them, without the shop's earlier fits")
    run = run_trial(log, known, repair, Asked(**asked))
    kept = None
    if save:
        kept = shop_fit(run, known, name)
        save_fit(shop_file, kept, f"{datetime.now().astimezone():%Y-%m-%d}")
    if as_json:
        put_json(run.as_json(None if kept is None else kept.name))
    else:
        from press_monitor.certificate.fit_sheet import fit_sections
        from press_monitor.certificate.text import render_sections

        put(render_sections(fit_sections(run, known.units, kept, str(shop_file))))
    ctx.exit(0 if run.fit.tells_diffusivity else PROBLEM)


def put_science(as_json: bool) -> int:
    """``check --science``: the science against published figures; the exit code."""
    from press_monitor.audit.science import science_json, science_rows

    rows = science_rows()
    wrong = sum(not row.ok for row in rows)
    if as_json:
        put_json(science_json(rows))
    else:
        from press_monitor.certificate.science_sheet import science_sections
        from press_monitor.certificate.text import render_sections

        put(render_sections(science_sections(rows)))
        checked = sum(row.checked for row in rows)
        say(
            f"{checked} figures, {len(rows)} comparisons: {f'{wrong} WRONG' if wrong else 'all within what is allowed'}"
        )
    return PROBLEM if wrong else 0

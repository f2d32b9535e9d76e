"""What a technician asks without a press running: how long to cure."""

from __future__ import annotations

from pathlib import Path

import click

from press_monitor.console import (
    PATH,
    PROBLEM,
    Number,
    Temperature,
    as_json,
    place,
    put,
    put_json,
    say,
    shop_option,
)

__all__ = ["plan"]

USUAL_CURE = 0.90


@click.command()
@click.option("--repair", required=True, type=PATH, metavar="FILE", help="What lies between the mats.")
@shop_option
@click.option("--mat", required=True, type=Temperature(), metavar="T", help='Mat temperature, such as "300 degF".')
@click.option("--recipe", metavar="NAME", help="Whose required cure to plan for.")
@click.option("--heat-up", type=Number(least=0.0), default=0.0, metavar="MIN", help="Minutes of even heat-up.")
@as_json
@click.pass_context
def plan(
    ctx: click.Context, repair: Path, shop: Path | None, mat: float, recipe: str | None, heat_up: float, as_json: bool
) -> None:
    """How long to hold, for this repair at this mat temperature. Exit 1 where it cannot work."""
    from press_monitor.cure.plan import plan as planned
    from press_monitor.shop import load_repair, load_shop

    known = load_shop(place(ctx, "shop", shop))
    made = load_repair(repair, known).repair
    if recipe is None:
        required = max((each.required_cure for each in known.recipes.values()), default=USUAL_CURE)
        say(f"no --recipe: planned for {100 * required:g} %, the most that a recipe of this shop requires")
        minimum = None
    else:
        required, minimum = known.recipe(recipe).required_cure, known.recipe(recipe).minimum_hold
    start = known.ambient if made.start_temperature is None else made.start_temperature
    found = planned(
        made,
        mat,
        start,
        required,
        ambient_degC=known.ambient,
        heat_up_s=60.0 * heat_up,
        units=known.units,
        minimum_hold_s=minimum,
    )
    if as_json:
        put_json(found.as_json())
    else:
        from press_monitor.certificate.plan_sheet import plan_sections
        from press_monitor.certificate.text import render_sections

        put(render_sections(plan_sections(found, known.units)))
    ctx.exit(0 if found.feasible else PROBLEM)

"""Working out the plan of what stands on the screen. Pure but for the work, which is done off the screen's thread."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from press_monitor.quantities import UnitSystem

if TYPE_CHECKING:
    from press_monitor.cure.plan import Plan
    from press_monitor.shop import Shop

__all__ = ["Asked", "Planned", "work_out"]


@dataclass(frozen=True, slots=True)
class Asked:
    """What a plan depends on: the repair file's text, the recipe's name, the press's, whether the mats overlap (None:
    not said), and the units it is told in.
    """

    repair: str
    recipe: str
    press: str
    mats_overlap: bool | None
    units: str


@dataclass(frozen=True, slots=True)
class Planned:
    """What came of it: a plan with what it takes for granted, or why there is none."""

    asked: Asked
    plan: Plan | None = None
    trouble: str = ""
    cautions: tuple[str, ...] = ()
    minimum_hold_min: float | None = None


def work_out(shop: Shop, asked: Asked) -> Planned:
    """The plan, at the recipe's temperature, counted from when the mats are there; takes a few tenths of a second."""
    from press_monitor.cure.advice import plan_cautions
    from press_monitor.cure.compound import CureError
    from press_monitor.cure.plan import plan
    from press_monitor.shop import ShopError, repair_from_text

    try:
        written = repair_from_text(asked.repair, shop)
        recipe = shop.recipe(asked.recipe)
        fitted = shop.fitted(written.repair, asked.press)
        given = fitted.repair.start_temperature
        units = UnitSystem.named(asked.units)
        start = shop.ambient if given is None else given
        made = plan(
            fitted.repair,
            recipe.hold_temperature,
            start,
            recipe.required_cure,
            ambient_degC=shop.ambient,
            limits=fitted.limits,
            units=units,
            minimum_hold_s=recipe.minimum_hold,
        )
    except ShopError as error:
        return Planned(asked, trouble=f"{error.key}: {error.message}" if error.key else error.message)
    except CureError as error:
        return Planned(asked, trouble=str(error))
    press = shop.presses.get(asked.press)
    cautions = plan_cautions(
        fitted.repair,
        start,
        units,
        start_measured=given is not None,
        probe_in_mat=press is not None and press.probe_at == "in-mat",
        mats_overlap=asked.mats_overlap if asked.mats_overlap is not None else written.mats_overlap,
    )
    fits = tuple(f"With the shop's own fit {fit.words}." for fit in fitted.fits)
    return Planned(asked, made, "", (*cautions, *fits), recipe.minimum_hold / 60.0)

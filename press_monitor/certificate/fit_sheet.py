"""A fitted trial as sections: the finding, how well the model follows the probe, and what comes of it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from press_monitor.audit.trial import TrialRun
from press_monitor.certificate.model import Chart, Item, Pair, Section, Series, Words
from press_monitor.cure.fitted import LEAST_SPREAD, PERFECT, ShopFit
from press_monitor.cure.kinetics import Array
from press_monitor.quantities import UnitSystem

__all__ = ["fit_sections"]

_STRETCHES = 60


def fit_sections(run: TrialRun, units: UnitSystem, saved: ShopFit | None, shop_file: str) -> tuple[Section, ...]:
    """Sections ``fit``, ``residuals`` and ``use``, in the shop's units."""
    return (
        Section("fit", "What the trial tells", tuple(_finding(run, units))),
        Section("residuals", "How the model follows the probe", tuple(_charts(run, units))),
        Section("use", "What comes of it", tuple(_use(run, saved, shop_file))),
    )


def _finding(run: TrialRun, units: UnitSystem) -> Iterator[Item]:
    found, trial = run.fit, run.trial
    yield Words(found.words)
    where = f"{1e3 * trial.depth:.1f} mm from the inner mat in {trial.stack.name!r}"
    yield Pair("Probe", f"{run.probe}, {where}, give or take {1e3 * trial.depth_uncertainty:.1f} mm")
    yield Pair("Sought for", "all layers" if run.asked.compound is None else f"the layers of {run.asked.compound}")
    contact = "sought too" if run.contact else "taken as perfect: the mats' thermocouples lie against the rubber"
    yield Pair("Contact", contact + ("" if run.press is None else f" ({run.press})"))
    yield Pair("Start", units.say_temperature(trial.begins, 1))
    seen = np.isfinite(trial.buried)
    minutes = (trial.times[-1] - trial.times[0]) / 60.0
    yield Pair("Readings", f"{int(seen.sum())} over {minutes:.0f} min")
    unit = units.temperature_sign
    yield Pair("Left over", f"{units.degrees_difference(found.rms):.2f} {unit} (root mean square)")
    offset = units.degrees_difference(found.offset)
    side = "more" if offset >= 0.0 else "less"
    yield Pair("Thermocouples", f"the probe reads {abs(offset):.2f} {unit} {side} than the mats, as far as can be told")


def _charts(run: TrialRun, units: UnitSystem) -> Iterator[Item]:
    found, trial = run.fit, run.trial
    minutes = tuple((trial.times / 60.0).tolist())

    def column(values: Array) -> tuple[float | None, ...]:
        return tuple(v if np.isfinite(v) else None for v in values.tolist())

    per_K = units.degrees_difference(1.0)
    reach = per_K * max(0.5, float(np.nanmax(np.abs(found.residuals))))
    yield Chart(
        "Residuals, read minus modelled",
        units.temperature_sign,
        minutes,
        (
            Series("each reading", "r", column(per_K * found.residuals)),
            Series("their mean", "m", column(per_K * _means(found.residuals))),
        ),
        limits=(("none", 0.0),),
        reach=(-reach, reach),
    )
    buried = units.degrees(0.0) + per_K * trial.buried
    yield Chart(
        "The probe",
        units.temperature_sign,
        minutes,
        (Series("read", "p", column(buried)), Series("modelled", "m", column(buried - per_K * found.residuals))),
    )
    yield Words(
        "A good fit leaves nothing but noise about zero. A slow wave means that something was not as believed: the "
        "layers, the probe's depth, an edge that lost heat, a press opened before the last row."
    )


def _means(residuals: Array) -> Array:
    """The mean of each of some stretches (K,), at every reading of it: what is left when the noise is averaged out."""
    means = np.full(len(residuals), np.nan)
    for part in np.array_split(np.arange(len(residuals)), _STRETCHES):
        known = residuals[part][np.isfinite(residuals[part])]
        if len(known):
            means[part] = known.mean()
    return means


def _use(run: TrialRun, saved: ShopFit | None, shop_file: str) -> Iterator[Item]:
    if saved is None:
        told = run.fit.diffusivity_found is not None or run.fit.contact_found is not None
        yield Words("Nothing was stored; --save does." if told else "Nothing was stored: the data cannot tell.")
        return
    yield Words(f"Stored in {shop_file} as [fits.{saved.name}], with this log's name and SHA-256.")
    if saved.diffusivity is not None:
        whose = "all rubber of this shop" if saved.compound is None else f"the layers of {saved.compound}"
        low, high = saved.diffusivity.factors
        low, high = min(1.0 - LEAST_SPREAD, low), max(1.0 + LEAST_SPREAD, high)
        yield Words(
            f"Watch, plan and replay go by it for {whose} without figures of its own, and where every layer is "
            f"covered their band takes {100 * low - 100:+.0f} % to {100 * high - 100:+.0f} % of it in place of the "
            "usual 15 % either way.",
            bullet=True,
        )
    if saved.contact is not None:
        on = "every press" if saved.press is None else saved.press
        value = saved.contact.value
        said = "as good as perfect" if value >= PERFECT else f"{value:.0f} W/m2/K"
        yield Words(
            f"On {on} the contact counts as {said}, at the band's lower edge {saved.contact.low:.0f} W/m2/K; a probe "
            "in the mat no longer holds the verdict at review there.",
            bullet=True,
        )
    yield Words(
        "One trial is one section. Bury a probe again when the rubber, the mats or the bags change.", bullet=True
    )

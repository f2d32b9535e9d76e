"""``[fits.NAME]`` of the shop file: what trials told of this shop's rubber and contact, and the logs they came from."""

from __future__ import annotations

import re
from collections.abc import Collection

from press_monitor.cure.compound import CureError
from press_monitor.cure.fitted import PERFECT, Found, ShopFit
from press_monitor.quantities import Dimension, from_si
from press_monitor.tables import Table

__all__ = ["fit_keys", "read_fit"]

_SHA256 = re.compile(r"[0-9a-f]{64}")
_DIFFUSIVITY, _CONTACT = "diffusivity", "contact_conductance"


def read_fit(name: str, table: Table, compounds: Collection[str], presses: Collection[str]) -> ShopFit:
    """One fit. Raises `ShopError`."""
    trial = table.text("trial")
    digest = table.text("trial_sha256")
    if not _SHA256.fullmatch(digest):
        raise table.error("trial_sha256", "wants the log's SHA-256 as 64 hex digits")
    table.maybe("fitted_on", table.text)
    compound = table.maybe("compound", table.text)
    if compound is not None and compound not in compounds:
        raise table.error("compound", f"no compound {compound!r}; there are: {', '.join(compounds) or 'none'}")
    press = table.maybe("press", table.text)
    if press is not None and press not in presses:
        raise table.error("press", f"no press {press!r}; there are: {', '.join(presses) or 'none'}")
    diffusivity = _found(table, _DIFFUSIVITY, Dimension.DIFFUSIVITY)
    contact = _found(table, _CONTACT, Dimension.CONDUCTANCE, most=PERFECT)
    if diffusivity is None and contact is None:
        raise table.error(_DIFFUSIVITY, f"is missing, and so is {_CONTACT}: a fit tells one or the other")
    if diffusivity is not None and not 1e-8 <= diffusivity.value <= 1e-6:
        raise table.error(_DIFFUSIVITY, "is not that of a rubber (0.01 to 1 mm2/s)")
    table.done()
    return ShopFit(name, trial, digest, diffusivity, contact, compound, press)


def _found(table: Table, key: str, dimension: Dimension, most: float | None = None) -> Found | None:
    """A figure with its limits. With `most`, a figure or upper limit that is left out stands for that."""
    keys = (key, f"{key}_low", f"{key}_high")
    given = {each: table.has(each) for each in keys}
    if not any(given.values()):
        return None

    def figure(each: str) -> float:
        if most is not None and each != keys[1] and not given[each]:
            return most
        return table.quantity(each, dimension, above=0.0)

    value, low, high = map(figure, keys)
    try:
        return Found(value, low, high)
    except CureError:
        raise table.error(key, f"must lie between {keys[1]} and {keys[2]}") from None


def fit_keys(fit: ShopFit, fitted_on: str) -> dict[str, str]:
    """The table's keys and values, as `read_fit` reads them; `fitted_on` is the day."""
    keys = {"trial": fit.trial, "trial_sha256": fit.trial_sha256, "fitted_on": fitted_on}
    for name, found, unit in ((_DIFFUSIVITY, fit.diffusivity, "mm2/s"), (_CONTACT, fit.contact, "W/m2/K")):
        if found is None:
            continue
        for key, value in ((name, found.value), (f"{name}_low", found.low), (f"{name}_high", found.high)):
            if value < PERFECT:
                keys[key] = f"{from_si(value, unit):.6g} {unit}"
    if fit.compound is not None:
        keys["compound"] = fit.compound
    if fit.press is not None:
        keys["press"] = fit.press
    return keys

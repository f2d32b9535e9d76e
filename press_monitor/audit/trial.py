"""A trial log with a buried thermocouple, fitted: what it tells of the rubber and the contact, and keeping that."""

from __future__ import annotations

import contextlib
import itertools
import os
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from drivers.log import Column, Log, LogError, read_log
from press_monitor.audit.replay import judged_columns
from press_monitor.cure.compound import CureError
from press_monitor.cure.fit import fit
from press_monitor.cure.fitted import ShopFit
from press_monitor.cure.kinetics import Array
from press_monitor.cure.layers import FaceKind, Repair, Stack
from press_monitor.cure.trial import Fit, Trial
from press_monitor.quantities import to_si
from press_monitor.readings import Role, role_of
from press_monitor.shop import Shop, load_repair, load_shop
from press_monitor.shop_fits import fit_keys

__all__ = ["Asked", "TrialError", "TrialRun", "run_trial", "save_fit", "shop_fit"]

LONGEST_GAP_S = 120.0
"""Mats are taken to move evenly between readings; over a longer silence that would be made up."""
_STRETCHES = 60


class TrialError(Exception):
    """A trial that cannot be fitted or kept; one line naming the file or the option."""


@dataclass(frozen=True, slots=True)
class Asked:
    """How to read the trial. SI; None: as the files say.

    Attributes:
        depth, depth_uncertainty: of the probe, m from the inner mat, and one standard deviation of that.
        disagreement: of the mats' thermocouples with the probe, one standard deviation, K.
        stack: which of the repair's stacks the probe lies in.
        compound: seek the diffusivity of this compound's layers alone.
        press: where the trial was made.
        contact: whether the contact conductance is sought too; None: unless the press's probes lie at the rubber.
        start: of the whole stack, degC; None: the repair's, else the probe's first readings.
        until: s, readings after it are left out.
        probe: the buried channel's name; None: the first.
    """

    depth: float
    depth_uncertainty: float = 0.0005
    disagreement: float = 0.5
    stack: str | None = None
    compound: str | None = None
    press: str | None = None
    contact: bool | None = None
    start: float | None = None
    until: float | None = None
    probe: str | None = None


@dataclass(frozen=True, slots=True)
class TrialRun:
    """A fitted trial."""

    log: Log
    asked: Asked
    press: str | None
    probe: str
    contact: bool
    trial: Trial
    fit: Fit

    def as_json(self, saved_as: str | None) -> dict[str, Any]:
        """What ``fit --json`` prints, every key always there."""
        found, trial = self.fit, self.trial
        per_factor = 1e6 * found.diffusivity / found.factor
        return {
            "log": Path(self.log.path).name,
            "log_sha256": self.log.sha256,
            "press": self.press,
            "stack": trial.stack.name,
            "compound": self.asked.compound,
            "probe": self.probe,
            "depth_mm": 1e3 * trial.depth,
            "depth_uncertainty_mm": 1e3 * trial.depth_uncertainty,
            "disagreement_K": trial.disagreement,
            "start_degC": trial.begins,
            "duration_min": float(trial.times[-1] - trial.times[0]) / 60.0,
            "readings": int(np.count_nonzero(np.isfinite(trial.buried))),
            "contact_sought": self.contact,
            "tells_diffusivity": found.tells_diffusivity,
            "diffusivity_mm2_s": 1e6 * found.diffusivity,
            "diffusivity_low_mm2_s": per_factor * found.factor_low,
            "diffusivity_high_mm2_s": per_factor * found.factor_high,
            "tells_contact": found.tells_contact,
            "contact_conductance_W_m2_K": found.conductance,
            "contact_conductance_low_W_m2_K": found.conductance_low,
            "contact_conductance_high_W_m2_K": found.conductance_high,
            "probe_reads_more_K": found.offset,
            "probe_lies_deeper_mm": 1e3 * found.deeper,
            "rms_K": found.rms,
            "words": found.words,
            "saved_as": saved_as,
            "residuals": list(self._stretches()),
        }

    def _stretches(self) -> Iterator[dict[str, float | None]]:
        """The residuals in a few stretches of time: read minus modelled, K."""
        times, residuals = self.trial.times, self.fit.residuals
        edges = np.linspace(times[0], times[-1], _STRETCHES + 1)
        for i, (start, end) in enumerate(itertools.pairwise(edges)):
            here = residuals[(times >= start) & ((times < end) | (i == _STRETCHES - 1))]
            here = here[np.isfinite(here)]
            known = len(here) > 0
            yield {
                "start_s": float(start),
                "end_s": float(end),
                "mean_K": float(here.mean()) if known else None,
                "least_K": float(here.min()) if known else None,
                "most_K": float(here.max()) if known else None,
            }


def run_trial(log_path: Path, shop: Shop, repair_path: Path, asked: Asked) -> TrialRun:
    """Read and fit a trial. Raises `LogError`, `ShopError` and `TrialError`."""
    repair = load_repair(repair_path, shop).repair
    log = read_log(log_path)
    stack = _stack(repair, asked.stack, repair_path)
    press = _press(log, shop, asked.press)
    mats_at_rubber = press is not None and shop.presses[press].probe_at == "rubber"
    contact = not mats_at_rubber if asked.contact is None else asked.contact
    columns = _columns(log, asked.probe)
    times, (inner, outer, buried) = _readings(log, columns, asked.until)
    try:
        trial = Trial(
            stack,
            times,
            inner,
            outer,
            buried,
            depth=asked.depth,
            depth_uncertainty=asked.depth_uncertainty,
            disagreement=asked.disagreement,
            start=repair.start_temperature if asked.start is None else asked.start,
            free=_free(stack, asked.compound, shop),
        )
        found = fit(trial, contact=contact)
    except CureError as error:
        raise TrialError(f"{log_path}: {error}") from None
    return TrialRun(log, asked, press, columns[2][1].name, contact, trial, found)


def _stack(repair: Repair, name: str | None, path: Path) -> Stack:
    if FaceKind.AIR in (repair.inner, repair.outer):
        raise TrialError(f"{path}: faces: a trial needs a mat on both faces, shop air is known too poorly")
    if repair.contact_conductance is not None:
        raise TrialError(f"{path}: contact_conductance: leave it out, it is what is sought")
    known = ", ".join(stack.name for stack in repair.stacks)
    if name is None:
        if len(repair.stacks) > 1:
            raise TrialError(f"--stack: say in which of the stacks the probe lies: {known}")
        return repair.stacks[0]
    for stack in repair.stacks:
        if stack.name == name:
            return stack
    raise TrialError(f"--stack: no stack {name!r} in {path}; there are: {known}")


def _press(log: Log, shop: Shop, name: str | None) -> str | None:
    """The press of a trial: as asked, as the log says, or the only one."""
    if name is not None:
        if name not in shop.presses:
            raise TrialError(f"--press: no press {name!r}; there are: {', '.join(shop.presses) or 'none'}")
        return name
    said = log.comment("press")
    if said in shop.presses:
        return said
    return next(iter(shop.presses)) if len(shop.presses) == 1 else None


def _free(stack: Stack, compound: str | None, shop: Shop) -> tuple[bool, ...] | None:
    if compound is None:
        return None
    if compound not in shop.compounds:
        raise TrialError(f"--compound: no compound {compound!r}; there are: {', '.join(shop.compounds) or 'none'}")
    free = tuple(layer.compound is not None and layer.compound.name == compound for layer in stack.layers)
    if not any(free):
        raise TrialError(f"--compound: no layer of {stack.name!r} is of {compound!r}")
    return free


def _columns(log: Log, probe: str | None) -> list[tuple[int, Column]]:
    """Where the inner mat, the outer mat and the probe stand in a row."""
    judged = judged_columns(log)
    found = []
    for role in (Role.INNER_MAT, Role.OUTER_MAT, Role.BURIED):
        of_role = [c for c in judged if role_of(c.name) is role]
        if role is Role.BURIED and probe is not None:
            of_role = [c for c in of_role if c.name == probe]
        if not of_role:
            name = probe if role is Role.BURIED and probe is not None else role.value
            raise LogError(log.path, log.header_line, None, f"has no channel {name}, which a trial needs")
        found.append((log.columns.index(of_role[0]), of_role[0]))
    return found


def _readings(log: Log, columns: list[tuple[int, Column]], until: float | None) -> tuple[Array, list[Array]]:
    """Times (K,) at which both mats were read, and inner, outer, probe (nan where it gave nothing), degC."""
    times: list[float] = []
    rows: list[list[float]] = []
    for t, row in zip(log.times, log.rows, strict=True):
        if until is not None and t > until:
            break
        cells = [row[i] if row else None for i, _ in columns]
        if cells[0] is None or cells[1] is None:
            continue
        if times and t - times[-1] > LONGEST_GAP_S:
            message = f"a mat gave nothing from {times[-1]:g} s to {t:g} s; a trial needs both mats throughout"
            raise LogError(log.path, None, None, message)
        times.append(t)
        rows.append([np.nan if v is None else to_si(v, c.unit) for v, (_, c) in zip(cells, columns, strict=True)])
    if not times:
        raise LogError(log.path, None, None, "has no row in which both mats were read")
    values = np.array(rows, dtype=np.float64)
    return np.array(times, dtype=np.float64), [values[:, i].copy() for i in range(3)]


def shop_fit(run: TrialRun, shop: Shop, name: str | None = None) -> ShopFit:
    """What of a fit the shop can go by. Raises `TrialError` where that is nothing, or not clear for what it holds."""
    diffusivity, contact = run.fit.diffusivity_found, run.fit.contact_found
    if diffusivity is None and contact is None:
        raise TrialError(f"{run.log.path}: the data cannot tell, so there is nothing to save")
    if contact is not None and run.press is None and shop.presses:
        raise TrialError(f"--press: the contact is that of one press, say which: {', '.join(shop.presses)}")
    sought = run.trial.sought
    if diffusivity is not None and max(x.diffusivity for x in sought) > 1.001 * min(x.diffusivity for x in sought):
        raise TrialError(
            "--save: the layers are believed to differ in diffusivity, so that one figure cannot stand for all; "
            "seek one compound's with --compound"
        )
    return ShopFit(
        name=name or Path(run.log.path).stem,
        trial=Path(run.log.path).name,
        trial_sha256=run.log.sha256,
        diffusivity=diffusivity,
        contact=contact,
        compound=run.asked.compound if diffusivity is not None else None,
        press=run.press if contact is not None else None,
    )


def save_fit(shop_path: Path, kept: ShopFit, fitted_on: str) -> None:
    """Write a fit into the shop file, in place of one of its name; everything else stays as it is, comments too.

    The file is replaced whole once it has been read back. Raises `TrialError`, `ShopError` and OSError.
    """
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    raw = shop_path.read_bytes()
    text = raw.decode("utf-8-sig")
    try:
        document = tomlkit.parse(text)
        fits = document.get("fits")
        if fits is None:
            document["fits"] = fits = tomlkit.table(is_super_table=True)
        elif kept.name in fits:
            del fits[kept.name]
        table = tomlkit.table()
        for key, value in fit_keys(kept, fitted_on).items():
            table[key] = value
        fits[kept.name] = table
        made = tomlkit.dumps(document)
    except TOMLKitError as error:
        raise TrialError(f"{shop_path}: cannot be added to: {error}") from None
    if "\r\n" in text:
        made = made.replace("\r\n", "\n").replace("\n", "\r\n")
    handle, name = tempfile.mkstemp(suffix=".toml", prefix=".shop-", dir=shop_path.parent)
    place = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write((b"\xef\xbb\xbf" if raw.startswith(b"\xef\xbb\xbf") else b"") + made.encode("utf-8"))
        if kept.name not in [fit.name for fit in load_shop(place).fits]:
            raise TrialError(f"{shop_path}: cannot be added to: what was written does not read back")
        shutil.copymode(shop_path, place)
        os.replace(place, shop_path)
    finally:
        with contextlib.suppress(FileNotFoundError):
            place.unlink()

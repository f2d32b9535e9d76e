"""Making watches from the shop file, from commands and from what the archive kept; and the record of a cycle."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, datetime

from press_monitor import __version__
from press_monitor.archive import CycleStart, Json, record_body
from press_monitor.archive.stores import NO_STORES, Stores, UseRefused, with_overrides
from press_monitor.archive.ticket import read_ticket
from press_monitor.cure.limits import Limits
from press_monitor.quantities import UnitSystem
from press_monitor.readings.setup import ChannelSetup
from press_monitor.readings.types import Role, role_of
from press_monitor.recorder.cycle import Cycle, Watch
from press_monitor.recorder.station import Fitted, Refused
from press_monitor.shop import Press, RepairFile, Shop, ShopError, repair_from_text
from press_monitor.watch.cure_watch import CureWatch, WatchSetup
from press_monitor.watch.plain import from_json, to_json
from press_monitor.watch.recipe import Recipe
from press_monitor.watch.record import model_json
from press_monitor.watch.types import FaceView, GateView, Phase, Snapshot, Verdict

__all__ = ["ShopWatches", "kept_setup", "setup_again"]

_APART = ("recipe", "repair", "units")


def kept_setup(setup: WatchSetup) -> Json:
    """A watch's setup as a cycle's start keeps it, apart from recipe and repair, which have places of their own."""
    plain: dict[str, Json] = to_json(setup)
    return {key: value for key, value in plain.items() if key not in _APART} | {"units": setup.units.name}


def setup_again(start: CycleStart) -> WatchSetup:
    """The setup of a kept cycle. Raises KeyError, TypeError or ValueError for one that another version wrote."""
    units = UnitSystem.named(str(start.setup["units"]))
    plain = {**start.setup, "recipe": start.recipe, "repair": start.repair, "units": to_json(units)}
    return from_json(WatchSetup, plain)


class ShopWatches:
    """The watches of one press."""

    def __init__(
        self,
        press: Press,
        shop: Shop,
        channels: Iterable[ChannelSetup],
        *,
        stores: Callable[[], Stores] = lambda: NO_STORES,
        now: Callable[[], float] = time.time,
    ) -> None:
        self._press = press
        self._shop = shop
        self._channels = tuple(channels)
        self._stores = stores
        self._now = now

    def fit(self, args: Mapping[str, Json] | None) -> Fitted:
        """A watch for a start command's `recipe`, `repair` (text) or `preset`, and `ticket`; None: unticketed.

        Raises `Refused` naming what is wrong with them: also where something on the ticket has expired, is worn out or
        is overdue, unless `override` says ``by`` whom and for what ``reason`` it is used all the same.
        """
        args_ = {} if args is None else args
        recipe = self._recipe(args_.get("recipe"))
        repair = self._repair(args_)
        ticket = None if args is None else self._ticket(args_.get("ticket") or {}, args_.get("override"))
        setup = self._setup(recipe, repair, ticket)
        return Fitted(
            CureWatch(setup),
            to_json(recipe),
            to_json(setup.repair),
            ticket,
            {
                **kept_setup(setup),
                "driver": self._press.driver,
                "inputs": [channel.facts() for channel in self._channels],
            },
        )

    def _ticket(self, given: Json, override: Json) -> dict[str, Json]:
        """The ticket checked, with every use that somebody overrode."""
        if not isinstance(given, Mapping):
            raise Refused(f"the ticket wants keys and values, not {given!r}")
        today = datetime.fromtimestamp(self._now(), UTC).astimezone().date()
        try:
            ticket = read_ticket(given, today)
            channels = [
                (c.name, c.sensor, None if c.calibration is None else c.calibration.due) for c in self._channels
            ]
            return with_overrides(ticket.to_json(), self._stores().troubles(ticket, today, channels), override)
        except (ShopError, UseRefused) as error:
            raise Refused(str(error)) from None

    def _recipe(self, name: Json) -> Recipe:
        try:
            return self._shop.recipe(self._press.recipe if name is None else str(name))
        except ShopError as error:
            raise Refused(f"{name}: {error.message}") from None

    def _repair(self, args: Mapping[str, Json]) -> RepairFile | None:
        preset, text = args.get("preset"), args.get("repair")
        if preset is not None:
            if preset not in self._shop.repairs:
                known = ", ".join(self._shop.repairs) or "none"
                raise Refused(f"no ready-made repair {preset!r}; there are: {known}")
            return self._shop.repairs[str(preset)]
        if text is None:
            return None
        try:
            return repair_from_text(str(text), self._shop)
        except ShopError as error:
            raise Refused(str(error)) from None

    def _setup(self, recipe: Recipe, repair: RepairFile | None, ticket: Mapping[str, Json] | None) -> WatchSetup:
        told = ticket or {}
        overlap = told.get("mats_overlap")
        if not isinstance(overlap, bool):
            overlap = repair.mats_overlap if repair is not None else None
        fitted = None if repair is None else self._shop.fitted(repair.repair, self._press.name)
        return WatchSetup(
            recipe=recipe,
            repair=None if fitted is None else fitted.repair,
            channels=tuple(c.name for c in self._channels if role_of(c.name) is not Role.OTHER),
            ambient=self._shop.ambient,
            altitude=self._shop.altitude,
            units=self._shop.units,
            probe_at=self._press.probe_at,
            ticketed=ticket is not None,
            tire=str(told.get("tire") or ""),
            section=str(told.get("section") or ""),
            mats_overlap=overlap,
            overlap_asked=ticket is not None,
            kinds=self._shop.alarms,
            limits=Limits() if fitted is None else fitted.limits,
            fits=() if fitted is None else tuple(fit.words for fit in fitted.fits),
        )

    def again(self, start: CycleStart, save: Json | None) -> Watch:
        """The watch of a kept cycle, fresh or restored. Raises KeyError, TypeError or ValueError where it cannot."""
        setup = setup_again(start)
        return CureWatch(setup) if save is None else CureWatch.restore(setup, save)

    def body(self, cycle: Cycle, trouble: str | None = None) -> dict[str, Json]:
        """The cycle's record; with `trouble`, an incomplete one that gives it as its reason."""
        start = cycle.start
        whole = trouble is None
        return record_body(
            start,
            _result(cycle) if whole else _incomplete(cycle, str(trouble)),
            shop=self._shop.name,
            software=__version__,
            ended_utc=cycle.utc(max(cycle.t, 0.0)),
            compounds=_compounds(start.repair),
            calibration={c.name: c.calibration.facts() for c in self._channels if c.calibration is not None},
            model=model_json(start.setup),
            profiles=cycle.watch.profiles() if whole else None,
            actions=cycle.did if whole else (),
            events=cycle.said if whole else (),
            gaps=[told for told in cycle.said if told.get("kind") in ("RecordHole", "recorder-gap")] if whole else (),
        )

    def empty(self, t: float, values: Mapping[str, float]) -> Snapshot:
        """An empty press: its usual recipe and what its channels say."""
        recipe = self._shop.recipe(self._press.recipe)

        def face(role: Role) -> FaceView | None:
            name = next((c.name for c in self._channels if role_of(c.name) is role), None)
            return None if name is None else FaceView(name, values.get(name), name in values, False, None)

        bag = next((c.name for c in self._channels if role_of(c.name) is Role.BAG), "")
        return Snapshot(
            t=t,
            phase=Phase.EMPTY,
            phase_since_s=t,
            phases=(),
            ticketed=False,
            recipe=recipe.name,
            tire="",
            section="",
            thickness_mm=None,
            hold_s=0.0,
            hold_needed_s=recipe.minimum_hold,
            required_cure=recipe.required_cure,
            blow_point=None,
            band_low_degC=recipe.band_low,
            band_high_degC=recipe.band_high,
            maximum_degC=recipe.maximum_temperature,
            heat_up_limit_s=recipe.heat_up_limit,
            bag_target_Pa=recipe.bag_pressure,
            bag_minimum_Pa=recipe.bag_minimum,
            bag_maximum_Pa=recipe.bag_maximum,
            inner=face(Role.INNER_MAT),
            outer=face(Role.OUTER_MAT),
            bag_Pa=values.get(bag),
            bag_trend_Pa_min=None,
            deepest=None,
            hottest=None,
            reversion_used=None,
            stacks=(),
            forecast=None,
            worst_vapour_margin_kPa=None,
            set_without_pressure=None,
            alarms=(),
            gate=GateView(True, False, True, values.get(bag, 0.0) < 0.2 * recipe.bag_pressure, ""),
            cure_due=False,
            verdict=Verdict.INCOMPLETE,
            reasons=(),
            words="empty",
            extras={},
        )


def _result(cycle: Cycle) -> Json:
    result = dict(cycle.watch.result(at_release=True))
    result.setdefault("source", "live")
    return result


def _incomplete(cycle: Cycle, trouble: str) -> Json:
    cure = ("deepest", "hottest", "worst_vapour_margin_kPa", "worst_boil_margin_kPa", "set_without_pressure")
    return {
        "verdict": Verdict.INCOMPLETE.value,
        "reasons": [f"the cycle could not be judged: {trouble}"],
        "source": "live",
        "hold_min": 0.0,
        "release_s": None,
        "duration_s": max(cycle.t, 0.0),
        "phases": [],
        "alarms": [],
        "cure": dict.fromkeys(cure),
    }


def _compounds(repair: Json) -> Json:
    """The compounds a repair names, by name."""
    stacks = repair["stacks"] if repair else ()
    layers = [layer for stack in stacks for layer in stack["layers"] if layer["compound"]]
    return {layer["compound"]["name"]: layer["compound"] for layer in layers}

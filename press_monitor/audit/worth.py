"""Repair or replace: what each costs for the life that is left in the tire, and where it tips.

A share `life` of a new tire's life is left once the tire is repaired. To have the same life from a new tire costs that
share of its price. A repair that comes back is taken to have lost all of it: the life has to be bought after all, and
the machine stands again. Against that stands the shop's own comeback rate, with what its numbers leave open.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass

from press_monitor.archive import Json
from press_monitor.audit.rejudge import AuditError
from press_monitor.audit.statistics import clopper_pearson

__all__ = ["Costs", "Worth", "worth"]


@dataclass(frozen=True, slots=True)
class Costs:
    """What is put in. Money in any one currency, hours of standing still.

    Attributes:
        replacement: price of a new tire, fitted.
        life: share of a new tire's life that is left after the repair, 0-1.
        repair: price of the repair.
        downtime_cost: of an hour the machine stands.
        repair_hours, replacement_hours, comeback_hours: how long it stands for each.
    """

    replacement: float
    life: float
    repair: float
    downtime_cost: float = 0.0
    repair_hours: float = 0.0
    replacement_hours: float = 0.0
    comeback_hours: float = 0.0


@dataclass(frozen=True, slots=True)
class Worth:
    """What comes out. Money in the currency put in.

    Attributes:
        advice: ``repair``, ``replace``, or ``too close to call`` where it hangs on the comeback rate.
        saving: by repairing, at the shop's own rate; low and high at the ends of the rate's interval.
        repair_cost, replace_cost: expected, for the life that is left.
        comeback_k, comeback_n: the repairs the rate stands on; None where the rate was given.
        comeback_rate: None where the shop has none yet: then everything from 0 to 1 is possible.
        break_even_repair, break_even_life, break_even_rate: where both cost the same, all else as put in; None where
            no value in reach does it.
    """

    advice: str
    saving: float | None
    saving_low: float
    saving_high: float
    repair_cost: float | None
    replace_cost: float
    comeback_k: int | None
    comeback_n: int | None
    comeback_rate: float | None
    comeback_rate_low: float
    comeback_rate_high: float
    break_even_repair: float | None
    break_even_life: float | None
    break_even_rate: float | None
    costs: Costs
    note: str

    def to_json(self) -> dict[str, Json]:
        """Every key, always."""
        return asdict(self)


def _repairing(costs: Costs, rate: float) -> float:
    return (
        costs.repair
        + costs.downtime_cost * costs.repair_hours
        + rate * (costs.life * costs.replacement + costs.downtime_cost * costs.comeback_hours)
    )


def _replacing(costs: Costs) -> float:
    return costs.life * costs.replacement + costs.downtime_cost * costs.replacement_hours


def worth(costs: Costs, *, back: tuple[int, int] | None = None, rate: float | None = None) -> Worth:
    """Weigh a repair against a new tire.

    Args:
        costs: what is put in.
        back: of how many repairs, old enough to count, how many came back; as ``(came back, counted)``.
        rate: a comeback rate to take instead, 0-1.

    Raises:
        AuditError: amounts below zero, a share that is none.
    """
    for name in ("replacement", "repair", "downtime_cost", "repair_hours", "replacement_hours", "comeback_hours"):
        if getattr(costs, name) < 0.0:
            raise AuditError(f"{name.replace('_', ' ')} must not be below zero")
    if not 0.0 < costs.life <= 1.0:
        raise AuditError(f"the life that is left is a share of a new tire's, above 0 and up to 1, not {costs.life:g}")
    if rate is not None and not 0.0 <= rate <= 1.0:
        raise AuditError(f"a comeback rate lies from 0 to 1, not {rate:g}")
    k, n = back if back is not None and rate is None else (None, None)
    if rate is not None:
        nominal: float | None = rate
        low = high = rate
    else:
        interval = clopper_pearson(k or 0, n or 0)
        nominal, low, high = interval.share, interval.low, interval.high
    replacing = _replacing(costs)
    best, worst = replacing - _repairing(costs, low), replacing - _repairing(costs, high)
    advice = "repair" if worst > 0.0 else "replace" if best <= 0.0 else "too close to call"
    repairing = None if nominal is None else _repairing(costs, nominal)
    at = 0.0 if nominal is None else nominal
    return Worth(
        advice=advice,
        saving=None if repairing is None else replacing - repairing,
        saving_low=worst,
        saving_high=best,
        repair_cost=repairing,
        replace_cost=replacing,
        comeback_k=k,
        comeback_n=n,
        comeback_rate=nominal,
        comeback_rate_low=low,
        comeback_rate_high=high,
        break_even_repair=_break_even_repair(costs, replacing, at),
        break_even_life=_break_even_life(costs, at),
        break_even_rate=_break_even_rate(costs, replacing),
        costs=costs,
        note=_note(nominal, n, advice),
    )


def _break_even_repair(costs: Costs, replacing: float, rate: float) -> float | None:
    """The repair's price at which both cost the same."""
    price = costs.repair + replacing - _repairing(costs, rate)
    return price if price >= 0.0 else None


def _break_even_life(costs: Costs, rate: float) -> float | None:
    """The share of life at which both cost the same: below it the repair does not pay."""
    gained = costs.replacement * (1.0 - rate)
    if gained <= 0.0:
        return None
    hours = costs.repair_hours + rate * costs.comeback_hours - costs.replacement_hours
    life = (costs.repair + costs.downtime_cost * hours) / gained
    return max(0.0, life) if life <= 1.0 else None


def _break_even_rate(costs: Costs, replacing: float) -> float | None:
    """The comeback rate at which both cost the same: above it the repair does not pay."""
    lost = costs.life * costs.replacement + costs.downtime_cost * costs.comeback_hours
    spare = replacing - _repairing(costs, 0.0)
    if spare < 0.0 or lost <= 0.0:
        return None
    rate = spare / lost
    return rate if rate <= 1.0 else None


def _note(nominal: float | None, n: int | None, advice: str) -> str:
    if nominal is None:
        return "no repair of this shop is old enough to count yet: any comeback rate is possible"
    if n is not None and n < 30:
        return f"the comeback rate stands on {n} repairs only"
    if advice == "too close to call":
        return "which of the two is cheaper hangs on the comeback rate, and the shop's numbers leave it open"
    return ""

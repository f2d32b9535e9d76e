"""What shared a lot, a bag, a mat, a probe or a press; and whether more of it came back than of the rest.

A repair counts once it is old enough to have come back; younger ones are listed and not counted, whether they came
back or not. A new injury is no fault of the repair. Replayed logs count for nothing: no rubber was cured by them.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, replace

from press_monitor.archive import ArchiveReader, CertificateRow, Json
from press_monitor.archive.entries import NEW_INJURY
from press_monitor.archive.stores import folded
from press_monitor.audit.rejudge import AuditError
from press_monitor.audit.statistics import clopper_pearson, fisher_exact

__all__ = ["KINDS", "OLD_ENOUGH_DAYS", "Rate", "WhereUsed", "comeback_rate", "suspects", "where_used"]

KINDS = ("lot", "bag", "mat", "probe", "press", "person")
OLD_ENOUGH_DAYS = 90
FEW = 30
_DAY_S = 86_400.0

_FAULT = "c.comeback IS NOT NULL AND c.comeback <> ?"
_OLD = "c.source = 'live' AND c.ended_utc <= ?"

_Count = tuple[str, str, int, int, int, int]
"""Kind, name; repairs, of those come back with a fault, old enough, both."""


@dataclass(frozen=True, slots=True)
class Rate:
    """How often repairs with something in common came back, against all others of the same age.

    Attributes:
        kind, name: what they have in common.
        repairs, came_back: all of them, of any age, and those with a fault.
        counted, counted_back: those old enough to count.
        rate, rate_low, rate_high: share that came back, with its exact 95 % interval (Clopper-Pearson).
        rest_counted, rest_back: the shop's other repairs that are old enough.
        p_value: Fisher's exact test, two-sided; 1 where one side is empty.
        p_adjusted: the same after Holm, for all comparisons made at once.
    """

    kind: str
    name: str
    repairs: int
    came_back: int
    counted: int
    counted_back: int
    rate: float | None
    rate_low: float
    rate_high: float
    rest_counted: int
    rest_back: int
    p_value: float
    p_adjusted: float

    def to_json(self) -> dict[str, Json]:
        """Every key, always."""
        return asdict(self)


@dataclass(frozen=True, slots=True)
class WhereUsed:
    """What shared an item.

    Attributes:
        item: the item itself.
        repairs: the certificates that name it, newest first.
        others: everything else that these used, the least likely by chance first.
        warnings: how far the figures carry, in plain sentences.
    """

    item: Rate
    repairs: tuple[CertificateRow, ...]
    others: tuple[Rate, ...]
    old_enough_days: int
    warnings: tuple[str, ...]

    def to_json(self) -> dict[str, Json]:
        """Every key, always."""
        return {
            "item": self.item.to_json(),
            "repairs": [
                {
                    **{k: getattr(row, k) for k in ("number", "press", "verdict", "customer", "tire", "section")},
                    **{k: getattr(row, k) for k in ("started_utc", "state_of_cure", "inspection", "comeback")},
                    "comeback_day": row.comeback_day,
                }
                for row in self.repairs
            ],
            "others": [rate.to_json() for rate in self.others],
            "old_enough_days": self.old_enough_days,
            "warnings": list(self.warnings),
        }


def comeback_rate(reader: ArchiveReader, now_utc: float, *, old_enough_days: int = OLD_ENOUGH_DAYS) -> tuple[int, int]:
    """Of the shop's repairs that are old enough: how many came back with a fault, and how many there are."""
    old = now_utc - old_enough_days * _DAY_S
    ((count,),) = reader.query(f"SELECT count(*) FROM certificate c WHERE {_OLD}", (old,))
    ((back,),) = reader.query(f"SELECT count(*) FROM certificate c WHERE {_FAULT} AND {_OLD}", (NEW_INJURY, old))
    return int(back), int(count)


def _members(kind: str) -> str:
    """SQL for the certificates with an item, aliased c; its value is the item's name."""
    if kind == "press":
        return "certificate c WHERE c.press = ?"
    return f"used u JOIN certificate c ON c.number = u.certificate WHERE u.kind = '{kind}' AND u.name = ?"


def _of_each(reader: ArchiveReader, within: str, value: str | int, old: float, *, people: bool) -> list[_Count]:
    """Counts for everything that the certificates in `within` (SQL, with one value) used, their presses among it.

    Numbers rise with time: what is old enough is counted by number, and the few that are out of order, replayed logs
    among them, are taken off again. So the millions of uses of a large archive are counted in one index alone.
    """
    ((last,),) = reader.query(f"SELECT coalesce(max(number), 0) FROM certificate c WHERE {_OLD}", (old,))
    named = (
        "WITH named AS MATERIALIZED (SELECT DISTINCT u.kind, u.name FROM used u"
        f" WHERE u.certificate IN ({within}) AND (u.kind <> 'person' OR ?)) "
    )
    counted: dict[tuple[str, str], list[int]] = {}
    names: dict[tuple[str, str], str] = {}
    for kind, name, repairs, old_enough in reader.query(
        f"{named}SELECT n.kind, min(n.name), count(*), sum(u.certificate <= ?) FROM named n"
        " JOIN used u ON u.kind = n.kind AND u.name = n.name GROUP BY n.kind, n.name",
        (value, people, last),
    ):
        names[(kind, folded(name))] = name
        counted[(kind, folded(name))] = [repairs, 0, old_enough, 0]
    for kind, name in reader.query(
        "SELECT u.kind, u.name FROM certificate c JOIN used u ON u.certificate = c.number"
        f" WHERE c.number <= ? AND NOT ({_OLD})",
        (last, old),
    ):
        if (each := counted.get((kind, folded(name)))) is not None:
            each[2] -= 1
    for kind, name, is_old in reader.query(
        f"SELECT u.kind, u.name, {_OLD} FROM certificate c JOIN used u ON u.certificate = c.number WHERE {_FAULT}",
        (old, NEW_INJURY),
    ):
        if (each := counted.get((kind, folded(name)))) is not None:
            each[1] += 1
            each[3] += is_old
    presses = reader.query(
        f"SELECT DISTINCT press FROM certificate WHERE number IN ({within}) ORDER BY press", (value,)
    )
    found: list[_Count] = []
    for (kind, small), (repairs, back, old_enough, both) in counted.items():
        found.append((kind, names[(kind, small)], repairs, back, old_enough, both))
    for (press,) in presses:
        found += _of_one(reader, "press", press, old)
    return found


def _of_one(reader: ArchiveReader, kind: str, name: str, old: float) -> list[_Count]:
    """Counts for one item; nothing for one that no certificate names."""
    called = "c.press" if kind == "press" else "u.name"
    counts = f"count(*), sum({_FAULT}), sum({_OLD}), sum({_FAULT} AND {_OLD})"
    sql = f"SELECT min({called}), {counts} FROM {_members(kind)}"
    ((spelled, repairs, *found),) = reader.query(sql, (NEW_INJURY, old, NEW_INJURY, old, name))
    if not repairs:
        return []
    back, counted, both = map(int, found)
    return [(kind, str(spelled), int(repairs), back, counted, both)]


def _rates(counts: Sequence[_Count], shop: tuple[int, int]) -> list[Rate]:
    """The rate of each item, each against the rest of the shop, adjusted for their number."""
    all_back, all_counted = shop
    found = []
    for kind, name, repairs, back, counted, counted_back in counts:
        interval = clopper_pearson(counted_back, counted)
        rest, rest_back = all_counted - counted, all_back - counted_back
        p = fisher_exact(counted_back, counted - counted_back, rest_back, rest - rest_back)
        share, low, high = interval.share, interval.low, interval.high
        found.append(Rate(kind, name, repairs, back, counted, counted_back, share, low, high, rest, rest_back, p, p))
    return _holm(found)


def _holm(rates: Sequence[Rate]) -> list[Rate]:
    """Holm's adjustment (Scand. J. Stat. 6 (1979) 65), the likeliest pattern first."""
    ordered = sorted(rates, key=lambda rate: (rate.p_value, -rate.counted, rate.kind, rate.name))
    worst, adjusted = 0.0, []
    for place, rate in enumerate(ordered):
        worst = max(worst, min(1.0, (len(ordered) - place) * rate.p_value))
        adjusted.append(replace(rate, p_adjusted=worst))
    return adjusted


def suspects(
    reader: ArchiveReader, number: int, now_utc: float, *, old_enough_days: int = OLD_ENOUGH_DAYS, people: bool = False
) -> tuple[tuple[Rate, ...], tuple[str, ...]]:
    """Everything that certificate `number` used, with its rate; and the warnings that belong to them."""
    if not reader.records(number=number):
        raise AuditError(f"there is no certificate {number}")
    old = now_utc - old_enough_days * _DAY_S
    counts = _of_each(reader, "?", number, old, people=people)
    rates = _rates(counts, comeback_rate(reader, now_utc, old_enough_days=old_enough_days))
    return tuple(rates), tuple(_warnings(rates, old_enough_days))


def where_used(
    reader: ArchiveReader,
    kind: str,
    name: str,
    now_utc: float,
    *,
    old_enough_days: int = OLD_ENOUGH_DAYS,
    people: bool = False,
) -> WhereUsed:
    """What shared an item of a kind of `KINDS`.

    `people`: whether the shop has turned figures of single persons on. Raises `AuditError` for one of a person where it
    has not, and for something that no certificate names.
    """
    if kind == "person" and not people:
        raise AuditError(
            "figures of single persons are off in this shop; [records] figures_by_person = true in the shop file"
            " turns them on, and whoever they are about should know"
        )
    name = " ".join(name.split())
    rows = _repairs(reader, kind, name)
    if not rows:
        raise AuditError(f"no certificate names {kind} {name!r}{_near(reader, kind, name)}")
    old = now_utc - old_enough_days * _DAY_S
    shop = comeback_rate(reader, now_utc, old_enough_days=old_enough_days)
    own = _rates(_of_one(reader, kind, name, old), shop)
    shared = _of_each(reader, f"SELECT c.number FROM {_members(kind)}", name, old, people=people)
    others = _rates([each for each in shared if not _same(each, kind, name)], shop)
    warnings = tuple(_warnings([*own, *others], old_enough_days))
    return WhereUsed(own[0], rows, tuple(others), old_enough_days, warnings)


def _repairs(reader: ArchiveReader, kind: str, name: str) -> tuple[CertificateRow, ...]:
    match kind:
        case "lot":
            return reader.records(lot=name)
        case "bag":
            return reader.records(bag=name)
        case "mat":
            return reader.records(mat=name)
        case "probe":
            return reader.records(probe=name)
        case "press":
            return reader.records(press=name)
        case "person":
            return reader.records(person=name)
    raise AuditError(f"{kind!r} is nothing that repairs share; there are: {', '.join(KINDS)}")


def _near(reader: ArchiveReader, kind: str, name: str) -> str:
    """Names like one that is not there."""
    if kind == "press":
        known = [row[0] for row in reader.query("SELECT DISTINCT press FROM certificate ORDER BY press LIMIT 1000")]
    else:
        known = [
            row[0]
            for row in reader.query("SELECT DISTINCT name FROM used WHERE kind = ? ORDER BY name LIMIT 10000", (kind,))
        ]
    spelled = {folded(each): each for each in known}
    near = [spelled[each] for each in difflib.get_close_matches(folded(name), spelled, 3)]
    return f"; did you mean {', '.join(near)}?" if near else ""


def _same(count: _Count, kind: str, name: str) -> bool:
    return count[0] == kind and (count[1] == name if kind == "press" else folded(count[1]) == folded(name))


def _warnings(rates: Sequence[Rate], days: int) -> Iterator[str]:
    """How far these figures carry."""
    if not rates:
        return
    yield (
        f"Counted are repairs watched live and at least {days} days old; a new injury counts as no comeback."
        " Younger ones are listed and not counted."
    )
    few = [rate for rate in rates if rate.counted < FEW]
    if few:
        least = min(few, key=lambda rate: rate.counted)
        yield (
            f"Small numbers: {len(few)} of {len(rates)} stand on fewer than {FEW} repairs. On {least.counted}"
            f" ({least.kind} {least.name}) the true rate may lie anywhere from {100 * least.rate_low:.0f} to"
            f" {100 * least.rate_high:.0f} %."
        )
    if len(rates) > 1:
        yield (
            f"{len(rates)} comparisons at once: by chance alone about one in twenty comes out below 0.05."
            " The adjusted figure allows for that."
        )
    yield "A pattern is a question to ask, not a cause found: what shares a lot often shares a week, a bag and a hand."

"""How many alarms a cure and a week, of which kinds: whether the watch calls too often to be listened to.

The yardstick is the long-term average of no more than one alarm in ten minutes for one operator (UK HSE, Chemicals
Sheet 6, after EEMUA 191). Counted are cures watched live, by the week in which they ended (UTC, Monday first).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from press_monitor.archive import ArchiveReader, Json

__all__ = ["MOST_IN_TEN_MINUTES", "AlarmCounts", "Week", "alarm_counts", "counts_of"]

MOST_IN_TEN_MINUTES = 1.0
_TEN_MINUTES = 600.0


@dataclass(frozen=True, slots=True)
class Week:
    """One week. `monday` as 2031-05-05; `cure_s` is the time all its cures took together."""

    monday: str
    cures: int
    cure_s: float
    alarms: int
    kinds: tuple[tuple[str, int], ...]

    @property
    def per_cure(self) -> float:
        """Alarms a cure."""
        return self.alarms / self.cures if self.cures else 0.0

    @property
    def in_ten_minutes(self) -> float:
        """Alarms in ten minutes of curing."""
        return self.alarms * _TEN_MINUTES / self.cure_s if self.cure_s > 0.0 else 0.0

    def to_json(self) -> dict[str, Json]:
        """Every key, always."""
        return {
            "monday": self.monday,
            "cures": self.cures,
            "cure_s": self.cure_s,
            "alarms": self.alarms,
            "alarms_per_cure": self.per_cure,
            "alarms_in_10_min": self.in_ten_minutes,
            "kinds": dict(self.kinds),
        }


@dataclass(frozen=True, slots=True)
class AlarmCounts:
    """Every week that saw a cure, newest first, and all of them together (its `monday` is the first)."""

    weeks: tuple[Week, ...]
    total: Week

    @property
    def too_many(self) -> bool:
        """Whether the newest week had more alarms than anybody can be asked to heed."""
        return bool(self.weeks) and self.weeks[0].in_ten_minutes > MOST_IN_TEN_MINUTES

    def to_json(self) -> dict[str, Json]:
        """Every key, always."""
        return {
            "weeks": [week.to_json() for week in self.weeks],
            "total": self.total.to_json(),
            "most_in_10_min": MOST_IN_TEN_MINUTES,
            "too_many": self.too_many,
        }


def counts_of(cures: Sequence[tuple[float, float, int]], alarms: Sequence[tuple[int, str, int]]) -> AlarmCounts:
    """Count alarms by week.

    Args:
        cures: started and ended (UTC, s), certificate.
        alarms: certificate, kind, how often.
    """
    kinds: dict[int, Counter[str]] = {}
    for certificate, kind, times in alarms:
        kinds.setdefault(certificate, Counter())[kind] += times
    by_week: dict[str, list[tuple[float, float, int]]] = {}
    for cure in cures:
        by_week.setdefault(_monday(cure[1]), []).append(cure)
    weeks = tuple(_week(monday, by_week[monday], kinds) for monday in sorted(by_week, reverse=True))
    return AlarmCounts(weeks, _week(min(by_week, default=""), cures, kinds))


def alarm_counts(reader: ArchiveReader, weeks: int = 12, now_utc: float | None = None) -> AlarmCounts:
    """The last `weeks` weeks before `now_utc` (None: before the newest cure). Raises `ArchiveError`."""
    newest = reader.query("SELECT max(ended_utc) FROM certificate WHERE source = 'live'")[0][0]
    until = now_utc if now_utc is not None else newest
    if until is None:
        return counts_of((), ())
    since = until - 7 * 86_400.0 * weeks
    where = "source = 'live' AND ended_utc > ? AND ended_utc <= ?"
    cures = reader.query(f"SELECT started_utc, ended_utc, number FROM certificate WHERE {where}", (since, until))
    raised = reader.query(
        f"SELECT a.certificate, a.kind, a.times FROM alarm_raised a JOIN certificate c ON c.number = a.certificate "
        f"WHERE {where}",
        (since, until),
    )
    return counts_of([tuple(row) for row in cures], [tuple(row) for row in raised])


def _monday(utc: float) -> str:
    day = datetime.fromtimestamp(utc, UTC).date()
    return (day - timedelta(days=day.weekday())).isoformat()


def _week(monday: str, cures: Sequence[tuple[float, float, int]], kinds: dict[int, Counter[str]]) -> Week:
    all_kinds: Counter[str] = Counter()
    for _, _, certificate in cures:
        all_kinds.update(kinds.get(certificate, Counter()))
    return Week(
        monday=monday,
        cures=len(cures),
        cure_s=sum(max(ended - started, 0.0) for started, ended, _ in cures),
        alarms=sum(all_kinds.values()),
        kinds=tuple(sorted(all_kinds.items(), key=lambda item: (-item[1], item[0]))),
    )

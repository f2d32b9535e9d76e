"""`check --alarms`: what a shop's own limits make of old logs, and how often the watch calls."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from press_monitor.console import PROBLEM, put, put_json, say

__all__ = ["put_counts", "put_limits"]


def put_limits(logs: Sequence[Path], shop_path: Path, recipe: str | None, repair: Path | None, *, as_json: bool) -> int:
    """Each log by the usual limits and by the shop's own. 1 where the shop's own keep quiet about something."""
    from press_monitor.audit.limits import changed_limits, limits_on_log
    from press_monitor.shop import load_shop

    shop = load_shop(shop_path)
    changed = list(changed_limits(shop))
    done = [limits_on_log(log, shop, recipe, repair) for log in logs]
    lost = any(one.lost for one in done)
    if as_json:
        put_json({"changed": changed, "logs": [one.to_json() for one in done], "quieter": lost})
        return PROBLEM if lost else 0
    put(
        "The shop's own limits:"
        if changed
        else f"{shop_path} has no limits of its own: both columns are the usual ones."
    )
    for line in changed:
        put(f"  {line}")
    for one in done:
        put("")
        verdict = one.verdicts[0] if len(set(one.verdicts)) == 1 else " -> ".join(one.verdicts)
        put(f"{one.log}: {one.recipe}, {one.hours:.1f} h, {verdict}")
        if not one.alarms:
            put("  no alarm")
        for alarm in one.alarms:
            usual, own = (_minute(at) for at in (alarm.usual_s, alarm.own_s))
            put(f"  {alarm.kind:<22} {alarm.channel or '':<11} usual {usual}  own {own}  {alarm.words}")
    if lost:
        say("the shop's own limits keep quiet where the usual ones call: marked 'not raised any more'")
    return PROBLEM if lost else 0


def _minute(at: float | None) -> str:
    return f"{'-':>9}" if at is None else f"{at / 60.0:>5.1f} min"


def put_counts(archive: Path, *, as_json: bool) -> int:
    """Alarms a cure and a week of the last twelve weeks. 1 where the newest week had too many to be heeded."""
    from press_monitor.archive import ArchiveReader
    from press_monitor.audit.alarm_counts import alarm_counts

    with ArchiveReader(archive) as reader:
        counts = alarm_counts(reader)
    if as_json:
        put_json(counts.to_json())
    elif not counts.weeks:
        put("No cure was watched live yet: there is nothing to count.")
    else:
        for week in counts.weeks:
            kinds = ", ".join(f"{kind} {times}" for kind, times in week.kinds) or "none"
            put(
                f"week of {week.monday}  {week.cures:>4} cures  {week.alarms:>4} alarms  {week.per_cure:5.2f} a cure  "
                f"{week.in_ten_minutes:6.3f} in 10 min   {kinds}"
            )
        say("yardstick: no more than 1 alarm in 10 minutes on the long-term average (UK HSE, Chemicals Sheet 6)")
    return PROBLEM if counts.too_many else 0

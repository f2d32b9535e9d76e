"""What a shop's own alarm limits would have made of old logs: each is judged with the usual limits and with its own."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from drivers.log import Log, LogError, read_log
from press_monitor.archive.types import Json
from press_monitor.audit.replay import run_log, setup_for_log
from press_monitor.shop import Shop, ShopError, load_repair
from press_monitor.watch.kinds import KINDS, kinds_with
from press_monitor.watch.types import AlarmView

__all__ = ["LimitsOnLog", "RaisedEither", "changed_limits", "limits_on_log"]


@dataclass(frozen=True, slots=True)
class RaisedEither:
    """One alarm as either set of limits raised it, s on the log's axis; None where it did not."""

    kind: str
    channel: str | None
    priority: str
    usual_s: float | None
    own_s: float | None

    @property
    def words(self) -> str:
        """What the shop's own limits change."""
        if self.own_s is None:
            return "not raised any more"
        if self.usual_s is None:
            return "new"
        later = self.own_s - self.usual_s
        return "the same" if abs(later) < 0.5 else f"{abs(later):.0f} s {'later' if later > 0.0 else 'sooner'}"


@dataclass(frozen=True, slots=True)
class LimitsOnLog:
    """One log. `hours` is how long it watches; `verdicts` are by the usual limits and by the shop's own."""

    log: str
    recipe: str
    repair: str
    hours: float
    verdicts: tuple[str, str]
    alarms: tuple[RaisedEither, ...]

    @property
    def lost(self) -> bool:
        """Whether the shop's own limits keep quiet where the usual ones call."""
        return any(alarm.own_s is None for alarm in self.alarms)

    def to_json(self) -> dict[str, Json]:
        """Every key, always."""
        return {
            "log": self.log,
            "recipe": self.recipe,
            "repair": self.repair,
            "hours": self.hours,
            "verdict_usual": self.verdicts[0],
            "verdict_own": self.verdicts[1],
            "alarms": [{**asdict(alarm), "words": alarm.words} for alarm in self.alarms],
        }


def changed_limits(shop: Shop) -> Iterator[str]:
    """The shop's own limits against the usual ones, a line a kind."""
    for own in shop.alarms:
        usual = KINDS[own.name]
        parts = [
            f"{name.replace('_', '-')} {was:g} s -> {now:g} s"
            for name in ("on_delay", "off_delay")
            if (was := getattr(usual, name)) != (now := getattr(own, name))
        ]
        if usual.deadband != own.deadband:
            parts.append("deadband")
        if usual.priority is not own.priority:
            parts.append(f"priority {usual.priority.value} -> {own.priority.value}")
        yield f"{own.name}: {', '.join(parts) if parts else 'as usual'}"


def limits_on_log(path: Path, shop: Shop, recipe: str | None, repair: Path | None) -> LimitsOnLog:
    """Judge a log by both limits, once where they are the same.

    Recipe and repair are the log's own (its ``# recipe:`` and ``# repair:``) unless given.

    Raises `LogError` and `ShopError`, the first also where neither says which recipe or repair.
    """
    log = read_log(path)
    if not log.rows:
        raise LogError(log.path, None, None, "has no rows")
    named = recipe or log.comment("recipe")
    if named is None:
        raise LogError(log.path, None, None, "does not say its recipe (# recipe: NAME); say --recipe NAME")
    said = log.comment("repair")
    where = repair or (_beside(path, said) if said else None)
    if where is None:
        raise LogError(log.path, None, None, "does not say its repair (# repair: FILE); say --repair FILE")
    usual = _judged(log, replace(shop, alarms=()), named, where)
    own = usual if kinds_with(shop.alarms) == KINDS else _judged(log, shop, named, where)
    return LimitsOnLog(
        log=str(path),
        recipe=named,
        repair=str(where),
        hours=(log.times[-1] - log.times[0]) / 3600.0,
        verdicts=(usual[0], own[0]),
        alarms=tuple(_paired(usual[1], own[1])),
    )


def _beside(log: Path, said: str) -> Path:
    """A repair file that a log names lies beside it; a name that leads elsewhere is not followed."""
    name = Path(said).name
    if name != said:
        raise ShopError(said, None, "", f"{log} names a repair outside its own folder; say --repair FILE")
    return log.parent / name


def _judged(log: Log, shop: Shop, recipe: str, repair: Path) -> tuple[str, tuple[AlarmView, ...]]:
    done = run_log(log, setup_for_log(log, shop, recipe, load_repair(repair, shop)))
    return str(done.watch.result()["verdict"]), done.watch.alarms.views()


def _paired(usual: tuple[AlarmView, ...], own: tuple[AlarmView, ...]) -> Iterator[RaisedEither]:
    """Alarms of the same kind and channel, in their order, belong together."""
    keys = dict.fromkeys((view.kind, view.channel) for view in (*usual, *own))
    rows = []
    for kind, channel in keys:
        a, b = ([v for v in views if (v.kind, v.channel) == (kind, channel)] for views in (usual, own))
        for k in range(max(len(a), len(b))):
            here = (a[k : k + 1] or b[k : k + 1])[0]
            times = (a[k].raised_s if k < len(a) else None, b[k].raised_s if k < len(b) else None)
            rows.append(RaisedEither(kind, channel, here.priority.value, *times))
    return iter(sorted(rows, key=lambda row: row.usual_s if row.usual_s is not None else row.own_s or 0.0))

"""The logs in `simulated_logs`, each judged once a session, however many tests ask."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from drivers.log import Log, read_log
from press_monitor.audit.replay import Replay, run_log, setup_for_log
from press_monitor.shop import Shop, load_repair, load_shop
from press_monitor.watch.cure_watch import WatchSetup

FOLDER = Path(__file__).parents[2] / "simulated_logs"
NAMES = tuple(sorted(path.stem for path in FOLDER.glob("*.csv")))


@cache
def shop() -> Shop:
    return load_shop(FOLDER / "shop.toml")


@cache
def log_of(name: str) -> Log:
    return read_log(FOLDER / f"{name}.csv")


def story(name: str) -> str:
    """What the log says happens in it."""
    return log_of(name).comment("what happens") or ""


def setup_of(name: str) -> WatchSetup:
    log = log_of(name)
    repair = load_repair(FOLDER / str(log.comment("repair")), shop())
    return setup_for_log(log, shop(), str(log.comment("recipe")), repair)


@cache
def judged(name: str) -> Replay:
    """The log through the watch."""
    return run_log(log_of(name), setup_of(name))

"""Trying a press of a shop file that is not written yet: what its channels read, as the recorder would keep it."""

from __future__ import annotations

import contextlib
import math
import tempfile
import time
from collections.abc import Callable, Mapping
from pathlib import Path

from drivers.base import PortLost
from drivers.serial_port import SerialPort
from press_monitor.fitting import FittedPress, fit_press, refuse_shared
from press_monitor.setup.listening import Heard, Opener, find_baud
from press_monitor.setup.steps import Listen, Tried, Try
from press_monitor.shop import ShopError, load_shop

__all__ = ["do_listen", "do_try", "do_watch"]

_SLICE_S = 0.2
_ENOUGH = 3
"""Values of every channel after which the rest of the time would show nothing new."""


def do_listen(
    step: Listen,
    told: Callable[[Heard], None] = lambda _: None,
    *,
    make: Opener = SerialPort,
    clock: Callable[[], float] = time.monotonic,
    stop: Callable[[], bool] = lambda: False,
) -> Tried:
    """Carry out a step of listening."""
    try:
        heard = find_baud(
            step.settings, step.bauds, step.seconds, ask=step.ask, make=make, clock=clock, told=told, stop=stop
        )
    except PortLost as error:
        return Tried(trouble=str(error))
    return Tried(heard)


def do_try(
    step: Try,
    told: Callable[[str], None] = lambda _: None,
    *,
    clock: Callable[[], float] = time.monotonic,
    stop: Callable[[], bool] = lambda: False,
) -> Tried:
    """Open the press's driver for a few seconds; `told` gets each new line of values."""
    fitted = _fitted(step, clock)
    if isinstance(fitted, Tried):
        return fitted
    return _values(fitted, lambda latest: told(_line(latest)), clock, stop, seconds=step.seconds, enough=_ENOUGH)


def do_watch(
    step: Try,
    told: Callable[[Mapping[str, str]], None],
    *,
    clock: Callable[[], float] = time.monotonic,
    stop: Callable[[], bool] = lambda: False,
) -> Tried:
    """Show what the press gives until `stop` says so, at least five times a second: channel to value as it reads."""
    fitted = _fitted(step, clock)
    if isinstance(fitted, Tried):
        return fitted
    return _values(fitted, told, clock, stop)


def _fitted(step: Try, clock: Callable[[], float]) -> FittedPress | Tried:
    """The press of the shop file that is tried, or why it cannot be."""
    with tempfile.TemporaryDirectory(prefix="press-monitor-") as folder:
        path = Path(folder) / "shop.toml"
        path.write_text(step.text, encoding="utf-8")
        try:
            shop = load_shop(path)
            fitted = fit_press(shop.presses[step.press], shop, clock)
            others = [p for name, p in shop.presses.items() if name != step.press]
            refuse_shared([*(fit_press(other, shop, clock) for other in others), fitted], shop)
        except ShopError as error:
            return Tried(trouble=f"{error.key}: {error.message}")
    return fitted


def _line(latest: Mapping[str, str]) -> str:
    return ", ".join(f"{name} {value}" for name, value in latest.items())


def _values(
    fitted: FittedPress,
    told: Callable[[Mapping[str, str]], None],
    clock: Callable[[], float],
    stop: Callable[[], bool],
    *,
    seconds: float = math.inf,
    enough: float = math.inf,
) -> Tried:
    latest: dict[str, str] = {}
    counts = {channel.name: 0 for channel in fitted.channels}
    units = {channel.name: (channel.unit, channel.decimals) for channel in fitted.channels}
    began, shown = clock(), dict[str, str]()
    try:
        fitted.driver.open()
        while clock() - began < seconds and min(counts.values()) < enough and not stop():
            for done in fitted.conditioner.condition(fitted.driver.read(_SLICE_S)):
                unit, decimals = units[done.channel]
                value = done.words if done.n is None else f"{done.n / 10**decimals:.{decimals}f} {unit}"
                latest[done.channel] = value
                counts[done.channel] += 1
            if latest != shown:
                shown = dict(latest)
                told(shown)
    except PortLost as error:
        return Tried(lines=_lines(latest), trouble=str(error))
    finally:
        with contextlib.suppress(Exception):
            fitted.driver.close()
    missing = [name for name in units if name not in latest]
    trouble = f"nothing came for {', '.join(missing)}" if missing else ""
    return Tried(lines=_lines(latest), trouble=trouble)


def _lines(latest: Mapping[str, str]) -> tuple[str, ...]:
    return tuple(f"{name}: {value}" for name, value in latest.items())

"""A press of the shop file made ready: its driver, its channels, and what no other press may take."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from drivers.base import Clock, Driver, DriverError
from drivers.ports import port_key, wanted_words
from drivers.registry import make_driver
from press_monitor.readings.conditioning import PressConditioner
from press_monitor.readings.setup import ChannelSetup
from press_monitor.readings.types import SignalError
from press_monitor.shop import Press, Shop, ShopError
from press_monitor.shop_channels import press_channels

__all__ = ["DriverMaker", "FittedPress", "fit_press", "refuse_shared"]

DriverMaker = Callable[[str, Mapping[str, object], Clock], Driver]


@dataclass(frozen=True, slots=True)
class FittedPress:
    """A press with its driver, which nothing has opened yet, and its channels in the order of its rows."""

    press: Press
    driver: Driver
    channels: tuple[ChannelSetup, ...]
    conditioner: PressConditioner

    @property
    def claims(self) -> tuple[tuple[str, str | None], ...]:
        """What its driver takes for itself: a port, and a part of it where others may have the rest."""
        return tuple(getattr(self.driver, "claims", ()))


def fit_press(press: Press, shop: Shop, clock: Clock, make: DriverMaker = make_driver) -> FittedPress:
    """Make a press's driver and channels, opening nothing. Raises `ShopError` naming the key."""
    where = f"presses.{press.name}"
    try:
        driver = make(press.driver, press.options, clock)
    except DriverError as error:
        own = error.key == "driver" or (error.key.split(".")[0] == "port" and "port" in press.options)
        inside = where if own else f"{where}.options"
        raise ShopError(shop.file, None, f"{inside}.{error.key}", error.message) from None
    offered = getattr(driver, "channels", None)
    channels = press_channels(press, shop, offered if isinstance(offered, Mapping) else None)
    try:
        conditioner = PressConditioner(channels)
    except SignalError as error:
        raise ShopError(shop.file, None, f"{where}.channels", str(error)) from None
    return FittedPress(press, driver, channels, conditioner)


def refuse_shared(fitted: Iterable[FittedPress], shop: Shop) -> None:
    """Raise `ShopError` where two presses, or a press and the horn, would take the same port or channel."""
    taken: dict[str, list[tuple[str | None, str]]] = {}
    if shop.horn is not None:
        taken[port_key(shop.horn.port)] = [(None, f"the horn ({wanted_words(shop.horn.port)})")]
    for each in fitted:
        for port, part in each.claims:
            for other_part, other in taken.get(port, ()):
                if part is None or other_part is None or part == other_part:
                    what = port if part is None or other_part is None else f"{part} on {port}"
                    raise ShopError(
                        shop.file,
                        None,
                        f"presses.{each.press.name}.port",
                        f"{what} is taken by {other} already: give each its own",
                    )
        for port, part in each.claims:
            taken.setdefault(port, []).append((part, f"press {each.press.name}"))

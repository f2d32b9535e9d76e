"""Finding a driver by the name a shop file gives."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module
from importlib.metadata import entry_points

from drivers.base import Clock, Driver, DriverError

__all__ = ["GROUP", "driver_class", "driver_names", "make_driver"]

GROUP = "press_monitor.drivers"
# Known without the package's metadata, so that a plain checkout runs too.
_BUILT_IN = {
    "modbus": "drivers.modbus:ModbusDriver",
    "replay": "drivers.replay:ReplayDriver",
    "simulated": "drivers.simulated:SimulatedDriver",
    "text-line": "drivers.text_line:TextLineDriver",
}


def _known() -> dict[str, str]:
    """Name to ``module:Class``; a built-in name cannot be taken by another package."""
    return {entry.name: entry.value for entry in entry_points(group=GROUP)} | _BUILT_IN


def driver_names() -> tuple[str, ...]:
    """Every driver that can be named, sorted."""
    return tuple(sorted(_known()))


def driver_class(name: str) -> type[Driver]:
    """The class of a driver. Raises `DriverError` naming ``driver`` for an unknown or broken one."""
    known = _known()
    if name not in known:
        raise DriverError("driver", f'there is no driver "{name}"; known: {", ".join(sorted(known))}')
    module, _, attribute = known[name].partition(":")
    try:
        found = getattr(import_module(module), attribute)
    except (ImportError, AttributeError) as error:
        raise DriverError("driver", f'"{name}" cannot be loaded: {error}') from error
    if not isinstance(found, type) or not all(
        callable(getattr(found, call, None)) for call in ("open", "read", "close")
    ):
        raise DriverError("driver", f'"{name}" is not a driver: it wants open, read and close')
    return found


def make_driver(name: str, settings: Mapping[str, object], clock: Clock) -> Driver:
    """Make a driver from its settings. Raises `DriverError` for an unknown name or a bad setting."""
    return driver_class(name)(settings, clock)

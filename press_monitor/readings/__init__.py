"""Raw signal to engineering value: what the watch is allowed to see."""

from press_monitor.readings.calibration import Calibration
from press_monitor.readings.conditioning import Conditioned, Conditioner, PressConditioner, reading_of
from press_monitor.readings.setup import ChannelSetup, default_decimals, default_setup
from press_monitor.readings.types import MISSING, Quality, Reading, Role, SignalError, Tick, role_of

__all__ = [
    "MISSING",
    "Calibration",
    "ChannelSetup",
    "Conditioned",
    "Conditioner",
    "PressConditioner",
    "Quality",
    "Reading",
    "Role",
    "SignalError",
    "Tick",
    "default_decimals",
    "default_setup",
    "reading_of",
    "role_of",
]

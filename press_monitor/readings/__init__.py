"""Raw signal to engineering value: what the watch is allowed to see."""

from press_monitor.readings.types import MISSING, Quality, Reading, Role, Tick, role_of

__all__ = ["MISSING", "Quality", "Reading", "Role", "Tick", "role_of"]

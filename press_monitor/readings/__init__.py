"""Raw signal to engineering value: what the watch is allowed to see.

Here stand the values themselves; what makes them of signals is imported where it is used.
"""

from press_monitor.readings.types import MISSING, Quality, Reading, Role, SignalError, Tick, role_of

__all__ = ["MISSING", "Quality", "Reading", "Role", "SignalError", "Tick", "role_of"]

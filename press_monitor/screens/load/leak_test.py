"""The lock-up leak test: the bag is up, the ram locked, no heat yet; how far does it fall? Pure.

The limit is what the watch itself calls a leaking bag in a settled hold. It is a trend of one gauge and no certified
leak rate. Three minutes: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from press_monitor.quantities import PSI, UnitSystem

__all__ = ["LEAST_FALL_PA", "LIMIT_PA_MIN", "WATCHED_S", "LeakTest"]

WATCHED_S = 180.0
LIMIT_PA_MIN = 0.15 * PSI
LEAST_FALL_PA = 0.1 * PSI
"""A fall no gauge of a shop tells from noise."""


@dataclass(frozen=True, slots=True)
class LeakTest:
    """A test that began with the bag at `start_Pa` at shop time `began`; `took_s` and `now_Pa` are as of the newest
    reading.
    """

    began: float
    start_Pa: float
    took_s: float = 0.0
    now_Pa: float = 0.0

    @classmethod
    def begin(cls, t: float, bag_Pa: float | None, minimum_Pa: float) -> LeakTest | str:
        """A test, or why there can be none yet."""
        if bag_Pa is None:
            return "no reading of the bag comes from this press"
        if bag_Pa < minimum_Pa:
            return "pump the bag up to its working pressure first"
        return cls(t, bag_Pa, 0.0, bag_Pa)

    def take(self, t: float, bag_Pa: float | None) -> LeakTest:
        """With another reading; once the time is over nothing moves any more."""
        if self.over or bag_Pa is None:
            return self
        return replace(self, took_s=max(self.took_s, t - self.began), now_Pa=bag_Pa)

    @property
    def over(self) -> bool:
        """Whether it was watched long enough."""
        return self.took_s >= WATCHED_S

    @property
    def fell_Pa(self) -> float:
        """How far the bag fell, below zero where it rose."""
        return self.start_Pa - self.now_Pa

    @property
    def tight(self) -> bool | None:
        """Whether it held; None while it is still watched."""
        if not self.over:
            return None
        return self.fell_Pa <= max(LEAST_FALL_PA, LIMIT_PA_MIN * self.took_s / 60.0)

    def words(self, units: UnitSystem) -> str:
        """How it stands: ``fell 0.1 psi in 1:20 of 3 min``."""
        moved = "fell" if self.fell_Pa >= 0.0 else "rose"
        far = f"{moved} {_difference(abs(self.fell_Pa), units)}"
        took = f"{int(min(self.took_s, WATCHED_S) // 60)}:{int(min(self.took_s, WATCHED_S) % 60):02d}"
        if not self.over:
            return f"{far} in {took} of {WATCHED_S / 60:.0f} min"
        verdict = "it holds" if self.tight else "IT LEAKS: find it before any heat"
        return f"{far} in {WATCHED_S / 60:.0f} min: {verdict}"

    def note(self, units: UnitSystem) -> str:
        """For the ticket."""
        moved = "fell" if self.fell_Pa >= 0.0 else "rose"
        far = _difference(abs(self.fell_Pa), units)
        return (
            f"Lock-up leak test: from {units.say_pressure(self.start_Pa)} {moved} {far} in {self.took_s / 60:.0f} min."
        )


def _difference(pascal: float, units: UnitSystem) -> str:
    return f"{units.pressed(pascal):.{2 if units.pressure == 'psi' else 1}f} {units.pressure}"

"""What an alarm says: what is wrong, what it does to this repair now, and what to do about it.

The words depend on the stage of the rubber: before scorch nothing is set and pressing again saves all; between scorch
and blow point pressure is everything; after the blow point the rubber stands without it. Every advice that leads to
an opened press keeps the safe order (heat off, bag to zero by the remote valve, then the ram, standing clear); trade
facts here are common practice, no source.
"""

from __future__ import annotations

from enum import Enum

from press_monitor.quantities import UnitSystem

__all__ = ["SAFE_ORDER", "Stage", "Words"]

SAFE_ORDER = "To open: heat off, bag to 0 by the remote valve, then the ram. Stand clear; do not reach in."


class Stage(Enum):
    """How far the uncured rubber is, which decides what a lost bag or lost heat means."""

    UNKNOWN = "unknown"
    BEFORE_SCORCH = "before scorch"
    SETTING = "between scorch and blow point"
    SET = "past the blow point"


class Words:
    """Alarm messages and advice in the shop's units."""

    def __init__(self, units: UnitSystem) -> None:
        self._u = units

    def _deg(self, celsius: float | None) -> str:
        return "no reading" if celsius is None else self._u.say_temperature(celsius)

    def _psi(self, pascal: float) -> str:
        return self._u.say_pressure(pascal)

    def _rate(self, pascal_a_minute: float) -> str:
        return f"{abs(self._u.pressed(pascal_a_minute)):.2f} {self._u.pressure}/min"

    def heat_lost_message(self, face: str, value: float | None, *, both: bool, alone: bool, draws: float | None) -> str:
        """Which mat, how far, and what the pattern points to. `draws`: its current in A, None where that is unknown."""
        current = ""
        if draws is not None:
            current = f"; it draws {draws:.1f} A, the element heats" if draws > 0.0 else "; it draws no current"
        if both:
            return f"Both mats are falling together, {face} mat at {self._deg(value)}{current}"
        hint = "" if alone else ", the other mat is steady"
        return f"{face.capitalize()} mat at {self._deg(value)} and falling{hint}{current}"

    def heat_lost_advice(self, face: str, stage: Stage, *, both: bool, draws: float | None) -> str:
        """What to look at, and why the bag stays up."""
        if both:
            look = "Look at breaker, controller and supply lead: both mats fell together."
        elif draws is not None and draws > 0.0:
            look = (
                f"The {face} mat is fed. Switch it off first; then see how mat and probe lie, and for drafts and water."
            )
        else:
            look = f"Switch the {face} mat off before touching its lead; then check lead, plug and element."
        keep = {
            Stage.BEFORE_SCORCH: "Keep the bag up: nothing has set yet, the cure only takes longer.",
            Stage.SETTING: "Keep the bag up: the rubber is setting and needs its pressure.",
            Stage.SET: "Keep the bag up: set, but not cured; it needs the heat back.",
            Stage.UNKNOWN: "Keep the bag up until the heat is back or the cure is judged.",
        }[stage]
        return f"{keep} {look}"

    def below_message(self, face: str, value: float | None) -> str:
        """A mat that holds too low."""
        return f"{face.capitalize()} mat at {self._deg(value)}, under its band"

    def below_advice(self, stage: Stage) -> str:
        """What a low mat costs and what to check."""
        return "The hold clock waits. Check set point, drafts and the mat's contact; hold longer, not hotter."

    def late_message(self, face: str, value: float, total: float | None, limit: float) -> str:
        """A heat-up that will not make it."""
        when = "will not reach its band" if total is None else f"will reach its band after about {total:.0f} min"
        return f"{face.capitalize()} mat at {self._deg(value)} {when}, limit {limit:.0f} min"

    def late_advice(self, stage: Stage) -> str:
        """A slow heat-up: look for the reason, keep the pressure."""
        return "Keep the bag up. Check the mat's supply, its lead and how it lies; the plan grows by what is lost now."

    def above_maximum_message(self, face: str, value: float, maximum: float) -> str:
        """Past the maximum."""
        return f"{face.capitalize()} mat at {self._deg(value)}, maximum {self._deg(maximum)}"

    def above_maximum_advice(self, stage: Stage) -> str:
        """Overheating scorches the skins."""
        return "Turn that mat's set point down or switch it off now; leave the bag up. Overheated rubber reverts."

    def above_message(self, face: str, mean: float, high: float) -> str:
        """A mat that holds too high."""
        return f"{face.capitalize()} mat holds {self._deg(mean)}, band ends at {self._deg(high)}"

    def above_advice(self, stage: Stage) -> str:
        """Too hot in the long run."""
        return "Turn the set point down. The skins over-cure while the deepest rubber gains little."

    def uneven_message(self, a: float, b: float) -> str:
        """Two faces that differ."""
        return f"Inner mat holds {self._deg(a)}, outer {self._deg(b)}"

    def uneven_advice(self, stage: Stage) -> str:
        """Which mat to look at."""
        return "Check both set points and how the cooler mat lies. The cooler side decides how long the cure takes."

    def weak_message(self, face: str, level: float, was: float) -> str:
        """A mat that settles lower than it did."""
        return f"{face.capitalize()} mat settles at {self._deg(level)}, it held {self._deg(was)} before"

    def weak_advice(self, stage: Stage) -> str:
        """A failing element or lead."""
        return "Hold longer on this side; after this cure check the mat's element, lead and contact."

    def stuck_message(self, channel: str, seconds: float) -> str:
        """Frozen to the digit."""
        return f"{channel} has not moved by a digit for {seconds / 60.0:.0f} min"

    def stuck_advice(self, channel: str) -> str:
        """Do not trust it."""
        return f"Do not trust {channel}: check its instrument and lead; watch the gauge at the press meanwhile."

    def erratic_message(self, channel: str) -> str:
        """Jumps up and down."""
        return f"{channel} jumps up and down faster than the press can"

    def erratic_advice(self, channel: str) -> str:
        """A loose contact or a noisy lead."""
        return f"Do not trust {channel}: look for a loose plug, a chafed lead or a lead beside the mat's supply."

    def reversed_message(self, channel: str) -> str:
        """Falls while the press heats."""
        return f"{channel} falls while the press heats: its leads are crossed"

    def reversed_advice(self, channel: str) -> str:
        """Swap the leads."""
        return f"Swap the two wires of {channel} at the instrument. Until then this side cannot be judged."

    def ram_message(self, value: float, was: float, *, bag_falls: bool) -> str:
        """Lock-up pressure going."""
        both = "; the bag falls with it: the hydraulics, not the bag" if bag_falls else ""
        return f"Ram at {self._psi(value)}, it locked up at {self._psi(was)}{both}"

    def ram_advice(self, stage: Stage) -> str:
        """Hydraulics: never work beneath it."""
        return "Stand clear: the lock-up is giving way. Heat off, bag to 0 by the remote valve, then see to the ram."

    def bag_high_message(self, value: float, maximum: float) -> str:
        """Above the bag's maximum."""
        return f"Bag at {self._psi(value)}, maximum {self._psi(maximum)}"

    def bag_high_advice(self, stage: Stage) -> str:
        """Let some air out, from a distance."""
        return "Lower the regulator or bleed the bag at the remote valve, from outside the press's line of fire."

    def bag_low_message(self, value: float, minimum: float, trend: float | None) -> str:
        """Below the bag's minimum."""
        falling = f", falling {self._rate(trend)}" if trend is not None and self._u.pressed(trend) < -0.05 else ""
        return f"Bag at {self._psi(value)}, minimum {self._psi(minimum)}{falling}"

    def burst_message(self, value: float) -> str:
        """Pressure gone in seconds."""
        return f"Bag pressure fell to {self._psi(value)} in seconds"

    def bag_advice(self, stage: Stage) -> str:
        """What lost pressure does to the rubber now, and what to do."""
        return {
            Stage.BEFORE_SCORCH: (
                "Refill at the remote valve now: nothing has set yet. Do not reach in. "
                "If it will not hold, heat off before the rubber scorches."
            ),
            Stage.SETTING: (
                "Refill at the remote valve now: it is setting unpressed. Do not reach in. "
                "If it will not hold, heat off and leave it locked up: rubber that sets without pressure goes porous."
            ),
            Stage.SET: (
                "Refill at the remote valve if it holds. Do not reach in. "
                "The rubber is past its blow point and stands without full pressure: finish the cure locked up."
            ),
            Stage.UNKNOWN: (
                "Refill at the remote valve now. Do not reach in. If it will not hold, heat off and leave it locked up."
            ),
        }[stage]

    def no_pressure_message(self, value: float, mat: float | None, *, been_up: bool) -> str:
        """Heat on, bag not up."""
        was = "has gone down" if been_up else "was never up"
        return f"Mats at {self._deg(mat)}, the bag {was} ({self._psi(value)})"

    def no_pressure_advice(self, stage: Stage) -> str:
        """Pressure before heat."""
        if stage in (Stage.BEFORE_SCORCH, Stage.UNKNOWN):
            return (
                "Fill the bag at the remote valve now, before it scorches. Stand clear. If it will not fill, heat off."
            )
        return self.bag_advice(stage)

    def leaking_message(self, value: float, rate: float, minimum: float) -> str:
        """A leak as a trend, never as a certified leak rate."""
        left = (value - minimum) / -rate if rate < 0.0 and value > minimum else None
        when = f", at its minimum in about {left:.0f} min" if left is not None and left < 600.0 else ""
        return f"Bag at {self._psi(value)}, losing {self._rate(rate)}{when}"

    def leaking_advice(self, stage: Stage) -> str:
        """Find it while there is pressure left."""
        return (
            "Open the supply at the remote valve and listen for the leak from outside: hose, fitting, valve, bag. "
            + ("Past the blow point it matters little." if stage is Stage.SET else "Do not let it reach its minimum.")
        )

    def topping_message(self, count: int, minutes: float) -> str:
        """A leak hidden by the supply."""
        return f"The supply refilled the bag {count} times, every {minutes:.1f} min: it hides a leak"

    def open_message(self, channel: str) -> str:
        """A broken or unplugged sensor."""
        return f"{channel} gives no reading while the others do"

    def open_advice(self, channel: str) -> str:
        """The cure goes on, judged on the safe side."""
        return (
            f"Leave heat and bag on; check the plug and lead of {channel}. "
            "Heat and bag may well be fine; until it reads again this side is judged as losing heat."
        )

    def lifted_message(self, channel: str, value: float) -> str:
        """A fall no mat can make."""
        return f"{channel} fell to {self._deg(value)} faster than any mat can cool"

    def lifted_advice(self, channel: str) -> str:
        """The probe, not the heat."""
        return (
            f"Leave the set point alone: it is the probe of {channel}, not the heat. "
            "Press it back only if that needs no hand near the press; else the other mat guides the cure."
        )

    def silent_message(self, seconds: float) -> str:
        """Nothing comes."""
        return f"No readings from this press for {seconds:.0f} s"

    def silent_advice(self) -> str:
        """Watch by eye."""
        return "Watch the gauges at the press. Check the instrument's power, cable and port; the cure may be fine."

    def pressure_lost_message(self, share: float) -> str:
        """The dangerous combination."""
        return f"Pressure lost while {100 * share:.0f} % of the uncured rubber is setting"

    def released_early_message(self, hottest: float | None, deepest: float | None, required: float) -> str:
        """Opened too soon."""
        cure = "" if deepest is None else f", deepest rubber at {100 * deepest:.0f} % of {100 * required:.0f} % needed"
        return f"Hottest rubber at {self._deg(hottest)}{cure}"

    def released_early_advice(self, stage: Stage) -> str:
        """What an early release asks for."""
        return (
            "Do not put this tire to work. If the bag can go up, lock up again now; else set it aside for inspection."
        )

    def overdue_message(self, minutes: float) -> str:
        """Done and still heated."""
        return f"Cured for {minutes:.0f} min and still heated"

    def overdue_advice(self, stage: Stage) -> str:
        """Stop the heat."""
        return "Turn the heat off and leave the bag up while it cools. More heat now only ages the skins."

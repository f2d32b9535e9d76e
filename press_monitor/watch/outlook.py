"""What if: how much more hold the deepest rubber wants, and what comes of heat-off, as plain lines."""

from __future__ import annotations

from collections.abc import Iterator

from press_monitor.watch.types import CurePoint, ForecastView, Phase

__all__ = ["more_hold_words", "outlook"]


def more_hold_words(nominal_s: float | None, cautious_s: float | None, required: float) -> str:
    """How much longer a hold the required cure (0-1) wants, nominal and for the band's lower edge.

    Both in s, None where it does not come within the model's horizon. Empty where the cure is there.
    """
    if nominal_s is None:
        return f"no hold at these mats brings the deepest rubber to {100 * required:.0f} % within eight hours"
    minutes = max(nominal_s, 0.0) / 60.0
    if cautious_s is None:
        sure = ", on the cautious edge it never does"
    else:
        sure = f", {max(cautious_s, 0.0) / 60.0:.0f} for sure"
    if minutes < 0.5 and (cautious_s is None or cautious_s < 30.0):
        return ""
    return f"{minutes:.0f} more minutes of hold bring the deepest rubber to {100 * required:.0f} %{sure}"


def outlook(
    phase: Phase,
    forecast: ForecastView | None,
    deepest: CurePoint | None,
    required: float,
    *,
    more_hold_s: tuple[float | None, float | None] | None,
) -> tuple[str, ...]:
    """The what-if lines of a cure that is still running; none where nothing can be said."""
    return tuple(line for line in _lines(phase, forecast, deepest, required, more_hold_s) if line)


def _lines(
    phase: Phase,
    forecast: ForecastView | None,
    deepest: CurePoint | None,
    required: float,
    more_hold_s: tuple[float | None, float | None] | None,
) -> Iterator[str]:
    if deepest is None or phase in (Phase.EMPTY, Phase.LOADED, Phase.RELEASED):
        return
    if phase is Phase.COOL_DOWN:
        if deepest.state_of_cure_low < required and more_hold_s is not None:
            words = more_hold_words(*more_hold_s, required)
            yield f"if the heat comes back: {words}" if words else ""
        return
    if forecast is None:
        return
    late = forecast.minutes_left_late
    if forecast.minutes_left is None:
        yield more_hold_words(None, None, required)
    else:
        yield more_hold_words(60.0 * forecast.minutes_left, None if late is None else 60.0 * late, required)
    ends, low, high = forecast.heat_off_now_ends_at, forecast.heat_off_now_low, forecast.heat_off_now_high
    if ends is not None and low is not None and high is not None:
        yield f"heat off now, bag left up: ends at {100 * ends:.0f} % ({100 * low:.0f}-{100 * high:.0f})"

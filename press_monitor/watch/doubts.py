"""What speaks against a probe: it came off, stands still to the digit, jumps, or has its leads crossed.

What was seen of a channel, and what is held against it, is kept in the channel (`channels.Channel`).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise

from press_monitor.readings import Role
from press_monitor.watch.channels import BOUNDS_FADE, MAT_JUMP, Channel

__all__ = ["watch_crossing", "watch_jumps", "watch_lifting", "watch_stillness"]

FASTEST_MAT = 150.0
"""No mat, not even a bare one, falls toward ambient with a shorter time constant; what does is the probe itself, s."""
LIFTED_DROP = 6.0
BACK_AFTER = 30.0
COARSEST_BAG = 1_000.0
"""The coarsest step of a bag's gauge that noise may be expected to move, Pa."""
BAG_MOVES = 0.55
"""The share of readings that must have moved the digit of a bag's gauge before it may be called stuck."""
BAG_JUMP = 10_000.0
"""A step between neighbouring readings that no bag makes, Pa a second."""
BOUNDS, SURE_BOUNDS = 0.002, 0.011
"""The share of readings so thrown by noise a third as wide as the digit: the least seen by chance, and one for sure."""
FEW = 2.05
"""So few readings thrown are no share: a heat-up's first jolt makes one or two."""
NEVER_ALIKE = ((0.042, 40.0), (0.0135, 70.0), (0.0, 100.0))
"""For a share so thrown, the readings in a row that noise so wide never leaves alike, the level being what it may."""
LONGER_STILL = 3.0
"""How many times the longest still spell it had before a channel must stand still to be called stuck."""


def watch_lifting(channel: Channel, t: float, ambient: float, partner: float | None) -> None:
    """Tell a lifted probe by a fall that no mat can make, and its return by agreement with what it was."""
    s = channel.s
    if s.value is None or s.last_t != t:
        return
    if s.lifted_since is not None:
        near = s.value > s.lifted_from - LIFTED_DROP or (partner is not None and abs(s.value - partner) < 8.0)
        s.back_since = (s.back_since if s.back_since is not None else t) if near else None
        if s.back_since is not None and t - s.back_since >= BACK_AFTER:
            s.lifted_since = s.back_since = None
        return
    if s.wild_since is not None or (s.first is not None and s.value < min(s.first, ambient)):
        return  # a probe that came off takes the air's temperature, and none below it
    span = max(6.0, 3.0 * s.interval)
    recent = channel.recent
    first = recent.since(t - span)
    index = recent.before(t - span)
    if index < 0 or len(recent.v) - first < 3:
        return
    before = recent.v[index]
    fall = before - s.value
    if fall <= LIFTED_DROP:
        return
    natural = max(before - ambient, 0.0) * -math.expm1(-span / FASTEST_MAT)
    last = channel.recent.v[-3:]
    falling = last[0] >= last[1] - 2.0 * s.steps - 0.5 and last[1] >= last[2] - 2.0 * s.steps - 0.5
    if fall > max(LIFTED_DROP, natural) and max(last) < before - 0.25 * fall and falling:
        s.lifted_since, s.lifted_from = channel.recent.t[max(first - 1, 0)], before


def watch_stillness(
    channel: Channel,
    t: float,
    partner: Channel | None,
    *,
    heating: bool,
    after: float,
    cycle: Callable[[float], float | None] = lambda _: None,
) -> None:
    """Tell a value that is frozen to the digit from one that is merely steady at a coarse resolution.

    Its own noise tells where there is any, or the thermostat's period as of a moment, `cycle`; in heat-up the
    other mat's rise does.
    """
    s = channel.s
    still = channel.frozen_for(t)
    if s.last_t != t:
        return
    if s.stuck_since is not None:
        if still < 1.0:
            s.stuck_since = None
        return
    if s.lifted_since is not None:
        return  # in the air it may well stand still
    if s.changed_from is None and partner is not None:
        s.changed_from = partner.value
    if still < channel.limit(after):
        return
    period = cycle(s.changed_at if s.changed_at is not None else t)
    usual = min(_usual_stillness(channel), 0.7 * period if period is not None else 1e9)
    left_behind = False
    if heating and partner is not None and partner.value is not None and s.changed_from is not None:
        left_behind = partner.value - s.changed_from > max(10.0, 4.0 * channel.quantum)
    if still >= usual or left_behind:
        s.stuck_since = s.changed_at


def _usual_stillness(channel: Channel) -> float:
    """The longest still spell that its noise before it allows, with a wide margin, s."""
    s = channel.s
    if s.changed_at is None or s.turns_then < 1e-3 or s.changed_at - s.first_t < 200.0:
        return 1e9
    if channel.role is Role.BAG and (channel.quantum > COARSEST_BAG or s.moves_then < BAG_MOVES):
        return 1e9  # a regulator holds a bag at one digit for minutes: only noise wider than the digit moves on
    # at a coarse resolution a value flickers while it lies between two digits, and is still when it does not: that
    # noise is wider than the digit shows in four readings five digits out of line, which no slow way makes
    share = s.bounds_then / max(min(s.changed_at - s.first_t, 0.8 * BOUNDS_FADE) / s.interval, 0.5 / BOUNDS)
    if s.bounds_then < FEW or share < BOUNDS or (share < SURE_BOUNDS and not _flickers(channel, s.changed_at)):
        return 1e9
    alike = next(readings for least, readings in NEVER_ALIKE if share >= least)
    quick = 0.0 if share >= NEVER_ALIKE[1][0] else 14.0 / s.turns_then
    return max(alike * s.interval, quick, LONGER_STILL * s.longest_still)


def _flickers(channel: Channel, until: float) -> bool:
    """Whether its digit moved at many readings, back and forth, and over three digits."""
    s = channel.s
    often = s.moves_then >= 0.3 and s.turns_then * s.interval >= 0.3 * s.moves_then
    return often and _noise_shown(channel, until)


def _noise_shown(channel: Channel, until: float) -> bool:
    """Whether its noise alone has moved the value over three digits within the minutes before a moment.

    Two digits it shows also when it lies between them; more in both halves of a short span, some of them in both,
    are no slope and no jump of its level either.
    """
    span = max(60.0, 12.0 * channel.s.interval)
    marks = [channel.history.since(until - 0.5 * span * k) for k in range(20, 0, -1)]
    halves = [set(channel.history.v[a:b]) for a, b in pairwise([*marks, channel.history.before(until) + 1])]
    return any(len(a & b) >= 2 and len(a | b) >= 3 for a, b in pairwise(halves))


def watch_jumps(channel: Channel, t: float) -> None:
    """Tell noise that no mat and no bag makes: several jumps both ways in half a minute, or in a dozen readings."""
    s, window = channel.s, max(30.0, 12.0 * channel.s.interval)
    if s.spikes and len([x for x in s.spikes if x > t - window]) >= 3:
        s.wild_since = s.spikes[0] if s.wild_since is None else s.wild_since
        s.wild_until = t + window
    if s.last_t != t:
        return
    v = channel.recent.v
    least = MAT_JUMP if channel.is_mat else _jump(channel, 0.0)
    if len(v) >= 2 and abs(v[-1] - v[-2]) > least:
        if s.wild_since is None and _jumps(channel, t, window):
            s.wild_since = max(t - window, s.first_t)
        if s.wild_since is not None:
            s.wild_until = t + window
    elif s.wild_since is not None and t > s.wild_until:
        s.wild_since = None


def _jumps(channel: Channel, t: float, window: float) -> bool:
    first = channel.history.since(t - window)
    values, times = channel.history.v[first:], channel.history.t[first:]
    up = down = turns = 0
    last = 0.0
    for (before, after), (t0, t1) in zip(pairwise(values), pairwise(times), strict=True):
        jump = _jump(channel, t1 - t0)
        up += after - before > jump
        down += before - after > jump
        turns += channel.is_mat and min(abs(last), abs(after - before)) > MAT_JUMP and last * (after - before) < 0.0
        last = after - before
    # a mat read seldom may fall far from one reading to the next, but it does not turn at every one
    return (up >= 2 and down >= 2) or turns >= 3


def watch_crossing(channel: Channel, t: float, partner: Channel | None) -> None:
    """Tell crossed leads: this mat falls well below where it began while the other one has risen."""
    s = channel.s
    if partner is None or s.value is None or s.first is None or partner.value is None or partner.s.first is None:
        return
    if s.last_t != t or partner.age(t) > partner.limit(5.0):
        return
    crossed = s.value < s.first - 4.0 and partner.value > partner.s.first + 8.0 and (s.highest or 0.0) < s.first + 4.0
    if not crossed:
        s.reversed_since = None
    elif s.reversed_since is None:
        s.reversed_since = t


def _jump(channel: Channel, seconds: float) -> float:
    if channel.role is Role.BAG:
        return BAG_JUMP * max(seconds, 1.0)
    return MAT_JUMP + max(seconds, 1.0)

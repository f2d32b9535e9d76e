"""mV to degC on 10^6 values: our exact inverse against the published inverse polynomial in numpy, in one run."""

from __future__ import annotations

from collections.abc import Callable
from time import perf_counter

import numpy as np
import thermocouple_its90
from thermocouple_its90._data import TYPES as PARSED

from press_monitor.readings.thermocouple import TYPES, thermocouple

NAME = "mV to degC, 10^6 values, exact inverse"
VALUES = 1_000_000
PEER_VALUES = 2_000
"""How many are given to the package that converts one at a time."""

GOAL = 4.0
"""Times the published inverse polynomial, at most."""

GOAL_ERROR = 1e-4
"""degC, at most, on the whole range."""


def published(letter: str) -> Callable[[np.ndarray], np.ndarray]:
    """The published inverse (NIST Monograph 175) as numpy is written: each piece by Horner's rule in place."""
    pieces = PARSED[letter]["inverse"]

    def convert(emf: np.ndarray) -> np.ndarray:
        out = np.empty_like(emf)
        below = -np.inf
        for piece in pieces:
            chosen = (emf > below) & (emf <= piece["mv_max"])
            e = emf[chosen]
            t = np.full_like(e, piece["coeffs"][-1])
            for c in piece["coeffs"][-2::-1]:
                t *= e
                t += c
            out[chosen] = t
            below = piece["mv_max"]
        return out

    return convert


def one_piece(letter: str) -> tuple[Callable[[np.ndarray], np.ndarray], float, float]:
    """The piece that spans 0 to 200 degC or so, without choosing among pieces: the hardest peer there is."""
    piece = PARSED[letter]["inverse"][0 if letter in "SRB" else 1]
    falling = piece["coeffs"][::-1]
    return (lambda emf: np.polyval(falling, emf)), piece["mv_min"], piece["mv_max"]


def least(calls: list[Callable[[], object]], repeats: int) -> list[float]:
    """Each call's least time, s, taken in turns so that all see the same machine."""
    times = [[] for _ in calls]
    for _ in range(repeats):
        for call, into in zip(calls, times, strict=True):
            start = perf_counter()
            call()
            into.append(perf_counter() - start)
    return [min(into) for into in times]


def error(letter: str) -> float:
    """Worst error, degC, on the whole range against the reference package, piece boundaries included."""
    kind, reference = thermocouple(letter), thermocouple_its90.get(letter)
    low, high = reference.invertible_emf_range
    edges = [kind.emf(piece["t_max_c"]) for piece in PARSED[letter]["forward"]]
    low, high = max(low, kind.emf_from), min(high, kind.emf_to)
    emf = np.clip(np.concatenate([np.linspace(low, high, 1501), edges]), low, high)
    expected = np.array([reference.temperature(float(e)) for e in emf])
    return float(np.abs(kind.temperatures(emf).values - expected).max())


def run(letters: str = "".join(TYPES), repeats: int = 5) -> dict[str, float | str]:
    """The figures; times in ms."""
    random = np.random.default_rng(90)
    figures: dict[str, float | str] = {}
    whole, single, errors = {}, {}, {}
    for letter in letters:
        kind = thermocouple(letter)
        emf = random.uniform(kind.emf_from, kind.emf_to, VALUES)
        peer, from_mv, to_mv = one_piece(letter)
        near = random.uniform(max(from_mv, kind.emf_from), to_mv, VALUES)
        theirs = published(letter)
        kind.temperatures(emf[:10])
        ours_all, published_all, ours_one, published_one = least(
            [
                lambda k=kind, e=emf: k.temperatures(e),
                lambda f=theirs, e=emf: f(e),
                lambda k=kind, e=near: k.temperatures(e),
                lambda f=peer, e=near: f(e),
            ],
            repeats,
        )
        whole[letter], single[letter] = ours_all / published_all, ours_one / published_one
        errors[letter] = error(letter)
        figures[f"{letter}: ours, whole range, ms"] = ours_all * 1e3
        figures[f"{letter}: published, whole range, ms"] = published_all * 1e3
    reference, kind = thermocouple_its90.get("K"), thermocouple("K")
    some = random.uniform(0.0, 40.0, PEER_VALUES).tolist()
    theirs_one, ours_one = least(
        [lambda: [reference.temperature(e) for e in some], lambda: kind.temperatures(np.array(some))], repeats
    )
    figures["K: thermocouple-its90, us a value"] = theirs_one / PEER_VALUES * 1e6
    figures["K: times faster than thermocouple-its90"] = theirs_one / ours_one
    worst = max(errors, key=lambda letter: errors[letter])
    figures["time over the published inverse, worst type"] = max(whole.values())
    figures["time over one piece of it by np.polyval, worst type"] = max(single.values())
    figures["error, worst, degC"] = errors[worst]
    figures["error, worst at type"] = worst
    figures["goal"] = f"at most {GOAL:g} times the published inverse, {GOAL_ERROR:g} degC off at most"
    figures["met"] = max(whole.values()) <= GOAL and errors[worst] <= GOAL_ERROR
    return figures

"""What the dashboard costs while sixteen presses send a reading each second, in a real terminal of 200x50.

The archive is a real one, fed as a recorder feeds it, and the dashboard a process of its own in a pseudo-terminal. Its
peer in the same run is the least Textual app that shows as many presses: sixteen labels, set once a second.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import closing
from pathlib import Path

from tests.benchmarks._screens import Floor
from tests.benchmarks._terminal import Terminal

NAME = "the dashboard over 16 presses at 1 Hz, 200x50 (limit: 6 % of a core; peer: a minimal Textual app)"
GOAL = 0.06
KEYS, KEY_MS = 200, 100.0


def _app(what: str, archive: Path, out: Path, *, warm: float, span: float, keys: str = "") -> Terminal:
    """One of the two apps in a terminal."""
    command = [sys.executable, "-m", "tests.benchmarks._screens", what, str(archive), str(out)]
    return Terminal([*command, str(warm), str(span), keys])


def share(what: str, archive: Path, keys: str = "") -> float:
    """The share of a core that an app takes over twenty seconds, once it has settled."""
    out = archive.with_name(f"{what}-{time.monotonic_ns()}.json")
    with _app(what, archive, out, warm=6.0, span=20.0, keys=keys) as terminal:
        try:
            terminal.process.wait(120.0)
            told: dict[str, float] = json.loads(out.read_text(encoding="utf-8"))
        except (subprocess.TimeoutExpired, OSError) as error:
            raise RuntimeError(f"no word from it: {terminal.painted[-2000:]!r}") from error
    return told["share"]


def key_waits(archive: Path, presses: int) -> list[float]:
    """Seconds from each of `presses` keys to the whole other screen being painted, between floor and press."""
    with _app("dashboard", archive, archive.with_suffix(".json"), warm=300.0, span=1.0) as terminal:
        terminal.wait(lambda painted: b"Bay 16" in painted)
        waits = []
        for _ in range(presses // 2):
            waits.append(terminal.press(b"7", b"Through the repair"))
            waits.append(terminal.press(b"\x7f", b"Bay 16"))
            # Not in step with the feed: a key falls anywhere in the second.
            time.sleep(0.137)
    return sorted(waits)


def run() -> dict[str, float | str | bool]:
    """Floor and press screen for twenty seconds each, then the peer."""
    with tempfile.TemporaryDirectory() as folder, closing(Floor(Path(folder))) as floor:
        over = threading.Event()
        feeder = threading.Thread(target=floor.run, args=(over,))
        feeder.start()
        try:
            lanes = share("dashboard", floor.path)
            press = share("dashboard", floor.path, keys="4")
            least = share("minimal", floor.path)
            waits = key_waits(floor.path, KEYS)
        finally:
            over.set()
            feeder.join()
    return {
        "floor, % of a core": 100 * lanes,
        "press, % of a core": 100 * press,
        "peer, % of a core": 100 * least,
        "floor over the peer": lanes / least,
        "key to other screen painted, median ms": 1e3 * waits[len(waits) // 2],
        "key to other screen painted, p99 ms": 1e3 * waits[int(0.99 * len(waits))],
        "goal": f"at most {100 * GOAL:g} % of a core; a key at most {KEY_MS:g} ms",
        "met": max(lanes, press) <= GOAL and 1e3 * waits[int(0.99 * len(waits))] <= KEY_MS,
    }

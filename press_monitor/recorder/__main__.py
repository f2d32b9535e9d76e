"""``python -m press_monitor.recorder``: the recorder process, as a dashboard, the demo and the tests start it.

People use ``press-monitor recorder``. Here there are two more options: `--speed` for shop time that runs faster than
real time, and `--demo`, which runs the invented shop and ends when standard input is closed.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from press_monitor.archive import ArchiveError
from press_monitor.paths import locations
from press_monitor.recorder.service import log_line, run_recorder
from press_monitor.shop import ShopError


def main(arguments: Sequence[str] | None = None) -> int:
    """Run; the exit code is 2 with one line on stderr where the shop file or the archive cannot be used."""
    usual = locations()
    parser = argparse.ArgumentParser(prog="python -m press_monitor.recorder")
    parser.add_argument("--shop", type=Path, default=usual.shop_file)
    parser.add_argument("--archive", type=Path, default=usual.archive)
    parser.add_argument("--key", type=Path, default=usual.key_file)
    parser.add_argument("--speed", type=float, default=1.0)
    parser.add_argument("--demo", action="store_true")
    given = parser.parse_args(arguments)
    try:
        if given.demo:
            from press_monitor.recorder.demo import run_demo_recorder

            return run_demo_recorder(given.shop, given.archive, given.key, given.speed)
        return run_recorder(given.shop, given.archive, given.key, speed=given.speed)
    except (ArchiveError, ShopError) as error:
        log_line(str(error))
        return 2


if __name__ == "__main__":
    sys.exit(main())

"""A long campaign of the whole monitor with seeds of its own: `python -m tests.properties [--minutes 20] [--seed N]`.

Goes on until the time is up or something does not hold; then it says the seed and the steps. One summary line.
"""

from __future__ import annotations

import argparse
import random
import sys
import time
import traceback

from hypothesis import HealthCheck, Phase, seed, settings
from hypothesis.stateful import run_state_machine_as_test

from tests.properties.whole_monitor import COUNTS, WholeMonitor

_BATCH = 5


def main() -> int:
    asked = argparse.ArgumentParser(prog="python -m tests.properties", description=__doc__)
    asked.add_argument("--minutes", type=float, default=20.0)
    asked.add_argument("--seed", type=int, default=None, help="run the one batch that a failure named")
    asked.add_argument("--steps", type=int, default=40)
    given = asked.parse_args()
    profile = settings(
        max_examples=_BATCH,
        stateful_step_count=given.steps,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        report_multiple_bugs=False,
        suppress_health_check=list(HealthCheck),
    )
    until, failed = time.monotonic() + 60.0 * given.minutes, []
    while time.monotonic() < until and not failed:
        number = given.seed if given.seed is not None else random.SystemRandom().randrange(2**32)

        @seed(number)
        class Seeded(WholeMonitor):
            """One batch."""

        try:
            run_state_machine_as_test(Seeded, settings=profile)
        except Exception:
            failed.append(number)
            traceback.print_exc()
        if given.seed is not None:
            break
    verdicts = ", ".join(f"{count} {name}" for name, count in sorted(COUNTS.items()))
    print(f"whole monitor: {'FAILED with --seed ' + str(failed[0]) if failed else 'holds'}; {verdicts}")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())

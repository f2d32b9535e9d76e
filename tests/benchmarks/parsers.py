"""A million arbitrary byte strings into each line parser: nothing raised but our own errors, no reading invented."""

from __future__ import annotations

import time

from tests.properties.arbitrary_lines import FORMS, judge

NAME = "10^6 arbitrary byte strings into each line parser"


def run(count: int = 1_000_000) -> dict[str, object]:
    """Figures by parser. What a parser must not do ends it with the string that made it do so."""
    result: dict[str, object] = {"goal": "nothing raised, nothing invented", "strings": count * len(FORMS)}
    for form in FORMS:
        began = time.perf_counter()
        tally = judge(form, count, seed=20_31)
        seconds = time.perf_counter() - began
        result[f"{form.name} readings"] = tally.readings
        result[f"{form.name} faults"] = tally.faults
        result[f"{form.name} us a string, judge included"] = 1e6 * seconds / count
    result["met"] = True
    return result

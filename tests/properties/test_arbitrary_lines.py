"""A few thousand of the million strings that ``python -m tests.benchmarks parsers`` feeds to each line parser."""

from __future__ import annotations

import pytest

from tests.properties.arbitrary_lines import FORMS, judge


@pytest.mark.parametrize("form", FORMS, ids=lambda form: form.name)
def test_arbitrary_bytes_raise_nothing_and_invent_nothing(form):
    tally = judge(form, 4000, seed=1)
    # The strings are worth something only if some are understood and some are not.
    assert tally.strings == 4000 and tally.readings > 200 and tally.faults > 1000

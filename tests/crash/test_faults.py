"""Failures at every few steps of the operations that matter most; ``python -m tests.crash`` takes every step of all."""

from __future__ import annotations

import pytest

from tests.crash import faults, filelayer

pytestmark = pytest.mark.skipif(not filelayer.available(), reason="this Python's SQLite is not a library of its own")


@pytest.mark.parametrize(("name", "every"), [("group", 6), ("seal", 30), ("backup", 40), ("new archive", 100)])
def test_it_fails_in_words_and_is_done_at_the_next_try(name, every, tmp_path):
    injector = faults.Injector(tmp_path, every)
    for failure in faults.FAILURES:
        if not (failure.name == "locked" and name in faults.WHOLE):  # these wait for a lock, in real time
            injector.run(name, failure)
    assert injector.report.violations == []
    assert injector.report.refused > 5


def test_room_that_cannot_be_kept_back_stops_nothing(tmp_path):
    assert faults.ballast_fails(tmp_path) == []

"""Whatever lies in the command table, the recorder goes on recording and still hears the next honest command."""

from __future__ import annotations

import json
import sqlite3
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.properties.monitor import START, Monitor

KINDS = (
    *("start", "acknowledge", "shelve", "unshelve", "reset", "heat-off", "release", "extend", "note", "lock-up"),
    *("silence-horn", "test-horn", "confirm-horn", "test-phone", "confirm-phone", "ledger-append", "ledger-seal"),
    *("", "tea", "START", "start\x00", "ledger-"),
)
json_text = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(["recipe", "repair", "preset", "ticket", "override", "seconds", "note", "entry", "body"])
            | st.text(max_size=4),
            inner,
            max_size=4,
        )
    ),
    max_leaves=8,
)
raw = st.one_of(json_text.map(json.dumps), st.sampled_from(["", "{", "nul", "[" * 3000, '{"a":', "\ud7ff", "9" * 5000]))
rows = st.fixed_dictionaries(
    {
        "kind": st.sampled_from(KINDS),
        "args": raw,
        "operator": st.sampled_from(["", "Ann", "\x1b[2J", "x" * 10_000]),
        "press": st.sampled_from([None, "P1", "P2", "P9", "", "\x1b]0;x\x07"]),
        "cycle_id": st.sampled_from([None, "", "f" * 32, "'; DROP TABLE ledger;--"]),
        "alarm_id": st.sampled_from([None, "", "A1", "archive-failing", "A99999999999999999999"]),
        "ago": st.sampled_from([0.0, 0.0, 5.0, 1e9, -1e9, 1e300]),
    }
)


@pytest.fixture(scope="module")
def monitor(tmp_path_factory: pytest.TempPathFactory) -> Any:
    made = Monitor(tmp_path_factory.mktemp("commands"))
    made.start()
    made.pass_(60)
    yield made
    made.stop()


def lay(monitor: Monitor, uuid: str, row: dict[str, Any]) -> None:
    """Write a row as any program that may write the file could."""
    issued = monitor.time.utc - row["ago"]
    db = sqlite3.connect(monitor.path, isolation_level=None)
    try:
        db.execute(
            "INSERT INTO command (uuid, issued_utc, expires_utc, operator, press, cycle_id, alarm_id, kind, args)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                *(uuid, issued, issued + 10.0, row["operator"], row["press"]),
                *(row["cycle_id"], row["alarm_id"], row["kind"], row["args"]),
            ),
        )
    finally:
        db.close()


_count = iter(range(10**9))


@given(st.lists(rows, min_size=1, max_size=3))
@settings(
    max_examples=60,
    derandomize=True,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
def test_no_command_row_ends_the_recording_or_deafens_the_recorder(monitor: Monitor, given_rows: list[Any]) -> None:
    entries = len(_ledger(monitor))
    for row in given_rows:
        lay(monitor, f"hostile-{next(_count)}", row)
    monitor.pass_(10)
    honest = monitor.send("note", press="P1", args={"note": "still there"})
    monitor.settle()
    with monitor.reader() as reader:
        answer = reader.command_answer(honest.uuid)
        assert answer is not None, "the next command was not heard"
        assert reader.recorder() is not None
        unanswered = reader.query("SELECT count(*) FROM command WHERE answer IS NULL")[0][0]
    assert unanswered == 0, "a command that cannot be read lies there for ever"
    assert monitor.recorder is not None
    grown = _ledger(monitor)[entries:]
    assert all(kind in ("cure-record", "shop-file") for (kind,) in grown), grown


def _ledger(monitor: Monitor) -> list[tuple[Any, ...]]:
    with monitor.reader() as reader:
        return reader.query("SELECT kind FROM ledger ORDER BY seq")


def test_the_harness_bites(monitor: Monitor) -> None:
    """An honest start through the same door does begin a cycle."""
    monitor.send("start", press="P2", args=START)
    monitor.settle()
    assert monitor.cycle_on("P2") is not None
    monitor.send("release", press="P2")
    monitor.settle()
    monitor.pass_(60)
    assert monitor.cycle_on("P2") is None

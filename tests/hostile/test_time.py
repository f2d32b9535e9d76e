"""Clocks that leap, sleep and change their zone in the middle of a cure: the same cure all the same."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from press_monitor.archive.verify import verify
from tests.properties.monitor import START, Monitor


@pytest.fixture
def monitor(tmp_path: Path) -> Iterator[Monitor]:
    made = Monitor(tmp_path)
    made.start()
    made.pass_(60)
    yield made
    if made.recorder is not None:
        made.stop()


def cure(monitor: Monitor, befalls: Callable[[Monitor], None]) -> tuple[dict[str, Any], list[str], float]:
    """A good cure with something in its middle; its sealed body, what else was kept of it, and how long it was."""
    began = monitor.time.seconds
    monitor.send("start", press="P1", args=START)
    monitor.settle()
    press = monitor.presses["P1"]
    press.heated = True
    monitor.pass_(1200)
    befalls(monitor)
    monitor.pass_(1200)
    monitor.send("heat-off", press="P1")
    monitor.settle()
    press.heated = False
    monitor.pass_(1000)
    press.bag_wanted = 0.0
    monitor.pass_(120)
    with monitor.reader() as reader:
        record = reader.record(1)
        body, trace = record.sealed.content, reader.trace(1)
        kinds = [event.kind for event in reader.events(None)]
    times = [row[1] for row in trace.rows()]
    assert times == sorted(set(times)), "time on the cycle's axis goes on rising"
    assert verify(monitor.path).ok
    return body, kinds, monitor.time.seconds - began


def step(seconds: float) -> Callable[[Monitor], None]:
    def befalls(monitor: Monitor) -> None:
        monitor.time.utc = max(50.0, monitor.time.utc + seconds)

    return befalls


@pytest.mark.parametrize("seconds", [-3600.0, -1.76e9], ids=["an hour back", "to 1970"])
def test_a_clock_that_leaps_moves_no_duration_and_raises_nothing_but_its_own_alarm(
    monitor: Monitor, seconds: float
) -> None:
    body, kinds, lasted = cure(monitor, step(seconds))
    result = body["result"]
    assert result["duration_s"] == pytest.approx(lasted, abs=150.0) and result["hold_min"] > 30.0
    assert {alarm["kind"] for alarm in result["alarms"]} <= {"clock-step"}
    assert result["verdict"] in ("pass", "exceptions"), result["reasons"]
    assert "clock-step" in kinds, "what the clock did is kept"
    assert body["started_utc"].startswith("2025-10-09"), "the beginning is told by the clock it began by"
    assert body["ended_utc"] > body["started_utc"]


def test_three_hours_of_sleep_are_a_hole_and_no_pass(monitor: Monitor) -> None:
    body, kinds, lasted = cure(monitor, lambda m: m.asleep(10_800))
    result = body["result"]
    assert lasted > 10_800 and result["duration_s"] == pytest.approx(lasted, abs=150.0)
    assert result["verdict"] != "pass" and any("no readings for" in reason for reason in result["reasons"])
    assert "sleep-gap" in kinds and body["gaps"]
    assert result["hold_min"] < 60.0, "no hold is counted that nobody saw"
    assert {"no-readings", "recorder-gap"} & {alarm["kind"] for alarm in result["alarms"]}


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="zones of a process can be changed on POSIX only")
@pytest.mark.parametrize("zone", ["XXX-14YYY,J1/0,J365/23"])
def test_a_change_of_zone_or_of_summer_time_changes_nothing(
    monitor: Monitor, zone: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def befalls(_: Monitor) -> None:
        monkeypatch.setenv("TZ", zone)
        time.tzset()

    try:
        body, kinds, lasted = cure(monitor, befalls)
    finally:
        monkeypatch.undo()
        time.tzset()
    assert body["result"]["verdict"] == "pass", body["result"]["reasons"]
    assert body["result"]["duration_s"] == pytest.approx(lasted, abs=150.0)
    assert "clock-step" not in kinds and body["started_utc"].endswith("Z")


def test_summer_time_ends_in_the_middle_of_the_night_shift(monitor: Monitor, monkeypatch: pytest.MonkeyPatch) -> None:
    """UTC knows no summer time: 2025-11-02 09:00 UTC is when clocks in New York's zone have gone back an hour."""
    monitor.time.utc = 1_762_063_200.0 - 1200.0
    body, kinds, _ = cure(monitor, lambda _: None)
    assert body["result"]["verdict"] == "pass" and kinds.count("clock-step") <= 1


@pytest.mark.parametrize("seconds", [3600.0, -3600.0])
def test_a_command_sent_before_a_leap_is_expired_and_one_sent_after_it_is_done(
    monitor: Monitor, seconds: float
) -> None:
    monitor.send("start", press="P1", args=START)
    monitor.settle()
    old = monitor.send("release", press="P1")
    monitor.time.utc += seconds
    monitor.settle()
    fresh = monitor.send("note", press="P1", args={"note": "the clock was set"})
    monitor.settle()
    with monitor.reader() as reader:
        late, now = reader.command_answer(old.uuid), reader.command_answer(fresh.uuid)
    assert late is not None and late.answer == "expired" and monitor.cycle_on("P1") is not None
    assert now is not None and now.answer == "done"


@pytest.mark.parametrize("down", [1800])
def test_a_clock_that_comes_back_in_1970_after_a_power_cut_gives_no_pass(monitor: Monitor, down: int) -> None:
    """The cut lasted, the computer's own clock lost the date, and nobody can say how long the rubber cooled."""

    def befalls(m: Monitor) -> None:
        m.kill()
        m.presses["P1"].heated = False
        m.pass_(down)
        m.time.utc = 5_000.0
        m.presses["P1"].heated = True
        m.start()

    body, _, _ = cure(monitor, befalls)
    assert body["result"]["verdict"] != "pass", body["result"]["reasons"]
    gap = next(each for each in body["gaps"] if each["kind"] == "recorder-gap")
    assert gap["end_s"] - gap["start_s"] >= down and "clock was set back" in gap["why"]


def test_a_time_server_that_takes_back_a_second_meanwhile_is_no_unknown_gap(monitor: Monitor) -> None:
    def befalls(m: Monitor) -> None:
        m.kill()
        m.time.utc -= 1.5
        m.start()

    body, _, lasted = cure(monitor, befalls)
    assert body["result"]["duration_s"] == pytest.approx(lasted, abs=150.0)

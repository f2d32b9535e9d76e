"""Each simulated log is judged as its own first line says; what is sealed of it judges the same again."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest

from drivers.log import LogError, parse_log
from press_monitor.archive import ArchiveReader
from press_monitor.archive.verify import verify
from press_monitor.audit.replay import replay_log, run_log, seal_replay, setup_for_log, ticks_of_log
from press_monitor.paths import HOME_VARIABLE
from press_monitor.shop import ShopError, load_repair
from press_monitor.watch.cure_watch import WatchSetup
from press_monitor.watch.plain import from_json
from press_monitor.watch.types import AlarmChanged, PhaseChanged, RecordHole
from tests.audit.logs import FOLDER, NAMES, judged, log_of, setup_of, shop, story

TOP = {
    "verdict", "reasons", "source", "certificate", "hold_min", "release_s", "duration_s", "phases", "alarms", "cure",
}  # fmt: skip
WATCHED = TOP - {"source", "certificate"}
ALARM = {
    "id", "kind", "channel", "priority", "raised_s", "since_s", "cleared_s", "consequence_of", "message", "advice",
}  # fmt: skip
CURE = {"deepest", "hottest", "worst_vapour_margin_kPa", "worst_boil_margin_kPa", "set_without_pressure"}
POINT = {
    "stack", "depth_mm", "state_of_cure", "state_of_cure_low", "state_of_cure_high", "equivalent_min", "peak_degC",
}  # fmt: skip


@dataclass(frozen=True)
class Expected:
    """What a log's story means: its root alarms as (kind, channel) with the window of raising, and the verdicts."""

    roots: dict[tuple[str, str | None], tuple[float, float]]
    verdicts: set[str]
    words: str
    released: float | None = None
    others: frozenset[str] = frozenset()


# The windows are the design's limits after the moment the story names (four intervals where rows are further apart).
EXPECTED = {
    "good-thin": Expected({}, {"pass"}, "a good cure", 6154.0),
    "good-thick": Expected({}, {"pass"}, "a good cure", 18871.0),
    "normal-release": Expected({}, {"pass"}, "a good cure", 10123.0),
    "wide-thermostat": Expected({}, {"pass"}, "nothing to alarm at", 10042.0),
    "burst-bag": Expected({("bag-burst", "bag"): (2100.0, 2110.0)}, {"fail"}, "bursts at minute 35 (2100 s)"),
    "slow-leak": Expected({("bag-leaking", "bag"): (3300.0, 3900.0)}, {"review"}, "leaks 0.5 psi/min"),
    "masked-leak": Expected(
        {("bag-leaking", "bag"): (2700.0, 3300.0)}, {"exceptions"}, "saw-tooth", 10146.0, frozenset({"bag-topping-up"})
    ),
    "dead-mat": Expected({("heat-lost", "outer_mat"): (2400.0, 2475.0)}, {"incomplete"}, "outer mat's lead fails"),
    "power-lost": Expected({("heat-lost", None): (3000.0, 3075.0)}, {"incomplete"}, "breaker of both mats"),
    "lifted-probe": Expected({("probe-lifted", "inner_mat"): (2700.0, 2712.0)}, {"review"}, "probe lifts off"),
    "open-probe": Expected(
        {("probe-open", "outer_mat"): (3000.0, 3010.0)}, {"review"}, "probe is open", 10118.0
    ),
    "late-heat-up": Expected(
        {("heat-up-late", "inner_mat"): (60.0, 960.0), ("heat-up-late", "outer_mat"): (60.0, 960.0)},
        {"exceptions"},
        "reach the band far too late",
        10841.0,
    ),
    "forgotten-bag": Expected(
        {("heat-without-pressure", "bag"): (60.0, 500.0)}, {"incomplete"}, "nobody inflates the bag"
    ),
    "silent-gap": Expected(
        {("no-readings", None): (2880.0, 2888.0), ("no-readings", "again"): (4200.0, 4208.0)},
        {"review", "exceptions"},
        "no rows from minute 48",
        10123.0,
    ),
    "early-release": Expected(
        {("bag-burst", "bag"): (3600.0, 3606.0)},
        {"fail"},
        "hot and uncured",
        None,
        frozenset({"heat-lost", "released-early"}),
    ),
}  # fmt: skip
ROUND = ("burst-bag", "forgotten-bag", "silent-gap", "good-thin")


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(HOME_VARIABLE, str(tmp_path / "home"))


def result(name: str) -> dict[str, Any]:
    found: dict[str, Any] = judged(name).watch.result()
    return found


def test_every_log_is_expected() -> None:
    assert set(EXPECTED) == set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_a_log_is_judged_as_its_story_says(name: str) -> None:
    expected, found = EXPECTED[name], result(name)
    assert expected.words in story(name)
    assert found["verdict"] in expected.verdicts, found["reasons"]
    roots = [a for a in found["alarms"] if a["consequence_of"] is None]
    told = [(a["kind"], a["channel"], a["raised_s"]) for a in roots]
    left = list(roots)
    for (kind, channel), (first, last) in expected.roots.items():
        hits = [
            a
            for a in left
            if a["kind"] == kind and channel in (None, "again", a["channel"]) and first <= a["raised_s"] <= last
        ]
        assert hits, told
        left.remove(hits[0])
    unexpected = [a for a in left if a["kind"] not in expected.others and name != "lifted-probe"]
    assert not unexpected, told
    if expected.released is not None:
        assert expected.released <= found["release_s"] <= expected.released + 10.0


def test_a_lifted_probe_that_stays_off_is_the_only_fault_of_a_mat_until_the_heat_goes_off() -> None:
    early = [a for a in result("lifted-probe")["alarms"] if a["raised_s"] < 6360.0]
    assert [(a["kind"], a["channel"]) for a in early if a["consequence_of"] is None] == [("probe-lifted", "inner_mat")]


def test_a_leak_that_the_regulator_hides_is_told_as_that_within_ten_minutes() -> None:
    told = {a["kind"]: a for a in result("masked-leak")["alarms"]}
    assert set(told) == {"bag-leaking", "bag-topping-up"}
    assert 2700.0 <= told["bag-topping-up"]["raised_s"] <= 3300.0
    assert told["bag-topping-up"]["consequence_of"] in (None, told["bag-leaking"]["id"])


def test_both_mats_dark_are_one_cause() -> None:
    alarms = result("power-lost")["alarms"]
    lost = [a for a in alarms if a["kind"] == "heat-lost"]
    assert {a["channel"] for a in lost} == {"inner_mat", "outer_mat"}
    assert lost[1]["consequence_of"] == lost[0]["id"]


def test_pressure_lost_while_setting_calls_though_it_is_a_consequence() -> None:
    alarms = result("burst-bag")["alarms"]
    (lost,) = (a for a in alarms if a["kind"] == "pressure-lost-uncured")
    assert lost["priority"] == "high" and lost["consequence_of"] == alarms[0]["id"] and 2100 < lost["raised_s"] < 2112
    assert result("burst-bag")["cure"]["set_without_pressure"] > 0.25


def test_the_deepest_rubber_is_where_it_must_be() -> None:
    # 8 | 22 | 14 mm: against the casing on its thicker uncured side; the faces are the hottest rubber
    for name in ("normal-release", "wide-thermostat", "masked-leak"):
        cure = result(name)["cure"]
        assert cure["deepest"]["depth_mm"] == pytest.approx(30.0, abs=0.5)
        assert cure["hottest"]["depth_mm"] in (pytest.approx(0.0, abs=0.1), pytest.approx(44.0, abs=0.1))


# --- the contract of the outcome ------------------------------------------------------------------------------------


def numbers(thing: object) -> Iterator[float]:
    if isinstance(thing, dict):
        for value in thing.values():
            yield from numbers(value)
    elif isinstance(thing, list):
        for value in thing:
            yield from numbers(value)
    elif isinstance(thing, float):
        yield thing


@pytest.mark.parametrize("name", NAMES)
def test_the_outcome_has_exactly_its_keys_and_finite_numbers(name: str) -> None:
    found = result(name)
    assert set(found) == WATCHED and set(found["cure"]) == CURE
    assert found["verdict"] in {"pass", "exceptions", "review", "fail", "incomplete"}
    assert found["reasons"] and all(isinstance(r, str) and r for r in found["reasons"])
    ids = [alarm["id"] for alarm in found["alarms"]]
    assert len(set(ids)) == len(ids)
    for alarm in found["alarms"]:
        assert set(alarm) == ALARM and alarm["priority"] in ("high", "medium", "low")
        assert alarm["since_s"] <= alarm["raised_s"] <= log_of(name).times[-1]
        assert alarm["cleared_s"] is None or alarm["raised_s"] <= alarm["cleared_s"] <= log_of(name).times[-1]
        assert alarm["consequence_of"] is None or alarm["consequence_of"] in ids
        assert alarm["message"] and alarm["advice"] and alarm["since_s"] >= log_of(name).times[0]
    spans = found["phases"]
    assert all(set(span) == {"phase", "start_s", "end_s"} for span in spans)
    assert spans[0]["phase"] == "loaded" and spans[0]["start_s"] == log_of(name).times[0]
    assert spans[-1]["end_s"] == log_of(name).times[-1]
    assert all(a["end_s"] == b["start_s"] for a, b in zip(spans, spans[1:], strict=False))  # noqa: RUF007
    for point in (found["cure"]["deepest"], found["cure"]["hottest"]):
        assert set(point) == POINT
        assert 0.0 <= point["state_of_cure_low"] <= point["state_of_cure"] <= point["state_of_cure_high"] <= 1.0
    assert found["cure"]["deepest"]["state_of_cure"] <= found["cure"]["hottest"]["state_of_cure"]
    assert all(math.isfinite(number) for number in numbers(found)) and json.dumps(found, allow_nan=False)
    assert found["duration_s"] == log_of(name).times[-1] - log_of(name).times[0]
    assert 0.0 <= found["hold_min"] <= found["duration_s"] / 60.0
    closed = found["release_s"] is not None
    assert closed == (spans[-1]["phase"] == "released") and (closed or found["verdict"] in ("incomplete", "fail"))


@pytest.mark.parametrize("name", NAMES)
def test_alarms_are_told_as_they_are_raised_and_never_back_dated(name: str) -> None:
    replay = judged(name)
    raised: dict[str, float] = {}
    for event in replay.events:
        if isinstance(event, AlarmChanged):
            raised.setdefault(event.alarm.id, event.t)
    assert raised == {alarm["id"]: alarm["raised_s"] for alarm in result(name)["alarms"]}
    times = [event.t for event in replay.events]
    assert times == sorted(times)


def test_the_hold_clock_agrees_with_the_phases() -> None:
    for name in ("good-thin", "normal-release"):
        found = result(name)
        hold = next(span for span in found["phases"] if span["phase"] == "hold")
        assert found["hold_min"] == pytest.approx((hold["end_s"] - hold["start_s"]) / 60.0, abs=3.0)


# --- rows, holes and whole seconds ----------------------------------------------------------------------------------


def test_a_log_is_ticked_through_its_holes_each_second() -> None:
    ticks = [tick for tick in ticks_of_log(log_of("silent-gap")) if 2870.0 <= tick.t <= 3310.0]
    empty = [tick.t for tick in ticks if not tick.readings]
    assert [t for t in empty if 2878.0 < t < 3300.0] == [float(t) for t in range(2879, 3300)]
    holes = [e for e in judged("silent-gap").events if isinstance(e, RecordHole)]
    assert [(hole.start_s, hole.end_s) for hole in holes] == [(2878.0, 3300.0), (4198.0, 4290.0)]


def rows(every: float, until: float, *, gap: tuple[float, float] = (math.inf, math.inf), start: float = 0.0) -> str:
    """A press heating up, in the log format."""
    text = "elapsed_s,inner_mat[degF],outer_mat[degF],bag[psi]\n"
    k = 0
    while start + k * every <= until:
        t = start + k * every
        if not gap[0] <= t < gap[1]:
            text += f"{t:.1f},{70 + t / 4 + k % 3 / 10:.1f},{69 + t / 4 + k % 4 / 10:.1f},{32 + k % 3 / 100:.2f}\n"
        k += 1
    return text


@pytest.mark.parametrize(("every", "start"), [(5.0, 0.0), (5.0, 2.0), (3.0, 0.5), (5.2, 0.0)])
def test_between_seldom_rows_alarms_fall_on_whole_seconds_after_the_last_row(every: float, start: float) -> None:
    log = parse_log(rows(every, 420.0, gap=(300.0, 400.0), start=start).encode(), "gap.csv")
    repair = load_repair(FOLDER / "repair-44mm.toml", shop())
    found = run_log(log, setup_for_log(log, shop(), "section-300", repair)).watch.result()
    (silent,) = found["alarms"]
    last = max(t for t in log.times if t < 300.0)
    assert silent["kind"] == "no-readings" and silent["raised_s"] not in log.times
    waited = silent["raised_s"] - last
    assert waited == pytest.approx(round(waited), abs=1e-6) and waited <= max(5.0, 4.0 * every) + 1.0
    assert silent["since_s"] == last and silent["cleared_s"] == min(t for t in log.times if t > 300.0)


def test_rows_far_apart_in_a_log_are_no_silence() -> None:
    log = parse_log(rows(10.0, 500.0).encode(), "slow.csv")
    repair = load_repair(FOLDER / "repair-44mm.toml", shop())
    found = run_log(log, setup_for_log(log, shop(), "section-300", repair)).watch.result()
    assert found["alarms"] == []


def test_a_log_may_begin_at_any_second() -> None:
    text = rows(1.0, 200.0)
    moved = "\n".join(
        line if n == 0 else f"{float(line.split(',', 1)[0]) - 150.0:.1f},{line.split(',', 1)[1]}"
        for n, line in enumerate(text.splitlines())
    )
    repair = load_repair(FOLDER / "repair-44mm.toml", shop())
    outcomes = []
    for one in (text, moved):
        log = parse_log(one.encode(), "any.csv")
        outcomes.append(run_log(log, setup_for_log(log, shop(), "section-300", repair)).watch.result())
    first, second = outcomes
    assert second["duration_s"] == first["duration_s"] and second["cure"] == first["cure"]
    assert [s["start_s"] - 150.0 for s in first["phases"]] == [s["start_s"] for s in second["phases"]]


# --- sealed ---------------------------------------------------------------------------------------------------------


@pytest.fixture
def sealed(tmp_path: Path) -> Path:
    """An archive with some of the logs sealed in it."""
    path = tmp_path / "shop.sqlite"
    (tmp_path / "home").mkdir()
    for name in ROUND:
        seal_replay(judged(name), shop(), path)
    return path


def test_sealed_logs_verify_and_their_traces_are_the_logs(sealed: Path) -> None:
    report = verify(sealed, unpack_traces=True)
    assert report.ok, report.problems
    assert report.certificates == len(ROUND)
    with ArchiveReader(sealed) as reader:
        for number, name in enumerate(ROUND, start=1):
            log, trace = log_of(name), reader.trace(number)
            assert [(c.name, c.unit, c.decimals) for c in trace.channels] == [
                (c.name, c.unit, c.decimals) for c in log.columns
            ]
            values = [
                () if all(n is None for n in counts) else tuple(
                    None if n is None else n / 10**c.decimals for n, c in zip(counts, log.columns, strict=True)
                )
                for _, _, counts in trace.rows()
            ]  # fmt: skip
            assert values == list(log.rows)
            assert [t / 10**log.time_decimals for _, t, _ in trace.rows()] == list(log.times)


def test_a_sealed_log_carries_all_that_judges_it_again_and_judges_the_same(sealed: Path) -> None:
    with ArchiveReader(sealed) as reader:
        for number, name in enumerate(ROUND, start=1):
            if name != "forgotten-bag":
                continue  # a short one will do
            log, record = log_of(name), reader.record(number)
            body = json.loads(record.sealed.body)
            assert body["source"] == "log" and body["source_log_sha256"] == log.sha256
            setup = from_json(WatchSetup, body["setup"])
            assert setup == setup_of(name)
            trace = reader.trace(number)
            again = replace(
                log,
                times=tuple(t / 10**trace.time_decimals for _, t, _ in trace.rows()),
                rows=tuple(
                    () if all(n is None for n in counts) else tuple(
                        None if n is None else n / 10**c.decimals for n, c in zip(counts, log.columns, strict=True)
                    )
                    for _, _, counts in trace.rows()
                ),
            )  # fmt: skip
            replayed = run_log(again, setup)
            assert replayed.events == judged(name).events
            assert replayed.watch.result(at_release=True) == body["result"] | {}


def test_a_sealed_record_speaks_of_the_cure_at_release(sealed: Path) -> None:
    with ArchiveReader(sealed) as reader:
        body = json.loads(reader.record(ROUND.index("good-thin") + 1).sealed.body)
    live, at_release = judged("good-thin").watch.result(), judged("good-thin").watch.result(at_release=True)
    assert body["result"]["cure"] == at_release["cure"] and set(at_release) == set(live)
    assert at_release["cure"]["deepest"]["equivalent_min"] <= live["cure"]["deepest"]["equivalent_min"]
    phases = [e for e in body["events"] if e["kind"] == PhaseChanged.__name__]
    assert [e["phase"] for e in phases] == ["loaded", "heat-up", "hold", "cool-down", "released"]


def test_the_whole_way_with_and_without_an_archive(tmp_path: Path) -> None:
    (tmp_path / "home").mkdir()
    path = tmp_path / "short.csv"
    path.write_text(rows(1.0, 500.0), "utf-8")
    files = (path, FOLDER / "shop.toml", "section-300", FOLDER / "repair-44mm.toml")
    plain, notes = replay_log(*files)
    assert set(plain) == TOP and plain["source"] == "log" and plain["certificate"] is None and notes == []
    archive = tmp_path / "new.sqlite"
    kept, _ = replay_log(*files, archive)
    assert kept == {**plain, "certificate": 1}
    again, _ = replay_log(*files, archive)
    assert again["certificate"] == 2 and verify(archive).ok


def test_other_columns_are_kept_and_noted_and_change_nothing(tmp_path: Path) -> None:
    (tmp_path / "home").mkdir()
    text = rows(1.0, 60.0)
    wide = "\n".join(
        line + (",drive_current[A],note_mark[mm]" if n == 0 else f",{n % 7},{n}")
        for n, line in enumerate(text.splitlines())
    )
    outcomes = []
    for name, one in (("plain.csv", text), ("wide.csv", wide)):
        (tmp_path / name).write_text(one, "utf-8")
        files = (tmp_path / name, FOLDER / "shop.toml", "section-300", FOLDER / "repair-44mm.toml")
        outcomes.append(replay_log(*files, tmp_path / f"{name}.sqlite"))
    (plain, none), (kept, notes) = outcomes
    assert kept == plain and none == [] and len(notes) == 2
    assert all("kept, not judged" in note and "wide.csv" in note for note in notes)
    with ArchiveReader(tmp_path / "wide.csv.sqlite") as reader:
        assert [c.name for c in reader.trace(1).channels][-2:] == ["drive_current", "note_mark"]


# --- what cannot be judged ------------------------------------------------------------------------------------------


def refused(tmp_path: Path, text: str, kind: type[Exception], recipe: str = "section-300") -> str:
    path, archive = tmp_path / "bad.csv", tmp_path / "never.sqlite"
    path.write_text(text, "utf-8")
    with pytest.raises(kind) as caught:
        replay_log(path, FOLDER / "shop.toml", recipe, FOLDER / "repair-44mm.toml", archive)
    assert "\n" not in str(caught.value) and not archive.exists()
    return str(caught.value)


def test_a_raw_signal_in_a_judged_column_is_refused_by_name(tmp_path: Path) -> None:
    words = refused(tmp_path, "elapsed_s,inner_mat[mV],bag[psi]\n0,4.1,32\n", LogError)
    assert "bad.csv, line 1" in words and "inner_mat[mV]" in words


def test_an_unknown_recipe_is_refused_and_nothing_is_made(tmp_path: Path) -> None:
    assert "recipes.nope" in refused(tmp_path, rows(1.0, 5.0), ShopError, "nope")


@pytest.mark.parametrize(
    "text", ["", "elapsed_s,bag[psi]\n", "elapsed_s,bag[psi]\n5,1\n4,1\n", "elapsed_s,bag[psi]\n0,nan\n"]
)
def test_a_log_that_is_none_is_refused_and_nothing_is_made(tmp_path: Path, text: str) -> None:
    assert "bad.csv" in refused(tmp_path, text, LogError)


def test_a_log_of_one_row_or_without_mats_is_incomplete_not_an_error(tmp_path: Path) -> None:
    (tmp_path / "home").mkdir()
    for n, text in enumerate(
        ("elapsed_s,bag[psi]\n0,32\n", rows(1.0, 0.0), "elapsed_s,inner_mat[degF]\n0,70\n1,71\n2,72\n")
    ):
        path = tmp_path / f"short{n}.csv"
        path.write_text(text, "utf-8")
        found, _ = replay_log(
            path, FOLDER / "shop.toml", "section-300", FOLDER / "repair-44mm.toml", tmp_path / f"s{n}.sqlite"
        )
        assert found["verdict"] == "incomplete" and found["certificate"] == 1
        assert json.dumps(found, allow_nan=False)
        assert verify(tmp_path / f"s{n}.sqlite").ok


@pytest.mark.parametrize(
    "value",
    [
        "-459.67",
        "-500",
        "1000000000",
        "-1000000000",
    ],
)
def test_readings_no_thermocouple_gives_are_judged_or_refused_in_one_line(tmp_path: Path, value: str) -> None:
    lines = rows(1.0, 400.0).splitlines()
    lines[331] = f"{lines[331].split(',')[0]},{value},150.0,32.0"
    path = tmp_path / "wild.csv"
    path.write_text("\n".join(lines), "utf-8")
    try:
        found, _ = replay_log(path, FOLDER / "shop.toml", "section-300", FOLDER / "repair-44mm.toml")
    except LogError as error:
        assert "line 332" in str(error)  # noqa: PT017 - either will do
    else:
        assert json.dumps(found, allow_nan=False)

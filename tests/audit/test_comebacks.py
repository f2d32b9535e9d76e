"""A cure judged again, put beside its like, and entered when the tire comes back; tickets that come late."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from press_monitor.archive import Archive, ArchiveError, ArchiveReader
from press_monitor.archive.requests import Asked
from press_monitor.archive.ticket import read_ticket
from press_monitor.archive.verify import verify
from press_monitor.audit import comebacks
from press_monitor.audit.comebacks import attach_ticket, came_back, judged_anew
from press_monitor.audit.comparison import ENOUGH, compare
from press_monitor.audit.rejudge import AuditError, changes, judge_again, model_changes, setup_of, todays
from press_monitor.watch.plain import to_json
from tests.archive.fixtures.make import FOLDER as FIXTURES
from tests.archive.fixtures.make import write_key
from tests.archive.helpers import NOON, body, new_start
from tests.audit.cures import DAY, LOCK, NOTE, Bench, warming

GOOD = 21
COLD, BARE, ACTED = GOOD + 1, GOOD + 2, GOOD + 3


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    """21 good cures, then one that ran cold with a soft bag (22), one without a ticket (23), one with actions (24)."""
    bench = Bench(tmp_path_factory.mktemp("bench"))
    with bench.open() as archive, archive.transaction():
        for k in range(GOOD):
            ticket = {"bag": "B1", "materials": [{"use": "filler", "lot": "SG-1"}]}
            rows = warming(120, mat=2960 + 3 * k, bag=3280 + k)
            bench.seal(archive, rows, ticket=ticket, started_utc=NOON + k * DAY, verdict="pass")
        bench.seal(archive, warming(120, mat=2300, bag=2000), ticket={"bag": "B2"}, started_utc=NOON + 30 * DAY)
        bench.seal(archive, warming(120), setup=bench.setup(ticketed=False, repair=False), started_utc=NOON + 31 * DAY)
        bench.seal(archive, warming(120), actions=(NOTE, LOCK), ticket={}, started_utc=NOON + 32 * DAY)
    return bench


@pytest.fixture
def bench(shop: Bench, tmp_path: Path) -> Bench:
    """The same shop, to be added to."""
    again = Bench(tmp_path / "again")
    again.path.write_bytes(shop.path.read_bytes())
    again.key.parent.mkdir()
    again.key.write_bytes(shop.key.read_bytes())
    return again


def asked(bench: Bench) -> Asked:
    return Asked(bench.path, bench.key, "comeback", now=lambda: NOON + 200 * DAY)


# -- judged again --


@pytest.mark.parametrize("number", [COLD, BARE, ACTED])
def test_the_same_program_judges_the_same(shop: Bench, number: int) -> None:
    """Rows, gaps and actions are all that decided: stepped again, event for event the same result."""
    with ArchiveReader(shop.path) as reader:
        body, trace = reader.record(number).sealed.content, reader.trace(number)
    again = judge_again(body, trace)
    assert json.loads(json.dumps(again.result)) == body["result"]
    assert json.loads(json.dumps(again.profiles)) == body["profiles"]
    assert changes(body["result"], again.result) == ()
    assert again.model == body["model"]
    if number == ACTED:
        assert [told["action"]["note"] for told in body["actions"]] == ["smells hot", ""]


def test_another_card_of_the_compound_changes_the_cure_and_is_told(shop: Bench, tmp_path: Path) -> None:
    from press_monitor.shop import load_shop

    slower = tmp_path / "shop.toml"
    slower.write_text(shop.files["shop"].read_text().replace('tc90 = "12 min"', 'tc90 = "20 min"'), "utf-8")
    with ArchiveReader(shop.path) as reader:
        body, trace = reader.record(ACTED).sealed.content, reader.trace(ACTED)
        told = judged_anew(reader, ACTED, load_shop(slower))
    again = judge_again(body, trace, todays(setup_of(body), load_shop(slower), "P1"))
    assert [change.words() for change in model_changes(body, again)] == ["compound section-gum, tc90 720 -> 1200"]
    assert told.model_changes == model_changes(body, again) and told.changes == changes(body["result"], again.result)
    assert any(change.what.startswith("deepest state of cure") for change in told.changes)
    assert told.verdict == "incomplete" and told.trouble == ""


def test_what_differs_is_listed_and_nothing_else() -> None:
    before = {
        "verdict": "pass", "reasons": ["a"], "hold_min": 60.0, "release_s": None, "alarms": [{"kind": "bag-low"}],
        "cure": {"deepest": {"state_of_cure": 0.95}},
    }  # fmt: skip
    assert changes(before, before) == ()
    after = {**before, "verdict": "review", "reasons": ["b"], "alarms": [], "cure": {"deepest": None}}
    assert [change.words() for change in changes(before, after)] == [
        "verdict pass -> review",
        "deepest state of cure 0.95 -> none",
        "alarms bag-low -> none",
        "reasons a -> b",
    ]


@pytest.mark.parametrize(
    "spoil",
    [
        lambda body: body.update(recipe=None),
        lambda body: body["setup"].update(limits={"thickness": "wide"}),
        lambda body: body.update(repair={"stacks": []}),
        lambda body: body["setup"].update(units="furlongs"),
    ],
)
def test_a_record_that_cannot_be_read_is_said_so(shop: Bench, spoil: Any) -> None:
    with ArchiveReader(shop.path) as reader:
        body, trace = reader.record(COLD).sealed.content, reader.trace(COLD)
    spoil(body)
    with pytest.raises(AuditError, match=f"certificate {COLD} cannot be judged again"):
        judge_again(body, trace)


def test_records_of_the_first_format_are_judged_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path, key = tmp_path / "old.sqlite", write_key(tmp_path / "ledger.key")
    path.write_bytes((FIXTURES / "version-1.db").read_bytes())
    Archive.open(path, key_path=key).close()
    with ArchiveReader(path) as reader:
        body = reader.record(1).sealed.content
        setup = setup_of(body)
        assert setup.recipe.name == "section-300" and setup.repair is not None
        assert to_json(setup.repair)["stacks"] == body["repair"]["stacks"]
        # The others are made up for the archive's tests and hold no recipe that a watch could use.
        told = judged_anew(reader, 2)
    assert told.verdict is None and "certificate 2 cannot be judged again" in told.trouble


# -- beside its like --


def test_a_cold_cure_with_a_soft_bag_lies_outside_the_band(shop: Bench) -> None:
    with ArchiveReader(shop.path) as reader:
        found = compare(reader, COLD)
    assert found.good == tuple(range(GOOD, 0, -1)) and f"{GOOD} comparable good cures" in found.note
    by_name = {figure.name: figure for figure in found.figures}
    assert by_name["deepest state of cure"].n == GOOD
    outside = {name for name, figure in by_name.items() if figure.outside}
    assert "hottest rubber peaked at" in outside
    bag = next(curve for curve in found.curves if curve.name == "bag")
    assert {name for curve in found.curves for name in [curve.name]} == {"inner_mat", "outer_mat", "bag"}
    low = [v for v in bag.low if v is not None]
    assert max(v for v in bag.value if v is not None) < min(low)
    json.dumps(found.to_json(), allow_nan=False)


def test_the_band_is_that_of_the_good_ones(shop: Bench) -> None:
    """From `ENOUGH` cures on the 5th to the 95th percentile, by numpy from their own sealed figures."""
    import numpy as np

    assert GOOD >= ENOUGH
    with ArchiveReader(shop.path) as reader:
        figure = next(f for f in compare(reader, COLD).figures if f.name == "hottest rubber peaked at")
        peaks = [reader.record(n).sealed.content["result"]["cure"]["hottest"]["peak_degC"] for n in range(1, GOOD + 1)]
    assert (figure.low, figure.median, figure.high) == pytest.approx(tuple(np.percentile(peaks, (5, 50, 95))))


def test_a_good_one_lies_inside_the_band_of_the_others(shop: Bench) -> None:
    with ArchiveReader(shop.path) as reader:
        found = compare(reader, 12)
    assert 12 not in found.good and len(found.good) == GOOD - 1
    assert not [figure.name for figure in found.figures if figure.outside]


def test_nothing_to_compare_with_is_said(bench: Bench) -> None:
    with ArchiveReader(bench.path) as reader:
        found = compare(reader, BARE)  # no thickness: the recipe alone decides
        assert found.good
    with bench.open() as archive:
        other = replace(bench.setup(), recipe=replace(bench.shop.recipe("section-300"), name="other"))
        number = bench.seal(archive, warming(20), setup=other)
    with ArchiveReader(bench.path) as reader:
        found = compare(reader, number)
    assert found.good == () and "nothing to compare with" in found.note
    assert all(figure.low is None and not figure.outside for figure in found.figures)


def test_where_a_curve_leaves_the_band_and_for_how_long(tmp_path: Path) -> None:
    path = tmp_path / "archive.sqlite"

    def sealed(archive: Archive, low: tuple[int, int] = (0, 0)) -> None:
        start = new_start()
        made = [(k, 1000 * k, (2900, 2500 if low[0] <= k < low[1] else 2900 + k % 5, 3200)) for k in range(1200)]
        archive.begin_cycle(start)
        archive.add_rows(start.cycle_id, made)
        archive.seal(start.cycle_id, body(start, "review" if low[1] else "pass"))

    with Archive.open(path, key_path=tmp_path / "k") as archive:
        for _ in range(6):
            sealed(archive)
        sealed(archive, (300, 840))
        sealed(archive, (300, 420))  # two minutes are no span
    with ArchiveReader(path) as reader:
        spans = {c.name: c.outside_min for c in compare(reader, 7).curves}
        assert spans["inner_mat"] == spans["bag"] == ()
        ((start, end, side),) = spans["outer_mat"]
        assert (start, end) == (pytest.approx(5.0, abs=0.2), pytest.approx(14.0, abs=0.2)) and side == "below"
        assert all(curve.outside_min == () for curve in compare(reader, 8).curves)
        assert "the band runs from the lowest to the highest" in compare(reader, 7).note


# -- coming back --


def test_a_comeback_is_entered_with_what_today_makes_of_it(bench: Bench) -> None:
    report = came_back(asked(bench), COLD, "Cure-Sponge", day=date(2030, 6, 1), by="Ines", note="porous at the crown")
    assert (report.cause, report.day, report.age_days, report.sealed_verdict) == (
        *("cure sponge", "2030-06-01", 46, "incomplete"),
    )
    assert report.anew.verdict == "incomplete" and report.anew.changes == ()
    with ArchiveReader(bench.path) as reader:
        entry = reader.entry(report.entry or 0).content
        assert reader.records(comeback="cure sponge")[0].number == COLD
    assert (entry["cause"], entry["by"], entry["note"]) == ("cure sponge", "Ines", "porous at the crown")
    assert entry["judged_anew"]["verdict"] == "incomplete"
    bag = next(rate for rate in report.suspects if rate.kind == "bag")
    assert (bag.name, bag.counted_back, bag.counted) == ("B2", 1, 1)
    assert verify(bench.path).ok
    json.dumps(report.to_json(), allow_nan=False)


@pytest.mark.parametrize("day", [date(2030, 4, 1), date(2032, 1, 1)])
def test_a_day_that_cannot_be(bench: Bench, day: date) -> None:
    before = bench.path.read_bytes()
    with pytest.raises(AuditError, match="cannot have come back on"):
        came_back(asked(bench), COLD, "reversion", day=day)
    assert bench.path.read_bytes() == before


def test_a_certificate_that_is_not_there(bench: Bench) -> None:
    with pytest.raises(ArchiveError, match="there is no certificate 99"):
        came_back(asked(bench), 99, "reversion")


def test_what_cannot_be_judged_again_can_still_come_back(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuses(*_: object) -> None:
        raise AuditError(f"certificate {COLD} cannot be judged again: of another age")

    monkeypatch.setattr(comebacks, "judge_again", refuses)
    report = came_back(asked(bench), COLD, "reversion", day=date(2030, 6, 1))
    assert report.entry and report.anew.verdict is None and "of another age" in report.anew.trouble


# -- a ticket that comes late --


def test_a_late_ticket_has_the_cure_judged_on_what_it_says(bench: Bench) -> None:
    ticket = read_ticket({"customer": "Upper Mesa", "mats_overlap": True, "bag": "B1"}, date(2030, 6, 1))
    report = attach_ticket(asked(bench), BARE, ticket, shop=bench.shop, repair=bench.repair, by="Ines")
    assert report.verdict_before == "incomplete" and report.verdict == "incomplete"
    with ArchiveReader(bench.path) as reader:
        row = reader.records(number=BARE)[0]
        entry = reader.entry(report.entry).content
        sealed = reader.record(BARE).sealed.content
        with_layers = reader.record(ACTED).sealed.content
        assert sealed["result"]["cure"]["deepest"] is None
        # The same rows under the same layers: but for what people did, as the cycle that had its ticket from the start.
        assert entry["result"]["cure"] == with_layers["result"]["cure"]
        assert (row.customer, row.thickness_mm, row.state_of_cure) == (
            *("Upper Mesa", 44.0, entry["result"]["cure"]["deepest"]["state_of_cure"]),
        )
        assert reader.records(bag="B1")[0].number == BARE
        told = judged_anew(reader, BARE)
    assert told.verdict == "incomplete" and told.changes == ()
    assert any(change.what == "deepest state of cure" for change in report.changes)
    assert verify(bench.path).ok


def test_what_should_not_have_been_used_is_found_when_the_ticket_comes(bench: Bench) -> None:
    from press_monitor.archive.entries import stores_body

    with bench.open() as archive:
        archive.append("stores", stores_body("lot", "SG-9", {"expires": "2030-01-01"}))
    ticket = read_ticket({"materials": [{"lot": "sg-9"}]}, date(2030, 6, 1))
    report = attach_ticket(asked(bench), BARE, ticket, shop=bench.shop)
    assert report.found == ("lot SG-9 expired on 2030-01-01",)
    with ArchiveReader(bench.path) as reader:
        (override,) = reader.entry(report.entry).content["ticket"]["overrides"]
    assert override["what"] == "lot SG-9 expired on 2030-01-01" and "after the cure" in override["reason"]

"""What shared a lot, a bag, a mat, a probe, a press, and what came back of it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path
from random import Random
from typing import Any

import pytest

from press_monitor.archive import Archive, ArchiveReader
from press_monitor.archive.entries import comeback_body
from press_monitor.audit.rejudge import AuditError
from press_monitor.audit.statistics import clopper_pearson, fisher_exact
from press_monitor.audit.where_used import Rate, comeback_rate, suspects, where_used
from tests.archive.helpers import NOON, body, new_start, rows, seal_one

DAY = 86_400.0
NOW = NOON + 400 * DAY
COUNT = 120


def facts_of(number: int, random: Random) -> dict[str, Any]:
    """What a made-up repair used, when, and whether it came back."""
    lot = "SG-2203" if number in range(20, 45) else random.choice(["SG-2204", "SG-2205"])
    back = random.random() < (0.35 if lot == "SG-2203" else 0.04)
    return {
        "number": number,
        "press": f"P{1 + number % 3}",
        "source": "log" if number % 17 == 0 else "live",
        "ended": NOON + random.randint(0, 390) * DAY,
        "lot": lot,
        "bag": f"B{number % 4}",
        "mat": f"M{number % 5}",
        "probe": f"K-{number % 6}",
        "person": random.choice(["Ines", "Tom"]),
        "comeback": ("new injury" if random.random() < 0.2 else "cure sponge") if back else None,
    }


def seal_facts(archive: Archive, told: dict[str, Any]) -> None:
    spell = str.lower if told["number"] % 2 else str
    ticket = {
        "materials": [{"use": "filler", "lot": spell(told["lot"])}],
        "bag": told["bag"],
        "mats": [told["mat"]],
        "people": {"built": told["person"]},
    }
    start = new_start(
        press=told["press"],
        source=told["source"],
        started_utc=told["ended"] - 5400.0,
        ticket=ticket,
        setup={"inputs": [{"name": "inner_mat", "sensor": told["probe"]}]},
    )
    sha = {"source_log_sha256": "0" * 64} if told["source"] == "log" else {}
    archive.begin_cycle(start)
    archive.add_rows(start.cycle_id, rows(2))
    archive.seal(start.cycle_id, body(start, **sha))
    if told["comeback"]:
        archive.append("comeback", comeback_body(told["comeback"], day=date(2031, 5, 4)), told["number"])


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[ArchiveReader, list[dict[str, Any]]]]:
    path = tmp_path_factory.mktemp("shop") / "archive.sqlite"
    random = Random(3)
    told = [facts_of(number, random) for number in range(1, COUNT + 1)]
    with Archive.open(path, key_path=path.with_name("k")) as archive, archive.transaction():
        for each in told:
            seal_facts(archive, each)
    with ArchiveReader(path) as reader:
        yield reader, told


def expected(told: list[dict[str, Any]], kind: str, name: str, days: int) -> tuple[int, ...]:
    """The same counts in plain Python."""
    old = [t for t in told if t["source"] == "live" and t["ended"] <= NOW - days * DAY]
    mine = [t for t in told if t[kind] == name]

    def fault(t: dict[str, Any]) -> bool:
        return t["comeback"] not in (None, "new injury")

    counted = [t for t in old if t[kind] == name]
    return (
        len(mine),
        sum(map(fault, mine)),
        len(counted),
        sum(map(fault, counted)),
        len(old) - len(counted),
        sum(map(fault, old)) - sum(map(fault, counted)),
    )


def counts(rate: Rate) -> tuple[int, ...]:
    return (rate.repairs, rate.came_back, rate.counted, rate.counted_back, rate.rest_counted, rate.rest_back)


@pytest.mark.parametrize("days", [1, 90, 300, 3000])
@pytest.mark.parametrize(
    ("kind", "name"), [("lot", "SG-2203"), ("bag", "B2"), ("mat", "M1"), ("probe", "K-5"), ("press", "P1")]
)
def test_counts_rates_and_tests(
    shop: tuple[ArchiveReader, list[dict[str, Any]]], kind: str, name: str, days: int
) -> None:
    reader, told = shop
    found = where_used(reader, kind, name.lower() if kind != "press" else name, NOW, old_enough_days=days)
    item = found.item
    assert counts(item) == expected(told, kind, name, days)
    interval = clopper_pearson(item.counted_back, item.counted)
    assert (item.rate, item.rate_low, item.rate_high) == (interval.share, interval.low, interval.high)
    kept, rest = item.counted - item.counted_back, item.rest_counted - item.rest_back
    assert item.p_value == pytest.approx(fisher_exact(item.counted_back, kept, item.rest_back, rest))
    assert [row.number for row in found.repairs] == [t["number"] for t in reversed(told) if t[kind] == name]
    for other in found.others:
        assert counts(other) == expected(told, other.kind, _spelled(told, other), days), other
    shared = {(k, t[k]) for t in told if t[kind] == name for k in ("lot", "bag", "mat", "probe", "press")} - {
        (kind, name)
    }
    assert {(other.kind, _spelled(told, other)) for other in found.others} == shared


def _spelled(told: list[dict[str, Any]], rate: Rate) -> str:
    return next(t[rate.kind] for t in told if t[rate.kind].lower() == rate.name.lower())


def test_the_bad_lot_stands_out_and_stays_so_after_adjustment(shop: tuple[ArchiveReader, list[dict[str, Any]]]) -> None:
    reader, _ = shop
    rates, warnings = suspects(reader, 30, NOW)
    assert (rates[0].kind, rates[0].name.upper()) == ("lot", "SG-2203")
    assert rates[0].p_value < 0.01 and rates[0].p_adjusted < 0.05
    assert [r.p_value for r in rates] == sorted(r.p_value for r in rates)
    # Holm's adjustment, stated once more: the k-th smallest times what is left, never falling.
    worst = 0.0
    for k, rate in enumerate(rates):
        worst = max(worst, min(1.0, (len(rates) - k) * rate.p_value))
        assert rate.p_adjusted == pytest.approx(worst)
    assert any("comparisons at once" in w for w in warnings) and any("at least 90 days old" in w for w in warnings)


def test_small_numbers_are_called_small(shop: tuple[ArchiveReader, list[dict[str, Any]]]) -> None:
    reader, _ = shop
    found = where_used(reader, "lot", "SG-2203", NOW)
    assert any(warning.startswith("Small numbers:") for warning in found.warnings)
    assert "no cause found" not in " ".join(found.warnings) and "A pattern is a question" in found.warnings[-1]


def test_persons_only_where_the_shop_says_so(shop: tuple[ArchiveReader, list[dict[str, Any]]]) -> None:
    reader, told = shop
    with pytest.raises(AuditError, match="figures of single persons are off in this shop"):
        where_used(reader, "person", "Ines", NOW)
    assert all(other.kind != "person" for other in where_used(reader, "bag", "B1", NOW).others)
    assert all(rate.kind != "person" for rate in suspects(reader, 5, NOW)[0])
    assert counts(where_used(reader, "person", "Ines", NOW, people=True).item) == expected(told, "person", "Ines", 90)
    assert any(other.kind == "person" for other in where_used(reader, "bag", "B1", NOW, people=True).others)
    assert any(rate.kind == "person" for rate in suspects(reader, 5, NOW, people=True)[0])


@pytest.mark.parametrize(
    ("kind", "name", "says"),
    [
        ("lot", "SG-2204x", r"no certificate names lot 'SG-2204x'; did you mean .*(?i:SG-2204)"),
        ("press", "P11", r"no certificate names press 'P11'; did you mean P1\?|did you mean"),
        ("bag", "no such", "no certificate names bag 'no such'$"),
        ("tire", "x", "is nothing that repairs share"),
    ],
)
def test_what_nobody_used(shop: tuple[ArchiveReader, list[dict[str, Any]]], kind: str, name: str, says: str) -> None:
    with pytest.raises(AuditError, match=says):
        where_used(shop[0], kind, name, NOW)


def test_an_archive_with_nothing_old_enough(archive_path: Path) -> None:
    with Archive.open(archive_path, key_path=archive_path.with_name("k")) as archive:
        seal_one(archive, 2, ticket={"bag": "B1"})
    with ArchiveReader(archive_path) as reader:
        item = where_used(reader, "bag", "B1", NOON + DAY).item
        assert counts(item) == (1, 0, 0, 0, 0, 0)
        assert (item.rate, item.rate_low, item.rate_high, item.p_value) == (None, 0.0, 1.0, 1.0)
        assert comeback_rate(reader, NOON + DAY) == (0, 0)


@pytest.fixture
def archive_path(tmp_path: Path) -> Path:
    return tmp_path / "archive.sqlite"

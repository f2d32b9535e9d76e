"""Finding certificates: every filter and any few of them together, against plain Python over the same records."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from press_monitor.archive import Archive, ArchiveReader, CertificateRow
from press_monitor.archive.entries import comeback_body, inspection_body
from press_monitor.archive.search import FilterArgs, Filters
from tests.archive.helpers import NOON, body, new_start, result, rows

DAY = 86_400.0
CUSTOMERS = ("Long Draw Orchards", "Dry Fork Farm", "Ünal Çiftliği", "A", "")
TIRES = ("18.4-38 R1", "12-16.5", "30.5L-32", 'odd "name" %_\\')
PLACES = ("shoulder", "lower sidewall", "crown")
LOTS = ("SG-2203", "SG-2204", "ce 7")
ALARMS = ("bag-low", "bag-burst", "heat-lost")
COUNT = 60


def record_of(number: int, random: Random) -> dict[str, Any]:
    """What a made-up certificate says, as the filters know it."""
    return {
        "number": number,
        "press": random.choice(["P1", "P2", "replay"]),
        "verdict": random.choice(["pass", "pass", "fail", "review"]),
        "customer": random.choice(CUSTOMERS),
        "tire": random.choice(TIRES),
        "place": random.choice(PLACES),
        "tin": random.choice(["1H4ABCDEF0109", "2H4ABCDEF3419", ""]),
        "serial": random.choice(["S-1", ""]),
        "job": f"J-{number:03d}",
        "lot": set(random.sample(LOTS, random.randint(0, 2))),
        "bag": {f"B{random.randint(1, 3)}"},
        "mat": {f"M{random.randint(1, 3)}", "M9"},
        "probe": {f"K-{random.randint(1, 3)}"},
        "alarm": set(random.sample(ALARMS, random.randint(0, 2))),
        "started": NOON + DAY * random.randint(0, 20),
        "inspection": random.choice([None, "sound", "rejected"]),
        "comeback": random.choice([None, None, None, "reversion", "new injury"]),
    }


def seal_record(archive: Archive, told: dict[str, Any]) -> None:
    ticket = {
        "customer": told["customer"],
        "tire": told["tire"],
        "section": told["place"],
        "tin": told["tin"],
        "serial": told["serial"],
        "number": told["job"],
        "materials": [{"use": "filler", "lot": lot} for lot in sorted(told["lot"])],
        "bag": next(iter(told["bag"])),
        "mats": sorted(told["mat"]),
    }
    inputs = [{"name": "inner_mat", "sensor": next(iter(told["probe"]))}]
    start = new_start(press=told["press"], started_utc=told["started"], ticket=ticket, setup={"inputs": inputs})
    made = result(told["verdict"])
    made["alarms"] = [{"kind": kind} for kind in sorted(told["alarm"])]
    archive.begin_cycle(start)
    archive.add_rows(start.cycle_id, rows(2))
    number = archive.seal(start.cycle_id, {**body(start, told["verdict"]), "result": made})
    assert number == told["number"]
    if told["inspection"]:
        archive.append("inspection", inspection_body(told["inspection"], by="Ines", day=_day()), number)
    if told["comeback"]:
        archive.append("comeback", comeback_body(told["comeback"], day=_day()), number)


def _day() -> Any:
    from datetime import date

    return date(2031, 5, 4)


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[ArchiveReader, list[dict[str, Any]]]]:
    path = tmp_path_factory.mktemp("shop") / "archive.sqlite"
    random = Random(7)
    told = [record_of(number, random) for number in range(1, COUNT + 1)]
    with Archive.open(path, key_path=path.with_name("ledger.key")) as archive, archive.transaction():
        for each in told:
            seal_record(archive, each)
    with ArchiveReader(path) as reader:
        yield reader, told


def holds(told: dict[str, Any], name: str, wanted: Any) -> bool:
    """What a filter means, said once more in plain words."""
    match name:
        case "customer" | "tire" | "place" | "tin" | "serial" | "job":
            return wanted.lower() in told[name].lower()
        case "lot" | "bag" | "mat" | "probe":
            return wanted.lower() in {each.lower() for each in told[name]}
        case "alarm":
            return wanted in told["alarm"]
        case "inspection" | "comeback":
            return (told[name] is not None) == (wanted == "any") if wanted in ("any", "none") else told[name] == wanted
        case "since_utc":
            return told["started"] >= wanted
        case "until_utc":
            return told["started"] < wanted
        case "from_number":
            return told["number"] >= wanted
        case "to_number":
            return told["number"] <= wanted
    return told[name] == wanted


filters = st.fixed_dictionaries(
    {},
    optional={
        "number": st.integers(0, COUNT + 2),
        "from_number": st.integers(0, COUNT),
        "to_number": st.integers(0, COUNT),
        "press": st.sampled_from(["P1", "P2", "P9"]),
        "verdict": st.sampled_from(["pass", "fail"]),
        "customer": st.sampled_from(["orch", "FARM", "a", "Ç", "çift", "zz", '"', "Long Draw", "'", "draw orch"]),
        "tire": st.sampled_from(["18.4", "16.5", '"name"', "%_", "-3", "\\", "r1"]),
        "place": st.sampled_from(["shoulder", "side", "w"]),
        "tin": st.sampled_from(["abcdef", "3419", "1H"]),
        "serial": st.just("s-1"),
        "job": st.sampled_from(["J-00", "-0", "J-012"]),
        "lot": st.sampled_from(["SG-2203", "sg-2204", "CE 7", "ce  7", "none"]),
        "bag": st.sampled_from(["b1", "B2"]),
        "mat": st.sampled_from(["M9", "m2"]),
        "probe": st.sampled_from(["K-1", "k-3"]),
        "alarm": st.sampled_from(ALARMS),
        "inspection": st.sampled_from(["any", "none", "sound"]),
        "comeback": st.sampled_from(["any", "none", "reversion"]),
        "since_utc": st.integers(0, 21).map(lambda k: NOON + DAY * k),
        "until_utc": st.integers(0, 21).map(lambda k: NOON + DAY * k),
    },
)


@settings(max_examples=250, deadline=None)
@given(filters, st.sampled_from([None, 1, 5]), st.sampled_from([None, 30]))
def test_filters_mean_what_they_say_alone_and_together(
    shop: tuple[ArchiveReader, list[dict[str, Any]]], given_: dict[str, Any], limit: int | None, before: int | None
) -> None:
    reader, told = shop
    wanted = [
        each["number"]
        for each in reversed(told)
        if all(holds(each, name, " ".join(v.split()) if name == "lot" else v) for name, v in given_.items())
    ]
    assert reader.count(**given_) == len(wanted)
    paged = [number for number in wanted if before is None or number < before][:limit]
    assert [row.number for row in reader.records(limit=limit, before=before, **given_)] == paged


@settings(max_examples=150, deadline=None)
@given(
    st.sampled_from(["customer", "tire", "place", "tin", "serial", "job", "lot", "bag", "alarm", "text", "press"]),
    st.text(max_size=12),
)
def test_nothing_that_is_typed_is_syntax(
    shop: tuple[ArchiveReader, list[dict[str, Any]]], name: str, typed: str
) -> None:
    reader, _ = shop
    asked: Any = {name: typed}
    assert reader.count(**asked) == len(reader.records(**asked))


def test_words_combine_with_filters(shop: tuple[ArchiveReader, list[dict[str, Any]]]) -> None:
    reader, told = shop
    asked = {
        "orch bag-burst": lambda t: "Orchards" in t["customer"] and "bag-burst" in t["alarm"],
        "sg 2203 fail": lambda t: "SG-2203" in t["lot"] and t["verdict"] == "fail",
    }
    for words, hit in asked.items():
        wanted = [each["number"] for each in reversed(told) if hit(each)]
        assert [row.number for row in reader.records(text=words)] == wanted
        wanted = [each["number"] for each in reversed(told) if hit(each) and each["press"] == "P1"]
        assert [row.number for row in reader.records(text=words, press="P1", tire="1")] == [
            number for number in wanted if "1" in told[number - 1]["tire"]
        ]


def test_the_keywords_are_the_filters() -> None:
    assert set(FilterArgs.__annotations__) == {f.name for f in fields(Filters)}


def test_rows_keep_every_column(shop: tuple[ArchiveReader, list[dict[str, Any]]]) -> None:
    reader, told = shop
    for row in reader.records():
        each = told[row.number - 1]
        assert (row.customer, row.tire, row.section, row.tin, row.job) == (
            *(each["customer"], each["tire"], each["place"], each["tin"], each["job"]),
        )
        assert isinstance(row, CertificateRow) and row.comeback == each["comeback"]
        uses = {(kind, name) for kind, name, _ in reader.used(row.number)}
        assert uses == {(kind, name) for kind in ("lot", "bag", "mat", "probe") for name in each[kind]}

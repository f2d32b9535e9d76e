"""Finding certificates among 100,000 through the archive's reader, against the same question put to SQLite by hand."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from random import Random
from time import perf_counter
from typing import Any

import numpy as np

from press_monitor.archive import ArchiveReader
from press_monitor.archive.search import FilterArgs
from press_monitor.watch.kinds import KINDS
from tests.benchmarks._records import CAUSES, CUSTOMERS, FIRST_UTC, PLACES, TIRES, archive_of

NAME = "a page of 50 out of 100,000 certificates, by every filter and some together"
GOAL_MS, GOAL_RATIO = 50.0, 3.0
COUNT, PAGE = 100_000, 50

Question = tuple[FilterArgs, str, tuple[Any, ...]]
COLUMNS = "c.*"
ON = "certificate c ON c.number ="
TAIL = f"ORDER BY c.number DESC LIMIT {PAGE}"


def _questions(random: Random, count: int) -> Iterator[tuple[str, Question]]:
    """One of each kind, with values drawn anew: what the reader is asked, and the SQL one would write by hand."""
    last = FIRST_UTC + 3000.25 * count
    lot = f"SG-{random.randrange(count // 120 + 1):04d}"
    bag, mat = f"B{random.randrange(24)}", f"M{random.randrange(40)}"
    probe, press, number = f"K-{random.randrange(60)}", f"P{random.randrange(1, 9)}", random.randrange(1, count + 1)
    customer, tire, place = (random.choice(c).split()[0] for c in (CUSTOMERS, TIRES, PLACES))
    alarm, cause = random.choice(list(KINDS)), random.choice(CAUSES)
    since = FIRST_UTC + random.random() * (last - FIRST_UTC)
    until = since + random.choice((7, 90, 2000)) * 86_400.0
    of = f"SELECT {COLUMNS} FROM certificate c WHERE"
    used = f"SELECT {COLUMNS} FROM used u JOIN {ON} u.certificate WHERE u.kind = ? AND u.name = ?"
    part = f"SELECT {COLUMNS} FROM certificate_part p JOIN {ON} p.rowid WHERE certificate_part MATCH ?"
    text = f"SELECT {COLUMNS} FROM certificate_text t JOIN {ON} t.rowid WHERE certificate_text MATCH ?"
    by_part, by_text = f"ORDER BY p.rowid DESC LIMIT {PAGE}", f"ORDER BY t.rowid DESC LIMIT {PAGE}"
    yield "number", ({"number": number}, f"{of} c.number = ?", (number,))
    yield "press", ({"press": press}, f"{of} c.press = ? {TAIL}", (press,))
    yield "verdict", ({"verdict": "fail"}, f"{of} c.verdict = ? {TAIL}", ("fail",))
    yield "lot", ({"lot": lot}, f"{used} {TAIL}", ("lot", lot))
    yield "bag", ({"bag": bag}, f"{used} {TAIL}", ("bag", bag))
    yield "mat", ({"mat": mat}, f"{used} {TAIL}", ("mat", mat))
    yield "probe", ({"probe": probe}, f"{used} {TAIL}", ("probe", probe))
    yield "customer", ({"customer": customer}, f"{part} {by_part}", (f'customer : "{customer}"',))
    yield "tire", ({"tire": tire}, f"{part} {by_part}", (f'tire : "{tire}"',))
    yield "place", ({"place": place}, f"{part} {by_part}", (f'section : "{place}"',))
    yield "tin", ({"tin": "ABCDEF12"}, f"{part} {by_part}", ('tin : "ABCDEF12"',))
    yield "words", ({"text": f"{customer} {place}"}, f"{text} {by_text}", (f'"{customer}"* "{place}"*',))
    yield "a rare word", ({"text": f"S{number:08d}"}, f"{text} {by_text}", (f'"S{number:08d}"*',))
    alarms = f"SELECT {COLUMNS} FROM alarm_raised a JOIN {ON} a.certificate WHERE a.kind = ? {TAIL}"
    yield "alarm", ({"alarm": alarm}, alarms, (alarm,))
    yield "comeback", ({"comeback": cause}, f"{of} c.comeback = ? {TAIL}", (cause,))
    days = f"{of} c.started_utc >= ? AND c.started_utc < ? {TAIL}"
    yield "days", ({"since_utc": since, "until_utc": until}, days, (since, until))
    both = f"{used} AND c.press = ? AND c.verdict = ? {TAIL}"
    yield "bag, press, verdict", ({"bag": bag, "press": press, "verdict": "pass"}, both, ("bag", bag, press, "pass"))
    three = f"{part} AND c.verdict = ? AND c.started_utc >= ? {by_part}"
    asked: FilterArgs = {"customer": customer, "verdict": "review", "since_utc": since}
    yield "customer, verdict, days", (asked, three, (f'customer : "{customer}"', "review", since))


def run(count: int = COUNT, rounds: int = 25) -> dict[str, float | str | bool]:
    """Each round asks every kind of question once of both, in turns; milliseconds."""
    path = archive_of(count)
    random = Random(11)
    ours: dict[str, list[float]] = {}
    bare: dict[str, list[float]] = {}
    with ArchiveReader(path) as reader, closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as db:
        for turn in range(rounds):
            for name, (filters, sql, values) in _questions(random, count):
                asks: list[tuple[dict[str, list[float]], Callable[[], Any]]] = [
                    (ours, lambda filters=filters: reader.records(limit=PAGE, **filters)),  # type: ignore[misc]
                    (bare, lambda sql=sql, values=values: db.execute(sql, values).fetchall()),  # type: ignore[misc]
                ]
                found = []
                for kept, ask in asks if turn % 2 else reversed(asks):
                    began = perf_counter()
                    found.append(len(ask()))
                    kept.setdefault(name, []).append((perf_counter() - began) * 1e3)
                assert found[0] == found[1], (name, filters)
    figures: dict[str, float | str | bool] = {}
    for name in ours:
        figures[f"{name}, median ms (bare)"] = (
            f"{np.median(ours[name]):.2f} ({np.median(bare[name]):.2f})"  # both, side by side
        )
    every, by_hand = (np.concatenate(list(times.values())) for times in (ours, bare))
    figures["p95 ms"], figures["bare p95 ms"] = float(np.percentile(every, 95)), float(np.percentile(by_hand, 95))
    figures["p95 over bare SQL"] = figures["p95 ms"] / figures["bare p95 ms"]
    figures["goal"] = f"p95 at most {GOAL_MS:g} ms and {GOAL_RATIO:g} times the bare SQL"
    figures["met"] = figures["p95 ms"] <= GOAL_MS and figures["p95 over bare SQL"] <= GOAL_RATIO
    return figures

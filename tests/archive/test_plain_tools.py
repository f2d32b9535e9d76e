"""The file reads well in ordinary SQLite tools: named tables, foreign keys, views for people, full-text search.

Datasette (PyPI, 0.65) stands for such a tool; it knows nothing of this program.
"""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest

from press_monitor.archive import Archive
from press_monitor.archive.entries import stores_body
from tests.archive.helpers import seal_one


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("plain") / "archive.sqlite"
    with Archive.open(path, key_path=path.with_name("ledger.key")) as archive:
        ticket = {"customer": "Dry Fork Farm", "bag": "B3", "materials": [{"use": "filler rubber", "lot": "SG-2203"}]}
        seal_one(archive, 20, "fail", ticket=ticket)
        seal_one(archive, 20)
        archive.append("stores", stores_body("lot", "SG-2203", {"expires": "2031-05-04"}))
    return path


def ask(file: Path, page: str, **query: str) -> Any:
    pytest.importorskip("datasette", reason="Datasette is in the test extra")
    url = f"{page}.json?{urlencode({'_shape': 'objects', **query})}"
    ran = subprocess.run(
        [sys.executable, "-W", "ignore", "-m", "datasette", str(file), "--get", url],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr[-1500:]
    return json.loads(ran.stdout)


def test_datasette_shows_the_repairs(file: Path) -> None:
    found = ask(file, "/archive/repair", _sort_desc="number")
    assert [row["number"] for row in found["rows"]] == [2, 1]
    row = found["rows"][1]
    assert (row["customer"], row["verdict"], row["deepest_percent"]) == ("Dry Fork Farm", "fail", 94.0)
    assert row["started"] == "2030-03-17 17:46"


def test_datasette_follows_the_keys_and_searches(file: Path) -> None:
    sql = (
        "SELECT u.name, c.customer, s.expires FROM used u JOIN certificate c ON c.number = u.certificate"
        " LEFT JOIN store_item s ON s.kind = u.kind AND s.name = u.name WHERE u.kind = 'lot'"
    )
    found = ask(file, "/archive", sql=sql)
    assert found["rows"] == [{"name": "SG-2203", "customer": "Dry Fork Farm", "expires": "2031-05-04"}]
    words = "SELECT rowid FROM certificate_text WHERE certificate_text MATCH 'fork AND farm'"
    assert ask(file, "/archive", sql=words)["rows"] == [{"rowid": 1}]


def test_every_table_is_for_people_to_read(file: Path) -> None:
    with closing(sqlite3.connect(file)) as db:
        assert db.execute("PRAGMA foreign_key_check").fetchall() == []
        assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        used = db.execute("SELECT * FROM pragma_foreign_key_list('used')").fetchall()
        assert [(row[2], row[3], row[4]) for row in used] == [("certificate", "certificate", "number")]
        assert db.execute("SELECT name, expires, cures_done FROM store").fetchall() == [("SG-2203", "2031-05-04", 1)]
        body = db.execute("SELECT json_extract(CAST(body AS TEXT), '$.result.verdict') FROM ledger WHERE seq = 1")
        assert body.fetchone() == ("fail",)


def test_a_strangers_reading_changes_nothing(file: Path) -> None:
    before = file.read_bytes()
    with closing(sqlite3.connect(f"file:{file}?mode=ro", uri=True)) as db:
        for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type IN ('table', 'view')").fetchall():
            db.execute(f'SELECT count(*) FROM "{name}"').fetchone()
    assert file.read_bytes() == before

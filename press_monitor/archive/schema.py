"""The tables, and how a file of an earlier version becomes one of this version.

`VERSION` counts the migrations; the file carries it as ``user_version``. Only the holder of the lock migrates.
Tables marked *derived* can be rebuilt from the ledger; the others are the record or the work in hand.
"""

from __future__ import annotations

import sqlite3
import zlib
from typing import Any

from press_monitor.archive.types import ArchiveError

__all__ = ["APPLICATION_ID", "PLAIN_CHANNELS", "VERSION", "file_version", "migrate"]

VERSION = 3
APPLICATION_ID = 0x50724D6E
"""Marks the file as ours in SQLite's own header."""

PLAIN_CHANNELS = 12
"""Channels with a column of their own in `live_row`; further ones share the JSON column ``more``."""

_VALUES = ",\n    ".join(f"c{k} INTEGER" for k in range(1, PLAIN_CHANNELS + 1))

_FIRST = f"""
CREATE TABLE meta (name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;

CREATE TABLE recorder (
    id INTEGER PRIMARY KEY CHECK (id = 1),
    holder TEXT NOT NULL,
    host TEXT NOT NULL,
    pid INTEGER NOT NULL,
    version TEXT NOT NULL,
    started_utc REAL NOT NULL,
    heartbeat_utc REAL NOT NULL,
    beats INTEGER NOT NULL,
    stopped_utc REAL
) STRICT;

CREATE TABLE cycle (
    number INTEGER PRIMARY KEY,
    cycle_id TEXT NOT NULL UNIQUE CHECK (length(cycle_id) = 32),
    press TEXT NOT NULL,
    started_utc REAL NOT NULL,
    source TEXT NOT NULL CHECK (source IN ('live', 'log')),
    state TEXT NOT NULL DEFAULT 'open' CHECK (state IN ('open', 'sealed')),
    certificate INTEGER UNIQUE,
    time_decimals INTEGER NOT NULL,
    start TEXT NOT NULL,
    CHECK ((state = 'sealed') = (certificate IS NOT NULL))
) STRICT;
-- A press holds one tire at a time.
CREATE UNIQUE INDEX cycle_open ON cycle (press) WHERE state = 'open' AND source = 'live';

CREATE TABLE channel (
    cycle INTEGER NOT NULL REFERENCES cycle (number),
    position INTEGER NOT NULL,
    name TEXT NOT NULL,
    unit TEXT NOT NULL,
    decimals INTEGER NOT NULL,
    PRIMARY KEY (cycle, position),
    UNIQUE (cycle, name)
) STRICT, WITHOUT ROWID;

-- Value n in column cK means n / 10^decimals of the cycle's channel at position K.
CREATE TABLE live_row (
    cycle INTEGER NOT NULL REFERENCES cycle (number),
    seq INTEGER NOT NULL,
    t INTEGER NOT NULL,
    {_VALUES},
    more TEXT,
    PRIMARY KEY (cycle, seq)
) STRICT, WITHOUT ROWID;

CREATE TABLE press_state (
    press TEXT PRIMARY KEY,
    cycle INTEGER REFERENCES cycle (number),
    utc REAL NOT NULL,
    snapshot TEXT NOT NULL
) STRICT;

CREATE TABLE watch_save (
    cycle INTEGER PRIMARY KEY REFERENCES cycle (number),
    seq INTEGER NOT NULL,
    t REAL NOT NULL,
    save TEXT NOT NULL
) STRICT;

CREATE TABLE event (
    number INTEGER PRIMARY KEY,
    cycle INTEGER REFERENCES cycle (number),
    t REAL NOT NULL,
    utc REAL NOT NULL,
    kind TEXT NOT NULL,
    event TEXT NOT NULL
) STRICT;
CREATE INDEX event_of_cycle ON event (cycle, number);

CREATE TABLE command (
    uuid TEXT PRIMARY KEY,
    issued_utc REAL NOT NULL,
    expires_utc REAL NOT NULL,
    operator TEXT NOT NULL,
    press TEXT,
    cycle_id TEXT,
    alarm_id TEXT,
    kind TEXT NOT NULL,
    args TEXT NOT NULL,
    answer TEXT CHECK (answer IN ('done', 'refused', 'expired')),
    answer_text TEXT,
    answered_utc REAL
) STRICT;
CREATE INDEX command_waiting ON command (issued_utc) WHERE answer IS NULL;

CREATE TABLE ledger (
    seq INTEGER PRIMARY KEY,
    kind TEXT NOT NULL,
    certificate INTEGER,
    body BLOB NOT NULL,
    hash BLOB NOT NULL UNIQUE,
    signature BLOB NOT NULL
) STRICT;
CREATE UNIQUE INDEX ledger_record ON ledger (certificate) WHERE kind = 'cure-record';
CREATE INDEX ledger_certificate ON ledger (certificate, seq) WHERE certificate IS NOT NULL;

CREATE TABLE trace (
    entry INTEGER PRIMARY KEY REFERENCES ledger (seq),
    cycle_id TEXT NOT NULL UNIQUE,
    sha256 BLOB NOT NULL,
    data BLOB NOT NULL
) STRICT;

CREATE TRIGGER ledger_grows_at_its_end BEFORE INSERT ON ledger
WHEN NEW.seq IS NOT (SELECT coalesce(max(seq), -1) + 1 FROM ledger)
BEGIN SELECT RAISE(ABORT, 'the ledger only grows at its end'); END;
CREATE TRIGGER ledger_never_changes BEFORE UPDATE ON ledger
BEGIN SELECT RAISE(ABORT, 'the ledger is never changed'); END;
CREATE TRIGGER ledger_never_shrinks BEFORE DELETE ON ledger
BEGIN SELECT RAISE(ABORT, 'the ledger is never shortened'); END;
CREATE TRIGGER trace_stands_once BEFORE INSERT ON trace
WHEN EXISTS (SELECT 1 FROM trace WHERE entry = NEW.entry OR cycle_id = NEW.cycle_id)
BEGIN SELECT RAISE(ABORT, 'a trace is written once'); END;
CREATE TRIGGER trace_never_changes BEFORE UPDATE ON trace
BEGIN SELECT RAISE(ABORT, 'a trace is never changed'); END;
CREATE TRIGGER trace_never_goes BEFORE DELETE ON trace
BEGIN SELECT RAISE(ABORT, 'a trace is never deleted'); END;

-- Derived from here on.
CREATE TABLE certificate (
    number INTEGER PRIMARY KEY,
    entry INTEGER NOT NULL UNIQUE REFERENCES ledger (seq),
    cycle_id TEXT NOT NULL UNIQUE,
    press TEXT NOT NULL,
    source TEXT NOT NULL,
    started_utc REAL NOT NULL,
    ended_utc REAL NOT NULL,
    verdict TEXT NOT NULL,
    reasons TEXT NOT NULL,
    recipe TEXT NOT NULL,
    customer TEXT NOT NULL,
    tire TEXT NOT NULL,
    section TEXT NOT NULL,
    state_of_cure REAL,
    inspection TEXT,
    comeback TEXT
) STRICT;
CREATE INDEX certificate_started ON certificate (started_utc);
CREATE INDEX certificate_press ON certificate (press, started_utc);
CREATE INDEX certificate_verdict ON certificate (verdict, started_utc);
CREATE VIRTUAL TABLE certificate_text USING fts5 (words);
"""

_SECOND = """
DROP TABLE certificate;
DROP TABLE certificate_text;
CREATE INDEX cycle_not_sealed ON cycle (number) WHERE state = 'open';
CREATE INDEX ledger_beside ON ledger (kind, seq) WHERE certificate IS NULL;

CREATE TABLE certificate (
    number INTEGER PRIMARY KEY,
    entry INTEGER NOT NULL UNIQUE REFERENCES ledger (seq),
    cycle_id TEXT NOT NULL UNIQUE,
    press TEXT NOT NULL,
    source TEXT NOT NULL,
    started_utc REAL NOT NULL,
    ended_utc REAL NOT NULL,
    verdict TEXT NOT NULL,
    reasons TEXT NOT NULL,
    recipe TEXT NOT NULL,
    customer TEXT NOT NULL,
    tire TEXT NOT NULL,
    section TEXT NOT NULL,
    state_of_cure REAL,
    inspection TEXT,
    comeback TEXT,
    comeback_day TEXT,
    job TEXT NOT NULL,
    machine TEXT NOT NULL,
    size TEXT NOT NULL,
    construction TEXT NOT NULL,
    serial TEXT NOT NULL,
    tin TEXT NOT NULL,
    thickness_mm REAL,
    hold_min REAL,
    state_of_cure_low REAL
) STRICT;
CREATE INDEX certificate_started ON certificate (started_utc);
CREATE INDEX certificate_press ON certificate (press, number);
CREATE INDEX certificate_verdict ON certificate (verdict, number);
CREATE INDEX certificate_recipe ON certificate (recipe, thickness_mm, number);
CREATE INDEX certificate_ended ON certificate (source, ended_utc);
CREATE INDEX certificate_comeback ON certificate (comeback, number) WHERE comeback IS NOT NULL;
CREATE INDEX certificate_inspection ON certificate (inspection, number) WHERE inspection IS NOT NULL;

-- Lots, bags, mats, probes and people, and the certificates that name them. Capitals do not matter.
CREATE TABLE used (
    kind TEXT NOT NULL CHECK (kind IN ('lot', 'bag', 'mat', 'probe', 'person')),
    name TEXT NOT NULL COLLATE NOCASE,
    certificate INTEGER NOT NULL REFERENCES certificate (number),
    role TEXT NOT NULL,
    PRIMARY KEY (kind, name, certificate)
) STRICT, WITHOUT ROWID;
CREATE INDEX used_by_certificate ON used (certificate, kind, name, role);

CREATE TABLE alarm_raised (
    kind TEXT NOT NULL,
    certificate INTEGER NOT NULL REFERENCES certificate (number),
    times INTEGER NOT NULL,
    PRIMARY KEY (kind, certificate)
) STRICT, WITHOUT ROWID;
CREATE INDEX alarm_by_certificate ON alarm_raised (certificate, kind, times);

-- What the ledger's entries of kinds 'stores' and 'calibration' say, the newest last. Days as 2031-05-04.
CREATE TABLE store_item (
    kind TEXT NOT NULL CHECK (kind IN ('lot', 'bag', 'mat', 'probe')),
    name TEXT NOT NULL COLLATE NOCASE,
    entry INTEGER NOT NULL REFERENCES ledger (seq),
    product TEXT,
    compound TEXT,
    received TEXT,
    expires TEXT,
    life_cures INTEGER,
    cures_before INTEGER,
    dry_time_s REAL,
    calibrated TEXT,
    calibration_due TEXT,
    calibration_reference TEXT,
    retired TEXT,
    retired_why TEXT,
    note TEXT,
    PRIMARY KEY (kind, name)
) STRICT, WITHOUT ROWID;

CREATE VIRTUAL TABLE certificate_text USING fts5 (words);
CREATE VIRTUAL TABLE certificate_part USING fts5 (customer, tire, section, tin, serial, job, tokenize = 'trigram');

-- For people with an ordinary SQLite tool: times in words, shares in percent.
CREATE VIEW repair AS SELECT
    number, job, strftime('%Y-%m-%d %H:%M', started_utc, 'unixepoch') AS started, press, recipe, verdict,
    customer, machine, tire, size, tin, serial, section, thickness_mm, round(hold_min, 1) AS hold_min,
    round(100 * state_of_cure, 1) AS deepest_percent, round(100 * state_of_cure_low, 1) AS deepest_percent_low,
    inspection, comeback, comeback_day, source, entry AS ledger_entry
FROM certificate;
CREATE VIEW store AS SELECT
    s.kind, s.name, s.product, s.compound, s.received, s.expires,
    coalesce(s.cures_before, 0) + (SELECT count(*) FROM used u WHERE u.kind = s.kind AND u.name = s.name) AS cures_done,
    s.life_cures, s.calibrated, s.calibration_due, s.retired, s.retired_why, s.note
FROM store_item s;
"""

_THIRD = """
-- Members of a press's state that seldom change; `press_state` has those that move. Named anew, so that a dashboard of
-- an earlier version, left open, says that it cannot read, and does not take half a state for an empty press.
ALTER TABLE press_state RENAME COLUMN snapshot TO moving;
CREATE TABLE press_steady (press TEXT PRIMARY KEY, steady TEXT NOT NULL) STRICT;

-- A save is its JSON, deflated (RFC 1950).
CREATE TABLE watch_save_deflated (
    cycle INTEGER PRIMARY KEY REFERENCES cycle (number),
    seq INTEGER NOT NULL,
    t REAL NOT NULL,
    save BLOB NOT NULL
) STRICT;
INSERT INTO watch_save_deflated SELECT cycle, seq, t, deflated(save) FROM watch_save;
DROP TABLE watch_save;
ALTER TABLE watch_save_deflated RENAME TO watch_save;
"""


def _script(db: sqlite3.Connection, script: str) -> None:
    """Run statements one by one: `executescript` would commit the migration's transaction first."""
    statement = ""
    for line in script.splitlines(keepends=True):
        statement += line
        if sqlite3.complete_statement(statement):
            db.execute(statement)
            statement = ""


def _first(db: Any) -> None:  # noqa: ANN401 - a sqlite_utils.Database, which is imported only to migrate
    _script(db.conn, _FIRST)


def _second(db: Any) -> None:  # noqa: ANN401 - as above
    _script(db.conn, _SECOND)
    db.conn.execute(_MUST_REBUILD)


def _third(db: Any) -> None:  # noqa: ANN401 - as above
    db.conn.create_function("deflated", 1, lambda text: zlib.compress(text.encode("utf-8")), deterministic=True)
    _script(db.conn, _THIRD)


_STEPS = (_first, _second, _third)

# A step that makes derived tables anew leaves them empty; they are filled when the last step is done.
_MUST_REBUILD = "INSERT OR REPLACE INTO meta (name, value) VALUES ('rebuild', '1')"
_REBUILT = "DELETE FROM meta WHERE name = 'rebuild'"


def file_version(db: sqlite3.Connection) -> int:
    """The file's version, 0 for a new one. Raises `ArchiveError` for a newer one or somebody else's."""
    version = int(db.execute("PRAGMA user_version").fetchone()[0])
    mark = int(db.execute("PRAGMA application_id").fetchone()[0])
    if mark != APPLICATION_ID and (mark or version or db.execute("SELECT 1 FROM sqlite_master").fetchone()):
        raise ArchiveError("is not a press-monitor archive")
    if version > VERSION:
        raise ArchiveError(
            f"was written by a newer press-monitor (format {version}, this one knows {VERSION}); left untouched"
        )
    return version


def migrate(db: sqlite3.Connection) -> None:
    """Bring the file to `VERSION`, each step in a transaction of its own that also raises ``user_version``."""
    version = file_version(db)
    if version == VERSION:
        _rebuild(db)
        return
    if not version:
        # Marked first, so that a kill during the very first step leaves a file that is known as ours.
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    from sqlite_utils import Database, Migrations

    steps = Migrations("press-monitor")
    for number, step in enumerate(_STEPS, 1):

        @steps(name=f"{number:03d}{step.__name__}")
        def apply(db: Any, step: Any = step, number: int = number) -> None:  # noqa: ANN401 - as above
            step(db)
            db.conn.execute(f"PRAGMA user_version = {number}")

    steps.apply(Database(db))
    _rebuild(db)


def _rebuild(db: sqlite3.Connection) -> None:
    """Fill derived tables that a migration, perhaps one that was killed since, has left empty."""
    if db.execute("SELECT 1 FROM meta WHERE name = 'rebuild'").fetchone() is None:
        return
    from press_monitor.archive.indexing import rebuild

    db.execute("BEGIN IMMEDIATE")
    try:
        rebuild(db)
        db.execute(_REBUILT)
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise

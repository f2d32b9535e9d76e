"""An archive of many certificates, made straight into the tables: sealing 100,000 cures one by one would take hours.

Every entry is chained and signed as sealing does it, each record has a body of the size a real one has and a trace
that packs to the size of a real one, and the derived tables are written by the archive's own code. Seeded: the same
count gives the same shop, but for its key. Kept outside the repository, in the folder for temporary files.
"""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np

from press_monitor.archive import Archive, pack, utc_text
from press_monitor.archive.derived import index_of
from press_monitor.archive.indexing import write_index
from press_monitor.archive.keys import load_key
from press_monitor.archive.ledger import LENGTH, chained
from press_monitor.archive.schema import VERSION
from press_monitor.archive.trace import Trace
from press_monitor.watch.kinds import KINDS
from tests.properties.test_packing import reference_trace

FIRST_UTC = 1_700_000_000.0
CUSTOMERS = [f"{a} {b}" for a in ("Long Draw", "Dry Fork", "Upper Mesa", "Cold Spring", "Bent Pine", "Salt Wash")
             for b in ("Orchards", "Farm", "Quarry", "Hay", "Loading", "Timber", "Gravel", "Dairy")]  # fmt: skip
TIRES = ("23.5R25 L3", "18.4-38 R1", "12-16.5 skid steer", "30.5L-32", "29.5R25", "710/70R42", "track 450x86x56")
PLACES = ("shoulder", "sidewall", "crown", "bead", "outside shoulder", "lower sidewall")
VERDICTS = ("pass", "exceptions", "review", "fail", "incomplete")
CAUSES = ("adhesion failure", "cure sponge", "moisture blow", "reversion", "cord separation", "new injury")
TRACES = 40
BATCH = 2_000


def _traces(random: np.random.Generator) -> list[tuple[bytes, int]]:
    """Packed traces of cures of different lengths, with their numbers of rows."""
    whole = reference_trace(0.3)
    packed = []
    for _ in range(TRACES):
        rows = int(random.integers(len(whole) // 2, len(whole) + 1))
        part = Trace(
            whole.channels,
            whole.time_decimals,
            whole.seq[:rows],
            whole.t[:rows],
            whole.counts[:rows],
            whole.present[:rows],
        )
        packed.append((pack(part), rows))
    return packed


def _alarms(random: np.random.Generator, verdict: str) -> list[dict[str, Any]]:
    kinds = list(KINDS)
    count = 0 if verdict == "pass" else int(random.integers(1, 5))
    return [
        {
            "id": f"A{k + 1}",
            "kind": kinds[int(random.integers(len(kinds)))],
            "channel": "bag",
            "priority": "high",
            "raised_s": 2115.5 + k,
            "since_s": 2096.5,
            "cleared_s": None,
            "consequence_of": None,
            "message": "Bag at 21.4 psi, minimum 28.0 psi",
            "advice": "Refill at the remote valve now: it is setting unpressed. Do not reach in.",
        }
        for k in range(count)
    ]


def _body(number: int, entry: int, random: np.random.Generator, rows: int, digest: str) -> dict[str, Any]:
    """A record's body as large as a real one; its floats are such that plain JSON writes them canonically."""
    start = FIRST_UTC + 3000.25 * number
    verdict = str(random.choice(VERDICTS, p=(0.72, 0.12, 0.08, 0.04, 0.04)))
    profile = [round(float(v), 3) + 0.0005 for v in random.uniform(20, 150, 120)]
    ticket = {
        "number": f"J-{number:06d}",
        "customer": CUSTOMERS[int(random.integers(len(CUSTOMERS)))],
        "tire": TIRES[int(random.integers(len(TIRES)))],
        "tin": f"1H{int(random.integers(10))}ABCDEF{int(random.integers(1, 53)):02d}{int(random.integers(10, 25)):02d}",
        "serial": f"S{int(random.integers(10**8)):08d}",
        "section": PLACES[int(random.integers(len(PLACES)))],
        "operator": f"operator {int(random.integers(12))}",
        "materials": [
            {"use": "filler rubber", "lot": f"SG-{number // 120:04d}"},
            {"use": "cement", "lot": f"CE-{number // 400:04d}"},
        ],
        "bag": f"B{int(random.integers(24))}",
        "mats": [f"M{int(random.integers(40))}", f"N{int(random.integers(40))}"],
    }
    sensors = [{"name": name, "sensor": f"K-{int(random.integers(60))}"} for name in ("inner_mat", "outer_mat")]
    cure = round(float(random.uniform(0.7, 0.98)), 4) + 0.00005
    return {
        "schema": 1,
        "entry": entry,
        "kind": "cure-record",
        "certificate": number,
        "written_utc": utc_text(start + 7300.5),
        "cycle_id": hashlib.md5(str(number).encode()).hexdigest(),
        "press": f"P{1 + number % 8}",
        "shop": "Juniper Flat Section Repair",
        "source": "live",
        "source_log_sha256": None,
        "software": "0.1.0",
        "started_utc": utc_text(start),
        "ended_utc": utc_text(start + 7300.5),
        "ticket": ticket,
        "recipe": {"name": "section-300" if number % 3 else "sidewall-300", "hold_temperature": 148.9},
        "repair": {
            "stacks": [{"name": "repair", "layers": [{"name": "filler", "thickness": 0.044, "compound": None}]}]
        },
        "setup": {"ambient": 18.3, "inputs": sensors},
        "result": {
            "verdict": verdict,
            "reasons": [] if verdict == "pass" else ["hold clock short: 52 of 60 min"],
            "hold_min": 62.25,
            "alarms": _alarms(random, verdict),
            "phases": [],
            "cure": {"deepest": {"state_of_cure": cure, "state_of_cure_low": cure - 0.1, "stack": "repair"}},
        },
        "actions": [],
        "events": [{"kind": "PhaseChanged", "t": 100.5 + k, "phase": "hold", "why": "in the band"} for k in range(70)],
        "profiles": {moment: {"temperature_degC": profile, "depth_mm": profile} for moment in ("heat_off", "release")},
        "gaps": [],
        "trace": {"sha256": digest, "rows": rows, "time_decimals": 0, "channels": []},
        "previous": None,
    }


def canonical_enough(body: dict[str, Any]) -> bytes:
    """RFC 8785 bytes for the bodies made here, quickly; the test of this file compares it with the real thing."""
    return json.dumps(body, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


def _later(random: np.random.Generator, number: int, start: float) -> Iterator[tuple[str, dict[str, Any]]]:
    if random.random() < 0.5:
        yield "inspection", {"result": "sound", "by": "inspector 3", "day": utc_text(start + 9000)[:10], "note": ""}
    if random.random() < 0.03:
        cause = CAUSES[int(random.integers(len(CAUSES)))]
        yield "comeback", {"cause": cause, "day": utc_text(start + 40 * 86_400.0)[:10], "by": "", "note": ""}


def make_archive(path: Path, count: int, seed: int = 7) -> None:
    """Write an archive of `count` certificates, half with an inspection, 3 in 100 come back. `path` must be new."""
    key_path = path.with_name(f"{path.name}.key")
    Archive.open(path, key_path=key_path).close()
    key = load_key(key_path)
    random = np.random.default_rng(seed)
    traces = _traces(random)
    began = time.perf_counter()
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute("PRAGMA synchronous = OFF")
        db.execute("PRAGMA cache_size = -262144")
        (prev,) = db.execute("SELECT hash FROM ledger WHERE seq = 0").fetchone()
        seq = 1

        def append(kind: str, number: int, body: dict[str, Any]) -> Any:
            nonlocal prev, seq
            stored = canonical_enough(body)
            prev = chained(prev, stored)
            db.execute(
                "INSERT INTO ledger VALUES (?, ?, ?, ?, ?, ?)", (seq, kind, number, stored, prev, key.sign(prev))
            )
            seq += 1
            return json.loads(stored)

        db.execute("BEGIN")
        for number in range(1, count + 1):
            data, rows = traces[int(random.integers(TRACES))]
            digest = hashlib.sha256(data).digest()
            entry, body = seq, _body(number, seq, random, rows, digest.hex())
            sealed = append("cure-record", number, body)
            db.execute("INSERT INTO trace VALUES (?, ?, ?, ?)", (entry, body["cycle_id"], digest, data))
            start = FIRST_UTC + 3000.25 * number
            db.execute(
                "INSERT INTO cycle (cycle_id, press, started_utc, source, state, certificate, time_decimals, start)"
                " VALUES (?, ?, ?, 'live', 'sealed', ?, 0, '{}')",
                (body["cycle_id"], body["press"], start, number),
            )
            later = []
            for kind, said in _later(random, number, start):
                whole = {
                    "entry": seq,
                    "kind": kind,
                    "certificate": number,
                    "written_utc": utc_text(start + 9000),
                    **said,
                }
                later.append(append(kind, number, whole))
            write_index(db, index_of(sealed, later))
            if number % BATCH == 0:
                db.execute("COMMIT")
                db.execute("BEGIN")
                if sys.stderr.isatty():
                    print(f"\r{number} of {count}, {time.perf_counter() - began:.0f} s", end="", file=sys.stderr)
        db.execute("UPDATE meta SET value = ? WHERE name = ?", (str(seq), LENGTH))
        db.execute("COMMIT")
    # Left as the recorder leaves it: the log folded in, SQLite's own statistics taken.
    with Archive.open(path, key_path=key_path) as archive:
        archive.take_statistics()


def archive_of(count: int) -> Path:
    """The archive of `count` certificates, made on first use and kept in the folder for temporary files."""
    folder = Path(os.environ.get("PRESS_MONITOR_BENCH", tempfile.gettempdir())) / "press-monitor-benchmarks"
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"records-{count}-format-{VERSION}.sqlite"
    if not path.exists():
        part = path.with_name(f"{path.name}.part")
        for old in folder.glob(f"{part.name}*"):
            old.unlink()
        make_archive(part, count)
        os.replace(part.with_name(f"{part.name}.key"), path.with_name(f"{path.name}.key"))
        os.replace(part, path)
        for left in folder.glob(f"{part.name}*"):
            left.unlink()
    return path


if __name__ == "__main__":
    print(archive_of(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000))

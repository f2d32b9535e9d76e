"""Verifying 10,000 records with their traces, against hashing and checking signatures alone."""

from __future__ import annotations

import hashlib
import sqlite3
from contextlib import closing
from pathlib import Path
from time import perf_counter

from press_monitor.archive.keys import Verifier, read_public_key
from press_monitor.archive.verify import verify
from tests.benchmarks._records import archive_of

NAME = "verify 10,000 records with traces"
GOAL = 2.0
COUNT = 10_000


def hashes_and_signatures(path: Path) -> int:
    """The least that anybody could do: read, chain, check each signature, hash each trace; how many entries."""
    verifier = Verifier(read_public_key(path.with_name(f"{path.name}.key")))
    prev, count = bytes(32), 0
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as db:
        for body, digest, signature, data in db.execute(
            "SELECT body, hash, signature, data FROM ledger LEFT JOIN trace ON trace.entry = ledger.seq ORDER BY seq"
        ):
            prev = hashlib.sha256(prev + body).digest()
            assert prev == digest and verifier.holds(signature, digest)
            if data is not None:
                hashlib.sha256(data).digest()
            count += 1
    return count


def run(count: int = COUNT, rounds: int = 3) -> dict[str, float | str | bool]:
    """The best of each, in turns."""
    path = archive_of(count)
    ours, bare = [], []
    for _ in range(rounds):
        began = perf_counter()
        entries = hashes_and_signatures(path)
        between = perf_counter()
        report = verify(path)
        end = perf_counter()
        assert report.ok and report.entries == entries
        bare.append(between - began)
        ours.append(end - between)
    figures: dict[str, float | str | bool] = {
        "ledger entries": entries,
        "MB": path.stat().st_size / 2**20,
        "seconds": min(ours),
        "hashing and signatures alone, s": min(bare),
        "over hashing and signatures": min(ours) / min(bare),
        "goal": f"at most {GOAL:g} times hashing and signatures alone",
    }
    figures["met"] = min(ours) / min(bare) <= GOAL
    return figures

"""Bits flipped and pages zeroed anywhere in the file: a reader gives what was sealed or our own error, nothing else."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from press_monitor.archive import Archive, ArchiveError, ArchiveReader
from press_monitor.archive.recover import recover
from press_monitor.archive.types import JsonText
from press_monitor.archive.verify import verify
from press_monitor.certificate.export import FORMS, certificate_bytes
from tests.archive.helpers import GRAIN, NOON, new_start, rows
from tests.audit.cures import Bench, warming

PAGE = 4096
STILL = new_start(press="P9")
LOOKS: dict[str, Callable[[ArchiveReader], Any]] = {
    "recorder": lambda r: r.recorder(),
    "states": lambda r: r.press_states(),
    "open": lambda r: r.open_cycles(),
    "rows": lambda r: r.rows(STILL.cycle_id).rows(),
    "events": lambda r: r.events(STILL.cycle_id),
    "save": lambda r: r.latest_save(STILL.cycle_id),
    "records": lambda r: r.records(),
    "search": lambda r: r.records(text="loader"),
    "count": lambda r: r.count(),
    "used": lambda r: r.used(1),
    "stores": lambda r: r.stores(),
    "head": lambda r: r.head(),
    "fingerprint": lambda r: r.key_fingerprint(),
}


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sound")
    bench = Bench(folder)
    with bench.open() as archive:
        for number in range(1, 4):
            bench.seal(archive, warming(200 + 100 * number), ticket={"tire": "loader 23.5R25", "mats_overlap": True})
            archive.append("inspection", {"result": "sound", "day": "2025-10-01", "by": "Ann", "note": ""}, number)
        archive.begin_cycle(STILL)
        archive.add_rows(STILL.cycle_id, rows(120))
        archive.add_events(STILL.cycle_id, [(float(k), NOON + k, "PhaseChanged", {"t": k}) for k in range(30)])
        archive.put_save(STILL.cycle_id, 119, 119.0, {"phase": "hold", "deep": GRAIN[:10_000]})
        archive.put_state("P9", STILL.cycle_id, NOON, {"t": 119.0}, JsonText('{"phase": "hold"}'))
        archive.beat(NOON)
    return bench.path


def sealed(path: Path) -> list[tuple[Any, ...]]:
    """What was sealed, to the bit."""
    with ArchiveReader(path) as reader:
        heads = reader.query("SELECT seq, kind, certificate, body, hash, signature FROM ledger ORDER BY seq")
        traces = reader.query("SELECT entry, data FROM trace ORDER BY entry")
    return [*heads, *traces]


wounds = st.lists(
    st.tuples(st.sampled_from(["flip", "flip", "zero page", "noise", "cut"]), st.floats(0.0, 1.0), st.integers(0, 7)),
    min_size=1,
    max_size=6,
)


def wound(path: Path, made: list[tuple[str, float, int]]) -> None:
    data = bytearray(path.read_bytes())
    for what, where, bit in made:
        at = min(int(where * len(data)), len(data) - 1)
        page = at - at % PAGE
        if what == "flip":
            data[at] ^= 1 << bit
        elif what == "zero page":
            data[page : page + PAGE] = bytes(min(PAGE, len(data) - page))
        elif what == "noise":
            data[at : at + 64] = bytes((37 * k + bit) % 256 for k in range(len(data[at : at + 64])))
        elif page > PAGE:
            del data[page:]
    path.write_bytes(data)


@given(wounds)
@settings(
    max_examples=15,
    derandomize=True,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
def test_a_damaged_file_gives_what_was_sealed_or_our_own_error(
    sound: Path, tmp_path: Path, made: list[tuple[str, float, int]]
) -> None:
    path = tmp_path / "archive.sqlite"
    for left in tmp_path.iterdir():
        left.unlink()
    shutil.copyfile(sound, path)
    wound(path, made)
    with suppress(ArchiveError), ArchiveReader(path) as reader:
        for look in LOOKS.values():
            with suppress(ArchiveError):
                look(reader)
        for number in (1, 2, 3):
            with suppress(ArchiveError):
                record = reader.record(number)
                assert record.sealed.content["certificate"] == number or not verify(path).ok
            with suppress(ArchiveError):
                reader.trace(number)
    try:
        whole = verify(path, unpack_traces=True).ok
    except ArchiveError:
        whole = False
    if whole:
        assert sealed(path) == sealed(sound), "a change in what is sealed was not found"
    with suppress(ArchiveError), Archive.open(path, key_path=tmp_path / "other.key"):
        pass
    out = tmp_path / "recovered.sqlite"
    with suppress(ArchiveError):
        recover(path, out)
        kept, before = sealed(out), sealed(sound)
        assert all(entry in before for entry in kept), "recovery made something up"
        assert verify(out).ok or not kept


@given(wounds)
@settings(
    max_examples=6,
    derandomize=True,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
def test_no_certificate_is_drawn_from_a_seal_that_does_not_hold(
    sound: Path, tmp_path: Path, made: list[tuple[str, float, int]]
) -> None:
    from press_monitor.certificate.copies import read_copy

    path = tmp_path / "archive.sqlite"
    for left in tmp_path.iterdir():
        left.unlink()
    shutil.copyfile(sound, path)
    wound(path, made)
    with ArchiveReader(sound) as reader:
        good = certificate_bytes(read_copy(reader, 1), "csv")
    with suppress(ArchiveError), ArchiveReader(path) as reader:
        copy = read_copy(reader, 1)
        for form in FORMS:
            with suppress(ArchiveError):
                data = certificate_bytes(copy, form)
                assert form != "csv" or data == good or b"not" in data

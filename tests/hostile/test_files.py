"""Files handed in: whatever is done to their bytes, a reader takes them or says no in words of its own."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from drivers.log import read_log
from press_monitor.archive import ArchiveReader
from press_monitor.archive.keys import create_key, load_key, public_file, read_public_key
from press_monitor.archive.ticket import load_ticket
from press_monitor.archive.verify import verify
from press_monitor.certificate.copies import read_copy
from press_monitor.certificate.proof import check_files, code_text, handed_out, proof_of, read_code
from press_monitor.console import MOST_LINES, OURS, words_of
from press_monitor.shop import Shop, load_repair, load_shop
from tests.audit.cures import Bench, warming
from tests.shopfiles import write_job

TICKET = 'customer = "Upper Mesa"\ntire = "23.5R25"\nmats_overlap = true\n[[materials]]\nuse = "filler"\nlot = "L1"\n'
BITS = (
    *(b"\x00", b"\xff\xfe", b"\xef\xbb\xbf", b"\x1b[2J", b"\x9b", b"nan", b"inf", b"1e999", b"-0", b"9" * 400),
    *(b"[" * 1200, b"{" * 1200, b'"', b"'''", b"\r", b"\n", b"#", b"=", b",,,,", b"]]", b"= {}", b"=[]"),
    *(b"12 degF", b"-300 degC", b"1e400 psi", b"true", b"2025-13-45", b"../../x", b"\\u0000", b"__proto__"),
)
changes = st.lists(
    st.tuples(st.sampled_from(["put", "put", "cut", "flip", "twice", "swap"]), st.floats(0, 1), st.sampled_from(BITS)),
    min_size=1,
    max_size=5,
)
wild = st.one_of(changes, st.binary(max_size=300))


def spoilt(data: bytes, how: Any) -> bytes:
    if isinstance(how, bytes):
        return how
    out = bytearray(data)
    for what, where, bits in how:
        at = int(where * len(out))
        if what == "put":
            out[at:at] = bits
        elif what == "cut":
            del out[at : at + 7]
        elif what == "flip" and out:
            out[min(at, len(out) - 1)] ^= 1 << (len(bits) % 8)
        elif what == "twice":
            out[at:at] = out[at : at + 60]
        else:
            out[at : at + len(bits)] = bits
    return bytes(out)


@pytest.fixture(scope="module")
def readers(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[bytes, Callable[[Path], object]]]:
    folder = tmp_path_factory.mktemp("files")
    job = write_job(folder / "job")
    shop: Shop = load_shop(job["shop"])
    bench = Bench(folder / "bench")
    with bench.open() as archive:
        bench.seal(archive, warming(), ticket={"tire": "23.5R25"})
    with ArchiveReader(bench.path) as reader:
        copy = read_copy(reader, 1)
        proof = proof_of(copy.record, copy.before, copy.public_key)
        code, sealed, public = code_text(copy.record).encode(), copy.record.sealed.body, copy.public_key
    key = folder / "k" / "ledger.key"
    create_key(key)
    return {
        "shop": (job["shop"].read_bytes(), load_shop),
        "repair": (job["repair"].read_bytes(), lambda path: load_repair(path, shop)),
        "log": (job["log"].read_bytes(), read_log),
        "ticket": (TICKET.encode(), lambda path: load_ticket(path, date(2026, 1, 1))),
        "proof": (proof, lambda path: (handed_out(both := [("p", path.read_bytes())]), check_files(both, public))),
        "code": (code, lambda path: check_files([("c", path.read_bytes()), ("s", sealed)], public)),
        "private key": (key.read_bytes(), load_key),
        "public key": (public_file(key).read_bytes(), read_public_key),
        "archive": (bench.path.read_bytes()[:9000], verify),
    }


NAMES = ("shop", "repair", "log", "ticket", "proof", "code", "private key", "public key", "archive")


@pytest.mark.parametrize("name", NAMES)
@given(how=wild)
@settings(max_examples=40, derandomize=True, deadline=None, suppress_health_check=list(HealthCheck))
def test_a_spoilt_file_is_read_or_refused_in_our_own_words(
    readers: dict[str, tuple[bytes, Callable[[Path], object]]], tmp_path: Path, name: str, how: Any
) -> None:
    data, read = readers[name]
    path = tmp_path / "handed-in"
    path.write_bytes(spoilt(data, how))
    error = complaint(read, path)
    if error is not None:
        assert type(error).__module__.split(".")[0] in OURS, f"{type(error).__name__}: {error}"
        assert 1 <= len(words_of(error)) <= MOST_LINES


def complaint(read: Callable[[Path], object], path: Path) -> Exception | None:
    """What a reader raised."""
    try:
        read(path)
    except Exception as error:
        return error
    return None


@pytest.mark.parametrize("name", NAMES[:4])
def test_untouched_they_are_read(
    readers: dict[str, tuple[bytes, Callable[[Path], object]]], tmp_path: Path, name: str
) -> None:
    data, read = readers[name]
    (tmp_path / "sound").write_bytes(data)
    assert read(tmp_path / "sound") is not None


def test_a_code_broken_between_the_two_digits_of_a_byte_is_read() -> None:
    digits = "ab" * 32
    broken = f"press-monitor certificate 7\nhash {digits[:31]}\n{digits[31:]}\nkey {digits}\nsignature {digits}{digits}"
    found = read_code(broken)
    assert found is not None and found.hash == bytes.fromhex(digits)
